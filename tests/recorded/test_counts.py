"""Figures worked out of counts: intervals, plans and verdicts of acceptance, likeness of passes."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.trust import acceptance, by_pass, dependence, intervals
from tests.recorded.brief import brief

Recorded = Callable[..., None]


def refusal(ask: Callable[[], Any]) -> Any:
    """What is answered, or what is said against it."""
    try:
        return ask()
    except InputError as error:
        return str(error)


def test_exact_intervals(recorded: Recorded) -> None:
    found = {}
    for (events, trials), confidence, part in itertools.product(
        [(0, 0), (0, 1), (1, 1), (0, 7), (3, 7), (7, 7), (1, 60), (12, 400)],
        [0.5, 0.8, 0.95],
        [1.0, 0.4],
    ):
        one = intervals.clopper_pearson(events, trials, confidence, part)
        bounds = [
            bound(events, trials, confidence, part)
            for bound in (intervals.lower_bound, intervals.upper_bound)
        ]
        key = f"{events} of {trials} at {confidence} of {part}"
        found[key] = [one.rate, one.low, one.high, one.confidence, one.effective_passes, *bounds]
    recorded(found)


def test_words_of_shares(recorded: Recorded) -> None:
    shares = [0.0, -0.1, 1e-9, 0.00012, 0.00123, 0.0099, 0.00999, 0.01, 0.0101, 0.0487, 0.095]
    shares += [0.0999, 0.1, 0.1001, 0.151, 0.5, 0.994, 0.995, 1.0, 0.03, 0.29, 0.57]
    told = {
        str(share): [
            intervals.percent(share),
            intervals.percent_up(share),
            intervals.percent_down(share),
        ]
        for share in shares
    }
    counts = [(0, 0), (0, 60), (1, 60), (3, 9), (9, 9)]
    words = {
        f"{k} of {n} {part}": [
            intervals.rate_sentence(k, n, "lost", 0.9, part),
            intervals.interval_words(intervals.clopper_pearson(k, n, part=part)),
        ]
        for k, n in counts
        for part in (1.0, 0.3)
    }
    recorded({"shares": told, "counts": words})


def test_refusals_of_counts(recorded: Recorded) -> None:
    asked: list[Callable[[], Any]] = [
        lambda: intervals.check_counts(-1, 3),
        lambda: intervals.check_counts(4, 3),
        lambda: intervals.check_counts(True, 3),
        lambda: intervals.check_counts(1, 10**9),
        lambda: intervals.check_counts(1, 10**9 + 1),
        lambda: intervals.check_counts(1, 3.0),  # type: ignore[arg-type]
        lambda: intervals.check_counts(0, 0, ("a", "b")),
        lambda: intervals.check_confidence(0.5),
        lambda: intervals.check_confidence(0.49),
        lambda: intervals.check_confidence(0.999999),
        lambda: intervals.check_confidence(0.9999999),
        lambda: intervals.check_confidence(True),
        lambda: acceptance.plan_acceptance(1e-6, 0.5).passes,
        lambda: acceptance.plan_acceptance(0.9e-6),
        lambda: acceptance.plan_acceptance(0.999).passes,
        lambda: acceptance.plan_acceptance(0.9991),
        lambda: acceptance.plan_acceptance(0.1, 0.95, 1000).passes,
        lambda: acceptance.plan_acceptance(0.1, 0.95, 1001),
        lambda: acceptance.plan_for_good_site(0.1, 0.05, 0.95, 0.001).passes,
        lambda: acceptance.plan_for_good_site(0.1, 0.05, 0.95, 0.0009),
        lambda: acceptance.plan_for_good_site(0.1, 0.05, 0.95, 0.5).passes,
        lambda: acceptance.plan_for_good_site(0.1, 0.05, 0.95, 0.51),
        lambda: acceptance.plan_for_good_site(0.1, 0.11),
        lambda: acceptance.plan_for_good_site(0.1, 0.1),
        lambda: acceptance.operating_characteristic(10, 1, [0.0, 1.0]),
        lambda: acceptance.operating_characteristic(10, 1, [1.01]),
        lambda: acceptance.operating_characteristic(10, 1, [-0.01]),
        lambda: acceptance.operating_characteristic(10, 11, [0.1]),
        lambda: acceptance.AcceptancePlan(0.05, 0.95, 59, 0).sentence,
        lambda: acceptance.AcceptancePlan(0.05, 0.95, 58, 0),
        lambda: by_pass.missed_rate([1], [1, 2]),
        lambda: by_pass.missed_rate([3], [2]),
        lambda: by_pass.stray_count([0, -1], [2, 2]),
    ]
    recorded({str(number): refusal(ask) for number, ask in enumerate(asked)})


def passes_of(seed: int) -> tuple[list[int], list[int]]:
    """Events and tags presented in each of some passes, by laws that differ."""
    rng = np.random.default_rng([3, seed])
    passes = int(rng.choice([1, 2, 3, 8, 25]))
    presented = [
        np.ones(passes, int),
        np.full(passes, 4),
        rng.integers(0, 6, passes),
        rng.poisson(2, passes),
        np.where(rng.random(passes) < 0.15, 20, 1),
    ][seed % 5]
    share = rng.choice([0.0, 0.1, 0.5, 1.0, 0.03])
    whole = rng.random(passes) < share
    together = rng.random() < 0.5
    events = np.where(whole, presented, 0) if together else rng.binomial(presented, share)
    return events.tolist(), presented.tolist()


@pytest.mark.parametrize("seed", range(5))
def test_intervals_by_pass(recorded: Recorded, seed: int) -> None:
    found = {}
    for number in range(16):
        events, presented = passes_of(seed + 5 * number)
        for confidence, part in ((0.95, 1.0), (0.8, 0.35)):
            rates = [
                by_pass.missed_rate(events, presented, confidence, part),
                by_pass.stray_count(events, presented, confidence, part),
            ]
            found[f"{number} {confidence}"] = [
                *(one.rate for one in rates),
                *(end for one in rates for end in (one.low, one.high)),
                *(one.effective_passes for one in rates),
                *(one.events for one in rates),
                *(one.trials for one in rates),
            ]
    recorded(found)


def test_plans_of_acceptance(recorded: Recorded) -> None:
    found = {}
    for limit, confidence, allowed in itertools.product([0.003, 0.05, 0.3], [0.5, 0.99], [0, 1, 7]):
        plan = acceptance.plan_acceptance(limit, confidence, allowed)
        found[f"{limit} {confidence} {allowed}"] = [
            plan.passes,
            plan.producers_risk(limit / 10),
            plan.acceptance_probability(limit),
            plan.acceptance_probability(1.0),
        ]
    told = [brief(plan) for plan in acceptance.plans(0.05)]
    good = [
        acceptance.plan_for_good_site(limit, good, confidence, risk).passes
        for limit, good, confidence, risk in (
            (0.05, 0.005, 0.95, 0.1),
            (0.1, 0.02, 0.9, 0.05),
            (0.6, 0.0, 0.95, 0.1),
        )
    ]
    recorded({"plans": found, "by failures": told, "good": good})


def test_verdicts_on_runs(recorded: Recorded) -> None:
    found = {}
    for (failures, passes), limit, part in itertools.product(
        [(0, 0), (0, 58), (0, 59), (2, 93), (9, 60), (1001, 2000)],
        [0.05, 0.2],
        [1.0, 0.5],
    ):
        one = acceptance.judge_run(limit, failures, passes, 0.95, part)
        found[f"{failures} of {passes}, {limit}, {part}"] = one
    recorded({key: [one.verdict, one.lower, one.upper, one.sentence] for key, one in found.items()})


def test_neighbours_alike(recorded: Recorded) -> None:
    rng, found = np.random.default_rng(5), {}
    for passes in (9, 10, 11, 30, 60):
        for how in ("drift", "noise", "wave", "halves", "level", "slow", "runs"):
            noise = rng.normal(0, 1, passes)
            series = {
                "drift": np.cumsum(noise),
                "noise": noise,
                "wave": np.sin(np.arange(passes) / 3) + 0.3 * noise,
                "halves": np.where(np.arange(passes) < passes / 2, 0.0, 1.0),
                "level": np.full(passes, 2.0),
                "slow": np.arange(passes) / passes + 0.2 * noise,
                "runs": np.repeat(rng.integers(0, 2, passes), 2)[:passes].astype(float),
            }[how]
            found[f"{how} {passes}"] = dependence._alike(how, series)
    lags = [[0.9, 0.8, 0.7], [0.3, 0.25, 0.2], [0.3, 0.05, 0.2], [0.3, 0.1, 0.09], [0.2, -0.1, 0.1]]
    parts = {
        f"{one} {n}": dependence._part(np.array(one), n) for one in lags for n in (10, 40, 400)
    }
    recorded({"series": found, "parts": parts})
