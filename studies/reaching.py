"""Answers "can this hand play that size": the verdict, what binds, what would help, how small it goes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wrenpipe.constraints.aids import OFFSET_HOLES, REAR_ARMS
from wrenpipe.model.intonation import Intonation, judge
from wrenpipe.search.reach import Reach, Verdict, free_optimum, greatest_margin
from wrenpipe.search.sizes import SizeLimit, larger_neighbour, smallest_reachable
from wrenpipe.search.tuner import Programme, Tuned
from wrenpipe.studies.question import Question

__all__ = ["AID_SETS", "Answer", "answer_question", "intonation_of"]

Report = Callable[[str], None]

AID_SETS: tuple[frozenset[str], ...] = (
    frozenset({REAR_ARMS}),
    frozenset({OFFSET_HOLES}),
    frozenset({REAR_ARMS, OFFSET_HOLES}),
)
"""Tried in this order when the plain instrument does not fit: fewest changes of the tone holes first."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One question answered.

    aids: those of `reach`. asked: the reach by exactly the aids that were asked for; the same as
    `reach` unless others had to be sought. smallest: the smallest size, by the aids asked for.
    """

    question: Question
    programme: Programme
    reach: Reach
    asked: Reach
    verdict: Verdict
    aids: frozenset[str]
    intonation: Intonation
    smallest: SizeLimit


def answer_question(question: Question, report: Report | None = None) -> Answer:
    """Decide one size for one hand. Without aids asked for, the cheapest set that helps is sought."""
    tolerance = question.tolerance
    programme = question.programme()
    free = free_optimum(programme, tolerance, report)
    hint = larger_neighbour(question.programme, question.size, programme, tolerance)
    asked = greatest_margin(programme, free, tolerance, hint=hint, report=report)
    verdict, aids, reach = asked.verdict, question.aids, asked
    if asked.verdict is Verdict.REACHABLE and question.aids:
        plain = question.programme(aids=frozenset())
        without = greatest_margin(
            plain, free_optimum(plain, tolerance, report), tolerance, decide_only=True, report=report
        )
        if without.verdict is not Verdict.REACHABLE:
            verdict = Verdict.WITH_AIDS
    elif asked.verdict is not Verdict.REACHABLE and not question.aids:
        for candidate in AID_SETS:
            helped = question.programme(aids=candidate)
            if report is not None:
                report(f"trying {' and '.join(sorted(candidate))}")
            its_free = free_optimum(helped, tolerance, report)
            first = greatest_margin(helped, its_free, tolerance, decide_only=True, report=report)
            if first.verdict is Verdict.REACHABLE:
                reach = greatest_margin(helped, its_free, tolerance, report=report)
                verdict, aids, programme = Verdict.WITH_AIDS, candidate, helped
                break
    smallest = smallest_reachable(
        question.programme, question.size, question.programme(), asked, tolerance, report
    )
    intonation = intonation_of(question, programme, reach.best)
    return Answer(question, programme, reach, asked, verdict, aids, intonation, smallest)


def intonation_of(question: Question, programme: Programme, tuned: Tuned) -> Intonation:
    """A tuned instrument's notes, judged."""
    playing = tuned.playing
    return judge(
        question.system.chart,
        programme.mapping.size,
        playing.hz.tolist(),
        playing.peak.tolist(),
        playing.status,
        question.pitch_standard_hz,
    )
