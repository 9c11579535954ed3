"""Candidate masks: which masks are worth considering for the tags of a survey, and why.

A mask is worth something when it stands for what many tags share and tags of next week will share
too. So candidates are made of structural fields (scheme, filter, company, item reference, tag maker
and model); where data has no known structure, of prefixes and single steps whose values repeat more
than chance; and of serial parts only where the read point asks for them. Prefixes are what ranges
of values are covered with: each aligned block of a range is a prefix.

A chain may negate any candidate, so each must be worth as much negated: "not 2F" on a byte that one
tag alone carries would silence that tag and say nothing of the next. What counts is tags, never how
often one of them was presented, and a tag that meets a value in its serial number does not count.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from strategist.survey.policy import Reader
from strategist.survey.records import Bools, Ints, Tag
from strategist.tags.epc import decode, parted
from strategist.tags.fields import (
    Field,
    bits_in_reach,
    fields_in_reach,
    runs_of,
    stop_of,
    value_within,
    words_of,
)
from strategist.tags.left_out import LeftOut, Tally, Window
from strategist.tags.mask import Bank, Mask, bank_bits, bank_start
from strategist.tags.meaning import SHARED_BY, Repeats, Runs
from strategist.tags.tid import decode_tid

_SERIAL_SHARED_BY = 2  # a plain value on fewer tags is none where serial masks are asked for
_MEANT = 0.9  # share of the tags selected that must carry the value by meaning, not in a serial
_KEPT = 8  # answers kept: posing, diagnosis and listing ask for the same tags
_FEW = 32  # values of a bank up to some bit that are kept, since many windows end there
_WORDS_MAX = 3  # examples in the words of a mask on a part of a field
_SERIAL = "serial or unstructured part (serial_masks is false)"
_BANKS: tuple[Bank, ...] = ("epc", "tid", "user")
_BEHIND = _BANKS[1:]


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
    if bank == "epc":
        return decode(tag.epc)
    if bank == "tid":
        return decode_tid(tag.tid) if tag.tid else ()
    recorded = bank_bits(tag, bank)
    if recorded is None:
        return ()
    value, bits, start = recorded
    return (Field("bits", start, bits, value, tag.user or "", False, f"user memory {tag.user}"),)


def find_candidates(
    tags: Sequence[Tag], reader: Reader, *, serial_masks: bool = False
) -> Candidates:
    """The candidate masks for the tags of a survey.

    Every mask starts and ends on a multiple of `reader.mask_step_bits` of its bank's data and has
    at most `reader.mask_bits_max` bits. Within a run of structural fields each aligned piece that
    begins with a field is a candidate: whole fields, neighbours together, and prefixes of them,
    which stand for ranges of values. A field that is not aligned gives the widest aligned piece
    inside it. With `serial_masks`, data behind the structure counts as plain data, and plain data
    may be as varied as serial numbers are. A plain value counts from three tags on (two with
    `serial_masks`), and 9 in 10 of the tags that a mask selects must carry its value by meaning.
    Of masks with the same selection, or the opposite one (a mask can be negated), the one that is
    most made of whole fields is kept, then the shortest. The last ones found are kept, since a
    read point is often solved again.
    """
    return _found(tuple(tags), reader.mask_step_bits, reader.mask_bits_max, serial_masks)


def forget_candidates() -> None:
    """Find them anew at the next call, for measuring how long it takes."""
    _found.cache_clear()


@lru_cache(maxsize=_KEPT)
def _found(tags: tuple[Tag, ...], step: int, bits_max: int, serial_masks: bool) -> Candidates:
    listing = _Listing(tags, step, bits_max, serial_masks)
    for number, tag in enumerate(tags):
        listing.note_all(number, tag)
    return listing.merged()


class _Shared:
    """The structure that EPCs share, and their tags as the bits of a number."""

    def __init__(self, structure: tuple[Field, ...]) -> None:
        self.structure, self.stop, self.tags = structure, stop_of(structure), 0


class _Listing:
    """Collects windows worth a mask, then the masks and what they select."""

    def __init__(self, tags: Sequence[Tag], step: int, bits_max: int, serial_masks: bool) -> None:
        self.tags = tags
        self.step = step
        self.bits_max = bits_max
        self.serial_masks = serial_masks
        # window → value → words of the fields → whether it is the whole of them
        self.structural: dict[Window, dict[int, dict[str, bool]]] = defaultdict(dict)
        self.plain: set[Window] = set()
        self._runs: dict[tuple[Bank, tuple[Field, ...]], None] = {}  # of structure, in order
        self._shared: dict[int, _Shared] = {}  # of EPCs, by what `parted` gives of each
        self._in_structure, self._in_plain = Runs(), Runs()
        self._repeats = Repeats(self._in_plain, lambda *key: self._selected(key))
        self.left_out = Tally(step, bits_max)
        # what is recorded of each bank: the tag's bit, the value, and the address behind it
        self._bits = {bank: list(_recorded(tags, bank)) for bank in _BANKS}
        self._few: dict[tuple[Bank, int], dict[int, int]] = {}

    def note_all(self, number: int, tag: Tag) -> None:
        """Take what one tag has in its banks."""
        own = None if self.serial_masks else parted(tag.epc)
        if own is not None:
            structure, value, bits = own
            shared = self._shared.get(id(structure))
            if shared is None:
                self._runs["epc", structure] = None
                shared = self._shared[id(structure)] = _Shared(structure)
            shared.tags |= 1 << number
            if bits:
                self.left_out.note(_SERIAL, ("epc", shared.stop, bits), value)
        for bank in _BANKS if own is None else _BEHIND:
            if fields := tag_fields(tag, bank):
                self.note(number, bank, fields_in_reach(fields, bank))

    def note(self, number: int, bank: Bank, fields: tuple[Field, ...]) -> None:
        """Take the runs of fields in one tag's bank."""
        for run in runs_of(fields):
            if run[0].structural:
                self._runs[bank, run] = None
                self._in_structure.tags[bank, run[0].pointer, stop_of(run)] |= 1 << number
            elif (run[0].name == "bits" and run[0] is fields[0]) or self.serial_masks:
                first, stop = fields[0].pointer, stop_of(run)
                self._in_plain.tags[bank, first, stop] |= 1 << number
                value = value_within(fields, first, stop)
                self.left_out.prefixes(self._too_long(), bank, first, value, stop - first)
            else:
                self._leave_out(_SERIAL, bank, run, run[0].pointer, stop_of(run))

    def _structure(self, bank: Bank, run: tuple[Field, ...]) -> None:
        for position, field in enumerate(run):
            begin, stop = self._aligned(bank, field.pointer), stop_of((field,))
            if begin + self.step > stop:
                reason = f"{field.name}: no {self.step}-bit-aligned mask lies within this field"
                self._leave_out(reason, bank, (field,), field.pointer, stop)
            if begin >= stop:
                continue  # the field behind it begins the same windows
            for end in range(begin + self.step, stop_of(run) + 1, self.step):
                if end - begin > self.bits_max:
                    self._leave_out_long(bank, run, begin, end)
                    break
                covered = [f for f in run[position:] if f.pointer < end]
                whole = begin == field.pointer and end == stop_of(covered)
                named = self.structural[bank, begin, end - begin]
                named.setdefault(value_within(run, begin, end), {})[words_of(covered)] = whole

    def _plain(self, bank: Bank, first: int, stop: int) -> None:
        """Prefixes of the bank up to an end, and single steps."""
        for begin in range(first, stop - self.step + 1, self.step):
            if self.step <= self.bits_max:
                self.plain.add((bank, begin, self.step))
            if begin + self.step - first <= self.bits_max:
                self.plain.add((bank, first, begin + self.step - first))

    def _aligned(self, bank: Bank, pointer: int) -> int:
        """The first multiple of the step at or behind a bit address."""
        start = bank_start(bank)
        return start + -(-(pointer - start) // self.step) * self.step

    def _too_long(self) -> str:
        return f"longer than {self.bits_max} bits (mask_bits_max)"

    def _leave_out(
        self, reason: str, bank: Bank, run: Sequence[Field], begin: int, end: int
    ) -> None:
        self.left_out.note(reason, (bank, begin, end - begin), value_within(run, begin, end))

    def _leave_out_long(self, bank: Bank, run: Sequence[Field], begin: int, end: int) -> None:
        """A piece of a structure; at the bank's start it may be a prefix of plain data, too."""
        if begin == bank_start(bank):
            value = value_within(run, begin, end)
            self.left_out.prefixes(self._too_long(), bank, begin, value, end - begin)
        else:
            self._leave_out(self._too_long(), bank, run, begin, end)

    def merged(self) -> Candidates:
        """One candidate for each selection."""
        for one in self._shared.values():
            self._in_structure.tags["epc", one.structure[0].pointer, one.stop] |= one.tags
        for bank, run in self._runs:
            self._structure(bank, run)
        for bank, first, stop in self._in_plain.tags:
            self._plain(bank, first, stop)
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
        packed = np.packbits(by_tag, axis=0)  # sorted as the columns are, in a quarter of the time
        _, one_of, of_tag = np.unique(packed, axis=1, return_index=True, return_inverse=True)
        columns, tag_class = by_tag[:, one_of], of_tag.reshape(-1)
        columns.flags.writeable = tag_class.flags.writeable = False
        return Candidates(
            tuple(mask for mask, _ in kept.values()),
            tuple(words for _, words in kept.values()),
            columns,
            tag_class,
            len(found),
            self.left_out.left_out(),
        )

    def _masks(self) -> Iterator[tuple[Mask, int, str, int]]:
        """(mask, rank, words, selected tags as bits) of everything that is worth a mask."""
        for key in sorted(set(self.structural) | self.plain):
            named = self.structural.get(key, {})
            plain = self._over(self._in_plain, key) if key in self.plain else 0
            for value, selected in self._selected(key).items():
                if value not in named and not selected & plain:
                    continue  # other tags have their fields there
                reason = self._against(key, value, selected)
                if reason is not None:
                    self.left_out.once(reason, key, value)
                    continue
                mask = Mask.of_value(*key, value)
                fields = named.get(value, {})
                rank = 0 if any(fields.values()) else 1 if fields else 2
                yield mask, rank, _said(fields) or _bits(mask), selected

    def _against(self, key: Window, value: int, selected: int) -> str | None:
        """Why a value of a window is worth no mask, as it is and negated; None where it is."""
        plain = selected & self._over(self._in_plain, key)
        meant = plain if self.serial_masks else plain & self._repeats.tags(*key)
        if value not in self.structural.get(key, {}):
            count, least = plain.bit_count(), _SERIAL_SHARED_BY if self.serial_masks else SHARED_BY
            if count < least:
                return f"plain value seen on {'one tag' if count == 1 else 'two tags'} alone"
            if meant.bit_count() < _MEANT * count:
                return "unstructured bits that vary like a serial number (serial_masks is false)"
        meant |= selected & self._over(self._in_structure, key)
        if meant.bit_count() < _MEANT * selected.bit_count():
            return "value that other tags show by chance, as in a serial number"
        if selected == (1 << len(self.tags)) - 1:
            return "selects every tag of the survey"
        if selected.bit_count() == len(self._bits[key[0]]):
            return f"tells only whether the {key[0].upper()} bank was recorded"
        return None

    def _over(self, runs: Runs, key: Window) -> int:
        bank, begin, length = key
        return runs.over(bank, begin, begin + length)

    def _selected(self, key: Window) -> dict[int, int]:
        """The tags, as bits of a number, by their value in a window."""
        bank, begin, length = key
        by_value: dict[int, int] = defaultdict(int)
        if begin >= bank_start(bank):
            all_ones = (1 << length) - 1
            for value, tags in self._up_to(bank, begin + length).items():
                by_value[value & all_ones] |= tags
        return by_value

    def _up_to(self, bank: Bank, stop: int) -> dict[int, int]:
        """The tags that have so much of a bank, as bits of a number, by all they have before that:
        windows within a structure then ask the few structures there are, and not each tag."""
        if (bank, stop) in self._few:
            return self._few[bank, stop]
        by_value: dict[int, int] = defaultdict(int)
        for one, value, end in self._bits[bank]:
            if end >= stop:
                by_value[value >> (end - stop)] |= one
        if len(by_value) <= _FEW:
            self._few[bank, stop] = by_value
        return by_value


def _recorded(tags: Sequence[Tag], bank: Bank) -> Iterator[tuple[int, int, int]]:
    """The tag as a bit, the value and the address behind it, of each tag that has some of a bank;
    as far as masks are sought."""
    for number, tag in enumerate(tags):
        recorded = bits_in_reach(tag, bank)
        if recorded is not None:
            value, bits, start = recorded
            yield 1 << number, value, start + bits


def _bits(mask: Mask) -> str:
    """A mask on data of no known structure, in hex as far as the bits reach."""
    if mask.length == 1:
        return f"bit {mask.pointer} {mask.value}"
    digits = mask.pattern[: -(-mask.length // 4)]
    shift = "" if mask.length % 4 == 0 else " left-aligned"
    return f"bits {mask.pointer}–{mask.pointer + mask.length - 1} {digits}{shift}"


def _said(fields: dict[str, bool]) -> str:
    """What a mask stands for: whole fields, then fields that it holds a part of; "" for none."""
    whole = [words for words, all_of_it in fields.items() if all_of_it]
    part = [words for words, all_of_it in fields.items() if not all_of_it]
    held = [f"part of {' and of '.join(part[:_WORDS_MAX])}", *_more(part)] if part else []
    return "; ".join([*_first(whole), ", ".join(held)] if held else _first(whole))


def _first(words: list[str]) -> list[str]:
    return words[:_WORDS_MAX] + _more(words)


def _more(words: list[str]) -> list[str]:
    return [f"… ({len(words)} in all)"] if len(words) > _WORDS_MAX else []
