"""Scores: what antennas decide, what must not change, and bounds over several cutoffs at once."""

from __future__ import annotations

import itertools
import json
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest

import strategist
from strategist import Options
from strategist.answers.solution import solve
from strategist.optimise.clock import Clock
from strategist.optimise.measures import aim_at, measures
from strategist.optimise.outer import Found, rival_in
from strategist.optimise.problem import Chain as MaskChain
from strategist.optimise.problem import Literal, Problem, answer_at, pose
from strategist.optimise.scores import Part, over, parts_of
from strategist.optimise.search import search
from strategist.optimise.strategy import Strategy
from strategist.optimise.tree import Tree
from strategist.survey.copies import Sample, drawn_copies
from strategist.survey.policy import TECHNIQUES, Guard, Reader
from strategist.survey.records import ReadPoint
from strategist.survey.score import Difference, Nth, Peak, Score
from strategist.survey.variation import variation_of
from strategist.trust.evaluate import accepted_at, evaluate, replay
from strategist.trust.scores import as_heard
from tests.optimise.made import random_read_point, survey_of
from tests.optimise.portals import CORRIDOR, CRIB_DOOR, FACING_WALLS, TWO_LANES, Portal, made
from tests.second_reading.drawn import case_with_antennas
from tests.surveyed import surveyed_policy

QUICK = Options(unseen=False, sturdier=False)
GEOMETRIES = [(FACING_WALLS, (2,)), (CORRIDOR, (2,)), (TWO_LANES, (1, 2))]


def drawn(seed: int) -> ReadPoint:
    (point,) = strategist.read_case_document(
        json.dumps(case_with_antennas(seed)).encode()
    ).read_points
    return replace(point, policy=replace(point.policy, untried="leave_out_level"))


@pytest.mark.parametrize("seed", range(12))
def test_posed_over_a_sample_at_once_or_after_the_survey(seed: int) -> None:
    """Levels, steps and masks are those of the survey, passes and cutoffs those of the sample."""
    point = made(CORRIDOR, seed) if seed < 4 else random_read_point(seed, 1)
    survey, policy = point.survey, point.policy
    copies = drawn_copies(survey, variation_of(survey), 3, (seed,))
    times = np.random.default_rng(seed).integers(1, 4, len(copies.pass_ids))
    sample = Sample(copies, times)
    first, then = (
        parts_of(survey, policy, sample=sample),
        over(parts_of(survey, policy), sample),
    )
    assert (first.scores, first.alike) == (then.scores, then.alike)
    for one, other in zip(first.parts, then.parts, strict=True):
        assert (one.work, one.index) == (other.work, other.index)
        assert as_told(one.problem) == as_told(other.problem)
    assert as_told(then.parts[0].problem) != as_told(parts_of(survey, policy).parts[0].problem)


def as_told(value: Any) -> Any:
    """A problem with all its arrays, as values that can be compared."""
    if isinstance(value, np.ndarray):
        return value.shape, value.tobytes()
    if is_dataclass(value):
        return [as_told(getattr(value, one.name)) for one in fields(value)]
    return value


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("portal", "must_win"), GEOMETRIES)
def test_the_antennas_that_face_the_wanted_tags_and_turn_from_strays_win(
    portal: Portal, must_win: tuple[int, ...], seed: int
) -> None:
    """Derived from where antennas look, before anything is solved: antenna 2 of two facing walls
    has the strays behind its back; the gate of a corridor is before its middle antenna; the wanted
    lane lies between the first two of four. All geometries are invented."""
    point = made(portal, seed)
    losses = {
        part.problem.score.antennas: search(part.problem, Clock()).key[:2]
        for part in parts_of(point.survey, point.policy).parts
        if isinstance(part.problem.score, Peak)
    }
    losses[point.survey.antennas] = solve(without(point)).answer.key[:2]
    best = min(losses.values())
    assert losses[must_win] == best
    assert [some for some, key in losses.items() if key == best] == [must_win]
    found = solve(point)
    assert found.answer.key[:2] <= best
    score = found.strategy.score
    assert isinstance(score, Peak | Difference) and set(score.antennas or ()) <= set(must_win)


def without(point: ReadPoint) -> ReadPoint:
    allow = tuple(one for one in point.policy.allow if one != "antennas")
    return replace(point, policy=replace(point.policy, allow=allow))


@pytest.mark.parametrize("seed", range(3))
def test_an_antenna_aimed_at_the_rack_is_switched_off_or_compared(seed: int) -> None:
    point = made(CRIB_DOOR, seed)
    found, all_on = solve(point), solve(without(point))
    assert found.status == "optimal" and found.loss <= 2
    assert all_on.loss >= 20, "or the test shows nothing"
    score = found.strategy.score
    assert (isinstance(score, Peak) and score.antennas == (1,)) or (
        isinstance(score, Difference) and score.against == (2,)
    )


