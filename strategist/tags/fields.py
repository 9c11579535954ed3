"""Fields of a memory bank: where their bits are, what they hold, and how far a mask may reach."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from strategist.errors import InputError
from strategist.survey.records import Tag
from strategist.tags.mask import Bank, bank_bits, bank_start

_STRUCTURAL = attrgetter("structural")
_HEX = re.compile(r"(?:[0-9A-Fa-f]{2})*")
# The longest EPC (496 bits) and what tells kinds of tags apart in TID and user memory lie within;
# without a bound, a survey of tags with kilobytes of memory would ask for millions of masks.
REACH_BITS = 1024
_NAMES: dict[Bank, str] = {"tid": "TID", "user": "user memory"}
_OWNERS = ("company prefix", "manager", "mask designer")  # the field behind them belongs to them


class Field(NamedTuple):
    """Bits `pointer … pointer+length−1` of a bank (Gen2 bit addresses) and what they mean.

    `value` is the bits as an unsigned number, `text` the content as the standard writes it (a
    serial number as in the URI, a header as hex), `words` the content as a sentence part such as
    "company 9521141". `structural` is True for what many tags share (scheme, company, item
    reference, chip model) and False for what tells one tag from the next.
    """

    name: str
    pointer: int
    length: int
    value: int
    text: str
    structural: bool
    words: str


def words_of(fields: Sequence[Field]) -> str:
    """The words for a run of neighbouring fields, as "item reference 0212 of company 9521141".

    The partition is not said where the company prefix is, whose digits show it. A single field is
    said alone: the bits of an item reference by themselves name no company.
    """
    said: list[str] = []
    names = [field.name for field in fields]
    for position, field in enumerate(fields):
        if position and names[position - 1] in _OWNERS:
            said[-1] = f"{field.words} of {said[-1]}"
        elif field.name != "partition" or "company prefix" not in names:
            said.append(field.words)
    return ", ".join(said)


def runs_of(fields: Iterable[Field]) -> Iterator[tuple[Field, ...]]:
    """Neighbouring fields that are alike structural or not."""
    for _, run in groupby(fields, _STRUCTURAL):
        yield tuple(run)


def stop_of(run: Sequence[Field]) -> int:
    """The bit address behind a run of fields."""
    return run[-1].pointer + run[-1].length


def value_within(run: Sequence[Field], begin: int, end: int) -> int:
    """Bits `begin … end−1` of a run of neighbouring fields."""
    value = 0
    for field in run:
        value = value << field.length | field.value
    return (value >> (stop_of(run) - end)) & ((1 << (end - begin)) - 1)


def plain_field(value: int, bits: int, start: int, at: int = 0) -> tuple[Field, ...]:
    """The bits behind the first `at` of a number of so many bits as one field of no meaning.

    `start` is the bank's address of the first bit. Empty where nothing is left.
    """
    rest = bits - at
    if rest <= 0:
        return ()
    own = value & ((1 << rest) - 1)
    text = f"{own << (-rest % 4):0{(rest + 3) // 4}X}"
    return (Field("bits", start + at, rest, own, text, False, f"bits {text}"),)


def read_bits(text: str, source: str) -> tuple[int, int]:
    """Hex of whole bytes as a number, and its bits; raises InputError on anything else."""
    if not _HEX.fullmatch(text):
        raise InputError.one(source, text, "hex digits of whole bytes without prefix")
    return int(text or "0", 16), 4 * len(text)


def bits_in_reach(tag: Tag, bank: Bank) -> tuple[int, int, int] | None:
    """`bank_bits` of the first `REACH_BITS` of the bank's data; None where nothing is recorded."""
    recorded = bank_bits(tag, bank)
    if recorded is None or recorded[1] <= REACH_BITS:
        return recorded
    value, bits, start = recorded
    return value >> (bits - REACH_BITS), REACH_BITS, start


def fields_in_reach(fields: Sequence[Field], bank: Bank) -> tuple[Field, ...]:
    """The fields within the first `REACH_BITS` of a bank; the one that crosses that end is cut."""
    end = REACH_BITS + bank_start(bank)
    if not fields or stop_of(fields) <= end:
        return tuple(fields)
    found = []
    for field in fields:
        beyond = field.pointer + field.length - end
        if beyond <= 0:
            found.append(field)
        elif beyond < field.length:
            found.append(field._replace(length=field.length - beyond, value=field.value >> beyond))
    return tuple(found)


def long_banks(tags: Sequence[Tag]) -> tuple[str, ...]:
    """A sentence for each bank in which no mask is sought behind the first `REACH_BITS`."""
    notes = []
    for bank, name in _NAMES.items():
        bits = [recorded[1] for tag in tags if (recorded := bank_bits(tag, bank)) is not None]
        longer = [count for count in bits if count > REACH_BITS]
        if longer:
            notes.append(
                f"{len(longer)} of {len(tags)} tags have more than {REACH_BITS:,} bits of {name} "
                f"(up to {max(longer):,}): masks are sought in the first {REACH_BITS:,} bits only."
            )
    return tuple(notes)
