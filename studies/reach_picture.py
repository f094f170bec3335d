"""The picture of an answer: both hands on the unrolled body of the best instrument that was found."""

from __future__ import annotations

from wrenpipe.search.seat_plan import seat_plan
from wrenpipe.studies.drawings import body_drawing
from wrenpipe.studies.reaching import Answer

__all__ = ["PICTURE", "hands_picture"]

PICTURE = "hands.svg"


def hands_picture(answer: Answer) -> dict[str, bytes]:
    """The file by its name; of a size out of reach, the instrument that comes nearest."""
    programme, tuned = answer.programme, answer.reach.best
    instrument = programme.mapping.instrument(tuned.outcome.v)
    plan = seat_plan(programme, tuned)
    system = programme.mapping.space.system
    drawn = body_drawing(instrument, system, plan, hand=programme.hand)
    return {PICTURE: drawn}
