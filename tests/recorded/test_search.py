"""What the searches of a read point come to, and the figures on the way."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.optimise import sturdy
from strategist.optimise.archive import Best
from strategist.optimise.by_model import pays, prove_by_model
from strategist.optimise.cells import Layout
from strategist.optimise.chains import Chains, TooManyLeftError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.finish import finish
from strategist.optimise.front import Staircase
from strategist.optimise.frontier import sweep
from strategist.optimise.goals import GuardedGoal, LossGoal
from strategist.optimise.installable import installable
from strategist.optimise.kernel import IN, OPEN, OUT
from strategist.optimise.known import answer_of
from strategist.optimise.measures import Measure, aim_at, measures
from strategist.optimise.model import Model
from strategist.optimise.node import Node, strongest
from strategist.optimise.outer import Found, least_guarded
from strategist.optimise.problem import Answer, Chain, Counts, Problem, pose
from strategist.optimise.scores import Parts
from strategist.optimise.search import Search, least_loss, search
from strategist.optimise.starts import Starts
from strategist.optimise.sturdy import sturdiest
from strategist.optimise.tree import Tree
from strategist.optimise.tuning import DEFAULT, Tuning
from strategist.optimise.zoom import few_levels, on_levels
from strategist.survey.policy import Limits, Loss
from strategist.survey.records import ReadPoint
from tests.optimise.counted import counted_clock
from tests.optimise.made import (
    BY_BOUNDS,
    BY_JOINS,
    BY_POOR_STARTS,
    BY_SPLITS,
    hurried_read_point,
    random_read_point,
    with_predicted,
    with_steps,
)
from tests.recorded.told import (
    answer_told,
    chain_told,
    model_told,
    problem_told,
    selections_told,
    short,
)

Recorded = Callable[..., None]
TUNINGS = [BY_BOUNDS, BY_SPLITS, BY_POOR_STARTS, BY_JOINS, replace(BY_SPLITS, rounds=3, cuts=2)]
MADE: list[Callable[[int], ReadPoint]] = [
    random_read_point,
    lambda seed: random_read_point(seed, size=2),
    hurried_read_point,
    lambda seed: with_steps(random_read_point(seed), seed),
    lambda seed: with_predicted(random_read_point(seed), seed),
]


def point_of(seed: int) -> ReadPoint:
    """One kind of read point after another; in a fifth with weights that have no common unit, in
    another fifth with both limits."""
    point = MADE[seed % len(MADE)](seed)
    policy = point.policy
    if seed // 5 % 5 == 3:
        policy = replace(policy, loss=Loss(1 / 3, 0.7))
    if seed // 5 % 5 == 4:
        policy = replace(policy, limits=Limits(missed_rate_max=0.25, stray_rate_max=0.2))
    return replace(point, policy=policy)


def problem_of(seed: int, tuning: Tuning = DEFAULT) -> Problem:
    point = point_of(seed)
    return pose(point.survey, point.policy, tuning)


@pytest.mark.parametrize("seed", range(6))
def test_problem(seed: int, recorded: Recorded) -> None:
    point = point_of(seed)
    try:
        problem = pose(point.survey, point.policy)
    except InputError as error:
        recorded(str(error))
        return
    chain = problem.candidates.masks
    told = problem_told(problem) | {
        "masks": [f"{one.bank} {one.pointer} {one.length} {one.pattern}" for one in chain],
        "alike": [str(problem.alike(int(cutoff))) for cutoff in problem.outcomes],
    }
    recorded(told)


@pytest.mark.parametrize("seed", range(30))
def test_answers(seed: int, recorded: Recorded) -> None:
    """Each way of the search, in full and for the loss alone, with the strategy that is told."""
    try:
        problem = problem_of(seed)
    except InputError as error:
        recorded(str(error))
        return
    answer, told = search(problem, Clock()), {}
    strategy, counts = finish(problem, answer)
    told["answer"] = answer_told(answer)
    told["strategy"] = [str(strategy.cutoff_dbm), str(strategy.levels_dbm), counts.missed]
    other = search(replace(problem, tuning=TUNINGS[seed % len(TUNINGS)]), Clock())
    told["other way"] = [answer_told(other)] if answer_told(other) != told["answer"] else "the same"
    least = least_loss(problem, Clock())
    told["least loss"] = [*least.key[:2], *least.bound]
    told["all silent"] = [*problem.silence]
    recorded(told)


@pytest.mark.parametrize("seed", range(1, 35, 5))
def test_answers_stopped(seed: int, recorded: Recorded) -> None:
    """At once, by little patience, and where chains are too many to list."""
    told: dict[str, Any] = {"at once": answer_told(search(problem_of(seed), counted_clock(0)))}
    lists_one = 4 * len(problem_of(seed).candidates.masks)  # joins of chains of one mask
    for name, tuning in {
        "no patience": replace(BY_SPLITS, patience=3),
        "no masks listed": replace(BY_BOUNDS, longest_list=0),
        "few listed": replace(BY_BOUNDS, joins_few=lists_one, joins_many=lists_one),
        "few left": replace(BY_JOINS, left_max=2),
        "beams": replace(BY_BOUNDS, joins_few=lists_one, joins_many=lists_one, light=2.0, beam=2),
    }.items():
        told[name] = answer_told(search(problem_of(seed, tuning), Clock()))
    told["least"] = answer_told(least_loss(problem_of(seed), counted_clock(1)))
    for looks, tuning in itertools.product((5, 20, 80), (DEFAULT, BY_SPLITS)):
        stopped = search(problem_of(seed, tuning), counted_clock(looks))
        told[f"{'by splits' * (tuning is BY_SPLITS)} after {looks}"] = answer_told(stopped)
    recorded(told)


@pytest.mark.parametrize("seed", range(1, 25, 4))
def test_nodes(seed: int, recorded: Recorded) -> None:
    """Bounds, cuts, what is fixed and settled, and how nodes are split, down from the root."""
    try:
        problem = problem_of(seed, BY_BOUNDS)
    except InputError:
        pytest.skip("nothing to choose from")
    answer = search(problem, Clock())
    told: dict[str, Any] = {}
    layout, every = Layout(problem), np.arange(len(problem.profile.levels_dbm))
    for cutoff in (0, len(problem.thresholds) // 2):
        node = Node(
            layout,
            *(aim_at(measures(problem), 0.0), cutoff, every, np.zeros(len(every), bool)),
            clock=Clock(),
        )
        node.raise_bound(answer.key[1], 1)
        first = node.bound
        node.raise_bound(answer.key[1])
        cuts = node.penalties()
        name = f"cutoff {cutoff}"
        told[f"{name}: bounds"] = [first, node.bound]
        told[f"{name}: cuts"] = [[short(one.base), *short(one.weight)] for one in cuts]
        told[f"{name}: rooms"] = [
            [short(room), *short(weight)] for weight, room in (c.room(answer.key[1]) for c in cuts)
        ]
        chains = Chains(problem, Clock())
        some = chains.listed(min(1, problem.slots))
        told[f"{name}: strongest"] = [
            cuts.index(one) for one in strongest(cuts, some, answer.key[1], DEFAULT)
        ]
        told[f"{name}: sieved"] = len(node.sieve(some, answer.key[1]))
        told[f"{name}: more cuts"] = [
            [short(one.base), *short(one.weight)] for one in node.cuts(some, answer.key[1])[:3]
        ]
        told[f"{name}: fixed"] = [node.fix_classes(answer.key[1]), *node.state.tolist()]
        told[f"{name}: settled"] = [
            node.settle_levels(answer.key[1]),
            *node.levels.tolist(),
            *map(int, node.must),
        ]
        parts = []
        for part in node.split():
            part.raise_bound(answer.key[1])
            parts.append([short(part.bound), *part.levels.tolist(), *map(int, part.must)])
            parts += [[*one.levels.tolist(), *map(int, one.must)] for one in part.split()]
        told[f"{name}: parts"] = parts
        tight = Node(layout, node.aim, cutoff, every, np.zeros(len(every), bool), clock=Clock())
        tight.highest = len(problem.thresholds) - 1
        tight.raise_bound(answer.key[1])
        told[f"{name}: relaxed"] = tight.bound
        if (problem.outcomes >= cutoff).sum() > 1:
            told[f"{name}: halves"] = [
                [one.cutoff, one.highest] for one in tight.halves(problem.outcomes)
            ]
        tight.highest = cutoff
        tight.tighten(answer.key[1] - 1)
        told[f"{name}: tight"] = [tight.bound, *tight.levels.tolist(), *tight.state.tolist()]
    recorded(told)


@pytest.mark.parametrize("weights", [(5.0, 1.0), (0.3, 0.7), (1 / 3, 1.0), (1e-4, 2.5e-3)])
def test_aims(weights: tuple[float, float], recorded: Recorded) -> None:
    """At multiples of the unit, by a hair beside them, and in between."""
    measure = Measure(*weights)
    limited = (measure, Measure(1.0, 0.0, 0.25, 8), Measure(0.0, 1.0, 0.5, 4))
    told = {}
    for name, aim in (("loss", aim_at(limited, 0.0)), ("excess", aim_at(limited, 0.1))):
        told[name] = [aim.measure.missed, aim.measure.stray, aim.offset, aim.excess, aim.step]
        values = [n * weights[0] + m * weights[1] for n in range(3) for m in range(3)]
        beside = [v + by for v in values for by in (-2e-6, -1e-7, 0.0, 1e-10, 1e-7, 2e-6, 0.4)]
        told[f"{name} rounded"] = short([aim.rounded(one) for one in [*beside, 1e7, np.inf]])
        told[f"{name} above"] = short([aim.above(one) for one in values])
    recorded(told)


@pytest.mark.parametrize("seed", [1, 6, 11, 21, 26, 31])
def test_chains(seed: int, recorded: Recorded) -> None:
    """Lists in their order, how many there are, samples, and what cuts leave."""
    problem, told = problem_of(seed), {}
    for name, tuning in {
        "listed": DEFAULT,
        "joined": replace(DEFAULT, joins_few=0, probe=40),
        "short": replace(DEFAULT, longest_list=1, listed_max=6),
        "many": replace(DEFAULT, joins_few=3, joins_many=40, probe=20),
        "few left": replace(DEFAULT, left_max=3, sample=8),
    }.items():
        chains = Chains(replace(problem, tuning=tuning), Clock())
        found: dict[str, Any] = {"number": [chains.number(n, problem.slots) for n in (0, 5, 900)]}
        for masks in range(problem.slots + 2):
            if not chains.reaches(masks):
                found[f"{masks} masks"] = "not reached"
                continue
            joins = masks > 0 and chains.joins(masks)
            found[f"{masks} masks"] = [joins, len(chains.sample(masks))]
            if not joins and name == "listed":
                found[f"{masks} listed"] = selections_told(chains.listed(masks), 60)
        told[name] = found
    node = Tree(problem, Clock()).node(0, aim_at(measures(problem), 0.0))
    cuts, least = node.penalties(), search(problem, Clock()).key[1]
    for tuning in (DEFAULT, replace(DEFAULT, joins_few=0, probe=40), replace(DEFAULT, left_max=1)):
        chains = Chains(replace(problem, tuning=tuning), Clock())
        for masks in range(problem.slots + 1):
            try:
                left = chains.worth(cuts, least, masks)
                told[f"worth {tuning.joins_few} {tuning.left_max} {masks}"] = selections_told(left)
            except TooManyLeftError:
                told[f"worth {tuning.joins_few} {tuning.left_max} {masks}"] = "too many"
    recorded(told)


@pytest.mark.parametrize("seed", range(1, 40, 3))
def test_starts(seed: int, recorded: Recorded) -> None:
    tuning = replace(DEFAULT, start_cutoffs=5, start_corners=7, beam=4, at_once=3)
    problem = problem_of(seed, tuning)
    if not problem.slots:
        pytest.skip("no masks")
    starts = Starts(problem, Chains(problem, Clock()))
    told: dict[str, Any] = {}
    for masks in range(problem.slots + 1):
        told[f"{masks} masks"] = [
            [chain_told(some.chain(0)), cutoff] for some, cutoff in starts.promising(masks)
        ]
    recorded({"changes": [*starts.changes], "cutoffs": starts.cutoff} | told)


@pytest.mark.parametrize("seed", range(1, 34, 4))
def test_goals(seed: int, recorded: Recorded) -> None:
    """What must be beaten towards either goal, and the room that it leaves."""
    problem = problem_of(seed)
    tree, answer = Tree(problem, Clock()), search(problem, Clock())
    told: dict[str, Any] = {}
    for goal in (LossGoal(problem, tree.layout), GuardedGoal(problem, answer)):
        best = Best(tree.layout, goal, answer)
        node = tree.node(min(1, len(problem.thresholds) - 1), best.aim(), goal.layout)
        work = [(), (0.0, 0.0), (1.0, 1.0, 2.0), answer.key[3:6]]
        told[type(goal).__name__] = {
            "mark": best.mark,
            "aim": [best.aim().measure.missed, best.aim().step, goal.excess, goal.limited],
            "limits": [best.limit(node, masks) for masks in range(3)],
            "rooms": [best.room(*one)[:, 0] for one in work],
            "order": [*best.order(np.arange(12.0).reshape(-1, 4)[: 1 + len(best.caps)])]
            if len(best.caps) < 3
            else [],
            "hopeless": [best.hopeless(*answer.key[:2], n) for n in (-2, -1, 0, 1)],
            "target": [best.target(node), *best.bound(node)],
        }
        if isinstance(goal, GuardedGoal):
            told["times"] = [goal.times, *(goal.guarded(goal.times * x) for x in answer.key[1:3])]
            told["both"] = goal.layout.problem.profile.pass_count
    recorded(told)


@pytest.mark.parametrize("seed", range(1, 31, 3))
def test_frontier(seed: int, recorded: Recorded) -> None:
    """All points, those that are best for some weights, and where it is stopped at once."""
    tuning, told = (DEFAULT, BY_BOUNDS, BY_SPLITS)[seed % 3], {}
    parts = Parts.of(problem_of(seed, tuning))
    for name, ratios, clock in (
        ("all", None, Clock()),
        ("best", (Fraction(1, 2), Fraction(5)), Clock()),
        ("stopped", None, counted_clock(0)),
    ):
        found = sweep(parts, clock, ratios=ratios)
        told[name] = {
            "points": [
                [*point, *found.staircase.answer(point).key] for point in found.staircase.points
            ],
            "took": [f"{n} {name}" for name, n in found.effort],
            "open": found.open,
            "stray": [*found.stray_bounds.values()],
            "missed": [*found.missed_bounds.values()],
            "slots": found.slots,
            "most": found.staircase.most,
            "ratios": [
                [*point, str(low), str(high)]
                for point, (low, high) in found.staircase.ratios().items()
            ],
        }
    recorded(told)


@pytest.mark.parametrize("seed", range(9))
def test_staircase(seed: int, recorded: Recorded) -> None:
    """Points as they come: what is taken, what it leaves open, and the hull; in the last ones few
    points, so that strategies meet."""
    rng = np.random.default_rng(seed)
    staircase = Staircase((9, 11) if seed % 2 else (30, 30))
    told: dict[str, Any] = {}
    for number in range(14 if seed < 6 else 40):
        missed, stray = (int(n) for n in rng.integers(0, 13 if seed < 6 else 3, 2))
        work = tuple(map(float, rng.integers(0, 3, 4)))
        key = (0.0, missed * 2.0 + stray, float(rng.integers(0, 3 if seed < 6 else 2)), *work)
        takes = staircase.takes((missed, stray), work)
        staircase.offer(Answer(key, Chain(), 0, (number,), Counts(missed, stray)))
        told[f"offer {number}"] = [missed, stray, takes, str(staircase.points)]
    grid = np.argwhere(np.ones((8, 8)))
    told["dominated"] = [f"{m} {s}" for m, s in grid[staircase.excludes(grid)].tolist()]
    told["corners"] = staircase.corners()
    told["open"] = {
        str(rank): staircase.open_to(*rank) for rank in ((0.0,), (0.0, 1.0), (1.0, 1.0, 1.0))
    }
    told["hull"] = [[*one.left, *one.right, *one.weights, one.value] for one in staircase.hull()]
    told["ratios"] = [
        [*point, str(low), str(high)] for point, (low, high) in staircase.ratios().items()
    ]
    told["kept"] = [staircase.answer(point).levels[0] for point in staircase.points]
    recorded(told)


@pytest.mark.parametrize("seed", range(1, 60, 4))
def test_sturdiest(seed: int, recorded: Recorded, monkeypatch: pytest.MonkeyPatch) -> None:
    """With what may be lost by default, by no and by any allowance, and what that took; and the
    least guarded loss."""
    tuning, told = (DEFAULT, BY_BOUNDS, BY_JOINS)[seed % 3], {}
    problem = problem_of(seed, tuning)
    parts, answer = Parts.of(problem), search(problem, Clock())
    if answer.key[0] or answer.key[:2] >= problem.silence:
        recorded({"guarded": least_guarded(parts, Clock())})
        return
    best = Found(parts.parts[0], answer)
    trees: list[Tree] = []
    monkeypatch.setattr(sturdy, "Tree", lambda *of: trees.append(Tree(*of)) or trees[-1])
    for allowance in (None, 0.0, 3.0, 50.0):
        found = sturdiest(parts, best, Clock(), allowance)
        told[str(allowance)] = [
            answer_told(found.found.answer if found.found else None),
            found.bound,
        ]
        told[f"{allowance} took"] = [[*tree.effort.values()] for tree in trees]
        trees.clear()
    for looks in (0, 10, 40):
        found = sturdiest(parts, best, counted_clock(looks))
        told[f"after {looks}"] = [
            answer_told(found.found.answer if found.found else None),
            found.bound,
        ]
    told["guarded"] = least_guarded(parts, Clock())
    recorded(told)


def test_guarded_stopped(recorded: Recorded) -> None:
    """What is said of the least guarded loss where no time is left for it."""
    told = {}
    for seed in (1, 2, 20, 40, 41, 82, 100, 137, 195):
        run = Search(problem_of(seed, BY_BOUNDS), Clock())
        run.find_loss()
        run.tree.set_clock(Clock(0.0))
        answer = run.best.answer
        assert answer is not None
        told[str(seed)] = [*answer.key[:3], run.find_guarded()]
    recorded(told)


@pytest.mark.parametrize(("seed", "slots"), [(81, 3), (47, 1)])
def test_model(seed: int, slots: int, recorded: Recorded) -> None:
    """Every row of small models, objective after objective."""
    problem = problem_of(seed)
    most = (*problem.steps_by_masks, 1, 1, 1)[: slots + 1]
    model = Model(replace(problem, slots=slots, steps_by_masks=most), Clock())
    told = {name: [str(one), constant] for name, one, constant in model.objectives()}
    recorded({"objectives": told, "rows": [[row] for row in model_told(model.mip)]})


@pytest.mark.parametrize("seed", range(0, 50, 7))
def test_proven_by_model(seed: int, recorded: Recorded) -> None:
    problem = problem_of(seed)
    told = {"proven": answer_told(prove_by_model(problem, Clock()))}
    start = replace(least_loss(replace(problem, slots=0), Clock()), bound=(0.0, 0.0))
    told["from a start"] = answer_told(prove_by_model(problem, Clock(), 0, start))
    told["stopped"] = answer_told(prove_by_model(problem, counted_clock(3), 0, start))
    standing = [Clock(seconds, now=lambda: 0.0) for seconds in (1e-4, 0.01, 0.1, 1.0)]
    told["pays"] = [pays(problem, clock) for clock in (Clock(), *standing)]
    recorded(told)


@pytest.mark.parametrize("seed", range(1, 40, 5))
def test_strategies_elsewhere(seed: int, recorded: Recorded) -> None:
    """The strategies of some read points at this one: as answers, and whether they may be set."""
    here = point_of(seed)
    problem, told = pose(here.survey, here.policy), {}
    for other in range(1, 40, 3):
        try:
            posed = problem_of(other)
        except InputError:
            continue
        strategy, _ = finish(posed, search(posed, Clock()))
        known = answer_of(problem, strategy, here.survey.tags)
        told[str(other)] = [
            installable(strategy, here.policy, here.survey),
            [] if known is None else [*known.key],
            "" if known is None else chain_told(known.chain),
        ]
    recorded(told)


@pytest.mark.parametrize("seed", [1, 6, 8])
def test_some_levels(seed: int, recorded: Recorded) -> None:
    problem = problem_of(seed)
    wide = replace(problem, profile=replace(problem.profile, levels_dbm=np.arange(2_000.0) / 100))
    part = on_levels(problem, np.array([0, 2]))
    recorded(
        {
            "evenly": few_levels(wide)[:30],
            "near": few_levels(wide, (0, 700, 1_990))[::3],
            "levels": part.profile.levels_dbm,
            "rssi": [*part.profile.rssi],
            "guarded": [*part.guarded.rssi],
        }
    )


@pytest.mark.parametrize("seed", range(1, 30, 4))
def test_screens(seed: int, recorded: Recorded) -> None:
    """Which cutoffs bounds leave against a rival, and the stages of a search."""
    problem = problem_of(seed, BY_BOUNDS)
    answer = search(problem, Clock())
    told = {}
    for name, known in (("best", answer), ("poor", search(replace(problem, slots=0), Clock()))):
        run = Search(problem, Clock(), known)
        told[name] = [run.screen(), run.cutoffs]
        told[f"{name} then"] = [
            run.find_loss(),
            run.find_guarded(),
            answer_told(run.best.answer),
        ]
    stopped = Search(problem, counted_clock(2), answer)
    told["stopped"] = [stopped.screen(), stopped.cutoffs]
    states = np.random.default_rng(seed).choice([OUT, IN, OPEN], problem.profile.classes)
    tree = Tree(problem, Clock())
    node = tree.node(0, aim_at(measures(problem), 0.0))
    node.state = states
    told["probed"] = [node.fix_classes(answer.key[1] + 1), *node.state.tolist()]
    try:
        told["few"] = [tree.are_few(n) for n in range(problem.slots + 1)]
    except OutOfTimeError:
        told["few"] = []
    recorded(told)
