"""Does a survey agree with radio: lawful levels, RSSI against power, turn-on against distance."""

from __future__ import annotations

import numpy as np

from strategist.errors import InputError
from strategist.radio.dwell import failed_reads, field_of, step_time, steps_by_masks, turns_of
from strategist.radio.lawful import lawful_at, region_of, strictest_radio
from strategist.radio.link import TAG_DBM, turn_on_dbm
from strategist.survey.findings import Found
from strategist.survey.order import figure, some
from strategist.survey.policy import Policy, Radio
from strategist.survey.profile import TurnOn
from strategist.survey.records import Floats, Survey

NEAR_DB = 6.0  # above turn-on, where a chip does not yet clip what it takes in
SPAN_DB = 3.0  # of power at least, and three levels, or a slope says nothing
CURVES_MIN = 10  # fewer curves say nothing of the reader
# Ideal is 1 dB/dB ("Towards localization ... RSSI", 2014: "a linear function of transmission
# power"). Chips that limit what they take in compress it: two readers of the sweep published with
# "Decoding RSSI Compression in RFID" show 0.54 to 0.75 over all levels, and medians of 0.43 to 0.62
# over the 6 dB farthest above turn-on, 0.8 to 1.2 nearest it.
PUBLISHED = (0.54, 0.75)
SLOPE_LOW, SLOPE_HIGH = 0.4, 1.3  # outside all of these
BETTER_DB, WORSE_DB = 10.0, 30.0  # 6 dB of hot spot and a newer chip; older, turned, wet or metal
NO_REGION_MHZ = 900.0  # where no region says: at most 0.6 dB off over 840-960 MHz


def radio_findings(survey: Survey, policy: Policy, on: TurnOn) -> Found:
    """Levels above the lawful one or not checked, a slope or a turn-on that cannot be."""
    yield from _lawful(survey, strictest_radio(policy))
    yield from _slope(survey, on)
    yield from _budget(survey, policy.radio, on)
    yield from _time(survey, policy)


def _lawful(survey: Survey, radio: Radio) -> Found:
    lawful = lawful_at(survey.levels_dbm, radio)
    if lawful.level.dbm is None:
        advice = "Give region (or limit) and antenna_gain_dbi under radio in site.json."
        yield "note", "lawful_unknown", f"{lawful.level.reason} Levels were not checked.", advice
    elif lawful.levels_above_dbm:
        listed = some([figure(level) for level in lawful.levels_above_dbm])
        text = (
            f"{len(lawful.levels_above_dbm)} of {len(survey.levels_dbm)} levels surveyed are above "
            f"the lawful one: {listed} dBm. {lawful.level.reason}"
        )
        advice = "They are left out of the search; ask the local authority before sending at them."
        yield "note", "levels_unlawful", text, advice


def power_slopes(peaks: Floats, levels_dbm: Floats) -> Floats:
    """dB of RSSI for a dB of power of each curve (row; NaN or −inf: not read), near its turn-on.

    Least squares over the levels up to 6 dB above the first read; curves of fewer than three
    levels or 3 dB are left out. Where the lowest level surveyed already reads a tag, that is not
    its turn-on, and its slope may be that of a chip that compresses.
    """
    read = np.isfinite(peaks)
    power = np.broadcast_to(levels_dbm, peaks.shape)
    first = np.min(power, axis=1, where=read, initial=np.inf, keepdims=True)
    near = read & (power <= first + NEAR_DB)
    last = np.max(power, axis=1, where=near, initial=-np.inf)
    told = (near.sum(axis=1) >= 3) & (last - first[:, 0] >= SPAN_DB)
    near, power, rssi = near[told], power[told], peaks[told]
    away = power - power.mean(axis=1, where=near, keepdims=True)
    up = np.multiply(away, rssi, where=near, out=np.zeros_like(away)).sum(axis=1)
    slopes: Floats = up / np.square(away).sum(axis=1, where=near)
    return slopes


