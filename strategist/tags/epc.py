"""EPCs: from hex to the fields of their scheme.

Source: GS1 Tag Data Standard 2.3, section 14 (binary encoding), and section 12 for how a field is
written as text; the tables are in `strategist.tags.schemes`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from strategist.tags.fields import Field, plain_field, read_bits
from strategist.tags.mask import EPC_START
from strategist.tags.schemes import (
    HEADERS,
    LAYOUTS,
    PARTITIONS,
    PLUS_FIRST,
    PLUS_KEYS,
    PLUS_LAST,
    Kind,
    Part,
    Scheme,
)

_HEADER_BITS, _PARTITION_END = 8, 14  # of what every scheme with a partition begins with
_KEPT = 5000  # EPCs decoded last: candidates of parts of a survey ask for the same ones
_CHARACTERS = frozenset(
    "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
)  # the 82 characters that a GS1 serial may hold (TDS annex A)
_ESCAPED = frozenset('"%&/<>?')  # written as %xx in a URI
_CAGE = re.compile(r"[0-9A-HJ-NP-Z]{5,6}")


@lru_cache(maxsize=_KEPT)
def decode(epc_hex: str) -> tuple[Field, ...]:
    """The fields of an EPC, in order, without gaps, over all bits from address 32 on.

    Content that breaks a rule of the scheme that its header names stays plain bits. Raises
    InputError where the text is not hex of whole bytes.
    """
    value, bits = read_bits(epc_hex, "EPC")
    header = value >> (bits - _HEADER_BITS) if bits else 0
    scheme = LAYOUTS.get(header)
    if scheme is None:
        return _without_layout(value, bits, header)
    return _decode_as(scheme, value, bits) or plain_field(value, bits, EPC_START)


def parted(epc_hex: str) -> tuple[tuple[Field, ...], int, int] | None:
    """The fields of structure that an EPC begins with, and the value and the bits of the rest,
    which is its own; None where that is not all there is to say (ask `decode`).

    As `decode` tells it, in a third of the time: most tags share their structure with others.
    """
    value, bits = read_bits(epc_hex, "EPC")
    scheme = LAYOUTS.get(value >> (bits - _HEADER_BITS)) if bits else None
    found = scheme and _parts(scheme, value, bits)
    if not found:
        return None
    structure, parts, rest, rest_bits = found
    behind = rest_bits
    for part in parts:
        behind -= part.bits
        own = rest >> behind & ((1 << part.bits) - 1)
        if part.structural or (part.bits and _breaks_rule(part, own)):
            return None
    return structure, rest, rest_bits


def _parts(
    scheme: Scheme, value: int, bits: int
) -> tuple[tuple[Field, ...], tuple[Part, ...], int, int] | None:
    """The structure at the beginning of an EPC, then the parts behind it with their value and
    bits; None where the structure, or the length, breaks a rule of the scheme."""
    if bits != scheme.padded_bits:
        return None
    partition = 0 if scheme.key is None else value >> (bits - _PARTITION_END) & 0b111
    if partition >= PARTITIONS:
        return None
    count, structured = scheme.structure(partition)
    rest_bits = bits - structured
    structure = _structure(scheme.header, partition, value >> rest_bits)
    if structure is None:
        return None
    rest = value & ((1 << rest_bits) - 1)
    return structure, scheme.parts(partition)[count:], rest, rest_bits


def _decode_as(scheme: Scheme, value: int, bits: int) -> tuple[Field, ...] | None:
    """The fields of a scheme, or None where the bits break one of its rules."""
    found = _parts(scheme, value, bits)
    if found is None:
        return None
    structure, parts, rest, rest_bits = found
    behind = _fields(scheme, parts, EPC_START + bits - rest_bits, rest, rest_bits)
    return None if behind is None else structure + behind


@lru_cache(maxsize=_KEPT)
def _structure(header: int, partition: int, value: int) -> tuple[Field, ...] | None:
    """The parts of structure at the beginning, which most tags share with others."""
    scheme = LAYOUTS[header]
    count, bits = scheme.structure(partition)
    return _fields(scheme, scheme.parts(partition)[:count], EPC_START, value, bits)


def _fields(
    scheme: Scheme, parts: Sequence[Part], pointer: int, value: int, bits: int
) -> tuple[Field, ...] | None:
    """The fields of neighbouring parts from their bits; None where these break a rule."""
    found = []
    for part in parts:
        if not part.bits:
            continue
        bits -= part.bits
        own = value >> bits & ((1 << part.bits) - 1)
        text = _to_text(part, own)
        if text is None:
            return None
        words = _words(scheme, part, text)
        found.append(Field(part.name, pointer, part.bits, own, text, part.structural, words))
        pointer += part.bits
    return tuple(found)


def _words(scheme: Scheme, part: Part, text: str) -> str:
    if part.name == "header":
        return f"scheme {scheme.name}"
    if part.name == "partition":
        return f"partition {text} (company prefix of {12 - int(text)} digits)"
    if part.name == "filter" and scheme.filter_words:
        return f"filter {text} ({scheme.filter_words[int(text)]})"
    return f"{part.label or part.name} {text}".rstrip()


def _to_text(part: Part, value: int) -> str | None:
    """The bits of a part as the tag URI writes them; None where they break its rule."""
    if part.kind is Kind.TEXT:
        return _characters(part, f"{value:0{part.bits}b}")
    if part.kind is Kind.CAGE:
        text = value.to_bytes(part.bits // 8).decode("latin-1").removeprefix(" ")
        return text if _CAGE.fullmatch(text) else None
    if part.kind is Kind.HEX or part.kind is Kind.ZERO:
        return f"{value:02X}" if part.kind is Kind.HEX else None if value else ""
    if _too_large(part, value):
        return None
    padded = f"{value:0{part.digits}d}" if part.digits else ""
    return padded if part.kind is Kind.DIGITS else str(value)


def _breaks_rule(part: Part, value: int) -> bool:
    """Whether there is no such text: of a number without writing it."""
    if part.kind is Kind.NUMBER or part.kind is Kind.DIGITS:
        return _too_large(part, value)
    return _to_text(part, value) is None


def _too_large(part: Part, value: int) -> bool:
    return (part.kind is Kind.DIGITS or part.digits > 0) and value >= 10**part.digits


def _characters(part: Part, bits: str) -> str | None:
    codes = [int(bits[at : at + 7], 2) for at in range(0, 7 * part.digits, 7)]
    length = codes.index(0) if 0 in codes else len(codes)
    text = "".join(map(chr, codes[:length]))
    if not length or "1" in bits[7 * length :] or not _CHARACTERS.issuperset(text):
        return None
    return "".join(f"%{ord(c):02X}" if c in _ESCAPED else c for c in text)


def _without_layout(value: int, bits: int, header: int) -> tuple[Field, ...]:
    """The fields of a scheme known by name only, or of none at all."""
    name = HEADERS.get(header)
    if name is None:
        return plain_field(value, bits, EPC_START)
    fields = [Field("header", EPC_START, 8, header, f"{header:02X}", True, f"scheme {name}")]
    at = 8
    if PLUS_FIRST <= header <= PLUS_LAST and bits >= 12:
        toggle, own = value >> (bits - 9) & 1, value >> (bits - 12) & 0b111
        words = f"data toggle {toggle}"
        fields.append(Field("toggle", EPC_START + 8, 1, toggle, str(toggle), True, words))
        fields.append(Field("filter", EPC_START + 9, 3, own, str(own), True, f"filter {own}"))
        at = 12
        key_name, digits = PLUS_KEYS.get(header, ("", 0))
        size = 4 * digits
        key = value >> (bits - at - size) & ((1 << size) - 1) if bits >= at + size else 0
        text = f"{key:0{digits}X}"
        if digits and bits >= at + size and text.isdecimal():
            words = f"{key_name} {text}"
            fields.append(Field(key_name, EPC_START + at, size, key, text, True, words))
            at += size
    return (*fields, *plain_field(value, bits, EPC_START, at))
