"""What if: the second answer is that of the changed read point, and the cable shifts both ways."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.choose import choose
from strategist.decide import Options
from strategist.errors import InputError
from strategist.survey.policy import Guard, Loss, Policy
from strategist.survey.records import ReadPoint
from strategist.tradeoffs.what_if import usual_what_ifs, what_if
from tests.optimise.made import random_read_point, survey_of

QUICK = Options(unseen=False)

# Wanted from 21 dBm on; the stray from 23 on and weaker. Read at 21: −58; at 22: −57; …
POINT = ReadPoint(
    survey_of(
        [20.0, 21.0, 22.0, 23.0, 24.0],
        [
            [
                ("AB01", True, [None, -58.0, -57.0, -56.0, -55.0]),
                ("AB02", False, [None, None, None, -66.0, -65.0]),
            ]
        ],
    ),
    Policy(allow=("power", "cutoff"), loss=Loss(5, 1), guard=Guard(0.0, 0.0)),
)


def test_less_cable_lowers_the_setting_and_raises_rssi() -> None:
    found = what_if(POINT, {}, cable_db=-1.0, options=QUICK)
    assert found.before.strategy.levels_dbm == (21.0,)
    assert found.after.strategy.levels_dbm == (20.0,)
    assert [one.key for one in found.settings] == ["levels_dbm"]
    assert found.after.loss == found.before.loss == 0
    assert len(found.assumptions) == 3
    assert found.after.searched["levels"] == 4  # settings 20 to 23; 19 is none of the reader's


def test_more_cable_with_a_cutoff() -> None:
    """At the highest level the stray is rejected by a cutoff in (−65, −55]; 2 dB weaker behind."""
    point = replace(POINT, policy=replace(POINT.policy, allow=("cutoff",)))
    found = what_if(point, {}, cable_db=2.0, options=QUICK)
    assert found.before.strategy.cutoff_dbm == -60.0
    assert found.after.strategy.cutoff_dbm is None  # the setting 24 radiates what 22 did
    assert found.after.strategy.levels_dbm == (24.0,)
    less = what_if(point, {}, cable_db=-1.0, options=QUICK)
    assert less.after.strategy.levels_dbm == (23.0,)  # radiates what 24 did
    assert less.after.strategy.cutoff_dbm == -59.0


@pytest.mark.parametrize("cable_db", [0.5, 7.0, -61.0])
def test_a_cable_that_fits_no_setting_is_refused(cable_db: float) -> None:
    with pytest.raises(InputError, match="cable"):
        what_if(POINT, {}, cable_db=cable_db, options=QUICK)


@pytest.mark.parametrize(
    ("key", "new"),
    [("loss.missed", 20), ("reader.mask_slots", 0), ("reader.mask_step_bits", 1), ("allow", [])],
)
def test_any_key_of_the_policy(key: str, new: object) -> None:
    point = random_read_point(8, 1)
    found = what_if(point, {key: new}, options=QUICK)
    part, _, last = key.partition(".")
    inner = getattr(point.policy, part)
    changed = replace(inner, **{last: new}) if last else tuple(new)  # type: ignore[arg-type]
    expected = choose(replace(point, policy=replace(point.policy, **{part: changed})), QUICK)
    assert (found.after.strategy, found.after.loss) == (expected.strategy, expected.loss)
    weights, outcome = point.policy.loss, expected.outcome
    assert found.loss_after == weights.missed * outcome.missed + weights.stray * outcome.stray


def test_fewer_levels() -> None:
    found = what_if(POINT, {"levels_dbm": [22, 24]}, options=QUICK)
    assert found.after.strategy.levels_dbm == (22.0,)
    with pytest.raises(InputError, match=r"19\.5"):
        what_if(POINT, {"levels_dbm": [19.5, 22]}, options=QUICK)


@pytest.mark.parametrize(
    ("sets", "said"),
    [
        ({"loss.mised": 2}, 'nearest: "missed"'),
        ({"missed": 2}, 'nearest: "loss.missed"'),
        ({"loss.missed": -1}, "greater than"),
        ({"loss": 3}, "object"),
        ({"loss.missed.most": 3}, "holds a value"),
        ({"unlisted": "ignore"}, "site.json"),
        ({"loss.missed": 5.0}, "no key differs"),
        ({}, "no key differs"),
    ],
)
def test_what_is_no_change_is_refused(sets: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        what_if(POINT, sets, options=QUICK)


def test_the_usual_questions() -> None:
    found = usual_what_ifs(POINT, QUICK)
    questions = {one.question: one for one in found.asked}
    assert list(questions)[-2:] == ["2 dB less cable loss", "2 dB more cable loss"]
    for one in found.asked:
        assert one.answer is not None
        assert one.answer.before is found.before
    document = found.to_json()["questions"][0]["answer"]
    assert "before" not in document and document["loss"]["before"] == found.before.loss
    sparse = replace(POINT, survey=POINT.survey.keep(levels=np.arange(5) == 3))
    asked = {one.question: one for one in usual_what_ifs(sparse, QUICK).asked}
    assert asked["2 dB less cable loss"].answer is None
    assert "surveyed level" in (asked["2 dB less cable loss"].refused or "")
