"""Chains with one mask more, as far as linear bounds leave them: many rows ruled out at once.

The selections of a list are laid in blocks of rows that are alike, and these in blocks again. Of a
block are known the classes that all its rows let through and those that any does. With these a
bound holds for the joins of all its rows with a mask: sums of weights above 0 over what is let
through for sure, and of those below 0 over what may be.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.loops import joins
from strategist.optimise.selections import Literals, Selections, Words
from strategist.optimise.walks import sums_of_bytes
from strategist.survey.records import Bools, Bytes, Floats, Ints

__all__ = ["Blocks"]

_ROWS = 16  # of a block, and blocks of a block of blocks
_KEY_BITS, _SAMPLE, _AT_ONCE = 64, 3_000, 1 << 16
_FOUND = 1 << 16  # joins noted together, and those of one row more
_WAYS = 4  # to join a mask: by "and" or by "or", as it is or negated


@dataclass(frozen=True, eq=False)
class Blocks:
    """`row` is the place in the list of each row of `bytes`; `sure` and `may` are what all and any
    of its rows let through, of a block; the `outer` ones of a block of blocks."""

    row: Ints
    bytes: Bytes
    sure: Bytes
    may: Bytes
    outer_sure: Bytes
    outer_may: Bytes

    @staticmethod
    def of(listed: Selections) -> Blocks:
        row = np.argsort(_keys(listed), kind="stable")
        own = np.ascontiguousarray(listed.bytes[row])
        sure, may = _joined(own, np.bitwise_and), _joined(own, np.bitwise_or)
        outer = _joined(sure, np.bitwise_and), _joined(may, np.bitwise_or)
        return Blocks(row, own, sure, may, *outer)

    def joins(
        self,
        table: Literals,
        weights: list[tuple[Floats, float]],
        *,
        ors: bool,
        clock: Clock,
        at_once: int,
    ) -> Iterator[tuple[Ints, Ints, Bools]]:
        """Rows of the list, literals, and whether these are joined by "or" (if `ors`) or by "and":
        the joins whose sum of each of the weights is within its room. About `at_once` joins are
        weighed between two looks at the clock. Raises OutOfTimeError."""
        masks = table.bytes[::2]  # literals come in twos, as they are and negated
        turns = max(1, at_once // (_ROWS * _ROWS * _WAYS * max(1, len(masks))))
        rooms = np.array([room for _, room in weights])
        every = np.array([sums_of_bytes(weight) for weight, _ in weights])
        above = np.array([sums_of_bytes(np.maximum(weight, 0.0)) for weight, _ in weights])
        below = np.array([sums_of_bytes(np.minimum(weight, 0.0)) for weight, _ in weights])
        most = _FOUND + _ROWS * _ROWS * _WAYS * len(masks)
        row, literal = np.empty((2, most), np.int64)
        either = np.empty(most, bool)
        listed, outer = (self.bytes, self.sure, self.may), (self.outer_sure, self.outer_may)
        cuts = (every, above, below), rooms
        blocks = joins.Blocks(_ROWS, listed, outer, np.ascontiguousarray(masks), ors, *cuts)
        first = 0
        while first < len(self.outer_sure):
            clock.check()
            first, count = blocks.joins(first, first + turns, row, literal, either)
            yield self.row[row[:count]], literal[:count].copy(), either[:count].copy()


def _keys(listed: Selections) -> Words:
    """One sortable value for each row, by the classes that about half of them let through."""
    share = listed.thinned(_SAMPLE).unpack(slice(None)).mean(axis=0)
    even = np.argsort(np.abs(share - 0.5), kind="stable")[:_KEY_BITS]
    keys = np.empty(len(listed), np.uint64)
    for start in range(0, len(listed), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        bits = np.zeros((len(keys[some]), _KEY_BITS), bool)
        bits[:, : len(even)] = listed.unpack(some)[:, even]
        keys[some] = np.packbits(bits, axis=1).view(">u8")[:, 0]
    return keys


def _joined(own: Bytes, join: np.ufunc) -> Bytes:
    if not len(own):
        return own
    found: Bytes = join.reduceat(own, np.arange(0, len(own), _ROWS), axis=0)
    return found
