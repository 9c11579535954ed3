"""What the reads of a tag say of its link: where it turns on, how its RSSI climbs, how sure it is.

Below turn-on a passive tag is silent. From there RSSI climbs 1 dB per dB of power and bends over
as the chip compresses. The wave passes the same way out and back, so a tag that needs more power
also answers more weakly: RSSI at turn-on falls with turn-on power, and a read tells how far above
turn-on it was taken. None of this is laid over what was measured: a cell (tag in a pass, level)
that was tried stays as it is, read or not, and tags may come and go with power.

Arrays: `peaks[e, l]` in dBm as in `survey.profile.peaks` (−inf: tried and not read, NaN: not
tried), for tag presentations e and levels l; `kind[e]` numbers their tag types.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from strategist.survey.late import special
from strategist.survey.records import Bools, Floats, Ints

EDGES_MIN = 5  # turn-ons of a tag type below which it has no law
SLOPE = 0.5  # turn-on over (level − RSSI): RSSI climbs 1 dB a dB, and falls 1 dB a dB of turn-on
SLOPE_WEIGHT = 25.0  # dB², what this counts for against the survey's own slope
STEADY_DB = 0.25  # the spread of a law is never taken to be less: turn-on itself flickers
OUTLIER = 1e-4  # a turn-on that a law gives less chance than this does not follow it
EXPECTATIONS = 40  # steps of the likeliest law, which moves little after ten
COMPRESSIONS_DB = np.geomspace(2.0, 64.0, 21)  # that are tried
COMPRESSION_DB = 16.0  # where no tag was read twice: that of the measured sweep (tests/outside)


@dataclass(frozen=True, eq=False)
class Law:
    """Turn-on of a tag read at level P with RSSI R: `intercept[k] + slope · (P − R)`, in dBm.

    k is the tag type; `spread_db[k]` is the standard deviation about it, inf (and the intercept 0)
    where too few turn-ons of the type were seen.
    """

    slope: float
    intercept: Floats
    spread_db: Floats

    def turn_on(
        self, kind: Ints, unread: Floats, level: Floats, rssi: Floats
    ) -> tuple[Floats, Floats]:
        """(turn-on in dBm, its 95 % error in dB) of tags read at `level` and not at `unread`.

        What the law says with its spread, cut off at the two levels: the median, and half of what
        lies between the outer 2.5 %. Without a law, or where the levels contradict it, anywhere
        between them. `unread` −inf: no lower level was tried; without a law the turn-on is then
        −inf and the error inf, not known.
        """
        bottom, middle, top = (
            self.turn_on_at(kind, unread, level, rssi, share) for share in (0.025, 0.5, 0.975)
        )
        ends = np.isfinite(bottom)
        return middle, np.where(ends, (top - np.where(ends, bottom, 0.0)) / 2, np.inf)

    def chance_between(
        self, kind: Ints, low: Floats, high: Floats, level: Floats, rssi: Floats
    ) -> Floats:
        """The chance that turn-on lies between two levels, before it is known what was silent: 0
        below the level read last where the type has no law, and 1 above."""
        spread = self.spread_db[kind]
        known = np.isfinite(spread)
        said = self.intercept[kind] + self.slope * (level - rssi)
        scale = np.where(known, spread, 1.0)
        by_law = special.ndtr((high - said) / scale) - special.ndtr((low - said) / scale)
        found: Floats = np.where(known, by_law, np.where(np.isinf(low), 0.0, 1.0))
        return found

    def turn_on_at(
        self, kind: Ints, unread: Floats, level: Floats, rssi: Floats, share: Floats | float
    ) -> Floats:
        """The turn-on (dBm) that a share of what `turn_on` says lies below."""
        spread = self.spread_db[kind]
        known = np.isfinite(spread)
        said = self.intercept[kind] + self.slope * (level - rssi)
        scale = np.where(known, spread, 1.0)
        low, high = special.ndtr((unread - said) / scale), special.ndtr((level - said) / scale)
        lawful = known & (high - low > OUTLIER)
        by_law = said + scale * special.ndtri(low + share * (high - low))
        evenly = level - (1 - share) * (level - unread)
        found: Floats = np.clip(np.where(lawful, by_law, evenly), unread, level)
        return found


def turn_on_law(kind: Ints, unread: Floats, level: Floats, rssi: Floats, kinds: int) -> Law:
    """The law that turn-ons seen between `unread` and `level` (dBm) follow, by tag type.

    Least squares with one slope for all types, drawn towards `SLOPE`.
    """
    middle, above, width = (unread + level) / 2, level - rssi, level - unread
    count = np.bincount(kind, minlength=kinds)
    held = np.maximum(count, 1)

    def mean(values: Floats) -> Floats:
        means: Floats = np.bincount(kind, values, minlength=kinds) / held
        return means

    x, y = above - mean(above)[kind], middle - mean(middle)[kind]
    slope = float((x @ y + SLOPE_WEIGHT * SLOPE) / (x @ x + SLOPE_WEIGHT))
    rest = np.bincount(kind, (y - slope * x) ** 2, minlength=kinds) / np.maximum(count - 1, 1)
    unsure = rest * (1 + np.sqrt(2 / np.maximum(count - 1, 1)))  # by a standard error of itself
    variance = np.maximum(unsure - mean(width**2) / 12, STEADY_DB**2)  # less that of the steps
    enough = count >= EDGES_MIN
    intercept = np.where(enough, mean(middle) - slope * mean(above), 0.0)
    return Law(slope, intercept, np.where(enough, np.sqrt(variance), np.inf))


@dataclass(frozen=True, eq=False)
class Filled:
    """`peaks` with the cells asked for filled in: RSSI, or −inf where the tag stays silent.

    `turn_on_db` is the largest 95 % error of a turn-on that decided such a cell: 0 where none did,
    inf where nothing is known of one.
    """

    peaks: Floats
    turn_on_db: float


def fill(levels_dbm: Floats, peaks: Floats, kind: Ints, asked: Bools) -> Filled:
    """Predict the cells `asked` (not tried), each from the nearest levels tried below and above.

    Both read: read. Neither: silent. Silent below and read above: read from the turn-on upward.
    Read below and silent above: as the nearer of the two, silent half-way. Where only one of them
    exists: as that one, but below it only down to turn-on. RSSI is the climb from turn-on, moved
    to meet the measured reads beside it.
    """
    below, above = beside(peaks)
    law = law_of(levels_dbm, peaks, kind)
    entry, level = np.nonzero(asked)
    low, high = below[entry, level], above[entry, level]
    read_low, read_high = _read(peaks, entry, low), _read(peaks, entry, high)
    power = levels_dbm[level]
    on, error = law.turn_on(
        kind[entry],
        np.where(low >= 0, levels_dbm[low], -np.inf),
        levels_dbm[high],
        np.where(read_high, peaks[entry, high], 0.0),
    )
    rising = read_high & ~read_low
    falling = read_low & ~read_high & (high >= 0)
    nearer = power - levels_dbm[low] < levels_dbm[high] - power
    read = np.where(rising, power >= on, read_low & (~falling | nearer))
    found = peaks.copy()
    rssi = rssi_of(levels_dbm, peaks, starts_of(levels_dbm, peaks, kind, law), entry, level)
    found[entry, level] = np.where(read, rssi, -np.inf)
    return Filled(found, float(error[rising].max(initial=0.0)))


def beside(peaks: Floats) -> tuple[Ints, Ints]:
    """Index of the nearest level tried below and above each cell; −1 where there is none."""
    levels = peaks.shape[1]
    tried = ~np.isnan(peaks)
    here = np.arange(levels)[None, :]
    below = np.maximum.accumulate(np.where(tried, here, -1), axis=1)
    above = np.minimum.accumulate(np.where(tried, here, levels)[:, ::-1], axis=1)[:, ::-1]
    return below, np.where(above == levels, -1, above)


def _read(peaks: Floats, entry: Ints, level: Ints) -> Bools:
    """Whether a tag was read at a level, which is −1 for none."""
    read: Bools = (level >= 0) & np.isfinite(peaks[entry, level])
    return read


def _first(peaks: Floats) -> tuple[Ints, Ints, Ints]:
    """(entry, first level read, nearest level tried below it or −1) of each tag that was read."""
    read = np.isfinite(peaks)
    entry = np.flatnonzero(read.any(axis=1))
    first = read[entry].argmax(axis=1)
    below, _ = beside(peaks)
    return entry, first, np.where(first > 0, below[entry, first - 1], -1)


def law_of(levels_dbm: Floats, peaks: Floats, kind: Ints) -> Law:
    entry, first, under = _first(peaks)
    seen = under >= 0
    entry, first, under = entry[seen], first[seen], under[seen]
    return turn_on_law(
        kind[entry],
        levels_dbm[under],
        levels_dbm[first],
        peaks[entry, first],
        int(kind.max(initial=0)) + 1,
    )


def likeliest_law(levels_dbm: Floats, peaks: Floats, kind: Ints) -> Law:
    """The law of slope `SLOPE` under which turn-ons lie as likely as may be between the levels that
    bound them.

    `turn_on_law` puts each midway, which is fair where levels are near each other. Where they are
    far apart, most tags of a place may turn on near one end, and midway is too far apart for a
    slope: so intercept and spread by expectation and maximisation for censored normal data
    (Dempster, Laird and Rubin, JRSS B 39, 1977).
    """
    law = replace(law_of(levels_dbm, peaks, kind), slope=SLOPE)
    entry, first, under = _first(peaks)
    seen = (under >= 0) & np.isfinite(law.spread_db[kind[entry]])
    entry, first, under = entry[seen], first[seen], under[seen]
    of, above = kind[entry], levels_dbm[first] - peaks[entry, first]
    count = np.bincount(of, minlength=len(law.spread_db))

    def mean(values: Floats) -> Floats:
        means: Floats = np.bincount(of, values, minlength=len(count)) / count.clip(1)
        return means

    known, off = count > 0, SLOPE * above
    midway = mean((levels_dbm[under] + levels_dbm[first]) / 2 - off)
    law = replace(law, intercept=np.where(known, midway, law.intercept))
    for _ in range(EXPECTATIONS):
        said = law.intercept[of] + off
        middle, spread = _censored(said, law.spread_db[of], levels_dbm[under], levels_dbm[first])
        intercept = mean(middle - off)
        rest = middle - off - intercept[of]
        variance = np.maximum(mean(rest**2 + spread), STEADY_DB**2)
        law = Law(
            SLOPE,
            np.where(known, intercept, law.intercept),
            np.where(known, np.sqrt(variance), law.spread_db),
        )
    return law


def _censored(said: Floats, scale: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of normal values that are known to lie between two bounds."""
    a, b = (low - said) / scale, (high - said) / scale
    inside = special.ndtr(b) - special.ndtr(a)
    lawful = inside > OUTLIER
    held = np.where(lawful, inside, 1.0)
    at_a, at_b = (np.exp(-(one**2) / 2) / np.sqrt(2 * np.pi) for one in (a, b))
    off = (at_a - at_b) / held
    narrowed = np.maximum(1 + (a * at_a - b * at_b) / held - off**2, 0.0)
    middle = np.where(lawful, said + scale * off, np.clip(said, low, high))
    return middle, np.where(lawful, scale**2 * narrowed, 0.0)


