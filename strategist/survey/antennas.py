"""What reads tell of antennas, repeats, times and hop channels, each with the remedy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.survey.findings import Found
from strategist.survey.many import by_cell, distinct
from strategist.survey.order import figure, some
from strategist.survey.policy import ANTENNA_MAX, Policy
from strategist.survey.records import Bools, Floats, Ints, Survey

__all__ = ["antenna_findings"]

NEAR_DB = 3.0  # by so much an antenna hears one role stronger than the other; our own choice
SPREAD_DB, SPREAD_SHARE = 6.0, 0.1  # of the strongest read above the middle one, and of tags; ours
REPEATS_MIN = 3  # reads of a tag that have a middle one
CHANNEL_DB, CHANNEL_READS = 3.0, 20  # between channels, and reads of each that tell; ours


def antenna_findings(survey: Survey, policy: Policy) -> Found:
    """Antennas that hear strays alone, or nothing of their own; reads whose peak hides a spread;
    channels that differ; and what is not known where reads carry no time."""
    if len(survey.antennas) > 1:
        yield from _by_antenna(survey)
    yield from _spread(survey)
    yield from _channels(survey)
    yield from _dwell(survey, policy)


@dataclass(frozen=True, eq=False)
class _Heard:
    """One antenna's reads by role: how many, their median RSSI (NaN: none), and how many tags in a
    pass at a level it alone reads."""

    antenna: int
    reads: tuple[int, int]
    median: tuple[float, float]
    alone: tuple[int, int]

    @property
    def words(self) -> str:
        told = [
            f"{count} reads of {role} tags" + (f" (median {figure(dbm)} dBm)" if count else "")
            for role, count, dbm in zip(("wanted", "stray"), self.reads, self.median, strict=True)
        ]
        return f"antenna {self.antenna} has {' and '.join(told)}"


def _by_antenna(survey: Survey) -> Found:
    heard = _heard(survey)
    listed = "; ".join(one.words for one in heard)
    advice = "Look at the antennas first where their roles are not those that you mounted them for."
    yield "note", "antennas", f"By antenna: {listed}.", advice
    for one in heard:
        wanted, stray = one.reads
        name = f"Antenna {one.antenna}"
        if not wanted and not stray:
            text = f"{name} has no reads."
            yield "weak", "antenna_silent", text, "Check its cable, port and settings."
        elif not wanted:
            text = f"{name} hears strays alone: {stray} reads, none of a wanted tag."
            advice = "Switch it off, or compare: what faces the wanted tags less what it hears."
            yield "note", "antenna_strays_only", text, advice
        elif not one.alone[0]:
            text = (
                f"{name} adds nothing: wherever it reads a wanted tag another antenna reads it at "
                f"the same level; {one.alone[1]} times it alone reads a stray."
            )
            yield (
                "note",
                "antenna_adds_nothing",
                text,
                "Switch it off, unless it is kept to compare.",
            )
        elif stray and one.median[1] - one.median[0] >= NEAR_DB:
            gap = figure(round(one.median[1] - one.median[0], 1))
            text = f"{name} hears strays {gap} dB stronger than wanted tags (medians)."
            advice = "Trim its power, turn it, or compare: the other antennas less this one."
            yield "note", "antenna_faces_strays", text, advice


def _heard(survey: Survey) -> list[_Heard]:
    assert survey.read_antenna is not None
    key, antennas = _cell(survey), np.array(survey.antennas)
    wanted = _of_wanted(survey)
    cells = survey.tried.size * len(survey.tags)
    place = np.searchsorted(antennas, survey.read_antenna)
    pairs = distinct(key * len(antennas) + place, cells * len(antennas)) // len(antennas)
    apart = np.diff(pairs, prepend=-1, append=-1) != 0
    single = np.isin(key, pairs[apart[1:] & apart[:-1]])
    found = []
    for antenna in survey.antennas:
        own = survey.read_antenna == antenna
        roles = (own & wanted, own & ~wanted)
        reads = [int(role.sum()) for role in roles]
        medians = [_median(survey.read_rssi[role]) for role in roles]
        alone = [len(distinct(key[role & single], cells)) for role in roles]
        found.append(
            _Heard(
                antenna,
                (reads[0], reads[1]),
                (medians[0], medians[1]),
                (alone[0], alone[1]),
            )
        )
    return found


def _cell(survey: Survey) -> Ints:
    """One number for each read's pass, level and tag."""
    levels, tags = len(survey.levels_dbm), len(survey.tags)
    cell: Ints = (survey.read_pass * levels + survey.read_level) * tags + survey.read_tag
    return cell


