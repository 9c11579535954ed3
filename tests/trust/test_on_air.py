"""Times, lawful levels and warnings of a strategy, worked by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from strategist import Evaluation, InputError, Options, choose, evaluate_at
from strategist.optimise.strategy import Strategy
from strategist.radio.dwell import step_seconds
from strategist.radio.timing import LINK_PROFILES
from strategist.report.standing import on_air_lines
from strategist.survey.policy import AntennaRadio, Dwell, Policy, RadiatedLimit, Radio
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from tests.optimise.made import survey_of

# Two passes: in the first the wanted tag is read at 20 dBm and the ladder stops, in the second at
# 22 only, with a stray (36…) that no level reads beside it.
SURVEY = survey_of(
    [20.0, 22.0],
    [
        [("3001", True, [-60.0, -58.0])],
        [("3002", True, [None, -60.0]), ("3601", False, [None, None])],
    ],
)
LADDER = Strategy((20.0, 22.0))
OWN = RadiatedLimit(26.0, "eirp", 902.0, 928.0, rule="a national notice")
RADIO = Radio(limit=OWN, antenna_gain_dbi=6.0, cable_loss_db=1.0)  # 21 dBm is lawful


def evaluated(strategy: Strategy = LADDER, **policy: object) -> Evaluation:
    return evaluate_at(ReadPoint(SURVEY, Policy(**policy)), strategy)  # type: ignore[arg-type]


def test_nothing_is_claimed_of_what_is_not_given() -> None:
    found = evaluated().to_json()
    assert found["lawful"]["highest_dbm"] is None and found["exposure"]["distance_m"] is None
    assert found["time"] is None
    assert "were not checked" in found["lawful"]["caution"]
    assert found["warnings"] == []


def test_times_of_a_measured_step() -> None:
    """One step in the first pass, two in the second: 1.5 on average, 2 at worst."""
    time = evaluated(time=Dwell(0.4, step_s=0.2)).on_air.time
    assert time is not None
    assert time.expected_s == pytest.approx(0.3)
    assert time.worst_s == pytest.approx(0.4)
    assert time.fits and time.tags_in_field is None and time.steps_max is None


@pytest.mark.parametrize("in_turn", [False, True])
@pytest.mark.parametrize("measured", [False, True])
def test_what_a_time_rests_on_is_said(in_turn: bool, measured: bool) -> None:
    """A measured step has none of what is assumed of an estimated one; turns are said where there
    are any."""
    step = {"step_s": 0.2} if measured else {"rf_mode": "fm0-640"}
    time = evaluated(time=Dwell(**step, in_turn=in_turn)).on_air.time
    assert time is not None
    said = "\n".join(time.assumptions)
    assert len(time.assumptions) == (1 if measured else 5) + in_turn
    assert ("takes as long as given" in said) is measured
    assert ("framed ALOHA" in said) is not measured
    assert ("has a turn in every step" in said) is in_turn
    known = (time.quantile, time.tags_in_field, time.failed_read_rate)
    assert all((one is None) is measured for one in known)


def test_times_of_estimated_steps() -> None:
    """At worst two tags answer in both steps; expected: one in the first pass, two in the other.
    The mask leaves one in both, and adds its Select to each step."""
    profile = LINK_PROFILES["miller4-256"]
    one, two = (step_seconds(tags, [], profile) for tags in (1, 2))
    time = evaluated(time=Dwell(rf_mode="miller4-256")).on_air.time
    assert time is not None and time.tags_in_field == 2 and time.fits is None
    assert time.worst_s == pytest.approx(2 * two.worst_s)
    assert time.expected_s == pytest.approx((one.expected_s + 2 * two.expected_s) / 2)
    masked = Strategy((20.0, 22.0), masks=(Mask("epc", 32, 8, "30"),))
    time = evaluated(masked, time=Dwell(rf_mode="miller4-256")).on_air.time
    select = step_seconds(1, [(32, 8)], profile).select_s
    assert time is not None
    assert time.expected_s == pytest.approx(1.5 * (one.expected_s + select))
    assert time.worst_s == pytest.approx(2 * (two.worst_s + select))
    many = evaluated(time=Dwell(rf_mode="miller4-256", tags_in_field=50)).on_air.time
    fifty = step_seconds(50, [], profile)
    assert many is not None and many.tags_in_field == 50
    assert many.expected_s == pytest.approx(1.5 * fifty.expected_s)


def test_whether_a_ladder_fits_rests_on_the_reads_that_fail() -> None:
    """Twelve tags, of which some come and go: the ladder fits if no read fails, and not as they
    do; a failure rate of the planner's own stands above what the survey tells."""
    curves = [[-60.0, None, -60.0] if t % 2 else [-60.0] * 3 for t in range(12)]
    made = survey_of(
        [20.0, 21.0, 22.0], [[(f"30{t:02}", True, curve) for t, curve in enumerate(curves)]]
    )
    ideal = step_seconds(12, [], LINK_PROFILES["fm0-640"]).worst_s
    failing = step_seconds(12, [], LINK_PROFILES["fm0-640"], failed_reads=0.25).worst_s
    for rate, worst_s, fits in ((None, failing, False), (0.0, ideal, True)):
        policy = Policy(time=Dwell(ideal * 1.01, rf_mode="fm0-640", failed_read_rate=rate))
        found = evaluate_at(ReadPoint(made, policy), Strategy((22.0,), stop_after=99))
        time = found.on_air.time
        assert time is not None and time.fits is fits
        assert time.worst_s == pytest.approx(worst_s)
        document = found.to_json()["time"]
        assert (document["quantile"], document["failed_read_rate"]) == (
            0.99,
            rate or 0.25 * (rate is None),
        )
        text = " ".join(" ".join(on_air_lines(found.on_air)).split())
        assert "99 % of steps take" in text and "of reads fail)" in text


