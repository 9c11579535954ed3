"""Radio: links of tags, levels not surveyed, surveys that may be, times, rules, findings."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.radio.complete import complete, within_reach
from strategist.radio.dwell import (
    _simulated_us,
    failed_reads,
    field_of,
    fits,
    nearest_q,
    step_seconds,
    step_time,
    steps_by_masks,
    turns_by_masks,
)
from strategist.radio.exposure import exposure_distance, reference_field_v_m, reference_w_m2
from strategist.radio.findings import power_slopes, radio_findings
from strategist.radio.lawful import (
    choosable_levels,
    exposure_at,
    lawful_at,
    lawful_levels,
    mildest_radio,
    power_limit,
    strictest_radio,
)
from strategist.radio.link import free_space_loss_db, tag_range_m, turn_on_dbm, w_to_dbm
from strategist.radio.possible import Possible, possible_surveys
from strategist.radio.regions import REGIONS, custom_region, highest_conducted_dbm
from strategist.radio.tag_link import (
    beside,
    climb_of,
    compression_of,
    fill,
    law_of,
    likeliest_law,
    rssi_of,
    starts_of,
    turn_on_law,
)
from strategist.radio.timing import LINK_PROFILES, LinkProfile, t4_us
from strategist.survey.policy import (
    AntennaRadio,
    Dwell,
    Policy,
    RadiatedLimit,
    Radio,
    Reader,
)
from strategist.survey.profile import peaks, turn_on
from strategist.survey.records import ReadPoint, Survey
from tests.optimise.made import survey_of
from tests.recorded.made import small_survey, without

Recorded = Callable[..., None]

SURVEYS: dict[str, Survey] = {
    "whole": small_survey(1, passes=6),
    "gaps": without(small_survey(2, passes=10), 2),
    "many gaps": without(small_survey(3, passes=14, tags=12), 3, 0.6),
    "fine": without(small_survey(4, passes=6, step_db=0.05), 4),
    "coarse": without(small_survey(5, passes=6, step_db=3.0), 5),
    "antennas": without(small_survey(6, passes=6, antennas=3), 6),
    "no type": without(small_survey(7, passes=9, types=(None,)), 7),
    "few": without(small_survey(8, passes=2, tags=5), 8),
    "steady": without(small_survey(9, passes=9, lost=0.0), 9),
    "two levels": without(small_survey(10, passes=7, levels=(14, 20)), 10),
    "one level": small_survey(11, passes=5, levels=(17,)),
    "dense": without(small_survey(12, passes=8, levels=tuple(range(10, 22)), lost=0.03), 12),
}


def rows(found: np.ndarray[Any, Any]) -> list[list[Any]]:
    return [[round(float(x), 6) for x in row] for row in found]


def kinds_of(survey: Survey) -> Any:
    types = np.unique([tag.tag_type or "" for tag in survey.tags], return_inverse=True)[1]
    return types.reshape(-1)[survey.roster_tag].astype(np.int64)


def faults_of(error: InputError) -> list[Any]:
    return [[f.source, f.line, f.column, f.value, f.allowed, f.wrong] for f in error.faults]


def told_or_refused(ask: Callable[[], Any]) -> Any:
    try:
        return ask()
    except InputError as error:
        return faults_of(error)


@pytest.mark.parametrize(
    "name", ["gaps", "many gaps", "coarse", "antennas", "no type", "few", "one level", "dense"]
)
def test_links_of_tags(recorded: Recorded, name: str) -> None:
    survey = SURVEYS[name]
    levels, heard, kind = survey.levels_dbm, peaks(survey), kinds_of(survey)
    law = law_of(levels, heard, kind)
    starts = starts_of(levels, heard, kind, law)
    filled = fill(levels, heard, kind, ~survey.tried[survey.roster_pass])
    entry, level = np.nonzero(np.isnan(heard))
    over = levels[None, :] - starts[:, None]
    below, above = beside(heard)
    recorded(
        {
            "law": law,
            "likeliest": likeliest_law(levels, heard, kind),
            "starts": np.round(starts, 5),
            "compression": compression_of(over, heard),
            "below": below.sum(axis=0),
            "above": above.sum(axis=0),
            "rssi": np.round(rssi_of(levels, heard, starts, entry, level), 5)[:20],
            "filled": np.round(filled.peaks[entry, level], 4)[:30],
            "read": np.isfinite(filled.peaks).sum(axis=1),
            "turn_on_db": filled.turn_on_db,
        }
    )


def test_laws_of_turn_on(recorded: Recorded) -> None:
    """Types of one, four and five turn-ons, and turn-ons that a law gives no chance."""
    kind = np.array([0] * 4 + [1] * 5 + [2] * 5 + [3])
    unread = np.array([10, 12, 14, 10, 10, 12, 14, 16, 10, 12, 14, 10, 12, 16, 18], float)
    level = unread + np.array([2, 2, 1, 4, 2, 2, 1, 2, 4, 2, 1, 2, 2, 1, 4], float)
    rssi = -40 - level + np.sin(np.arange(15.0)) * 3
    law = turn_on_law(kind, unread, level, rssi, 5)
    shares = [law.turn_on_at(kind, unread, level, rssi, share) for share in (0.1, 0.5, 0.9)]
    far = law.turn_on(kind, unread + 20, level + 20, rssi)
    none = law.turn_on(kind, np.full(15, -np.inf), level, rssi)
    recorded(
        {
            "law": law,
            "shares": shares,
            "far": far,
            "open": none,
            "chance": law.chance_between(kind, unread, level, level, rssi),
            "beneath": law.chance_between(kind, np.full(15, -np.inf), unread, level, rssi),
            "climb": [climb_of(np.array([-3.0, 0, 1, 8, 30]), c) for c in (2.0, 16.0)],
        }
    )


def test_levels_within_reach(recorded: Recorded) -> None:
    levels = np.array([10.0, 10.5, 11, 12, 13, 14, 16, 16.5, 18, 21, 24, 25])
    tried = np.array(
        [[c == "1" for c in row] for row in ("100101001001", "010010000100", "000001000000")]
        + [[True] * 12, [False] * 12]
    )
    recorded([[int(x) for x in row] for row in within_reach(levels, tried)])


@pytest.mark.parametrize(
    "name", ["gaps", "many gaps", "antennas", "few", "dense", "fine", "coarse"]
)
def test_without_gaps(recorded: Recorded, name: str) -> None:
    told: dict[str, Any] = {}
    for predict in (False, True) if name == "gaps" else (True,):
        for untried in ("refuse", "leave_out_level", "leave_out_pass"):
            policy = Policy(untried=untried, predict_levels=predict)
            found = told_or_refused(
                lambda policy=policy: complete(ReadPoint(SURVEYS[name], policy))
            )
            if isinstance(found, ReadPoint):
                survey = found.survey
                found = {
                    "warnings": list(found.warnings),
                    "levels": survey.levels_dbm,
                    "passes": len(survey.pass_ids),
                    "reads": len(survey.read_rssi),
                    "rssi": survey.read_rssi[:: max(1, len(survey.read_rssi) // 20)],
                    "pairs": None if survey.predicted is None else survey.predicted.pairs.sum(),
                    "error": None
                    if survey.predicted is None
                    else [
                        survey.predicted.turn_on_db,
                        survey.predicted.rssi_db,
                        survey.predicted.right,
                    ],
                    "antennas": [int((survey.read_antenna == a).sum()) for a in survey.antennas]
                    if survey.read_antenna is not None
                    else None,
                    "times": int(np.isnan(survey.read_t_s).sum())
                    if survey.read_t_s is not None
                    else None,
                }
            told[f"{untried} {predict}"] = found
    recorded(told)


def test_how_many_cells_tell_an_error(recorded: Recorded) -> None:
    """Nineteen to twenty-one hidden cells, and a single pair that was not surveyed."""
    told = {}
    for count in (19, 20, 21):
        curve = [-60.0, -59.5, -58.5]
        whole = [(f"{n:04X}", True, curve) for n in range(count)]
        survey = survey_of([10.0, 11.0, 12.0], [whole, [("0000", True, [-60.0, None, -58.0])]])
        survey = replace(survey, tried=np.array([[True] * 3, [True, False, True]]))
        found = complete(ReadPoint(survey, Policy(predict_levels=True))).survey.predicted
        assert found is not None
        told[f"{count}"] = [found.turn_on_db, found.rssi_db, found.right]
        refused = told_or_refused(lambda one=survey: complete(ReadPoint(one, Policy())))
    recorded({**told, "one pair": refused})


def test_predicted_levels_with_counts_and_channels(recorded: Recorded) -> None:
    survey = SURVEYS["gaps"]
    more = np.arange(len(survey.read_rssi))
    survey = replace(survey, read_count=more % 4 + 1, read_channel_mhz=865.7 + more % 4 * 0.6)
    found = complete(ReadPoint(survey, Policy(untried="leave_out_level", predict_levels=True)))
    recorded(
        {
            "counts": found.survey.read_count,
            "unknown": np.isnan(found.survey.read_channel_mhz).sum(),
            "warnings": list(found.warnings),
        }
    )


@pytest.mark.parametrize(
    "name", ["gaps", "many gaps", "fine", "antennas", "no type", "few", "two levels", "dense"]
)
def test_surveys_that_may_be(recorded: Recorded, name: str) -> None:
    survey = SURVEYS[name]
    links = Possible(survey, (3,))._links
    drawn = possible_surveys(survey, 2, (3,))
    asked = np.isnan(peaks(survey))
    recorded(
        {
            "fails": links.fails,
            "gone": links.gone,
            "off_db": links.off_db,
            "step_db": links.step_db,
            "slipped": links.slipped.sum(),
            "rssi": np.round(links.rssi[:20], 4),
            "drawn": [np.round(peaks(one)[asked], 4)[:20] for one in drawn],
            "sure": np.round(Possible(survey, (3,)).heard(1)[asked], 4)[:20],
            "reads": [len(one.read_rssi) for one in drawn],
            "sure reads": len(Possible(survey, (3,)).sure(0).read_rssi),
        }
    )


def test_tags_that_fall_silent_and_reads_that_fail(recorded: Recorded) -> None:
    """Half of the tags are gone at the highest level; none is tried between; in another survey a
    third of the reads fail, and many tags are never read."""
    curves = [[-60.0, None, None, None], [-61.0, None, None, -55.0]]
    passes = [[(f"30{n:02X}", True, curves[n % 2]) for n in range(24)] for _ in range(2)]
    falling = survey_of([10.0, 12.0, 14.0, 16.0], passes)
    falling = replace(falling, tried=np.tile([True, False, False, True], (2, 1)))
    failing = small_survey(13, passes=16, tags=14, lost=0.35, types=("soft",))
    failing = without(failing, 13, 0.4)
    late = [[None, None, -60.0]] * 12 + [[None] * 3] * 60 + [[-60.0, None, -55.0]] * 60
    passes = [[(f"{n:04X}", True, curve) for n, curve in enumerate(late)]]
    donors = survey_of([10.0, 11.0, 12.0, 13.0], passes)
    donors = replace(donors, tried=np.array([[True, True, True, False]]))
    told: dict[str, Any] = {}
    for name, survey in {"falling": falling, "failing": failing, "donors": donors}.items():
        possible, asked = Possible(survey, (5,)), np.isnan(peaks(survey))
        sure = possible.heard(0)[asked]
        told[name] = {
            "gone": possible._links.gone,
            "fails": possible._links.fails,
            "read": np.isfinite(sure).sum(),
            "where": "".join(str(int(x)) for x in np.isfinite(sure)),
            "rssi": np.round(sure[np.isfinite(sure)].sum(), 3),
            "by chance": np.round(possible.survey(1).read_rssi.sum(), 3),
        }
    recorded(told)


@pytest.mark.parametrize("profile", LINK_PROFILES)
def test_times_of_the_air_interface(recorded: Recorded, profile: str) -> None:
    link = LINK_PROFILES[profile]
    others = [
        link,
        replace(link, long_preamble=True, session=3),
        replace(link, divide_ratio="8", session=0, t2_tpri=5.0, t3_rtcal=0.5, epc_bits=496),
        LinkProfile(6.25, 2.0, 20.0, miller=link.miller),
    ]
    names = ("rtcal_us", "blf_khz", "t1_us", "t2_us", "query_us", "query_rep_us")
    slots = ("empty_slot_us", "collided_slot_us", "read_slot_us")
    recorded(
        [
            {
                **{name: getattr(one, name) for name in (*names, *slots)},
                "select": [
                    one.select_us(length, pointer)
                    for length, pointer in ((0, 0), (8, 1), (8, 127), (8, 128), (96, 16384))
                ],
                "t4": t4_us(one.rtcal_us),
                "reply": [one.reply_us(bits) for bits in (0, 16)],
                "command": [one.command_us(20), one.command_us(20, 3), one.command_us(20, 0)],
            }
            for one in others
        ]
    )


def test_times_of_a_step(recorded: Recorded) -> None:
    told: dict[str, Any] = {"q": [nearest_q(n) for n in (0, 1, 2, 3, 5, 6, 90, 91, 2000, 99999)]}
    link = LINK_PROFILES["miller4-256"]
    for tags, masks, more in (
        (0, (), {}),
        (1, (), {}),
        (7, ((32, 8),), {"overhead_s": 0.02}),
        (30, ((32, 96), (200, 40)), {"failed_reads": 0.1}),
        (30, (), {"failed_reads": 0.9, "quantile": 0.5}),
        (1001, (), {"quantile": 0.2}),
        (2000, (), {}),
    ):
        told[f"{tags} {masks} {more}"] = step_seconds(tags, masks, link, **more)
    told["fits"] = [fits(3, 0.1, 0.3), fits(3, 0.1, 0.29999), fits(4, 0.1, 0.3), fits(0, 1, 0.1)]
    recorded(told)


TIMES = {
    "none": Dwell(),
    "measured": Dwell(dwell_s=1.0, step_s=0.3),
    "several": Dwell(dwell_s=0.6, step_s=(0.2, 0.1)),
    "just": Dwell(dwell_s=0.3, step_s=0.1),
    "short": Dwell(dwell_s=0.05, step_s=0.1),
    "mode": Dwell(dwell_s=0.2, rf_mode="miller4-256"),
    "mode, no time": Dwell(dwell_s=0.001, rf_mode="fm0-640"),
    "failing": Dwell(dwell_s=0.5, rf_mode="miller8-160", failed_read_rate=0.25, overhead_s=0.01),
    "field": Dwell(dwell_s=1.5, rf_mode="miller2-320", tags_in_field=40),
    "turns": Dwell(dwell_s=0.9, step_s=0.1, in_turn=True),
}


@pytest.mark.parametrize("name", TIMES)
def test_steps_that_fit(recorded: Recorded, name: str) -> None:
    time = TIMES[name]
    told: dict[str, Any] = {}
    for survey in ("whole", "antennas"):
        of = SURVEYS[survey]
        told[survey] = {
            "field": field_of(of, time),
            "failed": failed_reads(of, time),
            "turns": turns_by_masks(of, time, [(32, 16), (16384, 8)], 3),
            "bare step": getattr(step_time(time, 5, []), "worst_s", None),
            "step": step_time(time, field_of(of, time), [(32, 8)], failed_reads(of, time)),
            **{
                f"steps {turns} {most}": told_or_refused(
                    lambda of=of, turns=turns, most=most: steps_by_masks(
                        of, time, [(32, 8), (32, 96)], 4, most, turns=turns
                    )
                )
                for turns, most in ((1, 5), (2, 32))
            },
            "no fields": told_or_refused(lambda of=of: steps_by_masks(of, time, [], 2, 3)),
        }
    recorded(told)


def test_reads_that_fail(recorded: Recorded) -> None:
    """Of the levels above turn-on, by whole per cent: 1 of 1, 1 of 10, 1 of 9, none of none."""
    time = Dwell(rf_mode="fm0-640")
    told = []
    for levels, gaps in ((2, 1), (11, 1), (10, 1), (1, 0), (3, 2)):
        curve = [-60.0, *[None] * gaps, *[-60.0] * (levels - 1 - gaps)]
        survey = survey_of([10.0 + n for n in range(levels)], [[("3001", True, curve)]])
        told.append(failed_reads(survey, time))
    assert not any(one.flags.writeable for one in _simulated_us(3, LINK_PROFILES["fm0-640"], 0.0))
    recorded(told)


def test_times_of_a_crowd(recorded: Recorded) -> None:
    told = {}
    for tags in (2000, 2001):
        entries = [(f"{n:06X}", True, [-50.0]) for n in range(tags)]
        survey = survey_of([20.0], [entries])
        time = Dwell(dwell_s=5.0, rf_mode="fm0-640")
        told[f"{tags}"] = told_or_refused(lambda s=survey, t=time: field_of(s, t))
    recorded(told)


def radios() -> Iterator[tuple[str, Radio]]:
    yield "nothing", Radio()
    yield "no gain", Radio(region="etsi-865-868")
    yield "no region", Radio(antenna_gain_dbi=6.0)
    for region in REGIONS:
        for gain, loss in ((6.0, 1.5), (9.0, 2.0)):
            for polarisation in (None, "circular", "linear"):
                more: dict[str, Any] = {"hop_channels": 50} if region.startswith("fcc") else {}
                if polarisation == "circular" and gain == 6:
                    more["count_linear_component"] = True
                radio = Radio(
                    region=region,
                    antenna_gain_dbi=gain,
                    cable_loss_db=loss,
                    polarisation=polarisation,
                    **more,
                )
                yield f"{region} {gain:g} {polarisation}", radio
    for hops in (None, 1, 24, 25, 49, 50):
        yield f"hops {hops}", Radio(region="fcc-902-928", antenna_gain_dbi=7.5, hop_channels=hops)
    for kind in ("erp", "eirp"):
        limit = RadiatedLimit(28.5, kind, 910.0, 914.0, rule="a national notice")
        yield f"own {kind}", Radio(limit=limit, antenna_gain_dbi=6.0, exposure="fcc")
    limit = RadiatedLimit(30.0, "eirp", 865.0, 868.0)
    yield "own ground", Radio(limit=limit, antenna_gain_dbi=0.0, ground_factor=2.0)


def test_rules(recorded: Recorded) -> None:
    told, cautions = {}, {}
    for name, radio in radios():
        levels = np.array([20.0, 24.0, 26.0, 27.0, 29.0, 30.0, 31.5])
        found = lawful_at(levels, radio)
        limits = [power_limit(radio, level) for level in (None, 27.0)]
        exposure = exposure_at(25.0, radio)
        cautions[exposure.caution[20:50]] = exposure.caution
        cautions[found.level.caution[:40]] = found.level.caution
        told[name] = [
            found.level.dbm,
            found.level.eirp_dbm,
            found.level.reason if radio.polarisation == "circular" else found.level.reason[:40],
            len(found.levels_above_dbm),
            found.region,
            exposure.distance_m,
            *(x for one in limits for x in (one.level_dbm, one.reach_m, one.exposure.distance_m)),
        ]
    recorded({**told, "cautions": cautions})


def test_rules_at_their_edge(recorded: Recorded) -> None:
    """A level at the limit, and a hair above it; a level that no survey may hold."""
    radio = Radio(limit=RadiatedLimit(30.0, "eirp", 902.0, 928.0), antenna_gain_dbi=6.0)
    dbm = lawful_at(np.array([]), radio).level.dbm
    assert dbm is not None
    levels = np.array([dbm - 1e-3, dbm, dbm + 5e-10, dbm + 2e-9, dbm + 1e-3])
    region = custom_region(30.0, "erp", 902.0, 928.0)
    recorded(
        {
            "above": [int(x) for x in ~np.isin(levels, lawful_at(levels, radio).levels_above_dbm)],
            "asked": [
                told_or_refused(lambda level=level: power_limit(Radio(), level).level_dbm)
                for level in (-20.0, -20.5, 40.0, 40.5)
            ],
            "own": highest_conducted_dbm(region, 6.0, "circular", count_linear_component=True),
            "region": [region.low_mhz, region.high_mhz, region.limits_w[0][1], region.clause],
            "bands": {name: [one.low_mhz, one.high_mhz] for name, one in REGIONS.items()},
        }
    )


def test_levels_to_choose_from(recorded: Recorded) -> None:
    survey = SURVEYS["whole"]
    told = {}
    for dbm in (9.0, 20.0, 26.0, 40.0):
        radio = Radio(limit=RadiatedLimit(dbm, "eirp", 902.0, 928.0), antenna_gain_dbi=6.0)
        for settable in (None, (14.0, 20.0), (11.0, 13.0)):
            policy = Policy(radio=radio, reader=Reader(power_levels_dbm=settable))
            told[f"{dbm} {settable}"] = told_or_refused(
                lambda policy=policy: [
                    [int(x) for x in lawful_levels(survey, policy)],
                    [int(x) for x in choosable_levels(survey, policy)],
                ]
            )
    recorded(told)


def test_antennas_by_their_limit(recorded: Recorded) -> None:
    radio = Radio(region="etsi-865-868", antenna_gain_dbi=6.0, cable_loss_db=1.0)
    antennas = (
        (1, AntennaRadio()),
        (2, AntennaRadio(antenna_gain_dbi=9.0)),
        (3, AntennaRadio(cable_loss_db=4.0)),
        (4, AntennaRadio(antenna_gain_dbi=3.0)),
    )
    policy = Policy(radio=radio, antennas=antennas)
    unknown = Policy(radio=Radio(region="etsi-865-868"), antennas=antennas)

    def said(one: Radio) -> list[float | None]:
        return [one.antenna_gain_dbi, one.cable_loss_db]

    recorded(
        {
            "mildest": said(mildest_radio(policy)),
            "strictest": said(strictest_radio(policy)),
            **{str(on): said(strictest_radio(policy, on)) for on in ((1, 3), (3, 4), (4,), ())},
            "none": said(strictest_radio(Policy(radio=radio), (1,))),
            "unknown": [said(mildest_radio(unknown)), said(strictest_radio(unknown))],
        }
    )


def test_exposure(recorded: Recorded) -> None:
    recorded(
        {
            f"{guideline} {group}": [
                reference_w_m2(guideline, group, 865.0),
                reference_field_v_m(group, 865.0),
                exposure_distance(46.0, 902.0, guideline, group).caution[:90],
                exposure_distance(46.0, 902.0, guideline, group).source,
                exposure_distance(33.0, 902.0, guideline, group, 2.56).distance_m,
            ]
            for guideline in ("icnirp", "fcc")
            for group in ("public", "occupational")
        }
        | {"whole": [exposure_distance(46.0, 902.0), exposure_distance(46.0, 902.0, "fcc")]}
    )


def test_link_budgets(recorded: Recorded) -> None:
    recorded(
        {
            "loss": [free_space_loss_db(mhz, m) for mhz, m in ((866.5, 1.0), (915.0, 3.5))],
            "range": [
                tag_range_m(35.2, 866.5, -18.0),
                tag_range_m(33.0, 915.0, -16.0, tag_gain_dbi=1.0, polarisation_loss_db=3.0),
            ],
            "turn-on": [
                turn_on_dbm(866.5, 2.0, 6.0, -18.0),
                turn_on_dbm(
                    915.0,
                    4.0,
                    8.5,
                    -16.0,
                    tag_gain_dbi=1.0,
                    polarisation_loss_db=3.0,
                    cable_loss_db=1.5,
                ),
            ],
            "dbm": [w_to_dbm(w) for w in (0.001, 0.25, 2.0)],
        }
    )


def test_slopes(recorded: Recorded) -> None:
    """Curves of three levels and 3 dB and less, with gaps, beyond 6 dB of the first read."""
    nan, no = np.nan, -np.inf
    levels = np.array([10.0, 11.0, 12.0, 13.0, 16.0, 16.5, 20.0])
    curves = np.array(
        [
            [-60, -59, -58, -57, -55, -54, -50],
            [no, -60, -58, no, -55, no, -40],
            [-60, -59, -58, no, no, no, no],
            [-60, -59, no, -56, no, no, no],
            [-60, no, no, -56, no, no, -50],
            [no, no, no, -60, -57.5, -57, -50],
            [nan, nan, -60, nan, -57, -56, nan],
            [no, no, no, no, no, no, no],
            [-60, no, no, no, -55, -54.5, -40],
        ]
    )
    recorded([power_slopes(curves[n : n + 1], levels) for n in range(len(curves))])


@pytest.mark.parametrize("name", ["whole", "antennas", "few", "one level"])
def test_radio_findings(recorded: Recorded, name: str) -> None:
    survey = SURVEYS[name]
    told: dict[str, Any] = {}
    for number, (radio, time) in enumerate(
        (
            (Radio(), Dwell()),
            (
                Radio(
                    region="etsi-865-868",
                    antenna_gain_dbi=11.0,
                    distance_m=40.0,
                    polarisation="circular",
                    cable_loss_db=1.0,
                ),
                Dwell(dwell_s=0.05, rf_mode="miller4-256"),
            ),
            (
                Radio(antenna_gain_dbi=12.0, distance_m=0.05),
                Dwell(dwell_s=0.4, step_s=0.1, in_turn=True),
            ),
            (
                Radio(region="fcc-902-928", antenna_gain_dbi=20.0, distance_m=1.0),
                Dwell(dwell_s=0.01, step_s=0.1),
            ),
        )
    ):
        policy = Policy(radio=radio, time=time)
        told[f"{number}"] = list(radio_findings(survey, policy, turn_on(survey)))
    flat = replace(survey, read_rssi=np.round(survey.read_rssi / 8 - 50, 1))
    told["flat"] = list(radio_findings(flat, Policy(), turn_on(flat)))
    steep = replace(survey, read_rssi=np.clip(3 * survey.read_rssi + 100, -120, 0))
    told["steep"] = list(radio_findings(steep, Policy(), turn_on(steep)))
    recorded(told)


def test_radio_findings_at_their_thresholds(recorded: Recorded) -> None:
    """So many curves of a slope; gaps to the budget in steps of half a dB; steps that just fit."""
    levels = [10.0, 11.0, 12.0, 13.0]
    told: dict[str, Any] = {}
    for count in (9, 10, 11):
        for slope in (0.39, 0.41, 1.29, 1.31):
            curve = [-60.0 + slope * n for n in range(4)]
            survey = survey_of(levels, [[(f"30{n:02X}", True, curve) for n in range(count)]])
            found = radio_findings(survey, Policy(), turn_on(survey))
            told[f"{count} {slope}"] = [text for _, kind, text, _ in found if "slope" in kind]
    curve = [None, -60.0, -60.0, -60.0]
    survey = survey_of([15.0, 16.0, 17.0, 18.0], [[("3001", True, curve)]])
    for region in (None, "etsi-865-868"):
        said = ""
        for step in range(132):
            radio = Radio(region=region, antenna_gain_dbi=6.0, distance_m=0.05 * 10 ** (step / 40))
            found = [text for _, kind, text, _ in radio_findings(survey, Policy(radio=radio),
                     turn_on(survey)) if kind == "turn_on_budget"]  # fmt: skip
            said += "L" if found and "lower" in found[0] else "H" if found else "-"
        told[f"budget {region}"] = said
    for dwell in (0.5, 0.499, 0.4):
        for allow in (("power", "ladder"), ("power",)):
            policy = Policy(time=Dwell(dwell_s=dwell, step_s=0.1), allow=allow)
            found = radio_findings(survey, policy, turn_on(survey))
            told[f"dwell {dwell} {len(allow)}"] = [k for _, k, *_ in found if "dwell" in k]
    recorded(told)


def test_turn_on_against_the_budget(recorded: Recorded) -> None:
    """Half of the tags turn on at each level in turn, against budgets on both sides of it."""
    levels = [float(level) for level in range(-10, 41, 5)]
    told = {}
    for first in range(0, len(levels) + 1, 2):
        curve = [None] * first + [-50.0] * (len(levels) - first)
        passes = [[("3000", True, curve), ("3001", True, curve), ("3002", True, [None] * 11)]]
        survey = survey_of(levels, passes)
        for metres in (0.5, 3.0, 10.0):
            radio = Radio(antenna_gain_dbi=6.0, distance_m=metres, polarisation="circular")
            found = radio_findings(survey, Policy(radio=radio), turn_on(survey))
            told[f"{first} {metres}"] = [text for _, name, text, _ in found if "turn_on" in name]
    recorded(told)
