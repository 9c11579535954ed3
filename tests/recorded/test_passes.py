"""What passes stand for: what may vary, copies, conditions and weights, what to expect."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from strategist.answers.conditions import in_each_of
from strategist.answers.expected import expected_of, foretold_of
from strategist.answers.headline import setting_words
from strategist.answers.over import caps_of, passes_over
from strategist.answers.per_pass import judged_over, per_pass_of
from strategist.answers.solution import Options, solve
from strategist.optimise import conditions as conditions_module
from strategist.optimise.clock import Clock
from strategist.optimise.conditions import (
    ConditionsModel,
    Weighing,
    _weighed,
    least_over_conditions,
    master,
    worst_of,
)
from strategist.optimise.problem import Problem, answer_at, pose
from strategist.survey.copies import copies_for, drawn_copies, peaks_of_copies
from strategist.survey.occasions import conditions_of, whole_weights
from strategist.survey.policy import InConditions, Limits, Policy
from strategist.survey.records import ReadPoint
from strategist.survey.variation import variation_of
from strategist.trust.evaluate import evaluate
from strategist.trust.in_conditions import in_each
from tests.recorded.brief import brief
from tests.recorded.points import (
    expecting,
    in_conditions,
    linen,
    loads,
    portal,
    small,
    strategies,
)
from tests.survey.test_variation_again import made

Recorded = Callable[..., None]
KINDS: dict[str, Callable[[int], ReadPoint]] = {
    "small": lambda seed: small(4 * seed + 400),
    "linen": linen,
    "loads": loads,
    "portal": portal,
}
QUICK = Options(unseen=False, sturdier=False)


@pytest.mark.parametrize("kind", KINDS)
def test_variation(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(6):
        one = variation_of(KINDS[kind](seed).survey)
        told = {field.name: getattr(one, field.name) for field in fields(one)}
        found[str(seed)] = told | {"group": np.bincount(one.group)}
    recorded(found)


@pytest.mark.parametrize("kind", [*KINDS, "made"])
def test_copies(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(3):
        survey = made(seed) if kind == "made" else in_conditions(KINDS[kind](seed), seed).survey
        variation = variation_of(survey)
        rows: dict[str, Any] = {}
        for own in (True, False):
            one = drawn_copies(survey, variation, 4, (seed, 3), own=own)
            passes = len(survey.pass_ids)
            rows[f"own {own}"] = {
                "ids": [one.pass_ids[0], one.pass_ids[passes], one.pass_ids[-1]],
                "reads by level": np.bincount(one.read_level),
                "reads by copy": np.bincount(one.read_pass // passes),
                "wanted by copy": np.bincount(one.roster_pass // passes, one.roster_wanted),
                "rssi by level": np.bincount(one.read_level, one.read_rssi),
                "tags": int((one.read_tag * (1 + one.read_pass)).sum()),
                "conditions": [one.pass_condition[-1:], one.pass_day[-1:]],
                "weight": None if one.pass_weight is None else float(one.pass_weight.sum()),
                "ends": [one.read_rssi.min(initial=0), one.read_rssi.max(initial=-120)],
            }
        heard = peaks_of_copies(survey, variation, 3, (seed, 5))
        read = np.isfinite(heard)
        rows["peaks"] = [int(read.sum()), float(heard[read].sum()), *read.sum(axis=(0, 1)).tolist()]
        found[str(seed)] = rows
    found["how many"] = [copies_for(n, t) for n in (1, 7, 10, 11, 60, 149, 151) for t in (150, 300)]
    recorded(found)


def test_weights_of_conditions(recorded: Recorded) -> None:
    point, found = loads(3, 8), {}
    for number, weight in enumerate(
        [
            None,
            [2.0] * 8,
            [2.0, 4.0, 6.0, 2.0, 2.0, 2.0, 2.0, 8.0],
            [0.5, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 2.0],
            [1000.0] + [1.0] * 7,
            [1001.0] + [1.0] * 7,
            [1e-9] + [1.0] * 6 + [3.3],
            [10.0, 15.0] * 4,
        ]
    ):
        survey = replace(point.survey, pass_weight=None if weight is None else np.array(weight))
        names = ("b10", "b9", "", "b9", "b10", "", "b2", "b2")
        for where in ({}, {"pass_condition": names}, {"pass_day": names}):
            one = conditions_of(replace(survey, **where))
            found[f"{number} {' '.join(where)}"] = {
                "names": list(one.names),
                "of_pass": one.of_pass,
                "times": whole_weights(survey),
                "share": one.share,
            }
    recorded(found)


def test_worst_of_losses(recorded: Recorded) -> None:
    rng, found = np.random.default_rng(2), {}
    for number in range(12):
        conditions = 2 + number % 3
        losses = np.round(rng.uniform(0, 4, (3, conditions)), 1)
        share = rng.dirichlet(np.ones(conditions))
        cap = np.minimum(share / (0.2, 0.5, 0.8, 1.0)[number % 4], 1.0)
        value, weight = worst_of(losses[0], cap)
        mixed, theta = master(losses, cap)
        rounded = Weighing(np.arange(conditions), np.arange(1, conditions + 1), cap).rounded(weight)
        found[str(number)] = [value, *weight, theta, *np.round(mixed, 6), *rounded[0], *rounded[1]]
    recorded(found)


def weighed(point: ReadPoint, policy: Policy) -> tuple[Problem, Weighing]:
    """The passes of a read point as surveyed, and how its conditions weigh by a policy."""
    conditions = conditions_of(point.survey)
    weighing = Weighing(conditions.of_pass, conditions.times, caps_of(policy, conditions))
    return pose(point.survey.each_once(), policy), weighing


@pytest.mark.parametrize("seed", range(8))
def test_least_over_conditions(recorded: Recorded, seed: int) -> None:
    found = {}
    for number in range(3):
        base = small(4 * seed + 500) if number < 2 else loads(seed, 10)
        point = in_conditions(base, seed + number)
        limits = (Limits(), Limits(0.5, 1.0), Limits(0.05, 0.1))[(seed + number) % 3]
        policy = replace(point.policy, limits=limits)
        problem, weighing = weighed(point, policy)
        one = least_over_conditions(problem, weighing, Clock())
        found[str(number)] = [
            *(one.value, one.bound, one.excess, one.infeasible, one.proven, str(one.silence)),
            *np.round(weighing.cap, 9),
            *np.round(one.losses, 9),
            *np.round(one.weight, 9),
        ]
    recorded(found)


def test_over_conditions_with_what_is_known(recorded: Recorded) -> None:
    """A strategy to begin with, one elsewhere that is as good or better, and no time."""
    found = {}
    for seed in range(6):
        point = in_conditions(small(4 * seed + 800), seed)
        policy = replace(point.policy, limits=(Limits(), Limits(0.5, 1.0))[seed % 2])
        problem, weighing = weighed(point, policy)
        best = least_over_conditions(problem, weighing, Clock())
        poor = answer_at(problem, best.answer.chain, 0, (0,))
        for name, known, rival, clock in (
            ("known", poor, float("inf"), Clock()),
            ("rival", None, best.value, Clock()),
            ("rival near", None, best.value + 2e-5, Clock()),
            ("better", poor, best.value / 2, Clock()),
            ("no time", poor, float("inf"), Clock(0.0)),
        ):
            one = least_over_conditions(problem, weighing, clock, known, rival=rival)
            row = [one.value, one.bound, one.excess, one.infeasible, one.proven, str(one.silence)]
            found[f"{seed} {name}"] = [*row, *np.round(one.losses, 9)]
    recorded(found)


def test_conditions_by_planes_alone(recorded: Recorded, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the model of the whole is too large, what the searches prove of the limits stands."""
    monkeypatch.setattr(conditions_module, "_small", lambda _problem: False)
    found = {}
    for seed in range(12):
        point = in_conditions(small(4 * seed + 880), seed)
        limits = (Limits(0.0, 0.0), Limits(0.1, 0.2), Limits(0.5), Limits(None, 0.25))[seed % 4]
        policy = replace(point.policy, limits=limits)
        problem, weighing = weighed(point, policy)
        one = least_over_conditions(problem, weighing, Clock())
        row = [one.value, one.bound, one.excess, one.infeasible, one.proven, str(one.silence)]
        found[str(seed)] = [*row, *np.round(one.losses, 9), *np.round(one.weight, 9)]
    recorded(found)


