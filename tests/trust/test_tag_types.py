"""Mixed tag types: offsets on made curves with a known answer, and what they mean for a cutoff."""

from __future__ import annotations

import json

import pytest

from strategist.decide import Options, best_strategies
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Guard, Loss, Policy
from strategist.survey.records import ReadPoint, Tag
from strategist.survey.rssi import type_offsets
from strategist.survey.turn_on import turn_on
from strategist.trust.guarded import guarded_loss
from strategist.trust.tag_types import TagTypes, judge_cutoff, measured_types, without_cutoff
from tests.optimise.made import survey_of

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
    survey = mixed(offset, Policy()).survey
    (found,) = type_offsets(survey, turn_on(survey))
    sign = 1 if found.tag_type == "y" else -1
    assert sign * found.offset_db == pytest.approx(offset, abs=0.3)
    assert found.real and found.low_db < found.offset_db < found.high_db
    assert found.tags == found.reference_tags == 20


def test_no_offset_is_not_real_and_one_type_has_none() -> None:
    survey = mixed(0.0, Policy()).survey
    assert not any(one.real for one in type_offsets(survey, turn_on(survey)))
    plain = survey_of(LEVELS, [[("30", True, [-50.0] * 10)]])
    assert type_offsets(plain, turn_on(plain)) == ()


def judged(point: ReadPoint, strategy: Strategy) -> TagTypes:
    types = measured_types(point)
    parts = without_cutoff(point, strategy, types)
    assert all("cutoff" not in part.policy.allow for part in parts)
    return judge_cutoff(point, strategy, types, best_strategies(parts, Options()))


def guarded(rssi_db: float) -> Policy:
    return Policy(loss=Loss(5.0, 1.0), allow=("cutoff",), guard=Guard(0.0, rssi_db))


def test_a_cutoff_that_the_offset_breaks_is_said_to_go() -> None:
    """4 dB apart: the weakest wanted is an x at -47, the strongest stray a y at -53 + 4 + 0.2; a
    cutoff of -48 parts them. With 2 dB of guard and 4 of offset the ten wanted x are missed and
    the ten stray y come in: 60. Without a cutoff all 20 strays do."""
    point = mixed(4.0, guarded(2.0))
    strategy = Strategy((24.0,), 1, -48.0)
    found = judged(point, strategy)
    assert found.offset_db == pytest.approx(4.0, abs=0.1)
    assert found.with_cutoff == (0.0, 60.0)
    assert found.without_cutoff == (20.0, 20.0)
    assert found.with_cutoff[1] == guarded_loss(
        point.survey, guarded(2.0 + (found.offset_db or 0)), strategy
    )
    assert found.without is not None and found.without.cutoff_dbm is None
    assert found.stands is False
    assert "leave it out" in str(found.sentence)
    assert json.loads(json.dumps(found.to_json()))["cutoff_stands"] is False


def test_a_cutoff_far_from_both_stands() -> None:
    """1 dB apart: wanted -47 and more, strays -51.8 and less; 1.5 dB either way leaves -49.5."""
    found = judged(mixed(1.0, guarded(0.5)), Strategy((24.0,), 1, -49.5))
    assert found.with_cutoff == (0.0, 0.0)
    assert found.without_cutoff == (20.0, 20.0)
    assert found.stands is True and "keep it" in str(found.sentence)


def test_without_a_cutoff_there_is_no_question() -> None:
    found = judged(mixed(4.0, Policy()), Strategy((18.0,)))
    assert found.offsets and found.stands is None and found.sentence is None
