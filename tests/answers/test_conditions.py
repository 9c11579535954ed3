"""Conditions of passes.csv: which binds, limits in each, what knowing them is worth."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from strategist.answers import conditions
from strategist.answers.assessment import Assessment, choose
from strategist.answers.over import caps_of, passes_over, weighed_best
from strategist.answers.solution import Options
from strategist.errors import DisagreementError
from strategist.optimise.clock import Clock
from strategist.optimise.conditions import Weighing, least_over_conditions
from strategist.optimise.scores import parts_of, posed_over
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import TECHNIQUES, Guard, InConditions, Limits
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from strategist.trust.in_conditions import losses_of
from tests.bench.drawn import drawn_read_point
from tests.cases.door import OPEN, SHUT, gate_with_door
from tests.optimise.made import random_read_point, survey_of
from tests.recorded.points import in_conditions, portal
from tests.surveyed import as_surveyed, surveyed_policy

QUICK = Options(unseen=False, sturdier=False)


def conditioned(point: ReadPoint, names: list[str], **policy: Any) -> ReadPoint:
    """Passes take the names in turn."""
    passes = len(point.survey.pass_ids)
    of_pass = tuple(names[p % len(names)] for p in range(passes))
    survey = replace(point.survey, pass_condition=of_pass)
    return ReadPoint(survey, replace(point.policy, **policy))


def two_places(**policy: Any) -> ReadPoint:
    """Two conditions that are truly apart: in the second all reads are 6 dB weaker."""
    point = conditioned(drawn_read_point("soiled-chute", 24, 11), ["near", "far"], **policy)
    survey = point.survey
    far = survey.read_pass % 2 == 1
    weaker = np.where(far, survey.read_rssi - 6.0, survey.read_rssi)
    return replace(point, survey=replace(survey, read_rssi=weaker))


def told(result: Assessment) -> str:
    return json.dumps({k: v for k, v in result.to_json().items() if k != "seconds"})


@pytest.mark.parametrize("aim", ["mean", "worst", "cvar"])
def test_one_condition_gives_the_same_bytes(aim: str) -> None:
    point = drawn_read_point("sorting-belt", 15, 9)
    rule = InConditions(aim=aim)  # type: ignore[arg-type]
    plain = choose(point, QUICK)
    assert told(choose(conditioned(point, ["all"], conditions=rule), QUICK)) == told(plain)


def test_worst_is_no_worse_in_its_worst_than_the_mean_is() -> None:
    found = {
        aim: choose(two_places(conditions=InConditions(aim=aim)), QUICK)  # type: ignore[arg-type]
        for aim in ("mean", "cvar", "worst")
    }
    worst = {}
    for aim, one in found.items():
        assert one.conditions is not None
        assert one.status == "optimal"
        losses = [part.loss_a_pass for part in one.conditions.each]
        worst[aim] = max(losses)
        assert one.conditions.binds == one.conditions.each[int(np.argmax(losses))].condition
        assert one.conditions.bound <= one.conditions.loss_a_pass + 1e-5
    assert worst["worst"] <= worst["cvar"] + 1e-6
    assert worst["worst"] <= worst["mean"] + 1e-6
    values = [found[aim].conditions.loss_a_pass for aim in ("mean", "cvar", "worst")]  # type: ignore[union-attr]
    assert values == sorted(values)


def test_knowing_the_condition_never_costs_and_its_settings_are_what_they_say() -> None:
    point = two_places(conditions=InConditions(aim="worst"))
    found = choose(point, QUICK).conditions
    assert found is not None
    assert found.knowing is not None
    knowing = found.knowing
    assert knowing.saves >= 0
    assert knowing.loss_a_pass == pytest.approx(found.loss_a_pass - knowing.saves)
    assert knowing.bound <= knowing.loss_a_pass
    assert len({one.strategy.masks for one in knowing.settings}) == 1
    assert knowing.loss_a_pass == max(one.loss_a_pass for one in knowing.settings)
    assert "door" not in found.sentence
    assert found.binds in found.sentence


def test_limits_hold_in_each_condition() -> None:
    limits = Limits(stray_rate_max=0.2)
    result = choose(two_places(limits=limits), QUICK)
    assert result.conditions is not None
    assert result.status == "optimal"
    assert all(one.stray_rate <= 0.2 + 1e-9 and one.kept for one in result.conditions.each)


def test_weights_count_in_the_mean() -> None:
    """A pass that counts a hundred times is served before the others."""
    point = drawn_read_point("soiled-chute", 20, 77)
    result = choose(point, QUICK)
    losing = [p for p, one in enumerate(result.outcome.by_pass) if one.missed or one.stray]
    assert losing
    weight = np.ones(20)
    weight[losing[0]] = 100.0
    heavy = replace(point, survey=replace(point.survey, pass_weight=weight))
    found = choose(heavy, QUICK)
    assert found.status == "optimal"
    one, other = found.outcome.by_pass[losing[0]], result.outcome.by_pass[losing[0]]
    assert len(one.missed) + len(one.stray) <= len(other.missed) + len(other.stray)
    assert found.loss >= result.loss


def test_days_are_conditions_and_expected_takes_them() -> None:
    rule = InConditions(aim="worst")
    point = two_places(conditions=rule, aim="expected", allow=("power", "cutoff"))
    days = tuple(
        "2024-05-30" if name == "near" else "2024-05-31" for name in point.survey.pass_condition
    )
    survey = replace(point.survey, pass_condition=(), pass_day=days)
    found = choose(replace(point, survey=survey), QUICK)
    assert found.conditions is not None
    assert {one.condition for one in found.conditions.each} == set(days)
    assert found.expected is not None
    assert found.optimum_interval is not None
    assert found.per_pass is not None
    assert found.optimum_interval.bound == found.per_pass.bound
    assert found.expected.loss.a_pass >= found.optimum_interval.low


def test_what_a_door_contact_is_worth() -> None:
    """The demo's gate with a door that is open or shut: own settings for each save a sixth."""
    result = choose(gate_with_door(12, 5), QUICK)
    found = result.conditions
    assert found is not None and found.knowing is not None
    knowing = found.knowing
    assert [one.condition for one in knowing.settings] == [OPEN, SHUT]
    assert knowing.saves > 0.1 * found.loss_a_pass
    assert knowing.bound <= knowing.loss_a_pass == pytest.approx(found.loss_a_pass - knowing.saves)
    first, second = (one.strategy for one in knowing.settings)
    assert first.masks == second.masks == result.strategy.masks
    assert first.levels_dbm[0] < second.levels_dbm[0], "strays are near where the door is open"
    assert found.binds == OPEN and "door open costs most" in found.sentence


