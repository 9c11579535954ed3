"""EPCs: from hex to the fields of their scheme.

Source: GS1 Tag Data Standard 2.3, section 14 (binary encoding), and section 12 for how a field is
written as text; the tables are in `strategist.tags.schemes`.
"""

from __future__ import annotations

import re
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
    data = read_bits(epc_hex, "EPC")
    header = int(data[:8] or "0", 2)
    scheme = LAYOUTS.get(header)
    if scheme is None:
        return _without_layout(data, header)
    return _decode_as(scheme, data) or plain_field(data, EPC_START)


def _decode_as(scheme: Scheme, data: str) -> tuple[Field, ...] | None:
    """The fields of a scheme, or None where the bits break one of its rules."""
    partition = 0 if scheme.key is None else int(data[11:14] or "111", 2)
    if len(data) != scheme.padded_bits or partition >= PARTITIONS:
        return None
    count, bits = scheme.structure(partition)
    structure = _shared(scheme.header, partition, 0, count, data[:bits])
    rest = structure and _fields(scheme.header, partition, count, None, data[bits:])
    return None if structure is None or rest is None else structure + rest


def _fields(
    header: int, partition: int, first: int, stop: int | None, data: str
) -> tuple[Field, ...] | None:
    """The parts of those numbers, from their bits; None where these break a rule."""
    scheme = LAYOUTS[header]
    parts = scheme.parts(partition)
    pointer, begin, found = EPC_START + sum(part.bits for part in parts[:first]), 0, []
    for part in parts[first:stop]:
        bits = data[begin : begin + part.bits]
        text = _to_text(part, bits)
        if text is None:
            return None
        if bits:
            of, words = (part.name, pointer + begin, part.bits), _words(scheme, part, text)
            found.append(Field(*of, int(bits, 2), text, part.structural, words))
        begin += part.bits
    return tuple(found)


_shared = lru_cache(maxsize=_KEPT)(_fields)  # most tags share their structure with others


def _words(scheme: Scheme, part: Part, text: str) -> str:
    if part.name == "header":
        return f"scheme {scheme.name}"
    if part.name == "partition":
        return f"partition {text} (company prefix of {12 - int(text)} digits)"
    if part.name == "filter" and scheme.filter_words:
        return f"filter {text} ({scheme.filter_words[int(text)]})"
    return f"{part.label or part.name} {text}".rstrip()


def _to_text(part: Part, bits: str) -> str | None:
    """The bits of a part as the tag URI writes them; None where they break its rule."""
    value = int(bits or "0", 2)
    if part.kind is Kind.TEXT:
        return _characters(part, bits)
    if part.kind is Kind.CAGE:
        text = value.to_bytes(part.bits // 8).decode("latin-1").removeprefix(" ")
        return text if _CAGE.fullmatch(text) else None
    if part.kind is Kind.HEX or part.kind is Kind.ZERO:
        return f"{value:02X}" if part.kind is Kind.HEX else None if value else ""
    if (part.kind is Kind.DIGITS or part.digits) and value >= 10**part.digits:
        return None
    padded = f"{value:0{part.digits}d}" if part.digits else ""
    return padded if part.kind is Kind.DIGITS else str(value)


def _characters(part: Part, bits: str) -> str | None:
    codes = [int(bits[at : at + 7], 2) for at in range(0, 7 * part.digits, 7)]
    length = codes.index(0) if 0 in codes else len(codes)
    text = "".join(map(chr, codes[:length]))
    if not length or "1" in bits[7 * length :] or not _CHARACTERS.issuperset(text):
        return None
    return "".join(f"%{ord(c):02X}" if c in _ESCAPED else c for c in text)


def _without_layout(data: str, header: int) -> tuple[Field, ...]:
    """The fields of a scheme known by name only, or of none at all."""
    name = HEADERS.get(header)
    if name is None:
        return plain_field(data, EPC_START)
    fields = [Field("header", EPC_START, 8, header, f"{header:02X}", True, f"scheme {name}")]
    at = 8
    if PLUS_FIRST <= header <= PLUS_LAST and len(data) >= 12:
        toggle, value = int(data[8]), int(data[9:12], 2)
        words = f"data toggle {toggle}"
        fields.append(Field("toggle", EPC_START + 8, 1, toggle, str(toggle), True, words))
        fields.append(Field("filter", EPC_START + 9, 3, value, str(value), True, f"filter {value}"))
        at = 12
        key_name, digits = PLUS_KEYS.get(header, ("", 0))
        key = data[at : at + 4 * digits]
        text = f"{int(key or '0', 2):0{digits}X}"
        if digits and len(key) == 4 * digits and text.isdecimal():
            words = f"{key_name} {text}"
            fields.append(
                Field(key_name, EPC_START + at, 4 * digits, int(key, 2), text, True, words)
            )
            at += 4 * digits
    return (*fields, *plain_field(data, EPC_START, at))