def test_size_of_the_model(recorded: Recorded) -> None:
    """At most two thousand reads, as surveyed and under the guards."""
    found = {}
    for reads, drifted in ((1000, 1000), (1000, 1001), (2000, 0), (2001, 0), (0, 2001)):
        one, other = (
            SimpleNamespace(rssi=np.array([1.0] * count + [-np.inf] * 3))
            for count in (reads, drifted)
        )
        problem = SimpleNamespace(profile=one, guarded=other)
        found[f"{reads} {drifted}"] = conditions_module._small(problem)  # type: ignore[arg-type]
    recorded(found)


def test_conditions_by_the_model(recorded: Recorded) -> None:
    found = {}
    for seed in range(6):
        point = in_conditions(small(4 * seed + 840), seed)
        limits = (Limits(), Limits(0.3, 0.5), Limits(0.0, 0.0))[seed % 3]
        policy = replace(point.policy, limits=limits)
        problem, weighing = weighed(point, policy)
        model = ConditionsModel(problem, weighing, Clock())
        row: list[Any] = [model.limited]
        if model.limited:
            answer, excess = model.least(True, 0)
            assert answer is not None
            row += [round(excess, 4), round(_weighed(problem, weighing, answer).key[0], 4)]
            model.keep(_weighed(problem, weighing, answer).key[0])
        answer, bound = model.least(False, 0)
        assert answer is not None
        of = _weighed(problem, weighing, answer)
        found[str(seed)] = [*row, round(bound, 4), *(round(x, 4) for x in of.key[:2])]
    recorded(found)


