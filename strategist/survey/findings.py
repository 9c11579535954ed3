"""Things to know about a survey, each with a figure and advice: what its levels and RSSI tell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from strategist.survey.answer import Declared, Hidden
from strategist.survey.order import cent, figure
from strategist.survey.profile import TurnOn
from strategist.survey.records import Survey
from strategist.survey.rssi import area_at_equal_level, type_offsets

COME_AND_GO = 0.1  # share of tags read once and not at a higher level; common practice, no source
COARSE_DB = 2.0  # a step this wide hides much of what happens inside it; the same
COARSE_SHARE = 0.1  # of the wanted tags that turn on in one such step
EDGE_SHARE = 0.05  # of the wanted tags that turn on at the lowest or the highest level

CLIPPED_SHARE = 0.05  # of all reads at the one strongest or weakest value; common practice
READS_MIN = 30  # fewer reads say nothing of steps or clipping
STEP_DB = 1.0  # neighbouring RSSI values this far apart leave a cutoff little choice
PARTS, TELLS = 0.95, 0.7  # areas from which RSSI is said to part wanted from stray, or to help
INVERTED = 0.35  # and up to which the strays are said to be the stronger

Severity = Literal["weak", "note"]
Told = tuple[Severity, str, str, str]  # severity, kind, text, advice
Found = Iterator[Told]


@dataclass(frozen=True)
class Finding(Declared):
    """One thing to know about a survey: `kind` is a short code, `text` gives the figure.

    `weak` means that an answer drawn from the survey may not hold; `note` that it may surprise.
    """

    read_point: Hidden[str]
    severity: Severity
    kind: str
    text: str
    advice: str


def findings(read_point: str, found: Iterable[Iterable[Told]]) -> tuple[Finding, ...]:
    """What several checks found at a read point: those that make it weak first."""
    listed = [
        Finding(read_point, severity, kind, text, advice)
        for check in found
        for severity, kind, text, advice in check
    ]
    return tuple(sorted(listed, key=lambda finding: finding.severity != "weak"))


def power_findings(survey: Survey, on: TurnOn) -> Found:
    """Separation in power, reads that come and go, levels too coarse or not wide enough."""
    if survey.roster_wanted.any():
        yield from _separation(survey, on)
        yield from _spacing(survey, on)
        yield from _range(survey, on)
    yield from _come_and_go(on)


def _separation(survey: Survey, on: TurnOn) -> Found:
    """The gap between the level that reads every wanted tag and the first that reads a stray."""
    wanted = survey.roster_wanted
    read = np.isfinite(on.peaks)
    share = read[wanted].mean(axis=0)
    best = int(share.argmax())
    stray = np.flatnonzero(read[~wanted].any(axis=0))
    if not len(stray) or not share[best]:
        return
    first, top = survey.levels_dbm[stray[0]], survey.levels_dbm[best]
    gap = figure(round(abs(first - top), 6))
    every = "every wanted tag is" if share[best] == 1 else f"{cent(share[best])} of wanted tags are"
    begin = f"Power: at {figure(top)} dBm {every} read{'' if share[best] == 1 else ', the most'}; "
    if first > top and share[best] == 1:
        text = f"{begin}the first stray is read {gap} dB higher, at {figure(first)} dBm."
        yield (
            "note",
            "power_parts",
            text,
            "Power alone separates them: set it in the middle of the gap.",
        )
        return
    below = f"{gap} dB lower, at {figure(first)} dBm" if first < top else f"at {figure(first)} dBm"
    text = f"{begin}the first stray is read {below}."
    advice = "Power alone cannot separate them: a ladder, a cutoff or masks have to."
    yield "note", "power_overlaps", text, advice


def _come_and_go(on: TurnOn) -> Found:
    read = on.level >= 0
    share = on.gap.sum() / read.sum() if read.any() else 0.0
    if share >= COME_AND_GO:
        text = (
            f"Reads come and go: {on.gap.sum()} of {read.sum()} tags read ({cent(share)}) were not "
            "read at some higher level."
        )
        advice = "Let the ladder look more than once, and read longer at each level of the survey."
        yield "note", "come_and_go", text, advice


def _spacing(survey: Survey, on: TurnOn) -> Found:
    """Wide steps in which many of the wanted tags turn on."""
    level = on.level[survey.roster_wanted]
    steps = np.diff(survey.levels_dbm)
    inside = np.bincount(level[level > 0], minlength=len(steps) + 1)[1:] / len(level)
    wide = np.flatnonzero((steps >= COARSE_DB) & (inside >= COARSE_SHARE))
    if len(wide):
        worst = int(wide[inside[wide].argmax()])
        low, high = survey.levels_dbm[worst : worst + 2]
        text = (
            f"Levels are coarse: {cent(inside[worst])} of wanted tags turn on between "
            f"{figure(low)} and {figure(high)} dBm, and no level lies between."
        )
        advice = f"Survey levels between {figure(low)} and {figure(high)} dBm."
        yield "weak", "levels_coarse", text, advice


def _range(survey: Survey, on: TurnOn) -> Found:
    """Wanted tags that turn on at the very ends of the range."""
    levels, wanted = survey.levels_dbm, survey.roster_wanted
    if len(levels) < 2:
        return
    level = on.level[wanted]
    low = (level == 0).mean()
    strays = (on.level[~wanted] == 0).mean() if not wanted.all() else 0.0
    if low >= EDGE_SHARE and strays >= EDGE_SHARE:
        text = (
            f"The lowest level, {figure(levels[0])} dBm, already reads {cent(low)} of wanted tags "
            f"and {cent(strays)} of strays."
        )
        advice = "Survey lower levels: the best power may lie there."
        yield "weak", "range_low", text, advice
    high = (level == len(levels) - 1).mean()
    if high >= EDGE_SHARE:
        text = (
            f"{cent(high)} of wanted tags are read at the highest level, {figure(levels[-1])} dBm, "
            "and at none below."
        )
        advice = "Survey higher levels where that is lawful, or bring the antenna nearer."
        yield "weak", "range_high", text, advice


def rssi_findings(survey: Survey, on: TurnOn) -> Found:
    """Separation in RSSI, offsets between tag types, clipped and coarse values."""
    yield from _rssi_separation(survey, on)
    yield from _offsets(survey, on)
    yield from _values(on)


def _rssi_separation(survey: Survey, on: TurnOn) -> Found:
    whole = area_at_equal_level(survey, on)
    if whole is None:
        return
    types = sorted({tag.tag_type for tag in survey.tags if tag.tag_type is not None})
    parts = []
    for name in types if len(types) > 1 else []:
        of_tag = np.array([tag.tag_type == name for tag in survey.tags], bool)
        one = area_at_equal_level(survey, on, of_tag[survey.roster_tag])
        if one is not None:
            parts.append(f"{name} {one.area:.2f}")
    each = f" (by tag type: {', '.join(parts)})" if parts else ""
    text = (
        f"RSSI: of a wanted and a stray tag read at the same level, the wanted one is the stronger "
        f"with a chance of {whole.area:.2f}{each}."
    )
    if whole.area >= PARTS:
        yield "note", "rssi_parts", text, "A cutoff separates them well."
    elif whole.area >= TELLS:
        advice = "A cutoff helps but cannot separate them: expect it to cost some wanted tags."
        yield "note", "rssi_helps", text, advice
    elif whole.area <= INVERTED:
        advice = "Do not rely on a cutoff here: it would keep the strays, which are stronger."
        yield "note", "rssi_inverted", text, advice
    else:
        advice = "Do not rely on a cutoff here: RSSI hardly tells wanted from stray."
        yield "note", "rssi_overlaps", text, advice


def _offsets(survey: Survey, on: TurnOn) -> Found:
    for one in type_offsets(survey, on):
        if one.real:
            way = "stronger" if one.offset_db > 0 else "weaker"
            text = (
                f"Tag types differ: {one.tag_type} answers {abs(one.offset_db):.1f} dB {way} than "
                f"{one.reference} at equal turn-on (95 %: {one.low_db:+.1f} to "
                f"{one.high_db:+.1f} dB, {one.tags} and {one.reference_tags} tags)."
            )
            advice = "A cutoff affects tag types differently: assess what dropping it would cost."
            yield "note", "types_differ", text, advice


def _values(on: TurnOn) -> Found:
    """Values that pile up at an end, or lie far apart."""
    peaks = on.peaks[np.isfinite(on.peaks)]
    if len(peaks) < READS_MIN:
        return
    values, counts = np.unique(peaks, return_counts=True)
    share = counts / counts.sum()
    for place, name, neighbour in ((-1, "strongest", -2), (0, "weakest", 1)):
        piled = len(values) > 2 and share[place] >= CLIPPED_SHARE
        if piled and counts[place] >= 2 * counts[neighbour]:
            text = (
                f"RSSI is clipped: {cent(share[place])} of reads have the {name} value, "
                f"{figure(values[place])} dBm."
            )
            advice = "No cutoff can work there: attenuate, or set the reader's range of RSSI."
            yield "weak", "rssi_clipped", text, advice
    if len(values) == 1:
        text = f"Every read has the same RSSI, {figure(values[0])} dBm."
        advice = "The reader does not report RSSI: turn its report on, or allow no cutoff."
        yield "weak", "rssi_constant", text, advice
    elif (step := float(np.diff(values).min())) >= STEP_DB:
        text = f"RSSI comes in steps of {figure(round(step, 6))} dB or more."
        advice = "A cutoff can be set no finer; leave a step of margin."
        yield "note", "rssi_coarse", text, advice
