"""Tag URIs of the GS1 Tag Data Standard (2.3, section 12), written and read apart from the product.

`encode` gives tests an EPC by what it means; `uri_of` says what the product's fields come to.
"""

from __future__ import annotations

import re

from strategist.errors import InputError
from strategist.tags.epc import decode
from strategist.tags.schemes import LAYOUTS, PARTITIONS, Kind, Part

_PREFIX = "urn:epc:tag:"
_UNSAID = {"header", "partition", "padding", "reserved"}  # parts that a URI does not write
_CHARACTERS = frozenset(
    "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
)
_ESCAPED = frozenset('"%&/<>?')
_NUMBER = re.compile(r"0|[1-9][0-9]*")
_DIGITS = re.compile(r"[0-9]*")
_CAGE = re.compile(r"[0-9A-HJ-NP-Z]{5,6}")
_URI_CHARACTER = re.compile(r"%[0-9A-Fa-f]{2}|.", re.DOTALL)


def uri_of(epc_hex: str) -> str | None:
    """The tag URI that the fields of an EPC spell; None where they claim no known layout."""
    fields = decode(epc_hex)
    if not fields or fields[0].name != "header" or fields[0].value not in LAYOUTS:
        return None
    said = [field.text for field in fields if field.name not in _UNSAID]
    return f"{_PREFIX}{LAYOUTS[fields[0].value].name.lower()}:" + ".".join(said)


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
    written = [part.name for part in scheme.parts(0) if part.name not in _UNSAID]
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
