"""What a player may measure of a hand: with what, how, and what it decides; what matters most comes first.

The order is that of what binds on small instruments: fingers side by side, then joints, then spans.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from wrenpipe.constraints.proportions import proportions
from wrenpipe.studies.convert import in_mm

__all__ = [
    "GROUPS",
    "MEASURED_IN_ORDER",
    "MeasureGroup",
    "field_name",
    "group_of_measure",
    "letter_of",
    "tools_words",
]


@dataclass(frozen=True, slots=True)
class MeasureGroup:
    """Measures taken with the same tool in the same way.

    names: as in the hand model, what matters most first. how: one or two sentences. decides: what of an
    instrument hangs on them.
    """

    title: str
    names: tuple[str, ...]
    tool: str
    how: str
    decides: str


GROUPS: Final[tuple[MeasureGroup, ...]] = (
    MeasureGroup(
        "fingertips",
        ("index_breadth", "middle_breadth", "ring_breadth", "little_breadth", "thumb_breadth"),
        "caliper",
        "Across the pad, half way along the last segment. Let the caliper touch both sides without pressing.",
        "how close two holes may lie, and how large a hole the finger seals",
    ),
    MeasureGroup(
        "joints",
        (
            "index_joint_breadth",
            "middle_joint_breadth",
            "ring_joint_breadth",
            "little_joint_breadth",
            "thumb_joint_breadth",
        ),
        "caliper",
        "Across the first joint beyond the knuckle, where the finger is widest, the finger a little bent.",
        "whether the fingers pass side by side, and where a key's arm may run",
    ),
    MeasureGroup(
        "hand breadth",
        ("hand_breadth",),
        "ruler",
        "Hand flat, fingers together: straight across the four knuckles, without the thumb.",
        "every finger's breadth that was not measured, and how far the hand spreads",
    ),
    MeasureGroup(
        "hand length",
        ("hand_length",),
        "ruler",
        "Hand flat: from the wrist's crease nearest to the palm to the tip of the middle finger.",
        "how far the fingers reach along the body",
    ),
    MeasureGroup(
        "spans",
        ("index_middle_span", "middle_ring_span", "ring_little_span"),
        "ruler",
        "Fingers curved as on the instrument, pads on the ruler, these two as far apart as they go without "
        "strain: from the middle of one pad to the middle of the other.",
        "the largest instruments: how far apart two holes may lie",
    ),
    MeasureGroup(
        "thumb to index",
        ("thumb_index_span",),
        "ruler, tube",
        "Hold a tube of about 18 mm, thumb behind, index finger in front, as far apart along it as they go: "
        "from the middle of one pad to the middle of the other, along the tube.",
        "where the thumb's hole or rest may lie under the index finger",
    ),
    MeasureGroup(
        "girth",
        ("hand_circumference",),
        "tape, or paper",
        "Once around the four knuckles, without the thumb, the hand open and flat.",
        "the hand's breadth and fingers, where those were not measured; the glove size",
    ),
)

MEASURED_IN_ORDER: Final[tuple[str, ...]] = tuple(name for group in GROUPS for name in group.names)
# I and O would be taken for numbers.
LETTERS: Final = "ABCDEFGHJKLMNPQRS"


def letter_of(name: str) -> str:
    """The letter that stands for a measure on the printed sheet."""
    return LETTERS[MEASURED_IN_ORDER.index(name)]


def field_name(name: str) -> str:
    """A measure's name in a hand's file."""
    return f"{name}_mm"


def group_of_measure(name: str) -> MeasureGroup:
    """The group that a measure belongs to."""
    return next(group for group in GROUPS if name in group.names)


def tools_words() -> str:
    """How well each tool is taken to measure."""
    shape = proportions()
    return (
        f"a caliper is taken to be good for {in_mm(shape.finger_measuring_sd):g} mm, ruler and tape for "
        f"{in_mm(shape.hand_measuring_sd):g} mm, a span for {100.0 * shape.span_measuring_relative_sd:g} %"
    )
