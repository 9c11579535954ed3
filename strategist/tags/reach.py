"""How far into a memory bank candidate masks look, and what to say of banks that are longer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from strategist.survey.records import Tag
from strategist.tags.fields import Field
from strategist.tags.mask import EPC_START, Bank, bank_bits

__all__ = ["BANK_BITS", "bits_in_reach", "fields_in_reach", "long_banks"]

# The longest EPC (496 bits) and what tells kinds of tags apart in TID and user memory lie within;
# without a bound, a survey of tags with kilobytes of memory would ask for millions of masks.
BANK_BITS = 1024
_NAMES: dict[Bank, str] = {"tid": "TID", "user": "user memory"}


def bits_in_reach(tag: Tag, bank: Bank) -> tuple[int, int, int] | None:
    """`bank_bits` of the first `BANK_BITS` of the bank's data; None where nothing is recorded."""
    recorded = bank_bits(tag, bank)
    if recorded is None or recorded[1] <= BANK_BITS:
        return recorded
    value, bits, start = recorded
    return value >> (bits - BANK_BITS), BANK_BITS, start


def fields_in_reach(fields: Sequence[Field], bank: Bank) -> tuple[Field, ...]:
    """The fields within the first `BANK_BITS` of a bank; the one that crosses that end is cut."""
    end = BANK_BITS + (EPC_START if bank == "epc" else 0)
    found = []
    for field in fields:
        beyond = field.pointer + field.length - end
        if beyond <= 0:
            found.append(field)
        elif beyond < field.length:
            found.append(replace(field, length=field.length - beyond, value=field.value >> beyond))
    return tuple(found)


def long_banks(tags: Sequence[Tag]) -> tuple[str, ...]:
    """A sentence for each bank in which no mask is sought behind the first `BANK_BITS`."""
    notes = []
    for bank, name in _NAMES.items():
        bits = [recorded[1] for tag in tags if (recorded := bank_bits(tag, bank)) is not None]
        longer = [count for count in bits if count > BANK_BITS]
        if longer:
            notes.append(
                f"{len(longer)} of {len(tags)} tags have more than {BANK_BITS:,} bits of {name} "
                f"(up to {max(longer):,}): masks are sought in the first {BANK_BITS:,} bits only."
            )
    return tuple(notes)
