"""Surveys that may be: what was not tried is drawn by what the link model says and leaves open.

What was tried stays as it is. A tag first read at some level turns on by the law of its type,
between that level and the one below that was silent; above a read it is read but for a chance to
fail, as in the survey; RSSI is off the model's by as much as the survey's reads are. A tag silent
at the highest level tried in its pass stays silent.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from strategist.radio.tag_link import beside, climb_of, compression_of, law_of, rssi_of, starts_of
from strategist.survey.policy import DECIMALS, RSSI_DBM_MAX, RSSI_DBM_MIN
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, Ints, Survey

__all__ = ["possible_surveys"]

_FAILS, _OF = 1.0, 50.0  # failed reads of reads that stand in for a survey that shows few
_RSSI_DB, _RSSI_OF = 0.5, 20.0  # the same of what RSSI is off, and reads
_STEP_DB = (0.1, 1.0)  # RSSI comes in the survey's own steps, within these


def possible_surveys(survey: Survey, draws: int, seed: tuple[int, ...]) -> tuple[Survey, ...]:
    """So many surveys without untried pairs that agree with one where it was tried.

    Each has the strongest read of a tag at each level, of all antennas. Draw k depends on the
    seed's numbers and k alone. Each pass needs a level that was tried.
    """
    links = _links(survey)
    return tuple(
        _survey(survey, links.drawn(np.random.default_rng([*seed, k]))) for k in range(draws)
    )


@dataclass(frozen=True, eq=False)
class _Links:
    """The cells that were not tried (`entry`, `level`), and what is known of each.

    `low` and `high` are the nearest levels tried below and above (−1: none), `slipped` that the tag
    was read above `high`, too. `fails` is the chance that a read fails, `off_db` how far RSSI is
    off `rssi` (standard deviation).
    """

    levels_dbm: Floats
    peaks: Floats
    kind: Ints
    entry: Ints
    level: Ints
    low: Ints
    high: Ints
    slipped: Bools
    rssi: Floats
    fails: float
    off_db: float
    step_db: float

    def drawn(self, rng: np.random.Generator) -> Floats:
        """Peaks (dBm, −inf: silent) of every entry at every level."""
        entry, power = self.entry, self.levels_dbm[self.level]
        read_low, read_high = self._read(self.low), self._read(self.high)
        share = np.clip(rng.random(len(self.peaks)), 1e-6, 1 - 1e-6)[entry]
        between = rng.random(len(self.peaks))[entry]
        held = rng.random(len(entry)) >= self.fails
        rising = read_high & ~read_low
        falling = read_low & (self.high >= 0) & ~read_high & ~self.slipped
        below = np.where(self.low >= 0, self.levels_dbm[self.low], -np.inf)
        above = self.levels_dbm[self.high]
        law = law_of(self.levels_dbm, self.peaks, self.kind)
        heard = np.where(read_high, self.peaks[entry, self.high], 0.0)
        on = law.turn_on_at(self.kind[entry], below, above, heard, share)
        there = np.where(self.low >= 0, power - below, 0.0)
        read = np.where(rising, power >= on, read_low) & held
        read &= ~falling | (there < between * (above - below))
        off = rng.normal(0.0, self.off_db, len(entry))
        rssi = np.round(np.round((self.rssi + off) / self.step_db) * self.step_db, DECIMALS)
        found = self.peaks.copy()
        rssi = np.clip(rssi, RSSI_DBM_MIN, RSSI_DBM_MAX)
        found[entry, self.level] = np.where(read & np.isfinite(rssi), rssi, -np.inf)
        return found

    def _read(self, at: Ints) -> Bools:
        read: Bools = (at >= 0) & np.isfinite(self.peaks[self.entry, at])
        return read


def _links(survey: Survey) -> _Links:
    levels, heard = survey.levels_dbm, peaks(survey)
    types = np.unique([tag.tag_type or "" for tag in survey.tags], return_inverse=True)[1]
    kind = types.reshape(-1)[survey.roster_tag].astype(np.int64)
    entry, level = np.nonzero(np.isnan(heard))
    low, high = (ends[entry, level] for ends in beside(heard))
    read = np.isfinite(heard)
    later = np.logical_or.accumulate(read[:, ::-1], axis=1)[:, ::-1]
    starts = starts_of(levels, heard, kind, law_of(levels, heard, kind))
    rssi = rssi_of(levels, heard, starts, entry, level)
    fails, off = _fails(heard), _off(levels, heard, starts)
    steps = np.diff(np.unique(survey.read_rssi))
    step = float(np.clip(steps.min(initial=_STEP_DB[1]), *_STEP_DB))
    slipped = (high >= 0) & later[entry, high]
    return _Links(levels, heard, kind, entry, level, low, high, slipped, rssi, fails, off, step)


def _fails(heard: Floats) -> float:
    """The share of levels tried between a tag's first and last read at which it was not read."""
    read = np.isfinite(heard)
    first = np.logical_or.accumulate(read, axis=1)
    last = np.logical_or.accumulate(read[:, ::-1], axis=1)[:, ::-1]
    inside = first & last & ~np.isnan(heard)
    inside[np.arange(len(heard)), read.argmax(axis=1)] = False
    return float((_FAILS + (inside & ~read).sum()) / (_OF + inside.sum()))


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
    return replace(
        survey,
        read_pass=survey.roster_pass[entry],
        read_level=level,
        read_tag=survey.roster_tag[entry],
        read_rssi=heard[entry, level],
        tried=np.ones_like(survey.tried),
        predicted=None,
        antennas=(),
        read_antenna=None,
        read_count=None,
        read_t_s=None,
        read_channel_mhz=None,
        dwell_s=None,
    )