def _of_wanted(survey: Survey) -> Bools:
    tags, wanted = len(survey.tags), survey.roster_wanted
    keys = survey.roster_pass[wanted] * tags + survey.roster_tag[wanted]
    return np.isin(survey.read_pass * tags + survey.read_tag, keys)


def _median(values: Floats) -> float:
    return round(float(np.median(values)), 1) if len(values) else float("nan")


def _spread(survey: Survey) -> Found:
    """Tags whose strongest read of one antenna at a level is far above the middle one."""
    if len(survey.antennas) < 2 and survey.read_t_s is None:
        return  # repeats that nothing tells apart may be lines that came twice
    antenna = np.zeros(len(survey.read_tag), int)
    if survey.read_antenna is not None:
        antenna = survey.read_antenna
    order = np.arange(len(antenna))[by_cell(survey)]
    order = order[np.argsort(antenna[order].astype(np.uint8), kind="stable")]  # numbers up to 255
    changed = (np.diff(_cell(survey)[order]) != 0) | (np.diff(antenna[order]) != 0)
    first = np.flatnonzero(np.append(True, changed))
    count = np.diff(first, append=len(order))
    many = count >= REPEATS_MIN
    if not many.any():
        return
    rssi = survey.read_rssi[order]
    above = rssi[(first + count - 1)[many]] - rssi[(first + (count - 1) // 2)[many]]
    share = float((above >= SPREAD_DB).mean())
    if share >= SPREAD_SHARE:
        text = (
            f"The strongest read hides a spread: of {many.sum()} tags with {REPEATS_MIN} reads or "
            f"more of one antenna at a level, in {share:.0%} it is {figure(SPREAD_DB)} dB or more "
            "above the middle one."
        )
        advice = "Count reads: hold the cutoff against the second or third strongest (score nth)."
        yield "note", "peak_hides_spread", text, advice


def _channels(survey: Survey) -> Found:
    """Median RSSI of each hop channel, less that of the same tag at the same level and antenna."""
    channel = survey.read_channel_mhz
    if channel is None:
        return
    known = np.isfinite(channel)
    antenna = np.zeros(len(channel), int) if survey.read_antenna is None else survey.read_antenna
    _, cell = np.unique(_cell(survey) * (ANTENNA_MAX + 1) + antenna, return_inverse=True)
    mean = np.bincount(cell, survey.read_rssi) / np.maximum(np.bincount(cell), 1)
    off, repeated = survey.read_rssi - mean[cell], np.bincount(cell)[cell] > 1
    medians = {}
    for mhz in np.unique(channel[known]).tolist():
        own = off[(channel == mhz) & repeated]
        if len(own) >= CHANNEL_READS:
            medians[mhz] = float(np.median(own))
    if len(medians) < 2:
        return
    weakest, strongest = (
        min(medians, key=medians.__getitem__),
        max(medians, key=medians.__getitem__),
    )
    apart = medians[strongest] - medians[weakest]
    if apart >= CHANNEL_DB:
        text = (
            f"Hop channels differ: the same tags are {apart:.1f} dB stronger at "
            f"{figure(strongest)} MHz than at {figure(weakest)} MHz (medians, {len(medians)} "
            "channels)."
        )
        advice = (
            "A cutoff then depends on the channel: listen long enough to visit them all, or leave "
            "out the weak ones where the rules allow that."
        )
        yield "note", "channels_differ", text, advice


def _dwell(survey: Survey, policy: Policy) -> Found:
    """Whether what the survey heard is heard in the time of a step."""
    steps_s = [step_s for step_s in policy.time.steps_s if step_s is not None]
    listened = survey.dwell_s
    if survey.read_t_s is None and (steps_s or len(survey.antennas) > 1):
        of = "" if not steps_s else f" of {some([figure(one) for one in steps_s])} s"
        told = "how long the survey listened to a level is not known"
        if listened is not None and np.isfinite(listened).any():
            told = f"the survey listened up to {figure(float(np.nanmax(listened)))} s to a level"
        text = f"Reads carry no time: {told}, and a step{of} may hear less than it did."
        advice = (
            "Record t_s with each read: tags that were read late may be missed, strays that were "
            "read late may stay out."
        )
        yield "note", "dwell_unknown", text, advice
    elif listened is not None and steps_s and np.nanmin(listened) < steps_s[-1]:
        least = figure(float(np.nanmin(listened)))
        text = f"A step of {figure(steps_s[-1])} s listens longer than the survey did ({least} s)."
        advice = "Survey as long as a step listens: later reads, wanted and stray, are not known."
        yield "weak", "dwell_beyond_survey", text, advice
