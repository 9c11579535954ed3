"""Surveys that may be: what was not tried is drawn by what the link model says and leaves open.

What was tried stays as it is. A tag first read at some level turns on by the law of its type,
between that level and the one below that was silent, or further down where the silence was a read
that failed: by how likely that is with the chance to fail that the survey shows. Above a read it is
read but for that chance; a silence above a read is a failed read or a place where the tag is gone,
by how often both come. RSSI is off the model's by as much as the survey's reads are. A tag silent
at every level tried in its pass stays silent, but for the share of such tags whose read at the
highest one must have failed: these do as one does that was first read there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.radio.tag_link import (
    Law,
    beside,
    climb_of,
    compression_of,
    likeliest_law,
    rssi_of,
    starts_of,
)
from strategist.survey.policy import DECIMALS, RSSI_DBM_MAX, RSSI_DBM_MIN
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, Ints, Survey

__all__ = ["Possible", "possible_surveys"]

_FAILS, _OF = 1.0, 50.0  # failed reads of reads that stand in for a survey that shows few
_RSSI_DB, _RSSI_OF = 0.5, 20.0  # the same of what RSSI is off, and reads
_STEP_DB = (0.1, 1.0)  # RSSI comes in the survey's own steps, within these


def possible_surveys(survey: Survey, draws: int, seed: tuple[int, ...]) -> tuple[Survey, ...]:
    """So many surveys without untried pairs that agree with one where it was tried.

    Each has the strongest read of a tag at each level, of all antennas. Draw k depends on the
    seed's numbers and k alone. Each pass needs a level that was tried.
    """
    possible = Possible(survey, seed)
    return tuple(possible.survey(k) for k in range(draws))


class Possible:
    """What may be at the pairs that were not tried. Draw k has turn-on, where a tag is gone, and
    how far RSSI is off the model, which stay when a pass is presented again; and reads that fail,
    which do not."""

    def __init__(self, survey: Survey, seed: tuple[int, ...]) -> None:
        self.of, self.seed, self._links = survey, seed, _links(survey)

    def survey(self, draw: int) -> Survey:
        """A survey without untried pairs."""
        rng = np.random.default_rng([*self.seed, draw])
        return _survey(self.of, self._links.by_chance(self._links.sure(rng), rng))

    def sure(self, draw: int) -> Survey:
        """The same if no read failed where it was not tried."""
        return _survey(self.of, self.heard(draw))

    def heard(self, draw: int) -> Floats:
        """The peaks of `sure`, as in `survey.profile.peaks`."""
        return self._links.sure(np.random.default_rng([*self.seed, draw]))


@dataclass(frozen=True, eq=False)
class _Links:
    """The cells that were not tried (`entry`, `level`), and what is known of each.

    `low` and `high` are the nearest levels tried below and above (−1: none), `slipped` that the tag
    was read above `high`, too. `fails` is the chance that a read fails, `gone` that silence at the
    highest level tried of a tag read below is more, `off_db` how far RSSI is off `rssi`
    (standard deviation).
    """

    levels_dbm: Floats
    peaks: Floats
    kind: Ints
    group: Ints
    law: Law
    entry: Ints
    level: Ints
    low: Ints
    high: Ints
    slipped: Bools
    rssi: Floats
    fails: float
    gone: float
    off_db: float
    step_db: float

    def sure(self, rng: np.random.Generator) -> Floats:
        """Peaks (dBm, −inf: silent) of every entry at every level where no read fails."""
        entry, power = self.entry, self.levels_dbm[self.level]
        read_low, read_high = self._read(self.low), self._read(self.high)
        between, gone = rng.random((2, len(self.peaks)))
        donor = self._donors(rng)
        on = self._turn_on(rng)[donor][entry]
        falling = read_low & (self.high >= 0) & ~read_high & ~self.slipped
        falling &= (gone < self.gone)[entry]
        below = np.where(self.low >= 0, self.levels_dbm[self.low], -np.inf)
        there = np.where(self.low >= 0, power - below, 0.0)
        read = power >= on
        read &= ~falling | (there < between[entry] * (self.levels_dbm[self.high] - below))
        off = rng.normal(0.0, self.off_db, len(entry))
        if_read = self.peaks.copy()
        if_read[entry, self.level] = self.rssi
        rssi = if_read[donor[entry], self.level] + off
        rssi = np.round(np.round(rssi / self.step_db) * self.step_db, DECIMALS)
        found = self.peaks.copy()
        read &= np.isfinite(rssi)
        rssi = np.clip(rssi, RSSI_DBM_MIN, RSSI_DBM_MAX)
        found[entry, self.level] = np.where(read, rssi, -np.inf)
        return found

    def by_chance(self, sure: Floats, rng: np.random.Generator) -> Floats:
        """The same where reads fail, in what was not tried."""
        fails = rng.random(len(self.entry)) < self.fails
        found = sure.copy()
        found[self.entry[fails], self.level[fails]] = -np.inf
        return found

    def _donors(self, rng: np.random.Generator) -> Ints:
        """The entry whose link each has: its own, or of those never read in place of as many as
        fail there one of their group that was first read at the highest level tried."""
        read, tried = np.isfinite(self.peaks), ~np.isnan(self.peaks)
        last = self.peaks.shape[1] - 1 - tried[:, ::-1].argmax(axis=1)
        never, found = ~read.any(axis=1), np.arange(len(read))
        late = ~never & (read.argmax(axis=1) == last)
        for group in np.unique(self.group[never]):
            mine = np.flatnonzero(never & (self.group == group))
            givers = np.flatnonzero(late & (self.group == group))
            if len(givers):
                share = self.fails / (1 - self.fails) * len(givers) / len(mine)
                mine = mine[rng.random(len(mine)) < share]
                found[mine] = rng.choice(givers, len(mine))
        return found

    def _turn_on(self, rng: np.random.Generator) -> Floats:
        """Turn-on (dBm) of each entry; inf where it was never read.

        Each silent level below the first read bounds it, or was a failed read: the lower the
        stretch of power that is taken, the more reads must have failed.
        """
        read, tried = np.isfinite(self.peaks), ~np.isnan(self.peaks)
        ever, first = read.any(axis=1), read.argmax(axis=1)
        level, heard = self.levels_dbm[first], self.peaks[np.arange(len(first)), first]
        law = self.law
        share = np.clip(rng.random(len(first)), 1e-6, 1 - 1e-6)
        left = rng.random(len(first))
        silent = tried & (np.arange(len(self.levels_dbm)) < first[:, None])
        upper = level.copy()
        lower = np.full(len(first), -np.inf)
        open_ = ever.copy()
        rssi = np.where(ever, heard, 0.0)
        for at in range(len(self.levels_dbm) - 1, -1, -1):
            now = open_ & silent[:, at]
            under = np.full(len(first), self.levels_dbm[at])
            inside = law.chance_between(self.kind, under, upper, level, rssi)
            beneath = law.chance_between(
                self.kind, np.full_like(under, -np.inf), under, level, rssi
            )
            stays = inside / np.maximum(inside + self.fails * beneath, 1e-12)
            ends = now & (left < stays)
            lower = np.where(ends, under, lower)
            left = np.where(now & ~ends, (left - stays) / np.maximum(1 - stays, 1e-12), left)
            upper = np.where(now & ~ends, under, upper)
            open_ &= ~ends
        return np.where(
            ever, law.turn_on_at(self.kind, lower, upper, rssi + upper - level, share), np.inf
        )

    def _read(self, at: Ints) -> Bools:
        read: Bools = (at >= 0) & np.isfinite(self.peaks[self.entry, at])
        return read


def _links(survey: Survey) -> _Links:
    levels, heard = survey.levels_dbm, peaks(survey)
    types = np.unique([tag.tag_type or "" for tag in survey.tags], return_inverse=True)[1]
    kind = types.reshape(-1)[survey.roster_tag].astype(np.int64)
    group = 2 * kind + survey.roster_wanted
    entry, level = np.nonzero(np.isnan(heard))
    low, high = (ends[entry, level] for ends in beside(heard))
    read = np.isfinite(heard)
    later = np.logical_or.accumulate(read[:, ::-1], axis=1)[:, ::-1]
    law = likeliest_law(levels, heard, kind)
    starts = starts_of(levels, heard, kind, law)
    rssi = rssi_of(levels, heard, starts, entry, level)
    fails, off = _fails(heard), _off(levels, heard, starts)
    gone = _gone(heard, fails)
    steps = np.diff(np.unique(survey.read_rssi))
    step = float(np.clip(steps.min(initial=_STEP_DB[1]), *_STEP_DB))
    slipped = (high >= 0) & later[entry, high]
    return _Links(
        levels,
        heard,
        kind,
        group,
        law,
        entry,
        level,
        low,
        high,
        slipped,
        rssi,
        fails,
        gone,
        off,
        step,
    )


def _fails(heard: Floats) -> float:
    """The share of levels tried between a tag's first and last read at which it was not read."""
    read, tried = np.isfinite(heard), ~np.isnan(heard)
    before = np.logical_or.accumulate(read, axis=1)[:, :-2]
    after = np.logical_or.accumulate(read[:, ::-1], axis=1)[:, ::-1][:, 2:]
    inside = before & after & tried[:, 1:-1]
    return float((_FAILS + (inside & ~read[:, 1:-1]).sum()) / (_OF + inside.sum()))


