"""Made sites of any size, planned: `python -m tests.bench.site [--sizes 20x3 80x3 250x4]`.

READERSxPOINTS, each reader sharing masks and cutoff among its read points. Prints the gap that is
proven over all plans, the loss over the bound of each for itself, and processor time. `--pairs`
lets the host discard one of two reports. `--settings` and `--budgets` (shares of what the plan
without a budget costs) add the loss against both, with the bound over all plans and that over the
columns.

The readers are solved by the batch's engine: `--workers` processes, or a Dask scheduler. What was
solved is kept in the folder `--kept`, and with `--turn` the run ends after about so many seconds:
the same command again carries on. Times are summed over the turns.
"""

from __future__ import annotations

import argparse
import pickle
import resource
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np

from strategist.batch.site_plan import mapped, planner_of
from strategist.batch.site_posed import Posed
from strategist.optimise.clock import Clock
from strategist.optimise.site.asked import Plan
from strategist.survey.case import Case
from strategist.survey.policy import Loss, Policy, Reader
from strategist.survey.records import Floats, ReadPoint, Tag
from strategist.survey.site import Arbitration, Cost, SharedReader
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
    loss = Loss(float(rng.integers(2, 6)), 1.0)
    return ReadPoint(survey, Policy(aim="survey", loss=loss, stop_after=1, reader=reader))


def made_pair(
    names: Sequence[str], seed: int, passes: int, levels: int, tags: int
) -> list[ReadPoint]:
    """Two read points at which the same passes are presented: a tag that one wants the other hears
    later, and mostly weaker, as a stray. What they want is of the same kinds."""
    rng = np.random.default_rng(seed)
    pool, level = _pool(), np.arange(levels)
    chosen = np.array([rng.choice(len(pool), tags, replace=False) for _ in range(passes)])
    here = rng.random(chosen.shape) < 0.5
    found = []
    for name, wanted in zip(names, (here, ~here), strict=True):
        at = np.where(wanted, levels * 0.3, levels * 0.6)
        turn_on = (at + rng.normal(0, 1.5, wanted.shape))[:, :, None]
        read = (level >= turn_on) & (rng.random((*wanted.shape, levels)) > 0.04)
        rssi = -72.0 + 2 * (level - turn_on) + rng.normal(0, 1.5, (*wanted.shape, 1))
        peaks: Floats = np.clip(np.round(rssi), -100.0, -30.0)
        survey = replace(_survey(pool, chosen, wanted, read, peaks), read_point=name)
        reader = Reader(ladder_steps_max=3, mask_slots=2, rssi_step_db=1.0)
        loss = Loss(float(rng.integers(2, 6)), 1.0)
        policy = Policy(aim="survey", loss=loss, stop_after=tags, reader=reader)
        found.append(ReadPoint(survey, policy))
    return found


@cache
def _pool() -> list[Tag]:
    rng = np.random.default_rng(0)
    return [tag for kind in range(_KINDS) for tag in _tags(rng, kind, _OF_KIND)]


def made_points(count: int, passes: int, levels: int, tags: int) -> list[ReadPoint]:
    """Read points that all see the same kinds of tags."""
    return [made_point(f"rp{n:04d}", n, passes, levels, tags) for n in range(count)]


def made_site(
    readers: int, points: int, size: tuple[int, int, int], *, pairs: bool = False
) -> Case:
    """A case of so many readers with so many read points each; in `pairs` each two of them hear
    each other's tags."""
    every = made_points(readers * points, *size)
    rules = {}
    for first in range(0, len(every) - 1, 2) if pairs else ():
        names = (every[first].name, every[first + 1].name)
        every[first : first + 2] = made_pair(names, first, *size)
        rules[names[0]] = Arbitration(names)
    shared = {
        f"reader-{r:03d}": SharedReader(
            tuple(one.name for one in every[r * points : (r + 1) * points])
        )
        for r in range(readers)
    }
    return Case("Made", tuple(every), shared, Cost(visit=100.0), rules)


_SLICE = 25  # readers between two looks at the clock


def _spent() -> float:
    """Processor seconds of this process and of those that ended."""
    own = resource.getrusage(resource.RUSAGE_SELF)
    others = resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime


