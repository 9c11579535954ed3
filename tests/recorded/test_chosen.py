"""What the optimiser chooses where it is large, narrow or stopped, and what serves its searches."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pulp
import pytest

from strategist.errors import InputError, SolveError, StrategistError
from strategist.optimise.chains import Chains
from strategist.optimise.clock import Clock, KeepingClock, OutOfTimeError
from strategist.optimise.finish import _middle, finish
from strategist.optimise.frontier import sweep
from strategist.optimise.installable import installable
from strategist.optimise.known import answer_of
from strategist.optimise.measures import aim_at, measures
from strategist.optimise.next_pairs import Cost, _Model, pairs_to_measure, settled_by
from strategist.optimise.outer import Found
from strategist.optimise.problem import Chain, Problem, answer_at, pose
from strategist.optimise.progress import Reached, at_stage, tell, watched_by
from strategist.optimise.scores import Parts
from strategist.optimise.search import Search, search
from strategist.optimise.selections import (
    Literals,
    grow,
    joined,
    keys_of,
    merged,
    no_masks,
)
from strategist.optimise.solver import solve_mip
from strategist.optimise.strategy import Strategy, read_strategy
from strategist.optimise.strategy_file import parse_strategy_file, parse_strategy_files
from strategist.optimise.sturdy import _Wanted, sturdiest
from strategist.optimise.templates import choose_templates, template_curve
from strategist.optimise.tree import Tree
from strategist.optimise.zoom import is_wide, search_in_time
from strategist.survey.copies import Sample
from strategist.survey.policy import TECHNIQUES, Dwell, Loss, Reader
from strategist.survey.records import ReadPoint
from strategist.survey.score import Difference, Peak
from strategist.tags.mask import Mask
from tests.bench.made_large import large_read_point
from tests.optimise.counted import counted_clock
from tests.optimise.made import BY_BOUNDS, BY_JOINS, BY_SPLITS, random_read_point
from tests.recorded.told import answer_told, problem_told, selections_told, short

Recorded = Callable[..., None]
TUNINGS = {
    "bounds": BY_BOUNDS,
    "splits": replace(BY_SPLITS, sieved=4, cut_sample=60),
    "joins": replace(BY_JOINS, sieved=10, cuts=3),
    "no likely ladders": replace(BY_BOUNDS, likely_first=False, at_once=7, ladders=3),
    "one listed": replace(BY_BOUNDS, longest_list=1, light=50.0, beam=3),
    "none listed": replace(BY_BOUNDS, longest_list=0, light=50.0, beam=3),
    "little room": replace(BY_BOUNDS, left_max=5, sample=40, light=1.0, beam=2),
}


def with_slots(point: ReadPoint, slots: int) -> ReadPoint:
    reader = replace(point.policy.reader, mask_slots=slots)
    return replace(point, policy=replace(point.policy, reader=reader, allow=TECHNIQUES))


def many_chains(seed: int) -> Problem:
    """Of up to three masks: some thousands."""
    point = with_slots(random_read_point(seed, 3), 3)
    return pose(point.survey, point.policy)


def large(seed: int) -> Problem:
    """Ten passes of eight tags of eight kinds, six levels."""
    point = large_read_point(
        10, 6, 8, kinds=8, seed=seed, steps=3, slots=2, stop_after=1 + seed % 2
    )
    return pose(point.survey, point.policy)


@pytest.mark.parametrize("name", TUNINGS)
@pytest.mark.parametrize("seed", [10, 44, 110])
def test_many_chains(seed: int, name: str, recorded: Recorded) -> None:
    problem = replace(many_chains(seed), tuning=TUNINGS[name])
    told = {"answer": answer_told(search(problem, Clock()))}
    run = Search(problem, Clock())
    told["open"] = run.find_loss()
    told["floor"] = [*run.run.floor, run._light, *map(run._are_many, range(4))]
    recorded(told)


@pytest.mark.parametrize("name", ["bounds", "splits", "joins"])
@pytest.mark.parametrize("seed", range(3))
def test_large(seed: int, name: str, recorded: Recorded) -> None:
    problem = replace(large(seed), tuning=TUNINGS[name])
    answer = search(problem, Clock())
    parts = Parts.of(problem)
    found = sturdiest(parts, Found(parts.parts[0], answer), Clock())
    tree = Tree(problem, Clock())
    node = tree.node(0, aim_at(measures(problem), 0.0))
    first = tree.chains.listed(1)
    recorded(
        {
            "answer": answer_told(answer),
            "strategy": str(finish(problem, answer)[0]),
            "sturdier": [answer_told(found.found.answer if found.found else None), found.bound],
            "cuts": [short(cut.base) for cut in node.cuts(first, answer.key[1])],
            "sieved": [len(node.sieve(first, answer.key[1] + by)) for by in (0.0, 5.0, 20.0)],
        }
    )


@pytest.mark.parametrize("seed", range(2))
def test_large_frontier(seed: int, recorded: Recorded) -> None:
    told = {}
    for name in ("bounds", "splits", "little room"):
        found = sweep(Parts.of(replace(large(seed), tuning=TUNINGS[name])), Clock())
        told[name] = {
            "points": [[*point, found.staircase.answer(point).key[2]] for point in found.parts],
            "took": [f"{n} {of}" for of, n in found.effort],
            "open": sorted(found.open),
            "stray": [*found.stray_bounds.values()],
            "missed": [*found.missed_bounds.values()],
        }
    recorded(told)


@pytest.mark.parametrize("seed", [1, 5])
def test_sample(seed: int, recorded: Recorded) -> None:
    """Passes that count several times or not at all, and strays that are free below some RSSI."""
    point, rng = random_read_point(seed), np.random.default_rng(seed)
    survey = point.survey
    free = rng.choice([-np.inf, -65.0, np.inf], len(survey.roster_pass))
    free[survey.roster_wanted] = -np.inf
    times = rng.integers(0, 4, len(survey.pass_ids))
    times[0] = 2
    told = {}
    for name, sample in {
        "times": Sample(survey, times),
        "free": Sample(survey, times * 0 + 1, free),
        "both": Sample(survey, times, free),
    }.items():
        problem = pose(survey, point.policy, sample=sample)
        cost = problem.profile.row_cost
        told[name] = {
            **problem_told(problem),
            "cost": [] if cost is None else cost,
            "weight": problem.row_weight,
            "answer": answer_told(search(problem, Clock())),
        }
    recorded(told)


@pytest.mark.parametrize("seed", [3, 6])
def test_wide(seed: int, recorded: Recorded) -> None:
    """Nine hundred levels: few of them first; a clock that stands still."""
    point = random_read_point(seed)
    survey = point.survey
    levels = np.round(10.0 + np.arange(900) / 100, 2)
    spread = replace(
        survey,
        levels_dbm=levels,
        read_level=survey.read_level * 250 + 17,
        tried=np.ones((len(survey.pass_ids), 900), bool),
    )
    problem = pose(spread, replace(point.policy, allow=("power", "cutoff")))
    standing = Clock(1e-3, now=lambda: 0.0)
    parts = Parts.of(problem)
    swept = sweep(parts, standing)
    best = Found(parts.parts[0], search_in_time(problem, standing))
    beside = sturdiest(parts, best, standing)
    recorded(
        {
            "wide": [is_wide(problem, one) for one in (standing, Clock())],
            "answer": answer_told(search_in_time(problem, standing)),
            "in no time": answer_told(search_in_time(problem, Clock(0.0))),
            "frontier": [
                [*found, *swept.staircase.answer(found).key[2:], swept.stray_bounds[found]]
                for found in swept.parts
            ],
            "open": swept.open,
            "sturdier": [beside.bound, answer_told(beside.found.answer if beside.found else None)],
            "known": answer_told(
                search_in_time(problem, Clock(0.0), answer_at(problem, Chain(), 0, (267,)))
            ),
        }
    )


def test_wanted_beside(recorded: Recorded) -> None:
    """What is sought beside a best strategy: allowance, rank, and the way back."""
    told = {}
    for seed, loss, guarded in ((1, 4.0, 9.0), (3, 0.0, 3.0), (6, 20.0, 60.0), (7, 1e5, 2e9)):
        point = random_read_point(seed)
        for weights in (Loss(5, 1), Loss(1 / 3, 0.7)):
            problem = pose(point.survey, replace(point.policy, loss=weights))
            part = Parts.of(problem).parts[0]
            answer = replace(search(problem, Clock()), key=(0.0, loss, guarded, 1.0, 0.0, 1.0))
            for allowance in (None, 0.0, 2.5):
                wanted = _Wanted.beside(Found(part, answer), allowance)
                held = wanted.ranked(Found(part, answer))
                told[f"{seed} {weights.missed:g} {allowance}"] = [
                    *(wanted.cap, wanted.sum_below, wanted.most, wanted.times),
                    *(wanted.rank(loss + 1, guarded - 2), wanted.mark(held.answer)),
                    *(wanted.guarded_from(n) for n in (0.0, loss + guarded)),
                    *(*held.answer.key, *wanted.found(held).answer.key),
                ]
    recorded(told)


@pytest.mark.parametrize("classes", [5, 70, 140])
def test_selections(classes: int, recorded: Recorded) -> None:
    """Of one word, and of more."""
    rng = np.random.default_rng(classes)
    words = -(-classes // 64)
    through = np.zeros((6, 64 * words), bool)
    through[:, :classes] = rng.random((6, classes)) < 0.5
    table = Literals(
        np.packbits(through, axis=1).view(np.uint64), rng.choice([8, 16, 32], 6), classes
    )
    lists = [no_masks(classes)]
    for _ in range(2):
        known = np.concatenate([one.words for one in lists])
        more = grow(lists[-1], known, table, Clock())
        assert more is not None
        lists.append(more)
    row, literal = rng.integers(0, len(lists[1]), 20), rng.integers(0, 6, 20)
    parts = [joined(lists[1], row, table, literal, either) for either in (False, True)]
    some = merged(parts, lists[1].words)
    weight = rng.integers(-8, 9, classes) / 4

    def cut(rows: Any) -> list[str]:
        return [line[classes - 5 if classes > 5 else 0 :] for line in selections_told(rows, 40)]

    recorded(
        {
            "listed": [len(one) for one in lists],
            "one": cut(lists[1]),
            "two": cut(lists[2]),
            "merged": cut(some),
            "at most": [
                None if found is None else len(found)
                for most in (0, len(lists[2]) - 1, len(lists[2]))
                for found in (grow(lists[1], lists[1].words, table, Clock(), most),)
            ],
            "sums": lists[1].sums(weight),
            "thinned": [len(lists[2].thinned(n)) for n in (1, 7, 500)],
            "keys": [str(n) for n in (keys_of(lists[1].words) % np.uint64(1_000_003)).tolist()],
            "keys by another seed": [
                str(n) for n in (keys_of(lists[1].words, 3) % np.uint64(1_000_003)).tolist()
            ],
        }
    )


def test_known(recorded: Recorded) -> None:
    """At levels and cutoffs that are nearly those of the problem, or none of it."""
    told = {}
    for seed in (1, 3, 9):
        point = with_slots(random_read_point(seed), 1)
        policy, survey = point.policy, point.survey
        problem = pose(survey, policy)
        strategy, _ = finish(problem, search(problem, Clock()))
        levels = survey.levels_dbm.tolist()
        tries = [replace(strategy, levels_dbm=(levels[0] + by,)) for by in (0.0, 9e-7, 2e-6, 0.5)]
        tries += [
            replace(strategy, cutoff_dbm=float(dbm))
            for edge in problem.thresholds[1:4]
            for dbm in (edge - 0.01, edge, edge + 0.01)
        ]
        tries += [
            replace(strategy, cutoff_dbm=dbm) for dbm in (-120.0, problem.below[-1], -1.0, None)
        ]
        tries += [replace(strategy, stop_after=n) for n in (1, 2, 3)]
        tries += [
            replace(strategy, levels_dbm=tuple(levels[:n])) for n in range(1, len(levels) + 1)
        ]
        tries += [
            replace(strategy, masks=(Mask("epc", 32, 8, "30", negate=negate),))
            for negate in (False, True)
        ]
        tries += [
            replace(strategy, masks=(Mask("epc", 32, 8, "99"),)),
            replace(strategy, step_s=1.0),
        ]
        found = [answer_of(problem, one, survey.tags) for one in tries]
        told[str(seed)] = [[] if one is None else [*one.key, one.cutoff] for one in found]
    recorded(told)


def test_middles(recorded: Recorded) -> None:
    """The cutoff in the middle of a range, for readers of several steps."""
    ranges = [(-60.0, -59.0), (-60.25, -60.0), (-60.3, -60.1), (-61.0, -58.2), (-60.0, -59.5)]
    ranges += [(-60.2, -59.9), (-59.75, -59.25), (-63.1, -60.9), (-0.4, 0.0)]
    recorded(
        {
            str(step): [_middle(low, high, Reader(rssi_step_db=step)) for low, high in ranges]
            for step in (None, 0.1, 0.3, 0.5, 1.0, 2.0)
        }
    )


def test_installable(recorded: Recorded) -> None:
    """One strategy under policies that allow it, or forbid a single part of it."""
    point = random_read_point(5, 2)
    survey = point.survey
    levels = survey.levels_dbm.tolist()
    without = ("power", "ladder", "cutoff", "masks")
    base = replace(
        point.policy, allow=without, reader=Reader(2, mask_slots=1), stop_after=1, time=Dwell()
    )
    mask = Mask("epc", 32, 8, "30")
    whole = Strategy((levels[0], levels[-1]), 1, -60.0, (mask,))
    told = {}
    for name, policy in {
        "all": base,
        "no masks": replace(base, allow=("power", "ladder", "cutoff")),
        "no cutoff": replace(base, allow=("power", "ladder", "masks")),
        "no ladder": replace(base, allow=("power", "cutoff", "masks")),
        "no power": replace(base, allow=("ladder", "cutoff", "masks")),
        "stop after 2": replace(base, stop_after=2),
        "two slots": replace(base, reader=Reader(2, mask_slots=2)),
        "no slot": replace(base, reader=Reader(2, mask_slots=0)),
        "short masks": replace(base, reader=Reader(2, mask_slots=1, mask_bits_max=7)),
        "masks of 8": replace(base, reader=Reader(2, mask_slots=1, mask_bits_max=8)),
        "steps of 4": replace(base, reader=Reader(2, mask_slots=1, mask_step_bits=4)),
        "steps of 16": replace(base, reader=Reader(2, mask_slots=1, mask_step_bits=16)),
        "whole dB": replace(base, reader=Reader(2, mask_slots=1, rssi_step_db=1.0)),
        "seven": replace(base, reader=Reader(2, mask_slots=1, rssi_step_db=7.0)),
        "some levels": replace(
            base, reader=Reader(2, mask_slots=1, power_levels_dbm=tuple(levels[:1]))
        ),
        "top alone": replace(
            base,
            allow=("ladder", "cutoff", "masks"),
            reader=Reader(2, mask_slots=1, power_levels_dbm=tuple(levels[:2])),
        ),
        "one step fits": replace(base, time=Dwell(dwell_s=1.0, step_s=0.6)),
        "two steps fit": replace(base, time=Dwell(dwell_s=1.2, step_s=0.6)),
        "antennas": replace(base, allow=TECHNIQUES),
    }.items():
        tries = [
            whole,
            replace(whole, levels_dbm=(levels[-1],), stop_after=3),
            replace(whole, levels_dbm=(levels[0],)),
            replace(whole, levels_dbm=(levels[0], levels[1])),
            replace(whole, levels_dbm=tuple(levels[:3])),
            replace(whole, levels_dbm=(levels[0] + 0.25,)),
            replace(whole, levels_dbm=(levels[-1] + 1.0,)),
            replace(whole, masks=()),
            replace(whole, masks=(Mask("epc", 36, 8, "00"),)),
            replace(whole, masks=(Mask("tid", 4, 16, "2000"),)),
            replace(whole, masks=(Mask("epc", 32, 12, "3000"),)),
            replace(whole, masks=(mask, replace(mask, join="or"))),
            replace(whole, cutoff_dbm=None),
            replace(whole, cutoff_dbm=-63.0),
            replace(whole, cutoff_dbm=-60.25),
            replace(whole, score=Peak(antennas=(1,))),
            replace(whole, score=Peak()),
        ]
        told[name] = "".join("+" if installable(one, policy, survey) else "-" for one in tries)
    recorded(told)


def test_strategies(recorded: Recorded) -> None:
    """As JSON, without techniques, and what is said of faults."""
    mask = Mask("epc", 32, 8, "30")
    peak = Strategy(
        (10.0, 12.0), 2, -60.0, (mask, replace(mask, join="or")), Peak(antennas=(1, 2)), step_s=0.5
    )
    apart = Strategy((10.0,), score=Difference("difference", (1,), (2,)), cutoff_db=3.0)
    told: dict[str, Any] = {}
    for name, one in (("peak", peak), ("difference", apart)):
        told[name] = str(one.to_json())
        told[f"{name} cutoff"] = one.cutoff
        for some in (("ladder",), ("power",), ("cutoff",), ("masks",), ("antennas",), TECHNIQUES):
            without = one.without(*some, top_dbm=15.0)
            told[f"{name} without {', '.join(some)}"] = str(without.to_json())
    plain: dict[str, Any] = {"levels_dbm": [10, 12], "cutoff_dbm": -60}
    faults: dict[str, Any] = {
        "fine": plain,
        "one": {"strategy": plain, "read_point": "gate", "sturdier": {"strategy": plain}},
        "no level": {"levels_dbm": []},
        "twice": {"levels_dbm": [12, 12]},
        "down": {"levels_dbm": [12, 10]},
        "no stop": {**plain, "stop_after": 0},
        "cutoff": {**plain, "cutoff_dbm": 1},
        "unjoined": {**plain, "masks": [mask.to_json(), mask.to_json()]},
        "joined": {**plain, "masks": [{**mask.to_json(), "join": "or"}]},
        "dB": {**plain, "cutoff_db": 3},
        "dBm": {**plain, "score": {"kind": "difference", "antennas": [1], "against": [2]}},
        "step": {**plain, "step_s": 0},
        "list": [{"strategy": plain, "read_point": "a"}, {"strategy": plain, "read_point": "b"}],
        "same": [{"strategy": plain, "read_point": "a"}, {"strategy": plain, "read_point": "a"}],
        "unnamed": [{"strategy": plain}, {"strategy": plain, "read_point": "a"}],
        "nothing": [],
        "numbers": [1, 2],
        "strange": {**plain, "kutoff": 1},
    }
    for name, document in faults.items():
        data = json.dumps(document).encode()
        for how, parse in (
            ("one", parse_strategy_file),
            ("several", parse_strategy_files),
            ("strategy", read_strategy),
        ):
            try:
                found: Any = parse(b"\xef\xbb\xbf" * (how != "strategy") + data, "x.json")
            except StrategistError as error:
                told[f"{name} {how}"] = str(error)
                continue
            every = found if isinstance(found, list) else [found]
            told[f"{name} {how}"] = [
                str(getattr(one, "strategy", one).to_json())
                + f" {getattr(one, 'read_point', '')} {getattr(one, 'sturdier', '') is None}"
                for one in every
            ]
    recorded(told)


@pytest.mark.parametrize("seed", range(5))
def test_next_pairs(seed: int, recorded: Recorded) -> None:
    rng = np.random.default_rng(seed)
    doubt = np.where(rng.random((3, 4)) < 0.8, rng.uniform(0.1, 5.0, (3, 4)), 0.0)
    told_by = np.where(rng.random((3, 4, 3)) < 0.6, rng.uniform(0.0, 0.9, (3, 4, 3)), 0.0)
    told_by[0, 0] = 0.02, 0.019, 0.9
    cost = Cost(float(rng.choice([0.5, 3.0])), float(rng.choice([0.1, 1.0])))
    batch = pairs_to_measure(doubt, told_by, cost, 0.5, Clock())
    greedy = pairs_to_measure(doubt, told_by, cost, 0.5, Clock(0.0))
    model = _Model(doubt[:2, :2], told_by[:2, :2], cost, np.array([0.5, 1.0]))
    recorded(
        {
            "batch": batch * 1,
            "all but all": pairs_to_measure(doubt, told_by, cost, 1.0, Clock()) * 1,
            "greedy": greedy * 1,
            "greedy for all": pairs_to_measure(doubt, told_by, cost, 0.95, Clock(0.0)) * 1,
            "settled": [short(row) for row in settled_by(doubt, told_by, batch)],
            "objective": str(model.problem.objective),
            "rows": [[str(row)] for row in model.problem.constraints.values()],
        }
    )


@pytest.mark.parametrize("seed", range(4))
def test_templates(seed: int, recorded: Recorded) -> None:
    rng = np.random.default_rng(seed)
    loss = rng.integers(0, 30, (5, 6)) * 1.0
    loss[rng.random(loss.shape) < 0.3] = np.inf
    loss[:, 5] = loss[:, 2]
    told: dict[str, Any] = {}
    for name, clock in (("proven", Clock), ("in no time", lambda: Clock(0.0))):
        curve = template_curve(loss, 4, clock())
        told[name] = [
            [list(one.chosen), str(one.use), one.loss, one.bound, one.proven, one.without]
            for one in (*curve, choose_templates(loss, 2, clock()))
        ]
    recorded(told)


def test_solver(recorded: Recorded) -> None:
    """Optimal, infeasible, unbounded, stopped before it began; integers beyond 1 and free ones."""

    def made(name: str, *rows: Callable[[Any], Any], cost: tuple[float, ...]) -> pulp.LpProblem:
        mip = pulp.LpProblem(name, pulp.LpMinimize)
        x = [
            pulp.LpVariable("a", cat="Binary"),
            pulp.LpVariable("b", 0, 7, cat="Integer"),
            pulp.LpVariable("c", -3),
        ]
        mip += pulp.lpSum(c * v for c, v in zip(cost, x, strict=True))
        for row in rows:
            mip += row(x)
        return mip

    problems = {
        "whole": made("p", lambda x: 2 * x[1] + x[0] >= 5, lambda x: x[2] >= -1, cost=(1, 1, 1)),
        "equal": made("p", lambda x: x[1] + x[2] == 2.5, cost=(0, 3, 1)),
        "at most": made("p", lambda x: x[0] + x[1] <= 4.5, cost=(-2, -1, 1)),
        "infeasible": made("p", lambda x: x[1] >= 8, cost=(1, 1, 1)),
        "unbounded": made("p", lambda x: x[0] <= 1, cost=(0, 0, -1)),
    }
    told: dict[str, Any] = {}
    for name, mip in problems.items():
        for known in (False, True):
            try:
                found = solve_mip(mip, clock=Clock(), known=known)
            except SolveError as error:
                told[f"{name} {known}"] = str(error)
                continue
            values = [] if found.objective is None else [v.value() for v in mip.variables()]
            told[f"{name} {known}"] = [str(found.outcome), str(found.objective), str(found.bound)]
            told[f"{name} {known} values"] = values
    for seconds in (0.0, 1e-6, 3e-6, 10.0):
        try:
            clock = Clock(seconds, now=lambda: 0.0)
            told[f"{seconds} s"] = str(solve_mip(problems["whole"], clock=clock).objective)
        except OutOfTimeError:
            told[f"{seconds} s"] = "out of time"
    recorded(told)


def test_clocks(recorded: Recorded) -> None:
    """By a hand that moves a quarter of a second at each look."""
    told: dict[str, Any] = {}
    for seconds in (None, 0.0, 0.5, 0.75, 10.0):
        ticks = itertools.count()
        clock = Clock(seconds, now=lambda ticks=ticks: next(ticks) / 4)
        keeping = KeepingClock(seconds, now=lambda: 0.0, needed=lambda: 0.5)
        told[str(seconds)] = [
            *(clock.started, clock.spent, str(clock.left), clock.reserve, clock.expired()),
            *(str(clock.without_reserve().seconds), str(clock.less(2.0).seconds)),
            *(str(clock.less(0.1).seconds), keeping.expired(), clock.expired()),
        ]
        with clock.stopped():
            clock.now()
        told[f"{seconds} stopped"] = [clock.off, clock.spent]
        try:
            clock.check()
            told[f"{seconds} checked"] = "in time"
        except OutOfTimeError:
            told[f"{seconds} checked"] = "out of time"
    recorded(told)


def test_progress(recorded: Recorded) -> None:
    seen: list[Reached] = []
    tell(1.0, 0.0)
    with watched_by(seen.append):
        tell(9.0, 1.0)
        with at_stage("outer"):
            tell(8.0, 2.0, "own")
            with at_stage("inner", lambda one: Reached(one.loss, 0.5, one.stage)):
                tell(7.0, None)
                tell(None, 3.0, "own")
        with at_stage(""):
            tell(6.0, 4.0)
        with watched_by(None), at_stage("nobody"):
            tell(5.0, 5.0)
        tell(4.0, 5.0, "last")
    with at_stage("alone"):
        tell(3.0, 3.0)
    recorded([[str(one)] for one in seen])


@pytest.mark.parametrize("seed", [10, 85])
def test_stages_of_a_search(seed: int, recorded: Recorded) -> None:
    """Losses and bounds as they are told, by bounds and with time for beams ahead."""
    told: dict[str, Any] = {}
    for name, clock in (("all the time", Clock()), ("a limit", counted_clock(10**6))):
        seen: list[Reached] = []
        with watched_by(seen.append):
            answer = search(replace(many_chains(seed), tuning=BY_BOUNDS), clock)
        told[name] = [seen[0].bound, seen[-1].loss, answer_told(answer)]
    recorded(told)


def test_nothing_to_choose_from(recorded: Recorded) -> None:
    point = random_read_point(3)
    told = {}
    for name, reader in {
        "no level": replace(point.policy.reader, power_levels_dbm=(-20.0,)),
        "some": replace(point.policy.reader, power_levels_dbm=(10.0, 11.0)),
    }.items():
        try:
            problem = pose(point.survey, replace(point.policy, reader=reader))
            told[name] = [*problem.profile.levels_dbm]
        except InputError as error:
            told[name] = str(error)
    chains = Chains(pose(point.survey, point.policy), Clock())
    told["listed"] = [len(chains.listed(0)), chains.number(0, 0), chains.number(1, 0)]
    recorded(told)
