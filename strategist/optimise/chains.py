"""The mask chains of a problem, listed up to the last mask, and those worth a look in a node."""

from __future__ import annotations

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.joins import Blocks
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
from strategist.survey.records import Bools, Floats, Ints

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
        self._blocks: dict[int, Blocks] = {}  # of lists that masks are joined to
        self._samples: dict[int, Selections] = {}
        self._listed: list[Selections | None] = [no_masks(problem.profile.classes)]
        self.tuning = tuning = problem.tuning
        row = 8 * self.listed(0).words.shape[1]
        self._list_max = min(tuning.listed_max, tuning.listed_bytes // row)
        self._left_max = min(tuning.left_max, tuning.left_bytes // row)
        self._sample = min(tuning.sample, tuning.left_bytes // row)

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
        if masks not in self._samples:
            if self.joins(masks):
                fewer = self.listed(masks - 1)
                drawn = merged(self._drawn(fewer, self._sample), fewer.words[:0])
            else:
                drawn = self.listed(masks).thinned(self._sample)
            self._samples[masks] = drawn
        return self._samples[masks]

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
        if self.joins(masks):
            return self._with_one_more(masks - 1, cuts, limit)
        some = self.listed(masks)
        for cut in cuts:
            self.clock.check()
            some = cut.within(some, limit)
        if len(some) > self._left_max:
            raise TooManyLeftError
        return some

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

    def _with_one_more(self, masks: int, cuts: list[Penalties], limit: float) -> Selections:
        """The selections of so many masks joined with each literal, where bounds stay within the
        limit: only what stays is made."""
        listed, left = self.listed(masks), 0
        if masks not in self._blocks:
            self._blocks[masks] = Blocks.of(listed)
        weights = [(padded(weight, listed.words), room) for weight, room in _rooms(cuts, limit)]
        found: list[tuple[Ints, Ints, Bools]] = []
        joins = self._blocks[masks].joins(
            *(self.table, weights), ors=masks > 0, clock=self.clock, at_once=self.tuning.products
        )
        for some in joins:
            left += len(some[0])
            if left > self._left_max:
                raise TooManyLeftError
            found.append(some)
        row, literal, either = (np.concatenate(one) for one in zip(*found, strict=True))
        order = np.lexsort((literal, row))
        made = [
            joined(listed, row[chosen], self.table, literal[chosen], by_or)
            for by_or in ([False, True] if masks else [False])
            for chosen in [order[either[order] == by_or]]
        ]
        return merged(made, listed.words[:0])


def _rooms(cuts: list[Penalties], limit: float) -> list[tuple[Floats, float]]:
    return [cut.room(limit) for cut in cuts]
