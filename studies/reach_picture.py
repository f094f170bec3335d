"""The picture of an answer: both hands on the unrolled body of the best instrument that was found."""

from __future__ import annotations

from wrenpipe.search.reach import Verdict
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
    drawn = body_drawing(instrument, system, plan, hand=programme.hand, note=_note(answer))
    return {PICTURE: drawn}


def _note(answer: Answer) -> str:
    """Whose hands these are, and what the instrument is to them."""
    aids = f" with {' and '.join(sorted(answer.aids))}" if answer.aids else ""
    said = {
        Verdict.REACHABLE: f"Reachable{aids}.",
        Verdict.WITH_AIDS: f"Reachable{aids}, not without.",
        Verdict.NOT_REACHABLE: f"Not reachable{aids}: this comes nearest.",
        Verdict.UNDECIDED: f"Undecided{aids}: as far as the search came.",
    }[answer.verdict]
    return f"For {answer.question.hand.origin}. {said}"
