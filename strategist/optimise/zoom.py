"""Surveys of very many levels: a good strategy on few of them first, then on their neighbours.

Bounds of ladders are tables of levels by levels. With thousands of levels one of them takes
seconds, and a search under a time limit would end with the first strategy it meets. So some levels
are chosen from evenly, then those near the steps that were best: what that finds is a strategy of
the whole choice, and the search over all levels begins from it where time is left.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.problem import Answer, Problem, answer_at
from strategist.optimise.search import search
from strategist.survey.records import Ints

__all__ = ["few_levels", "is_wide", "on_levels", "search_in_time"]

_WIDE = 800  # levels; from here on a bound takes a good part of a second
_GRID, _COARSE = 240, 60  # levels evenly spread: at first, and beside the neighbours later
_NEAR = 24  # neighbours on either side of a step
_ROUNDS = 3
_SECONDS_A_PAIR = 2e-7  # of levels, for one bound of ladders, measured


def is_wide(problem: Problem, clock: Clock) -> bool:
    """Whether there are too many levels to begin with all of them in the time given."""
    return clock.seconds is not None and len(problem.profile.levels_dbm) > _WIDE


def search_in_time(problem: Problem, clock: Clock, known: Answer | None = None) -> Answer:
    """As `search`; with a time limit and very many levels it begins with few of them."""
    if not is_wide(problem, clock):
        return search(problem, clock, known)
    best, keep = known, few_levels(problem)
    for left in range(_ROUNDS, 0, -1):
        seconds = (clock.left or 0.0) / (left + 1)
        part = search(on_levels(problem, keep), Clock(seconds))
        levels = tuple(keep[list(part.levels)].tolist())
        found = answer_at(problem, part.chain, part.cutoff, levels)
        best = found if best is None else min(best, found, key=lambda one: one.key)
        if clock.expired():
            break
        keep = few_levels(problem, best.levels)
    assert best is not None
    if (clock.left or 0.0) < _SECONDS_A_PAIR * len(problem.profile.levels_dbm) ** 2:
        return best.bounded((0.0, 0.0), None)
    return search(problem, clock, best)


def few_levels(problem: Problem, near: tuple[int, ...] = ()) -> Ints:
    """Some level indices, evenly spread; with neighbours of those given."""
    levels = len(problem.profile.levels_dbm)
    spread = np.linspace(0, levels - 1, _COARSE if near else _GRID).astype(int)
    beside = np.add.outer(np.array(near, int), np.arange(-_NEAR, _NEAR + 1)).reshape(-1)
    found: Ints = np.unique(np.clip(np.concatenate([spread, beside]), 0, levels - 1))
    return found


def on_levels(problem: Problem, keep: Ints) -> Problem:
    """The same choice among some of the levels."""
    some = np.isin(np.arange(len(problem.profile.levels_dbm)), keep)
    return replace(
        problem,
        profile=problem.profile.at_levels(some),
        guarded=problem.guarded.at_levels(some),
    )
