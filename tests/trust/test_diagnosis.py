"""Each finding on a survey made to have it, with its figure; and its absence where it has not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from strategist.optimise.strategy import Strategy
from strategist.survey.findings import Finding
from strategist.survey.policy import Limits, Policy
from strategist.survey.records import ReadPoint, Survey
from strategist.trust.diagnosis import diagnose
from tests.optimise.made import survey_of
from tests.tags.uris import encode

Curve = Sequence[float | None]
LEVELS = [18.0, 19.0, 20.0, 21.0, 22.0]


def grai(asset_type: str, serial: int) -> str:
    return encode(f"urn:epc:tag:grai-96:0.9521141.{asset_type}.{serial}")


def site(
    wanted: Curve, stray: Curve, passes: int = 40, levels: list[float] | None = None, **how: Any
) -> Survey:
    """So many passes with one wanted bag and one stray towel, each with its curve."""
    stray_type = how.get("stray_type", "21600")
    entries = [
        [
            (grai("11200", p), True, [None if v is None else v + 0.5 * (p % 4) for v in wanted]),
            (grai(stray_type, 9000 + p), False, [v if v is None else v - p % 4 for v in stray]),
        ]
        for p in range(passes)
    ]
    return survey_of(levels or LEVELS, entries)


def found(
    survey: Survey, policy: Policy | None = None, strategy: Strategy | None = None
) -> dict[str, Finding]:
    return {f.kind: f for f in diagnose(ReadPoint(survey, policy or Policy()), strategy)}


NEAR: Curve = [None, -60, -59, -58, -57]
FAR: Curve = [None, None, None, -70, -69]


def test_power_that_parts_gives_the_gap() -> None:
    """Every wanted tag is read at 19 dBm, the first stray at 21: a gap of 2 dB."""
    finding = found(site(NEAR, FAR))["power_parts"]
    assert "at 19 dBm every wanted tag is read" in finding.text
    assert "2 dB higher, at 21 dBm" in finding.text


def test_power_that_overlaps_gives_it_too() -> None:
    finding = found(site(FAR, NEAR))["power_overlaps"]
    assert "at 21 dBm every wanted tag is read" in finding.text
    assert "2 dB lower, at 19 dBm" in finding.text


def test_the_field_that_parts_is_named() -> None:
    finding = found(site(NEAR, FAR))["data_parts"]
    assert "is carried by 100 % of wanted and 0 % of stray tags" in finding.text
    assert "11200" in finding.text or "21600" in finding.text
    alike = found(site(NEAR, FAR, stray_type="11200"))["data_alike"]
    assert "no field differs" in alike.text


def test_rssi_that_parts_overlaps_or_is_inverted() -> None:
    """Wanted always 9 dB and more stronger: 1.00. The weaker always: 0.00. Two curves 2.5 dB apart
    with a spread of 1.5 and 3 dB: in between."""
    assert "a chance of 1.00" in found(site(NEAR, FAR))["rssi_parts"].text
    assert "a chance of 0.00" in found(site(FAR, NEAR))["rssi_inverted"].text
    between = found(site(NEAR, [None, -57.5, -56.5, -55.5, -54.5]))
    assert not {"rssi_parts", "rssi_inverted"} & set(between)
    assert {"rssi_helps", "rssi_overlaps"} & set(between)


def test_reads_that_come_and_go() -> None:
    """All wanted tags miss a turn at 21 dBm: 40 of the 80 tags read."""
    finding = found(site([None, -60, -59, None, -57], FAR))["come_and_go"]
    assert "40 of 80 tags read (50 %)" in finding.text
    assert "come_and_go" not in found(site(NEAR, FAR))


def test_coarse_levels() -> None:
    levels = [14.0, 15.0, 18.0, 19.0, 20.0]
    finding = found(site([None, None, -60, -59, -58], FAR, levels=levels))["levels_coarse"]
    assert "100 % of wanted tags turn on between 15 and 18 dBm" in finding.text
    assert "levels_coarse" not in found(site(NEAR, FAR))


def test_a_range_that_is_not_wide_enough() -> None:
    low = found(site([-60, -59, -58, -57, -56], [-70, -69, -68, -67, -66]))["range_low"]
    assert "18 dBm, already reads 100 % of wanted tags and 100 % of strays" in low.text
    high = found(site([None, None, None, None, -60], FAR))["range_high"]
    assert "100 % of wanted tags are read at the highest level, 22 dBm" in high.text
    assert not {"range_low", "range_high"} & set(found(site(NEAR, FAR)))


def test_the_best_at_an_edge() -> None:
    survey = site(NEAR, FAR)
    edges = found(survey, strategy=Strategy((18.0, 22.0)))
    assert "22 dBm, is the highest" in edges["edge_high"].text
    assert "18 dBm, is the lowest" in edges["edge_low"].text
    assert not {"edge_high", "edge_low"} & set(found(survey, strategy=Strategy((19.0, 21.0))))


@pytest.mark.parametrize(("limit", "needed"), [(0.05, 59), (0.1, 29), (0.0, None)])
def test_passes_for_the_rate_asked_for(limit: float, needed: int | None) -> None:
    """59 passes show 5 %, 29 show 10 % (95 % confidence); 40 are there. Nothing shows 0."""
    kinds = found(site(NEAR, FAR), Policy(limits=Limits(missed_rate_max=limit)))
    if needed is None:
        assert "limit_zero" in kinds
    elif needed > 40:
        assert f"40, and {needed} without a failure" in kinds["few_passes_for_limit"].text
        advice = kinds["few_passes_for_limit"].advice
        assert "Survey 19 more passes" in advice
        assert "if one of the 59 fails, 93 in all" in advice  # the 95/95 table: 59, 93, 124
        assert "_" not in kinds["few_passes_for_limit"].text
        assert kinds["few_passes_for_limit"].severity == "weak"
    else:
        assert "few_passes_for_limit" not in kinds


def test_rssi_clipped_constant_or_coarse() -> None:
    def constant(values: list[float]) -> Survey:
        return survey_of(
            [20.0], [[(f"30{p:02X}", True, [values[p % len(values)]])] for p in range(60)]
        )

    clipped = found(constant([-60, -50, -50, -50, -50, -55, -65]))["rssi_clipped"]
    assert "the strongest value, -50 dBm" in clipped.text
    assert "rssi_constant" in found(constant([-50]))
    coarse = found(constant([-50, -52, -54, -56]))
    assert "steps of 2 dB or more" in coarse["rssi_coarse"].text
    fine = found(constant([-50, -50.5, -51, -51.5]))
    assert not {"rssi_clipped", "rssi_constant", "rssi_coarse"} & set(fine)


def test_every_finding_has_advice_of_one_sentence_and_weak_ones_come_first() -> None:
    findings = diagnose(ReadPoint(site(FAR, NEAR, passes=5), Policy()), Strategy((18.0, 22.0)))
    assert len(findings) > 5
    assert all(f.advice.endswith(".") and f.advice.count(". ") == 0 for f in findings)
    severities = [f.severity for f in findings]
    assert severities == sorted(severities, reverse=True)
    assert findings[0].to_json()["severity"] == "weak"


def test_levels_that_no_pass_was_tried_at_are_no_ends_of_the_survey() -> None:
    """22 dBm is in the policy and was never tried: 21 dBm is the highest level surveyed."""
    survey = site(NEAR, FAR, passes=6)
    tried = np.tile([True, True, True, True, False], (6, 1))
    part = replace(survey.with_reads(survey.read_level < 4), tried=tried)
    kinds = found(part, strategy=Strategy((20.0, 21.0)))
    assert "21 dBm, is the highest level surveyed" in kinds["edge_high"].text
    assert "power_parts" in kinds or "power_overlaps" in kinds
    kinds = found(survey, strategy=Strategy((20.0, 21.0)))
    assert "edge_high" not in kinds
