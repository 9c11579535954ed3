"""Mixed tag types on the measured power sweep: the offset is found, and a guard foresees a spread.

Figures of real tags, found through OPEN_DATA: the data set published with "Decoding RSSI
Compression in RFID: Dynamic RCS Modeling and Tag-Intrinsic Power Metrics for Reliable Backscatter
Networks" (see `test_measured_sweep`).
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Guard
from strategist.survey.profile import turn_on
from strategist.survey.records import ReadPoint
from strategist.survey.rssi import area_at_equal_level, type_offsets
from strategist.trust.diagnosis import diagnose
from strategist.trust.evaluate import evaluate
from strategist.trust.guarded import guarded_outcome
from tests.outside.test_measured_sweep import PLACES, Sweep, measured, read_point_of


def typed(place: str, every: int = 4) -> tuple[ReadPoint, Sweep]:
    """The read point with its types: at each distance five tags of A, then five of B."""
    sweep = measured(place, "A and B", every)
    point = read_point_of(sweep, 3)
    tags = tuple(
        replace(tag, tag_type="A" if number % 10 < 5 else "B")
        for number, tag in enumerate(point.survey.tags)
    )
    return replace(point, survey=replace(point.survey, tags=tags)), sweep


def paired_offset(sweep: Sweep, apart_db: float = 0.6) -> float:
    """A minus B in plain numpy: over all pairs that turn on within `apart_db`, mean difference of
    RSSI at turn-on."""
    curves = np.vstack([sweep.wanted, sweep.strays])
    is_a = np.arange(len(curves)) % 10 < 5
    read = np.isfinite(curves)
    first = read.argmax(axis=1)
    rssi, power = curves[np.arange(len(curves)), first], sweep.levels[first]
    a, b = np.flatnonzero(is_a & read.any(axis=1)), np.flatnonzero(~is_a & read.any(axis=1))
    pairs = [(i, j) for i, j in itertools.product(a, b) if abs(power[i] - power[j]) <= apart_db]
    return float(np.mean([rssi[i] - rssi[j] for i, j in pairs]))


@pytest.mark.parametrize("place", PLACES)
def test_the_diagnosis_finds_the_offset(place: str) -> None:
    """At equal turn-on power A answers some 3 dB stronger than B; pairing curves says the same."""
    point, sweep = typed(place)
    (found,) = type_offsets(point.survey, turn_on(point.survey))
    assert (found.tag_type, found.reference, found.real) == ("A", "B", True)
    assert found.low_db > 2
    assert found.offset_db == pytest.approx(paired_offset(sweep), abs=0.7)
    kinds = {finding.kind: finding for finding in diagnose(point)}
    assert "A answers" in kinds["types_differ"].text and "stronger" in kinds["types_differ"].text


@pytest.mark.parametrize("place", PLACES)
def test_each_type_parts_by_rssi_and_both_together_do_not(place: str) -> None:
    point, _ = typed(place)
    survey, on = point.survey, turn_on(point.survey)
    areas = []
    for name in ("A", "B"):
        of_type = np.array([tag.tag_type == name for tag in survey.tags])[survey.roster_tag]
        one = area_at_equal_level(survey, on, of_type)
        assert one is not None
        areas.append(one.area)
    both = area_at_equal_level(survey, on)
    assert both is not None
    assert min(areas) > 0.97 > both.area + 0.05


@pytest.mark.parametrize("types", ["A", "A and B"])
def test_a_guard_foresees_what_a_spread_of_two_decibels_does(types: str) -> None:
    """Of the cutoffs at one level with equal loss, the one with the least guarded loss loses less
    than the one with the most when each tag's RSSI moves by up to 2 dB either way."""
    place = "4 m from 5-8 m"
    sweep = measured(place, types, 4)
    point = read_point_of(sweep, 1)
    survey, policy = point.survey, point.policy
    rssi = np.unique(survey.read_rssi)
    cutoffs = [round(float(c), 3) for c in (rssi[1:] + rssi[:-1]) / 2]
    found = []
    for level, cutoff in itertools.product(survey.levels_dbm.tolist(), cutoffs):
        strategy = Strategy((level,), 1, cutoff)
        loss = evaluate(survey, policy, strategy).loss
        if not found or loss <= found[0][0]:
            guarded = guarded_outcome(survey, policy, strategy, Guard(0.0, 2.0)).loss
            found = [row for row in found if row[0] == loss] + [(loss, guarded, strategy)]
    best, worst = min(found, key=lambda r: r[1]), max(found, key=lambda r: r[1])
    assert best[1] < worst[1]

    def spread(strategy: Strategy) -> float:
        rng = np.random.default_rng(4)
        losses = []
        for _ in range(50):
            moved = survey.read_rssi + rng.uniform(-2, 2, len(survey.tags))[survey.read_tag]
            losses.append(evaluate(replace(survey, read_rssi=moved), policy, strategy).loss)
        return float(np.mean(losses))

    assert spread(best[2]) < spread(worst[2])
    assert spread(best[2]) <= best[1]


@pytest.mark.parametrize(("steps", "unguarded", "guarded"), [(1, 40.0, 35.0), (3, 40.0, 32.0)])
def test_the_guarded_answer_stands_two_decibels_better(
    steps: int, unguarded: float, guarded: float
) -> None:
    """A and B at 4 m from 5–8 m: the least loss is 25 either way. If every wanted tag answers 2 dB
    weaker and every stray 2 dB stronger, the answer found without a guard loses more than the one
    found with it; as much in the worst of many draws. None with a loss of 25 stands it unharmed.
    The losses are our own figures, first found by the package: they hold its answer and its guarded
    loss against draws made here, not against anything published."""
    point, _ = typed("4 m from 5-8 m")
    reader = replace(point.policy.reader, ladder_steps_max=steps)
    losses, worst = [], []
    for rssi_db in (0.0, 2.0):
        policy = replace(point.policy, reader=reader, guard=Guard(0.0, rssi_db))
        found = choose(replace(point, policy=policy), Options(unseen=False))
        assert (found.status, found.loss) == ("optimal", 25.0)
        losses.append(guarded_outcome(point.survey, policy, found.strategy, Guard(0.0, 2.0)).loss)
        worst.append(_worst_of_draws(point, found.strategy))
    assert losses == [unguarded, guarded] == worst
    assert found.proof["guarded_bound"] == guarded


def _worst_of_draws(point: ReadPoint, strategy: Strategy) -> float:
    rng, survey = np.random.default_rng(5), point.survey
    wanted = np.isin(np.arange(len(survey.tags)), survey.roster_tag[survey.roster_wanted])
    losses = []
    for _ in range(40):
        by = rng.choice([1.0, 2.0], len(survey.tags)) * np.where(wanted, -1.0, 1.0)
        moved = survey.read_rssi + by[survey.read_tag]
        losses.append(evaluate(replace(survey, read_rssi=moved), point.policy, strategy).loss)
    return max(losses)
