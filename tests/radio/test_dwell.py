"""How many steps fit, worked by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any, get_args

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.radio.dwell import failed_reads, field_of, fits, step_time, steps_by_masks
from strategist.radio.timing import LINK_PROFILES
from strategist.survey.json_text import parse_json
from strategist.survey.policy import POLICY, Dwell, RfModeName
from strategist.survey.records import Predicted, Survey
from tests.optimise.made import survey_of


def survey(*present: int) -> Survey:
    """A pass with so many tags, and another."""
    passes = [
        [(f"{p:02X}{tag:04X}", True, [-60.0]) for tag in range(n)] for p, n in enumerate(present)
    ]
    return survey_of([20.0], passes)  # type: ignore[arg-type]


def test_the_links_of_a_policy_are_those_that_are_known() -> None:
    assert set(get_args(RfModeName)) == set(LINK_PROFILES)
    for name, profile in LINK_PROFILES.items():  # modulation and link frequency
        miller = int(name[6]) if name.startswith("miller") else 1
        assert profile.miller == miller
        assert profile.blf_khz == pytest.approx(float(name.split("-")[1]), rel=2e-3)


def test_without_a_dwell_nothing_is_limited() -> None:
    assert steps_by_masks(survey(3), Dwell(), [(32, 8)], 2, 5) == (5, 5, 5)
    assert steps_by_masks(survey(3), Dwell(step_s=9.0), (), 0, 5) == (5,)


def test_a_measured_step_counts_as_it_is() -> None:
    """0.1 s goes three times into 0.3 s, whatever floating point thinks; masks change nothing."""
    assert steps_by_masks(survey(3), Dwell(0.3, 0.1), [(32, 8)], 2, 5) == (3, 3, 3)
    assert steps_by_masks(survey(3), Dwell(0.29, 0.1), [(32, 8)], 1, 5) == (2, 2)
    assert fits(3, 0.1, 0.3) and not fits(3, 0.1, 0.29999)


def test_turns_of_antennas_share_the_dwell() -> None:
    """Seven turns of 0.1 s are three steps of two antennas, or two of three."""
    time = Dwell(0.7, 0.1, in_turn=True)
    for turns, steps in ((1, 5), (2, 3), (3, 2), (7, 1)):
        assert steps_by_masks(survey(3), time, [(32, 8)], 1, 5, turns=turns) == (steps, steps)
    with pytest.raises(InputError, match=r"up to 0.8 s \(as given, 8 antennas in turn\)"):
        steps_by_masks(survey(3), time, (), 0, 5, turns=8)


def test_each_mask_takes_its_select_from_the_dwell() -> None:
    """One tag, no luck in it: Query and a read slot. The longest candidate counts for each mask,
    and longest is what takes the most air time: a pointer of two bytes is 8 bits more."""
    profile = LINK_PROFILES["fm0-640"]
    step = (profile.query_us + profile.read_slot_us) / 1e6
    select = (profile.select_us(14, 200) + 2 * profile.rtcal_us) / 1e6
    fields = [(32, 16), (200, 14)]
    assert profile.select_us(14, 200) > profile.select_us(16, 32)
    for number in (1, 2, 3):
        dwell_s = number * (step + 2 * select) * 1.0001
        by_hand = tuple(int(dwell_s / (step + masks * select)) for masks in range(3))
        assert steps_by_masks(survey(1), Dwell(dwell_s, rf_mode="fm0-640"), fields, 2, 9) == by_hand
        assert by_hand[2] == number
    short = Dwell((step + select) * 1.0001, rf_mode="fm0-640")
    assert steps_by_masks(survey(1), short, fields, 2, 9)[1:] == (1,)  # two masks leave no step


def test_the_field_is_the_fullest_pass_unless_given() -> None:
    assert field_of(survey(2, 7, 3), Dwell()) == 7
    assert field_of(survey(2, 7), Dwell(rf_mode="fm0-640", tags_in_field=40)) == 40


def test_more_tags_than_can_be_simulated_ask_for_a_measured_step() -> None:
    many = survey(2001)
    with pytest.raises(InputError, match="Measure the step"):
        field_of(many, Dwell(rf_mode="fm0-640"))
    assert steps_by_masks(many, Dwell(1.0, 0.4), (), 0, 5) == (2,)


def test_where_nothing_fits_the_error_says_how_long_a_step_takes() -> None:
    with pytest.raises(InputError) as caught:
        steps_by_masks(survey(1), Dwell(0.05, 0.1), (), 0, 5)
    (fault,) = caught.value.faults
    assert (fault.column, fault.value) == ("read_points.made.time.dwell_s", "0.05")
    assert "takes up to 0.1 s" in fault.wrong


def test_overhead_and_tags_lengthen_a_step() -> None:
    times = [
        step_time(Dwell(rf_mode="miller4-256", overhead_s=overhead), tags, ())
        for overhead, tags in ((0.0, 5), (0.0, 20), (0.5, 20))
    ]
    worst = [one.worst_s for one in times if one is not None]
    assert worst == sorted(worst) and worst[2] == pytest.approx(worst[1] + 0.5)
    assert step_time(Dwell(), 5, ()) is None


def test_reads_fail_as_tags_come_and_go_above_their_turn_on() -> None:
    """The first tag turns on at 20 dBm and is not read at one of the two levels above, the second
    is silent below its turn-on and read above it: 1 of 3. The third is never read, the fourth at
    the last level only; rounded up to whole per cent."""
    x = -60.0
    curves = [[x, None, x], [None, x, x], [None, None, None], [None, None, x]]
    made = survey_of([20.0, 21.0, 22.0], [[(f"3{i}", True, c) for i, c in enumerate(curves)]])  # type: ignore[misc]
    link = Dwell(rf_mode="fm0-640")
    assert failed_reads(made, link) == 0.34
    assert failed_reads(made, Dwell(step_s=0.1)) == 0.0
    assert failed_reads(made, Dwell(rf_mode="fm0-640", failed_read_rate=0.12)) == 0.12
    assert failed_reads(survey(3), link) == 0.0  # one level: nothing lies above a turn-on


def test_pairs_that_were_not_tried_or_were_predicted_tell_nothing_of_failed_reads() -> None:
    x = -60.0
    made = survey_of([20.0, 21.0, 22.0], [[("30", True, [x, None, x])]])
    gap = np.array([[False, True, False]])
    assert failed_reads(made, Dwell(rf_mode="fm0-640")) == 0.5
    assert failed_reads(replace(made, tried=~gap), Dwell(rf_mode="fm0-640")) == 0.0
    foreseen = replace(made, predicted=Predicted(gap, 1.0, 1.0, None))
    assert failed_reads(foreseen, Dwell(rf_mode="fm0-640")) == 0.0


def test_failed_reads_leave_fewer_steps_to_the_dwell() -> None:
    """Twelve tags, every one read at 20 and 22 dBm: not so at 21 in half of them."""
    steady = [(f"30{t:02}", True, [-60.0] * 3) for t in range(12)]
    coming = [
        (epc, role, [-60.0, None, -60.0] if t % 2 else curve)
        for t, (epc, role, curve) in enumerate(steady)
    ]
    whole, holes = (survey_of([20.0, 21.0, 22.0], [tags]) for tags in (steady, coming))  # type: ignore[arg-type, list-item]
    step = step_time(Dwell(rf_mode="fm0-640"), 12, ())
    assert step is not None
    time = Dwell(4 * step.worst_s, rf_mode="fm0-640")
    assert steps_by_masks(whole, time, (), 0, 5) == (4,)
    assert steps_by_masks(holes, time, (), 0, 5) < (4,)


@pytest.mark.parametrize(
    ("time", "said"),
    [
        ({"dwell_s": 1}, "Give step_s"),
        ({"step_s": 0.1, "rf_mode": "fm0-640"}, "exclude each other"),
        ({"tags_in_field": 5}, "rf_mode, which is missing"),
        ({"step_s": 0.1, "failed_read_rate": 0.1}, "rf_mode, which is missing"),
        ({"overhead_s": 0.01, "step_s": 0.1}, "rf_mode, which is missing"),
        ({"dwell_s": 0, "step_s": 1}, "0 is too small. Give a number above 0"),
        ({"rf_mode": "fast"}, "fm0-640"),
        ({"dwel_s": 1}, 'nearest: "dwell_s"'),
    ],
)
def test_a_policy_that_cannot_be_is_refused(time: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError, match=said):
        parse_json(json.dumps({"time": time}).encode(), POLICY, "site.json")
