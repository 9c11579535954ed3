"""The choice of a score against trying every one, with every ladder, cutoff and mask chain."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from decimal import Decimal
from functools import cache
from typing import Any

import pytest

import strategist
from strategist import Options
from strategist.optimise.tuning import Tuning
from tests.optimise.made import BY_BOUNDS
from tests.second_reading.drawn import NAME, Json, case_with_antennas
from tests.second_reading.optimum import Key, Trial, best_key, frontier, key_of, sturdiest
from tests.second_reading.scores import choices, heard
from tests.second_reading.survey import exact, loss_of, read_survey
from tests.second_reading.test_second_reading import given, policy_of

SEEDS = [seed for seed in range(3000, 3200) if "tried" not in case_with_antennas(seed)][:64]
STURDIER = [3024, 3083, 3239, 3275, 3448, 3501, 3507, 3790, *SEEDS[:3]]
QUICK = Options(unseen=False, sturdier=False)


@cache
def best_of_all(seed: int) -> tuple[Any, ...]:
    """The least (excess, loss, guarded loss, work of the score, the other work) of all choices."""
    return best_in(case_with_antennas(seed))


def best_in(document: Json) -> tuple[Any, ...]:
    found = []
    for work, chosen in choices(document, NAME):
        in_scores, _ = heard(document, NAME, chosen | {"levels_dbm": []})
        trial = Trial(read_survey(in_scores, NAME), policy_of(in_scores))
        if any(trial.ladders(0)):  # else there are more antennas than turns
            key = best_key(trial)
            found.append((*key[:3], work, key[3:]))
    return min(found)


def ranked(document: Json, text: Json) -> tuple[Any, ...]:
    """The same of one strategy in JSON."""
    plain, score = dict(text), dict(text.get("score", {}))
    floor = score.pop("floor_dbm", None)
    own = {key: value for key, value in text.items() if key == "step_s"}
    own |= {"score": score} if score else {}
    (work,) = (work for work, chosen in choices(document, NAME) if chosen == own)
    if floor is not None:
        weakest = min(row["rssi_dbm"] for row in document["reads"])
        assert floor == pytest.approx(weakest - 1)
    in_scores, plain = heard(document, NAME, text)
    key: Key = key_of(Trial(read_survey(in_scores, NAME), policy_of(in_scores)), plain)
    return (*key[:3], work, key[3:])


@pytest.mark.parametrize("seed", SEEDS)
def test_the_best_of_all_scores_is_the_one_that_trying_all_finds(seed: int) -> None:
    document = case_with_antennas(seed)
    point, best = given(document), best_of_all(seed)
    results = [strategist.choose(point, QUICK)]
    results.append(strategist.choose(point, replace(QUICK, method="search", tuning=BY_BOUNDS)))
    if seed % 8 == 0:
        results.append(strategist.choose(point, replace(QUICK, method="model")))
    for result in results:
        assert ranked(document, result.strategy.to_json()) == best
        assert result.loss == result.bound == pytest.approx(float(best[1]), abs=1e-6)
        assert result.proof["guarded_bound"] == pytest.approx(float(best[2]), abs=1e-6)


def in_turn(seed: int) -> Json:
    """A case whose antennas take turns, in a pass that has no time for all of them."""
    document = case_with_antennas(seed)
    policy_of(document)["time"] = {"step_s": [0.3, 0.6], "dwell_s": 0.6, "in_turn": True}
    return document


@pytest.mark.parametrize("seed", [3004, 3013, 3031, 3034, 3050, 3064, 3066, 3123, 3129, 3162])
def test_turns_of_antennas_are_counted(seed: int) -> None:
    document = in_turn(seed)
    point, best = given(document), best_in(document)
    assert best > best_of_all(seed), "turns cost something"
    for route in (Tuning(), BY_BOUNDS):
        result = strategist.choose(point, replace(QUICK, tuning=route))
        assert ranked(document, result.strategy.to_json()) == best
        assert result.loss == result.bound
        on_air = result.on_air.time
        on = len((result.strategy.score and result.strategy.score.on) or point.survey.antennas)
        step_s = result.strategy.step_s
        assert step_s is not None and on_air is not None and on_air.fits
        turns = on * len(result.strategy.levels_dbm)
        assert on_air.worst_s == pytest.approx(turns * step_s)


@pytest.mark.parametrize("seed", SEEDS[::4])
def test_the_frontier_over_all_scores_is_the_one_that_trying_all_finds(seed: int) -> None:
    """Its points, and at each the strategy that stands drift best and then takes least work."""
    document, points = case_with_antennas(seed), {}
    for work, chosen in choices(document, NAME):
        in_scores, _ = heard(document, NAME, chosen | {"levels_dbm": []})
        for point, key in frontier(
            Trial(read_survey(in_scores, NAME), policy_of(in_scores))
        ).items():
            found = (key[0], work, key[1:])
            points[point] = min(points.get(point, found), found)
    expected = {
        point: key
        for point, key in points.items()
        if not any(m <= point[0] and s <= point[1] and (m, s) != point for m, s in points)
    }
    for route in (Tuning(), BY_BOUNDS):
        found_by = strategist.trace_frontier(given(document), Options(tuning=route))
        assert found_by.open == ()
        keys = {
            (one.outcome.missed, one.outcome.stray): ranked(document, one.strategy.to_json())[2:]
            for one in found_by.points
        }
        assert keys == expected


@cache
def sturdier_of_all(seed: int) -> tuple[Any, ...] | None:
    """The least (guarded loss, loss, work of the score, the other work) of what is sought beside
    the best, over all scores."""
    document, (over, least, guarded, *_) = case_with_antennas(seed), best_of_all(seed)
    policy, found = policy_of(document), None
    for work, chosen in choices(document, NAME):
        in_scores, _ = heard(document, NAME, chosen | {"levels_dbm": []})
        trial = Trial(read_survey(in_scores, NAME), policy_of(in_scores))
        silence = loss_of(policy, trial.wanted, 0)
        if trial.wanted and policy.get("limits", {}).get("missed_rate_max") is not None:
            silence = Decimal("inf")  # no limit here allows it
        if over or silence <= least:
            return None
        missed = exact(policy.get("loss", {}).get("missed", 5))
        most = least + max(missed, least * Decimal("0.05"))
        key = sturdiest(trial, most, silence, least + guarded)
        if key is not None:
            own = (*key[:2], work, key[2:])
            found = own if found is None else min(found, own)
    return found


@pytest.mark.parametrize("seed", STURDIER)
def test_the_sturdier_of_all_scores_is_the_one_that_trying_all_finds(seed: int) -> None:
    document, sought = case_with_antennas(seed), sturdier_of_all(seed)
    for route in (Tuning(), BY_BOUNDS):
        result = strategist.choose(given(document), Options(unseen=False, tuning=route))
        found = result.sturdier
        if sought is None:
            assert found is None
        else:
            assert found is not None
            excess, loss, guarded, *work = ranked(document, found.strategy.to_json())
            assert (guarded, loss, *work) == sought and not excess
            assert found.bound == pytest.approx(float(guarded), abs=1e-6)


def test_the_cases_are_not_all_alike() -> None:
    kinds = Counter(best_of_all(seed)[3][0] for seed in SEEDS)
    off = sum(best_of_all(seed)[3][2] > 0 for seed in SEEDS)
    assert kinds[0] >= 20 and kinds[1] >= 3 and kinds[2] >= 10 and off >= 10
    assert sum(best_of_all(seed)[1] > 0 for seed in SEEDS) >= 20
    assert sum(len(choices(case_with_antennas(seed), NAME)) > 6 for seed in SEEDS) >= 40
    beside = [sturdier_of_all(seed) for seed in STURDIER]
    assert sum(one is not None for one in beside) >= 8 and None in beside
