"""Candidate masks: which masks are worth considering for the tags of a survey, and why.

A mask is worth something when it stands for what many tags share and tags of next week will share
too. So candidates are made of structural fields (scheme, filter, company, item class, tag maker and
model); where data has no known structure, of prefixes and single steps that several tags share; and
of serial parts only where the read point asks for them.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from strategist.survey.policy import Reader
from strategist.survey.records import Bools, Ints, Tag
from strategist.tags.epc import decode
from strategist.tags.fields import Field, words_of
from strategist.tags.mask import EPC_START, Bank, Mask, bank_bits, window
from strategist.tags.tid import decode_tid

__all__ = ["Candidates", "LeftOut", "find_candidates", "no_candidates", "tag_fields"]

_SHARED_BY = 2  # a plain value seen on one tag alone says nothing about the tags of next week
_SERIAL_LIKE = 0.6  # share of the distinct values that pure chance would show
_BANKS: tuple[Bank, ...] = ("epc", "tid", "user")


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Masks that were thought of and not taken: how many, and the reason in words."""

    reason: str
    masks: int


@dataclass(frozen=True, eq=False)
class Candidates:
    """The masks that may enter a chain, each with a selection of its own.

    `matches[m, k]` says whether mask m (never negated here) matches the tags of class k;
    `tag_class[t]` is the class of tag t: tags that no candidate tells apart share one. `words[m]`
    says what mask m stands for. `listed` counts the masks before those with the same selection, or
    the opposite one, were merged; `left_out` what never became one.
    """

    masks: tuple[Mask, ...]
    words: tuple[str, ...]
    matches: Bools
    tag_class: Ints
    listed: int
    left_out: tuple[LeftOut, ...] = ()


def no_candidates(tags: Sequence[Tag]) -> Candidates:
    """No mask at all: every tag is of class 0."""
    return Candidates((), (), np.zeros((0, 1), bool), np.zeros(len(tags), np.int64), 0)


def tag_fields(tag: Tag, bank: Bank) -> tuple[Field, ...]:
    """The fields of a bank, in order and without gaps; empty where the bank was not recorded."""
    recorded = bank_bits(tag, bank)
    if recorded is None:
        return ()
    if bank == "epc":
        return decode(tag.epc).fields
    if bank == "tid" and tag.tid is not None:
        return decode_tid(tag.tid).fields
    value, bits, start = recorded
    return (Field("bits", start, bits, value, tag.user or "", False, "user memory"),)


def find_candidates(
    tags: Sequence[Tag], reader: Reader, *, serial_masks: bool = False
) -> Candidates:
    """The candidate masks for the tags of a survey.

    Every mask starts and ends on a multiple of `reader.mask_step_bits` of its bank's data and has
    at most `reader.mask_bits_max` bits. Within a run of structural fields each aligned piece that
    begins with a field is a candidate: whole fields, neighbours together, and prefixes of them,
    which stand for ranges of values. A field that is not aligned gives the widest
    aligned piece inside it. With `serial_masks`, data behind the structure counts as plain data.
    Of masks with the same selection, or the opposite one (a mask can be negated), the one that is
    most made of whole fields is kept, then the shortest.
    """
    listing = _Listing(tags, reader)
    for number, tag in enumerate(tags):
        for bank in _BANKS:
            listing.note(number, bank, tag_fields(tag, bank), serial_masks)
    return listing.merged()


