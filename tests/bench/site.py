"""Made sites of any size, planned: `python -m tests.bench.site [--sizes 20x3 …] [--seconds 300]`.

READERSxPOINTS, each reader sharing masks and cutoff among its read points. Prints the gap that is
proven over all plans, the loss over the bound of each for itself, and processor time. `--curve`
adds the loss against the number of settings and against the budget.
"""

from __future__ import annotations

import argparse
import resource
import time
from dataclasses import replace
from functools import cache

import numpy as np

from strategist.batch.site_plan import plan_site
from strategist.batch.site_plan_text import site_plan_text
from strategist.commands.processes import all_processors
from strategist.optimise.clock import Clock
from strategist.optimise.site.asked import Alternative, ReaderOf, SiteProblem
from strategist.optimise.site.plan import SitePlanner
from strategist.survey.case import Case
from strategist.survey.policy import Loss, Policy, Reader
from strategist.survey.records import Floats, ReadPoint, Tag
from strategist.survey.site import Cost, SharedReader
from tests.bench.made_large import _survey, _tags

_KINDS, _OF_KIND = 12, 12
_KIND_OF = np.repeat(np.arange(_KINDS), _OF_KIND)


def made_point(name: str, seed: int, passes: int, levels: int, tags: int) -> ReadPoint:
    """A read point that wants tags near it, mostly of three kinds out of twelve that all read
    points see; two of the three are those of its neighbours, too."""
    rng = np.random.default_rng(seed)
    pool = _pool()
    near = (seed + np.arange(3)) % _KINDS
    chosen = np.array([rng.choice(len(pool), tags, replace=False) for _ in range(passes)])
    wanted = rng.random(chosen.shape) < np.where(np.isin(_KIND_OF[chosen], near), 0.7, 0.03)
    wanted[:, 0] |= ~wanted.any(axis=1)
    turn_on = np.where(
        wanted,
        rng.normal(levels * 0.4, 1.5, wanted.shape),
        rng.normal(levels * 0.8, 3.0, wanted.shape),
    )[:, :, None]
    level = np.arange(levels)
    read = (level >= turn_on) & (rng.random((*wanted.shape, levels)) > 0.04)
    rssi = -72.0 + 2 * (level - turn_on) + rng.normal(0, 1.5, (*wanted.shape, 1))
    peaks: Floats = np.clip(np.round(rssi), -100.0, -30.0)
    survey = replace(_survey(pool, chosen, wanted, read, peaks), read_point=name)
    reader = Reader(ladder_steps_max=3, mask_slots=2, rssi_step_db=1.0)
    policy = Policy(loss=Loss(float(rng.integers(2, 6)), 1.0), stop_after=1, reader=reader)
    return ReadPoint(survey, policy)


@cache
def _pool() -> list[Tag]:
    rng = np.random.default_rng(0)
    return [tag for kind in range(_KINDS) for tag in _tags(rng, kind, _OF_KIND)]


def made_points(count: int, passes: int, levels: int, tags: int) -> list[ReadPoint]:
    """Read points that all see the same kinds of tags."""
    return [made_point(f"rp{n:04d}", n, passes, levels, tags) for n in range(count)]


def made_site(readers: int, points: int, size: tuple[int, int, int]) -> Case:
    """A case of so many readers with so many read points each."""
    every = made_points(readers * points, *size)
    shared = {
        f"reader-{r:03d}": SharedReader(
            tuple(one.name for one in every[r * points : (r + 1) * points])
        )
        for r in range(readers)
    }
    return Case("Made", tuple(every), shared, Cost(visit=100.0))


def _problem(case: Case) -> SiteProblem:
    names = tuple(one.name for one in case)
    readers = tuple(
        ReaderOf(name, tuple(names.index(p) for p in one.read_points), one.shares)
        for name, one in case.readers.items()
    )
    points = tuple((Alternative(None, one.survey, one.policy),) for one in case)
    return SiteProblem(names, points, readers, visit=case.cost.visit)


def _spent() -> float:
    """Processor seconds of this process and of those that ended."""
    own = resource.getrusage(resource.RUSAGE_SELF)
    others = resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime


def measure(readers: int, points: int, size: tuple[int, int, int], seconds: float) -> str:
    """One line: a site planned within so many seconds."""
    problem = _problem(made_site(readers, points, size))
    began, started = time.monotonic(), _spent()
    with all_processors() as mapped:
        planner = SitePlanner(problem, Clock(seconds), mapped=mapped)
        plan = planner.plan()
        proven = sum(one.bound >= one.best for solved in planner.solved for one in solved)
        alone = sum(solved[0].alone[1] for solved in planner.solved)
    bound = plan.bound[1] if plan.bound[0] >= plan.excess else 0.0
    gap = (plan.loss - bound) / plan.loss if plan.loss else 0.0
    return (
        f"{readers:5} x {points}  loss {plan.loss:9g}  bound {bound:9g}  gap {gap:7.2%}  "
        f"apart {alone:9g}  readers proven {proven:5}  {_spent() - started:7.1f} s of processor, "
        f"{time.monotonic() - began:6.1f} s"
    )


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.site", description=__doc__)
    parser.add_argument("--sizes", nargs="+", default=["4x3", "20x3"], metavar="RxP")
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--survey", type=int, nargs=3, default=(10, 8, 8), metavar="N")
    parser.add_argument("--curve", action="store_true")
    given = parser.parse_args()
    for text in given.sizes:
        readers, points = map(int, text.split("x"))
        print(measure(readers, points, tuple(given.survey), given.seconds), flush=True)
        if given.curve:
            case = made_site(readers, points, tuple(given.survey))
            plan = plan_site(case, time_limit_s=given.seconds, workers=2)
            print(site_plan_text(plan), flush=True)


if __name__ == "__main__":
    main()
