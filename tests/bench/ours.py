"""This solver as a task of the benchmark.

Importing this file solves a tiny read point, so that loading the libraries is not counted as
solving.
"""

from __future__ import annotations

from strategist.optimise.clock import Clock
from strategist.optimise.problem import Answer, pose
from strategist.optimise.search import search
from strategist.optimise.tuning import DEFAULT, Tuning
from strategist.survey.records import ReadPoint
from tests.bench.made_large import large_read_point
from tests.bench.measure import Found

__all__ = ["by_search", "found_of"]


def by_search(read_point: ReadPoint, seconds: float | None, tuning: Tuning = DEFAULT) -> Found:
    """The whole order of preference, by the exact search."""
    clock = Clock(seconds)
    return found_of(search(pose(read_point.survey, read_point.policy, tuning), clock), clock)


def _warm_up() -> None:
    read_point = large_read_point(3, 3, 2, kinds=2)
    search(pose(read_point.survey, read_point.policy), Clock())


def found_of(answer: Answer, clock: Clock) -> Found:
    """The loss of an answer with its bound; proven where the rest of the order is so too."""
    return Found(answer.key[1], answer.bound[1], answer.proven and not clock.expired())


_warm_up()
