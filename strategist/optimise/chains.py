"""The mask chains of a problem, listed up to the last mask, and those worth a look in a node."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.node import Penalties
from strategist.optimise.problem import Problem
from strategist.optimise.selections import (
    Selections,
    grow,
    joined,
    keys_of,
    literals,
    merged,
    no_masks,
    padded,
)
from strategist.optimise.walks import joins_within, sums_of_bytes
from strategist.survey.records import Bools, Floats

__all__ = ["Chains", "TooManyLeftError"]


class TooManyLeftError(Exception):
    """A node leaves more chains than are worth looking at."""


class Chains:
    """Every distinct selection by number of masks, as far as they can be listed.

    A list is made when it is first asked for, and looks at the clock. Chains with one mask more
    than the last list are within reach: the mask is joined on as it is needed.
    """

    def __init__(self, problem: Problem, clock: Clock) -> None:
        self.slots = problem.slots
        self.clock = clock
        self.table = literals(problem.candidates)
        self._listed: list[Selections | None] = [no_masks(problem.profile.classes)]
        self.tuning = tuning = problem.tuning
        row = 8 * self.listed(0).words.shape[1]
        self._list_max = min(tuning.listed_max, tuning.listed_bytes // row)
        self._left_max = min(tuning.left_max, tuning.left_bytes // row)
        self._sample = min(tuning.sample, tuning.left_bytes // row)

    @cached_property
    def _tests(self) -> Bools:
        return self.table.unpack()

    def listed(self, masks: int) -> Selections:
        """The selections that take this many masks and no fewer, where they can be listed."""
        found = self._list(masks)
        assert found is not None
        return found

    def reaches(self, masks: int) -> bool:
        """Whether all chains of so many masks can be looked at. Raises OutOfTimeError."""
        longest = self.tuning.longest_list
        if longest is not None and masks > longest + 1:
            return False
        return masks == 0 or self._list(masks - 1) is not None

    def joins(self, masks: int) -> bool:
        """Whether the last of so many masks is joined on as it is needed, not listed."""
        if masks < len(self._listed):
            return self._listed[masks] is None
        return not self._few_joins(self.listed(masks - 1)) or self._list(masks) is None

    def number(self, enough: int, masks: int) -> int:
        """How many selections there are up to so many masks; `enough` and one more where counting
        is too much."""
        found = 0
        for fewer in range(masks + 1):
            if not self.reaches(fewer) or self.joins(fewer):
                return enough + 1
            found += len(self.listed(fewer))
            if found > enough:
                return enough + 1
        return found

    def sample(self, masks: int) -> Selections:
        """Some of the selections of so many masks, all of them where they are few."""
        if not self.joins(masks):
            return self.listed(masks).thinned(self._sample)
        fewer = self.listed(masks - 1)
        return merged(self._drawn(fewer, self._sample), fewer.words[:0])

    def _drawn(self, listed: Selections, count: int) -> list[Selections]:
        """Some of its joins, by "and" and by "or", as they come."""
        draw = np.random.default_rng(0)
        size = (2, count // 2)
        row, literal = (
            draw.integers(len(listed), size=size),
            draw.integers(len(self.table), size=size),
        )
        return [joined(listed, row[i], self.table, literal[i], bool(i)) for i in range(2)]

    def worth(self, cuts: list[Penalties], limit: float, masks: int) -> Selections:
        """Selections of `masks` masks that no cut takes above the limit; the first is the main one.

        Raises TooManyLeftError where the first leaves too many to be listed, and OutOfTimeError.
        """
        joins = self.joins(masks)
        listed = self.listed(masks - 1 if joins else masks)
        size = max(1, self.tuning.products // len(self.table)) if joins else max(1, len(listed))
        found, left = [listed.none(masks, listed.classes, listed.words.shape[1])], 0
        for start in range(0, len(listed), size):
            self.clock.check()
            some = listed.at(np.arange(start, min(start + size, len(listed))))
            if joins:
                some = self._with_one_more(some, cuts, limit)
            else:
                for cut in cuts:
                    some = cut.within(some, limit)
            left += len(some)
            if left > self._left_max:
                raise TooManyLeftError
            found.append(some)
        return merged(found, listed.words[:0]) if joins else found[-1]

    def _list(self, masks: int) -> Selections | None:
        while len(self._listed) <= masks:
            self._listed.append(self._next())
        return self._listed[masks]

    def _next(self) -> Selections | None:
        """The next list; None where it would be too long."""
        base = self._listed[-1]
        if base is None:
            return None
        at_most = 2 * self._list_max
        if not self._few_joins(base):
            if 2 * len(base) * len(self.table) > self.tuning.joins_many or self._too_many(base):
                return None
            at_most = self._list_max
        known = np.concatenate([one.words for one in self._listed if one is not None])
        return grow(base, known, self.table, self.clock, at_most)

    def _few_joins(self, base: Selections) -> bool:
        return 2 * len(base) * len(self.table) <= self.tuning.joins_few

    def _too_many(self, base: Selections) -> bool:
        """Whether joins make more selections than a list may hold, told by a sample of them: by
        how many were drawn once, and how many twice (Chao 1984, from memory: at least f² / 2 g)."""
        words = np.concatenate([one.words for one in self._drawn(base, self.tuning.probe)])
        count = np.unique(keys_of(words), return_counts=True)[1]
        once, twice = int((count == 1).sum()), int((count == 2).sum())
        return bool(once**2 > 2 * max(1, twice) * self._list_max)

    def _with_one_more(self, listed: Selections, cuts: list[Penalties], limit: float) -> Selections:
        """The selections joined with each literal, where bounds stay within the limit: by the first
        cut in one product of matrices, then join by join, so that only what stays is made."""
        rooms = [cut.room(limit) for cut in cuts]
        tables, limits = self._tables([weight for weight, _ in rooms]), [room for _, room in rooms]
        weight, room = rooms[0]
        room += 4 * len(weight) * float(np.finfo("f4").eps) * float(np.abs(weight).sum())
        through, tests = listed.unpack(slice(None)), self._tests
        found = []
        for either in (False, True) if listed.masks else (False,):
            rows = np.flatnonzero(_at_best(through, weight, either) <= room)
            columns = np.flatnonzero(_at_best(tests, weight, either) <= room)
            left = (through[rows] * weight).astype("f4")
            right = tests[columns].astype("f4")
            total = left @ right.T
            if either:
                total = left.sum(axis=1)[:, None] + right @ weight.astype("f4") - total
            row, literal = np.nonzero(total <= room)
            if len(row) > self._left_max:
                raise TooManyLeftError
            row, literal = rows[row], columns[literal]
            of = listed.bytes, self.table.bytes
            kept = joins_within(*of, row, literal, either, tables, np.array(limits))
            found.append(joined(listed, row[kept], self.table, literal[kept], either))
        return merged(found, listed.words[:0])

    def _tables(self, weights: list[Floats]) -> Floats:
        """What the bytes of a selection add up to, by several weights."""
        return np.array([sums_of_bytes(padded(weight, self.table.words)) for weight in weights])


def _at_best(through: Bools, weight: Floats, either: bool) -> Floats:
    """The least sum of weights that a selection can come to with one mask more.

    An "and" may take classes away, an "or" may add some.
    """
    least = np.minimum(weight, 0.0)
    if not either:
        return np.asarray(through @ least)
    return np.asarray(through @ (weight - least) + least.sum())
