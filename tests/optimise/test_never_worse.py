"""More freedom or more time never makes an answer worse, at the limits that are really set.

The demo's read points with masks on any four bits of serial numbers have more chains of three masks
than can be listed. What is asserted holds wherever a clock stops: none is waited for.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from strategist import Options, compare_techniques, what_if
from strategist.answers.solution import solve
from strategist.optimise.by_model import pays, prove_by_model
from strategist.optimise.cells import Layout
from strategist.optimise.clock import Clock
from strategist.optimise.goals import LossGoal
from strategist.optimise.known import answer_of
from strategist.optimise.problem import Answer, Problem, pose
from strategist.optimise.search import search
from strategist.optimise.tree import Tree
from strategist.radio.complete import complete
from strategist.survey.policy import TECHNIQUES
from strategist.survey.records import ReadPoint
from tests.bench.nasty import serial_masks_at
from tests.optimise.counted import counted_clock
from tests.optimise.made import BY_BOUNDS, random_read_point

SEEDS = [seed for seed in range(60) if random_read_point(seed, 1).policy.reader.mask_slots > 1][:8]
WITH_MASKS = 7  # whose best strategy has masks
SLOTS, LOOKS = range(5), (1, 100, 400, 1000)
AT = (("shelf-cabinet", 4), ("clean-gate", 5))  # every so manieth pass of a read point


def problem_of(point: ReadPoint) -> Problem:
    whole = complete(point)
    return pose(whole.survey, whole.policy)


@cache
def with_serials(name: str, every: int, slots: int) -> Problem:
    """A part of a read point of the demo, with masks on any four bits."""
    point = serial_masks_at(name, slots)
    some = np.arange(len(point.survey.pass_ids)) % every == 0
    return problem_of(replace(point, survey=point.survey.keep(passes=some)))


@cache
def found_at(name: str, every: int, slots: int, looks: int) -> Answer:
    return search(with_serials(name, every, slots), counted_clock(looks))


def rank(answer: Answer) -> tuple[float, float]:
    return answer.key[0], answer.key[1]


@pytest.mark.parametrize(("name", "every"), AT)
def test_one_more_slot_at_any_time(name: str, every: int) -> None:
    """Wherever the clock stops: what fewer slots find and prove comes first, in the same order."""
    for looks, (fewer, more) in itertools.product(LOOKS, itertools.pairwise(SLOTS)):
        few, many = (found_at(name, every, slots, looks) for slots in (fewer, more))
        assert rank(many) <= rank(few)
        assert many.bound <= rank(many)
    ends = [found_at(name, every, slots, LOOKS[-1]) for slots in SLOTS]
    assert len({rank(one) for one in ends}) > 2, "or the test shows little"


@pytest.mark.parametrize(("name", "every"), AT)
def test_more_time_with_any_slots(name: str, every: int) -> None:
    for slots in SLOTS:
        answers = [found_at(name, every, slots, looks) for looks in LOOKS]
        for before, after in itertools.pairwise(answers):
            assert rank(after) <= rank(before) and after.bound >= before.bound
        assert answers[-1].bound > answers[0].bound


def test_longer_chains_than_can_be_proven_are_found_ahead() -> None:
    """They have a time of their own, which the proof of shorter ones does not pay."""
    few, most = (found_at("shelf-cabinet", 4, slots, 1000) for slots in (3, 4))
    assert len(most.chain.literals) == 4 and not few.proven
    assert rank(most) < rank(few)


@pytest.mark.parametrize("seed", range(24))
def test_more_of_anything_at_a_made_read_point(seed: int) -> None:
    """One slot, one level, one technique, more time: each from where the clock stops at random."""
    point, rng = random_read_point(seed, 2), np.random.default_rng(seed)
    for looks in rng.integers(1, 300, 3).tolist():
        found = [search(problem_of(_with_slots(point, n)), counted_clock(looks)) for n in range(4)]
        for few, more in itertools.pairwise(found):
            assert rank(more) <= rank(few)
        later = search(problem_of(_with_slots(point, 3)), counted_clock(2 * looks))
        assert rank(later) <= rank(found[-1]) and later.bound >= found[-1].bound
        for less, more_of in _freedoms(point, rng):
            first = solve(less, clock=counted_clock(looks))
            second = solve(more_of, None, first.strategy, clock=counted_clock(looks))
            assert rank(second.answer) <= rank(first.answer)


def _with_slots(point: ReadPoint, slots: int) -> ReadPoint:
    reader = replace(point.policy.reader, mask_slots=slots)
    return replace(point, policy=replace(point.policy, reader=reader, allow=TECHNIQUES))


def _freedoms(point: ReadPoint, rng: np.random.Generator) -> Iterator[tuple[ReadPoint, ReadPoint]]:
    """A read point with a level less, and with a technique less, beside what it is."""
    one = _with_slots(point, 2)
    levels = np.arange(len(one.survey.levels_dbm))
    fewer = one.survey.keep(levels=levels != rng.integers(len(levels)))
    yield replace(one, survey=fewer), one
    allow = tuple(rng.permutation(TECHNIQUES)[: rng.integers(1, len(TECHNIQUES))].tolist())
    if "power" in allow:
        yield replace(one, policy=replace(one.policy, allow=allow)), one


@pytest.mark.parametrize("seed", SEEDS)
def test_a_search_stopped_anywhere(seed: int) -> None:
    """More time never loses, and no bound is above the optimum."""
    problem = problem_of(random_read_point(seed, 1))
    right = search(problem, Clock())
    bounded = replace(problem, tuning=BY_BOUNDS)
    answers = [search(bounded, counted_clock(looks)) for looks in range(0, 200, 10)]
    for before, after in itertools.pairwise(answers):
        assert rank(after) <= rank(before) and after.bound >= before.bound
    assert all(one.bound <= rank(right) <= rank(one) for one in answers)


@pytest.mark.parametrize("listed", [0, 1])
@pytest.mark.parametrize("seed", SEEDS)
def test_chains_beyond_the_lists(seed: int, listed: int) -> None:
    """Chains of `listed` masks are the longest that can be listed: slots beyond cost nothing, the
    bound is true, and from there the model closes what the search left open."""
    point = random_read_point(seed, 1)
    answers, rights = [], []
    for slots in range(5):
        reader = replace(point.policy.reader, mask_slots=slots)
        problem = problem_of(replace(point, policy=replace(point.policy, reader=reader)))
        rights.append(search(problem, Clock()))
        tuning = replace(BY_BOUNDS, longest_list=listed)
        answers.append(search(replace(problem, tuning=tuning), Clock()))
    for before, after in itertools.pairwise(answers):
        assert rank(after) <= rank(before)
    for found, right in zip(answers, rights, strict=True):
        assert found.bound <= rank(right) <= rank(found)
    closed = prove_by_model(problem, Clock(), 0, answers[-1])
    assert rank(closed) == rank(rights[-1]) == closed.bound


def test_the_model_keeps_what_it_is_given() -> None:
    """Stopped at any place it returns the start and its bound, or better ones."""
    problem = problem_of(random_read_point(WITH_MASKS, 1))
    right = search(problem, Clock())
    start = replace(search(replace(problem, slots=0), Clock()), bound=(0.0, 1.0))
    assert rank(start) > rank(right), "or the test shows nothing"
    for looks in (0, 1, 5, 50, 10_000):
        found = prove_by_model(problem, counted_clock(looks), 0, start)
        assert rank(right) <= rank(found) <= rank(start)
        assert start.bound <= found.bound <= rank(right)


def test_the_model_is_not_built_where_that_takes_the_time_left() -> None:
    problem = problem_of(serial_masks_at("clean-gate", 4))
    assert not pays(problem, Clock(20.0))
    assert pays(problem, Clock())
    assert pays(problem_of(random_read_point(SEEDS[0], 1)), Clock(5.0))


def test_a_technique_more_and_a_mask_more_at_the_cabinet() -> None:
    point = serial_masks_at("shelf-cabinet", 4)
    found = compare_techniques(point, Options(total_limit_s=2.0)).variants
    for one, more in itertools.product(found, found):
        if set(one.allow) <= set(more.allow) and one.masks_max <= more.masks_max:
            assert more.loss <= one.loss and more.bound <= one.bound


def test_a_slot_costs_nothing() -> None:
    """Whatever time is left for it: a chain of three is a legal answer for four."""
    point = serial_masks_at("shelf-cabinet", 3)
    options = Options(total_limit_s=2.0, unseen=False)
    one_more = what_if(point, {"reader.mask_slots": 4}, options=options)
    assert one_more.loss_after <= one_more.before.loss
    one_less = what_if(point, {"reader.mask_slots": 2}, options=options)
    assert one_less.loss_after >= one_less.before.loss
    hurried = what_if(point, {"reader.mask_slots": 4}, options=replace(options, total_limit_s=1e-9))
    assert hurried.loss_after <= hurried.before.loss


@pytest.mark.parametrize("seed", SEEDS)
def test_a_known_strategy_is_recognised(seed: int) -> None:
    """What a solve finds is an answer of the same problem, with the same key; and of wider ones."""
    point = random_read_point(seed, 1)
    found = solve(point)
    again = answer_of(found.problem, found.strategy, point.survey.tags)
    assert again is not None and again.key[:6] == found.answer.key[:6]
    reader = replace(point.policy.reader, mask_slots=0)
    fewer = problem_of(replace(point, policy=replace(point.policy, reader=reader)))
    assert (answer_of(fewer, found.strategy, point.survey.tags) is None) == bool(
        found.strategy.masks
    )


@pytest.mark.parametrize("seed", [10, 44, 85, 110, 124, 140])
def test_splitting_raises_the_floor_beyond_the_lists(seed: int) -> None:
    """Where chains are too long to be listed, what is open is bounded by parts of nodes: higher, at
    these read points, than by whole nodes, tightened."""
    problem = replace(
        problem_of(_with_slots(random_read_point(seed, 3), 4)),
        tuning=replace(BY_BOUNDS, longest_list=0),
    )
    found = search(problem, Clock())
    assert not found.proven and not found.key[0]
    tree, aim = Tree(problem, Clock()), LossGoal(problem, Layout(problem)).aim(None)
    whole = []
    for cutoff in problem.outcomes.tolist():
        node = tree.node(cutoff, aim)
        node.tighten(found.key[1])
        whole.append(node.bound)
    assert found.bound[1] > min(whole)
