"""Every distinct selection of tag classes that a mask chain can make, with its cheapest chain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from strategist.errors import SolveError
from strategist.optimise.problem import Chain, Literal
from strategist.survey.records import Bools, Floats, Ints
from strategist.tags.candidates import Candidates

__all__ = [
    "Literals",
    "Selections",
    "TooManySelectionsError",
    "grow",
    "joined",
    "literals",
    "merged",
    "no_masks",
    "packed",
]

Words = npt.NDArray[np.uint64]
SELECTIONS_MAX = 1_000_000  # before the last mask; beyond it the model takes over
_BATCH = 1 << 20  # combinations looked at together: bounds the memory


class TooManySelectionsError(SolveError):
    """The chains of this problem make more selections than can be listed."""


@dataclass(frozen=True, eq=False)
class Literals:
    """Candidate masks as they are (even numbers) and negated (odd): selections and lengths."""

    words: Words
    bits: Ints
    classes: int

    def __len__(self) -> int:
        return len(self.bits)

    def unpack(self) -> Bools:
        """Which classes pass: shape (literals, classes)."""
        return _unpacked(self.words, self.classes)


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
        return _unpacked(self.words[rows], self.classes)

    def sums(self, weight: Floats) -> Floats:
        """Σ weight over the classes that pass, for each row."""
        found = np.empty(len(self))
        for start in range(0, len(self), _BATCH // 8):
            rows = slice(start, start + _BATCH // 8)
            found[rows] = self.unpack(rows) @ weight
        return found

    def thinned(self, count: int) -> Selections:
        """About so many of the rows, evenly spread."""
        return self.at(np.arange(0, len(self), 1 + len(self) // count))

    def at(self, rows: Ints) -> Selections:
        """Some of the rows."""
        return Selections(
            self.words[rows], self.chain_of[rows], self.ors[rows], self.bits[rows], self.classes
        )

    @staticmethod
    def none(masks: int, classes: int, width: int) -> Selections:
        """No selection, of chains with so many masks."""
        return Selections(
            np.zeros((0, width), np.uint64),
            np.zeros((0, masks), np.int64),
            np.zeros((0, max(masks - 1, 0)), bool),
            np.zeros(0, np.int64),
            classes,
        )

    def chain(self, row: int) -> Chain:
        return Chain(
            tuple(Literal(int(x) // 2, bool(x % 2)) for x in self.chain_of[row]),
            tuple("or" if either else "and" for either in self.ors[row]),
        )


def packed(through: Bools) -> Words:
    padded = np.zeros((len(through), -(-through.shape[1] // 64) * 64), bool)
    padded[:, : through.shape[1]] = through
    return np.packbits(padded, axis=1).view(np.uint64)


def _unpacked(words: Words, classes: int) -> Bools:
    as_bytes = np.ascontiguousarray(words).view(np.uint8)
    return np.unpackbits(as_bytes, axis=1, count=classes).astype(bool)


def no_masks(classes: int) -> Selections:
    """The one selection of an empty chain: everything passes."""
    none = np.zeros((1, 0), np.int64)
    everything = packed(np.ones((1, classes), bool))
    return Selections(everything, none, none.astype(bool), np.zeros(1, np.int64), classes)


def literals(candidates: Candidates) -> Literals:
    """Both literals of each candidate."""
    through = np.repeat(candidates.matches, 2, axis=0)
    through[1::2] ^= True
    bits = np.array([mask.length for mask in candidates.masks], np.int64)
    return Literals(packed(through), np.repeat(bits, 2), through.shape[1])


def grow(
    base: Selections, known: Words, table: Literals, at_most: int = SELECTIONS_MAX
) -> Selections:
    """The selections with one mask more than `base` that are not among `known` (rows of words).

    Of chains with the same selection the one with the fewest mask bits is kept, then the first in
    order. Raises TooManySelectionsError above `at_most`.
    """
    found = Selections.none(base.masks + 1, base.classes, base.words.shape[1])
    size = max(1, _BATCH // max(len(table), 1))
    for start in range(0, len(base), size):
        rows = np.arange(start, min(start + size, len(base)))
        row, literal = np.repeat(rows, len(table)), np.tile(np.arange(len(table)), len(rows))
        for either in (False, True) if base.masks else (False,):
            found = merged([found, joined(base, row, table, literal, either)], known)
        if len(found) > at_most:
            raise TooManySelectionsError(
                f"the mask chains make over {at_most} selections: too many for the search"
            )
    return found


def joined(base: Selections, row: Ints, table: Literals, literal: Ints, either: bool) -> Selections:
    """Chains of `base` with one literal more, joined by "or" (`either`) or "and"; not merged."""
    left, right = base.words[row], table.words[literal]
    ors = np.full((len(row), 1 if base.masks else 0), either)
    return Selections(
        left | right if either else left & right,
        np.column_stack([base.chain_of[row], literal]),
        np.column_stack([base.ors[row], ors]),
        base.bits[row] + table.bits[literal],
        base.classes,
    )


def merged(parts: list[Selections], known: Words) -> Selections:
    """One chain for each selection that is not `known`: the cheapest, then the first."""
    words = np.concatenate([part.words for part in parts])
    bits = np.concatenate([part.bits for part in parts])
    kept = _first_of_each(words, bits, known)
    return Selections(
        words[kept],
        np.concatenate([part.chain_of for part in parts])[kept],
        np.concatenate([part.ors for part in parts])[kept],
        bits[kept],
        parts[0].classes,
    )


def _first_of_each(words: Words, bits: Ints, known: Words) -> Ints:
    """Rows that hold a new selection, the cheapest of each (ties: the first), ascending."""
    cheapest_first = np.argsort(bits, kind="stable")
    every = np.concatenate([known, words[cheapest_first]])
    keys = _keys(every)
    _, first, of_row = np.unique(keys, return_index=True, return_inverse=True)
    if words.shape[1] > 1 and not (every == every[first[of_row]]).all():
        _, first = np.unique(_whole_keys(every), return_index=True)  # two words with the same key
    return np.sort(cheapest_first[first[first >= len(known)] - len(known)])


def _keys(words: Words) -> npt.NDArray[np.generic]:
    """Each row as one sortable value; different rows hardly ever share one."""
    if words.shape[1] == 1:
        return words[:, 0]
    factors = np.random.default_rng(0).integers(1, 2**63, words.shape[1], np.uint64) * 2 + 1
    mixed: Words = ((words ^ (words >> np.uint64(29))) * factors).sum(axis=1, dtype=np.uint64)
    return mixed


def _whole_keys(words: Words) -> npt.NDArray[np.generic]:
    rows = np.ascontiguousarray(words)
    return rows.view(np.dtype((np.void, rows.itemsize * rows.shape[1])))[:, 0]
