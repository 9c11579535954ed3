"""The mask chains of a problem, listed up to the last mask, and those worth a look in a branch."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from strategist.optimise.branch import Penalties
from strategist.optimise.problem import Problem
from strategist.optimise.selections import (
    SELECTIONS_MAX,
    Selections,
    grow,
    joined,
    literals,
    merged,
    no_masks,
)
from strategist.survey.records import Bools, Floats

__all__ = ["Chains", "TooManyLeftError"]

_LISTED_MAX = 5_000_000  # ways to join the last mask, if all are listed once
_PRODUCTS = 4_000_000  # chains weighed in one matrix product
_SAMPLE = 100_000  # selections in a sample
_LEFT_MAX = 3_000_000  # selections that are kept together


class TooManyLeftError(Exception):
    """A branch leaves more chains than are worth looking at."""


class Chains:
    """Every distinct selection by number of masks; the last mask is joined on as it is needed."""

    def __init__(self, problem: Problem) -> None:
        self.slots = problem.slots
        self.table = literals(problem.candidates)
        self._tests = self.table.unpack()
        self._listed = [no_masks(problem.profile.classes)]
        self.known = self._listed[0].words

    def listed(self, masks: int) -> Selections:
        """The selections that take this many masks and no fewer."""
        while len(self._listed) <= masks:
            last = len(self._listed) == self.slots
            at_most = _LISTED_MAX if last else SELECTIONS_MAX
            more = grow(self._listed[-1], self.known, self.table, at_most)
            self.known = np.concatenate([self.known, more.words])
            self._listed.append(more)
        return self._listed[masks]

    def number(self, enough: int) -> int:
        """How many selections there are; `enough` and one more where counting is too much."""
        found = sum(len(self.listed(masks)) for masks in range(self.slots))
        if found > enough or not self._lists_last:
            return enough + 1
        return found + len(self.listed(self.slots))

    def sample(self, masks: int) -> Selections:
        """Some of the selections of so many masks, all of them where they are few."""
        listed, joins = self._base(masks)
        if not joins:
            return listed.thinned(_SAMPLE)
        draw = np.random.default_rng(0)
        size = (2, _SAMPLE // 2)
        row, literal = (
            draw.integers(len(listed), size=size),
            draw.integers(len(self.table), size=size),
        )
        parts = [joined(listed, row[i], self.table, literal[i], bool(i)) for i in range(2)]
        return merged(parts, self.known[:0])

    def _base(self, masks: int) -> tuple[Selections, bool]:
        """The list that selections of so many masks come from; whether a literal is joined on."""
        joins = masks == self.slots and not self._lists_last
        return self.listed(masks - 1 if joins else masks), joins

    def worth(self, cuts: list[Penalties], limit: float, masks: int) -> Selections:
        """Selections of `masks` masks that no cut takes above the limit; the first is the main one.

        Raises TooManyLeftError where the first leaves too many to be listed.
        """
        listed, joins = self._base(masks)
        size = max(1, _PRODUCTS // len(self.table)) if joins else max(1, len(listed))
        found, left = [listed.none(masks, listed.classes, listed.words.shape[1])], 0
        for start in range(0, len(listed), size):
            some = listed.at(np.arange(start, min(start + size, len(listed))))
            if joins:
                some = self._with_one_more(some, cuts[0], limit)
            for cut in cuts:
                some = cut.within(some, limit)
            left += len(some)
            if left > _LEFT_MAX:
                raise TooManyLeftError
            found.append(some)
        return merged(found, self.known[:0]) if joins else found[-1]

    @cached_property
    def _lists_last(self) -> bool:
        """Whether the chains with every slot used are few enough to be listed once for all."""
        if self.slots < 2:
            return True
        return 2 * len(self.listed(self.slots - 1)) * len(self.table) <= _LISTED_MAX

    def _with_one_more(self, listed: Selections, cut: Penalties, limit: float) -> Selections:
        """The selections joined with each literal, where the bound stays within the limit."""
        weight, room = cut.room(limit)
        room += 4 * len(weight) * float(np.finfo("f4").eps) * float(np.abs(weight).sum())
        through, tests = listed.unpack(slice(None)), self._tests
        found = []
        for either in (False, True):
            rows = np.flatnonzero(_at_best(through, weight, either) <= room)
            columns = np.flatnonzero(_at_best(tests, weight, either) <= room)
            left = (through[rows] * weight).astype("f4")
            right = tests[columns].astype("f4")
            total = left @ right.T
            if either:
                total = left.sum(axis=1)[:, None] + right @ weight.astype("f4") - total
            row, literal = np.nonzero(total <= room)
            if len(row) > _LEFT_MAX:
                raise TooManyLeftError
            found.append(joined(listed, rows[row], self.table, columns[literal], either))
        return merged(found, self.known[:0])


def _at_best(through: Bools, weight: Floats, either: bool) -> Floats:
    """The least sum of weights that a selection can come to with one mask more.

    An "and" may take classes away, an "or" may add some.
    """
    least = np.minimum(weight, 0.0)
    if not either:
        return np.asarray(through @ least)
    return np.asarray(through @ (weight - least) + least.sum())
