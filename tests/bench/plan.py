"""What a planned survey is worth: `python -m tests.bench.plan [READ_POINT …] [--draws N]`.

New surveys of the demo's read points are drawn in full; the plan sees what it asks for, batch by
batch, until it says enough. Held against the full grid of the same passes (with `--grids` also
every third and fourth level of all passes, with the rest predicted, and the full grid of the same
passes presented once more: how far two choices differ by chance alone):

- *regret* a pass: the further loss over 1,500 new passes above the best strategy known;
- *more*: what the strategy in hand loses more than the full grid's choice by the aim: where the
  surveyed passes are presented again (`JUDGED` times, in the mean), or in as many passes to come;
- an *early stop* is an "enough" where that is more than the plan calls little;
- *open*: the same in the survey as it came, where each read that failed counts (by the aim
  "survey" the full grid's choice is then the least of all);
- the curve: measurements (share of pairs) and all three, batch by batch. A survey that is done
  stays in the later lines;
- *at a third*: what the plan would have set where measuring had ended there, or at its "enough" if
  that came first; a batch that goes beyond is cut there, by the rows of its run sheet.

`--first` and `--draws` cut it into pieces; lines that begin with # are for `--add`, which takes
files of such lines and sums them up. `--aim` is that of every choice. `--other` draws at places
that are not the demo's: `OTHERS` says how they differ.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from functools import cache, cached_property
from pathlib import Path
from typing import Any, Literal

import numpy as np

from cases.generate import draw_at
from cases.linen import PLACES, Place
from strategist.answers.plan import plan_survey
from strategist.answers.run_sheet import SurveyPlan
from strategist.answers.solution import Options, solve
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Ints, ReadPoint, Survey
from strategist.trust.at_peaks import AtPeaks
from strategist.trust.evaluate import evaluate
from tests.bench import regret
from tests.bench.drawn import read_point_of

FIRST_SEED = 10_000
ROUNDS_MAX = 20
BUDGET = 1 / 3  # of all pairs
Aim = Literal["survey", "expected"]
GRIDS = (3, 4)
JUDGED = 40
OPTIONS = Options(method="search")
ONE_ANTENNA = tuple(name for name, place in PLACES.items() if not place.stands)


def _with(place: Place, **more: Any) -> Place:
    """A place with other keys of its policy."""
    return replace(place, policy=place.policy | more)


def _more(place: Place, group: str, count: tuple[int, int]) -> Place:
    """With another number of the tags of a group."""
    groups = [replace(one, count=count) if one.name == group else one for one in place.groups]
    return replace(place, groups=tuple(groups))


_GATE, _BELT, _CHUTE, _CABINET = (
    PLACES[name] for name in ("clean-gate", "sorting-belt", "soiled-chute", "shelf-cabinet")
)
OTHERS = {
    "gate, strays dear": _with(_GATE, loss={"missed": 1, "stray": 3}),
    "gate, half the load": _more(_GATE, "clean cart", (6, 12)),
    "gate, reads fail": replace(_GATE, radio=replace(_GATE.radio, slip=0.08)),
    "belt, misses dear": _with(_BELT, loss={"missed": 20, "stray": 1}),
    "belt, many strays": _more(_BELT, "neighbour lane", (5, 8)),
    "chute, no masks": _with(_CHUTE, allow=["power", "ladder", "cutoff"]),
    "chute, loads differ": replace(_CHUTE, groups=tuple(
        replace(one, tag_db=(0.0, 12.0)) for one in _CHUTE.groups
    )),
    "cabinet, misses dear": _with(_CABINET, loss={"missed": 30, "stray": 1}),
}  # fmt: skip


@dataclass(frozen=True)
class Drawer:
    """A place to draw surveys at."""

    name: str
    place: Place

    def drawn(self, seed: int, again: int, passes: int | None = None) -> ReadPoint:
        found = draw_at(self.place, self.name, passes or self.place.passes, seed, again)
        return read_point_of(self.place, self.name, found)

    def future(self, strategy: Strategy) -> float:
        """Loss a pass over passes to come."""
        return _future(self.name, strategy)

    @cached_property
    def best_known(self) -> float:
        known = self.drawn(regret.KNOWN_SEED, 0, regret.KNOWN_PASSES)
        return self.future(solve(_plainly(known), OPTIONS).strategy)


@cache
def _to_come(name: str) -> ReadPoint:
    return PLACES_HERE[name].drawn(regret.TRUE_SEED, 0, regret.TRUE_PASSES)


@cache
def _future(name: str, strategy: Strategy) -> float:
    point = _to_come(name)
    return lost(point.survey, point.policy, strategy) / regret.TRUE_PASSES


def lost(survey: Survey, policy: Policy, strategy: Strategy) -> float:
    """What `evaluate` says of a strategy of one antenna, in a tenth of its time."""
    return float(AtPeaks(survey, policy, strategy).lost(peaks(survey)[None])[0].sum())


def _plainly(point: ReadPoint) -> ReadPoint:
    """With each pass counting once."""
    return replace(point, policy=replace(point.policy, aim="survey"))


PLACES_HERE = {name: Drawer(name, place) for name, place in (PLACES | OTHERS).items()}


@dataclass(frozen=True)
class Look:
    """After a batch: share of pairs measured, further loss than the full grid's choice as the
    survey came and by the aim, loss a new pass."""

    share: float
    open: float
    more: float
    future: float


@dataclass(frozen=True)
class Run:
    """One drawn survey. `enough`: the plan said so at all; `third`: where measuring ends at a third
    of the pairs, or before; `full`: what the full grid comes to."""

    name: str
    draw: int
    looks: tuple[Look, ...]
    aim: Aim
    enough: bool
    within: float
    third: Look
    full: Look
    grids: tuple[Look, ...]
    seconds: float  # of processor, a plan

    def ahead(self, look: Look) -> float:
        """What a choice loses more than the full grid's, in as many passes to come."""
        return (look.future - self.full.future) * PLACES_HERE[self.name].place.passes

    @property
    def early(self) -> bool:
        return self.enough and self.looks[-1].more > self.within + 1e-9


