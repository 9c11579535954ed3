"""From a policy to lawful levels and the distance to keep; nothing is claimed by default."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.radio.exposure import ExposureDistance, NoDistance
from strategist.radio.lawful import exposure_at, lawful_at, lawful_levels, power_limit
from strategist.radio.regions import REGIONS
from strategist.survey.json_text import parse_json
from strategist.survey.policy import POLICY, REGION_NAMES, Policy, RadiatedLimit, Radio
from tests.optimise.made import survey_of

LEVELS = np.array([26.0, 28.0, 30.0])
SURVEY = survey_of(LEVELS.tolist(), [[("30", True, [-60.0, -58.0, -56.0])]])


def test_the_regions_of_a_policy_are_those_that_are_known() -> None:
    assert set(REGION_NAMES) == set(REGIONS)


def test_no_region_is_no_claim_and_a_caution() -> None:
    for radio in (Radio(), Radio(antenna_gain_dbi=6.0), Radio(region="etsi-865-868")):
        found = lawful_at(LEVELS, radio)
        assert found.level.dbm is None and found.levels_above_dbm == ()
        assert "were not checked" in found.to_json()["caution"]
        assert found.to_json()["region"] is None
        assert lawful_levels(SURVEY, Policy(radio=radio)).all()
        assert isinstance(exposure_at(30.0, radio), NoDistance)


def test_levels_above_are_out_and_named() -> None:
    """2 W e.r.p. less 9 dBi and plus 1 dB of cable: 27.16 dBm."""
    radio = Radio(region="etsi-865-868", antenna_gain_dbi=9.0, cable_loss_db=1.0)
    found = lawful_at(LEVELS, radio)
    assert found.level.dbm == pytest.approx(27.16, abs=0.005)
    assert found.levels_above_dbm == (28.0, 30.0)
    assert lawful_levels(SURVEY, Policy(radio=radio)).tolist() == [True, False, False]
    assert "EN 302 208" in found.to_json()["clause"]
    assert "V3" in found.to_json()["edition"]


def test_where_no_level_is_lawful_the_error_says_so() -> None:
    limit = RadiatedLimit(20.0, "eirp", 902.0, 928.0, rule="a national notice")
    policy = Policy(radio=Radio(limit=limit, antenna_gain_dbi=6.0))
    with pytest.raises(InputError) as caught:
        lawful_levels(SURVEY, policy)
    (fault,) = caught.value.faults
    assert fault.column == "read_points.made.levels_dbm"
    assert fault.value == "26, 28, 30"
    assert "At most 14.00 dBm" in fault.allowed and "a national notice" in fault.allowed


def test_a_circular_antenna_may_count_its_linear_component_if_asked() -> None:
    given = {"region": "etsi-865-868", "antenna_gain_dbi": 9.0, "polarisation": "circular"}
    whole, less = (
        lawful_at(LEVELS, Radio(**given, count_linear_component=asked)).level.dbm  # type: ignore[arg-type]
        for asked in (False, True)
    )
    assert whole is not None and less == pytest.approx(whole + 3)


def test_guideline_and_ground_go_with_the_region_unless_they_are_chosen() -> None:
    fcc = Radio(region="fcc-902-928", antenna_gain_dbi=6.0)
    own = Radio(limit=RadiatedLimit(36.0, "eirp", 902.0, 928.0), antenna_gain_dbi=6.0)
    chosen = Radio(region="fcc-902-928", antenna_gain_dbi=6.0, exposure="icnirp")
    free = Radio(region="fcc-902-928", antenna_gain_dbi=6.0, ground_factor=1.0)
    found = [exposure_at(30.0, radio) for radio in (fcc, own, chosen, free)]
    grounds = []
    for one in found:
        assert isinstance(one, ExposureDistance)
        assert one.group == "public" and one.mhz == 902.0  # the strictest of the band
        grounds.append((one.guideline, one.ground_factor))
    assert grounds == [("fcc", 2.56), ("icnirp", 1.0), ("icnirp", 1.0), ("fcc", 1.0)]


def test_cable_loss_takes_from_what_people_meet() -> None:
    bare, cabled = (
        power_limit(Radio(region="etsi-915-921", antenna_gain_dbi=8.0, cable_loss_db=loss), 27.0)
        for loss in (0.0, 6.0)
    )
    assert not isinstance(bare.exposure, NoDistance)
    assert not isinstance(cabled.exposure, NoDistance)
    assert bare.exposure.distance_m == pytest.approx(cabled.exposure.distance_m * 10 ** (6 / 20))


def test_a_level_given_is_named_when_it_is_above() -> None:
    limit = power_limit(Radio(region="etsi-865-868", antenna_gain_dbi=9.0), 30.0)
    assert limit.to_json()["lawful"]["levels_above_dbm"] == [30.0]
    assert limit.level_dbm == 30.0
    unknown = power_limit(Radio(region="fcc-902-928", antenna_gain_dbi=6.0))
    assert unknown.level_dbm is None and unknown.to_json()["exposure"]["distance_m"] is None


@pytest.mark.parametrize(
    ("radio", "said"),
    [
        ({"region": "moon"}, "etsi-865-868"),
        ({"antenna_gain": 6}, 'nearest: "antenna_gain_dbi"'),
        ({"antenna_gain_dbi": 99}, "radio.antenna_gain_dbi"),
        ({"polarisation": "round"}, "circular"),
        ({"region": "etsi-865-868", "limit": {"dbm": 33, "kind": "erp"}}, "low_mhz"),
        (
            {
                "region": "etsi-865-868",
                "limit": {"dbm": 33, "kind": "erp", "low_mhz": 865, "high_mhz": 868},
            },
            "region and limit",
        ),
        ({"limit": {"dbm": 33, "kind": "erp", "low_mhz": 868, "high_mhz": 865}}, "high_mhz"),
        ({"hop_channels": 2.5}, "hop_channels"),
    ],
)
def test_a_policy_that_cannot_be_is_refused(radio: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError, match=said):
        parse_json(json.dumps({"radio": radio}).encode(), POLICY, "site.json")
