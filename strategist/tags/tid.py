"""TIDs: allocation class, flags, mask designer, model and serial number.

Source: GS1 Tag Data Standard 2.3, section 16 and Table 16-1 (class E2h); ISO/IEC 7816-6 for class
E0h, whose layout is from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from strategist.tags.fields import Field, plain_field, read_bits

__all__ = ["Tid", "decode_tid"]

_GS1, _ISO = 0xE2, 0xE0
_GS1_BITS, _ISO_BITS = 32, 64
_SERIAL_START = 48
_FLAGS = ("XTID flag", "security flag", "file flag")


@dataclass(frozen=True, slots=True)
class Tid:
    """What a TID bank says of the chip.

    `kind` is "E2" or "E0", None for other classes. `fields` are in order, without gaps, and cover
    all bits from address 0 on. `uri` is the serialised TID (TDS 16.3) where a serial is recorded.
    `note` says what could not be read, and why.
    """

    kind: str | None
    fields: tuple[Field, ...]
    uri: str | None = None
    note: str | None = None


def decode_tid(tid_hex: str) -> Tid:
    """The fields of a TID bank recorded from bit 0; raises InputError where it is not hex.

    Other classes, and a TID recorded too short for its class, stay plain bits with a note.
    """
    data = read_bits(tid_hex, "TID")
    if not data:
        return Tid(None, (), note="a TID of no bits")
    kind = int(data[:8], 2)
    if kind == _GS1 and len(data) >= _GS1_BITS:
        return _gs1(data)
    if kind == _ISO and len(data) >= _ISO_BITS:
        fields = (
            _field(data, "class", 0, 8, True),
            _field(data, "chip maker", 8, 8, True),
            _field(data, "serial", 16, 48, False),
        )
        return Tid("E0", fields + plain_field(data, 0, _ISO_BITS))
    known = kind in (_GS1, _ISO)
    why = f"only {len(data)} bits recorded" if known else "not E2h or E0h"
    return Tid(None, plain_field(data, 0), note=f"TID class {kind:02X}h: {why}")


def _gs1(data: str) -> Tid:
    fields = [_field(data, "class", 0, 8, True)]
    fields += [_field(data, name, 8 + at, 1, True) for at, name in enumerate(_FLAGS)]
    fields.append(_field(data, "mask designer", 0x0B, 9, True))
    fields.append(_field(data, "model", 0x14, 12, True))
    if data[8] == "0":
        rest = plain_field(data, 0, _GS1_BITS)
        return Tid("E2", (*fields, *rest), note="no XTID: the standard gives no place to a serial")
    if len(data) < _SERIAL_START:
        rest = plain_field(data, 0, _GS1_BITS)
        return Tid("E2", (*fields, *rest), note="the XTID header was not recorded")
    fields.append(_field(data, "XTID header", _GS1_BITS, 16, False))
    size = int(data[32:35], 2)
    bits = 48 + 16 * (size - 1) if size else 0
    if not size or len(data) < _SERIAL_START + bits:
        note = f"only a part of the {bits} bits of its serial was recorded" if size else "no serial"
        return Tid("E2", (*fields, *plain_field(data, 0, _SERIAL_START)), note=note)
    serial = _field(data, "serial", _SERIAL_START, bits, False)
    uri = f"urn:epc:stid:x{int(data[8:20], 2):03X}.x{int(data[20:32], 2):03X}.x{serial.text}"
    return Tid("E2", (*fields, serial, *plain_field(data, 0, _SERIAL_START + bits)), uri)


def _field(data: str, name: str, at: int, length: int, structural: bool) -> Field:
    value = int(data[at : at + length], 2)
    text = f"{value:0{(length + 3) // 4}X}"
    said = {"class": f"TID class {text}h"}.get(name, f"{name} {text}" + "h" * (length > 1))
    return Field(name, at, length, value, text, structural, said)
