"""Ladders with own trims and cutoffs: the model against trying all, counted by the evaluator.

The evaluator knows nothing of the model, and the strategies are written out here.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from strategist.answers.solution import Options, Solution, solve
from strategist.optimise import own_part
from strategist.optimise.clock import Clock
from strategist.optimise.own_boxes import prove_over_boxes
from strategist.optimise.own_heard import by_antenna
from strategist.optimise.own_ladders import prove_own_ladders
from strategist.optimise.problem import pose
from strategist.optimise.strategy import Strategy
from strategist.optimise.tuning import Tuning
from strategist.survey.policy import Dwell, Guard, Limits, Loss, Reader
from strategist.survey.records import ReadPoint, Survey, Tag
from strategist.survey.score import Peak
from strategist.tags.mask import chain_accepts
from strategist.trust.evaluate import evaluate
from strategist.trust.on_air import on_air_of
from tests.optimise.made import chains
from tests.surveyed import surveyed_policy

SEEDS = range(24)
IN_TURN = [2, 4, 8, 12, 20, 26, 30, 34]  # where turns cost something
MASKED = [8, 9, 16, 20, 22, 24, 29, 34, 36, 37]  # where masks and own powers help each other
EPCS, TIDS = ("3001", "3501", "3002", "3502"), ("E200", "E200", "E201", "E201")
QUICK = Options(unseen=False, sturdier=False)
LEVELS = (20.0, 21.0, 23.0)


def small(seed: int) -> ReadPoint:
    """Two antennas, two or three levels, three passes of up to four tags, three RSSI values."""
    rng = np.random.default_rng(seed)
    levels, passes, tags = 2 + seed % 2, 3, 4
    roster = [(p, t) for p in range(passes) for t in range(tags) if rng.random() < 0.8]
    reads = [
        (p, level, t, float(rng.choice([-66.0, -62.0, -58.0])), antenna)
        for p, t in roster
        for level in range(levels)
        for antenna in (1, 2)
        if rng.random() < 0.45
    ]
    number, level, tag, rssi, antenna = (np.array(one) for one in zip(*reads, strict=True))
    survey = Survey(
        read_point="gate",
        levels_dbm=np.array(LEVELS[:levels]),
        pass_ids=tuple(f"p{p}" for p in range(passes)),
        tags=tuple(Tag(f"30{t:02X}AA0{t}") for t in range(tags)),
        roster_pass=np.array([p for p, _ in roster]),
        roster_tag=np.array([t for _, t in roster]),
        roster_wanted=rng.random(len(roster)) < 0.55,
        roster_listed=np.ones(len(roster), bool),
        read_pass=number,
        read_level=level,
        read_tag=tag,
        read_rssi=rssi,
        tried=np.ones((passes, levels), bool),
        antennas=(1, 2),
        read_antenna=antenna,
    )
    policy = surveyed_policy(
        loss=Loss(*[(5, 1), (1, 1), (1, 2)][seed % 3]),
        stop_after=1 + seed // 2 % 2,
        limits=Limits(missed_rate_max=0.3 if seed % 5 == 4 else None),
        guard=Guard(0.0, 0.0),
        allow=("power", "ladder", "cutoff", "antennas")
        if seed % 7
        else ("power", "ladder", "antennas"),
        reader=Reader(
            mask_slots=0,
            ladder_steps_max=1 + seed % 3,
            antenna_power="own",
            power_levels_dbm=(20.0, 23.0) if seed % 8 == 7 else None,
        ),
    )
    return ReadPoint(survey, policy)


def timed(seed: int) -> ReadPoint:
    """The same with a time of each read, two dwells of a step to choose from, and a dwell of the
    pass that not all steps fit into; in each second one antennas take turns."""
    point, rng = small(seed), np.random.default_rng(1_000 + seed)
    t_s = rng.choice([0.1, 0.4, 0.9], len(point.survey.read_tag))
    time = Dwell(dwell_s=(1.0, 1.5)[seed // 2 % 2], step_s=(0.5, 1.0), in_turn=seed % 2 == 0)
    reader = replace(point.policy.reader, ladder_steps_max=3)
    policy = replace(point.policy, time=time, reader=reader)
    return ReadPoint(replace(point.survey, read_t_s=t_s), policy)


def masked(seed: int) -> ReadPoint:
    """The same with a mask slot, at most two steps, and tags of two kinds, one of which is mostly
    wanted."""
    point, rng = small(seed), np.random.default_rng(2_000 + seed)
    tags = tuple(Tag(epc, tid=tid) for epc, tid in zip(EPCS, TIDS, strict=True))
    kind = point.survey.roster_tag % 2 == 0
    wanted = np.where(rng.random(len(kind)) < 0.8, kind, ~kind)
    survey = replace(point.survey, tags=tags, roster_wanted=wanted)
    reader = replace(point.policy.reader, mask_slots=1, ladder_steps_max=1 + seed % 2)
    allow = (*point.policy.allow, "masks")
    policy = replace(point.policy, reader=reader, allow=allow, serial_masks=True)
    return ReadPoint(survey, policy)


def with_masks(point: ReadPoint) -> Iterator[Strategy]:
    """All trims, cutoffs by antenna and ladders, with one mask chain for each set of tags that
    some chain lets through."""
    survey, policy = point.survey, point.policy
    of_tags = {
        tuple(chain_accepts(chain, tag) for tag in survey.tags): chain
        for chain in chains(pose(survey, policy).candidates.masks, policy.reader.mask_slots)
    }
    for strategy, chain in itertools.product(every(point), of_tags.values()):
        yield replace(strategy, masks=chain)


def every(point: ReadPoint) -> Iterator[Strategy]:
    """All trims, cutoffs by antenna, dwells of a step and ladders: those of which each level can be
    set, and that fit the dwell."""
    time = point.policy.time
    for strategy in ladders_of(point):
        on = strategy.score.on if strategy.score else ()
        for step_s in time.steps_s:
            turns = len(strategy.levels_dbm) * (len(on or ()) if time.in_turn else 1)
            if time.dwell_s is None or turns * (step_s or 0) <= time.dwell_s:
                yield replace(strategy, step_s=step_s if time.dwell_s else None)


def ladders_of(point: ReadPoint) -> Iterator[Strategy]:
    survey, policy = point.survey, point.policy
    levels = survey.levels_dbm.tolist()
    may = [one for one in levels if policy.reader.can_set_level(one)]
    cutoffs = [-66.0, -62.0, -58.0] if "cutoff" in policy.allow else [None]
    trims = sorted({a - b for a in levels for b in levels if a <= b})
    ladders = [
        ladder
        for count in range(1, policy.reader.ladder_steps_max + 1)
        for ladder in itertools.combinations(levels, count)
    ]
    settings = [None, *itertools.product(trims, cutoffs)]
    for one, two in itertools.product(settings, repeat=2):
        on = {a: x for a, x in ((1, one), (2, two)) if x is not None}
        if not on or max(trim for trim, _ in on.values()) != 0:
            continue
        first = next(iter(on.values()))[1]
        score = Peak(
            antennas=tuple(on),
            trim_db=tuple((a, trim) for a, (trim, _) in on.items() if trim),
            offset_db=tuple(
                (a, cut - first) for a, (_, cut) in on.items() if cut is not None and cut != first
            ),
        )
        for ladder in ladders:
            if all(level + trim in may for level in ladder for trim, _ in on.values()):
                yield Strategy(ladder, policy.stop_after, first, score=score)


def least(point: ReadPoint) -> tuple[float, float]:
    return min(key_of(point, one) for one in every(point))


def key_of(point: ReadPoint, strategy: Strategy) -> tuple[float, float]:
    outcome = evaluate(point.survey, point.policy, strategy)
    excess = point.policy.limits.excess(outcome.missed_rate, outcome.stray_rate)
    return round(excess, 6), round(outcome.loss, 6)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_model_equals_trying_all(seed: int) -> None:
    point = small(seed)
    survey, policy = point.survey, point.policy
    base = pose(survey, policy)
    heard = by_antenna(survey, policy, base, np.ones((1, base.profile.classes), bool))
    found = prove_own_ladders(base, heard, survey, Clock())
    assert found.bound == pytest.approx(least(point), abs=1e-6)
    assert found.proven and found.on is not None
    assert max(trim for trim, _ in found.on.values()) == 0


def least_of_all(point: ReadPoint) -> tuple[Solution, Solution]:
    """The answer, which is the least of all with own powers and the best of shared ones."""
    shared = replace(point.policy.reader, antenna_power="shared")
    other = solve(replace(point, policy=replace(point.policy, reader=shared)), QUICK)
    found = solve(point, QUICK)
    key = key_of(point, found.strategy)
    assert key == min(least(point), key_of(point, other.strategy)) == found.answer.bound
    assert found.own is not None and found.own.to_json()["ladders"] == "all"
    return found, other


@pytest.mark.parametrize("seed", [seed for seed in SEEDS if seed % 3])
def test_the_answer_is_the_least_of_all_ladders_with_own_powers(seed: int) -> None:
    """And no worse than the best of shared powers, which may compare or count; proven so, and said
    to be."""
    least_of_all(small(seed))


@pytest.mark.parametrize("seed", [1, 3, 5, 7, *IN_TURN])
def test_dwells_of_a_step_are_chosen_and_turns_are_counted(seed: int) -> None:
    """With each dwell the ladders of own powers are proven; the answer is the least of all."""
    point = timed(seed)
    found, other = least_of_all(point)
    key = key_of(point, found.strategy)
    for one in (found, other):
        on_air = on_air_of(point.survey, point.policy, one.strategy, one.outcome)
        assert on_air.time is not None and on_air.time.fits and not on_air.warnings
    time = replace(point.policy.time, in_turn=False)
    together = solve(replace(point, policy=replace(point.policy, time=time)), QUICK)
    assert (together.answer.key[:2] < key) == (seed in IN_TURN)


@pytest.mark.parametrize("seed", MASKED)
def test_own_powers_and_masks_are_the_least_of_all(seed: int) -> None:
    """Ladders, too."""
    point = masked(seed)
    best = min(key_of(point, one) for one in with_masks(point))
    shared = replace(point.policy.reader, antenna_power="shared")
    other = solve(replace(point, policy=replace(point.policy, reader=shared)), QUICK)
    found = solve(point, QUICK)
    assert found.own is not None and found.own.all_ladders
    assert key_of(point, found.strategy) == best == found.answer.bound
    assert best < least(point) and best < key_of(point, other.strategy)


@pytest.mark.parametrize("seed", [253, 394])
def test_where_reads_are_too_many_for_the_model_that_is_said(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And at these two something is lost by it; bounds are then of what was searched."""
    point = small(seed)
    whole = solve(point, QUICK)
    monkeypatch.setattr(own_part, "_TERMS_MAX", 0)
    by_boxes = solve(point, QUICK)
    assert by_boxes.answer.key[:2] == whole.answer.key[:2] == by_boxes.answer.bound
    assert by_boxes.own is not None and by_boxes.own.to_json()["ladders"] == "all"
    some = solve(point, replace(QUICK, tuning=Tuning(boxes_of_two=0)))
    assert whole.answer.key[:2] == least(point) < some.answer.key[:2]
    assert some.own is not None and some.own.to_json()["ladders"] == "shared_or_best_powers"
    assert some.own.at_one_level <= some.own.proven.key[:2]
    assert some.own.to_json()["bound_of_ladders"] <= whole.answer.key[1]


