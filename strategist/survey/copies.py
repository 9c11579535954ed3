"""Surveys that might have been: copies of one survey, drawn by what may vary, pooled into one.

Each presentation of a copy is one of the survey with its link a little weaker or stronger: at a
level it has the raw reads that it had at the level so much lower or higher, with the RSSI that goes
with it. Whatever is worked out of raw reads (peaks, scores) follows.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np

from strategist.survey.policy import DECIMALS, RSSI_DBM_MAX, RSSI_DBM_MIN
from strategist.survey.profile import TurnOn, turn_on
from strategist.survey.records import Bools, Floats, Ints, Survey
from strategist.survey.variation import Variation

__all__ = ["PASSES", "PASSES_AGAIN", "Sample", "copies_for", "drawn_copies", "peaks_of_copies"]

PASSES = 300  # of all copies together; twice as many chose no better (tests/bench/regret)
PASSES_AGAIN = 150  # where the choice is made again, many times, without some passes or tags
COPIES_MIN, COPIES_MAX = 3, 30
ROUND_DB = 0.25  # finer RSSI than this in copies only adds cutoffs to look at
DONORS = 5  # presentations that turned on last, whose reads stand for one never read


@dataclass(frozen=True, eq=False)
class Sample:
    """Passes to choose over in place of those surveyed: pass p counts `times[p]` times (0: not).
    Strays are `free_below` so many dBm, as `aggregate` has it (None: none is)."""

    survey: Survey
    times: Ints
    free_below: Floats | None = None


def copies_for(passes: int, together: int = PASSES) -> int:
    """How many copies to choose over, the survey included, of about so many passes together."""
    return max(COPIES_MIN, min(COPIES_MAX, together // passes))


def drawn_copies(
    survey: Survey, variation: Variation, copies: int, seed: tuple[int, ...], *, own: bool = True
) -> Survey:
    """The passes of so many copies, one copy after the other; `own`: the first is the survey.

    Tags are those of the survey. Copy k depends on the seed's numbers and k alone. Needs a survey
    without untried pairs; what was predicted is drawn from like what was read.
    """
    draw = _Draw(survey, variation)
    passes, entries = len(survey.pass_ids), len(survey.roster_pass)
    reads = [draw.reads(np.random.default_rng([*seed, k])) for k in range(own, copies)]
    if own:
        reads.insert(0, draw.surveyed)
    taken, of_entry, level, rssi = (np.concatenate(column) for column in zip(*reads, strict=True))
    shift = np.repeat(np.arange(copies), [len(one[0]) for one in reads])
    columns = {f.name: getattr(survey, f.name) for f in fields(survey)}
    of_reads: dict[str, Any] = {}
    of_roster: dict[str, Any] = {}
    of_pairs: dict[str, Any] = {}
    for name, column in columns.items():
        if not isinstance(column, np.ndarray):
            continue
        if name.startswith("read_"):
            of_reads[name] = column[taken]
        elif name.startswith("roster_"):
            of_roster[name] = np.tile(column, copies)
        elif column.ndim == 2:
            of_pairs[name] = np.tile(column, (copies, 1))
    of_reads["read_pass"] = survey.roster_pass[of_entry] + passes * shift
    of_reads |= {"read_level": level, "read_tag": survey.roster_tag[of_entry], "read_rssi": rssi}
    of_roster["roster_pass"] += np.repeat(np.arange(copies) * passes, entries)
    of_passes: dict[str, Any] = {
        name: getattr(survey, name) * copies for name in ("pass_condition", "pass_day")
    }
    if survey.pass_weight is not None:
        of_passes["pass_weight"] = np.tile(survey.pass_weight, copies)
    ids = tuple(f"{name}#{k}" for k in range(copies) for name in survey.pass_ids)
    return replace(
        survey, pass_ids=ids, predicted=None, **of_reads, **of_roster, **of_pairs, **of_passes
    )


def peaks_of_copies(
    survey: Survey, variation: Variation, copies: int, seed: tuple[int, ...]
) -> Floats:
    """The `peaks` of what `drawn_copies` draws without the survey itself, in a third of the time:
    shape (copies, entries, levels)."""
    draw = _Draw(survey, variation)
    return np.array([draw.peaks(np.random.default_rng([*seed, k])) for k in range(copies)])


Reads = tuple[Ints, Ints, Ints, Floats]  # read of the survey it is made of, entry, level, RSSI


class _Draw:
    """What the copies of one survey are made from."""

    def __init__(self, survey: Survey, variation: Variation) -> None:
        self.survey, self.variation, self.on = survey, variation, turn_on(survey)
        levels = len(survey.levels_dbm)
        self.round_db = _step(survey.read_rssi)
        self.donors = _donors(self.on, variation)
        read = np.isfinite(self.on.peaks)
        self.source = np.maximum.accumulate(np.where(read, np.arange(levels), -1), axis=1)

    @cached_property
    def surveyed(self) -> Reads:
        survey, tags = self.survey, len(self.survey.tags)
        keys = survey.roster_pass * tags + survey.roster_tag
        order = np.argsort(keys)
        place = np.searchsorted(keys[order], survey.read_pass * tags + survey.read_tag)
        return np.arange(len(place)), order[place], survey.read_level, survey.read_rssi

    @cached_property
    def by_cell(self) -> tuple[Ints, Ints]:
        """The reads of the survey by cell, and where those of each cell begin."""
        _, entry, level, _ = self.surveyed
        levels = len(self.survey.levels_dbm)
        cell = entry * levels + level
        order = np.argsort(cell, kind="stable")
        ends = np.arange(len(self.survey.roster_pass) * levels + 1)
        return order, np.searchsorted(cell[order], ends)

    def reads(self, rng: np.random.Generator) -> Reads:
        """One copy."""
        return self._expanded(*self._cells(rng))

    def peaks(self, rng: np.random.Generator) -> Floats:
        """The strongest reads of one copy: shape (entries, levels)."""
        entry, level, giver, taken, moved = self._cells(rng)
        found = np.full(self.on.peaks.shape, -np.inf)
        found[entry, level] = self._reported(self.on.peaks[giver, taken] + moved)
        return found

    def _cells(self, rng: np.random.Generator) -> tuple[Ints, Ints, Ints, Ints, Floats]:
        """What one copy reads: entry and level, the cell of the survey (giver, level taken) whose
        reads are had there, and by how many dB they are moved."""
        levels, group = self.survey.levels_dbm, self.variation.group
        entries, high = len(group), len(levels) - 1
        shift, off = self._shifts(rng)
        turn, beyond, fails = (
            rng.random(entries),
            rng.exponential(size=entries),
            rng.random((entries, len(levels))),
        )
        power = levels + shift[:, None]  # the level whose reads are had
        below = np.clip(np.searchsorted(levels, power + 1e-9, "right") - 1, 0, high)
        above = np.minimum(below + 1, high)
        share = (power - levels[below]) / np.where(above > below, levels[above] - levels[below], 1)
        at = np.where((share > 0) & (share >= turn[:, None]), above, below)
        source = np.take_along_axis(self.source, at, axis=1)
        late = self._late(power, beyond) & (self.donors[0][group] >= 0)[:, None]
        early = self._early(power, beyond)
        failed = (fails < self.variation.fails[group][:, None]) & (at > self.on.level[:, None])
        read = ((source >= 0) & ~early | late) & ~failed
        entry, level = np.nonzero(read)
        pick = self.donors[:, group][rng.integers(DONORS, size=entries), np.arange(entries)]
        is_late = late[entry, level]
        giver = np.where(is_late, pick[entry], entry)
        taken = np.where(is_late, self.on.level[giver], source[entry, level])
        moved = shift[entry] + self.variation.slope * (power[entry, level] - levels[taken])
        return entry, level, giver, taken, np.where(is_late, 0.0, moved) + off[entry]

    def _shifts(self, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Shift in link, and in RSSI beyond it, of each entry (dB)."""
        one, group = self.variation, self.variation.group
        passes, entries = len(self.survey.pass_ids), len(group)
        shared = rng.standard_normal((passes, len(one.link_db)))[self.survey.roster_pass, group]
        common = one.common[group]
        link = np.sqrt(common) * shared + np.sqrt(1 - common) * rng.standard_normal(entries)
        return one.link_db[group] * link, one.rssi_db[group] * rng.standard_normal(entries)

    def _late(self, power: Floats, beyond: Floats) -> Bools:
        """Never read in the survey, and turned on in the copy."""
        one, top = self.variation, self.survey.levels_dbm[-1]
        late = power > (top + beyond * one.above_db[one.group])[:, None]
        found: Bools = late & (self.on.level < 0)[:, None]
        return found

    def _early(self, power: Floats, beyond: Floats) -> Bools:
        """Read at the lowest level of the survey, and silent in the copy."""
        one, bottom = self.variation, self.survey.levels_dbm[0]
        early = power < (bottom - beyond * one.below_db[one.group])[:, None]
        found: Bools = early & (self.on.level == 0)[:, None]
        return found

    def _expanded(self, entry: Ints, level: Ints, giver: Ints, taken: Ints, moved: Floats) -> Reads:
        """The raw reads of cells (giver, taken) as those of (entry, level), moved by some dB."""
        order, start = self.by_cell
        cell = giver * len(self.survey.levels_dbm) + taken
        count = start[cell + 1] - start[cell]
        first = np.repeat(start[cell] - np.cumsum(count) + count, count)
        reads = order[first + np.arange(count.sum())]
        rssi = self._reported(self.survey.read_rssi[reads] + np.repeat(moved, count))
        return reads, np.repeat(entry, count), np.repeat(level, count), rssi

    def _reported(self, rssi: Floats) -> Floats:
        """RSSI in the steps of the survey."""
        rounded = np.round(np.round(rssi / self.round_db) * self.round_db, DECIMALS)
        return np.clip(rounded, RSSI_DBM_MIN, RSSI_DBM_MAX)


def _step(rssi: Floats) -> float:
    """The step in which RSSI was reported, no finer than `ROUND_DB`."""
    apart = np.diff(np.unique(np.round(rssi, DECIMALS)))
    return max(float(apart.min(initial=1.0)), ROUND_DB)


def _donors(on: TurnOn, variation: Variation) -> Ints:
    """Entries of each group that turned on last: shape (DONORS, groups); −1 where none did."""
    groups = len(variation.link_db)
    found = np.full((DONORS, groups), -1, np.int64)
    for number in range(groups):
        read = np.flatnonzero((variation.group == number) & (on.level >= 0))
        last = read[np.argsort(-on.level[read], kind="stable")][:DONORS]
        if len(last):
            found[:, number] = np.resize(last, DONORS)
    return found
