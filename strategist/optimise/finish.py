"""From an answer in indices to a strategy in dBm and masks."""

from __future__ import annotations

import itertools
import math

import numpy as np

from strategist.optimise.problem import Answer, Counts, Problem
from strategist.optimise.strategy import Strategy

__all__ = ["finish"]

_RASTER_DB = 0.5  # cutoffs are rounded to this where that changes nothing


def finish(problem: Problem, answer: Answer) -> tuple[Strategy, Counts]:
    """The strategy in the survey's own units, and what the optimiser counts for it.

    The cutoff lies in the middle of the widest range that changes neither excess nor loss nor
    guarded loss; what is missed and stray may trade places where their weighted sum stays.
    """
    cutoff_dbm, counts = _cutoff(problem, answer) if answer.cutoff else (None, answer.counts)
    levels = problem.profile.levels_dbm
    strategy = Strategy(
        levels_dbm=tuple(float(levels[i]) for i in answer.levels),
        stop_after=problem.policy.stop_after,
        cutoff_dbm=cutoff_dbm,
        masks=problem.masks(answer.chain),
    )
    return strategy, counts


def _cutoff(problem: Problem, answer: Answer) -> tuple[float, Counts]:
    """The cutoff in dBm, with what it comes to; of ranges equally wide, the weaker one.

    What holds on a range (low, high] is decided by replay, with ladder and masks as they are.
    """
    through = problem.selection(answer.chain)
    cutoffs = range(len(problem.thresholds))
    counts = [problem.replay(answer.levels, c, through) for c in cutoffs]
    same = [(problem.excess(c), problem.loss(c)) == answer.key[:2] for c in counts]
    guarded = problem.under_guard()
    for c in np.flatnonzero(same).tolist():
        same[c] = problem.loss(guarded.replay(answer.levels, c, through)) == answer.key[2]
    same[0] = False  # no cutoff is not a range of cutoffs
    widest = (0.0, 0.0)
    for alike, run in itertools.groupby(range(len(same)), key=same.__getitem__):
        numbers = list(run)
        if alike:
            low, high = problem.below[numbers[0]], float(problem.thresholds[numbers[-1]])
            if high - low > widest[1] - widest[0]:
                widest = (low, high)
    cutoff_dbm = _middle(*widest)
    return cutoff_dbm, counts[int(np.searchsorted(problem.thresholds, cutoff_dbm))]


def _middle(low: float, high: float) -> float:
    """The middle of (low, high], on the raster where that stays inside."""
    middle = (low + high) / 2
    steps = (math.floor(middle / _RASTER_DB), math.ceil(middle / _RASTER_DB))
    inside = [step * _RASTER_DB for step in steps if low < step * _RASTER_DB <= high]
    return min(inside, key=lambda c: (abs(c - middle), c)) if inside else middle
