"""What the levels tell: whether power parts wanted from stray, and whether they were well set."""

from __future__ import annotations

import numpy as np

from strategist.survey.finding import Found
from strategist.survey.order import figure
from strategist.survey.records import Survey
from strategist.survey.turn_on import TurnOn

__all__ = ["power_findings"]

COME_AND_GO = 0.1  # share of tags read once and not at a higher level; common practice, no source
COARSE_DB = 2.0  # a step this wide hides much of what happens inside it; the same
COARSE_SHARE = 0.1  # of the wanted tags that turn on in one such step
EDGE_SHARE = 0.05  # of the wanted tags that turn on at the lowest or the highest level


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
    every = "every wanted tag is" if share[best] == 1 else f"{share[best]:.0%} of wanted tags are"
    begin = f"Power: at {figure(top)} dBm {every} read{'' if share[best] == 1 else ', the most'}; "
    if first > top and share[best] == 1:
        text = f"{begin}the first stray is read {gap} dB higher, at {figure(first)} dBm."
        yield (
            "note",
            "power_parts",
            text,
            "Power alone parts them: set it in the middle of the gap.",
        )
        return
    below = f"{gap} dB lower, at {figure(first)} dBm" if first < top else f"at {figure(first)} dBm"
    text = f"{begin}the first stray is read {below}."
    advice = "Power alone cannot part them: a ladder, a cutoff or masks have to."
    yield "note", "power_overlaps", text, advice


def _come_and_go(on: TurnOn) -> Found:
    read = on.level >= 0
    share = on.gap.sum() / read.sum() if read.any() else 0.0
    if share >= COME_AND_GO:
        text = (
            f"Reads come and go: {on.gap.sum()} of {read.sum()} tags read ({share:.0%}) were not "
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
            f"Levels are coarse: {inside[worst]:.0%} of wanted tags turn on between {figure(low)} "
            f"and {figure(high)} dBm, and no level lies between."
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
            f"The lowest level, {figure(levels[0])} dBm, already reads {low:.0%} of wanted tags "
            f"and {strays:.0%} of strays."
        )
        advice = "Survey lower levels: the best power may lie there."
        yield "weak", "range_low", text, advice
    high = (level == len(levels) - 1).mean()
    if high >= EDGE_SHARE:
        text = (
            f"{high:.0%} of wanted tags are read at the highest level, {figure(levels[-1])} dBm, "
            "and at none below."
        )
        advice = "Survey higher levels where that is lawful, or bring the antenna nearer."
        yield "weak", "range_high", text, advice