@pytest.mark.parametrize("seed", range(40))
def test_to_allow_antennas_never_costs(seed: int) -> None:
    point = drawn(seed)
    try:
        more, less = solve(point, QUICK), solve(without(point), QUICK)
    except strategist.InputError:
        return
    assert more.answer.key[:3] <= less.answer.key[:3]


@pytest.mark.parametrize("seed", range(30))
def test_renaming_antennas_changes_nothing_but_names(seed: int) -> None:
    point = drawn(seed)
    survey = point.survey
    assert survey.read_antenna is not None
    name = dict(zip(survey.antennas, reversed(survey.antennas), strict=True))
    renamed = replace(
        survey, read_antenna=np.array([name[one] for one in survey.read_antenna.tolist()], int)
    )
    try:
        first = solve(point, QUICK)
    except strategist.InputError:
        return
    second = solve(replace(point, survey=renamed), QUICK)
    assert second.strategy == replace(
        first.strategy, score=_renamed(first.strategy.score, name)
    ) or _alike(point, first.strategy, second.strategy)


def _renamed(score: Score | None, name: dict[int, int]) -> Score | None:
    if score is None or score.on is None:
        return score
    sides = {"antennas": tuple(sorted(name[one] for one in score.antennas or ()))}
    if isinstance(score, Difference):
        sides["against"] = tuple(sorted(name[one] for one in score.against))
    return replace(score, **sides)  # type: ignore[arg-type]


def _alike(point: ReadPoint, one: Strategy, other: Strategy) -> bool:
    """Whether two strategies differ in antennas alone that hear the same of every tag."""
    return (
        replace(one, score=None, cutoff_db=None) == replace(other, score=None, cutoff_db=None)
        and one.cutoff == other.cutoff
        and type(one.score) is type(other.score)
    )


@pytest.mark.parametrize("seed", range(12))
def test_one_antenna_is_as_none(seed: int) -> None:
    point = random_read_point(seed, 0)
    count = len(point.survey.read_tag)
    named = replace(point.survey, antennas=(3,), read_antenna=np.full(count, 3))
    one, none = (
        strategist.choose(replace(point, survey=survey), Options(unseen=False)).to_json()
        for survey in (named, point.survey)
    )
    assert one | {"seconds": 0} == none | {"seconds": 0}


SCORES: list[Score | None] = [
    None,
    Peak(antennas=(1,)),
    Peak(trim_db=((1, -1.0),)),
    Peak(antennas=(1, 2), trim_db=((2, 1.0),), offset_db=((1, 2.5),)),
    Nth("nth", 2),
    Nth("nth", 1, antennas=(2,)),
    Difference("difference", (1,), (2,)),
    Difference("difference", (2,), (1,), floor_dbm=-70.0),
]


@pytest.mark.parametrize("seed", range(30))
def test_scored_reads_do_what_the_evaluator_replays(seed: int) -> None:
    """Trims and offsets too, which are not searched here."""
    point = drawn(seed)
    try:
        whole = strategist.complete(point)
    except strategist.InputError:
        return
    survey, policy, compared = whole.survey, whole.policy, 0
    for score, level in itertools.product(SCORES, survey.levels_dbm.tolist()):
        in_db = isinstance(score, Difference)
        cutoff = {"cutoff_db": -1.0} if in_db else {"cutoff_dbm": -66.5}
        strategy = Strategy((level,), score=score, **cutoff)  # type: ignore[arg-type]
        try:
            outcome = evaluate(survey, policy, strategy)
        except strategist.InputError:
            continue
        heard, own, plain = as_heard(survey, policy, strategy)
        step = int(np.argmin(np.abs(heard.levels_dbm - level)))
        accepted = accepted_at(heard, plain, [step])
        assert replay(heard, own, plain, accepted).by_pass == outcome.by_pass
        compared += 1
    assert compared >= 6


def test_no_strategy_is_below_the_bound_of_several_cutoffs() -> None:
    """Every ladder of two steps and some chains of one mask, under each cutoff of a range, are held
    against the bound of the range, which is no idle one."""
    bounds = [bound for seed in range(25) for bound in assert_bounded(random_read_point(seed, 1))]
    assert sum(bound > 0 for bound in bounds) >= 40


