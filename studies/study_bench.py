"""A cell's chosen instrument for the bench: drilled to a tenth of a millimetre, scored, drawn."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wrenpipe.model.system import known_systems
from wrenpipe.search.aims import Aim, Figures
from wrenpipe.search.choices import programme_of
from wrenpipe.search.figures import figures_of
from wrenpipe.search.finish import ROUNDING_CENTS, ROUNDING_SCATTER, drilled
from wrenpipe.search.front import Limits
from wrenpipe.search.tuner import Programme, Tuned
from wrenpipe.studies.convert import Design
from wrenpipe.studies.designing import Bench, files_for_bench, version
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.schemas import MadeBy
from wrenpipe.studies.scoring import Scored, score
from wrenpipe.studies.study_found import CellFound, StudyFound
from wrenpipe.studies.study_values import choice_values, demand_values, figure_values
from wrenpipe.studies.study_words import figures_words, member_name

SHOWN = 0.05
"""Half of the last digit that people are told."""

__all__ = ["Drilled", "all_drilled", "drilled_instrument", "given_up", "instrument_files"]


@dataclass(frozen=True, slots=True)
class Drilled:
    """The chosen instrument of a cell as it will be made. figures: after drilling."""

    cell: CellFound
    programme: Programme
    tuned: Tuned
    figures: Figures
    design: Design
    scored: Scored


def drilled_instrument(found: StudyFound, cell: int) -> Drilled:
    """Drill what was chosen for a cell, holes first and all else around them. Raises ValueError where nothing
    was chosen."""
    there = found.cells[cell]
    if there.instrument is None:
        raise ValueError(f"no instrument was chosen for cell {cell}")
    choice, member = there.instrument
    case = found.request.plan.cells[cell]
    programme = programme_of(case, choice)
    tuned = drilled(programme, programme.assess(member.v), member.goal, found.request.plan.limits.margin)
    system = programme.mapping.space.system
    # A design's file has room for a short name; which keys there are, the chart says.
    own = system.name if system.name in known_systems() else f"{case.system}, {len(system.keys)} keys"
    design = Design(
        programme.mapping.instrument(tuned.outcome.v),
        replace(system.chart, system=own),
        case.air,
        case.size,
        case.pitch_standard_hz,
    )
    return Drilled(
        cell=there,
        programme=programme,
        tuned=tuned,
        figures=figures_of(programme, tuned),
        design=design,
        scored=score(design),
    )


def given_up(made: Drilled, limits: Limits) -> tuple[str, ...]:
    """What drilling costs: demands missed by more than it may take, and limits that are not kept any more."""
    assert made.cell.instrument is not None
    _, member = made.cell.instrument
    lost = []
    for name, aim, demanded, limit, allowed in (
        ("RMS", Aim.INTONATION, math.inf, limits.intonation, 0.0),
        ("worst twelfth", Aim.TWELFTHS, member.goal.twelfth_limit, limits.twelfths, ROUNDING_CENTS),
        ("scatter", Aim.SCATTER, member.goal.scatter_limit, limits.scatter, ROUNDING_SCATTER),
    ):
        figure, most = made.figures.of(aim), min(demanded + allowed, limit)
        if figure > most + SHOWN:
            lost.append(f"{name} {figure:.1f} cents where {min(demanded, limit):.1f} was demanded")
    if made.figures.margin < limits.margin - SHOWN:
        lost.append(f"finger margin {made.figures.margin:+.2f} where {limits.margin:+.2f} was demanded")
    cents = np.abs(made.tuned.cents)
    for name, notes, limit in (
        ("worst note", ~made.programme.is_fork, limits.worst),
        ("worst fork", made.programme.is_fork, limits.fork),
    ):
        worst = float(np.max(cents[notes], initial=0.0))
        if worst > limit + SHOWN:
            lost.append(f"{name} {worst:.1f} cents where {limit:.1f} is the limit")
    lost += [f"{row.name} of {row.subject}, {spare(row)}" for row in made.tuned.violated()]
    return tuple(lost)


def all_drilled(found: StudyFound) -> dict[int, Drilled]:
    """Every chosen instrument, by cell."""
    return {n: drilled_instrument(found, n) for n, cell in enumerate(found.cells) if cell.chosen is not None}


def instrument_files(found: StudyFound, cell: int, made: Drilled | None = None) -> dict[str, bytes]:
    """Everything for the bench about a cell's chosen instrument, by file name. made: it, where it has been
    drilled already. Raises ValueError where there is none."""
    made = drilled_instrument(found, cell) if made is None else made
    there, request, lost = made.cell, _made_by_request(found, cell), given_up(made, found.request.plan.limits)
    bench = Bench(
        programme=made.programme,
        tuned=made.tuned,
        design=made.design,
        scored=made.scored,
        verdict=(
            f"{request['instrument']} of the study {found.request.name}. {there.reason[0].upper()}"
            f"{there.reason[1:]} As drilled: {figures_words(made.figures)}."
            + (f" Drilling gives up: {'; '.join(lost)}." if lost else "")
        ),
        made_by=MadeBy(
            version=version(),
            seed=found.request.plan.seed,
            request=request,
            hand={"name": there.player, "origin": there.hand.origin},
        ),
        request=json.dumps(request, indent=2, ensure_ascii=False),
    )
    return files_for_bench(bench)


def _made_by_request(found: StudyFound, cell: int) -> dict[str, Any]:
    """Which study, cell, choice and demands an instrument came from; the study's request in full."""
    there = found.cells[cell]
    assert there.instrument is not None
    assert there.chosen is not None
    choice, member = there.instrument
    return {
        "study": found.request.name,
        "instrument": member_name(found, cell, there.chosen),
        "cell": cell,
        "size": there.size.name,
        "hand": there.player,
        "seed": found.request.plan.seed,
        "choices_examined": found.examined,
        "choice": choice_values(there.size, choice),
        "figures_before_drilling": figure_values(member.figures),
        "demanded": demand_values(member.goal),
        **found.request.values(),
    }
