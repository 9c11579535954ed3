"""What may vary at one read point from pass to pass, estimated from its survey alone.

A surveyed presentation (a tag in a pass) stands for others near it: a smoothed bootstrap (Silverman
and Young, Biometrika 74, 1987). Its link is some dB weaker or stronger, so that it does at one
level what it did at another and is heard that much weaker or stronger; its RSSI is off by some
more; reads above turn-on fail. How far is chosen by leaving out: for each group of presentations
the kernel under which the turn-on (the RSSI at turn-on) of each pass and tag is likeliest, given
those of the other passes and tags (Stone, JRSS B 36, 1974, on such choices). Where a group is small
or tight the likeliest kernel is narrow, and 0 leaves the presentations as they are.

Groups are tags of one type and role; tags that are in most passes are groups of their own, judged
by their other passes: they are part of the place and will be there again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.survey.kept import kept
from strategist.survey.late import special
from strategist.survey.profile import TurnOn, turn_on
from strategist.survey.records import Bools, Floats, Ints, Survey

__all__ = ["Variation", "variation_of"]

KERNELS_DB = (0.0, 0.1, 0.15, 0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6)  # that are tried
PRESENTATIONS_MIN = 3  # of a group; fewer leave nothing to choose a kernel by
TRIED_MAX = (
    400  # presentations of a group that kernels are tried on, evenly taken; more tell little
)
STAYS = 0.5  # a tag that is in more than this share of the passes is part of the place
END_DB = 4.0  # turn-ons this near the end of the range tell how many lie beyond it
BEYOND_DB = (1.0, 40.0)  # the mean distance beyond it is taken to be between these
FAILS_WEIGHT = 20.0  # levels above turn-on that the rate of all groups counts for in one
RSSI_SLOPE_WEIGHT = (
    25.0  # dB², what -1 dB of RSSI a dB of turn-on counts for in a group's own slope
)
_EQUAL_DB2 = 1e-12  # variance of turn-ons that are all alike, but for rounding
RSSI_HALF_DB = 0.25  # readers report RSSI in steps of 0.5 or 1 dB: how near two may not be told


@dataclass(frozen=True, eq=False)
class Variation:
    """One row for each group but `group` (its index, by roster entry) and `slope`.

    `link_db` and `rssi_db` are standard deviations of a presentation's shift in link and in RSSI
    beyond it; `common` is the share of the former's variance that all tags of the group in a pass
    have alike; `fails` the chance that a read above turn-on fails. Turn-ons beyond the highest
    (`above_db`) and the lowest level (`below_db`) lie so far from it in the mean. `slope`: dB of
    RSSI a dB of power.
    """

    group: Ints
    link_db: Floats
    rssi_db: Floats
    common: Floats
    fails: Floats
    above_db: Floats
    below_db: Floats
    slope: float


@kept
def variation_of(survey: Survey) -> Variation:
    """What the survey tells of what may vary. Needs a survey without untried pairs."""
    on, levels = turn_on(survey), survey.levels_dbm
    group, stays = _groups(survey)
    low, high = _between(on, levels)
    gaps, above = _gaps(on)
    rows = []
    for number, fixed in enumerate(stays.tolist()):
        entries = np.flatnonzero(group == number)
        over, under = _beyond(low[entries], high[entries], levels)
        where = _Intervals.of(low[entries], high[entries], np.array([over, under]))
        rows.append(
            (
                _likeliest(survey, entries, where, fixed),
                _rssi(survey, on, entries, fixed),
                _common(survey, entries, where.middle),
                (gaps[entries].sum() + FAILS_WEIGHT * gaps.sum() / max(above.sum(), 1))
                / (above[entries].sum() + FAILS_WEIGHT),
                over,
                under,
            )
        )
    link, rssi, common, fails, over_db, under_db = np.array(rows, float).reshape(-1, 6).T
    return Variation(group, link, rssi, common, fails, over_db, under_db, _slope(on, levels))


def _groups(survey: Survey) -> tuple[Ints, Bools]:
    """The group of each roster entry, and whether the tags of a group stay from pass to pass."""
    seen = np.bincount(survey.roster_tag, minlength=len(survey.tags))
    stays = seen > max(STAYS * len(survey.pass_ids), 1)
    types = np.unique([tag.tag_type or "" for tag in survey.tags], return_inverse=True)[1]
    tag = survey.roster_tag
    keys = np.column_stack([survey.roster_wanted, types.reshape(-1)[tag], stays[tag]])
    kinds, group = np.unique(keys, axis=0, return_inverse=True)
    return group.reshape(-1).astype(np.int64), kinds[:, 2] > 0


def _between(on: TurnOn, levels: Floats) -> tuple[Floats, Floats]:
    """The levels between which each entry turns on; −inf and inf beyond the ends."""
    first, never = np.maximum(on.level, 0), on.level < 0
    low = np.where(first > 0, levels[np.maximum(first - 1, 0)], -np.inf)
    return np.where(never, levels[-1], low), np.where(never, np.inf, levels[first])


def _gaps(on: TurnOn) -> tuple[Ints, Ints]:
    """Levels above turn-on, of each entry: not read, and all."""
    above = np.arange(on.peaks.shape[1]) > on.level[:, None]
    above &= (on.level >= 0)[:, None]
    gaps: Ints = (above & np.isneginf(on.peaks)).sum(axis=1)
    every: Ints = above.sum(axis=1)
    return gaps, every


def _beyond(low: Floats, high: Floats, levels: Floats) -> tuple[float, float]:
    """How far above and below the range turn-ons lie in the mean, if they come as often there as
    just inside it (an exponential law beyond each end)."""

    def mean(near: Bools, seen: Bools) -> float:
        return float(np.clip(END_DB * near.sum() / max(seen.sum(), 0.5), *BEYOND_DB))

    top, bottom = high > levels[-1] - END_DB, low < levels[0] + END_DB
    return mean(top, top & np.isfinite(high)), mean(bottom, bottom & np.isfinite(low))


@dataclass(frozen=True, eq=False)
class _Intervals:
    """Where one figure of each entry lies: between two bounds, with one value to stand for it."""

    low: Floats
    high: Floats
    middle: Floats

    @staticmethod
    def of(low: Floats, high: Floats, beyond: Floats) -> _Intervals:
        """With the median of what lies beyond an end, for those that do."""
        over, under = np.log(2.0) * beyond
        ends = np.where(np.isinf(high), low + over, high - under)
        inside = np.isfinite(low) & np.isfinite(high)
        half = (np.where(inside, low, 0.0) + np.where(inside, high, 0.0)) / 2
        return _Intervals(low, high, np.where(inside, half, ends))

    def at(self, some: Ints) -> _Intervals:
        return _Intervals(self.low[some], self.high[some], self.middle[some])


def _rssi(survey: Survey, on: TurnOn, entries: Ints, fixed: bool) -> float:
    """The kernel of RSSI at turn-on, less what follows from turn-on itself."""
    entries = entries[on.level[entries] >= 0]
    if len(entries) < PRESENTATIONS_MIN:
        return 0.0
    x, y = survey.levels_dbm[on.level[entries]], on.rssi[entries]
    x, y = x - x.mean(), y - y.mean()
    off = y - x * (x @ y - RSSI_SLOPE_WEIGHT) / (x @ x + RSSI_SLOPE_WEIGHT)
    about = _Intervals(off - RSSI_HALF_DB, off + RSSI_HALF_DB, off)
    return _likeliest(survey, entries, about, fixed)


def _likeliest(survey: Survey, entries: Ints, where: _Intervals, fixed: bool) -> float:
    """The kernel (dB) under which intervals are likeliest, each given those left when its pass and,
    unless `fixed`, its tag are left out."""
    some = np.linspace(0, len(entries) - 1, min(TRIED_MAX, len(entries))).round().astype(np.int64)
    entries, where = entries[some], where.at(some)
    of_pass, of_tag = survey.roster_pass[entries], survey.roster_tag[entries]
    other = of_pass[:, None] != of_pass
    if not fixed:
        other &= of_tag[:, None] != of_tag
    judged = other.sum(axis=1)
    keep = np.flatnonzero(judged >= PRESENTATIONS_MIN - 1)
    if len(keep) < PRESENTATIONS_MIN:
        return 0.0
    judged = judged[keep]
    width = where.high - where.low
    width = np.where(np.isfinite(width), width, 0.0)
    anywhere = np.clip(width[keep] / (np.ptp(where.middle) + END_DB), 1e-3, 1.0)  # no other near
    kinds, kind = np.unique(  # levels and RSSI come in steps: intervals are few
        np.column_stack([where.low, where.high, where.middle, width]), axis=0, return_inverse=True
    )
    low, high, middle, width = kinds.T
    kind = kind.reshape(-1)
    others = other[keep].astype(float) @ (kind[:, None] == np.arange(len(kinds)))
    best = (-np.inf, 0.0)
    for kernel in KERNELS_DB:
        scale = np.sqrt(kernel**2 + width**2 / 12 + 1e-12)
        near = special.ndtr((high[:, None] - middle) / scale)
        near -= special.ndtr((low[:, None] - middle) / scale)
        share = (near[kind[keep]] * others).sum(axis=1) / judged
        found = float(np.log((judged * share + anywhere) / (judged + 1)).sum())
        best = max(best, (found, -kernel))
    return abs(best[1])


def _common(survey: Survey, entries: Ints, middle: Floats) -> float:
    """The share of the variance of turn-on that lies between passes (0 where tags come alone)."""
    of_pass = survey.roster_pass[entries]
    count = np.bincount(of_pass)
    inside, total = int(np.maximum(count - 1, 0).sum()), float(np.var(middle, ddof=0))
    if len(entries) <= PRESENTATIONS_MIN or not inside or total < _EQUAL_DB2:
        return 0.0
    mean = np.bincount(of_pass, middle) / np.maximum(count, 1)
    within = float(((middle - mean[of_pass]) ** 2).sum()) / inside
    return float(np.clip(1 - within / (total * len(entries) / (len(entries) - 1)), 0, 1))


def _slope(on: TurnOn, levels: Floats) -> float:
    """RSSI a dB of power, the median over neighbouring levels read; 1 where none are."""
    climb = np.diff(np.where(np.isfinite(on.peaks), on.peaks, np.nan), axis=1)
    step = np.broadcast_to(np.diff(levels), climb.shape)
    known = np.isfinite(climb)
    if not known.any():
        return 1.0
    return float(np.clip(climb[known].sum() / step[known].sum(), 0.0, 1.0))
