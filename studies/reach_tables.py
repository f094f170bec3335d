"""Answers about reach as tables for the terminal."""

from __future__ import annotations

from pathlib import Path

from rich.console import Group
from rich.text import Text

from wrenpipe.constraints.aids import AIDS
from wrenpipe.model.pitch import sounding
from wrenpipe.search.reach import Verdict
from wrenpipe.studies.cautions import CAUTIONS
from wrenpipe.studies.designing import FILES, Made, verdict_sentence
from wrenpipe.studies.likelihood_words import (
    aid_lines,
    likelihood_sentence,
    measure_sentence,
    percent,
)
from wrenpipe.studies.margin_words import by_tightness, quantity, shown_unit, spare
from wrenpipe.studies.reaching import Answer
from wrenpipe.studies.reaming_plan import expected_words, reaming_plan
from wrenpipe.studies.tables import ruled_table

__all__ = ["design_report", "reach_report"]

TIGHTEST = 6


def reach_report(answer: Answer, out: Path | None = None) -> Group:
    """The verdict first, then why, then what else is worth knowing. out: where the picture went."""
    question, reach = answer.question, answer.reach
    chart = question.system.chart.fingerings
    low, high = sounding(chart[0].written, question.size), sounding(chart[-1].written, question.size)
    plain = answer.intonation.group("all but forks")
    lines = [
        Text(f"{question.size.words}, sounding {low} to {high}", style="bold"),
        Text(f"For {question.hand.origin}; {question.system.title}, preset {question.system.name}"),
        *(Text(f"Note: {warning}") for warning in question.hand.warnings),
        Text(""),
        Text(_verdict(answer), style="bold"),
        Text(
            f"Finger margin {reach.margin:+.2f} standard deviations: {reach.binding.name} of "
            f"{reach.binding.subject}, {spare(reach.binding)}."
        ),
        Text(
            f"Intonation: {plain.rms_cents:.1f} cents RMS, worst {plain.worst_cents:+.1f}, forks apart; "
            f"the hand adds {reach.added:.1f} of the {question.tolerance.added:g} cents it may."
        ),
        Text(likelihood_sentence(answer.likelihood)),
        Text(measure_sentence(answer.likelihood.next)),
        *_as_asked(answer),
        *([] if answer.search is None else map(Text, aid_lines(answer.asked, answer.search))),
        Text(_smallest(answer)),
        Text(""),
    ]
    assert reach.best.finger_rows is not None
    rows = by_tightness(reach.best.finger_rows.reports())
    seen: dict[tuple[str, str], tuple[str, ...]] = {}
    for margin in rows:
        unit = shown_unit(margin.unit)
        seen.setdefault(
            (margin.name, margin.subject),
            (
                margin.name, margin.subject, f"{quantity(margin.value, margin.unit)} {unit}",
                f"{quantity(margin.limit, margin.unit)} {unit}", spare(margin), f"{margin.sigmas:+.2f}",
            ),
        )  # fmt: skip
    table = ruled_table(
        "What binds first",
        ("limit", "of", "is", "must be", "room", "deviations"),
        list(seen.values())[:TIGHTEST],
        ("is", "must be", "deviations"),
    )
    advice = reach.binding.advice
    tail = [Text(f"What would help: {advice}.")] if advice else []
    if out is not None:
        tail.append(Text(f"Both hands on the body: {out / 'hands.svg'}"))
    tail.append(Text("Margins are geometry, not medicine: stop when it hurts, and see a clinician."))
    return Group(*lines, table, *tail)


def _verdict(answer: Answer) -> str:
    words = {
        Verdict.REACHABLE: "Reachable",
        Verdict.WITH_AIDS: "Reachable with aids: " + "; ".join(AIDS[a].words for a in sorted(answer.aids)),
        Verdict.NOT_REACHABLE: "Not reachable",
        Verdict.UNDECIDED: "Undecided: the search did not settle",
    }[answer.verdict]
    if answer.verdict is not Verdict.NOT_REACHABLE:
        return f"{words}."
    proof = answer.reach.certificate
    return f"{words} ({answer.reach.support.value}{'' if proof is None else ': ' + proof.words})."


def _as_asked(answer: Answer) -> list[Text]:
    asked = answer.asked
    if asked is answer.reach:
        return []
    return [
        Text(
            f"Without them the margin is {asked.margin:+.2f} ({percent(answer.asked_likelihood.value)} could "
            f"play it): {asked.binding.name} of {asked.binding.subject}, {spare(asked.binding)}."
        )
    ]


def _smallest(answer: Answer) -> str:
    aids = f"with {' and '.join(sorted(answer.question.aids))}" if answer.question.aids else "without aids"
    size = answer.smallest.size
    if size is None:
        return f"No size is reachable {aids}."
    return f"Smallest size reachable {aids}: {size.words}."


def design_report(made: Made, folder: Path) -> Group:
    """What was made, where it lies, how it plays."""
    groups = ("chalumeau", "throat", "clarion", "altissimo", "all but forks", "forks", "all")
    scores = [score for name in groups for score in made.intonation.registers if score.name == name]
    table = ruled_table(
        "Intonation",
        ("notes", "count", "RMS cents", "worst cents"),
        [
            (
                s.name,
                str(s.notes),
                f"{s.rms_cents:.1f}",
                f"{s.worst_cents:+.1f}" + (f", {s.lost} lost" if s.lost else ""),
            )
            for s in scores
        ],
        ("count", "RMS cents", "worst cents"),
    )
    chart = made.question.system.chart.fingerings
    low, high = (sounding(f.written, made.question.size) for f in (chart[0], chart[-1]))
    return Group(
        Text(f"{made.question.size.words}, sounding {low} to {high}", style="bold"),
        Text(f"For {made.question.hand.origin}"),
        Text(verdict_sentence(made), style="bold"),
        Text(f"Finger margin of the instrument as drilled: {made.tuned.margin:+.2f} standard deviations."),
        Text(""),
        table,
        Text(expected_words(reaming_plan(made.programme, made.tuned))),
        Text(f"Written to {folder}: {', '.join(FILES)}"),
        Text(""),
        *(Text(f"Caution: {caution}") for caution in CAUTIONS[:2]),
        Text("All cautions stand in the report; local codes and licensed practice come first."),
    )