def test_the_least_of_the_worst_condition_is_bounded_for_passes_to_come() -> None:
    rule = InConditions(aim="worst")
    point = gate_with_door(6, 5, aim="expected", conditions=rule, allow=("power", "cutoff"))
    found = choose(point, QUICK)
    expected, over = found.expected, found.per_pass
    assert expected is not None and over is not None and found.conditions is not None
    assert found.conditions.loss_a_pass == pytest.approx(over.loss, abs=1e-5)
    assert 0 < expected.optimum.low < expected.optimum.bound <= over.loss
    assert expected.loss.low < expected.loss.a_pass < expected.loss.high


@pytest.mark.parametrize("change", [0.5, -0.5])
def test_where_the_evaluator_loses_otherwise_in_a_condition_none_leaves(
    change: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    rule = InConditions(aim="worst")
    point = as_surveyed(conditioned(random_read_point(3, 0), ["near", "far"], conditions=rule))
    assert choose(point, QUICK).conditions is not None
    monkeypatch.setattr("strategist.answers.over.losses_of", lambda each: losses_of(each) + change)
    with pytest.raises(DisagreementError):
        choose(point, QUICK)


WORST = InConditions(aim="worst")


def test_a_cutoff_stays_where_no_other_condition_becomes_the_worst() -> None:
    """Up to -66 dBm a cutoff keeps five strays in one condition, above it loses a wanted tag in the
    other: as much over both, so that the middle of all that lose no more, -65 dBm, would do."""
    one = [("3001", True, [-50.0]), *((f"31{n:02X}", False, [-66.0]) for n in range(5))]
    other = [("3001", True, [-50.0]), ("3002", True, [-66.0]), ("3003", False, [-80.0])]
    other += [(f"32{n:02X}", False, [-45.0]) for n in range(2)]
    policy = surveyed_policy(allow=("power", "cutoff"), conditions=WORST, guard=Guard(0.0, 0.0))
    point = ReadPoint(survey_of([20.0], [one, other] * 2), policy)  # type: ignore[list-item]
    found = choose(conditioned(point, ["one", "other"]), QUICK)
    assert found.strategy.cutoff is not None and -80 < found.strategy.cutoff <= -66
    assert found.conditions is not None
    losses = {one.condition: one.loss_a_pass for one in found.conditions.each}
    assert losses == {"one": 5.0, "other": 2.0}


def test_settings_for_each_condition_share_their_masks_and_the_bound_does_not() -> None:
    """Who is wanted in one is stray in the other, and one tag is never read: with masks of its own
    each condition loses 5 a pass, with the same ones a stray more."""
    passes = [
        [(f"30{n:02X}", n % 2 == 0, [-50.0]), (f"35{n:02X}", n % 2 == 1, [-50.0])] for n in range(6)
    ]
    never = [("36FF", True, [None])]
    policy = surveyed_policy(allow=TECHNIQUES, conditions=WORST)
    survey = survey_of([20.0], [one + never for one in passes])  # type: ignore[operator]
    point = ReadPoint(survey, policy)
    found = choose(conditioned(point, ["near", "far"]), QUICK).conditions
    assert found is not None and found.knowing is not None
    assert (found.loss_a_pass, found.knowing.loss_a_pass) == (6.0, 6.0)
    assert found.knowing.bound == 5.0


@pytest.mark.parametrize(
    ("excess", "loss", "bound"),
    [
        (0.0, 12.0, 2.0),  # of 6 passes by their weight
        (0.0, 30.0, 4.0),  # no more than was reached
        (0.25, 12.0, 0.0),  # what exceeds the limits less may lose anything
        (0.5, 12.0, 2.0),
    ],
)
def test_a_bound_a_pass_is_of_passes_by_their_weight(
    excess: float, loss: float, bound: float
) -> None:
    key = (0.0 if not excess else 0.5, 24.0)
    answer = SimpleNamespace(bound=(excess, loss), key=key)
    of: Any = SimpleNamespace(over=None, answer=answer)
    passes: Any = SimpleNamespace(conditions=SimpleNamespace(times=np.array([1, 2, 3])))
    assert conditions._bound(of, passes, 4.0) == bound
    for weighed, least in ((3.0, 3.0), (4.5, 4.0)):
        of.over = SimpleNamespace(weighed=SimpleNamespace(bound=weighed))
        assert conditions._bound(of, passes, 4.0) == least
    of.over = SimpleNamespace(weighed=None)
    assert conditions._bound(of, passes, 4.0) == bound


@pytest.mark.parametrize(
    ("seed", "limits"), [(4, Limits()), (2, Limits(0.2, 0.3)), (4, Limits(0.2, 0.3))]
)
@pytest.mark.parametrize("turn", [1, -1])
def test_of_several_scores_the_least_excess_and_then_the_least_loss_counts(
    seed: int, limits: Limits, turn: int
) -> None:
    """Two antennas, the worst of two conditions: each score by itself, and all, whatever comes
    first."""
    point = portal(seed, 4)
    kept = np.arange(len(point.survey.levels_dbm)) >= 3
    point = replace(point, survey=point.survey.keep(levels=kept))
    point = in_conditions(point, seed, conditions=InConditions(aim="worst"), limits=limits)
    passes = passes_over(point, 0)
    assert passes is not None and passes.separate
    of = passes.conditions
    weighing = Weighing(of.of_pass, of.times, caps_of(point.policy, of))
    problems = [one.problem for one in parts_of(passes.survey, point.policy).parts][:3][::turn]
    each = [
        least_over_conditions(posed_over(one, passes.sample), weighing, Clock()) for one in problems
    ]
    best = min((one.excess, one.value) for one in each)
    assert len({(one.excess, one.value) for one in each}) == 3
    known = Strategy((float(point.survey.levels_dbm[-1]),), point.policy.stop_after)
    found, strategy, outcome = weighed_best(passes, point, problems, known, seed=0, clock=Clock())
    assert (found.excess, found.value) == best
    assert found.infeasible == all(one.infeasible for one in each)
    assert found.bound <= found.value + 1e-9
    if found.excess == 0:
        assert found.proven
    assert outcome.loss == evaluate(passes.survey, point.policy, strategy).loss
