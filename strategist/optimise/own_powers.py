"""Own power and cutoff for each antenna, at one level each: the choice as arrays, and descent.

An antenna is off, or radiates one level and lets reads of at least its cutoff count. What one
antenna counts is reported, where the mask chain lets the tag through. Without a ladder no pass
stops early, so presentations that are alike are one row, whatever pass they come from.

The descent below takes one antenna after another and gives it the best power and cutoff beside the
others as they are. It proves nothing; `own_model` does.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from strategist.optimise.clock import Clock
from strategist.survey.policy import DECIMALS, Limits, Loss
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["OFF", "ByAntenna", "Own", "descend", "improved", "settable_at_most"]

OFF = -1  # in place of a level index
_ROUNDS = 100  # over all antennas; a descent that still finds something then is given up


class Own(NamedTuple):
    """A choice: `level[a]` is an index or OFF, `cutoff[a]` in dBm (−inf: none, and where it is
    off), `selection` a row of the selections."""

    level: tuple[int, ...]
    cutoff: tuple[float, ...]
    selection: int = 0


@dataclass(frozen=True, eq=False)
class ByAntenna:
    """What each antenna hears, as rows of presentations that are alike.

    Row r stands for `weight[r]` presentations of tags of class `row_class[r]`, all wanted or all
    stray by `wanted[r]`. `rssi[r, a, l]` is the strongest read (dBm) of antenna index a at level
    index l, −inf: none; `guarded` what counts in its place under the guards. `allowed[a, l]`:
    the antenna may be set to the level. `through[j, k]`: selection j lets class k through.
    `step_db`: cutoffs are its multiples (None: any); `cutoffs` False: none may be set. At most
    `on_max` antennas may be on (None: all), where they take turns in a short dwell. `passes` and
    the `wanted_presented` are those of the limits.
    """

    wanted: Bools
    weight: Floats
    row_class: Ints
    rssi: Floats
    guarded: Floats
    allowed: Bools
    through: Bools
    loss: Loss
    limits: Limits
    passes: int
    step_db: float | None = None
    cutoffs: bool = True
    on_max: int | None = None

    @property
    def most_on(self) -> int:
        """The most antennas that may be on."""
        antennas = len(self.allowed)
        return antennas if self.on_max is None else min(antennas, self.on_max)

    @functools.cached_property
    def wanted_presented(self) -> float:
        return float(self.weight[self.wanted].sum())

    def columns(self, antenna: int, level: int, *tables: Floats) -> Floats:
        """The cutoffs (dBm, ascending) worth a thought where these tables of reads count.

        Of cutoffs that keep the same wanted reads the highest keeps the fewest strays, so they are
        the values of wanted reads, each lowered to what can be set; −inf where none may be set.
        """
        heard = [table[self.wanted, antenna, level] for table in tables]
        values = np.concatenate(heard)
        values = np.unique(values[np.isfinite(values)])
        if not self.cutoffs:
            return np.full(min(1, len(values)), -np.inf)
        return np.unique(settable_at_most(values, self.step_db))

    def accepted(self, own: Own, rssi: Floats) -> Bools:
        """Which rows each antenna counts in a table of reads, masks apart: (rows, antennas)."""
        found = np.zeros(rssi.shape[:2], bool)
        for a, (level, cutoff) in enumerate(zip(own.level, own.cutoff, strict=True)):
            if level != OFF:
                heard = rssi[:, a, level]
                found[:, a] = (heard >= cutoff) & np.isfinite(heard)
        return found

    def key(self, own: Own) -> tuple[float, float, float]:
        """Excess over the hard limits, loss, and guarded loss, least first."""
        let = self.through[own.selection, self.row_class]
        counts: list[Floats] = []
        for rssi in (self.rssi, self.guarded):
            weight = self.weight * (self.accepted(own, rssi).any(axis=1) & let)
            counts += [np.sum(weight * self.wanted), np.sum(weight * ~self.wanted)]
        excess, loss, guarded = self.keys(*counts)
        return float(excess), float(loss), float(guarded)

    def keys(
        self, found: Floats, stray: Floats, kept: Floats, drifted: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """The keys of many choices: wanted reported and strays reported, surveyed and guarded."""
        excess = np.zeros(np.shape(found))
        if self.limits.missed_rate_max is not None and self.wanted_presented:
            excess += np.maximum(
                0.0, 1 - found / self.wanted_presented - self.limits.missed_rate_max
            )
        if self.limits.stray_rate_max is not None:
            excess += np.maximum(0.0, stray / self.passes - self.limits.stray_rate_max)
        return np.round(excess, 6), self._loss(found, stray), self._loss(kept, drifted)

    def _loss(self, found: Floats, stray: Floats) -> Floats:
        missed = self.wanted_presented - found
        lost: Floats = np.round(self.loss.missed * missed + self.loss.stray * stray, 6)
        return lost


def settable_at_most(values: Floats, step_db: float | None) -> Floats:
    """The highest cutoffs that can be set and still keep reads of these values (dBm)."""
    if step_db is None:
        return values
    steps = np.floor(np.round(values / step_db, DECIMALS))
    lowered: Floats = np.round(steps * step_db, DECIMALS)
    return lowered


def descend(problem: ByAntenna, clock: Clock, start: Own | None = None) -> Own:
    """The best choice that coordinate descent finds, from `start` and from starts of its own.

    Never worse than `start`. Where the clock runs out, the best one so far.
    """
    best = start or _nothing(problem)
    for begin in (best, *_starts(problem)):
        if clock.expired():
            break
        best = min(best, improved(problem, begin, clock), key=problem.key)
    return best


def _nothing(problem: ByAntenna) -> Own:
    antennas = problem.rssi.shape[1]
    return Own((OFF,) * antennas, (-np.inf,) * antennas)


def _starts(problem: ByAntenna) -> Iterator[Own]:
    """Nothing on, and all antennas at one level, from the top down in six steps; each with the
    selection that suits it; where not all may be on, nothing alone."""
    nothing = _nothing(problem)
    levels = problem.rssi.shape[2] if problem.most_on == len(problem.allowed) else 0
    evenly = np.unique(np.linspace(0, levels - 1, 6).astype(int)) if levels else np.zeros(0, int)
    for level in evenly[::-1].tolist():
        on = [level if may else OFF for may in problem.allowed[:, level]]
        yield _reselected(problem, nothing._replace(level=tuple(on)))
    for selection in range(min(len(problem.through), 12)):
        yield nothing._replace(selection=selection)


def improved(problem: ByAntenna, own: Own, clock: Clock) -> Own:
    """One antenna after another, then the masks, until nothing is better."""
    for _ in range(_ROUNDS):
        before = own
        for antenna in range(len(own.level)):
            if clock.expired():
                return own
            own = _best_of(problem, own, antenna)
        own = _reselected(problem, own)
        if own == before:
            break
    return own


def _best_of(problem: ByAntenna, own: Own, antenna: int) -> Own:
    """The best power and cutoff of one antenna beside the others.

    Of those as good: off, then without a cutoff, then the lowest level and cutoff.
    """
    off = own._replace(
        level=(*own.level[:antenna], OFF, *own.level[antenna + 1 :]),
        cutoff=(*own.cutoff[:antenna], -np.inf, *own.cutoff[antenna + 1 :]),
    )
    let = problem.through[own.selection, problem.row_class]
    parts = [_Rest(problem, off, rssi, let) for rssi in (problem.rssi, problem.guarded)]
    choices: list[tuple[int, Floats]] = [(OFF, np.array([-np.inf]))]
    full = sum(level != OFF for level in off.level) >= problem.most_on
    for level in [] if full else np.flatnonzero(problem.allowed[antenna]).tolist():
        values = problem.columns(antenna, level, problem.rssi, problem.guarded)
        if len(values):
            choices.append((level, np.unique(np.concatenate([[-np.inf], values]))))
    counts = [
        np.concatenate(
            [part.counted(antenna, level, cutoffs) for level, cutoffs in choices], axis=1
        )
        for part in parts
    ]
    levels = np.concatenate([np.full(len(cutoffs), level) for level, cutoffs in choices])
    cutoffs = np.concatenate([cutoffs for _, cutoffs in choices])
    excess, loss, guarded = problem.keys(*counts[0], *counts[1])
    rank = (cutoffs, levels, np.isfinite(cutoffs), levels != OFF, guarded, loss, excess)
    best = int(np.lexsort(rank)[0])
    return own._replace(
        level=(*own.level[:antenna], int(levels[best]), *own.level[antenna + 1 :]),
        cutoff=(*own.cutoff[:antenna], float(cutoffs[best]), *own.cutoff[antenna + 1 :]),
    )


class _Rest:
    """What the other antennas report already, and what one more would add."""

    def __init__(self, problem: ByAntenna, others: Own, rssi: Floats, let: Bools) -> None:
        reported = problem.accepted(others, rssi).any(axis=1) & let
        self.rssi, self.open = rssi, let & ~reported
        self.weight: Floats = problem.weight * np.array([problem.wanted, ~problem.wanted])
        self.base: Floats = self.weight[:, reported].sum(axis=1)

    def counted(self, antenna: int, level: int, cutoffs: Floats) -> Floats:
        """Wanted and strays reported in all with the antenna at each cutoff: (2, cutoffs)."""
        if level == OFF:
            return self.base[:, None]
        heard = self.rssi[:, antenna, level]
        rows = np.flatnonzero(self.open & np.isfinite(heard))
        rows = rows[np.argsort(heard[rows])]
        below = np.searchsorted(heard[rows], cutoffs)
        sums = np.concatenate([np.zeros((2, 1)), np.cumsum(self.weight[:, rows], axis=1)], axis=1)
        counted: Floats = self.base[:, None] + sums[:, -1:] - sums[:, below]
        return counted


def _reselected(problem: ByAntenna, own: Own) -> Own:
    """The selection that suits powers and cutoffs best; the earliest of those as good."""
    if len(problem.through) == 1:
        return own
    counts: list[Floats] = []
    for rssi in (problem.rssi, problem.guarded):
        heard = problem.accepted(own, rssi).any(axis=1)
        for role in (problem.wanted, ~problem.wanted):
            of_class = np.zeros(problem.through.shape[1])
            np.add.at(of_class, problem.row_class, problem.weight * (heard & role))
            counts.append(problem.through @ of_class)
    excess, loss, guarded = problem.keys(*counts)
    return own._replace(selection=int(np.lexsort((guarded, loss, excess))[0]))
