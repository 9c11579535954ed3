"""Mixed tag types: offsets on made curves with a known answer, and what they mean for a cutoff."""

from __future__ import annotations

import json

import numpy as np
import numpy.typing as npt
import pytest
from scipy import optimize, stats

from strategist.answers.solution import solve
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Guard, Loss, Policy
from strategist.survey.profile import turn_on
from strategist.survey.records import ReadPoint, Survey, Tag
from strategist.survey.rssi import type_offsets
from strategist.trust.guarded import guarded_loss
from strategist.trust.tag_types import (
    Losses,
    TagTypes,
    judge_cutoff,
    measured_types,
    without_cutoff,
)
from tests.optimise.made import survey_of
from tests.surveyed import surveyed_policy

LEVELS = [float(level) for level in range(15, 25)]


def mixed(offset: float, policy: Policy) -> ReadPoint:
    """Twenty passes; wanted tags turn on at 15 to 18 dBm, strays 6 dB later. A tag that needs 1 dB
    more is 1 dB weaker when it turns on. Every second pass is of type "y", which answers `offset`
    stronger. At 24 dBm wanted tags of type "x" have -47 to -43, strays of type "y" -53 to -49
    without the offset. A hair of scatter, no chance."""
    tags: dict[str, Tag] = {}
    passes = []
    for p in range(20):
        entries: list[tuple[str, bool, list[float | None]]] = []
        for wanted, later in ((True, 0), (False, 6)):
            epc = f"{'30' if wanted else '35'}{p:02X}"
            kind = "x" if p % 2 else "y"
            tags[epc] = Tag(epc, tag_type=kind)
            start = later + p % 4
            base = -50.0 - 2 * start + (offset if kind == "y" else 0.0) + 0.1 * (p % 3)
            curve = [base + level if level >= start else None for level in range(len(LEVELS))]
            entries.append((epc, wanted, curve))
        passes.append(entries)
    return ReadPoint(survey_of(LEVELS, passes, tags), policy)


@pytest.mark.parametrize("offset", [4.0, -3.0])
def test_the_offset_is_found_whatever_the_turn_on(offset: float) -> None:
    survey = mixed(offset, surveyed_policy()).survey
    (found,) = type_offsets(survey, turn_on(survey))
    sign = 1 if found.tag_type == "y" else -1
    assert sign * found.offset_db == pytest.approx(offset, abs=0.3)
    assert found.real and found.low_db < found.offset_db < found.high_db
    assert found.tags == found.reference_tags == 20


def scattered(turn_ons: tuple[int, ...], seed: int) -> Survey:
    """Ten tags of each of two types, one a pass, with scattered RSSI at turn-on."""
    rng = np.random.default_rng(seed)
    tags, passes = {}, []
    for number in range(20):
        kind, epc = "xy"[number % 2], f"30{number:02X}"
        tags[epc] = Tag(epc, tag_type=kind)
        start = turn_ons[number % len(turn_ons)]
        rssi = -50.0 + round(float(rng.normal(0, 2)), 1) + 1.5 * (kind == "y")
        passes.append([(epc, True, [None] * start + [rssi] * (len(LEVELS) - start))])
    return survey_of(LEVELS, passes, tags)


def test_the_interval_of_an_offset_is_that_of_student() -> None:
    """All turn on at the same power: Student's interval for two samples, from scipy."""
    survey = scattered((3,), 5)
    (found,) = type_offsets(survey, turn_on(survey))
    first = {int(tag): rssi for tag, rssi in zip(survey.read_tag, survey.read_rssi, strict=True)}
    sides = {
        kind: [first[i] for i, tag in enumerate(survey.tags) if tag.tag_type == kind]
        for kind in "xy"
    }
    test = stats.ttest_ind(sides[found.tag_type], sides[found.reference])
    expected = test.confidence_interval()
    assert (found.low_db, found.high_db) == pytest.approx((expected.low, expected.high))


