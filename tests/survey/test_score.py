"""What scores take over of a survey whose levels were partly predicted or not tried."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strategist.survey.policy import Policy
from strategist.survey.records import Predicted, Survey
from strategist.survey.score import Peak, scored
from tests.optimise.made import survey_of

F, T = False, True


def two_antennas() -> Survey:
    """Two passes at 20, 21 and 22 dBm, heard by both antennas; in the first 20 is predicted, in
    the second 22 was not tried."""
    curves = [[-60.0, -59.0, -58.0], [-60.0, -59.0, None]]
    survey = survey_of(
        [20.0, 21.0, 22.0], [[(f"30{p:02X}", True, curve)] for p, curve in enumerate(curves)]
    )
    names = ("read_pass", "read_level", "read_tag", "read_rssi")
    twice = {name: np.repeat(getattr(survey, name), 2) for name in names}
    return replace(
        survey,
        **twice,
        read_antenna=np.resize([1, 2], len(twice["read_tag"])),
        antennas=(1, 2),
        tried=np.array([[T, T, T], [T, T, F]]),
        predicted=Predicted(np.array([[T, F, F], [F, F, F]]), 1.0, 0.5, None),
    )


def test_a_score_is_predicted_where_one_antennas_read_is_and_tried_where_all_are() -> None:
    """With the second antenna 1 dB lower a pair rests on two levels, one of them predicted."""
    for trims, levels, tried, predicted in (
        ((), [20, 21, 22], [[T, T, T], [T, T, F]], [[T, F, F], [F, F, F]]),
        (((2, -1.0),), [21, 22], [[T, T], [T, F]], [[T, F], [F, F]]),
    ):
        found = scored(two_antennas(), Policy(), Peak(trim_db=trims), None)
        assert found is not None and found.survey.predicted is not None
        assert found.survey.levels_dbm.tolist() == levels
        assert found.survey.tried.tolist() == tried
        assert found.survey.predicted.pairs.tolist() == predicted
        assert found.survey.predicted.turn_on_db == 1.0


def test_where_no_level_left_is_predicted_none_is() -> None:
    """Nor is a mark kept that says so of nothing."""
    survey = two_antennas()
    assert survey.predicted is not None
    last = replace(survey.predicted, pairs=np.array([[F, F, F], [F, F, F]]))
    found = scored(replace(survey, predicted=last), Policy(), Peak(trim_db=((2, 1.0),)), None)
    assert found is not None and found.survey.predicted is None
