"""Masks on tag data, and chains of them, as readers test them (Gen2 bit addresses)."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from strategist.survey.policy import STRICT, AsWhole
from strategist.survey.records import Tag

Bank = Literal["epc", "tid", "user"]
EPC_START = 32  # bits 0–15 of the EPC bank hold the CRC, 16–31 the PC word (Gen2)

_BANK_WORDS: dict[Bank, str] = {"tid": "TID memory", "user": "user memory"}
_CONTROL = (
    "A mask tests the CRC or PC word (bits 0 to 31 of the EPC bank), which a survey does not "
    "record: planned as never matching, though a real tag may match it."
)
_KEPT = 64  # answers
_HEX = {"pattern": "^([0-9A-Fa-f]{2})+$", "examples": ["3034"]}  # of the description alone


@dataclass(frozen=True, config=STRICT)
class Mask:
    """Bits `pointer … pointer+length−1` of a bank equal `pattern` (left-aligned hex).

    `negate` turns the test round. `join` ties the mask to the chain before it and is None only on
    a chain's first mask. A tag that is too short, or whose bank was not recorded, does not match.
    """

    bank: Bank
    pointer: Annotated[int, Field(ge=0, le=4095), AsWhole]
    length: Annotated[int, Field(ge=1, le=255), AsWhole]
    pattern: Annotated[str, Field(json_schema_extra=_HEX)]
    negate: bool = False
    join: Literal["and", "or"] | None = None

    @model_validator(mode="after")
    def _pattern_fits(self) -> Mask:
        size = (self.length + 7) // 8
        try:
            bits = bytes.fromhex(self.pattern)
        except ValueError:
            raise ValueError("The pattern is no hex. Give hex digits without prefix.") from None
        if len(bits) != size or len(self.pattern) != 2 * size:
            raise ValueError(
                f"The pattern has {len(self.pattern)} hex digits. Give {2 * size} for a length of "
                f"{self.length} bits."
            )
        if int.from_bytes(bits) & ((1 << (8 * size - self.length)) - 1):
            raise ValueError(
                "The pattern has ones behind its length. Fill the last byte up with zeros."
            )
        object.__setattr__(self, "pattern", self.pattern.upper())
        return self

    @classmethod
    def of_value(cls, bank: Bank, pointer: int, length: int, value: int) -> Mask:
        """The mask for an unsigned `value` of `length` bits."""
        size = (length + 7) // 8
        return cls(bank, pointer, length, f"{value << (8 * size - length):0{2 * size}X}")

    @property
    def value(self) -> int:
        """The pattern as an unsigned number of `length` bits."""
        return int(self.pattern, 16) >> (-self.length % 8)

    def to_json(self) -> dict[str, Any]:
        """The mask as plain JSON values; `join` only where it has one."""
        join = {} if self.join is None else {"join": self.join}
        test = {"bank": self.bank, "pointer": self.pointer, "length": self.length}
        return {**join, **test, "pattern": self.pattern, "negate": self.negate}

    def matches(self, tag: Tag) -> bool:
        """Whether the tag passes this mask alone, `negate` included."""
        return (window(tag, self.bank, self.pointer, self.length) == self.value) != self.negate


def bank_start(bank: Bank) -> int:
    """The bit address of the first bit of a bank that surveys record."""
    return EPC_START if bank == "epc" else 0


def bank_bits(tag: Tag, bank: Bank) -> tuple[int, int, int] | None:
    """(value, bits, address of the first bit) of what is recorded of a bank; None if nothing is."""
    data = tag.epc if bank == "epc" else tag.tid if bank == "tid" else tag.user
    if not data:
        return None
    return int(data, 16), 4 * len(data), bank_start(bank)


def window(tag: Tag, bank: Bank, pointer: int, length: int) -> int | None:
    """The `length` bits from bit address `pointer` of a bank; None where they are not recorded."""
    recorded = bank_bits(tag, bank)
    return None if recorded is None else bits_within(recorded, pointer, length)


def bits_within(recorded: tuple[int, int, int], pointer: int, length: int) -> int | None:
    """The same, of a bank that `bank_bits` gave."""
    value, bits, start = recorded
    behind = start + bits - pointer - length
    if pointer < start or behind < 0:
        return None
    return (value >> behind) & ((1 << length) - 1)


def chain_accepts(chain: Sequence[Mask], tag: Tag) -> bool:
    """Whether a mask chain, read left to right, lets the tag through; an empty chain lets all."""
    accepted = True
    for position, mask in enumerate(chain):
        if position == 0:
            accepted = mask.matches(tag)
        elif mask.join == "and":
            accepted = accepted and mask.matches(tag)
        else:
            accepted = accepted or mask.matches(tag)
    return accepted


@lru_cache(maxsize=_KEPT)
def accepted_by(chain: tuple[Mask, ...], tags: tuple[Tag, ...]) -> tuple[bool, ...]:
    """Which of some tags a mask chain lets through; the last answers are kept, since a strategy is
    looked at in many ways."""
    return tuple(chain_accepts(chain, tag) for tag in tags)


def mask_text(mask: Mask) -> str:
    """Bank, pointer, length and value: in hex, or in bits where these are no whole hex digits."""
    value = f"{mask.value:0{mask.length}b} binary"
    if mask.length % 4 == 0:
        value = f"{mask.pattern[: mask.length // 4]} hex"
    test = "not " if mask.negate else ""
    return f"{mask.bank.upper()} bank, pointer {mask.pointer}, length {mask.length}: {test}{value}"


def chain_notes(chain: Sequence[Mask]) -> tuple[str, ...]:
    """Sentences on masks that test what a survey may not have recorded."""
    notes = [_CONTROL] if any(map(_on_control, chain)) else []
    if any(mask.bank != "epc" for mask in chain):
        notes.append(
            "A mask tests TID or user memory. A tag whose bank was not recorded is planned as not "
            "matching, though the real tag may match."
        )
    return tuple(notes)


def unrecorded(chain: Sequence[Mask], tags: Sequence[Tag]) -> tuple[str, ...]:
    """Sentences on what the masks test and these tags' records lack, so that it counts as no match.

    The CRC and PC words, which no survey holds, and TID or user memory that was not recorded, or
    not as far as a mask reaches. An EPC is recorded whole, so a tag too short for a mask is.
    """
    notes = [_CONTROL] if any(map(_on_control, chain)) else []
    banks: tuple[Bank, ...] = ("tid", "user")
    for bank in banks:
        masks = [mask for mask in chain if mask.bank == bank]
        lacking = sum(
            any(window(tag, bank, mask.pointer, mask.length) is None for mask in masks)
            for tag in tags
        )
        if lacking:
            notes.append(
                f"A mask tests {_BANK_WORDS[bank]}, which was not recorded for {lacking} of "
                f"{len(tags)} tags: these are taken not to match, but may."
            )
    return tuple(notes)


def _on_control(mask: Mask) -> bool:
    return mask.bank == "epc" and mask.pointer < EPC_START
