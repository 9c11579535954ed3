"""The tables of the benchmark: a race against other ways, growth, and large surveys."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from strategist.optimise.problem import pose
from tests.bench.frontiers import frontiers
from tests.bench.measure import Measured, Size, measure
from tests.bench.switches import SWITCHES

__all__ = ["TABLES", "ContradictionError", "Plan", "growth", "large", "race", "switches"]

OURS = "tests.bench.ours:by_search"
OTHERS = {
    "straightforward MIP, HiGHS": "tests.bench.solvers:by_highs",
    "straightforward MIP, CBC": "tests.bench.solvers:by_cbc",
    "straightforward, CP-SAT": "tests.bench.cp_sat:by_cp_sat",
    "own model, HiGHS": "tests.bench.solvers:by_own_model",
}
BRUTE = "tests.bench.brute:by_brute_force"
BRUTE_MOST = 100_000  # strategies; about half a millisecond each
SAME = 1e-5  # losses that differ by less, times their size above 1, are one

TINY = Size(4, 3, 2, kinds=2, rssi_values=5, steps=2, slots=2)
SMALL = Size(6, 5, 3, kinds=3, rssi_values=7, steps=2, slots=2)
QUICK = (TINY, SMALL, Size(12, 6, 3, kinds=6, rssi_values=8, steps=3, slots=2))
REAL = Size(60, 13, 5, kinds=47, rssi_values=60)  # 20 cutoffs, 92 masks
REALS = (replace(REAL, slots=2), REAL)
RACE = (
    *QUICK,
    Size(20, 8, 4, kinds=10, rssi_values=10, steps=3, slots=2),
    Size(30, 10, 4, kinds=20, rssi_values=16, steps=4, slots=2),
    *REALS,
)
MIDDLE = Size(60, 13, 5, kinds=24, rssi_values=28, steps=3, slots=2)
GROWTH: dict[str, tuple[str, tuple[int, ...]]] = {
    "passes": ("passes", (15, 30, 60, 120, 240, 480)),
    "levels": ("levels", (4, 7, 13, 25, 49)),
    "cutoffs": ("rssi_values", (4, 8, 16, 28, 60)),
    "masks": ("kinds", (6, 12, 24, 48, 96)),
    "tags a pass": ("tags_a_pass", (3, 5, 10, 20, 40, 80)),
    "ladder steps": ("steps", (1, 2, 3, 5, 8)),
    "mask slots": ("slots", (0, 1, 2, 3, 4)),
}
LARGE = (
    (Size(200, 25, 40, kinds=116), None),  # 1,000 masks listed before merging
    (Size(2000, 25, 40, kinds=116), 60.0),
)
COARSE = Size(5000, 4, 2, kinds=4, rssi_values=3, steps=3, tags_of_kind=6)  # many equal passes
SWITCHED = (COARSE, REAL)
_HEAD = f"{'wall s':>9}{'CPU s':>9}{'loss':>9}{'gap':>8}{'× ours':>9}{'MB':>6}"


class ContradictionError(Exception):
    """Someone's lower bound is above a loss that someone else reached."""


@dataclass(frozen=True)
class Plan:
    """Seconds allowed to each measurement; only small sizes, or only real ones in the race."""

    limit: float
    quick: bool = False
    real: bool = False


def race(plan: Plan) -> Iterator[str]:
    """This solver against the others, size after size.

    Raises ContradictionError where a bound is above a loss that was reached.
    """
    yield "Race: one core and one thread each. The time includes building the model."
    yield "The straightforward MIP (tests/bench/reference.py) minimises the loss alone;"
    yield "this solver, its own model and brute force the whole order of preference."
    yield "'× ours' compares processor time, which other work on the machine disturbs less."
    for size in QUICK if plan.quick else REALS if plan.real else RACE:
        yield ""
        yield from _shape(size)
        yield f"  {'solver':27}{_HEAD}"
        ours = measure(OURS, size, plan.limit)
        yield _competitor("this solver", ours, ours)
        runs = [ours]
        for name, task in OTHERS.items():
            runs.append(measure(task, size, plan.limit))
            yield _competitor(name, runs[-1], ours)
        count = strategies(size)
        if count <= BRUTE_MOST:
            runs.append(measure(BRUTE, size, plan.limit))
            yield _competitor(f"brute force of {count:,}", runs[-1], ours)
        else:
            yield f"  brute force: not run, {count:.1e} strategies"
        _agree(runs)


def _agree(runs: list[Measured]) -> None:
    """No bound is above a loss that was found."""
    found = [run.found for run in runs if run.found is not None]
    bound = max((f.bound for f in found), default=-math.inf)
    loss = min((f.loss for f in found if f.loss is not None), default=math.inf)
    if bound > loss + SAME * max(1.0, abs(loss)):
        raise ContradictionError(f"a bound of {bound:g} is above a loss of {loss:g}")


