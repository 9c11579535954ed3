"""EPC URIs to the hex that a tag holds.

Source: GS1 Tag Data Standard 2.3, sections 12 (URIs), 14.3–14.6 (binary encoding); the layouts are
those of `strategist.tags.schemes`.
"""

from __future__ import annotations

import re
from functools import cache

from strategist.tags.schemes import LAYOUTS, PARTITIONS, Kind, Part, Scheme

_TAG, _ID, _RAW = "urn:epc:tag:", "urn:epc:id:", re.compile(r"urn:epc:raw:(\d{1,3})\.x([0-9A-F]+)")
_UNSAID = {"header", "partition", "padding", "reserved"}  # what a tag URI does not write
_CHARACTER = re.compile(r"%[0-9A-Fa-f]{2}|.", re.DOTALL)
_PURE = {"sgtin", "sscc", "sgln", "grai", "giai", "gsrn", "gsrnp", "gdti", "cpi"}


def epc_of_uri(uri: str, epc_filter: int | None = None) -> str | None:
    """The hex of an EPC tag URI, of a raw URI, or of a pure identity in 96 bits with the filter.

    None where the URI is none of these, a part does not fit its field, or a pure identity comes
    without a filter value.
    """
    raw = _RAW.fullmatch(uri)
    if raw:
        bits, digits = int(raw[1]), raw[2]
        return digits if bits == 4 * len(digits) and bits % 8 == 0 else None
    if uri.startswith(_ID):
        name, _, body = uri.removeprefix(_ID).partition(":")
        if name not in _PURE or epc_filter is None:
            return None
        uri = f"{_TAG}{name}-96:{epc_filter}.{body}"
    name, _, body = uri.removeprefix(_TAG).partition(":")
    scheme = _by_name().get(name)
    return _encoded(scheme, body) if scheme and uri.startswith(_TAG) else None


@cache
def _by_name() -> dict[str, Scheme]:
    return {scheme.name.lower(): scheme for scheme in LAYOUTS.values()}


def _encoded(scheme: Scheme, body: str) -> str | None:
    said = [part.name for part in scheme.parts(0) if part.name not in _UNSAID]
    texts = body.split(".", len(said) - 1)
    if len(texts) != len(said):
        return None
    given = dict(zip(said, texts, strict=True))
    partition = 12 - len(given["company prefix"]) if scheme.key is not None else 0
    if not 0 <= partition < PARTITIONS:
        return None
    given |= {"header": f"{scheme.header:02X}", "partition": str(partition)}
    bits = ""
    for part in scheme.parts(partition):
        found = _bits(part, given.get(part.name, ""))
        if found is None:
            return None
        bits += found
    return f"{int(bits, 2):0{len(bits) // 4}X}"


def _bits(part: Part, text: str) -> str | None:
    """The bits of a part from its text in a URI; None where it does not fit."""
    if part.kind is Kind.ZERO:
        return "0" * part.bits
    if part.kind is Kind.HEX:
        return f"{int(text, 16):0{part.bits}b}"
    if part.kind is Kind.TEXT:
        characters = [int(c[1:], 16) if len(c) > 1 else ord(c) for c in _CHARACTER.findall(text)]
        fits = 1 <= len(characters) <= part.digits and max(characters) < 128
        return "".join(f"{c:07b}" for c in characters).ljust(part.bits, "0") if fits else None
    if part.kind is Kind.CAGE:
        fits = re.fullmatch(r"[0-9A-HJ-NP-Z]{5,6}", text) is not None
        return "".join(f"{ord(c):08b}" for c in text.rjust(6)) if fits else None
    return _number_bits(part, text)


def _number_bits(part: Part, text: str) -> str | None:
    exact = part.kind is Kind.DIGITS
    if not re.fullmatch(r"[0-9]*" if exact else r"0|[1-9][0-9]{0,40}", text):
        return None
    if (exact and len(text) != part.digits) or (part.digits and len(text) > part.digits):
        return None
    value = int(text or "0")
    return None if value >> part.bits else f"{value:0{part.bits}b}"