def in_part(point: ReadPoint, tried: Bools) -> ReadPoint:
    """A read point of which no more is known than what was tried."""
    survey = point.survey
    kept = survey.with_reads(tried[survey.read_pass, survey.read_level])
    return replace(point, survey=replace(kept, tried=tried.copy()))


class Truth:
    """A drawn survey, and what strategies come to there and where its passes come again."""

    def __init__(self, place: Drawer, draw: int, aim: Aim) -> None:
        self.place, self.draw = place, draw
        point = place.drawn(FIRST_SEED + draw, 0)
        self.point = replace(point, policy=replace(point.policy, aim=aim))
        self.full = solve(self.point, OPTIONS)
        self.least = self.by_aim(self.full.strategy)

    @cached_property
    def again(self) -> Survey:
        """The surveyed passes, come again."""
        return self.place.drawn(FIRST_SEED + self.draw, JUDGED).survey

    def by_aim(self, strategy: Strategy) -> float:
        """Loss over the surveyed passes if they come again, or over as many to come."""
        if self.point.policy.aim == "expected":
            return self.place.future(strategy) * len(self.point.survey.pass_ids)
        return lost(self.again, self.point.policy, strategy) / JUDGED

    def look(self, tried: Bools, strategy: Strategy) -> Look:
        policy = self.point.policy
        open_ = evaluate(self.point.survey, policy, strategy).loss - self.full.outcome.loss
        return Look(
            float(tried.mean()), open_, self.by_aim(strategy) - self.least,
            self.place.future(strategy),
        )  # fmt: skip

    def cut(self, tried: Bools, batch: Ints, last: Look) -> Look:
        """Where measuring ends within a batch, at `BUDGET` of all pairs; `last`: before it."""
        room = int(BUDGET * tried.size - tried.sum())
        if room <= 0:
            return last
        some = tried.copy()
        some[tuple(batch[:room].T)] = True
        strategy = planned(self, some).strategy
        assert strategy is not None  # no time limit
        return self.look(some, strategy)

    def once_more(self) -> Look:
        """The choice of the same passes presented once more, all of them at every level."""
        again = self.place.drawn(FIRST_SEED + self.draw, 1)
        found = solve(replace(again, policy=self.point.policy), OPTIONS)
        return self.look(np.ones_like(self.point.survey.tried), found.strategy)


