"""What a survey comes to: peaks, turn-on, and the aggregated profile that the optimiser needs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from strategist.survey.kept import kept
from strategist.survey.many import strongest
from strategist.survey.records import Bools, Floats, Ints, Survey

_UNTRIED = 1e9  # dBm, in place of NaN where rows are compared
_FREE, _DEAR = -1, -2  # in place of a role: strays that stop a ladder alone, or cost alone


@dataclass(frozen=True, eq=False)
class Profile:
    """Presentations with the same consequences, counted once.

    Row r stands for `row_count[r]` tags of class `row_class[r]` (tags that no candidate mask tells
    apart) in pass group `row_pass[r]`, all wanted or all stray by `row_wanted[r]`. `rssi[r, l]`
    is the peak in dBm at level index l; −inf: tried and not read; NaN: not surveyed. Pass group p
    stands for `pass_count[p]` passes that are equal in all this. Rows are sorted by pass group.
    Pass q of the survey is in group `group_of[q]` (-1: it counts nowhere). To the
    loss count `row_cost[r]` tags of a row (None: as many as to the stop of a ladder).
    """

    levels_dbm: Floats
    row_pass: Ints
    row_class: Ints
    row_wanted: Bools
    row_count: Ints
    rssi: Floats
    pass_count: Ints
    classes: int
    group_of: Ints
    row_cost: Ints | None = None

    def at_levels(self, keep: Bools) -> Profile:
        """The profile at some of the levels only (rows are not merged again)."""
        return replace(
            self, levels_dbm=self.levels_dbm[keep], rssi=np.ascontiguousarray(self.rssi[:, keep])
        )

    def counted(self, times: Ints) -> Profile:
        """The profile where pass q of the survey counts `times[q]` times."""
        counted = self.group_of >= 0
        count = np.bincount(self.group_of[counted], times[counted], len(self.pass_count))
        return replace(self, pass_count=count.astype(np.int64))


@kept
def peaks(survey: Survey) -> Floats:
    """Strongest read of each roster entry at each level: shape (entries, levels), in dBm.

    −inf where the pass was tried at that level and the tag not read, NaN where it was not tried.
    Read-only.
    """
    tags = len(survey.tags)
    heard = strongest(survey)
    keys = survey.roster_pass * tags + survey.roster_tag
    order = np.argsort(keys, kind="stable")
    entry = order[np.searchsorted(keys[order], heard.read_pass * tags + heard.tag)]
    found = np.where(survey.tried[survey.roster_pass], -np.inf, np.nan)
    found[entry, heard.level] = heard.rssi
    found.setflags(write=False)
    return found


def _kinds(table: Floats) -> tuple[Floats, Ints]:
    """The distinct rows in ascending order, and which of them each row is; no NaN.

    As np.unique(axis=0), in a fifth of its time: IEEE 754 numbers stand in the order of their bits,
    read as whole numbers, once all bits of the negative ones and the sign of the others are turned.
    """
    table += 0.0  # −0.0 becomes 0.0: equal values have equal bits
    bits = table.view(np.int64)
    bits = bits ^ (bits >> 63 | np.int64(-(2**63)))
    rows = bits.byteswap(inplace=True).view(np.dtype((np.void, 8 * table.shape[1])))[:, 0]
    _, first, kind_of = np.unique(rows, return_index=True, return_inverse=True)
    return table[first], kind_of


def aggregate(
    survey: Survey,
    tag_class: Ints,
    drifted: Floats,
    times: Ints | None = None,
    free_below: Floats | None = None,
) -> tuple[Profile, Profile]:
    """Merge equal tags within a pass, then equal passes; `tag_class[t]` classes the survey's tags.

    Pass p counts `times[p]` times (0: it is left out; None: each once). Stray entry e
    counts to the stop of a ladder, but to the loss only where it is reported by a read of
    `free_below[e]` dBm or more (−inf: in any case; None: all do): it has a second row for that.

    `drifted` holds, in the shape of `peaks`, what counts in place of the peaks if the site drifts;
    the second profile has it for the rows of the first. Equal means: same class, same role and the
    same peak and drifted one at every level. Order of passes and tags in
    the survey does not show in the profile.
    """
    rssi = peaks(survey)
    klass = tag_class[survey.roster_tag]
    both = np.column_stack([rssi, drifted])
    both[np.isnan(both)] = _UNTRIED
    role, of_pass = survey.roster_wanted.astype(np.int64), survey.roster_pass
    if free_below is not None:
        role[free_below > -np.inf] = _FREE
        strong = both >= free_below[:, None]
        again = np.flatnonzero((role == _FREE) & strong.any(axis=1))
        both = np.vstack([both, np.where(strong, both, -np.inf)[again]])
        role = np.append(role, np.full(len(again), _DEAR))
        klass, of_pass = np.append(klass, klass[again]), np.append(of_pass, of_pass[again])
    kinds, kind_of = _kinds(np.column_stack([klass, role, both]))
    passes = len(survey.pass_ids)
    pairs, counts = np.unique(of_pass * len(kinds) + kind_of, return_counts=True)
    pair_pass, pair_kind = pairs // max(len(kinds), 1), pairs % max(len(kinds), 1)
    starts = np.searchsorted(pair_pass, np.arange(passes + 1))
    groups: dict[tuple[bytes, bytes], int] = {}
    keys = []
    for p in range(passes):
        rows = slice(starts[p], starts[p + 1])
        key = (pair_kind[rows].tobytes(), counts[rows].tobytes())
        keys.append(key)
        groups[key] = groups.get(key, 0) + (1 if times is None else int(times[p]))
    row_pass, row_kind, row_count = [], [], []
    ordered = sorted(key for key, count in groups.items() if count)
    for number, (kind_bytes, count_bytes) in enumerate(ordered):
        of_group = np.frombuffer(kind_bytes, np.int64)
        row_pass.append(np.full(len(of_group), number))
        row_kind.append(of_group)
        row_count.append(np.frombuffer(count_bytes, np.int64))
    numbers = {key: number for number, key in enumerate(ordered)}
    kind = np.concatenate(row_kind).astype(np.int64)
    values = np.where(kinds[kind, 2:] == _UNTRIED, np.nan, kinds[kind, 2:])
    levels = rssi.shape[1]
    count, cost = np.concatenate(row_count).astype(np.int64), None
    if free_below is not None:
        count, cost = np.where(kinds[kind, 1] == _DEAR, 0, count), count
        cost = np.where(kinds[kind, 1] == _FREE, 0, cost)
    profile = Profile(
        levels_dbm=survey.levels_dbm,
        row_pass=np.concatenate(row_pass).astype(np.int64),
        row_class=kinds[kind, 0].astype(np.int64),
        row_wanted=kinds[kind, 1] > 0,
        row_count=count,
        rssi=values[:, :levels],
        pass_count=np.array([groups[key] for key in ordered], np.int64),
        classes=int(tag_class.max(initial=0)) + 1,
        group_of=np.array([numbers.get(key, -1) for key in keys], np.int64),
        row_cost=cost,
    )
    return profile, replace(profile, rssi=values[:, levels:])


@dataclass(frozen=True, eq=False)
class TurnOn:
    """One row for each roster entry of a survey.

    `level[e]` is the index of the lowest level at which the tag was read, −1 where at none;
    `rssi[e]` its strongest read there (dBm, NaN where none). `gap[e]`: at some level tried above
    it the tag was not read. `peaks[e, l]` as in `survey.profile.peaks`.
    """

    level: Ints
    rssi: Floats
    gap: Bools
    peaks: Floats


@kept
def turn_on(survey: Survey) -> TurnOn:
    """The turn-on of each roster entry."""
    found = peaks(survey)
    read = np.isfinite(found)
    level = np.where(read.any(axis=1), read.argmax(axis=1), -1)
    above = np.arange(found.shape[1])[None, :] > level[:, None]
    gap = (level >= 0) & (np.isneginf(found) & above).any(axis=1)
    first = np.where(level < 0, np.nan, found[np.arange(len(level)), np.maximum(level, 0)])
    return TurnOn(level.astype(np.int64), first, gap, found)
