"""The PC word in front of an EPC (Gen2; TDS 2.3, section 9.3 and Tables 9-3 and 9-4)."""

from __future__ import annotations

from strategist.errors import InputError
from strategist.tags.fields import Field, read_bits

__all__ = ["pc_fields"]


def pc_fields(pc_hex: str) -> tuple[Field, Field, Field, Field, Field]:
    """The five fields of a PC word: length, user memory, extension, toggle, attribute or AFI.

    With toggle 0 the last byte holds attribute bits of a GS1 EPC, with toggle 1 the application
    family identifier (AFI) of ISO/IEC 15961. Raises InputError unless given 4 hex digits.
    """
    if len(pc_hex) != 4:
        raise InputError.one("PC word", pc_hex, "4 hex digits")
    data = read_bits(pc_hex, "PC word")
    words, user, extended = int(data[:5], 2), int(data[5]), int(data[6])
    toggle, last = int(data[7]), int(data[8:], 2)
    named = "application family" if toggle else "attribute bits"
    return (
        Field("length", 16, 5, words, str(words), True, f"EPC of {words} words"),
        Field("user memory", 21, 1, user, str(user), False, f"user memory indicator {user}"),
        Field("extension", 22, 1, extended, str(extended), False, f"extended PC {extended}"),
        Field("toggle", 23, 1, toggle, str(toggle), True, "ISO AFI" if toggle else "GS1 EPC"),
        Field(named, 24, 8, last, f"{last:02X}", True, f"{named} {last:02X}h"),
    )
