"""From an answer in indices to a strategy in dBm and masks."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from strategist.optimise.problem import Answer, Counts, Problem
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import DECIMALS, Reader
from strategist.survey.score import Difference

__all__ = ["finish"]

_RASTER_DB = 0.5  # cutoffs are rounded to this where that changes nothing and can be set


def finish(problem: Problem, answer: Answer) -> tuple[Strategy, Counts]:
    """The strategy in the survey's own units, and what the optimiser counts for it.

    The cutoff lies in the middle of the widest range that changes neither excess nor loss nor
    guarded loss; what is missed and stray may trade places where their weighted sum stays.
    """
    cutoff, counts = _cutoff(problem, answer) if answer.cutoff else (None, answer.counts)
    levels, in_db = problem.profile.levels_dbm, isinstance(problem.score, Difference)
    strategy = Strategy(
        levels_dbm=tuple(float(levels[i]) for i in answer.levels),
        stop_after=problem.policy.stop_after,
        cutoff_dbm=None if in_db else cutoff,
        masks=problem.masks(answer.chain),
        score=problem.score,
        cutoff_db=cutoff if in_db else None,
        step_s=problem.step_s,
    )
    return strategy, counts


def _cutoff(problem: Problem, answer: Answer) -> tuple[float, Counts]:
    """The cutoff, in the unit of the score, with what it comes to; of ranges as wide, the weaker.

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
    for low, high in _runs(problem, same):
        if high - low > widest[1] - widest[0]:
            widest = (low, high)
    cutoff_dbm = _middle(*widest, problem.policy.reader)
    return cutoff_dbm, counts[int(np.searchsorted(problem.thresholds, cutoff_dbm))]


def _runs(problem: Problem, same: list[bool]) -> Iterator[tuple[float, float]]:
    """The ranges (low, high] that are made of neighbouring ones with the same outcome."""
    runs: list[tuple[float, float]] = []
    for c in np.flatnonzero(same).tolist():
        low, high = problem.below[c], float(problem.thresholds[c])
        if runs and runs[-1][1] == low:
            low = runs.pop()[0]
        runs.append((low, high))
    return iter(runs)


def _middle(low: float, high: float, reader: Reader) -> float:
    """The middle of (low, high], on the raster where that stays inside and can be set.

    Else the cutoff nearest to the middle that can be set.
    """
    middle = (low + high) / 2
    for step_db in (_RASTER_DB, reader.rssi_step_db):
        if step_db is None:
            continue
        steps = (math.floor(middle / step_db), math.ceil(middle / step_db))
        near = [round(step * step_db, DECIMALS) for step in steps]
        inside = [dbm for dbm in near if low < dbm <= high and reader.can_set_cutoff(dbm)]
        if inside:
            return min(inside, key=lambda dbm: (abs(dbm - middle), dbm))
    return middle
