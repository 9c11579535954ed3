"""Every distinct selection of tag classes that a mask chain can make, with its cheapest chain."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from strategist.optimise.problem import Chain, Literal
from strategist.survey.records import Bools, Ints
from strategist.tags.candidates import Candidates

__all__ = ["Literals", "Selections", "grow", "literals", "no_masks"]

Words = npt.NDArray[np.uint64]
Parts = tuple[Ints, Ints]  # base selections, literals
_BATCH = 1 << 20  # combinations looked at together: bounds the memory


@dataclass(frozen=True, eq=False)
class Literals:
    """Candidate masks as they are (even numbers) and negated (odd): selections and lengths."""

    words: Words
    bits: Ints

    def __len__(self) -> int:
        return len(self.bits)


@dataclass(frozen=True, eq=False)
class Selections:
    """Selections with the same number of masks, one row each.

    `words[i]` packs which classes pass (see `unpack`); `chain_of[i]` are literal numbers in chain
    order; `ors[i, j]` says that literal j+1 is joined by "or"; `bits[i]` is the summed mask length.
    """

    words: Words
    chain_of: Ints
    ors: Bools
    bits: Ints
    classes: int

    def __len__(self) -> int:
        return len(self.bits)

    @property
    def masks(self) -> int:
        return int(self.chain_of.shape[1])

    def unpack(self, rows: slice | Ints) -> Bools:
        """Which classes pass: shape (rows, classes)."""
        as_bytes = np.ascontiguousarray(self.words[rows]).view(np.uint8)
        return np.unpackbits(as_bytes, axis=1, count=self.classes).astype(bool)

    def chain(self, row: int) -> Chain:
        return Chain(
            tuple(Literal(int(x) // 2, bool(x % 2)) for x in self.chain_of[row]),
            tuple("or" if either else "and" for either in self.ors[row]),
        )


def _pack(through: Bools) -> Words:
    padded = np.zeros((len(through), -(-through.shape[1] // 64) * 64), bool)
    padded[:, : through.shape[1]] = through
    return np.packbits(padded, axis=1).view(np.uint64)


def no_masks(classes: int) -> Selections:
    """The one selection of an empty chain: everything passes."""
    none = np.zeros((1, 0), np.int64)
    everything = _pack(np.ones((1, classes), bool))
    return Selections(everything, none, none.astype(bool), np.zeros(1, np.int64), classes)


def literals(candidates: Candidates) -> Literals:
    """Both literals of each candidate."""
    through = np.repeat(candidates.matches, 2, axis=0)
    through[1::2] ^= True
    bits = np.array([mask.length for mask in candidates.masks], np.int64)
    return Literals(_pack(through), np.repeat(bits, 2))


def grow(
    base: Selections,
    known: Words,
    table: Literals,
    worth: tuple[Parts, Parts] | None = None,
) -> Selections:
    """The selections with one mask more than `base` that are not among `known` (rows of words).

    `worth` says by "and" and by "or" which base selections, and which literals, are worth being
    joined that way (None: all). Of chains with the same selection the one with the fewest mask bits
    is kept, then the first in order.
    """
    words, bits, origin = [known[:0]], [base.bits[:0]], [np.zeros((0, 3), np.int64)]
    for rows, literal, either in _combinations(base, table, worth):
        left, right = base.words[rows], table.words[literal]
        made = left | right if either else left & right
        cost = base.bits[rows] + table.bits[literal]
        fresh = _first_of_each(made, cost, known)
        words.append(made[fresh])
        bits.append(cost[fresh])
        kind = np.full(len(fresh), either, np.int64)
        origin.append(np.column_stack([rows[fresh], literal[fresh], kind]))
    all_words, all_bits, all_origin = (
        np.concatenate(words),
        np.concatenate(bits),
        np.concatenate(origin),
    )
    kept = _first_of_each(all_words, all_bits, known[:0])
    row, literal, kind = all_origin[kept].T
    joined = kind.astype(bool)[:, None] if base.masks else np.zeros((len(kept), 0), bool)
    return Selections(
        all_words[kept],
        np.column_stack([base.chain_of[row], literal]),
        np.column_stack([base.ors[row], joined]),
        all_bits[kept],
        base.classes,
    )


def _combinations(
    base: Selections, table: Literals, worth: tuple[Parts, Parts] | None
) -> Iterator[tuple[Ints, Ints, bool]]:
    """(base rows, literals, joined by "or") in batches; the first mask of a chain has no join."""
    every = (np.arange(len(base)), np.arange(len(table)))
    for either in (False, True) if base.masks else (False,):
        rows, joined = every if worth is None else worth[int(either)]
        size = max(1, _BATCH // max(len(joined), 1))
        for start in range(0, len(rows), size):
            part = rows[start : start + size]
            yield np.repeat(part, len(joined)), np.tile(joined, len(part)), either


def _first_of_each(words: Words, bits: Ints, known: Words) -> Ints:
    """Rows that hold a new selection, the cheapest of each (ties: the first), ascending."""
    cheapest_first = np.argsort(bits, kind="stable")
    keys = _keys(np.concatenate([known, words[cheapest_first]]))
    _, first = np.unique(keys, return_index=True)
    return np.sort(cheapest_first[first[first >= len(known)] - len(known)])


def _keys(words: Words) -> npt.NDArray[np.generic]:
    """Each row as one sortable value."""
    if words.shape[1] == 1:
        return words[:, 0]
    rows = np.ascontiguousarray(words)
    return rows.view(np.dtype((np.void, rows.itemsize * rows.shape[1])))[:, 0]
