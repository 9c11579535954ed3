"""Acceptance runs and drift on made surveys."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from strategist.answers.accept import accept
from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.report.acceptance import acceptance_text
from strategist.survey.records import ReadPoint, Tag
from strategist.trust.drift import drift_between
from tests.optimise.made import survey_of
from tests.surveyed import surveyed_policy

STRATEGY = Strategy((20.0,))


def run_of(missed: int, passes: int, empty: int = 0) -> ReadPoint:
    """So many passes with one wanted tag, which `missed` of them, here and there, do not read;
    `empty` without."""
    entries = [[("30", True, [None if 7 * p % passes < missed else -50.0])] for p in range(passes)]
    entries += [[("35", False, [-60.0])] for _ in range(empty)]
    return ReadPoint(survey_of([20.0], entries), surveyed_policy())


@pytest.mark.parametrize(
    ("missed", "passes", "verdict"),
    [(0, 59, "accepted"), (0, 58, "inconclusive"), (1, 93, "accepted"), (10, 59, "rejected")],
)
def test_verdicts_are_those_of_the_exact_plan(missed: int, passes: int, verdict: str) -> None:
    """59 without and 93 with one failure show 5 % at 95 % confidence: the classic table."""
    found = accept(run_of(missed, passes), STRATEGY, 0.05)
    assert (found.judged.verdict, found.accepted) == (verdict, verdict == "accepted")
    assert json.loads(json.dumps(found.to_json()))["verdict"] == verdict


def test_a_strategy_that_is_no_better_than_silence_is_said_first() -> None:
    """One of 60 wanted is read and five strays are: 295 + 5 is what silence loses."""
    found = accept(run_of(59, 60, empty=5), STRATEGY, 0.05)
    assert found.outcome.loss == 300 == 5 * found.outcome.wanted
    assert "no better than silence: its loss is 300" in found.warnings[0]
    assert "no better than silence" in " ".join(acceptance_text(found).split())
    assert not any("silence" in said for said in accept(run_of(59, 60), STRATEGY, 0.05).warnings)
    nothing = accept(run_of(0, 0, empty=5), STRATEGY, 0.05)
    assert not any("silence" in said for said in nothing.warnings)


def test_passes_without_a_wanted_tag_are_no_trials() -> None:
    found = accept(run_of(0, 58, empty=5), STRATEGY, 0.05)
    assert found.judged.passes == 58
    assert found.rates.stray_by_pass.events == 5
    assert found.drift is None


def test_a_step_that_was_not_reached_need_not_have_been_tried() -> None:
    """Pass 0 stops at 20 dBm and was never tried at 21; pass 1 walks there, so it must be."""
    survey = survey_of([20.0, 21.0], [[("30", True, [-50, None])], [("30", True, [None, -50])]])
    untried = np.array([[True, False], [True, True]])
    ladder = Strategy((20.0, 21.0))
    point = ReadPoint(replace(survey, tried=untried), surveyed_policy())
    assert accept(point, ladder).outcome.missed == 0
    other = survey_of([20.0, 21.0], [[("30", True, [-50, -50])], [("30", True, [None, None])]])
    with pytest.raises(InputError, match="pass p0001 was not"):
        accept(ReadPoint(replace(other, tried=untried[::-1].copy()), surveyed_policy()), ladder)


def moved_site(power_db: int, rssi_db: float, tags: int = 12) -> ReadPoint:
    """Tags of two types in ten passes; type "y" turns on later and answers weaker by so much."""
    known: dict[str, Tag] = {}
    passes = []
    for p in range(10):
        entries = []
        for t in range(tags):
            epc = f"30{t:02X}"
            kind = "x" if t % 2 else "y"
            known[epc] = Tag(epc, tag_type=kind)
            later, weaker = (power_db, rssi_db) if kind == "y" else (0, 0.0)
            start = 2 + (p + t) % 3 + later
            base = -60.0 - weaker + 0.1 * (p % 3)
            entries.append(
                (epc, True, [base + level if level >= start else None for level in range(12)])
            )
        passes.append(entries)
    return ReadPoint(
        survey_of([15.0 + level for level in range(12)], passes, known), surveyed_policy()
    )


def test_drift_names_the_type_and_its_tags_with_decibels() -> None:
    found = drift_between(moved_site(0, 0.0), moved_site(2, 3.0))
    rows = {row.name: row for row in found.rows}
    assert found.tags_in_both == 12
    assert rows["y, wanted"].turn_on_db == pytest.approx(2.0)
    assert rows["y, wanted"].rssi_db == pytest.approx(-3.0, abs=0.2)
    assert rows["y, wanted"].moved and not rows["x, wanted"].moved
    assert (rows["x, wanted"].turn_on_db, rows["x, wanted"].rssi_db) == (0.0, 0.0)
    tags = {row.name for row in found.moved if row.kind == "tag"}
    assert tags == {f"30{t:02X}, wanted" for t in range(0, 12, 2)}


def test_a_level_that_moved_for_all_tags_is_named() -> None:
    """Every read at 20 dBm is 4 dB stronger now; at the other levels nothing changed."""
    before = moved_site(0, 0.0)
    survey = before.survey
    at = survey.levels_dbm[survey.read_level] == 20.0
    now = replace(before, survey=replace(survey, read_rssi=survey.read_rssi + 4.0 * at))
    found = drift_between(before, now)
    levels = {row.name: row for row in found.rows if row.kind == "level"}
    assert [name for name, row in levels.items() if row.moved] == ["20 dBm"]
    assert levels["20 dBm"].rssi_db == pytest.approx(4.0)


def test_nothing_moved_and_nothing_in_common() -> None:
    same = drift_between(moved_site(0, 0.0), moved_site(0, 0.0))
    assert same.moved == () and same.rows
    elsewhere = ReadPoint(survey_of([40.0], [[("30", True, [-50.0])]]), surveyed_policy())
    assert drift_between(moved_site(0, 0.0), elsewhere).rows == ()
    found = accept(run_of(0, 60), STRATEGY, against=run_of(0, 60))
    assert found.drift is not None and found.drift.moved == ()
