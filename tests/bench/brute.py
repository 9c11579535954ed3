"""Brute force as a task of the benchmark: every strategy, replayed one by one."""

from __future__ import annotations

from strategist.survey.records import ReadPoint
from tests.bench.measure import Found
from tests.optimise.made import brute_force

__all__ = ["by_brute_force"]


def by_brute_force(read_point: ReadPoint, seconds: float | None) -> Found:
    """The least loss of all strategies; it knows no limit (`seconds`) and is ended from outside."""
    key, _ = brute_force(read_point)
    return Found(key[1], key[1], True)
