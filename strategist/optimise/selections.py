"""Every distinct selection of tag classes that a mask chain can make, with its cheapest chain."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.problem import Chain, Literal, Problem
from strategist.optimise.walks import sums_of, sums_of_bytes
from strategist.survey.records import Bools, Bytes, Floats, Ints
from strategist.tags.candidates import Candidates

__all__ = [
    "Known",
    "Literals",
    "Selections",
    "grow",
    "joined",
    "keys_of",
    "literals",
    "merged",
    "no_masks",
    "of_chain",
    "padded",
]

Words = np.ndarray[tuple[Any, ...], np.dtype[np.uint64]]
Numbers = np.ndarray[tuple[Any, ...], np.dtype[np.int32]]
_BATCH = 1 << 20  # combinations that stand together in the order of chains
_AT_ONCE = 1 << 24  # bytes of selections that are worked on together
_HELD = 4_000_000  # combinations noted before they are merged


@dataclass(frozen=True, eq=False)
class Literals:
    """Candidate masks as they are (even numbers) and negated (odd): selections and lengths."""

    words: Words
    bits: Ints
    classes: int

    def __len__(self) -> int:
        return len(self.bits)

    @property
    def bytes(self) -> Bytes:
        """The words byte by byte, a row each."""
        return _bytes(self.words)

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
    chain_of: Numbers
    ors: Bools
    bits: Ints
    classes: int

    def __len__(self) -> int:
        return len(self.bits)

    @property
    def masks(self) -> int:
        return int(self.chain_of.shape[1])

    @property
    def bytes(self) -> Bytes:
        """The words byte by byte, a row each."""
        return _bytes(self.words)

    def unpack(self, rows: slice | Ints) -> Bools:
        """Which classes pass: shape (rows, classes)."""
        return _unpacked(self.words[rows], self.classes)

    def sums(self, weight: Floats) -> Floats:
        """Σ weight over the classes that pass, for each row."""
        return sums_of(self.bytes, sums_of_bytes(padded(weight, self.words)))

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
            np.zeros((0, masks), np.int32),
            np.zeros((0, max(masks - 1, 0)), bool),
            np.zeros(0, np.int64),
            classes,
        )

    def chain(self, row: int) -> Chain:
        return Chain(
            tuple(Literal(int(x) // 2, bool(x % 2)) for x in self.chain_of[row]),
            tuple("or" if either else "and" for either in self.ors[row]),
        )


def padded(weight: Floats, words: Words) -> Floats:
    """Weights of classes, with 0 for each bit of the words that stands for none."""
    whole = np.zeros(64 * words.shape[1])
    whole[: len(weight)] = weight
    return whole


def _bytes(words: Words) -> Bytes:
    return np.ascontiguousarray(words).view(np.uint8).reshape(len(words), 8 * words.shape[1])


def _pack(through: Bools) -> Words:
    padded = np.zeros((len(through), -(-through.shape[1] // 64) * 64), bool)
    padded[:, : through.shape[1]] = through
    return np.packbits(padded, axis=1).view(np.uint64)


def _unpacked(words: Words, classes: int) -> Bools:
    as_bytes = np.ascontiguousarray(words).view(np.uint8)
    return np.unpackbits(as_bytes, axis=1, count=classes).astype(bool)


def no_masks(classes: int) -> Selections:
    """The one selection of an empty chain: everything passes."""
    none = np.zeros((1, 0), np.int32)
    everything = _pack(np.ones((1, classes), bool))
    return Selections(everything, none, none.astype(bool), np.zeros(1, np.int64), classes)


def of_chain(problem: Problem, chain: Chain, table: Literals) -> Selections:
    """The selection of one chain, as one row."""
    number = [2 * literal.mask + literal.negate for literal in chain.literals]
    return Selections(
        _pack(problem.selection(chain)[None]),
        np.array([number], np.int32),
        np.array([[join == "or" for join in chain.joins]], bool),
        table.bits[number].sum(keepdims=True),
        table.classes,
    )


def literals(candidates: Candidates) -> Literals:
    """Both literals of each candidate."""
    through = np.repeat(candidates.matches, 2, axis=0)
    through[1::2] ^= True
    bits = np.array([mask.length for mask in candidates.masks], np.int64)
    return Literals(_pack(through), np.repeat(bits, 2), through.shape[1])


@dataclass(frozen=True, eq=False)
class Known:
    """Selections that need no chain more: one key each, ascending, and the words in that order."""

    words: Words
    keys: Words
    seed: int = 0

    @staticmethod
    def of(words: Words, seed: int = 0) -> Known:
        keys = keys_of(words, seed)
        order = np.argsort(keys, kind="stable")
        return Known(words[order], keys[order], seed)

    def holds(self, words: Words, keys: Words) -> Bools:
        """Which of some selections are among them; raises _SameKeyError where that is open."""
        if not len(self.keys):
            return np.zeros(len(keys), bool)
        place = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        same: Bools = self.keys[place] == keys
        if not np.array_equal(self.words[place[same]], words[same]):
            raise _SameKeyError
        return same


class _SameKeyError(Exception):
    """Two selections share a key, which hardly ever happens: other keys are needed."""


def grow(
    base: Selections, known: Words, table: Literals, clock: Clock, at_most: int | None = None
) -> Selections | None:
    """The selections with one mask more than `base` that are not among `known` (rows of words).

    Of chains with the same selection the one with the fewest mask bits is kept, then the first in
    order. None above `at_most`. Raises OutOfTimeError.
    """
    for seed in itertools.count():
        try:
            return _Growth(base, Known.of(known, seed), table, clock, at_most).run()
        except _SameKeyError:
            continue
    raise AssertionError


class _Growth:
    """The joins that are worth keeping so far, by number: `code` says how each is joined."""

    def __init__(
        self, base: Selections, known: Known, table: Literals, clock: Clock, at_most: int | None
    ) -> None:
        self.base, self.known, self.table, self.clock = base, known, table, clock
        self.at_most = at_most
        self.keys = np.zeros(0, np.uint64)
        self.code = np.zeros(0, np.int64)
        self._new: list[tuple[Words, Ints]] = []
        self._noted = 0

    def run(self) -> Selections | None:
        literals, ors = len(self.table), (False, True) if self.base.masks else (False,)
        batch = max(1, _BATCH // max(literals, 1))
        at_once = max(1, _AT_ONCE // (self.base.words.shape[1] * 8 * max(literals, 1)))
        for start in range(0, len(self.base), batch):
            stop = min(start + batch, len(self.base))
            for either in ors:
                for first in range(start, stop, at_once):
                    self.clock.check()
                    self._note(np.arange(first, min(first + at_once, stop)), either)
                    if self._noted > _HELD:
                        self._merge()
                        if self.at_most is not None and len(self.code) > self.at_most:
                            return None
        self._merge()
        if self.at_most is not None and len(self.code) > self.at_most:
            return None
        return self._made()

    def _note(self, rows: Ints, either: bool) -> None:
        left, right = self.base.words[rows][:, None], self.table.words[None]
        words = (left | right if either else left & right).reshape(-1, left.shape[2])
        keys = keys_of(words, self.known.seed)
        new = ~self.known.holds(words, keys)
        literals = len(self.table)
        code = (2 * rows[:, None] + either) * literals + np.arange(literals)
        self._new.append((keys[new], code.reshape(-1)[new]))
        self._noted += int(new.sum())

    def _parts(self, code: Ints) -> tuple[Ints, Ints, Bools]:
        """(row of the base, literal, joined by "or")."""
        rest, literal = np.divmod(code, max(len(self.table), 1))
        return rest // 2, literal, rest % 2 == 1

    def _words(self, code: Ints) -> Words:
        row, literal, either = self._parts(code)
        left, right = self.base.words[row], self.table.words[literal]
        words: Words = np.where(either[:, None], left | right, left & right)
        return words

    def _merge(self) -> None:
        """Keep one join for each selection: the cheapest, then the first."""
        keys = np.concatenate([self.keys, *(part for part, _ in self._new)])
        code = np.concatenate([self.code, *(part for _, part in self._new)])
        self._new, self._noted = [], 0
        row, literal, _ = self._parts(code)
        order = np.lexsort((self.base.bits[row] + self.table.bits[literal], keys))
        del row, literal
        keys, code = keys[order], code[order]
        first = np.ones(len(keys), bool)
        first[1:] = keys[1:] != keys[:-1]
        self._confirm(code, np.flatnonzero(first)[np.cumsum(first) - 1])
        keys, code = keys[first], code[first]
        order = self._in_order(code)
        self.keys, self.code = keys[order], code[order]

    def _confirm(self, code: Ints, kept: Ints) -> None:
        """Raises _SameKeyError where a join is not the selection that stands for it."""
        if self.base.words.shape[1] == 1:
            return  # the key is the selection
        rest = np.flatnonzero(kept != np.arange(len(code)))
        size = max(1, _AT_ONCE // (self.base.words.shape[1] * 8))
        for start in range(0, len(rest), size):
            self.clock.check()
            some = rest[start : start + size]
            if not np.array_equal(self._words(code[some]), self._words(code[kept[some]])):
                raise _SameKeyError

    def _in_order(self, code: Ints) -> Ints:
        """The order of chains: some rows of the base joined by "and", then by "or", then more."""
        row, literal, either = self._parts(code)
        batch = max(1, _BATCH // max(len(self.table), 1))
        order: Ints = np.lexsort((literal, row, either, row // batch))
        return order

    def _made(self) -> Selections:
        row, literal, either = self._parts(self.code)
        words = np.empty((len(self.code), self.base.words.shape[1]), np.uint64)
        size = max(1, _AT_ONCE // (8 * words.shape[1]))
        for start in range(0, len(words), size):
            words[start : start + size] = self._words(self.code[start : start + size])
        ors = either[:, None][:, : 1 if self.base.masks else 0]
        return Selections(
            words,
            np.column_stack([self.base.chain_of[row], literal.astype(np.int32)]),
            np.column_stack([self.base.ors[row], ors]),
            self.base.bits[row] + self.table.bits[literal],
            self.base.classes,
        )


def joined(base: Selections, row: Ints, table: Literals, literal: Ints, either: bool) -> Selections:
    """Chains of `base` with one literal more, joined by "or" (`either`) or "and"; not merged."""
    left, right = base.words[row], table.words[literal]
    ors = np.full((len(row), 1 if base.masks else 0), either)
    return Selections(
        left | right if either else left & right,
        np.column_stack([base.chain_of[row], literal.astype(np.int32)]),
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
    keys = keys_of(every)
    _, first, of_row = np.unique(keys, return_index=True, return_inverse=True)
    if words.shape[1] > 1 and not (every == every[first[of_row]]).all():
        _, first = np.unique(_whole_keys(every), return_index=True)  # two words with the same key
    return np.sort(cheapest_first[first[first >= len(known)] - len(known)])


def keys_of(words: Words, seed: int = 0) -> Words:
    """Each row as one sortable value; different rows hardly ever share one."""
    if words.shape[1] == 1:
        return words[:, 0]
    factors = np.random.default_rng(seed).integers(1, 2**63, words.shape[1], np.uint64) * 2 + 1
    keys = np.empty(len(words), np.uint64)
    size = max(1, _AT_ONCE // (8 * words.shape[1]))
    for start in range(0, len(words), size):
        some = words[start : start + size]
        keys[start : start + size] = ((some ^ (some >> np.uint64(29))) * factors).sum(axis=1)
    return keys


def _whole_keys(words: Words) -> np.ndarray[tuple[Any, ...], np.dtype[np.generic]]:
    rows = np.ascontiguousarray(words)
    return rows.view(np.dtype((np.void, rows.itemsize * rows.shape[1])))[:, 0]
