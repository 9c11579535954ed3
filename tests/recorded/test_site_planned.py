"""Plans of small sites, and what their parts come to on the way."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.problem import Counts, pose
from strategist.optimise.site import plan as plans
from strategist.optimise.site.arbiter import Arbiter
from strategist.optimise.site.asked import Plan, Planned, Rule, SiteProblem
from strategist.optimise.site.contested import Contest, Reports, _difference, reports_of
from strategist.optimise.site.elsewhere import answer_elsewhere, needed_masks, replayed_elsewhere
from strategist.optimise.site.every import every_strategy
from strategist.optimise.site.given import with_cutoff, with_ladder, with_masks, with_steps
from strategist.optimise.site.master import Chosen, Column, Joint, Master, Terms
from strategist.optimise.site.member import Given, members_of
from strategist.optimise.site.plan import SitePlanner
from strategist.optimise.site.quick import quick
from strategist.optimise.site.reader import ReaderTask, Solved, solve_reader, try_at_reader
from strategist.optimise.site.values import NO_CUTOFF, Table, cutoffs_of, ladders_of, settable
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Limits
from strategist.survey.site import SharedPart
from tests.optimise.made import random_read_point
from tests.optimise.site.made import random_site
from tests.optimise.site.made_pairs import random_pair
from tests.optimise.site.test_elsewhere import MASKS, TAGS
from tests.recorded.told import answer_told, chain_told, model_told, short

Recorded = Callable[..., None]
SHARES: tuple[tuple[SharedPart, ...], ...] = (
    (),
    ("masks",),
    ("cutoff",),
    ("masks", "cutoff"),
    ("ladder",),
    ("masks", "cutoff", "ladder"),
)
ASKED = ((None, None), (1, None), (2, 7.0), (2, None), (None, 4.0), (None, 3.0), (0, None))


def strategy_told(one: Strategy | None) -> str:
    if one is None:
        return "silent"
    masks = [
        f"{m.join or ''} {'not ' * m.negate}{m.bank} {m.pointer} {m.length} {m.pattern}"
        for m in one.masks
    ]
    return f"{one.levels_dbm} {one.cutoff_dbm} {one.stop_after}{' '.join(masks)}"


def planned_told(one: Planned) -> str:
    return f"{one.alternative} {strategy_told(one.strategy)}: {one.excess:g}, {one.loss:g}"


def rule_told(rule: Rule | None) -> Any:
    if rule is None:
        return None
    keys = [n for key in rule.keys for n in key]
    gone = [*rule.discarded_wanted, *rule.discarded_stray]
    return [rule.threshold_db, rule.low, rule.high, rule.width, *rule.key, *keys, *gone]


def plan_told(plan: Plan) -> Any:
    numbers = [plan.excess, plan.loss, *plan.bound, *plan.pool_bound, plan.price, plan.settings]
    told = [[*numbers, plan.proven], *map(planned_told, plan.points)]
    return [*told, *(rule_told(one) for one in plan.rules)]


def timed(site: SiteProblem, cycle_s: float) -> SiteProblem:
    """With steps that last longer with masks, and readers that walk all ladders in so long."""
    points = tuple(
        tuple(replace(one, step_s=(0.2, 0.3, 0.45)) for one in some) for some in site.points
    )
    readers = tuple(replace(one, cycle_s=cycle_s) for one in site.readers)
    return replace(site, points=points, readers=readers)


def site_of(seed: int) -> SiteProblem:
    site = random_site(seed, SHARES[seed % len(SHARES)])
    return timed(site, 0.4 + seed % 4 / 10) if seed % 5 == 4 else site


def pair_of(seed: int) -> SiteProblem:
    return random_pair(seed, SHARES[seed % len(SHARES)], facing=seed % 3 == 2, passes=6)


@pytest.mark.parametrize("seed", range(10))
def test_plans(seed: int, recorded: Recorded) -> None:
    """Of any number of settings and any money, and of few and little."""
    planner, told = SitePlanner(site_of(seed)), {}
    for asked in ASKED[seed % 3 :: 3]:
        told[str(asked)] = plan_told(planner.plan(*asked))
    told["readers"] = [solved_told(one) for some in planner.solved for one in some]
    recorded(told)


def solved_told(one: Solved) -> list[Any]:
    keys = (*one.alternatives, *one.bound, *one.alone, *one.best, *one.silence)
    return [*short(keys).tolist(), one.proven]


@pytest.mark.parametrize("seed", range(3))
def test_plans_of_one_read_point(seed: int, recorded: Recorded) -> None:
    whole, told = site_of(seed), {}
    reader = replace(whole.readers[1], points=(0,))
    planner = SitePlanner(replace(whole, names=("c",), points=whole.points[2:], readers=(reader,)))
    for asked in ((None, None), (1, None), (0, None), (1, 3.0)):
        told[str(asked)] = plan_told(planner.plan(*asked))
    recorded(told)


@pytest.mark.parametrize("seed", range(5))
def test_plans_of_columns(seed: int, recorded: Recorded, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where not all strategies are listed, and where no time is left for the model."""
    monkeypatch.setattr(plans, "_SMALL", 0)
    site = site_of(seed)
    planner, told = SitePlanner(site), {}
    for asked in ((None, None), (1, None), (None, 5.0)):
        told[str(asked)] = plan_told(planner.plan(*asked))
        told[f"{asked} in no time"] = plan_told(planner.plan(*asked, Clock(0.0)))
    told["small"] = [planner.small, *planner.reader, len(planner._beside)]
    told["stopped"] = plan_told(SitePlanner(site, Clock(0.0)).plan())
    recorded(told)