def _gone(heard: Floats, fails: float) -> float:
    """Of silences at the highest level tried of tags read below, the share that did not fail."""
    tried, read = ~np.isnan(heard), np.isfinite(heard)
    last = heard.shape[1] - 1 - tried[:, ::-1].argmax(axis=1)
    top = read[np.arange(len(heard)), last]
    before = read.sum(axis=1) - top > 0
    silent = float((before & ~top).sum() / max(before.sum(), 1))
    return max(0.0, 1 - fails / silent) if silent else 0.0


def _off(levels: Floats, heard: Floats, starts: Floats) -> float:
    """How far (dB, standard deviation) reads of a tag lie off the climb that it follows."""
    over = levels[None, :] - starts[:, None]
    off = np.where(np.isfinite(heard), heard - climb_of(over, compression_of(over, heard)), np.nan)
    count = np.isfinite(off).sum(axis=1)
    several = off[count > 1]
    apart = several - np.nanmean(several, axis=1, keepdims=True) if len(several) else several
    squares = float(np.nansum(apart**2)) + _RSSI_OF * _RSSI_DB**2
    return float(np.sqrt(squares / (_RSSI_OF + (count[count > 1] - 1).sum())))


def _survey(survey: Survey, heard: Floats) -> Survey:
    entry, level = np.nonzero(np.isfinite(heard))
    return survey.of_numbers(
        survey.roster_pass[entry],
        level,
        survey.roster_tag[entry],
        heard[entry, level],
        tried=np.ones_like(survey.tried),
        predicted=None,
    )
