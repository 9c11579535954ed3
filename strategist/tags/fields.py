"""One field of a memory bank: where its bits are, what they hold, and how to say it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from strategist.errors import InputError

__all__ = ["Field", "plain_field", "read_bits", "words_of"]

_HEX = re.compile(r"(?:[0-9A-Fa-f]{2})*")
_OWNERS = ("company prefix", "manager", "mask designer")  # the field behind them belongs to them


@dataclass(frozen=True, slots=True)
class Field:
    """Bits `pointer … pointer+length−1` of a bank (Gen2 bit addresses) and what they mean.

    `value` is the bits as an unsigned number, `text` the content as the standard writes it (a
    serial number as in the URI, a header as hex), `words` the content as a sentence part such as
    "company 9521141". `structural` is True for what many tags share (scheme, company, item class,
    chip model) and False for what tells one tag from the next.
    """

    name: str
    pointer: int
    length: int
    value: int
    text: str
    structural: bool
    words: str


def words_of(fields: Sequence[Field]) -> str:
    """The words for a run of neighbouring fields, as "item class 0212 of company 9521141".

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


def plain_field(data: str, start: int, at: int = 0) -> tuple[Field, ...]:
    """The bits of `data` (a string of 0 and 1) from position `at` on as one field of no meaning.

    `start` is the bank's address of `data[0]`. Empty where nothing is left.
    """
    rest = data[at:]
    if not rest:
        return ()
    value = int(rest, 2)
    text = f"{value << (-len(rest) % 4):0{(len(rest) + 3) // 4}X}"
    return (Field("bits", start + at, len(rest), value, text, False, f"bits {text}"),)


def read_bits(text: str, source: str) -> str:
    """Hex of whole bytes as a string of 0 and 1; raises InputError on anything else."""
    if not _HEX.fullmatch(text):
        raise InputError.one(source, text, "hex digits of whole bytes, without prefix")
    return f"{int(text, 16):0{4 * len(text)}b}" if text else ""