def growth(plan: Plan) -> Iterator[str]:
    """This solver as one size after the other grows from a middle one."""
    yield "Growth: this solver on one core, one size grown at a time. '× before' compares"
    yield "processor time with the line above. The middle:"
    yield from _shape(MIDDLE)
    for name, (attribute, values) in GROWTH.items():
        yield ""
        yield (
            f"  {name:>12}{'masks':>7}{'cutoffs':>9}{'wall s':>10}{'CPU s':>10}"
            f"{'× before':>10}{'gap':>9}{'MB':>7}"
        )
        before = None
        for number in values[:3] if plan.quick else values:
            size = replace(MIDDLE, **{attribute: number})
            run = measure(OURS, size, plan.limit)
            yield _grown(name, number, size, run, before)
            before = run


def _grown(name: str, number: int, size: Size, run: Measured, before: Measured | None) -> str:
    masks, _, cutoffs = _choices(size)
    shown = {"masks": masks, "cutoffs": cutoffs}.get(name, number)
    times = "" if before is None or not before.cpu else f"{run.cpu / before.cpu:.1f}"
    return (
        f"  {shown:>12,}{masks:>7,}{cutoffs:>9}{run.wall:>10.3f}{run.cpu:>10.3f}"
        f"{times:>10}{_gap(run):>9}{run.peak_mb:>7.0f}"
    )


def large(plan: Plan) -> Iterator[str]:
    """This solver at the size of large surveys, by itself."""
    yield "Large: this solver, pinned to one core."
    for size, own_limit in LARGE:
        limit = plan.limit if own_limit is None else own_limit
        yield ""
        yield from _shape(size)
        run = measure(OURS, size, limit)
        yield f"  limit {limit:g} s"
        yield f"  {'wall s':>9}{'CPU s':>10}{'loss':>10}{'bound':>10}{'gap':>9}{'MB':>7}"
        if run.found is None:
            yield f"  {run.why}"
            continue
        loss, bound = f"{run.found.loss:g}", f"{run.found.bound:g}"
        yield (
            f"  {run.wall:>9.2f}{run.cpu:>10.2f}{loss:>10}{bound:>10}{_gap(run):>9}"
            f"{run.peak_mb:>7.0f}"
        )


def switches(plan: Plan) -> Iterator[str]:
    """This solver with one reduction after the other switched off.

    Raises ContradictionError where that changes the answer.
    """
    yield "Switches: this solver with one reduction switched off; '× ours' compares"
    yield "processor time with all of them on."
    for size in SWITCHED[:1] if plan.quick else SWITCHED:
        yield ""
        yield from _shape(size)
        yield f"  {'switched off':27}{_HEAD}"
        runs: list[Measured] = []
        for name, task in SWITCHES.items():
            runs.append(measure(task, size, plan.limit))
            yield _competitor(name, runs[-1], runs[0])
        _agree(runs)


def strategies(size: Size) -> int:
    """How many strategies there are to choose from, by counting rules."""
    masks, _, cutoffs = _choices(size)
    ladders = sum(math.comb(size.levels, n) for n in range(1, size.steps + 1))
    chains = 1 + sum((2 * masks) ** n * 2 ** (n - 1) for n in range(1, size.slots + 1))
    return int(ladders * (1 + cutoffs) * chains)


def _choices(size: Size) -> tuple[int, int, int]:
    """(masks, masks before merging, cutoffs) of a size."""
    read_point = size.read_point()
    problem = pose(read_point.survey, read_point.policy)
    candidates = problem.candidates
    return len(candidates.masks), candidates.listed, len(problem.outcomes) - 1


def _shape(size: Size) -> Iterator[str]:
    masks, listed, cutoffs = _choices(size)
    yield f"{size.passes:,} passes × {size.levels} levels × {size.tags_a_pass} tags a pass"
    yield (
        f"  {cutoffs} cutoffs, {masks:,} masks ({listed:,} before merging), "
        f"{size.steps} steps, {size.slots} mask slots"
    )


def _competitor(name: str, run: Measured, ours: Measured) -> str:
    if run.found is None:
        return f"  {name:27}{run.why}"
    stopped = "" if run.proven else "> "
    wall = f"{stopped}{run.wall:.{3 if run.wall < 100 else 1}f}"
    cpu = f"{stopped}{run.cpu:.{3 if run.cpu < 100 else 1}f}"
    loss = "none" if run.found.loss is None else f"{run.found.loss:.6g}"
    ratio = run.cpu / ours.cpu if ours.proven else math.nan
    times = f"{stopped}{ratio:,.{1 if ratio < 100 else 0}f}" if ours.proven else ""
    return f"  {name:27}{wall:>9}{cpu:>9}{loss:>9}{_gap(run):>8}{times:>9}{run.peak_mb:>6.0f}"


def _gap(run: Measured) -> str:
    if run.proven:
        return "proven"
    gap = None if run.found is None else run.found.gap
    if gap is None:
        return "none"
    return f"{100 * gap:.1f} %"


def demo_frontiers(plan: Plan) -> Iterator[str]:
    """The whole frontier against a single solve."""
    yield from frontiers(plan.limit)


TABLES = {
    "race": race,
    "growth": growth,
    "large": large,
    "switches": switches,
    "frontier": demo_frontiers,
}