def run(place: Drawer, draw: int, aim: Aim, *, with_grids: bool = False) -> Run:
    truth = Truth(place, draw, aim)
    survey = truth.point.survey
    tried = np.zeros_like(survey.tried)
    looks: list[Look] = []
    enough, within, spent = False, 0.0, 0.0
    third: Look | None = None
    for _ in range(ROUNDS_MAX):
        begun = time.process_time()
        plan = planned(truth, tried)
        spent += time.process_time() - begun
        if plan.strategy is not None:
            looks.append(truth.look(tried, plan.strategy))
            enough, within = plan.stage == "enough", plan.within
        if not plan.run_sheet:
            break
        batch = asked_for(survey, plan)
        if third is None and looks and tried.sum() + len(batch) > BUDGET * tried.size:
            third = truth.cut(tried, batch, looks[-1])
        tried[tuple(batch.T)] = True
    full = truth.look(np.ones_like(tried), truth.full.strategy)
    grids = (*(grid(truth, every) for every in GRIDS), truth.once_more()) if with_grids else ()
    return Run(
        place.name, draw, tuple(looks), aim, enough, within, third or looks[-1], full, grids,
        spent / (len(looks) + 1),
    )  # fmt: skip


def planned(truth: Truth, tried: Bools) -> SurveyPlan:
    return plan_survey(in_part(truth.point, tried), replace(OPTIONS, seed=truth.draw))


def asked_for(survey: Survey, plan: SurveyPlan) -> Ints:
    """The pairs (pass, level) of a run sheet, row by row."""
    rows = plan.run_sheet
    return np.array(
        [
            (survey.pass_ids.index(row.pass_id), survey.levels_dbm.tolist().index(level))
            for row in rows
            for level in row.levels_dbm
        ]
    )


def grid(truth: Truth, every: int) -> Look:
    """Every so manyeth level of all passes, and the highest; the rest predicted or left out."""
    point = truth.point
    tried = np.zeros_like(point.survey.tried)
    tried[:, ::every] = tried[:, -1] = True
    policy = replace(point.policy, predict_levels=True, untried="leave_out_level")
    found = solve(replace(in_part(point, tried), policy=policy), OPTIONS)
    return truth.look(tried, found.strategy)


def lines(runs: list[Run]) -> Iterator[str]:
    for name in dict.fromkeys(one.name for one in runs):
        yield from of_point(name, [one for one in runs if one.name == name])
    used = np.array([one.looks[-1].share for one in runs])
    early = sum(one.early for one in runs)
    over = int((used > 1 / 3).sum())
    worse, better = (
        sum(sign * one.ahead(one.looks[-1]) > one.within for one in runs) for sign in (1, -1)
    )
    third, third_better = (
        sum(sign * one.ahead(one.third) > one.within for one in runs) for sign in (1, -1)
    )
    luck = sum(one.enough and one.looks[-1].open > one.within + 1e-9 for one in runs)
    yield (
        f"all: {len(runs)} surveys, measured {used.mean():.1%} of the pairs, at most "
        f"{used.max():.1%} (more than a third in {over}); "
        f"early stops {early} ({early / len(runs):.1%}); off the full grid by more than is little "
        f"in the survey as it came {luck}, in passes to come {worse} worse and {better} better, "
        f"at a third at most {third} worse and {third_better} better"
    )


