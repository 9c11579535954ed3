"""What a planned survey is worth: `python -m tests.bench.plan [READ_POINT …] [--draws N]`.

New surveys of the demo's read points are drawn in full; the plan sees what it asks for, batch by
batch, until it says enough. Held against the full grid of the same passes, and against every third
and fourth level of all passes with the rest predicted:

- *regret* a pass: the further loss over 1,500 new passes above the best strategy known;
- *open*: the loss of the strategy in hand over the surveyed passes at all levels, above the least
  there; an *early stop* is an "enough" with more open than the plan calls little;
- the curve: measurements (share of pairs) and both, batch by batch. A survey that is done stays in
  the later lines.

`--first` and `--draws` cut it into pieces; lines that begin with # are for `--add`, which takes
files of such lines and sums them up.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from cases.linen import PLACES
from strategist.answers.plan import plan_survey
from strategist.answers.solution import Options, solve
from strategist.optimise.strategy import Strategy
from strategist.survey.records import Bools, ReadPoint
from strategist.trust.evaluate import evaluate
from tests.bench import regret
from tests.bench.drawn import drawn_read_point

FIRST_SEED = 10_000
ROUNDS_MAX = 20
GRIDS = (3, 4)
OPTIONS = Options(method="search")
ONE_ANTENNA = tuple(name for name, place in PLACES.items() if not place.stands)


@dataclass(frozen=True)
class Look:
    """After a batch: share of pairs measured, loss open at the surveyed passes, loss a new pass."""

    share: float
    open: float
    future: float


@dataclass(frozen=True)
class Run:
    """One drawn survey. `early`: the plan said enough too soon; `enough`: it said so at all."""

    name: str
    draw: int
    looks: tuple[Look, ...]
    enough: bool
    early: bool
    full: float
    grids: tuple[Look, ...]
    seconds: float  # of processor, a plan


@cache
def future(name: str, strategy: Strategy) -> float:
    return regret.true_loss(name, strategy)


def in_part(point: ReadPoint, tried: Bools) -> ReadPoint:
    """A read point of which no more is known than what was tried."""
    survey = point.survey
    kept = survey.with_reads(tried[survey.read_pass, survey.read_level])
    return replace(point, survey=replace(kept, tried=tried.copy()))


def look(point: ReadPoint, tried: Bools, strategy: Strategy, least: float) -> Look:
    lost = evaluate(point.survey, point.policy, strategy).loss
    return Look(float(tried.mean()), lost - least, future(point.name, strategy))


def run(name: str, draw: int) -> Run:
    point = drawn_read_point(name, PLACES[name].passes, FIRST_SEED + draw)
    survey = point.survey
    full = solve(point, OPTIONS)
    tried = np.zeros_like(survey.tried)
    looks: list[Look] = []
    enough = early = False
    begun = time.process_time()
    for _ in range(ROUNDS_MAX):
        plan = plan_survey(in_part(point, tried), replace(OPTIONS, seed=draw))
        if plan.strategy is not None:
            looks.append(look(point, tried, plan.strategy, full.loss))
            enough = plan.stage == "enough"
            early = enough and looks[-1].open > plan.within + 1e-9
        if not plan.run_sheet:
            break
        for row in plan.run_sheet:
            tried[
                survey.pass_ids.index(row.pass_id), np.isin(survey.levels_dbm, row.levels_dbm)
            ] = 1
    spent = (time.process_time() - begun) / (len(looks) + 1)
    grids = tuple(grid(point, every, full.loss) for every in GRIDS)
    return Run(name, draw, tuple(looks), enough, early, future(name, full.strategy), grids, spent)


def grid(point: ReadPoint, every: int, least: float) -> Look:
    """Every so manyeth level of all passes, and the highest; the rest predicted or left out."""
    tried = np.zeros_like(point.survey.tried)
    tried[:, ::every] = tried[:, -1] = True
    policy = replace(point.policy, predict_levels=True, untried="leave_out_level")
    found = solve(replace(in_part(point, tried), policy=policy), OPTIONS)
    return look(point, tried, found.strategy, least)


def lines(runs: list[Run]) -> Iterator[str]:
    for name in dict.fromkeys(one.name for one in runs):
        yield from of_point(name, [one for one in runs if one.name == name])
    used = np.array([one.looks[-1].share for one in runs])
    early = sum(one.early for one in runs)
    over = int((used > 1 / 3).sum())
    yield (
        f"all: {len(runs)} surveys, measured {used.mean():.1%} of the pairs, at most "
        f"{used.max():.1%} (more than a third in {over}); "
        f"early stops {early} ({early / len(runs):.1%})"
    )


def of_point(name: str, runs: list[Run]) -> Iterator[str]:
    best = regret.best_known(name)
    yield f"{name}, {len(runs)} draws, best known {best:.4f} a pass; mean and worst"
    yield f"  {'':<16} {'measured':>16} {'open loss':>14} {'regret a pass':>20}"
    longest = max(len(one.looks) for one in runs)
    for number in range(longest):
        at = [one.looks[min(number, len(one.looks) - 1)] for one in runs]
        yield row("first look" if number == 0 else f"batch {number}", at, best)
    yield row("enough", [one.looks[-1] for one in runs], best)
    for number, every in enumerate(GRIDS):
        yield row(f"every {every} levels", [one.grids[number] for one in runs], best)
    yield row("full grid", [Look(1.0, 0.0, one.full) for one in runs], best)
    apart = np.array([one.looks[-1].future - one.full for one in runs])
    error = apart.std(ddof=1) / np.sqrt(len(apart)) if len(apart) > 1 else np.nan
    yield (
        f"  planned less full grid: {apart.mean():+.4f} ± {error:.4f} a pass; early stops "
        f"{sum(one.early for one in runs)}, never enough {sum(not one.enough for one in runs)}; "
        f"{np.mean([one.seconds for one in runs]):.1f} s of processor a plan"
    )


def row(words: str, looks: list[Look], best: float) -> str:
    share, open_, lost = (
        np.array([getattr(one, key) for one in looks]) for key in ("share", "open", "future")
    )
    return (
        f"  {words:<16} {share.mean():7.1%} {share.max():8.1%} {open_.mean():7.2f} "
        f"{open_.max():6.1f} {lost.mean() - best:10.4f} {lost.max() - best:9.4f}"
    )


def read(text: str) -> Run:
    """A line of a piece."""
    found = json.loads(text)
    for key in ("looks", "grids"):
        found[key] = tuple(Look(**one) for one in found[key])
    return Run(**found)


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.plan", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="READ_POINT")
    parser.add_argument("--draws", type=int, default=50)
    parser.add_argument("--first", type=int, default=0, help="the first draw")
    parser.add_argument("--add", nargs="+", type=Path, metavar="FILE")
    given = parser.parse_args(arguments)
    if given.add:
        told = (line for path in given.add for line in path.read_text().splitlines())
        runs = [read(line[2:]) for line in told if line.startswith("# ")]
    else:
        runs = []
        for name in given.names or ONE_ANTENNA:
            for draw in range(given.first, given.first + given.draws):
                runs.append(run(name, draw))
                print("#", json.dumps(asdict(runs[-1])), flush=True)
    for line in lines(runs):
        print(line, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
