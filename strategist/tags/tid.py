"""TIDs: allocation class, flags, mask designer, model and serial number.

Source: GS1 Tag Data Standard 2.3, section 16 and Table 16-1 (class E2h); ISO/IEC 7816-6 for class
E0h, whose layout is from memory.
"""

from __future__ import annotations

from strategist.tags.fields import Field, plain_field, read_bits

_GS1, _ISO = 0xE2, 0xE0
_GS1_BITS, _ISO_BITS = 32, 64
_SERIAL_START = 48
_FLAGS = ("XTID flag", "security flag", "file flag")


def decode_tid(tid_hex: str) -> tuple[Field, ...]:
    """The fields of a TID bank recorded from bit 0, in order, without gaps, over all its bits.

    Other classes, and a TID recorded too short for its class, stay plain bits. Raises InputError
    where the text is not hex of whole bytes.
    """
    data = read_bits(tid_hex, "TID")
    kind = int(data[:8] or "0", 2)
    if kind == _GS1 and len(data) >= _GS1_BITS:
        return _gs1(data)
    if kind == _ISO and len(data) >= _ISO_BITS:
        fields = (
            _field(data, "class", 0, 8, True),
            _field(data, "chip maker", 8, 8, True),
            _field(data, "serial", 16, 48, False),
        )
        return fields + plain_field(data, 0, _ISO_BITS)
    return plain_field(data, 0)


def _gs1(data: str) -> tuple[Field, ...]:
    fields = [_field(data, "class", 0, 8, True)]
    fields += [_field(data, name, 8 + at, 1, True) for at, name in enumerate(_FLAGS)]
    fields.append(_field(data, "mask designer", 0x0B, 9, True))
    fields.append(_field(data, "model", 0x14, 12, True))
    if data[8] == "0" or len(data) < _SERIAL_START:  # no XTID, or its header was not recorded
        return (*fields, *plain_field(data, 0, _GS1_BITS))
    fields.append(_field(data, "XTID header", _GS1_BITS, 16, False))
    size = int(data[32:35], 2)
    bits = 32 + 16 * size
    if not size or len(data) < _SERIAL_START + bits:
        return (*fields, *plain_field(data, 0, _SERIAL_START))
    fields.append(_field(data, "serial", _SERIAL_START, bits, False))
    return (*fields, *plain_field(data, 0, _SERIAL_START + bits))


def _field(data: str, name: str, at: int, length: int, structural: bool) -> Field:
    value = int(data[at : at + length], 2)
    text = f"{value:0{(length + 3) // 4}X}"
    said = {"class": f"TID class {text}h"}.get(name, f"{name} {text}" + "h" * (length > 1))
    return Field(name, at, length, value, text, structural, said)