def of_point(name: str, runs: list[Run]) -> Iterator[str]:
    best = PLACES_HERE[name].best_known
    yield f"{name}, {len(runs)} draws, best known {best:.4f} a pass; mean and worst"
    yield f"  {'':<16} {'measured':>16} {'open':>14} {'more':>14} {'regret a pass':>20}"
    longest = max(len(one.looks) for one in runs)
    for number in range(longest):
        at = [one.looks[min(number, len(one.looks) - 1)] for one in runs]
        yield row("first look" if number == 0 else f"batch {number}", at, best)
    yield row("enough", [one.looks[-1] for one in runs], best)
    yield row("at a third", [one.third for one in runs], best)
    if all(one.grids for one in runs):
        for number, every in enumerate(GRIDS):
            yield row(f"every {every} levels", [one.grids[number] for one in runs], best)
        again = [one.grids[-1] for one in runs]
        yield row("full grid again", again, best)
        by_chance = sum(
            look.more > one.within + 1e-9 for look, one in zip(again, runs, strict=True)
        )
        yield f"  more than is little by chance alone (full grid again): {by_chance}"
    yield row("full grid", [one.full for one in runs], best)
    yield (
        f"  planned less full grid: {apart([(one.looks[-1], one.full) for one in runs])}, at a "
        f"third {apart([(one.third, one.full) for one in runs])} a pass; early stops "
        f"{sum(one.early for one in runs)}, never enough {sum(not one.enough for one in runs)}; "
        f"{np.mean([one.seconds for one in runs]):.1f} s of processor a plan"
    )


def apart(pairs: list[tuple[Look, Look]]) -> str:
    """How much more the first of each pair loses in passes to come: mean with its error, worst."""
    more = np.array([one.future - other.future for one, other in pairs])
    error = more.std(ddof=1) / np.sqrt(len(more)) if len(more) > 1 else np.nan
    return f"{more.mean():+.4f} ± {error:.4f}, worst {more.max():+.4f}"


def row(words: str, looks: list[Look], best: float) -> str:
    share, open_, more, future = (
        np.array([getattr(one, key) for one in looks])
        for key in ("share", "open", "more", "future")
    )
    return (
        f"  {words:<16} {share.mean():7.1%} {share.max():8.1%} {open_.mean():7.2f} "
        f"{open_.max():6.1f} {more.mean():7.2f} {more.max():6.1f} {future.mean() - best:10.4f} "
        f"{future.max() - best:9.4f}"
    )


def read(text: str) -> Run:
    """A line of a piece."""
    found = json.loads(text)
    for key in ("looks", "grids"):
        found[key] = tuple(Look(**one) for one in found[key])
    for key in ("third", "full"):
        found[key] = Look(**found[key])
    return Run(**found)


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.plan", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="READ_POINT")
    parser.add_argument("--draws", type=int, default=50)
    parser.add_argument("--first", type=int, default=0, help="the first draw")
    parser.add_argument("--aim", choices=("survey", "expected"), default="survey")
    parser.add_argument("--grids", action="store_true", help="every third and fourth level, too")
    parser.add_argument("--other", action="store_true", help="at places that are not the demo's")
    parser.add_argument("--add", nargs="+", type=Path, metavar="FILE")
    given = parser.parse_args(arguments)
    if given.add:
        told = (line for path in given.add for line in path.read_text().splitlines())
        runs = [read(line[2:]) for line in told if line.startswith("# ")]
    else:
        runs = []
        for name in given.names or (OTHERS if given.other else ONE_ANTENNA):
            for draw in range(given.first, given.first + given.draws):
                runs.append(run(PLACES_HERE[name], draw, given.aim, with_grids=given.grids))
                print("#", json.dumps(asdict(runs[-1])), flush=True)
    for line in lines(runs):
        print(line, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
