"""Findings on antennas, repeats, channels and times, each told with its remedy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.survey.antennas import antenna_findings
from strategist.survey.policy import Dwell, Policy
from strategist.survey.records import Survey
from tests.optimise.made import survey_of
from tests.optimise.portals import CRIB_DOOR, FACING_WALLS, Antenna, made


def kinds(survey: Survey, policy: Policy | None = None) -> dict[str, tuple[str, str]]:
    return {kind: (text, advice) for _, kind, text, advice in antenna_findings(survey, policy or P)}


P = Policy()


def test_an_antenna_that_hears_strays_alone_is_to_be_switched_off_or_compared() -> None:
    survey = made(CRIB_DOOR, 0).survey
    found = kinds(survey)
    assert "antenna 1 has" in found["antennas"][0] and "antenna 2 has" in found["antennas"][0]
    wanted = np.isin(
        survey.read_pass * len(survey.tags) + survey.read_tag,
        (survey.roster_pass * len(survey.tags) + survey.roster_tag)[survey.roster_wanted],
    )
    assert survey.read_antenna is not None
    only = survey.with_reads(~(wanted & (survey.read_antenna == 2)))
    text, advice = kinds(only)["antenna_strays_only"]
    assert text.startswith("Antenna 2 hears strays alone") and "Switch it off" in advice


def test_an_antenna_that_adds_nothing_and_one_that_is_silent() -> None:
    survey = made(CRIB_DOOR, 0).survey
    assert survey.read_antenna is not None
    twin = survey.with_reads(survey.read_antenna == 1)
    reads = {name: np.tile(getattr(twin, name), 2) for name in ("read_pass", "read_level")}
    reads |= {
        name: np.tile(getattr(twin, name), 2) for name in ("read_tag", "read_rssi", "read_t_s")
    }
    antenna = np.repeat([1, 2], len(twin.read_tag))
    found = kinds(replace(twin, **reads, read_antenna=antenna, antennas=(1, 2, 3)))
    assert "Antenna 2 adds nothing" in found["antenna_adds_nothing"][0]
    assert "Antenna 3 has no reads" in found["antenna_silent"][0]


def test_an_antenna_that_faces_the_strays_is_named() -> None:
    portal = replace(FACING_WALLS, antennas=(Antenna(0, 0, 0), Antenna(6.0, 0.0, 180.0)))
    text, advice = kinds(made(portal, 0).survey)["antenna_faces_strays"]
    assert text.startswith("Antenna 2 hears strays") and "compare" in advice


def test_a_spread_behind_the_peak_and_channels_that_differ() -> None:
    survey = made(CRIB_DOOR, 0).survey
    count = len(survey.read_tag)
    times = {"read_pass": 4, "read_level": 4, "read_tag": 4, "read_antenna": 4, "read_t_s": 4}
    many = {name: np.tile(getattr(survey, name), n) for name, n in times.items()}
    rssi = np.concatenate([survey.read_rssi - off for off in (0, 8, 8, 8)])
    channel = np.repeat([865.7, 866.3, 866.3, 866.9], count)
    found = kinds(replace(survey, **many, read_rssi=rssi, read_channel_mhz=channel))
    assert "hides a spread" in found["peak_hides_spread"][0]
    assert "nth" in found["peak_hides_spread"][1]
    assert "865.7 MHz" in found["channels_differ"][0]
    assert "peak_hides_spread" not in kinds(survey) and "channels_differ" not in kinds(survey)


def read_at(rssi: list[list[float]], channels: list[float]) -> Survey:
    """A pass of tags, each read several times at one level, by time and hop channel."""
    survey = survey_of([20.0], [[(f"30{n:02X}", True, [-50.0]) for n in range(len(rssi))]])
    count = [len(one) for one in rssi]
    reads = {name: np.repeat(getattr(survey, name), count) for name in ("read_pass", "read_level")}
    return replace(
        survey,
        **reads,
        read_tag=np.repeat(survey.read_tag, count),
        read_rssi=np.concatenate(rssi),
        read_t_s=np.arange(sum(count)) / 100,
        read_channel_mhz=np.resize(channels, sum(count)),
    )


@pytest.mark.parametrize(
    ("db", "tags", "told"), [(6.0, 10, True), (5.9, 10, False), (6.0, 11, False)]
)
def test_a_peak_hides_a_spread_of_6_db_in_one_tag_of_ten(db: float, tags: int, told: bool) -> None:
    rssi = [[-50.0, -50.0 - db, -50.0 - db], *(tags - 1) * [[-50.0, -50.0, -50.0]]]
    found = kinds(read_at(rssi, [866.3]))
    assert ("peak_hides_spread" in found) is told
    if told:
        assert "of 10 tags with 3 reads or more" in found["peak_hides_spread"][0]
        assert "in 10% it is 6 dB or more" in found["peak_hides_spread"][0]


@pytest.mark.parametrize(
    ("db", "tags", "told"), [(3.0, 20, True), (2.9, 20, False), (3.0, 19, False)]
)
def test_channels_differ_by_3_db_in_20_reads_of_each(db: float, tags: int, told: bool) -> None:
    found = kinds(read_at(tags * [[-50.0, -50.0 - db]], [866.3, 867.5]))
    assert ("channels_differ" in found) is told
    if told:
        text = found["channels_differ"][0]
        assert "3.0 dB stronger at 866.3 MHz than at 867.5 MHz (medians, 2 channels)" in text


def test_without_times_the_dwell_is_unknown() -> None:
    survey = made(CRIB_DOOR, 0).survey
    assert "dwell_unknown" not in kinds(survey)
    untimed = replace(survey, read_t_s=None)
    policy = Policy(time=Dwell(step_s=0.1))
    text, advice = kinds(untimed, policy)["dwell_unknown"]
    assert "0.1 s" in text and "t_s" in advice
    one = replace(untimed, read_antenna=None, antennas=())
    assert "dwell_unknown" in kinds(one, policy) and not kinds(one)
    partly = np.full(survey.tried.shape, np.nan)
    partly[1:] = 0.25
    known = kinds(replace(untimed, dwell_s=partly), policy)["dwell_unknown"][0]
    assert "the survey listened up to 0.25 s to a level" in known
    listened = replace(survey, dwell_s=np.full(survey.tried.shape, 0.05))
    assert "0.05 s" in kinds(listened, policy)["dwell_beyond_survey"][0]