def _slope(survey: Survey, on: TurnOn) -> Found:
    slopes = power_slopes(on.peaks, survey.levels_dbm)
    if len(slopes) < CURVES_MIN:
        return
    median = float(np.median(slopes))
    if not SLOPE_LOW <= median <= SLOPE_HIGH:
        text = (
            f"RSSI grows by {median:.2f} dB for a dB of power (median of {len(slopes)} tags in "
            f"passes, over the {NEAR_DB:g} dB from the first level that reads each). Ideal is 1; "
            f"real tags compress it to {PUBLISHED[0]:g} to {PUBLISHED[1]:g}. "
        )
        text += (
            "With so little, power or RSSI is not what it says."
            if median < SLOPE_LOW
            else "More means that power or RSSI is not what it says."
        )
        advice = (
            "Check that the levels were really set, in dBm at the reader port, and that RSSI is in "
            "dBm and neither clipped nor averaged over levels."
        )
        yield "weak", "rssi_slope", text, advice


def _budget(survey: Survey, radio: Radio, on: TurnOn) -> Found:
    """The median turn-on of wanted tags against free space at the distance given."""
    gain, metres = radio.antenna_gain_dbi, radio.distance_m
    level = on.level[survey.roster_wanted]
    if gain is None or metres is None or not len(level):
        return
    ordered = np.sort(np.where(level < 0, len(survey.levels_dbm), level))
    middle = int(ordered[(len(ordered) - 1) // 2])
    if middle == len(survey.levels_dbm):
        return  # most are read at no level, which is a finding of its own
    region = region_of(radio)
    mhz = NO_REGION_MHZ if region is None else (region.low_mhz + region.high_mhz) / 2
    expected = turn_on_dbm(
        mhz,
        metres,
        gain,
        TAG_DBM,
        polarisation_loss_db=3.0 if radio.polarisation == "circular" else 0.0,
        cable_loss_db=radio.cable_loss_db,
    )
    found = float(survey.levels_dbm[middle])
    above = float(survey.levels_dbm[middle - 1]) if middle else -np.inf  # it turned on above this
    if found < expected - BETTER_DB:
        way, gap = "lower", expected - found
    elif above > expected + WORSE_DB:
        way, gap = "higher", above - expected
    else:
        return
    text = (
        f"Turn-on contradicts the link budget: half of the wanted tags answer by {figure(found)} "
        f"dBm, {gap:.0f} dB {way} than free space at {metres:g} m gives ({expected:.1f} dBm for a "
        f"tag of {TAG_DBM:g} dBm)."
    )
    advice = (
        "Check distance_m, gain and cable in site.json, the unit of the levels, and which antenna "
        "was on."
        if way == "lower"
        else "Check antenna, cable and connectors, and distance_m and gain in site.json."
    )
    yield "weak", "turn_on_budget", text, advice


def _time(survey: Survey, policy: Policy) -> Found:
    """How many steps of the ladder fit the dwell, where not all of them do."""
    time, most = policy.time, policy.reader.ladder_steps_max
    if time.dwell_s is None or "ladder" not in policy.allow:
        return
    try:
        turns = turns_of(survey, time, None)
        (fits,) = steps_by_masks(survey, time, (), 0, most, turns=turns)
        step = step_time(time, field_of(survey, time), (), failed_reads(survey, time))
    except InputError:
        return  # `check` says that nothing can be chosen
    if fits < most and step is not None:
        text = (
            f"A pass lasts {time.dwell_s:g} s and a step without masks {turns * step.worst_s:.3g} s"
            f"{f', with {turns} antennas in turn' if turns > 1 else ''}"
            f"{'' if time.rf_mode is None else ' or less in 99 % of steps'}: "
            f"{fits} of {most} ladder steps fit."
        )
        advice = "Measure step_s with the reader, slow the load down, or use a faster link."
        yield "note", "dwell_short", text, advice
