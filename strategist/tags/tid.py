"""TIDs: allocation class, flags, mask designer, model and serial number.

Source: GS1 Tag Data Standard 2.3, section 16 and Table 16-1 (class E2h); ISO/IEC 7816-6 for class
E0h, whose layout is from memory.
"""

from __future__ import annotations

from functools import lru_cache

from strategist.tags.fields import Field, plain_field, read_bits

_GS1, _ISO = 0xE2, 0xE0
_GS1_BITS, _ISO_BITS = 32, 64
_ISO_STRUCTURE, _SERIAL_START = 16, 48
_KEPT = 500  # kinds of tags seen last
_FLAGS = ("XTID flag", "security flag", "file flag")


def decode_tid(tid_hex: str) -> tuple[Field, ...]:
    """The fields of a TID bank recorded from bit 0, in order, without gaps, over all its bits.

    Other classes, and a TID recorded too short for its class, stay plain bits. Raises InputError
    where the text is not hex of whole bytes.
    """
    value, bits = read_bits(tid_hex, "TID")
    kind = value >> (bits - 8) if bits else 0
    if kind == _GS1 and bits >= _GS1_BITS:
        structured, fields = _GS1_BITS, _gs1(value >> (bits - _GS1_BITS))
        serial = _xtid(value, bits)
    elif kind == _ISO and bits >= _ISO_BITS:
        structured, fields = _ISO_STRUCTURE, _iso(value >> (bits - _ISO_STRUCTURE))
        serial = (_field("serial", 16, 48, _within(value, bits, 16, 48), False),)
    else:
        return plain_field(value, bits, 0)
    known = structured + sum(field.length for field in serial)
    return fields + serial + plain_field(value, bits, 0, known)


@lru_cache(maxsize=_KEPT)
def _gs1(value: int) -> tuple[Field, ...]:
    """The fields of class E2h's first 32 bits."""
    parts = [("class", 0, 8), *((name, 8 + at, 1) for at, name in enumerate(_FLAGS))]
    parts += [("mask designer", 0x0B, 9), ("model", 0x14, 12)]
    return tuple(
        _field(name, at, length, _within(value, _GS1_BITS, at, length), True)
        for name, at, length in parts
    )


@lru_cache(maxsize=_KEPT)
def _iso(value: int) -> tuple[Field, ...]:
    """The fields of class E0h's first 16 bits."""
    return (
        _field("class", 0, 8, value >> 8, True),
        _field("chip maker", 8, 8, value & 0xFF, True),
    )


def _xtid(value: int, bits: int) -> tuple[Field, ...]:
    """XTID header and serial number of class E2h, as far as they were recorded."""
    if not _within(value, bits, 8, 1) or bits < _SERIAL_START:  # no XTID, or not recorded
        return ()
    header = _within(value, bits, _GS1_BITS, 16)
    size = header >> 13
    length = 32 + 16 * size
    fields = (_field("XTID header", _GS1_BITS, 16, header, False),)
    if not size or bits < _SERIAL_START + length:
        return fields
    serial = _within(value, bits, _SERIAL_START, length)
    return (*fields, _field("serial", _SERIAL_START, length, serial, False))


def _within(value: int, bits: int, at: int, length: int) -> int:
    return value >> (bits - at - length) & ((1 << length) - 1)


def _field(name: str, at: int, length: int, value: int, structural: bool) -> Field:
    text = f"{value:0{(length + 3) // 4}X}"
    said = f"TID class {text}h" if name == "class" else f"{name} {text}" + "h" * (length > 1)
    return Field(name, at, length, value, text, structural, said)
