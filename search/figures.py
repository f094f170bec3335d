"""The figures of a tuned instrument, by which makers compare it with others."""

from __future__ import annotations

from wrenpipe.search.aims import MOST_MARGIN, Figures, key_count, worst_twelfth
from wrenpipe.search.tuner import Programme, Tuned

__all__ = ["figures_of"]


def figures_of(programme: Programme, tuned: Tuned) -> Figures:
    """Every aim's figure."""
    return Figures(
        intonation=tuned.weighted_rms,
        twelfths=worst_twelfth(tuned.cents, programme.twelfths),
        margin=min(tuned.margin, MOST_MARGIN),
        scatter=programme.mean_scatter(tuned.outcome.v),
        keys=key_count(programme.mapping.space.system),
    )
