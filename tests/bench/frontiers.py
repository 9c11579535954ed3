"""The frontier of the demo's read points against a single solve, in one process, on one core."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from statistics import fmean
from typing import Literal, TypeVar

from strategist.answers.frontier import trace_frontier
from strategist.answers.solution import Options, solve
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint

__all__ = ["frontiers"]

_DEMO = Path(__file__).parents[2] / "cases/linen-service"
_RUNS = 3
_AIMS: tuple[Literal["expected", "survey"], ...] = ("expected", "survey")
T = TypeVar("T")


def frontiers(limit: float) -> Iterator[str]:
    """Processor time of trade-offs over that of one solve, the least of three runs each."""
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    options = Options(total_limit_s=limit)
    yield "Trade-offs of the demo's read points, proven, against one solve; '× solve' compares"
    yield "processor time, the least of three runs each in turn."
    yield f"  {'aim':10}{'read point':16}{'solve s':>9}{'all s':>12}{'× solve':>9}{'points':>8}"
    for aim in _AIMS:
        ratios = []
        for surveyed in read_case(_DEMO).read_points:
            point = replace(surveyed, policy=replace(surveyed.policy, aim=aim))
            solve(point, options)  # loads what is compiled
            trace_frontier(point, options)
            solves, sweeps = [], []
            for _ in range(_RUNS):
                solves.append(_timed(lambda one: solve(one, options), point)[0])
                seconds, found = _timed(lambda one: trace_frontier(one, options), point)
                sweeps.append(seconds)
            ratios.append(min(sweeps) / min(solves))
            yield (
                f"  {aim:10}{point.name:16}{min(solves):>9.3f}{min(sweeps):>12.3f}"
                f"{ratios[-1]:>9.1f}{len(found.points):>8} {found.status}"
            )
        yield f"  {aim:10}{'mean':37}{fmean(ratios):>9.1f}"


def _timed(work: Callable[[ReadPoint], T], whole: ReadPoint) -> tuple[float, T]:
    started = time.process_time()
    found = work(whole)
    return time.process_time() - started, found