@pytest.mark.parametrize("aim", ["mean", "worst", "cvar"])
def test_over_conditions(recorded: Recorded, aim: str) -> None:
    found: dict[str, Any] = {}
    for seed in range(3):
        base = small(4 * seed + 600) if seed % 2 else loads(seed, 10)
        point = in_conditions(base, seed)
        limits = (Limits(), Limits(), Limits(0.3, 1.5))[seed]
        rule = InConditions(aim=aim, tail=0.3)  # type: ignore[arg-type]
        point = replace(point, policy=replace(point.policy, conditions=rule, limits=limits))
        solution = solve(point, QUICK)
        each = in_each_of(solution, QUICK)
        told = brief(each, "strategy", "settings")
        if each is not None and each.knowing is not None:
            told["settings"] = [
                part
                for one in each.knowing.settings
                for part in (one.condition, setting_words(one.strategy), one.loss_a_pass)
            ]
        over = solution.per_pass
        figures = [solution.status, solution.loss, solution.bound, *solution.rank]
        found[str(seed)] = [figures, told, brief(over), setting_words(solution.strategy)]
        passes = passes_over(point, 0)
        for number, strategy in enumerate(strategies(point, seed, 2)):
            outcome = evaluate(point.survey, point.policy, strategy)
            each_of = in_each(outcome, conditions_of(point.survey), point.policy)
            found[f"{seed} {number}"] = [brief(one) for one in each_of]
            if passes is not None:
                one = per_pass_of(passes, point.policy, strategy, 0.5)
                judged = [*judged_over(passes, point.policy, strategy), one.excess]
                found[f"{seed} {number} over"] = [passes.words, passes.even, *judged]
                found[f"{seed} {number} a pass"] = brief(one)
    recorded(found)


@pytest.mark.parametrize("kind", ["small", "loads", "linen"])
def test_expected(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(1, 2 if kind == "linen" else 3):
        point = expecting(KINDS[kind](30 + seed)) if kind != "linen" else expecting(linen(seed, 6))
        if seed == 2:
            point = in_conditions(point, 1)
        if seed:
            point = replace(point, policy=replace(point.policy, limits=Limits(0.2, 1.0)))
        solution = solve(point, QUICK)
        one = expected_of(solution, QUICK)
        foretold = [
            brief(foretold_of(point, strategy, passes, 0.5))
            for strategy in strategies(point, seed, 2)
            for passes in (1, 40)
        ]
        told = None if one is None else [*brief(one.loss), *brief(one.optimum), one.sentence]
        figures = [solution.status, solution.loss, solution.bound, *solution.rank]
        found[str(seed)] = [figures, told, setting_words(solution.strategy), *foretold]
    recorded(found)


def test_words_of_passes_chosen_over(recorded: Recorded) -> None:
    found = {}
    for seed in range(8):
        point = in_conditions(small(4 * seed + 700), seed)
        for aim in ("survey", "expected"):
            for limits in (Limits(), Limits(0.5), Limits(None, 1.0)):
                policy = replace(point.policy, aim=aim, limits=limits)  # type: ignore[arg-type]
                one = passes_over(replace(point, policy=policy), 0, 20)
                told: list[Any] = []
                if one is not None:
                    told = [one.words, one.copies, one.separate, one.even]
                    told += caps_of(policy, one.conditions).round(9).tolist()
                key = f"{seed} {aim} {limits.missed_rate_max} {limits.stray_rate_max}"
                found[key] = told
    recorded(found)