class _Listing:
    """Collects windows worth a mask, then the masks and what they select."""

    def __init__(self, tags: Sequence[Tag], reader: Reader) -> None:
        self.tags = tags
        self.step = reader.mask_step_bits
        self.bits_max = reader.mask_bits_max
        self.structural: dict[tuple[Bank, int, int], dict[int, str]] = defaultdict(dict)
        self.whole: set[tuple[Bank, int, int]] = set()
        self.plain: set[tuple[Bank, int, int]] = set()
        self.left_out: Counter[str] = Counter()
        self._seen: set[tuple[Bank, tuple[tuple[str, int, int], ...], int]] = set()

    def note(self, tag: int, bank: Bank, fields: tuple[Field, ...], serial_masks: bool) -> None:
        """Take the windows that one tag's bank suggests."""
        for run in _runs(fields):
            if run[0].structural:
                self._structure(bank, run)
            elif (run[0].name == "bits" and run[0] is fields[0]) or serial_masks:
                first = fields[0].pointer
                self.plain.update(
                    self._plain_windows(bank, first, run[-1].pointer + run[-1].length)
                )
            else:
                self.left_out["serial or unstructured part (serial_masks is false)"] += 1

    def _structure(self, bank: Bank, run: tuple[Field, ...]) -> None:
        start = EPC_START if bank == "epc" else 0
        ends = {f.pointer + f.length for f in run}
        stop = run[-1].pointer + run[-1].length
        for position, field in enumerate(run):
            begin = start + -(-(field.pointer - start) // self.step) * self.step
            value = 0
            for end in range(begin + self.step, stop + 1, self.step):
                if end - begin > self.bits_max:
                    self.left_out[f"longer than {self.bits_max} bits (mask_bits_max)"] += 1
                    break
                covered = [f for f in run[position:] if f.pointer < end]
                value = _cut(run, begin, end)
                key = (bank, begin, end - begin)
                partial = covered[-1].pointer + covered[-1].length > end
                words = words_of(covered)
                if partial:
                    words = f"first bits of: {words}"
                elif begin == field.pointer and end in ends:
                    self.whole.add(key)
                self.structural[key].setdefault(value, words)
            if begin + self.step > field.pointer + field.length and field.length > 0:
                reason = f"{field.name}: no {self.step}-bit step fits inside it alone"
                self.left_out[reason] += 1

    def _plain_windows(self, bank: Bank, first: int, stop: int) -> Iterator[tuple[Bank, int, int]]:
        """Prefixes, and single steps, of data from bit `first` to `stop`."""
        for begin in range(first, stop - self.step + 1, self.step):
            yield bank, begin, self.step
            if begin + self.step - first <= self.bits_max:
                yield bank, first, begin + self.step - first

    def merged(self) -> Candidates:
        """One candidate for each selection."""
        found = list(self._masks())
        found.sort(key=lambda f: (f[1], f[0].length, f[0].bank, f[0].pointer, f[0].pattern))
        everything = (1 << len(self.tags)) - 1
        kept: dict[int, tuple[Mask, str]] = {}
        for mask, _, words, selected in found:
            if selected not in kept and everything ^ selected not in kept:
                kept[selected] = (mask, words)
        by_tag = np.zeros((len(kept), len(self.tags)), bool)
        for row, selected in enumerate(kept):
            bits = np.frombuffer(selected.to_bytes(len(self.tags) // 8 + 1, "little"), np.uint8)
            by_tag[row] = np.unpackbits(bits, bitorder="little", count=len(self.tags))
        columns, tag_class = np.unique(by_tag, axis=1, return_inverse=True)
        return Candidates(
            tuple(mask for mask, _ in kept.values()),
            tuple(words for _, words in kept.values()),
            columns,
            tag_class.reshape(-1),
            len(found),
            tuple(LeftOut(reason, count) for reason, count in sorted(self.left_out.items())),
        )

    def _masks(self) -> Iterator[tuple[Mask, int, str, int]]:
        """(mask, rank, words, selected tags as bits) of everything that selects some, not all."""
        everything = (1 << len(self.tags)) - 1
        for key in sorted(set(self.structural) | self.plain):
            named = self.structural.get(key, {})
            by_value = self._selected(key)
            plain = key in self.plain and not _looks_serial(by_value, key[2])
            if key in self.plain and not plain:
                self.left_out["plain bits as varied as a serial number"] += len(by_value)
            for value, selected in by_value.items():
                shared = selected.bit_count() >= _SHARED_BY
                if value not in named and not (plain and shared):
                    continue
                if selected == everything:
                    self.left_out["selects every tag of the survey"] += 1
                    continue
                rank = 0 if key in self.whole and value in named else 1 if value in named else 2
                mask = Mask.of_value(*key, value)
                words = named.get(value, f"bits {key[1]}–{key[1] + key[2] - 1} {mask.pattern}")
                yield mask, rank, words, selected

    def _selected(self, key: tuple[Bank, int, int]) -> dict[int, int]:
        """The tags, as bits of a number, by their value in a window."""
        by_value: dict[int, int] = defaultdict(int)
        for number, tag in enumerate(self.tags):
            value = window(tag, *key)
            if value is not None:
                by_value[value] |= 1 << number
        return by_value


def _looks_serial(by_value: dict[int, int], length: int) -> bool:
    """Whether the values of a window are about as many as random numbers would be."""
    tags = sum(selected.bit_count() for selected in by_value.values())
    values = 2.0**length
    by_chance = -values * math.expm1(tags * math.log1p(-1 / values)) if length > 1 else 2.0
    return len(by_value) > _SERIAL_LIKE * by_chance and len(by_value) > 2


def _runs(fields: Iterable[Field]) -> Iterator[tuple[Field, ...]]:
    """Neighbouring fields that are alike structural or not."""
    run: list[Field] = []
    for field in fields:
        if run and run[-1].structural != field.structural:
            yield tuple(run)
            run = []
        run.append(field)
    if run:
        yield tuple(run)


def _cut(run: Sequence[Field], begin: int, end: int) -> int:
    """Bits `begin … end−1` of a run of neighbouring fields."""
    value = 0
    for field in run:
        value = value << field.length | field.value
    return (value >> (run[-1].pointer + run[-1].length - end)) & ((1 << (end - begin)) - 1)