@pytest.mark.parametrize("seed", [*range(0, 24, 2), *MASKED, 253, 394])
def test_boxes_equal_trying_all(seed: int) -> None:
    """They find what is better than is known, and where nothing is they prove that; with fewer
    boxes than that takes the bound holds."""
    point = masked(seed) if seed in MASKED else small(seed)
    point = replace(point, policy=replace(point.policy, limits=Limits()))
    both = (x for x in with_masks(point) if x.score and len(x.score.on or ()) == 2)
    best = min(key_of(point, one)[1] for one in both)
    survey, base = point.survey, pose(point.survey, point.policy)
    heard = by_antenna(survey, point.policy, base, np.ones((1, base.profile.classes), bool))
    found = prove_over_boxes(base, heard, survey, Clock(), beat=(0.0, best + 1))
    assert found.on is not None and found.proven and found.bound == (0.0, pytest.approx(best))
    known = prove_over_boxes(base, heard, survey, Clock(), beat=(0.0, best))
    assert known.on is None and known.proven and known.bound == (0.0, pytest.approx(best))
    for most in (0, 3, 10):
        few = prove_over_boxes(base, heard, survey, Clock(), beat=(0.0, best + 1), most=most)
        assert few.bound[1] <= best + (not few.proven)
    late = prove_over_boxes(base, heard, survey, Clock(0.0), beat=(0.0, best + 1))
    assert not late.proven and late.bound == (0.0, 0.0)


@pytest.mark.parametrize("seed", [1, 3, *IN_TURN])
def test_boxes_know_dwells_and_turns(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    point = timed(seed)
    whole = solve(point, QUICK)
    monkeypatch.setattr(own_part, "_TERMS_MAX", 0)
    found = solve(point, QUICK)
    assert found.answer.key[:2] == whole.answer.key[:2] == found.answer.bound
    assert found.own is not None and found.own.all_ladders


def test_a_ladder_model_that_the_clock_stops_proves_nothing() -> None:
    point = small(1)
    base = pose(point.survey, point.policy)
    heard = by_antenna(point.survey, point.policy, base, np.ones((1, base.profile.classes), bool))
    found = prove_own_ladders(base, heard, point.survey, Clock(0.0))
    assert not found.proven and found.on is None and found.bound == (0.0, 0.0)
