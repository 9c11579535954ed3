"""The frontier of the demo's read points against a single solve, in one process, on one core."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

from strategist.optimise.clock import Clock
from strategist.optimise.frontier import Sweep, sweep
from strategist.optimise.problem import Answer, pose
from strategist.optimise.scores import Parts
from strategist.optimise.search import search
from strategist.radio.complete import complete
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint

__all__ = ["frontiers"]

_DEMO = Path(__file__).parents[2] / "cases/linen-service"
_RUNS = 3
T = TypeVar("T")


def frontiers(limit: float) -> Iterator[str]:
    """Processor time of the whole frontier over that of one solve, the least of three runs each."""
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    yield "Frontier: all non-dominated points of the demo's read points, proven, against one"
    yield "solve for the weights of the site; both from the survey on. '× solve' compares"
    yield "processor time, the least of three runs each in turn."
    yield f"  {'read point':16}{'solve s':>9}{'frontier s':>12}{'× solve':>9}{'points':>8}"
    for point in read_case(_DEMO).read_points:
        whole = complete(point)
        _solved(whole, limit)  # compiles
        _swept(whole, limit)
        solves, sweeps = [], []
        for _ in range(_RUNS):
            solves.append(_timed(lambda w: _solved(w, limit), whole)[0])
            seconds, found = _timed(lambda w: _swept(w, limit), whole)
            sweeps.append(seconds)
        ratio = min(sweeps) / min(solves)
        proven = "proven" if not found.open else f"{len(found.open)} open"
        yield (
            f"  {point.name:16}{min(solves):>9.3f}{min(sweeps):>12.3f}{ratio:>9.1f}"
            f"{len(found.staircase.points):>8} {proven}"
        )


def _solved(whole: ReadPoint, limit: float) -> Answer:
    return search(pose(whole.survey, whole.policy), Clock(limit))


def _swept(whole: ReadPoint, limit: float) -> Sweep:
    return sweep(Parts.of(pose(whole.survey, whole.policy)), Clock(limit))


def _timed(work: Callable[[ReadPoint], T], whole: ReadPoint) -> tuple[float, T]:
    started = time.process_time()
    found = work(whole)
    return time.process_time() - started, found
