"""Each level of a strategy is marked before it is set: lawful or not, surveyed or not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist import PowerTable, Strategy, settings_of, settings_text
from strategist.survey.policy import Policy, RadiatedLimit, Radio
from strategist.survey.records import ReadPoint
from strategist.trust.steps import steps_of
from tests.optimise.made import survey_of

# 22 dBm was tried in no pass, 23 in all; 26 dBm e.i.r.p. less 6 dBi and plus 1 dB of cable is
# 21 dBm conducted.
SURVEY = survey_of([20.0, 21.0, 22.0, 23.0], [[("3001", True, [-60.0, -59.0, None, -57.0])]] * 2)
RADIO = Radio(
    limit=RadiatedLimit(26.0, "eirp", 902.0, 928.0, rule="a national notice"),
    antenna_gain_dbi=6.0,
    cable_loss_db=1.0,
)
LADDER = Strategy((20.0, 22.0, 23.0, 24.0))


def point(radio: Radio | None = None, *, predict: bool = False) -> ReadPoint:
    tried = np.ones_like(SURVEY.tried)
    tried[:, 2] = False
    policy = Policy(radio=radio or Radio(), predict_levels=predict)
    return ReadPoint(replace(SURVEY, tried=tried), policy)


def test_each_step_is_marked() -> None:
    found = steps_of(point(RADIO, predict=True), LADDER.levels_dbm)
    marks = [(step.power_dbm, step.lawful, step.known) for step in found.levels]
    assert marks == [
        (20.0, True, "surveyed"),
        (22.0, False, "predicted"),
        (23.0, False, "surveyed"),
        (24.0, False, "not_surveyed"),
    ]
    law, survey, nothing = found.warnings
    assert law.startswith("UNLAWFUL as far as is known here: 22, 23, 24 dBm. At most 21.00 dBm")
    assert survey.startswith("the step 22 dBm was predicted, not surveyed: survey it here before")
    assert nothing.startswith("24 dBm was not surveyed here")


def test_a_level_between_is_not_predicted_unless_the_policy_says_so() -> None:
    found = steps_of(point(), [22.0])
    assert [(step.lawful, step.known) for step in found.levels] == [(None, "not_surveyed")]
    assert len(found.warnings) == 1


def test_nothing_is_claimed_without_a_rule_and_nothing_warned_of_without_cause() -> None:
    found = steps_of(point(), [20.0, 23.0])
    assert [step.lawful for step in found.levels] == [None, None]
    assert found.warnings == ()
    assert "Levels were not checked" in found.to_json()["lawful"]["caution"]
    assert steps_of(point(RADIO), [20.0, 21.0]).warnings == ()


@pytest.mark.parametrize("form", ["gen2", "llrp"])
def test_settings_carry_the_marks_in_both_standards(form: str) -> None:
    """On top of the text, before the first line that could be copied into a reader."""
    table = PowerTable(tuple((n, 20.0 + n) for n in range(5))) if form == "llrp" else None
    place = point(RADIO, predict=True)
    settings = settings_of(place, LADDER, form, table)  # type: ignore[arg-type]
    document = settings.to_json()
    steps = steps_of(place, LADDER.levels_dbm).to_json()
    told = steps.pop("warnings")
    assert {key: document[key] for key in steps} == steps
    assert document["warnings"][-len(told) :] == told  # behind what replaying them says
    lines = settings_text(settings).splitlines()
    assert lines[1] == "Before anything is set" and max(map(len, lines)) <= 80
    assert "  22 dBm: UNLAWFUL, PREDICTED" in lines
    assert "  20 dBm: lawful, surveyed" in lines
    one = Strategy((20.0,))
    fine = settings_of(place, one, form, table)  # type: ignore[arg-type]
    assert fine.warnings == () and settings_text(fine).splitlines()[1] == "Levels"
