"""One call of `hand gauge`, from what was typed to files and words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from wrenpipe.constraints.hand import Hand
from wrenpipe.studies.cautions import CAUTIONS
from wrenpipe.studies.design_layout import aids_asked
from wrenpipe.studies.gauge_answers import read_answers
from wrenpipe.studies.gauge_files import ANSWERS_FILE, BUILD_HEIGHT, gauge_files, keep_answers
from wrenpipe.studies.gauge_making import Gauge, made_gauges
from wrenpipe.studies.gauge_result import gauge_result, result_report, result_values
from wrenpipe.studies.hand_asked import one_hand
from wrenpipe.studies.hand_known import known_hand_text, read_known_hand
from wrenpipe.studies.progress import steps
from wrenpipe.studies.store import json_text, require_folder, write_folder
from wrenpipe.studies.tables import show

__all__ = ["HAND_AFTER", "GaugeAsked", "answer_gauge"]

HAND_AFTER = "hand-after.json"


@dataclass(frozen=True, slots=True)
class GaugeAsked:
    """What was typed: texts and paths, None where nothing was said."""

    designs: tuple[Path, ...]
    out: Path
    glove: str | None = None
    hand: Path | None = None
    player: str | None = None
    result: Path | None = None
    aids: Sequence[str] | None = None
    height: str | None = None


def answer_gauge(asked: GaugeAsked, as_json: bool) -> None:
    """Make the gauges, or read their answers; raises RequestError."""
    with steps("Laying fingers; the first time on a machine, this compiles for up to 30 seconds.") as report:
        require_folder(asked.out)
        if asked.height is not None:
            BUILD_HEIGHT.read("--height", asked.height)
        if asked.result is None:
            keep_answers(asked.out)
        hand = _hand(asked)
        aids = None if asked.aids is None else aids_asked(asked.aids)
        report("finding seats")
        gauges = made_gauges(asked.designs, hand, aids)
        values, words = (_made if asked.result is None else _weighed)(asked, hand, gauges, report)
    if as_json:
        print(json_text(values))
    else:
        show(words)


def _hand(asked: GaugeAsked) -> Hand:
    """The hand that was named; a file in JSON is one that answers have left."""
    known = asked.hand is not None and asked.hand.suffix.lower() == ".json"
    if known and asked.hand is not None and asked.glove is None and asked.player is None:
        return read_known_hand(asked.hand)
    return one_hand(asked.glove, asked.hand, asked.player)


def _made(
    asked: GaugeAsked, hand: Hand, gauges: Sequence[Gauge], report: Callable[[str], None]
) -> tuple[dict[str, Any], RenderableType]:
    files = gauge_files(gauges, asked.height, report)
    write_folder(asked.out, files)
    values = {
        "schema": "wrenpipe.gauge/1",
        "hand": hand.origin,
        "sizes": [
            {
                "size": gauge.size.name,
                "finger_margin_sigma": round(gauge.seating.margin, 3),
                "places": len(gauge.places),
                "diameter_mm": round(2e3 * gauge.radius, 2),
                "length_mm": round(1e3 * (gauge.last - gauge.first), 1),
            }
            for gauge in gauges
        ],
        "folder": str(asked.out),
        "files": list(files),
    }
    sizes = ", ".join(gauge.size.words for gauge in gauges)
    questions = sum(len(gauge.places) for gauge in gauges)
    words = Group(
        Text(f"Finger gauge: {sizes}"),
        Text(f"Laid out for {hand.origin}."),
        Text(f"Written to {asked.out}: {', '.join(files)}"),
        Text(""),
        Text(
            "Paper: print the PDF at 100 % on ISO A4 and measure both check lines. Stick: print the STL or "
            "3MF in mm, standing, with supports under the arms only. Then write into "
            f"{ANSWERS_FILE} what fits, touches, reaches and closes, as many of the {questions} lines as you "
            f"like, and give the same command with --result {asked.out / ANSWERS_FILE}"
        ),
        Text(""),
        *(Text(f"Caution: {text}") for text in CAUTIONS if text.startswith(("Strain", "Children"))),
    )
    return values, words


def _weighed(
    asked: GaugeAsked, hand: Hand, gauges: Sequence[Gauge], report: Callable[[str], None]
) -> tuple[dict[str, Any], RenderableType]:
    assert asked.result is not None
    result = gauge_result(gauges, read_answers(asked.result, gauges), hand, report)
    write_folder(asked.out, {HAND_AFTER: known_hand_text(result.after).encode()})
    values = {**result_values(result, [HAND_AFTER]), "folder": str(asked.out)}
    return values, result_report(result, str(asked.out / HAND_AFTER))
