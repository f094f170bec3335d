"""The report: everything about one instrument on one self-contained page."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from wrenpipe.constraints.margins import Margin, Severity, tightest
from wrenpipe.constraints.seats import SeatPlan
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import HoleKind, Instrument, System
from wrenpipe.model.intonation import ExtraScore, Intonation, RegisterScore
from wrenpipe.model.pitch import Size
from wrenpipe.model.sensitivity import Sensitivity
from wrenpipe.model.speaking import Speaking
from wrenpipe.studies.cautions import CAUTIONS
from wrenpipe.studies.drawings import body_drawing, intonation_drawing
from wrenpipe.studies.drill_table import JointOrigin, drill_table
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.page import facts, heading, listing, page, paragraph, picture, preformatted, section
from wrenpipe.studies.reaming_plan import ReamingPlan
from wrenpipe.studies.report_bench import (
    Made,
    assumptions_section,
    bore_section,
    drill_section,
    limits_section,
)
from wrenpipe.studies.report_music import (
    fingerings_section,
    notes_section,
    signed_cents,
    sounding_range,
)
from wrenpipe.studies.report_reaming import reaming_section
from wrenpipe.studies.report_tolerance import tolerance_section
from wrenpipe.studies.speaking import speaking_section
from wrenpipe.studies.unrolled import top_of_body

__all__ = ["BarrelFigures", "ReportInput", "report_html"]

MM = 1000.0


@dataclass(frozen=True, slots=True)
class BarrelFigures:
    """What the barrel can do: mean shift from the present pull and RMS of all notes at both ends, cents."""

    pushed_in_cents: float
    pushed_in_rms: float
    pulled_out_cents: float
    pulled_out_rms: float


@dataclass(frozen=True, slots=True)
class ReportInput:
    """All that a report says.

    verdict: one sentence. hand: whose hand, in words. request: the TOML or JSON text that makes this
    result again. margins: those that are not about fingers; the plan brings its own. undersize: by how
    much a printed hole comes out too small, m. sensitivity: what errors of making do; without it, the
    report says nothing about them. speaking: how readily each note speaks; reaming: how holes are printed
    small and enlarged; likewise. extras: alternates and trills, judged.
    """

    size: Size
    pitch_standard_hz: float
    air: Air
    system: System
    instrument: Instrument
    intonation: Intonation
    verdict: str
    hand: str
    request: str
    seed: int
    version: str
    warnings: tuple[str, ...] = ()
    plan: SeatPlan | None = None
    margins: tuple[Margin, ...] = ()
    barrel: BarrelFigures | None = None
    joint_origins: tuple[JointOrigin, ...] = ()
    undersize: float = 0.0
    sensitivity: Sensitivity | None = None
    speaking: tuple[Speaking, ...] = ()
    extras: tuple[ExtraScore, ...] = ()
    reaming: ReamingPlan | None = None


def report_html(report: ReportInput) -> str:
    """The whole report as one HTML text that needs nothing else and prints on A4.

    Raises ValueError for an instrument without holes or with holes that the system does not know, and for
    a sensitivity of another chart.
    """
    instrument, system, words = report.instrument, report.system, report.size.words
    joints = [origin.x for origin in report.joint_origins]
    body = body_drawing(instrument, system, report.plan, joints=joints)
    cents = intonation_drawing(report.intonation, title=words)
    rows = drill_table(
        instrument,
        system,
        joint_origins=report.joint_origins,
        undersize=report.undersize,
        allowance=0.0 if report.reaming is None else report.reaming.tools.allowance,
    )
    finger_margins = report.plan.margins if report.plan is not None else ()
    made = Made(report.pitch_standard_hz, report.seed, report.version)
    parts = (
        *_opening(report),
        section("The body", picture(body, "body", f"The unrolled body of {words}"), kind="wide"),
        section("Intonation", picture(cents, "cents", f"Cents of every note and twelfth of {words}")),
        notes_section(report.intonation),
        *_speaking(report),
        drill_section(rows),
        *(() if report.reaming is None else (reaming_section(report.reaming),)),
        limits_section((*finger_margins, *report.margins)),
        bore_section(instrument),
        *(() if report.sensitivity is None else (tolerance_section(report.sensitivity, report.intonation),)),
        fingerings_section(system.chart, system, report.size, report.extras),
        assumptions_section(instrument, report.air, made),
        section("The request that makes this again", preformatted(report.request)),
        section("Cautions", listing(CAUTIONS), kind="cautions"),
    )
    return page(f"{words}, {system.title}", parts)


def _speaking(report: ReportInput) -> Iterator[str]:
    if report.speaking:
        yield speaking_section(
            report.speaking, report.intonation, report.instrument, report.pitch_standard_hz
        )


def _opening(report: ReportInput) -> Iterator[str]:
    """Title in words, range, verdict, hand, warnings, key numbers."""
    yield heading(report.size.words)
    standard = f"at A4 = {report.pitch_standard_hz:g} Hz"
    yield paragraph(f"{report.system.title}; {sounding_range(report.intonation)} {standard}.", "lead")
    yield paragraph(report.verdict, "verdict")
    yield paragraph(f"For {report.hand}." if report.hand else "No hand was asked about.")
    if report.warnings:
        yield listing(report.warnings)
    yield facts((*_size_facts(report), *_sound_facts(report), *_hand_facts(report.plan)))


def _size_facts(report: ReportInput) -> Iterator[tuple[str, str]]:
    instrument = report.instrument
    length = instrument.bore.length
    yield "Body, from the barrel to the foot", f"{(length - top_of_body(instrument)) * MM:.1f} mm"
    yield "Air column, reed tip to foot", f"{length * MM:.1f} mm"
    inside = [radius for x, radius in instrument.bore.stations if x >= top_of_body(instrument) - 5e-5]
    yield "Bore of the body", f"{2 * min(inside) * MM:.2f} to {2 * max(inside) * MM:.2f} mm"
    fingers = sum(hole.kind is HoleKind.FINGER for hole in instrument.holes)
    yield "Tone holes", f"{len(instrument.holes)}, {fingers} of them under fingers"
    yield "Keys", str(len(report.system.keys))


def _sound_facts(report: ReportInput) -> Iterator[tuple[str, str]]:
    intonation = report.intonation
    for score in intonation.registers:
        if score.name in ("all", "all but forks", "forks"):
            yield f"Cents, {'all notes' if score.name == 'all' else score.name}", _figures(score)
    widths = [t.cents for t in intonation.twelfths if math.isfinite(t.cents)]
    if widths:
        yield "Twelfths", f"{signed_cents(min(widths))} to {signed_cents(max(widths))} cents"
    lost = ", ".join(note.written for note in intonation.lost)
    yield "Notes without a pitch", lost or "none"
    if report.barrel is not None:
        barrel = report.barrel
        yield (
            "Barrel pushed in",
            f"{signed_cents(barrel.pushed_in_cents)} cents, then RMS {barrel.pushed_in_rms:.1f}",
        )
        yield (
            "Barrel drawn out",
            f"{signed_cents(barrel.pulled_out_cents)} cents, then RMS {barrel.pulled_out_rms:.1f}",
        )


def _figures(score: RegisterScore) -> str:
    if math.isnan(score.rms_cents):
        return "no pitch"
    return f"RMS {score.rms_cents:.1f}, worst {signed_cents(score.worst_cents)}"


def _hand_facts(plan: SeatPlan | None) -> Iterator[tuple[str, str]]:
    if plan is None or not any(margin.severity is Severity.SOFT for margin in plan.margins):
        return
    tight = plan.binding or tightest(plan.margins)
    yield "Finger margin", f"{signed_cents(plan.finger_margin_sigma)} standard deviations"
    yield "Tightest", f"{tight.name}, {tight.subject}: {spare(tight)}"
