"""Designs the instrument behind an answer and makes what goes to the bench."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wrenpipe.constraints.seats import SeatPlan
from wrenpipe.model.intonation import Intonation
from wrenpipe.search.finish import instrument_for
from wrenpipe.search.reach import Reach, Verdict, free_optimum, greatest_margin
from wrenpipe.search.seat_plan import seat_plan
from wrenpipe.search.sequential import FEASIBLE
from wrenpipe.search.sizes import larger_neighbour
from wrenpipe.search.tuner import Programme, Tuned
from wrenpipe.studies.convert import Design, design_file, design_text
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.question import Question
from wrenpipe.studies.schemas import MadeBy
from wrenpipe.studies.scoring import Scored, score

if TYPE_CHECKING:
    from wrenpipe.studies.reaming_plan import ReamingPlan
    from wrenpipe.studies.report import ReportInput

__all__ = [
    "FILES",
    "Bench",
    "Made",
    "NoInstrumentError",
    "bench_files",
    "design_values",
    "files_for_bench",
    "intonation_csv",
    "make_design",
    "verdict_sentence",
    "version",
]

Report = Callable[[str], None]

FILES = (
    "design.json",
    "drill-table.csv",
    "intonation.csv",
    "sensitivity.csv",
    "body.svg",
    "intonation.svg",
    "report.html",
)
SEED = 0
"""Every start of the search is fixed; the seed is written so that a file stays readable when it is not."""


class NoInstrumentError(Exception):
    """There is nothing to design; the message is one sentence."""


@dataclass(frozen=True, slots=True)
class Made:
    """A designed instrument with the answer that it stands on."""

    question: Question
    programme: Programme
    reach: Reach
    tuned: Tuned
    design: Design
    scored: Scored

    @property
    def intonation(self) -> Intonation:
        return self.scored.intonation


def version() -> str:
    """The installed version of this package."""
    from importlib.metadata import version as installed

    return installed("wrenpipe")


def make_design(question: Question, report: Report | None = None) -> Made:
    """The instrument for a hand at a size, by the aids asked for, rounded to drill sizes.

    Raises NoInstrumentError when no instrument of the size can be made for any hand.
    """
    programme = question.programme()
    free = free_optimum(programme, question.tolerance, report)
    hint = larger_neighbour(question.programme, question.size, programme, question.tolerance)
    reach = greatest_margin(programme, free, question.tolerance, hint=hint, report=report)
    if free.outcome.violation > FEASIBLE:
        raise NoInstrumentError(
            f"{question.size.words}: not reachable ({reach.support.value}); nothing was written."
        )
    if report is not None:
        report("rounding to drill sizes and tuning again")
    tuned = instrument_for(question.aimed(programme), reach, question.tolerance)
    design = Design(
        programme.mapping.instrument(tuned.outcome.v),
        question.system.chart,
        question.air,
        question.size,
        question.pitch_standard_hz,
    )
    return Made(question, programme, reach, tuned, design, score(design))


def verdict_sentence(made: Made) -> str:
    """The verdict on the made instrument in one sentence."""
    question, reach, binding = made.question, made.reach, made.reach.binding
    aids = f" with {' and '.join(sorted(question.aids))}" if question.aids else ""
    room = f"{binding.name} of {binding.subject} binds, {spare(binding)}"
    if reach.verdict is Verdict.REACHABLE:
        return f"Reachable{aids}: {room} at the greatest finger margin within the tolerance."
    if reach.verdict is Verdict.UNDECIDED:
        return f"Undecided{aids}: the search did not settle; as far as it came, {room}."
    proof = "" if reach.certificate is None else f" Proof: {reach.certificate.words}."
    return f"Not reachable{aids} within the tolerance: {room}.{proof}"


@dataclass(frozen=True, slots=True)
class Bench:
    """An instrument that is ready to be made, whatever search it came from. verdict: in sentences. request:
    the text that makes it again."""

    programme: Programme
    tuned: Tuned
    design: Design
    scored: Scored
    verdict: str
    made_by: MadeBy
    request: str


def bench_files(made: Made) -> dict[str, bytes]:
    """Everything that the folder holds, by file name."""
    question = made.question
    return files_for_bench(
        Bench(
            programme=made.programme,
            tuned=made.tuned,
            design=made.design,
            scored=made.scored,
            verdict=verdict_sentence(made),
            made_by=MadeBy(
                version=version(), seed=SEED, request=question.asked, hand={"origin": question.hand.origin}
            ),
            request=json.dumps(question.asked, indent=2, sort_keys=True),
        )
    )


def files_for_bench(bench: Bench) -> dict[str, bytes]:
    """Design, tables, pictures and report of one instrument, by file name."""
    from wrenpipe.studies.drawings import body_drawing, intonation_drawing
    from wrenpipe.studies.drill_table import drill_table, drill_table_csv
    from wrenpipe.studies.reaming_json import reaming_fields
    from wrenpipe.studies.reaming_plan import reaming_plan
    from wrenpipe.studies.report import report_html
    from wrenpipe.studies.sensitivity_table import sensitivity_csv

    instrument, intonation = bench.design.instrument, bench.scored.intonation
    system = bench.programme.mapping.space.system
    plan = seat_plan(bench.programme, bench.tuned)
    reaming = reaming_plan(bench.programme, bench.tuned)
    drilled = drill_table(instrument, system, allowance=reaming.tools.allowance)
    texts = {
        "design.json": design_text(design_file(bench.design, bench.made_by, reaming_fields(reaming))),
        "drill-table.csv": drill_table_csv(drilled),
        "intonation.csv": intonation_csv(intonation),
        "sensitivity.csv": sensitivity_csv(bench.scored.sensitivity),
        "report.html": report_html(_report_input(bench, plan, reaming)),
    }
    files = {name: text.encode() for name, text in texts.items()}
    files["body.svg"] = body_drawing(instrument, system, plan, hand=bench.programme.hand)
    files["intonation.svg"] = intonation_drawing(intonation, title=bench.design.size.words)
    return {name: files[name] for name in FILES}


def _report_input(bench: Bench, plan: SeatPlan | None, reaming: ReamingPlan) -> ReportInput:
    from wrenpipe.studies.report import BarrelFigures, ReportInput

    design, scored = bench.design, bench.scored
    hand = bench.programme.hand
    return ReportInput(
        size=design.size,
        pitch_standard_hz=design.pitch_standard_hz,
        air=design.air,
        system=bench.programme.mapping.space.system,
        instrument=design.instrument,
        intonation=scored.intonation,
        verdict=bench.verdict,
        hand="" if hand is None else hand.origin,
        request=bench.request,
        seed=bench.made_by.seed,
        version=bench.made_by.version,
        warnings=() if hand is None else hand.warnings,
        plan=plan,
        margins=bench.tuned.wall_rows.reports(),
        barrel=BarrelFigures(
            scored.pushed_in.shift_cents,
            scored.pushed_in.intonation.group("all").rms_cents,
            scored.pulled_out.shift_cents,
            scored.pulled_out.intonation.group("all").rms_cents,
        ),
        sensitivity=scored.sensitivity,
        speaking=scored.speaking,
        extras=scored.extras,
        reaming=reaming,
    )


def intonation_csv(intonation: Intonation) -> str:
    """Every note as a line of a table; a lost note's pitch is empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["written", "sounding", "register", "fork", "target_hz", "playing_hz", "cents", "status"])
    for note in intonation.notes:
        known = math.isfinite(note.playing_hz)
        writer.writerow(
            [
                note.written, note.sounding, note.register.value, "yes" if note.fork else "no",
                f"{note.target_hz:.3f}", f"{note.playing_hz:.3f}" if known else "",
                f"{note.cents:.2f}" if known else "", note.status.value,
            ]
        )  # fmt: skip
    return out.getvalue()


