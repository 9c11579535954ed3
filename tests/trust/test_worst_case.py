"""The worst case of drift, by hand and against every combination of drifts on small passes."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from strategist import choose, evaluate_at
from strategist.answers.solution import Options
from strategist.optimise.strategy import Strategy
from strategist.report.standing import standing_lines
from strategist.survey.policy import Guard, Loss, Policy
from strategist.survey.records import Predicted, ReadPoint, Survey
from strategist.tags.mask import Mask, chain_accepts
from strategist.trust.evaluate import evaluate
from strategist.trust.guarded import guarded_loss
from strategist.trust.worst_case import WorstCase, worst_case
from tests.optimise.made import random_read_point, survey_of

W, S, T = "3001", "3501", "3502"
LEVELS = [20.0, 21.0, 22.0]
POLICY = Policy(loss=Loss(5.0, 1.0))  # guards of 1 dB and 2 dB


def test_a_ladder_that_walks_on_meets_the_stray_as_it_is() -> None:
    """W stops the ladder at 20 dBm. A decibel weaker it is missed at 20 and found at 22, where the
    stray is read; a decibel stronger the stray is silent (a spot gone cold), so the guarded loss
    is 0, and the stray alone staying as it is costs 1."""
    survey = survey_of(
        [19.0, 20.0, 21.0, 22.0, 23.0],
        [[(W, True, [None, -50, -50, -50, -50]), (S, False, [None, None, None, -60, None])]],
    )
    ladder = Strategy((20.0, 22.0))
    assert evaluate(survey, POLICY, ladder).loss == guarded_loss(survey, POLICY, ladder) == 0
    assert worst_case(survey, POLICY, ladder) == WorstCase(1.0, 0, 1)


def test_a_wanted_tag_is_missed_where_another_stops_the_ladder_in_time() -> None:
    """Both wanted tags weaker: the first is found at 22, and the second with it. The first as it
    is stops the ladder at 20, and the second, weaker, is missed."""
    survey = survey_of(
        [19.0, 20.0, 21.0, 22.0],
        [[(W, True, [None, -50, -50, -50]), ("3002", True, [None, -50, -50, -50])]],
    )
    ladder = Strategy((20.0, 22.0))
    assert guarded_loss(survey, POLICY, ladder) == 0
    assert worst_case(survey, POLICY, ladder) == WorstCase(5.0, 1, 0)


def test_without_guards_it_is_the_loss() -> None:
    for seed in range(20):
        point = random_read_point(seed)
        strategy = Strategy(tuple(point.survey.levels_dbm[-2:].tolist()), 2, -66.0)
        plain = evaluate(point.survey, point.policy, strategy)
        found = worst_case(point.survey, point.policy, strategy, Guard(0.0, 0.0))
        assert (found.missed, found.stray, found.loss) == (plain.missed, plain.stray, plain.loss)


def tried_at(survey: Survey, step: int, drift: float, usable: Sequence[int]) -> int:
    """The level at which a step is tried under a drift, end levels standing in."""
    levels = survey.levels_dbm
    asked = round(float(levels[step]) + drift, 6)
    if drift == 0:
        return step
    if drift < 0:
        below = [level for level in usable if levels[level] <= asked]
        return below[-1] if below else usable[0]
    above = [level for level in usable if levels[level] >= asked]
    return above[0] if above else usable[-1]


def every_way(
    survey: Survey, strategy: Strategy, guard: Guard, number: int, entry: int
) -> set[tuple[bool, ...]]:
    """At which steps a presentation is accepted, for every drift of a fine grid."""
    tag = int(survey.roster_tag[entry])
    if not chain_accepts(strategy.masks, survey.tags[tag]):
        return {(False,) * len(strategy.levels_dbm)}
    steps = [survey.levels_dbm.tolist().index(level) for level in strategy.levels_dbm]
    peak: dict[int, float] = {}
    here = (survey.read_pass == number) & (survey.read_tag == tag)
    for level, rssi in zip(survey.read_level[here], survey.read_rssi[here], strict=True):
        peak[int(level)] = max(peak.get(int(level), -np.inf), float(rssi))
    pairs = np.zeros(survey.tried.shape, bool)
    wide = guard
    if survey.predicted is not None:
        pairs = survey.predicted.pairs
        more = survey.predicted
        wide = Guard(guard.power_db + more.turn_on_db, guard.rssi_db + more.rssi_db)
    usable = np.flatnonzero(~pairs[number])
    usable = np.arange(len(survey.levels_dbm)) if not len(usable) else usable
    cutoff = strategy.cutoff_dbm
    turns = {guard.rssi_db, -guard.rssi_db, 0.0}
    if cutoff is not None:
        margins = [cutoff - rssi for rssi in peak.values()]
        spread = wide.rssi_db - guard.rssi_db
        turns |= {
            m + x
            for m in margins
            for x in (0.0, -1e-3, spread, spread - 1e-3, -spread, -spread - 1e-3)
        }
    ways = set()
    fine = np.round(np.arange(-guard.power_db, guard.power_db + 1e-9, 0.05), 6).tolist()
    for drift, shift in itertools.product(
        {0.0, guard.power_db, *fine}, {t for t in turns if abs(t) <= guard.rssi_db + 1e-9}
    ):
        each = []
        for step in steps:
            foreseen = bool(pairs[number, step])
            extra = wide.power_db - guard.power_db if foreseen else 0.0
            error = wide.rssi_db - guard.rssi_db if foreseen else 0.0
            errors = np.round(np.arange(-extra, extra + 1e-9, 0.05), 6).tolist() if extra else [0.0]
            said = set()
            for more in {*errors, extra, -extra}:
                level = tried_at(survey, step, round(drift + more, 6), usable.tolist())
                for off in {-error, 0.0, error}:
                    rssi = peak.get(level)
                    said.add(
                        rssi is not None
                        and (cutoff is None or round(rssi + shift + off, 6) >= cutoff)
                    )
            each.append(sorted(said))
        ways |= set(itertools.product(*each))
    return ways


def brute_force(point: ReadPoint, strategy: Strategy, guard: Guard) -> float:
    """The worst over all combinations of ways, pass by pass."""
    survey, weights, total = point.survey, point.policy.loss, 0.0
    for number in range(len(survey.pass_ids)):
        entries = np.flatnonzero(survey.roster_pass == number)
        ways = [every_way(survey, strategy, guard, number, int(entry)) for entry in entries]
        worst = 0.0
        for combination in itertools.product(*ways):
            reported: set[int] = set()
            for step in range(len(strategy.levels_dbm)):
                reported |= {i for i, way in enumerate(combination) if way[step]}
                if len(reported) >= strategy.stop_after:
                    break
            wanted = survey.roster_wanted[entries]
            lost = sum(
                weights.missed if is_wanted and i not in reported else 0.0
                for i, is_wanted in enumerate(wanted)
            )
            lost += sum(weights.stray for i in reported if not wanted[i])
            worst = max(worst, lost)
        total += worst
    return total


def small(seed: int) -> ReadPoint:
    """Up to four tags in each of three passes, read here and there at five levels."""
    rng = np.random.default_rng(seed)
    levels = np.cumsum(rng.choice([0.5, 1.0, 1.5], 5)) + 18
    passes = [
        [
            (
                f"3{rng.integers(0, 2)}{number}{tag}",
                bool(rng.random() < 0.5),
                [float(rng.integers(-66, -58)) if rng.random() < 0.7 else None for _ in levels],
            )
            for tag in range(rng.integers(1, 5))
        ]
        for number in range(3)
    ]
    policy = Policy(loss=Loss(float(rng.choice([1, 3])), float(rng.choice([1, 2]))))
    return ReadPoint(survey_of(levels.tolist(), passes), policy)


def posed(seed: int) -> tuple[ReadPoint, Strategy, Guard]:
    point, rng = small(seed), np.random.default_rng(1000 + seed)
    steps = sorted(rng.choice(5, rng.integers(1, 4), replace=False))
    masks = (Mask("epc", 32, 8, "30"),) if rng.random() < 0.3 else ()
    strategy = Strategy(
        tuple(float(point.survey.levels_dbm[step]) for step in steps),
        int(rng.integers(1, 4)),
        None if rng.random() < 0.3 else float(rng.integers(-66, -58)) + 0.5,
        masks,
    )
    return (
        point,
        strategy,
        Guard(float(rng.choice([0.0, 0.5, 1.0, 2.0])), float(rng.choice([0, 1, 3]))),
    )


@pytest.mark.parametrize("seed", range(60))
def test_it_is_the_worst_of_all_combinations_of_drifts(seed: int) -> None:
    point, strategy, guard = posed(seed)
    found = worst_case(point.survey, point.policy, strategy, guard)
    assert found.loss == brute_force(point, strategy, guard)
    policy = replace(point.policy, guard=guard)
    assert found.loss >= guarded_loss(point.survey, policy, strategy)
    assert found.loss >= evaluate(point.survey, policy, strategy).loss


@pytest.mark.parametrize("seed", range(60, 80))
def test_at_predicted_steps_the_error_of_the_model_comes_on_top(seed: int) -> None:
    point, strategy, guard = posed(seed)
    pairs = np.random.default_rng(seed).random(point.survey.tried.shape) < 0.3
    predicted = Predicted(pairs, 0.6, 1.0, None)
    point = replace(point, survey=replace(point.survey, predicted=predicted))
    found = worst_case(point.survey, point.policy, strategy, guard)
    assert found.loss == brute_force(point, strategy, guard)
    assert found.loss >= guarded_loss(point.survey, replace(point.policy, guard=guard), strategy)


def test_a_predicted_step_may_be_tried_as_it_is() -> None:
    """A stray foreseen at 21 dBm alone, with nothing measured beside it: that costs 1 without any
    drift, and with the error of the model."""
    survey = survey_of([20.0, 21.0, 22.0], [[(S, False, [None, -50, None])]])
    predicted = Predicted(np.array([[False, True, False]]), 0.6, 1.0, None)
    survey = replace(survey, predicted=predicted)
    for guard in (Guard(0.0, 0.0), Guard(0.3, 0.0), Guard(1.0, 2.0)):
        assert worst_case(survey, POLICY, Strategy((21.0,)), guard) == WorstCase(1.0, 0, 1)


@pytest.mark.parametrize("level", range(5))
def test_an_error_of_the_model_reaches_each_level_within_it(level: int) -> None:
    """22 dBm was foreseen, with an error of 1.5 dB: what was measured from 20 to 24 dBm (the ends
    stand for 20.5 and 23.5) may be what happens there. With 0.6 dB that is 21 to 23."""
    curve: list[float | None] = [None] * 5
    curve[level] = -50.0
    survey = survey_of([20.0, 21.0, 22.0, 23.0, 24.0], [[(S, False, curve)]])
    pairs = np.array([[False, False, True, False, False]])
    for error, reached in ((1.5, range(5)), (0.6, range(1, 4))):
        foreseen = replace(survey, predicted=Predicted(pairs, error, 0.0, None))
        found = worst_case(foreseen, POLICY, Strategy((22.0,)), Guard(0.0, 0.0))
        assert found.stray == (level in reached)


def test_an_error_of_the_model_in_rssi_goes_both_ways() -> None:
    """Read at −60 dBm by the model, 1 dB of error: accepted at a cutoff up to −59, rejected above
    −61; measured, it is what it is."""
    survey = survey_of([21.0], [[(W, True, [-60.0]), (S, False, [-60.0])]])
    foreseen = replace(survey, predicted=Predicted(np.array([[True]]), 0.0, 1.0, None))
    for cutoff, missed, stray in ((-61.0, 0, 1), (-60.5, 1, 1), (-59.0, 1, 1), (-58.5, 1, 0)):
        ladder = Strategy((21.0,), 9, cutoff)
        found = worst_case(foreseen, POLICY, ladder, Guard(0.0, 0.0))
        assert (found.missed, found.stray) == (missed, stray)
        plain = worst_case(survey, POLICY, ladder, Guard(0.0, 0.0))
        assert (plain.missed, plain.stray) == ((0, 1) if cutoff <= -60 else (1, 0))


def test_the_worst_case_is_above_the_guarded_loss_in_many_cases() -> None:
    """Else the two need not be told apart."""
    above = 0
    for seed in range(200):
        point, strategy, guard = posed(seed)
        guarded = guarded_loss(point.survey, replace(point.policy, guard=guard), strategy)
        above += worst_case(point.survey, point.policy, strategy, guard).loss > guarded
    assert above >= 20


def test_it_is_told_beside_the_guarded_loss() -> None:
    point = ReadPoint(
        survey_of(
            [19.0, 20.0, 21.0, 22.0],
            [[(W, True, [None, -50, -50, -50]), ("3002", True, [None, -50, -50, -50])]],
        ),
        POLICY,
    )
    found = evaluate_at(point, Strategy((20.0, 22.0)))
    document = found.to_json()
    assert (document["guarded_loss"], document["worst_case_loss"]) == (0, 5)
    assert document["worst_case"] == {"loss": 5, "missed": 1, "stray": 0}
    text = " ".join(" ".join(standing_lines(found.standing)).split())
    assert (
        "guarded loss 0 (0 missed, 0 stray) if every tag drifts the wrong way by the whole" in text
    )
    assert "at worst loss 5 (1 missed, 0 stray): the most that drift can cost" in text
    result = choose(point, Options(unseen=False))
    assert result.to_json()["worst_case_loss"] >= result.loss
