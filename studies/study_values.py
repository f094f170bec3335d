"""A study as values for other programs: the JSON of everything, and the front as a table."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from wrenpipe.model.pitch import Size
from wrenpipe.search.aims import Aim, Figures
from wrenpipe.search.choices import Choice
from wrenpipe.search.tuner import Goal
from wrenpipe.studies.designing import version
from wrenpipe.studies.reach_json import margin_values
from wrenpipe.studies.study_found import CellFound, StudyFound
from wrenpipe.studies.study_words import (
    bore_mm,
    chosen_name,
    free_keys,
    left_out,
    member_name,
    wall_mm,
)

__all__ = [
    "STUDY_SCHEMA",
    "choice_values",
    "demand_values",
    "figure_values",
    "found_values",
    "front_csv",
]

STUDY_SCHEMA = "wrenpipe.study/1"
DIGITS = 6
FIGURE_NAMES = {
    Aim.INTONATION: "weighted_rms_cents",
    Aim.TWELFTHS: "worst_twelfth_cents",
    Aim.MARGIN: "finger_margin_sigma",
    Aim.SCATTER: "scatter_cents",
    Aim.KEYS: "keys",
}
DEMANDS = ("margin_sigma", "worst_note_cents", "worst_fork_cents", "worst_twelfth_cents", "scatter_cents")


def figure_values(figures: Figures) -> dict[str, float | int | None]:
    """The five figures by name and unit."""
    return {
        name: figures.keys if aim is Aim.KEYS else _rounded(figures.of(aim))
        for aim, name in FIGURE_NAMES.items()
    }


def demand_values(goal: Goal) -> dict[str, float | None]:
    """What a run had to keep; null where nothing was asked."""
    demands = (goal.margin, goal.worst_limit, goal.fork_limit, goal.twelfth_limit, goal.scatter_limit)
    return {name: _rounded(demand) for name, demand in zip(DEMANDS, demands, strict=True)}


def choice_values(size: Size, choice: Choice) -> dict[str, Any]:
    """A choice, with its bore and wall in millimetres."""
    return {
        "keys": list(choice.keys),
        "aids": list(choice.aids),
        "bore_scale": choice.bore,
        "bore_mm": round(bore_mm(size, choice), 3),
        "wall_scale": choice.wall,
        "wall_mm": round(wall_mm(size, choice), 3),
        "holes": choice.holes,
    }


def found_values(found: StudyFound) -> dict[str, Any]:
    """Everything that a study has found, as JSON values: the content of study.json."""
    request, plan = found.request, found.request.plan
    return {
        "schema": STUDY_SCHEMA,
        "version": version(),
        "begun_by_version": found.begun_by or None,
        "seed": plan.seed,
        "name": request.name,
        **request.values(),
        "hands": [
            {"name": name, "origin": hand.origin, "warnings": list(hand.warnings)}
            for name, hand in request.hands.items()
        ],
        "aims": [aim.value for aim in plan.aims],
        "fixed_keys": list(plan.menu.fixed_keys),
        "free_keys": list(plan.menu.free_keys),
        "examined": found.examined,
        "total": found.total,
        "hypervolume": round(found.hypervolume, DIGITS),
        "cells": [_cell_values(found, n, cell) for n, cell in enumerate(found.cells)],
    }


def _cell_values(found: StudyFound, n: int, cell: CellFound) -> dict[str, Any]:
    verdict = cell.verdict
    return {
        "size": cell.size.name,
        "size_in_words": cell.size.words,
        "hand": cell.player,
        "examined": cell.examined,
        "verdict": None if verdict is None else verdict.value,
        "greatest_finger_margin_sigma": None if cell.margin is None else _rounded(cell.margin),
        "hypervolume": round(cell.hypervolume, DIGITS),
        "chosen": chosen_name(found, n),
        "reason": cell.reason,
        "folder": None if cell.chosen is None else found.request.folder(n),
        "front": [
            {
                "instrument": member_name(found, n, place),
                "chosen": place == cell.chosen,
                "choice": choice_values(cell.size, choice),
                "figures": figure_values(member.figures),
                "demanded": demand_values(member.goal),
                "binding": margin_values(member.binding),
            }
            for place, (choice, member) in enumerate(cell.front)
        ],
        "broken": [
            {
                "choice": choice_values(cell.size, result.choice),
                "reason": result.reason,
                "attempts": result.attempts,
            }
            for result in cell.broken
        ],
    }


def _rounded(value: float) -> float | None:
    # and no zero with a sign
    return round(value, DIGITS) + 0.0 if math.isfinite(value) else None


def front_csv(found: StudyFound) -> str:
    """Every instrument of every front as one line; a demand that was not made is empty."""
    menu = found.request.plan.menu
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["instrument", "size", "hand", "chosen", *FIGURE_NAMES.values(), "free_keys", "keys_left_out", "aids",
         "bore_scale", "bore_mm", "wall_scale", "wall_mm", "holes",
         *(f"demanded_{name}" for name in DEMANDS), "binding", "subject", "binding_sigma"]
    )  # fmt: skip
    for n, cell in enumerate(found.cells):
        for place, (choice, member) in enumerate(cell.front):
            values = choice_values(cell.size, choice)
            binding = margin_values(member.binding)
            writer.writerow(
                [
                    member_name(found, n, place), cell.size.name, cell.player,
                    "yes" if place == cell.chosen else "no", *figure_values(member.figures).values(),
                    "; ".join(free_keys(menu, choice)), "; ".join(left_out(menu, choice)),
                    " ".join(choice.aids), values["bore_scale"], values["bore_mm"], values["wall_scale"],
                    values["wall_mm"], choice.holes, *demand_values(member.goal).values(),
                    binding["name"], binding["subject"], binding["sigma"],
                ]
            )  # fmt: skip
    return out.getvalue()
