"""EPCs: from hex to scheme, fields and tag URI, and from the URI back to hex.

Source: GS1 Tag Data Standard 2.3, sections 12 (tag URI) and 14 (binary encoding); the tables are in
`strategist.tags.schemes`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from strategist.errors import InputError
from strategist.tags.fields import Field, plain_field, read_bits
from strategist.tags.mask import EPC_START
from strategist.tags.pc import pc_fields
from strategist.tags.schemes import (
    HEADERS,
    LAYOUTS,
    PARTITIONS,
    PLUS_FIRST,
    PLUS_KEYS,
    PLUS_LAST,
    SPECIAL_HEADERS,
    Kind,
    Part,
    Scheme,
)

__all__ = ["Epc", "decode", "encode"]

_PREFIX = "urn:epc:tag:"
_KEPT = 5000  # EPCs decoded last: candidates of parts of a survey ask for the same ones
_CHARACTERS = frozenset(
    "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
)  # the 82 characters that a GS1 serial may hold (TDS annex A)
_ESCAPED = frozenset('"%&/<>?')  # written as %xx in a URI
_NUMBER = re.compile(r"0|[1-9][0-9]*")
_DIGITS = re.compile(r"[0-9]*")
_CAGE = re.compile(r"[0-9A-HJ-NP-Z]{5,6}")
_URI_CHARACTER = re.compile(r"%[0-9A-Fa-f]{2}|.", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Epc:
    """What an EPC says of itself.

    `scheme` is None where no scheme of the standard is claimed, and `note` then says why; `fields`
    are in order, without gaps, and cover all bits from address 32 on. `uri` is the tag URI, None
    where the layout is unknown.
    """

    scheme: str | None
    fields: tuple[Field, ...]
    uri: str | None = None
    note: str | None = None


class _SchemeError(ValueError):
    """The bits break a rule of the scheme that the header names."""


@lru_cache(maxsize=_KEPT)
def decode(epc_hex: str, pc_hex: str | None = None) -> Epc:
    """The scheme, fields and URI of an EPC; `pc_hex` is the PC word where it was recorded.

    Content that keeps to no scheme stays plain bits with a note. Raises InputError only where
    either text is not hex of whole bytes (of one word, for the PC).
    """
    data = read_bits(epc_hex, "EPC")
    if not data:
        return Epc(None, (), note="an EPC of no bits")
    if pc_hex is not None:
        toggle, afi = pc_fields(pc_hex)[3:]
        if toggle.value:
            note = f"the PC word says ISO application family {afi.text}, so this is no EPC"
            return Epc(None, plain_field(data, EPC_START), note=note)
    header = int(data[:8], 2)
    scheme = LAYOUTS.get(header)
    if scheme is None:
        return _without_layout(data, header)
    try:
        return _decode_as(scheme, data)
    except _SchemeError as why:
        note = f"header {header:02X} is that of {scheme.name}, but {why}"
        return Epc(None, plain_field(data, EPC_START), note=note)


def encode(uri: str) -> str:
    """The hex of an EPC tag URI, in whole 16-bit words; raises InputError naming the part at fault.

    The URI is `urn:epc:tag:SCHEME:` and the parts with dots between, as TDS section 12 writes it.
    """
    by_name = {scheme.name.lower(): scheme for scheme in LAYOUTS.values()}
    name, _, body = uri.removeprefix(_PREFIX).partition(":")
    if not uri.startswith(_PREFIX) or name not in by_name:
        known = ", ".join(sorted(by_name))
        raise InputError.one("EPC URI", uri, f"{_PREFIX}SCHEME:…, SCHEME one of {known}")
    scheme = by_name[name]
    written = [part.name for part in scheme.parts(0) if part.in_uri]
    texts = body.split(".", len(written) - 1)
    if len(texts) < len(written):
        raise InputError.one("EPC URI", uri, f"{name} with {', '.join(written)}, dots between")
    given = dict(zip(written, texts, strict=True))
    partition = 0
    if scheme.key is not None:
        partition = 12 - len(given["company prefix"])
        if not 0 <= partition < PARTITIONS:
            raise _fault("company prefix", given["company prefix"], "6 to 12 digits")
    given |= {"header": f"{scheme.header:02X}", "partition": str(partition)}
    bits = "".join(_to_bits(part, given.get(part.name, "")) for part in scheme.parts(partition))
    return f"{int(bits, 2):0{len(bits) // 4}X}"


def _decode_as(scheme: Scheme, data: str) -> Epc:
    if len(data) != scheme.padded_bits:
        raise _SchemeError(f"it takes {scheme.padded_bits} bits and this EPC has {len(data)}")
    partition = 0
    if scheme.key is not None:
        partition = int(data[11:14], 2)
        if partition >= PARTITIONS:
            raise _SchemeError(f"partition {partition} is none of 0 to {PARTITIONS - 1}")
    fields, written, at = [], [], 0
    for part in scheme.parts(partition):
        bits = data[at : at + part.bits]
        text = _to_text(part, bits)
        if part.in_uri:
            written.append(text)
        if bits:
            words = _words(scheme, part, text)
            fields.append(
                Field(
                    part.name, EPC_START + at, part.bits, int(bits, 2), text, part.structural, words
                )
            )
        at += part.bits
    return Epc(
        scheme.name, tuple(fields), f"{_PREFIX}{scheme.name.lower()}:" + ".".join(written), None
    )


def _words(scheme: Scheme, part: Part, text: str) -> str:
    if part.name == "header":
        return f"scheme {scheme.name}"
    if part.name == "partition":
        return f"partition {text} (company prefix of {12 - int(text)} digits)"
    if part.name == "filter" and scheme.filter_words:
        return f"filter {text} ({scheme.filter_words[int(text)]})"
    return f"{part.label or part.name} {text}".rstrip()


def _to_text(part: Part, bits: str) -> str:
    """The bits of a part as the URI writes them; raises _SchemeError."""
    value = int(bits or "0", 2)
    if part.kind is Kind.HEX:
        return f"{value:02X}"
    if part.kind is Kind.TEXT:
        return _characters(part, bits)
    if part.kind is Kind.CAGE:
        text = value.to_bytes(part.bits // 8).decode("latin-1").removeprefix(" ")
        if not _CAGE.fullmatch(text):
            raise _SchemeError(f"its {part.name} is no code of 5 or 6 capitals and digits")
        return text
    if part.kind is Kind.ZERO:
        if value:
            raise _SchemeError(f"its {part.name} bits are not all zero")
        return ""
    exact = part.kind is Kind.DIGITS
    if (exact or part.digits) and value >= 10**part.digits:
        raise _SchemeError(f"its {part.name} {value} has more than {part.digits} digits")
    if exact:
        return f"{value:0{part.digits}d}" if part.digits else ""
    return str(value)


def _characters(part: Part, bits: str) -> str:
    codes = [int(bits[at : at + 7], 2) for at in range(0, 7 * part.digits, 7)]
    length = codes.index(0) if 0 in codes else len(codes)
    if "1" in bits[7 * length :]:
        raise _SchemeError(f"its {part.name} goes on behind its end")
    if not length:
        raise _SchemeError(f"its {part.name} is empty")
    text = "".join(map(chr, codes[:length]))
    if not _CHARACTERS.issuperset(text):
        raise _SchemeError(f"its {part.name} holds a character that GS1 does not allow")
    return "".join(f"%{ord(c):02X}" if c in _ESCAPED else c for c in text)


def _to_bits(part: Part, text: str) -> str:
    """The bits of a part from its text in the URI; raises InputError."""
    if part.kind is Kind.ZERO:
        return "0" * part.bits
    if part.kind is Kind.TEXT:
        return "".join(f"{code:07b}" for code in _codes(part, text)).ljust(part.bits, "0")
    if part.kind is Kind.CAGE:
        if not _CAGE.fullmatch(text):
            raise _fault(part.name, text, "5 or 6 capitals and digits, without I and O")
        return "".join(f"{ord(c):08b}" for c in text.rjust(6))
    if part.kind is Kind.HEX:
        return f"{int(text, 16):0{part.bits}b}"
    if part.kind is Kind.DIGITS:
        if not _DIGITS.fullmatch(text) or len(text) != part.digits:
            raise _fault(part.name, text, f"{part.digits} digits")
    elif not _NUMBER.fullmatch(text) or (part.digits and len(text) > part.digits):
        raise _fault(part.name, text, "a decimal number without leading zeros")
    # Length first: int() refuses texts of thousands of digits.
    if len(text) > part.bits or int(text or "0") >> part.bits:
        raise _fault(part.name, text, f"a number up to {2**part.bits - 1}")
    return f"{int(text or '0'):0{part.bits}b}"


def _codes(part: Part, text: str) -> list[int]:
    codes = []
    for found in _URI_CHARACTER.findall(text):
        character = chr(int(found[1:], 16)) if len(found) > 1 else found
        if character not in _CHARACTERS or (len(found) == 1 and character in _ESCAPED):
            raise _fault(part.name, text, "letters, digits and !'()*+,-.:;=_; \"%&/<>? as %xx")
        codes.append(ord(character))
    if not 1 <= len(codes) <= part.digits:
        raise _fault(part.name, text, f"1 to {part.digits} characters")
    return codes


def _fault(part: str, text: str, allowed: str) -> InputError:
    return InputError.one("EPC URI", text, allowed, column=part)


def _without_layout(data: str, header: int) -> Epc:
    """A scheme known by name only, or none at all."""
    name = HEADERS.get(header)
    if name is None:
        known = SPECIAL_HEADERS.get(header, "not assigned by the standard")
        note = f"header {header:02X}: {known}"
        return Epc(None, plain_field(data, EPC_START), note=note)
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
    note = f"{name}: the fields behind bit address {EPC_START + at} are not taken apart"
    return Epc(name, (*fields, *plain_field(data, EPC_START, at)), note=note)
