"""What a choice loses in passes to come: `python -m tests.bench.regret [READ_POINT …] [--sweep]`.

New surveys of the demo's read points are drawn; each way of choosing is held against the best
strategy known (chosen from 1,000 passes) over 1,500 new passes. Regret is the further loss a pass
over that of the best known. `--sweep`: the measured power sweep (OPEN_DATA), with one tag index
left out: chosen from the other tags at their places, judged by the tags left out. Ratios are to
`survey` on the same draws. `--first` and `--draws` cut it into pieces.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from cases.linen import PLACES
from strategist.answers.solution import Options, solve
from strategist.optimise.strategy import Strategy
from strategist.survey.copies import copies_for, drawn_copies
from strategist.survey.policy import Loss, Reader
from strategist.survey.records import Floats, ReadPoint, Survey, Tag
from strategist.survey.variation import Variation, variation_of
from strategist.trust.evaluate import evaluate
from tests.bench.drawn import drawn_read_point
from tests.outside.test_measured_sweep import curves_of
from tests.surveyed import surveyed_policy
from tests.tags.uris import encode

TRUE_PASSES, KNOWN_PASSES = 1500, 1000
TRUE_SEED, KNOWN_SEED, FIRST_SEED = 987_654_321, 55_555, 10_000
SIZES = (20, 60)
MISSED, STRAY = 5.0, 1.0  # of the sweep
EVERY = 4  # levels of the sweep: whole dB
OPTIONS = Options(time_limit_s=60, method="search")

Vary = Callable[[Variation], Variation]


def _fixed(link_db: float) -> Vary:
    return lambda v: replace(v, link_db=np.full_like(v.link_db, link_db), rssi_db=0 * v.rssi_db)


def _times(factor: float) -> Vary:
    return lambda v: replace(v, link_db=factor * v.link_db, rssi_db=factor * v.rssi_db)


WAYS: dict[str, Vary | None] = {  # None: by the aim of that name
    "survey": None,
    "expected": None,
    "fails alone": _times(0.0),
    "half": _times(0.5),
    "double": _times(2.0),
    "link alone": lambda v: replace(v, rssi_db=0 * v.rssi_db),
    "1 dB": _fixed(1.0),
    "2 dB": _fixed(2.0),
    "half the copies": _times(1.0),
    "twice the copies": _times(1.0),
    "three copies": _times(1.0),
}
COPIES: dict[str, Callable[[int], int]] = {  # where not as many as the aim takes
    "half the copies": lambda n: max(3, n // 2),
    "twice the copies": lambda n: 2 * n,
    "three copies": lambda n: 3,
}


def chosen(point: ReadPoint, way: str, seed: int) -> Strategy:
    """The strategy that a way of choosing gives."""
    vary = WAYS[way]
    if vary is None:
        aimed = replace(point.policy, aim=way)  # type: ignore[arg-type]
        return solve(ReadPoint(point.survey, aimed), replace(OPTIONS, seed=seed)).strategy
    survey = point.survey
    copies = COPIES.get(way, lambda n: n)(copies_for(len(survey.pass_ids)))
    pooled = drawn_copies(survey, vary(variation_of(survey)), copies, (seed,))
    return solve(ReadPoint(pooled, point.policy), OPTIONS).strategy


@cache
def future(name: str) -> ReadPoint:
    return drawn_read_point(name, TRUE_PASSES, TRUE_SEED)


def true_loss(name: str, strategy: Strategy) -> float:
    """Loss a pass over the passes to come."""
    point = future(name)
    return evaluate(point.survey, point.policy, strategy).loss / TRUE_PASSES


@cache
def best_known(name: str) -> float:
    return true_loss(
        name, solve(drawn_read_point(name, KNOWN_PASSES, KNOWN_SEED), OPTIONS).strategy
    )


@dataclass(frozen=True)
class Pose:
    """A read point of the sweep: types, metres of the wanted tags, metres to the first strays."""

    types: tuple[str, ...]
    near: int
    farther: int

    def __str__(self) -> str:
        return f"{' and '.join(self.types)} at {self.near} m, strays from {self.farther} m farther"


def poses() -> Iterator[Pose]:
    """All that the sweep has: its types alone and together, wanted at 3 to 7 m."""
    _, curves = curves_of(EVERY)
    types = sorted(set(curves.index.get_level_values("tag_type")))
    last = max(curves.index.get_level_values("distance_m"))
    groups = [*((one,) for one in types), *itertools.combinations(types, 2)]
    for some, near, farther in itertools.product(groups, range(3, 8), (1, 2)):
        if near + farther <= last:
            yield Pose(some, near, farther)


def sweep_point(pose: Pose, keep: Callable[[int], bool]) -> ReadPoint:
    """Pass p: the wanted tag p and all strays, of the tag indices to keep."""
    levels, curves = curves_of(EVERY)
    kind, metres, number = (
        curves.index.get_level_values(axis) for axis in ("tag_type", "distance_m", "tag")
    )
    some = kind.isin(pose.types) & np.array([keep(n) for n in number])
    near = np.flatnonzero(some & (metres == pose.near))
    far = np.flatnonzero(some & (metres >= pose.near + pose.farther))
    passes, used = len(near), np.concatenate([near, far])
    epcs = [encode(f"urn:epc:tag:sgtin-96:1.9521141.012345.{n}") for n in range(len(used))]
    stray_pass, stray = (axis.ravel() for axis in np.indices((passes, len(far))))
    roster_pass = np.concatenate([np.arange(passes), stray_pass])
    roster_tag = np.concatenate([np.arange(passes), passes + stray])
    rssi: Floats = curves.to_numpy(float)[used][roster_tag]
    entry, level = np.nonzero(np.isfinite(rssi))
    survey = Survey(
        read_point="measured",
        levels_dbm=levels.copy(),
        pass_ids=tuple(f"p{p:02d}" for p in range(passes)),
        tags=tuple(Tag(epc, tag_type=kind[u]) for epc, u in zip(epcs, used, strict=True)),
        roster_pass=roster_pass,
        roster_tag=roster_tag,
        roster_wanted=roster_tag < passes,
        roster_listed=np.ones(len(roster_tag), bool),
        read_pass=roster_pass[entry],
        read_level=level,
        read_tag=roster_tag[entry],
        read_rssi=rssi[entry, level],
        tried=np.ones((passes, len(levels)), bool),
    )
    policy = surveyed_policy(
        loss=Loss(MISSED, STRAY),
        allow=("power", "ladder", "cutoff"),
        reader=Reader(ladder_steps_max=3, rssi_step_db=None),
    )
    return ReadPoint(survey, policy)


def left_out_losses(pose: Pose, way: str) -> list[float]:
    """Loss of the tags of each index, by a choice made without them."""
    _, curves = curves_of(EVERY)
    found = []
    for index in sorted(set(curves.index.get_level_values("tag"))):
        strategy = chosen(sweep_point(pose, lambda n, i=index: n != i), way, int(index))
        judged = sweep_point(pose, lambda n, i=index: n == i)
        found.append(evaluate(judged.survey, judged.policy, strategy).loss)
    return found


def summary(losses: dict[str, list[float]], best: float) -> Iterator[str]:
    """Mean, worst and error of the regret of each way, and its ratio to the first."""
    first = np.array(next(iter(losses.values()))) - best
    for way, found in losses.items():
        regret = np.array(found) - best
        apart = regret - first
        error = apart.std(ddof=1) / np.sqrt(len(apart)) if len(apart) > 1 else np.nan
        ratio = regret.mean() / first.mean() if first.mean() else np.nan
        yield (
            f"  {way:<12} mean {regret.mean():7.4f} ({regret.mean() / (best or 1):6.1%}), worst "
            f"{regret.max():7.4f}; {ratio:5.2f} of survey, {apart.mean():+.4f} ± {error:.4f}"
        )


def drawn_lines(name: str, passes: int, seeds: range, ways: list[str]) -> Iterator[str]:
    losses: dict[str, list[float]] = {way: [] for way in ways}
    for seed in seeds:
        point = drawn_read_point(name, passes, FIRST_SEED + seed)
        for way in ways:
            losses[way].append(true_loss(name, chosen(point, way, seed)))
        yield f"# {name} {passes} {seed} " + " ".join(f"{losses[way][-1]:.5f}" for way in ways)
    yield f"{name}, {passes} passes, {len(seeds)} draws, best known {best_known(name):.4f} a pass"
    yield from summary(losses, best_known(name))


def sweep_lines(ways: list[str]) -> Iterator[str]:
    losses: dict[str, list[float]] = {way: [] for way in ways}
    for pose in poses():
        for way in ways:
            losses[way] += left_out_losses(pose, way)
        told = ", ".join(f"{way} {sum(losses[way][-5:]):g}" for way in ways)
        yield f"# {pose}: {told}"
    totals = ", ".join(f"{way} {sum(found):g}" for way, found in losses.items())
    yield f"measured sweep, one tag left out, {len(losses[ways[0]])} choices: loss {totals}"
    yield from summary(losses, 0.0)


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.regret", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="READ_POINT")
    parser.add_argument("--passes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--draws", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="the first draw")
    parser.add_argument("--ways", nargs="+", choices=WAYS, default=["survey", "expected"])
    parser.add_argument("--sweep", action="store_true")
    given = parser.parse_args(arguments)
    ways = list(dict.fromkeys(["survey", *given.ways]))
    seeds = range(given.first, given.first + given.draws)
    for name, passes in itertools.product(
        given.names or ([] if given.sweep else PLACES), given.passes
    ):
        for line in drawn_lines(name, passes, seeds, ways):
            print(line, flush=True)
    if given.sweep:
        for line in sweep_lines(ways):
            print(line, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
