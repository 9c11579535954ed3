"""This solver, and brute force, as tasks of the benchmark."""

from __future__ import annotations

from strategist.optimise.problem import Answer, pose
from strategist.optimise.search import Clock, search
from strategist.survey.records import ReadPoint
from tests.bench.measure import Found

__all__ = ["by_search", "found_of"]


def by_search(read_point: ReadPoint, seconds: float | None) -> Found:
    """The whole order of preference, by the exact search."""
    clock = Clock(seconds)
    return found_of(search(pose(read_point.survey, read_point.policy), clock), clock)


def found_of(answer: Answer, clock: Clock) -> Found:
    """The loss of an answer with its bound; proven where the rest of the order is so too."""
    return Found(answer.key[1], answer.bound[1], answer.proven and not clock.expired())
