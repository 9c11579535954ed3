"""Drift: what has moved between two surveys of a read point, by how many dB.

Single tags are compared where they occur in both; tag types, apart by role, where tags change from
day to day. Medians all over, since a few odd reads must not make a drift.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from strategist.survey.answer import Declared, told
from strategist.survey.late import stats
from strategist.survey.order import figure
from strategist.survey.policy import Guard
from strategist.survey.profile import turn_on
from strategist.survey.records import Floats, ReadPoint, Survey

_SURE = 0.01  # a difference of medians is no drift when chance alone makes it more often
_FEW = 5  # values on each side below which a type or level is not compared
_SHOWN = 20  # tags listed, the furthest moved first


@dataclass(frozen=True)
class Moved(Declared):
    """One tag, tag type or level: medians now minus before.

    `turn_on_db` is the shift of the turn-on level (positive: more power is needed now), `rssi_db`
    that of RSSI at equal level; None where either survey has too few reads. `before` and `now`
    count presentations. `moved` is said where a shift is beyond the guard, and for types and
    levels no matter of chance (Mann–Whitney).
    """

    kind: Literal["tag", "type", "level"]
    name: str
    turn_on_db: float | None
    rssi_db: float | None
    before: int
    now: int
    moved: bool


@dataclass(frozen=True)
class Drift(Declared):
    """Types and levels compared, and the single tags that moved (the furthest first)."""

    tags_in_both: int
    rows: tuple[Moved, ...]

    @property
    def moved(self) -> tuple[Moved, ...]:
        return tuple(row for row in self.rows if row.moved)

    @told(after="tags_in_both")
    def how_many(self) -> Annotated[int, "as moved"]:
        return len(self.moved)


Values = dict[str, list[float]]


def drift_between(before: ReadPoint, now: ReadPoint) -> Drift:
    """What moved from `before` to `now`, at the levels that both surveyed; guards from `now`."""
    common = np.intersect1d(before.survey.levels_dbm, now.survey.levels_dbm)
    if not len(common):
        return Drift(0, ())
    old, new = (_Measured(_at(point.survey, common)) for point in (before, now))
    guard = now.policy.guard
    rows = [_row("type", name, old.types[name], new.types[name], guard) for name in old.types]
    rows += [_level(i, old, new, guard) for i in range(len(common))]
    both = sorted(set(old.tags) & set(new.tags))
    tags = [_row("tag", epc, old.tags[epc], new.tags[epc], guard) for epc in both]
    far = [row for row in tags if row.moved]
    far.sort(key=lambda row: -max(abs(row.turn_on_db or 0), abs(row.rssi_db or 0)))
    kept = [row for row in rows if row.turn_on_db is not None or row.rssi_db is not None]
    return Drift(len(both), (*kept, *far[:_SHOWN]))


def _at(survey: Survey, levels: Floats) -> Survey:
    return survey.keep(levels=np.isin(survey.levels_dbm, levels))


class _Group:
    """Turn-on powers (inf: not read) and RSSI by level index of some presentations."""

    def __init__(self) -> None:
        self.turn_on: list[float] = []
        self.rssi: dict[int, list[float]] = defaultdict(list)


class _Measured:
    """A survey's presentations by tag and role, and by tag type and role."""

    def __init__(self, survey: Survey) -> None:
        on = turn_on(survey)
        self.levels_dbm = survey.levels_dbm
        self.tags: dict[str, _Group] = defaultdict(_Group)
        self.types: dict[str, _Group] = defaultdict(_Group)
        for entry, tag_index in enumerate(survey.roster_tag.tolist()):
            tag = survey.tags[tag_index]
            role = "wanted" if survey.roster_wanted[entry] else "stray"
            level = int(on.level[entry])
            power = float(survey.levels_dbm[level]) if level >= 0 else np.inf
            named = f"{tag.tag_type}, {role}" if tag.tag_type else role
            for group in (self.tags[f"{tag.epc}, {role}"], self.types[named]):
                group.turn_on.append(power)
                for at in np.flatnonzero(np.isfinite(on.peaks[entry])).tolist():
                    group.rssi[at].append(float(on.peaks[entry, at]))


def _row(kind: Literal["tag", "type"], name: str, old: _Group, new: _Group, guard: Guard) -> Moved:
    few = 1 if kind == "tag" else _FEW
    enough = min(len(old.turn_on), len(new.turn_on)) >= few
    power = _shift(old.turn_on, new.turn_on) if enough else None
    shifts = [
        (_shift(old.rssi[at], new.rssi[at]), min(len(old.rssi[at]), len(new.rssi[at])))
        for at in old.rssi
        if min(len(old.rssi[at]), len(new.rssi[at])) >= few
    ]
    known = [(db, weight) for db, weight in shifts if db is not None]
    rssi = None
    if known:
        rssi = float(np.average([db for db, _ in known], weights=[w for _, w in known]))
    sure = kind == "tag" or _differ(old.turn_on, new.turn_on)
    moved = power is not None and abs(power) > guard.power_db and sure
    if rssi is not None and abs(rssi) > guard.rssi_db:
        level = max(old.rssi, key=lambda at: min(len(old.rssi[at]), len(new.rssi[at])))
        moved = moved or kind == "tag" or _differ(old.rssi[level], new.rssi[level])
    return Moved(
        kind, name, _round(power), _round(rssi), len(old.turn_on), len(new.turn_on), bool(moved)
    )


def _level(at: int, old: _Measured, new: _Measured, guard: Guard) -> Moved:
    """One level: RSSI of the tags in both surveys where there are enough, else of all wanted."""
    both = set(old.tags) & set(new.tags)
    pairs = [
        (float(np.median(old.tags[epc].rssi[at])), float(np.median(new.tags[epc].rssi[at])))
        for epc in sorted(both)
        if old.tags[epc].rssi.get(at) and new.tags[epc].rssi.get(at)
    ]
    name = f"{figure(old.levels_dbm[at])} dBm"
    if len(pairs) < _FEW:
        return Moved("level", name, None, None, len(pairs), len(pairs), False)
    first, second = (list(side) for side in zip(*pairs, strict=True))
    db = float(np.median(np.array(second) - np.array(first)))
    moved = abs(db) > guard.rssi_db and _differ_paired(first, second)
    return Moved("level", name, None, _round(db), len(pairs), len(pairs), moved)


def _shift(old: list[float], new: list[float]) -> float | None:
    """Difference of medians; None where a median is that of tags not read."""
    shift = float(np.median(new)) - float(np.median(old)) if np.isfinite(np.median(old)) else np.nan
    return shift if np.isfinite(shift) else None


def _differ(old: list[float], new: list[float]) -> bool:
    test = stats.mannwhitneyu(np.array(old), np.array(new), method="asymptotic")
    return bool(test.pvalue < _SURE)


def _differ_paired(old: list[float], new: list[float]) -> bool:
    changed = [b - a for a, b in zip(old, new, strict=True) if a != b]
    up = sum(db > 0 for db in changed)
    return bool(changed) and bool(stats.binomtest(up, len(changed)).pvalue < _SURE)


def _round(db: float | None) -> float | None:
    return None if db is None else round(db, 2)