def assert_bounded(point: ReadPoint) -> list[float]:
    problem = pose(point.survey, point.policy)
    tree, aim = Tree(problem, Clock()), aim_at(measures(problem), 0.0)
    cutoffs, masks = problem.outcomes, len(problem.candidates.masks) if problem.slots else 0
    chains = [MaskChain((Literal(mask, n),)) for mask in range(masks) for n in (False, True)]
    chains = [MaskChain(), *chains[:: max(1, len(chains) // 6)]]
    waiting, bounds = [tree.node(int(cutoffs[0]), aim)], []
    waiting[0].highest = int(cutoffs[-1])
    while waiting:
        node = waiting.pop()
        inside = cutoffs[(cutoffs >= node.cutoff) & (cutoffs <= node.highest)].tolist()
        least = min(
            answer_at(problem, chain, cutoff, ladder).key[1]
            for cutoff in inside
            for chain in chains
            for ladder in ladders(problem)
        )
        node.raise_bound(least + 5.0)
        assert node.bound <= least + 1e-9
        if len(inside) > 1:
            bounds.append(node.bound)
            waiting += node.halves(cutoffs)
    return bounds


def ladders(problem: Problem) -> list[tuple[int, ...]]:
    levels = range(len(problem.profile.levels_dbm))
    found = [
        ladder
        for steps in range(1, min(2, problem.steps_max) + 1)
        for ladder in itertools.combinations(levels, steps)
    ]
    return [one for one in found if not problem.top_fixed or one[-1] == levels[-1]]


def test_where_nothing_is_gained_by_it_no_antenna_is_switched_off() -> None:
    """Two antennas that hear a wanted tag and a stray alike."""
    passes = [[("3001", True, [-50.0]), ("3501", False, [-60.0])]] * 2
    survey = survey_of([20.0], passes)  # type: ignore[arg-type]
    names = ("read_pass", "read_level", "read_tag", "read_rssi")
    twice = {name: np.repeat(getattr(survey, name), 2) for name in names}
    antenna = np.resize([1, 2], len(twice["read_tag"]))
    survey = replace(survey, **twice, read_antenna=antenna, antennas=(1, 2))
    found = solve(ReadPoint(survey, surveyed_policy(allow=TECHNIQUES)))
    assert found.strategy.score is None and found.loss == 0


def test_what_is_best_in_another_part_is_preferred_as_it_is_to_answers_of_this_one() -> None:
    """Parts of as much work that have other levels, and lose the same at each."""
    policy = surveyed_policy(guard=Guard(0.0, 0.0), allow=TECHNIQUES)
    parts = [
        Part((), index, pose(survey_of(dbm, [[("3001", True, [-50.0] * len(dbm))]]), policy))
        for index, dbm in enumerate([[10.0, 12.0, 14.0], [9.0, 12.0, 13.0, 15.0]])
    ]
    found = [
        [
            Found(part, answer_at(part.problem, MaskChain(), 0, levels))
            for steps in (1, 2)
            for levels in itertools.combinations(range(len(part.problem.profile.levels_dbm)), steps)
        ]
        for part in parts
    ]
    assert len({one.key[:3] for some in found for one in some}) == 1
    for best, own in [*itertools.product(*found), *itertools.product(*found[::-1])]:
        assert (own.answer.key < rival_in(own.part, best).key) == (own.key < best.key)


def test_of_antennas_that_are_as_good_the_one_with_less_work_is_switched_on() -> None:
    """Antenna 1 alone loses nothing with a cutoff at one level, antenna 2 alone nothing with two
    steps and no cutoff, which is less work; both together lose something whatever is set."""
    epcs = {"W1": "30A1", "S1": "30B1", "W2": "30A2", "S2": "30B2"}
    passes = [[(epcs[f"{role}{p}"], role == "W", [None, None]) for role in "WS"] for p in (1, 2)]
    heard = [  # pass, level, EPC, RSSI, antenna
        *((p, 1, f"W{p + 1}", -50.0, 1) for p in (0, 1)),
        *((p, 1, f"S{p + 1}", -60.0, 1) for p in (0, 1)),
        (0, 0, "W1", -60.0, 2),
        (0, 1, "W1", -60.0, 2),
        (0, 1, "S1", -40.0, 2),
        (1, 1, "W2", -60.0, 2),
    ]
    survey = survey_of([10.0, 12.0], passes)  # type: ignore[arg-type]
    place = {tag.epc: n for n, tag in enumerate(survey.tags)}
    number, level, name, rssi, antenna = zip(*heard, strict=True)
    survey = replace(
        survey,
        read_pass=np.array(number),
        read_level=np.array(level),
        read_tag=np.array([place[epcs[one]] for one in name]),
        read_rssi=np.array(rssi),
        read_antenna=np.array(antenna),
        antennas=(1, 2),
    )
    reader = Reader(2, mask_slots=0)
    found = solve(ReadPoint(survey, surveyed_policy(reader=reader, guard=Guard(0.0, 0.0))), QUICK)
    assert found.answer.key[:3] == (0.0, 0.0, 0.0)
    assert found.strategy.score == Peak(antennas=(2,))
    assert found.strategy.levels_dbm == (10.0, 12.0) and found.strategy.cutoff_dbm is None