def test_turn_on_takes_a_degree_of_freedom() -> None:
    """Where tags turn on at different powers: the interval that a fitted line of three has, its
    covariance from scipy's own least squares and Student's t with 20 − 3 degrees of freedom."""
    survey = scattered((3, 4, 6, 7, 5), 6)
    on = turn_on(survey)
    (found,) = type_offsets(survey, on)
    power = survey.levels_dbm[on.level]
    own = np.array([survey.tags[i].tag_type == found.tag_type for i in survey.roster_tag], float)

    def line(_: object, base: float, offset: float, slope: float) -> npt.NDArray[np.float64]:
        return base + offset * own + slope * power

    fitted, covariance = optimize.curve_fit(line, own, on.rssi, p0=(-50.0, 0.0, 0.0))
    half = stats.t.ppf(0.975, 17) * np.sqrt(covariance[1, 1])
    assert found.offset_db == pytest.approx(fitted[1], abs=1e-5)
    assert found.high_db - found.offset_db == pytest.approx(half, rel=1e-4)
    assert found.offset_db - found.low_db == pytest.approx(half, rel=1e-4)


def test_no_offset_is_not_real_and_one_type_has_none() -> None:
    survey = mixed(0.0, surveyed_policy()).survey
    assert not any(one.real for one in type_offsets(survey, turn_on(survey)))
    plain = survey_of(LEVELS, [[("30", True, [-50.0] * 10)]])
    assert type_offsets(plain, turn_on(plain)) == ()


def judged(point: ReadPoint, strategy: Strategy) -> TagTypes:
    types = measured_types(point)
    parts = without_cutoff(point, strategy, types)
    assert all("cutoff" not in part.policy.allow for part in parts)
    return judge_cutoff(point, strategy, types, [solve(part).strategy for part in parts])


def guarded(rssi_db: float) -> Policy:
    return surveyed_policy(loss=Loss(5.0, 1.0), allow=("cutoff",), guard=Guard(0.0, rssi_db))


def test_a_cutoff_that_the_offset_breaks_is_said_to_go() -> None:
    """4 dB apart: the weakest wanted is an x at -47, the strongest stray a y at -53 + 4 + 0.2; a
    cutoff of -48 parts them. With 2 dB of guard and 4 of offset the ten wanted x are missed and
    the ten stray y come in: 60. Without a cutoff all 20 strays do."""
    point = mixed(4.0, guarded(2.0))
    strategy = Strategy((24.0,), 1, -48.0)
    found = judged(point, strategy)
    assert found.offset_db == pytest.approx(4.0, abs=0.1)
    assert found.with_cutoff == Losses(*(0.0, 60.0))
    assert found.without_cutoff == Losses(*(20.0, 20.0))
    assert found.with_cutoff.guarded_loss == guarded_loss(
        point.survey, guarded(2.0 + (found.offset_db or 0)), strategy
    )
    assert found.strategy_without is not None and found.strategy_without.cutoff_dbm is None
    assert found.cutoff_stands is False
    assert "Leave the cutoff out" in str(found.sentence)
    told = json.loads(json.dumps(found.to_json()))
    assert told["cutoff_stands"] is False
    assert told["with_cutoff"] == {"loss": 0.0, "guarded_loss": 60.0}
    assert told["without_cutoff"] == {"loss": 20.0, "guarded_loss": 20.0}
    assert measured_types(point).to_json()["with_cutoff"] is None


def test_a_cutoff_far_from_both_stands() -> None:
    """1 dB apart: wanted -47 and more, strays -51.8 and less; 1.5 dB either way leaves -49.5."""
    found = judged(mixed(1.0, guarded(0.5)), Strategy((24.0,), 1, -49.5))
    assert found.with_cutoff == Losses(*(0.0, 0.0))
    assert found.without_cutoff == Losses(*(20.0, 20.0))
    assert found.cutoff_stands is True and "Keep the cutoff" in str(found.sentence)


def test_without_a_cutoff_there_is_no_question() -> None:
    found = judged(mixed(4.0, surveyed_policy()), Strategy((18.0,)))
    assert found.offsets and found.cutoff_stands is None and found.sentence is None