@pytest.mark.parametrize("small", [True, False])
@pytest.mark.parametrize("seed", range(6))
def test_plans_of_pairs(
    seed: int, small: bool, recorded: Recorded, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the rule that discards one of two reports, and without."""
    if not small:
        monkeypatch.setattr(plans, "_SMALL", 0)
    planner, told = SitePlanner(pair_of(seed)), {}
    asked = ((None, None), (1, None), (None, 5.0), (None, 4.0))[seed % 4]
    told["with rules"] = plan_told(planner.plan(*asked))
    told["without"] = plan_told(planner.plan(*asked, rules=False))
    told["in no time"] = plan_told(planner.plan(*asked, Clock(0.0)))
    told["columns"] = len(planner._columns)
    recorded(told)


@pytest.mark.parametrize("seed", range(6))
def test_contests(seed: int, recorded: Recorded) -> None:
    """What is contested, what rules may discard, and the best one for drawn reports."""
    site, rng = pair_of(seed), np.random.default_rng(seed)
    given = [some[0] for some in site.points]
    contest, told = Contest.of(site.pairs[0], given), {}
    for number, side in enumerate(contest.sides):
        told[f"side {number}"] = {
            "entries": side.entry,
            "wanted": side.wanted * 1,
            "free below": contest.free_below(number),
            "presented": side.presented,
            "keys": [
                f"{m} {s}: {excess:g} {loss:g}"
                for m, s in ((0, 0), (1, 2), (2, 1))
                for (excess,), (loss,) in [side.keys(np.array([m]), np.array([s]))]
            ],
            "silence": given[number].silence,
        }
    size = len(contest.sides[0].entry)
    rules = []
    for _ in range(6):
        reports = [
            Reports(
                Counts(int(rng.integers(0, 4)), int(rng.integers(2, 8))),
                np.where(rng.random(size) < 0.8, -60.0 + rng.integers(-3, 4, size), -np.inf),
            )
            for _ in range(2)
        ]
        rules.append(rule_told(contest.best(reports[0], reports[1])))
    told["rules"] = rules
    near = np.array([-60.0, -60.00004, -60.00006, -59.99, -np.inf])
    told["differences"] = [_difference(near, np.full(5, other)) for other in (-60.0, -np.inf)]
    reported = []
    for ladder, cutoff, stop_after in (((10.0,), None, 1), ((10.0, 11.0), -60.0, 2)):
        for mask in (None, *MASKS[:2]):
            one = Strategy(ladder, stop_after, cutoff, () if mask is None else (mask,))
            reported.append(reports_of(given[0].survey, one))
    told["reported"] = [" ".join(f"{x:g}" for x in one) for one in reported]
    recorded(told)


@pytest.mark.parametrize("seed", [0, 2, 3, 5, 8, 9])
def test_arbiter(seed: int, recorded: Recorded) -> None:
    """Which columns of a pair go together, with the rules that are best for them."""
    site = pair_of(seed)
    planner, arbiter = SitePlanner(site), Arbiter(site)
    plan = planner.plan(rules=False)
    columns = [*planner._columns.values()][:60]
    joints, rules = arbiter.joints(columns, Clock())
    freed = [arbiter.freed(p, some[0]) for p, some in enumerate(site.points)]
    answered = [arbiter.answered(p, one, plan.points) for p, one in enumerate(freed)]
    recorded(
        {
            "joints": [
                f"{one.pair} {one.first[0]}+{len(one.first)} {one.second[0]}+{len(one.second)}"
                f" {one.excess:g} {one.loss:g} {one.price:g}"
                for one in joints[:30]
            ],
            "number": len(joints),
            "rules": [rule_told(one) for one in rules[:3]],
            "on top": [[n, *rule_told(one)] for n, one in arbiter.on_top(plan.points).items()],
            "freed": [[] if one.free_below is None else one.free_below for one in freed],
            "answered": [[] if one.free_below is None else one.free_below for one in answered],
            "sides": [arbiter.side_of(0, 0) is None, arbiter.side_of(0, 1) is None],
        }
    )


@pytest.mark.parametrize("seed", range(3))
def test_members(seed: int, recorded: Recorded) -> None:
    """What is shared, what a read point loses with it at least, and at best."""
    site, rng = random_site(seed, ("masks", "cutoff")), np.random.default_rng(seed)
    some = [replace(one[-1], nothing=one[0].silence) for one in site.points]
    joint, members = members_of(some)
    table = Table(joint, members, Clock())
    cutoffs = cutoffs_of(members)
    ladders = ladders_of(members, 50)
    assert ladders is not None
    told: dict[str, Any] = {
        "rows": ["".join(map(str, row.astype(int))) for row in table.through[:14]],
        "chains": [chain_told(table.chain(row)) for row in range(min(14, len(table.through)))],
        "masks": table.masks[:14],
        "complete": table.complete,
        "cutoffs": [f"{low:g} {high:g}" for low, high in cutoffs],
        "ladders": [" ".join(f"{x:g}" for x in one) for one in ladders],
        "too many": ladders_of(members, len(ladders) - 1) is None,
    }
    for number, member in enumerate(members):
        alone, bound = member.alone
        row = table.through[int(rng.integers(len(table.through)))]
        least, ladder = cutoffs[int(rng.integers(len(cutoffs)))][1], ladders[-1]
        tries = [
            (None, None, None),
            (table.through[:9], None, None),
            (table.through[:9], least, None),
            (None, least, ladder),
            (table.through[:9], None, ladder),
            (None, None, (99.0,)),
        ]
        givens = [
            Given(0 if masks else None, int(masks), low, steps, most)
            for masks, low, steps, most in itertools.product(
                (False, True), (None, least, -np.inf), (None, ladder), (None, 1)
            )
        ]
        told[f"member {number}"] = {
            "alone": [*alone.key, *bound, *member.floor, *member.nothing.key, alone.silent],
            "bounds": [short(member.bounds(*one, alone.loss)) for one in tries],
            "least": [
                " ".join(f"{x:g}" for x in (*found.key[:2], found.weighed, found.steps))
                for given in givens
                for found in (member.least(given, row if given.selection == 0 else None),)
            ],
            "places": [member.place(member.problem, high) for _, high in cutoffs],
            "ladders": [str(member.ladder_of(one)) for one in (ladders[0], (99.0,))],
        }
    recorded(told)


@pytest.mark.parametrize("seed", [1, 2, 3, 9])
def test_given(seed: int, recorded: Recorded) -> None:
    """What is left of a choice with a part of it given."""
    point = random_read_point(seed)
    problem = pose(point.survey, point.policy)
    through = np.random.default_rng(seed).random(problem.profile.classes) < 0.6
    last = len(problem.profile.levels_dbm) - 1
    told = {}
    for name, part in {
        "masks": with_masks(problem, through, 0),
        "cutoff": with_cutoff(problem, -66.0),
        "no cutoff": with_cutoff(problem, -np.inf),
        "ladder": with_ladder(problem, [0, last][: problem.steps_max]),
        "steps": with_steps(problem, 1),
    }.items():
        told[name] = {
            "heard": np.isfinite(part.profile.rssi).sum(axis=0),
            "guarded": np.isfinite(part.guarded.rssi).sum(axis=0),
            "levels": part.profile.levels_dbm,
            "steps": part.steps_by_masks,
            "slots": part.slots,
            "classes": part.profile.classes,
            "whole": part.whole_ladder,
            "cutoffs": len(part.thresholds),
        }
    recorded(told)


@pytest.mark.parametrize("seed", range(6))
def test_every_strategy(seed: int, recorded: Recorded) -> None:
    shares = SHARES[seed % len(SHARES)]
    site = random_site(seed, shares)
    joint, members = members_of([some[0] for some in site.points])
    found = every_strategy(
        joint, members, frozenset(shares), Clock(), timed=seed % 4 == 1, sides=()
    )
    if found is None:
        recorded(None)
        return
    rows = zip(found.strategies, found.excess.tolist(), found.loss.tolist(), strict=True)
    told = [
        f"{chain_told(chain)} / {cutoff[1]:g} / {ladder}: {excess} {loss}"
        for (chain, cutoff, ladder), excess, loss in rows
    ]
    recorded({"number": len(told), "first": told[:12], "last": told[-8:]})


def drawn_columns(rng: np.random.Generator) -> tuple[list[Column], list[Joint]]:
    """Four read points, each with silence and some columns; joints of the first two."""
    columns: list[Column] = []
    for p in range(4):
        columns.append(Column(p, float(rng.choice([0, 0.25])), float(rng.integers(20, 30))))
        for _ in range(4):
            columns.append(
                Column(
                    *(p, float(rng.choice([0, 0, 0.5])), float(rng.integers(0, 25))),
                    setting=int(rng.integers(5)),
                    value=int(rng.integers(3)) if p < 2 else None,
                    cycle_s=float(rng.choice([0.2, 0.4])),
                    price=float(rng.choice([0, 0, 2])),
                )
            )
    joints = [
        Joint(0, (i,), (j,), 0.0, -float(rng.integers(1, 6)), price=float(rng.choice([0, 1.5])))
        for i, j in itertools.product((1, 2), (6, 7))
    ]
    return columns, joints


TERMS = (
    Terms((0, 0, 1, 2), (0.7, None, None)),
    Terms((0, 0, 1, 2), (None, 0.3, None), at_most=2),
    Terms((0, 0, 1, 2), (None, None, None), budget=6.5, visit=1.0, setting=1.5),
    Terms((0, 0, 1, 1), (0.7, 0.6), at_most=3, budget=9.0, visit=2.0, setting=0.5),
    Terms.apart(4, 2),
)


def chosen_told(chosen: Chosen | None) -> Any:
    if chosen is None:
        return None
    numbers = [chosen.excess, chosen.loss, *chosen.bound, chosen.proven]
    return [numbers, chosen.columns, chosen.joints]


@pytest.mark.parametrize("stop", ["not proven", "no time"])
@pytest.mark.parametrize("at", [1, 2])
def test_master_stopped(
    at: int, stop: str, recorded: Recorded, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the first or the second objective: what was found, and a bound below it."""
    least, told = Master._least, {}

    def stopped(self: Master, *asked: Any) -> Any:
        calls.append(0)
        bound, used, proven = least(self, *asked)
        if len(calls) == at and stop == "no time":
            raise OutOfTimeError
        return (bound, used, proven) if len(calls) != at else (bound - 1.5, used, False)

    monkeypatch.setattr(Master, "_least", stopped)
    for seed in range(4):
        columns, joints = drawn_columns(np.random.default_rng(seed))
        for number, terms in enumerate(TERMS):
            calls: list[int] = []
            told[f"{seed} {number}"] = chosen_told(Master(columns, terms, Clock(), joints).solve())
    recorded(told)


@pytest.mark.parametrize("seed", range(5))
def test_master(seed: int, recorded: Recorded) -> None:
    columns, joints = drawn_columns(np.random.default_rng(seed))
    told: dict[str, Any] = {}
    for number, terms in enumerate(TERMS):
        told[f"terms {number}"] = chosen_told(Master(columns, terms, Clock()).solve())
        told[f"terms {number} pair"] = chosen_told(Master(columns, terms, Clock(), joints).solve())
        told[f"terms {number} quick"] = chosen_told(quick(columns, terms))
    told["stopped"] = chosen_told(Master(columns, TERMS[0], Clock()).solve())
    recorded(told)


def test_rows_of_the_master(recorded: Recorded) -> None:
    columns, joints = drawn_columns(np.random.default_rng(1))
    few = [one for one in columns if one.setting in (None, 0, 1, 3)]
    joined = [replace(joints[0], first=(1,), second=(len(few) - 1,))]
    told = {}
    for number in (2, 3):
        master = Master(few, TERMS[number], Clock(), joined)
        told[str(number)] = [[row] for row in model_told(master.mip)]
    recorded(told)


@pytest.mark.parametrize("seed", range(3))
def test_readers(seed: int, recorded: Recorded) -> None:
    """Each reader with its options, over known columns, and strategies of others tried there."""
    site, told = site_of(seed), {}
    for number, reader in enumerate(site.readers):
        task = ReaderTask(reader, tuple(site.points[p] for p in reader.points))
        solved = solve_reader(task)
        told[f"reader {number}"] = [solved_told(one) for one in solved]
        columns = [column for one in solved for column in one.columns]
        told[f"columns {number}"] = [f"{p}: {planned_told(one)}" for p, one in columns[:6]]
        strategies = [one.strategy for _, one in columns if one.strategy is not None]
        elsewhere = site.readers[1 - number]
        other = ReaderTask(elsewhere, tuple(site.points[p] for p in elsewhere.points))
        tried = try_at_reader(other, list(dict.fromkeys(strategies)))
        told[f"tried {number}"] = [f"{p}: {planned_told(one)}" for p, one in tried[:6]]
        told[f"number {number}"] = [len(columns), len(tried)]
        again = [(p, one) for p, one in columns if one.alternative == 0][:3]
        with_known = solve_reader(replace(task, known=tuple(again)))
        told[f"again {number}"] = [len(one.columns) for one in with_known]
    recorded(told)


@pytest.mark.parametrize("seed", range(5))
def test_elsewhere(seed: int, recorded: Recorded) -> None:
    point, rng = random_read_point(seed), np.random.default_rng(seed)
    survey, policy, told = point.survey, point.policy, {}
    problem = pose(survey, replace(policy, limits=Limits(missed_rate_max=0.2)))
    for number in range(10):
        size = min(int(rng.integers(1, 3)), len(survey.levels_dbm))
        levels = sorted(rng.choice(survey.levels_dbm, size, False).tolist())
        if number == 9:
            levels = [levels[0] + 2e-6 if seed % 2 else levels[0] + 5e-7]
        masks = tuple(replace(MASKS[n], negate=bool(n % 2)) for n in rng.choice(3, number % 3))
        masks = tuple(replace(m, join="or" if n else None) for n, m in enumerate(masks))
        strategy = Strategy(
            tuple(levels), int(rng.integers(1, 4)), None if number % 2 else -66.0, masks
        )
        told[str(number)] = [
            answer_told(answer_elsewhere(problem, strategy, survey.tags)),
            replayed_elsewhere(problem, strategy, survey.tags),
            str(needed_masks(masks, survey.tags)),
            str(needed_masks(masks, TAGS)),
        ]
    recorded(told)


def test_settable(recorded: Recorded) -> None:
    """The cutoff nearest to the middle of a range, on the reader's raster."""
    ranges = [(-60.0, -59.0), (-60.25, -60.0), (-60.3, -60.1), (-61.0, -58.2), (-60.2, -59.9)]
    ranges += [(-59.75, -59.25), (-63.1, -60.9), NO_CUTOFF, (-60.0, np.inf)]
    recorded(
        {
            str(step): [settable((low, high), step) for low, high in ranges]
            for step in (None, 0.1, 0.3, 0.5, 1.0, 2.0)
        }
    )
