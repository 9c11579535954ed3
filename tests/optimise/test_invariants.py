"""What must not change an optimum, and what may change it in one direction only."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from strategist.answers.assessment import Assessment, choose
from strategist.answers.solution import Method, Options
from strategist.survey.policy import Limits, Loss, Policy, Technique
from strategist.survey.records import ReadPoint, Survey
from tests.optimise.made import excess, random_read_point
from tests.surveyed import surveyed_policy

SEEDS = range(400, 424)
TECHNIQUES: tuple[Technique, ...] = ("power", "ladder", "cutoff", "masks")


def solved(read_point: ReadPoint, method: Method = "search") -> Assessment:
    return choose(read_point, Options(method=method, unseen=False))


def under(read_point: ReadPoint, **policy: Any) -> Assessment:
    """The answer with some of the policy changed."""
    return solved(replace(read_point, policy=replace(read_point.policy, **policy)))


def least(result: Assessment, policy: Policy) -> tuple[float, float]:
    """(excess, loss), by the limits and weights of a policy."""
    return excess(result.outcome, policy), result.loss


def as_bytes(result: Assessment) -> bytes:
    """The JSON of a result without the seconds it took."""
    return json.dumps(result.to_json() | {"seconds": 0}).encode()


def reordered(survey: Survey, seed: int) -> Survey:
    """The same measurements: passes, tags, roster and reads in another order."""
    rng = np.random.default_rng(seed)
    passes, tags = (rng.permutation(len(x)) for x in (survey.pass_ids, survey.tags))
    new_pass, new_tag = np.argsort(passes), np.argsort(tags)
    roster, reads = (rng.permutation(len(x)) for x in (survey.roster_pass, survey.read_pass))
    return replace(
        survey,
        pass_ids=tuple(survey.pass_ids[i] for i in passes),
        tags=tuple(survey.tags[i] for i in tags),
        roster_pass=new_pass[survey.roster_pass[roster]],
        roster_tag=new_tag[survey.roster_tag[roster]],
        roster_wanted=survey.roster_wanted[roster],
        roster_listed=survey.roster_listed[roster],
        read_pass=new_pass[survey.read_pass[reads]],
        read_level=survey.read_level[reads],
        read_tag=new_tag[survey.read_tag[reads]],
        read_rssi=survey.read_rssi[reads],
        tried=survey.tried[passes],
    )


def repeated(survey: Survey) -> Survey:
    """Each read twice, the second time 3 dB weaker: the strongest counts, so nothing changes."""
    weaker = np.maximum(survey.read_rssi - 3, -119)
    return replace(
        survey,
        read_pass=np.tile(survey.read_pass, 2),
        read_level=np.tile(survey.read_level, 2),
        read_tag=np.tile(survey.read_tag, 2),
        read_rssi=np.concatenate([survey.read_rssi, weaker]),
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_order_of_rows_does_not_matter(seed: int) -> None:
    point = random_read_point(seed, 2)
    shuffled = replace(point, survey=reordered(point.survey, seed))
    assert as_bytes(solved(shuffled)) == as_bytes(solved(point))


@pytest.mark.parametrize("seed", SEEDS)
def test_weaker_repeats_do_not_matter(seed: int) -> None:
    point = random_read_point(seed, 1)
    assert as_bytes(solved(replace(point, survey=repeated(point.survey)))) == as_bytes(
        solved(point)
    )


@pytest.mark.parametrize("method", ["search", "model"])
@pytest.mark.parametrize("seed", [400, 403, 410, 420])
def test_same_input_same_bytes(seed: int, method: Method) -> None:
    point = random_read_point(seed, 1)
    assert as_bytes(solved(point, method)) == as_bytes(solved(point, method))


@pytest.mark.parametrize("factor", [0.1, 3.0, 7.5, 1000.0])
@pytest.mark.parametrize("seed", SEEDS[:12])
def test_weights_scaled_together_scale_the_loss_alone(seed: int, factor: float) -> None:
    point = random_read_point(seed, 1)
    weights = point.policy.loss
    plain = solved(point)
    scaled = under(point, loss=Loss(weights.missed * factor, weights.stray * factor))
    assert scaled.strategy == plain.strategy
    assert scaled.outcome.by_pass == plain.outcome.by_pass
    assert (scaled.loss, scaled.bound) == pytest.approx((plain.loss * factor,) * 2, abs=1e-5)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_pass_twice_doubles_the_loss(seed: int) -> None:
    point = random_read_point(seed, 1)
    survey, passes = point.survey, len(point.survey.pass_ids)
    again = replace(
        survey,
        pass_ids=(*survey.pass_ids, *(f"{name}-again" for name in survey.pass_ids)),
        roster_pass=np.concatenate([survey.roster_pass, survey.roster_pass + passes]),
        roster_tag=np.tile(survey.roster_tag, 2),
        roster_wanted=np.tile(survey.roster_wanted, 2),
        roster_listed=np.tile(survey.roster_listed, 2),
        read_pass=np.concatenate([survey.read_pass, survey.read_pass + passes]),
        read_level=np.tile(survey.read_level, 2),
        read_tag=np.tile(survey.read_tag, 2),
        read_rssi=np.tile(survey.read_rssi, 2),
        tried=np.vstack([survey.tried, survey.tried]),
    )
    once, twice = solved(point), solved(replace(point, survey=again))
    assert twice.strategy == once.strategy
    assert twice.loss == pytest.approx(2 * once.loss)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_wider_choice_never_worsens(seed: int) -> None:
    """One more ladder step, one more mask slot, one more technique."""
    point = random_read_point(seed, 1)
    policy, reader = point.policy, point.policy.reader
    now = least(solved(point), policy)
    steps = replace(reader, ladder_steps_max=reader.ladder_steps_max + 1)
    slots = replace(reader, mask_slots=reader.mask_slots + 1)
    assert least(under(point, reader=steps), policy) <= now
    assert least(under(point, reader=slots), policy) <= now
    for technique in set(TECHNIQUES) - set(policy.allow):
        assert least(under(point, allow=(*policy.allow, technique)), policy) <= now
    for technique in policy.allow:
        fewer = tuple(t for t in policy.allow if t != technique)
        assert least(under(point, allow=fewer), policy) >= now


@pytest.mark.parametrize("seed", SEEDS)
def test_a_looser_limit_never_worsens(seed: int) -> None:
    """The excess and the loss by the looser limits, and then by none at all."""
    point = random_read_point(seed, 1)
    tight, loose, none = Limits(0.05, 0.1), Limits(0.3, 0.5), Limits()
    results = [(under(point, limits=limits), limits) for limits in (tight, loose, none)]
    values = [least(result, surveyed_policy(limits=limits)) for result, limits in results]
    assert values == sorted(values, reverse=True)
    assert [result.status for result, _ in results][-1] in ("optimal", "silent")
    for (result, _), (over, _) in zip(results, values, strict=True):
        assert (result.status == "infeasible") == (over > 0)


@pytest.mark.parametrize("seed", SEEDS[:12])
def test_a_heavier_miss_never_makes_more_of_them(seed: int) -> None:
    """As the weight of a missed tag grows, the best answers miss no more and report no fewer."""
    point = random_read_point(seed, 1)
    free = replace(point, policy=replace(point.policy, limits=Limits()))
    outcomes = [under(free, loss=Loss(weight, 1.0)).outcome for weight in (0.3, 1.1, 2.3, 50.7)]
    missed, stray = [o.missed for o in outcomes], [o.stray for o in outcomes]
    assert missed == sorted(missed, reverse=True)
    assert stray == sorted(stray)


@pytest.mark.parametrize("method", ["search", "model"])
@pytest.mark.parametrize("seed", SEEDS[:8])
def test_a_stopped_run_says_no_more_than_it_knows(seed: int, method: Method) -> None:
    """With no time at all: the true optimum lies between bound and loss, and status fits both.

    "infeasible" speaks of the limits: the least excess is proven, the loss by its bound alone.
    """
    point = random_read_point(seed, 2)
    proven = solved(point)
    stopped = choose(point, Options(time_limit_s=0.0, method=method, unseen=False))
    assert least(stopped, point.policy) >= least(proven, point.policy)
    assert stopped.bound <= stopped.loss
    if excess(stopped.outcome, point.policy):
        assert stopped.status in ("undecided", "infeasible")
        if stopped.status == "infeasible":
            assert excess(stopped.outcome, point.policy) == excess(proven.outcome, point.policy)
            assert stopped.bound <= proven.loss
    else:
        assert stopped.bound <= proven.loss
        assert stopped.status in ("optimal", "feasible", "silent")
        if stopped.status == "silent":
            assert proven.loss >= stopped.bound >= stopped.silence_loss
        else:
            assert (stopped.status == "optimal") == (stopped.bound == stopped.loss)
    if stopped.status == "optimal":
        assert least(stopped, point.policy) == least(proven, point.policy)