def design_values(made: Made, folder: Path) -> dict[str, Any]:
    """The result of `design --json`."""
    from wrenpipe.studies.reach_json import margin_values
    from wrenpipe.studies.reaming_json import expected_values
    from wrenpipe.studies.reaming_plan import reaming_plan

    plain, whole = made.intonation.group("all but forks"), made.intonation.group("all")
    return {
        "schema": "wrenpipe.made/1",
        "size": made.question.size.name,
        "size_in_words": made.question.size.words,
        "verdict": made.reach.verdict.value,
        "rests_on": made.reach.support.value,
        "finger_margin_sigma": round(made.tuned.margin, 3),
        "greatest_finger_margin_sigma": round(made.reach.margin, 3),
        "binding": margin_values(made.reach.binding),
        "rms_cents": round(plain.rms_cents, 3),
        "worst_cents": round(plain.worst_cents, 3),
        "rms_all_cents": round(whole.rms_cents, 3),
        "worst_all_cents": round(whole.worst_cents, 3),
        "expected_cents": expected_values(reaming_plan(made.programme, made.tuned).expected),
        "search_status": made.tuned.outcome.status.value,
        "rows_violated": [margin_values(row) for row in made.tuned.violated()],
        "optimality_residual": float(f"{made.tuned.outcome.residual:.3g}"),
        "folder": str(folder),
        "files": list(FILES),
        "request": made.question.asked,
    }
