"""Answers "can this hand play that size": the verdict, what binds, what would help, how small it goes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wrenpipe.model.intonation import Intonation, judge
from wrenpipe.search.aid_search import AidSearch, cheapest_aids
from wrenpipe.search.likelihood import Likelihood, likelihood_of
from wrenpipe.search.reach import Reach, Verdict, free_optimum, greatest_margin
from wrenpipe.search.sizes import SizeLimit, larger_neighbour, smallest_reachable
from wrenpipe.search.tuner import Programme, Tuned
from wrenpipe.studies.question import Question

__all__ = ["Answer", "answer_question", "intonation_of"]

Report = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Answer:
    """One question answered.

    aids: those of `reach`. asked: the reach by exactly the aids that were asked for; the same as
    `reach` unless others had to be sought. search: how those were sought, None when they were not.
    likelihood: that this player can play the instrument of `reach`; asked_likelihood: that of `asked`.
    smallest: the smallest size, by the aids asked for.
    """

    question: Question
    programme: Programme
    reach: Reach
    asked: Reach
    verdict: Verdict
    aids: frozenset[str]
    intonation: Intonation
    smallest: SizeLimit
    likelihood: Likelihood
    asked_likelihood: Likelihood
    search: AidSearch | None = None


def answer_question(question: Question, report: Report | None = None) -> Answer:
    """Decide one size for one hand. Without aids asked for, the cheapest set that helps is sought."""
    tolerance = question.tolerance
    programme = question.programme()
    free = free_optimum(programme, tolerance, report)
    hint = larger_neighbour(question.programme, question.size, programme, tolerance)
    asked = greatest_margin(programme, free, tolerance, hint=hint, report=report)
    verdict, aids, reach, search = asked.verdict, question.aids, asked, None
    asked_likelihood = likelihood = likelihood_of(programme, asked)
    if asked.verdict is Verdict.REACHABLE and question.aids:
        plain = question.programme(aids=frozenset())
        without = greatest_margin(
            plain, free_optimum(plain, tolerance, report), tolerance, decide_only=True, report=report
        )
        if without.verdict is not Verdict.REACHABLE:
            verdict = Verdict.WITH_AIDS
    elif asked.verdict is not Verdict.REACHABLE and not question.aids:
        search = cheapest_aids(lambda some: question.programme(aids=some), asked, tolerance, report)
        if search.helped is not None:
            verdict, aids = Verdict.WITH_AIDS, search.helped.aids
            programme, reach = search.helped.programme, search.helped.reach
            likelihood = likelihood_of(programme, reach)
    smallest = smallest_reachable(
        question.programme, question.size, question.programme(), asked, tolerance, report
    )
    intonation = intonation_of(question, programme, reach.best)
    return Answer(
        question, programme, reach, asked, verdict, aids, intonation, smallest, likelihood, asked_likelihood,
        search,
    )  # fmt: skip


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