def climb_of(over_db: Floats, compression_db: float) -> Floats:
    """RSSI above that at turn-on, `over_db` of power above turn-on.

    Its slope is 1 at turn-on (and where the line goes on below) and half at `compression_db`.
    """
    upward = np.maximum(over_db, 0.0)
    climb: Floats = compression_db * np.log1p(upward / compression_db)
    return np.minimum(over_db, 0.0) + climb


def starts_of(levels_dbm: Floats, peaks: Floats, kind: Ints, law: Law) -> Floats:
    """Turn-on of each tag by its lowest read; that read's level where no more is known."""
    entry, first, under = _first(peaks)
    unread = np.where(under >= 0, levels_dbm[under], -np.inf)
    on, _ = law.turn_on(kind[entry], unread, levels_dbm[first], peaks[entry, first])
    starts = np.full(len(peaks), levels_dbm[-1])
    starts[entry] = np.where(np.isfinite(on), on, levels_dbm[first])
    return starts


def rssi_of(levels_dbm: Floats, peaks: Floats, starts: Floats, entry: Ints, level: Ints) -> Floats:
    """RSSI of cells if they are read: the climb, and what the reads beside them are off it."""
    over = levels_dbm[None, :] - starts[:, None]
    climb = climb_of(over, compression_of(over, peaks))
    off = np.where(np.isfinite(peaks), peaks - climb, np.nan)
    below, above = (ends[entry, level] for ends in beside(peaks))
    low = np.where(below >= 0, off[entry, below], np.nan)
    high = np.where(above >= 0, off[entry, above], np.nan)
    span = np.where((below >= 0) & (above >= 0), levels_dbm[above] - levels_dbm[below], 1.0)
    share = (levels_dbm[level] - levels_dbm[below]) / span
    one = np.where(np.isnan(low), high, low)
    moved = np.where(np.isnan(low) | np.isnan(high), one, low + share * (high - low))
    found: Floats = climb[entry, level] + moved
    return found


def compression_of(over: Floats, peaks: Floats) -> float:
    """The compression (dB) whose climb the reads of each tag lie nearest to, by least squares."""
    read = np.isfinite(peaks)
    several = read.sum(axis=1) > 1
    if not several.any():
        return COMPRESSION_DB
    entry, level = np.nonzero(read & several[:, None])
    x, y = over[entry, level], peaks[entry, level]
    count = np.maximum(np.bincount(entry, minlength=len(peaks)), 1)

    def left(compression_db: float) -> float:
        off = y - climb_of(x, compression_db)
        return float(np.sum((off - (np.bincount(entry, off, len(peaks)) / count)[entry]) ** 2))

    return float(min(COMPRESSIONS_DB, key=left))