@dataclass
class Kept:
    """What was worked out of a site so far, in a file (None: in memory alone)."""

    path: Path | None
    ends: float
    map: Callable[[Callable[[Any], Any], Sequence[Any]], list[Any]]
    found: dict[tuple[str, Any], Any] = field(default_factory=dict)
    wall_s: float = 0.0
    processor_s: float = 0.0
    calls: int = 0

    def __post_init__(self) -> None:
        if self.path is not None and self.path.exists():
            self.found, self.wall_s, self.processor_s = pickle.loads(self.path.read_bytes())
        self._began, self._started = time.monotonic(), _spent()

    def mapped(self, function: Callable[[Any], Any], tasks: Sequence[Any]) -> list[Any]:
        """A `map` that goes on where it stopped."""
        name = f"{getattr(function, '__name__', 'elsewhere')} {self.calls}"
        self.calls += 1
        left = [n for n in range(len(tasks)) if (name, n) not in self.found]
        for some in (left[n : n + _SLICE] for n in range(0, len(left), _SLICE)):
            answers = self.map(function, [tasks[n] for n in some])
            self.found |= {(name, n): one for n, one in zip(some, answers, strict=True)}
            self.save()
        return [self.found[name, n] for n in range(len(tasks))]

    def once(self, key: tuple[str, Any], function: Callable[[], Plan]) -> Plan:
        if key not in self.found:
            self.found[key] = function()
            self.save()
        plan: Plan = self.found[key]
        return plan

    def save(self) -> None:
        """Also ends the run where its turn is over."""
        now, spent = time.monotonic(), _spent()
        self.wall_s += now - self._began
        self.processor_s += spent - self._started
        self._began, self._started = now, spent
        if self.path is not None:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self.path.write_bytes(pickle.dumps((self.found, self.wall_s, self.processor_s)))
            if now > self.ends:
                print(f"turn over: {len(self.found)} pieces kept; run it again", flush=True)
                sys.exit(75)


def _row(name: str, plan: Plan) -> str:
    bound = plan.bound[1] if plan.bound[0] >= plan.excess else 0.0
    pool = plan.pool_bound[1] if plan.pool_bound[0] >= plan.excess else 0.0
    gap = (plan.loss - bound) / plan.loss if plan.loss else 0.0
    return (
        f"{name:>16}  loss {plan.loss:9g}  bound {bound:9g}  gap {gap:7.2%}  over the columns "
        f"{pool:9g}  settings {plan.settings:4}  price {plan.price:g}"
    )


def measure(readers: int, points: int, kept: Kept, given: argparse.Namespace) -> Iterator[str]:
    """The lines of a site: planned, and its curves."""
    case = made_site(readers, points, tuple(given.survey), pairs=given.pairs)
    if given.expected:
        aimed = (replace(one, policy=replace(one.policy, aim="expected")) for one in case)
        case = replace(case, read_points=tuple(aimed))
    posed, places = Posed.of(case, {}), max(1, given.workers)
    planner = planner_of(posed, Clock(given.seconds), 0, kept.mapped, places)
    plan = kept.once(("plan", None), planner.plan)
    proven = sum(one.proven for solved in planner.solved for one in solved)
    alone = sum(solved[0].alone[1] for solved in planner.solved)
    yield _row(f"{readers} x {points}", plan)
    yield f"{'':16}  apart {alone:g}, readers proven {proven} of {readers}; {_time(kept)}"
    limit = given.seconds / 10
    if given.pairs:
        yield _row("without rules", kept.once(("bare", None), partial(planner.plan, rules=False)))
    for most in given.settings:
        of_most = partial(planner.plan, most, clock=Clock(limit))
        yield _row(f"{most} settings", kept.once(("settings", most), of_most))
    for share in given.budgets:
        money = round(share * plan.price, 2)
        of_money = partial(planner.plan, None, money, clock=Clock(limit))
        yield _row(f"budget {money:g}", kept.once(("budget", share), of_money))
    if given.settings or given.budgets:
        yield f"{'':16}  with the curves {_time(kept)}"


def _time(kept: Kept) -> str:
    return f"{kept.processor_s:.1f} s of processor, {kept.wall_s:.1f} s"


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.site", description=__doc__)
    parser.add_argument("--sizes", nargs="+", default=["4x3", "20x3"], metavar="RxP")
    parser.add_argument("--seconds", type=float, default=300.0, help="time limit of a site")
    parser.add_argument("--survey", type=int, nargs=3, default=(10, 8, 8), metavar="N")
    parser.add_argument("--expected", action="store_true", help="plan for passes to come")
    parser.add_argument("--pairs", action="store_true", help="each two hear each other's tags")
    parser.add_argument("--settings", type=int, nargs="+", default=[], metavar="K")
    parser.add_argument("--budgets", type=float, nargs="+", default=[], metavar="SHARE")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--scheduler")
    parser.add_argument("--kept", type=Path, metavar="FOLDER")
    parser.add_argument("--turn", type=float, default=float("inf"), metavar="S")
    given = parser.parse_args()
    ends = time.monotonic() + given.turn
    for text in given.sizes:
        readers, points = map(int, text.split("x"))
        path = (
            given.kept
            and given.kept / f"{text}{'-pairs' * given.pairs}{'-expected' * given.expected}.pickle"
        )
        kept = Kept(path, ends, partial(mapped, given.workers, given.scheduler))
        for line in measure(readers, points, kept, given):
            print(line, flush=True)


if __name__ == "__main__":
    main()