def test_a_given_ladder_that_does_not_fit_is_warned_of() -> None:
    found = evaluated(time=Dwell(0.39, step_s=0.2))
    (warning,) = found.warnings
    assert "may take 0.4 s and a pass lasts 0.39 s" in warning
    assert found.to_json()["time"]["fits"] is False
    assert evaluated(Strategy((22.0,)), time=Dwell(0.39, step_s=0.2)).warnings == ()


def test_a_given_level_that_is_not_lawful_is_warned_of() -> None:
    found = evaluated(radio=RADIO)
    (warning,) = found.warnings
    assert warning.startswith("UNLAWFUL as far as is known here: 22 dBm. At most 21.00 dBm")
    assert "a national notice" in warning
    assert evaluated(Strategy((20.0,)), radio=RADIO).warnings == ()


def test_exposure_is_that_of_the_top_level() -> None:
    """ICNIRP f/200 at 902 MHz: 4.51 W/m². 22 dBm + 6 dBi − 1 dB = 27 dBm e.i.r.p.: 0.501 W, and
    sqrt(0.501 / (4 pi 4.51)) = 0.0940 m."""
    exposure = evaluated(radio=RADIO).to_json()["exposure"]
    assert exposure["distance_m"] == pytest.approx(0.0940, abs=5e-5)
    assert exposure["eirp_dbm"] == pytest.approx(27)
    assert len(exposure["assumptions"]) >= 4 and "qualified person" in exposure["caution"]


def test_the_search_keeps_to_lawful_levels_and_names_the_others() -> None:
    """22 dBm is out, so the second pass is missed."""
    result = choose(ReadPoint(SURVEY, Policy(radio=RADIO)), Options(unseen=False))
    assert (result.strategy.levels_dbm, result.outcome.missed) == ((20.0,), 1)
    assert result.searched["levels"] == 1
    found = result.to_json()
    assert found["lawful"]["levels_above_dbm"] == [22.0]
    assert found["lawful"]["clause"] == "a national notice"
    free = choose(ReadPoint(SURVEY, Policy()), Options(unseen=False))
    assert (free.strategy.levels_dbm, free.outcome.missed) == ((22.0,), 0)


def test_without_power_the_highest_lawful_level_is_the_top() -> None:
    for allow in ((), ("ladder",)):
        policy = Policy(radio=RADIO, allow=allow)  # type: ignore[arg-type]
        result = choose(ReadPoint(SURVEY, policy), Options(unseen=False))
        assert result.strategy.levels_dbm == (20.0,)


def test_where_nothing_is_lawful_or_fits_the_error_says_so() -> None:
    low = replace(RADIO, limit=replace(OWN, dbm=20.0))
    with pytest.raises(InputError, match=r"levels_dbm.*At most 15"):
        choose(ReadPoint(SURVEY, Policy(radio=low)))
    with pytest.raises(InputError, match=r"dwell_s.*takes up to 0\.2 s"):
        choose(ReadPoint(SURVEY, Policy(time=Dwell(0.1, step_s=0.2))))


def test_a_longer_dwell_never_worsens() -> None:
    """A stray that only the ladder avoids: with one step it costs, with two it does not."""
    survey = survey_of(
        [20.0, 22.0],
        [
            [("3001", True, [-60.0, -58.0]), ("3002", False, [None, -40.0])],
            [("3003", True, [None, -60.0])],
        ],
    )
    losses = []
    for dwell_s in (0.1, 0.2, 0.3):
        policy = Policy(allow=("power", "ladder"), time=Dwell(dwell_s, step_s=0.1))
        result = choose(ReadPoint(survey, policy))
        assert result.on_air.time is not None and result.on_air.time.fits
        losses.append(result.loss)
    assert losses == [1.0, 0.0, 0.0]


def test_the_distance_is_that_of_the_antenna_of_which_one_can_be_named() -> None:
    """Less than a metre, beside an antenna whose gain nobody gave."""
    radio = Radio(region="etsi-865-868")
    antennas = ((1, AntennaRadio()), (2, AntennaRadio(antenna_gain_dbi=6.0)))
    found = evaluated(radio=radio, antennas=antennas).on_air.exposure.distance_m
    alone = evaluated(radio=replace(radio, antenna_gain_dbi=6.0)).on_air.exposure.distance_m
    assert found == alone and alone is not None and 0 < alone < 1
