"""What read points can have in common: selections that chains make, ranges of cutoffs, ladders."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from strategist.optimise.chains import Chains
from strategist.optimise.clock import Clock
from strategist.optimise.problem import Chain, Problem
from strategist.optimise.selections import Selections, of_chain
from strategist.optimise.site.member import Member
from strategist.survey.policy import DECIMALS
from strategist.survey.records import Bools, Ints
from strategist.tags.candidates import Candidates

__all__ = ["NO_CUTOFF", "Range", "Table", "cutoffs_of", "ladders_of", "settable"]

Range = tuple[float, float]
NO_CUTOFF: Range = (-math.inf, -math.inf)
_SAME = 1e-6


class Table:
    """The selections of joint classes that chains make, a row each: those of no mask first, and of
    each selection the chain of fewest masks. `complete`: all are listed.

    Raises OutOfTimeError.
    """

    def __init__(self, joint: Candidates, members: Sequence[Member], clock: Clock) -> None:
        first = members[0].problem
        slots = min(member.problem.slots for member in members)
        profile = replace(first.profile, classes=joint.matches.shape[1])
        self._whole: Problem = replace(first, candidates=joint, profile=profile, slots=slots)
        self._chains = Chains(self._whole, clock)
        self._parts: list[Selections] = [self._chains.listed(0)]
        self.complete = True
        for masks in range(1, slots + 1):
            if not self._chains.reaches(masks) or self._chains.joins(masks):
                self.complete = False
                break
            self._parts.append(self._chains.listed(masks))
        rows = [part.unpack(slice(None)) for part in self._parts]
        self.through: Bools = np.concatenate(rows)[:, : joint.matches.shape[1]]

    def row(self, chain: Chain) -> int:
        """The row of a chain's selection, appended where chains of its length are not listed."""
        through = self._whole.selection(chain)
        found = np.flatnonzero((self.through == through).all(axis=1))
        if len(found):
            return int(found[0])
        self._parts.append(of_chain(self._whole, chain, self._chains.table))
        self.through = np.vstack([self.through, through])
        return len(self.through) - 1

    @property
    def masks(self) -> Ints:
        """How many masks the chain of each row has."""
        return np.concatenate([np.full(len(part), part.masks) for part in self._parts])

    def chain(self, row: int) -> Chain:
        for part in self._parts:
            if row < len(part):
                return part.chain(row)
            row -= len(part)
        raise IndexError(row)


def cutoffs_of(members: Sequence[Member]) -> list[Range]:
    """No cutoff, and each range (low, high] of cutoffs that are the same to all members."""
    edges = {
        edge
        for member in members
        for part in member.parts.parts
        for edge in (*part.problem.below, *part.problem.thresholds.tolist())
        if math.isfinite(edge)
    }
    step = members[0].problem.policy.reader.rssi_step_db
    ranges = itertools.pairwise(sorted(edges))
    return [NO_CUTOFF, *(one for one in ranges if settable(one, step) is not None)]


def ladders_of(members: Sequence[Member], most: int) -> list[tuple[float, ...]] | None:
    """The ladders (dBm) that some member may have; None where there are more than `most`."""
    levels = {level for one in members for level in one.problem.profile.levels_dbm.tolist()}
    steps = range(1, max(member.problem.steps_max for member in members) + 1)
    if sum(math.comb(len(levels), n) for n in steps) > most:
        return None
    return [ladder for n in steps for ladder in itertools.combinations(sorted(levels), n)]


def settable(one: Range, step_db: float | None) -> float | None:
    """The cutoff nearest to the middle of (low, high] that can be set; None: none is there, or
    none is meant."""
    low, high = one
    if math.isinf(high):
        return None
    middle = (low + high) / 2
    for step in (0.5, step_db):
        if step is None:
            return middle
        near = (math.floor(middle / step), math.ceil(middle / step))
        dbms = [round(n * step, DECIMALS) for n in near]
        inside = [dbm for dbm in dbms if low < dbm <= high and _on_raster(dbm, step_db)]
        if inside:
            return min(inside, key=lambda dbm: (abs(dbm - middle), dbm))
    return None


def _on_raster(dbm: float, step_db: float | None) -> bool:
    return step_db is None or abs(round(dbm / step_db) * step_db - dbm) < _SAME
