"""The tables of the GS1 Tag Data Standard: headers, and the layout of each binary scheme.

Source: TDS 2.3, Table 14-1 (headers), sections 14.3–14.6 (coding methods and layouts) and Table
10-1 (filter values of SGTIN); the key sizes of the partition tables are those of TDS 14.6.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from itertools import takewhile

PARTITIONS = 7  # partition values 0–6 stand for company prefixes of 12–6 digits
_COMPANY_BITS = (40, 37, 34, 30, 27, 24, 20)
_PREFIX_DIGITS_MAX = 12


class Kind(Enum):
    """How the bits of a part are written as text (the coding methods of TDS 14.3)."""

    HEX = "a constant: the header"
    NUMBER = "a decimal number without leading zeros"
    DIGITS = "a decimal number padded to a fixed count of digits"
    TEXT = "characters of 7 bits, ended by zero bits"
    CAGE = "six characters of 8 bits, filled with a space in front"
    ZERO = "zero bits"


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a layout. `digits` is the exact count of DIGITS, else the largest (0: no limit).

    `label` stands before the content in words.
    """

    name: str
    bits: int
    kind: Kind
    structural: bool
    digits: int = 0
    label: str = ""


@dataclass(frozen=True, slots=True)
class Key:
    """Company prefix and reference, which share `bits` bits and `digits` digits by partition."""

    reference: str
    bits: int
    digits: int
    kind: Kind = Kind.DIGITS
    structural: bool = True


@dataclass(frozen=True)
class Scheme:
    """One binary scheme: header, filter, then a partitioned key or none, then the tail."""

    header: int
    name: str
    key: Key | None
    tail: tuple[Part, ...] = ()
    filter_bits: int = 3
    filter_words: tuple[str, ...] = ()

    @cached_property
    def padded_bits(self) -> int:
        """The bits that an EPC of this scheme takes on a tag: whole words of 16 bits."""
        return sum(part.bits for part in self.parts(0))

    def parts(self, partition: int) -> tuple[Part, ...]:
        """All parts in order for a partition of 0–6 (without meaning where there is no key).

        The last part is the zero bits up to a whole word, possibly none.
        """
        return self._by_partition[partition]

    def structure(self, partition: int) -> tuple[int, int]:
        """How many of those parts are structure before any that is not, and their bits."""
        return self._structures[partition]

    @cached_property
    def _structures(self) -> tuple[tuple[int, int], ...]:
        found = []
        for parts in self._by_partition:
            first = tuple(takewhile(lambda part: part.structural, parts))
            found.append((len(first), sum(part.bits for part in first)))
        return tuple(found)

    @cached_property
    def _by_partition(self) -> tuple[tuple[Part, ...], ...]:
        return tuple(_parts_of(self, partition) for partition in range(PARTITIONS))


def _parts_of(scheme: Scheme, partition: int) -> tuple[Part, ...]:
    parts = [Part("header", 8, Kind.HEX, True)]
    if scheme.filter_bits:
        parts.append(Part("filter", scheme.filter_bits, Kind.NUMBER, True))
    if scheme.key is not None:
        parts += _key_parts(scheme.key, partition)
    parts += scheme.tail
    used = sum(part.bits for part in parts)
    return (*parts, Part("padding", -used % 16, Kind.ZERO, False))


def _key_parts(key: Key, partition: int) -> list[Part]:
    company_bits = _COMPANY_BITS[partition]
    company_digits = _PREFIX_DIGITS_MAX - partition
    return [
        Part("partition", 3, Kind.NUMBER, True),
        Part("company prefix", company_bits, Kind.DIGITS, True, company_digits, "company"),
        Part(
            key.reference,
            key.bits - company_bits,
            key.kind,
            key.structural,
            key.digits - company_digits,
        ),
    ]


def _number(name: str, bits: int, structural: bool = False) -> Part:
    return Part(name, bits, Kind.NUMBER, structural)


def _text(name: str, characters: int) -> Part:
    return Part(name, 7 * characters, Kind.TEXT, False, characters)


_RESERVED = Part("reserved", 24, Kind.ZERO, False)
_ITEM = Key("item reference", 44, 13)
_LOCATION = Key("location reference", 41, 12)
_ASSET_TYPE = Key("asset type", 44, 12)
_SERVICE = Key("service reference", 58, 17, structural=False)
_DOCUMENT = Key("document type", 41, 12)
_ITEM_FILTERS = (
    "all others",
    "POS item",
    "full case",
    "reserved",
    "inner pack",
    "reserved",
    "unit load",
    "component",
)

LAYOUTS: dict[int, Scheme] = {
    scheme.header: scheme
    for scheme in (
        Scheme(0x2C, "GDTI-96", _DOCUMENT, (_number("serial", 41),)),
        Scheme(0x2D, "GSRN-96", _SERVICE, (_RESERVED,)),
        Scheme(0x2E, "GSRNP-96", _SERVICE, (_RESERVED,)),
        Scheme(
            0x2F,
            "USDoD-96",
            None,
            (Part("manager", 48, Kind.CAGE, True, 6), _number("serial", 36)),
            filter_bits=4,
        ),
        Scheme(0x30, "SGTIN-96", _ITEM, (_number("serial", 38),), filter_words=_ITEM_FILTERS),
        Scheme(0x31, "SSCC-96", Key("serial reference", 58, 17, structural=False), (_RESERVED,)),
        Scheme(0x32, "SGLN-96", _LOCATION, (_number("extension", 41),)),
        Scheme(0x33, "GRAI-96", _ASSET_TYPE, (_number("serial", 38),)),
        Scheme(0x34, "GIAI-96", Key("asset reference", 82, 25, Kind.NUMBER, structural=False)),
        Scheme(
            0x35,
            "GID-96",
            None,
            (
                _number("manager", 28, True),
                _number("object class", 24, True),
                _number("serial", 36),
            ),
            filter_bits=0,
        ),
        Scheme(0x36, "SGTIN-198", _ITEM, (_text("serial", 20),), filter_words=_ITEM_FILTERS),
        Scheme(0x37, "GRAI-170", _ASSET_TYPE, (_text("serial", 16),)),
        Scheme(0x38, "GIAI-202", Key("asset reference", 188, 30, Kind.TEXT, structural=False)),
        Scheme(0x39, "SGLN-195", _LOCATION, (_text("extension", 20),)),
        Scheme(
            0x3C, "CPI-96", Key("part reference", 51, 15, Kind.NUMBER), (_number("serial", 31),)
        ),
        Scheme(0x3E, "GDTI-174", _DOCUMENT, (_text("serial", 17),)),
    )
}

PLUS_FIRST, PLUS_LAST = 0xF0, 0xFB  # "+" schemes: a toggle bit and 3 filter bits follow the header

PLUS_KEYS: dict[int, tuple[str, int]] = {0xF1: ("asset type", 14), 0xF7: ("item reference", 14)}
"""Header → (name, digits) of the key of 4-bit digits behind the filter (examples of annex E.3)."""

HEADERS: dict[int, str] = {
    **{scheme.header: scheme.name for scheme in LAYOUTS.values()},
    0x3A: "GDTI-113",
    0x3B: "ADI-var",
    0x3D: "CPI-var",
    0x3F: "SGCN-96",
    0x40: "ITIP-110",
    0x41: "ITIP-212",
    0xE6: "CPI++",
    0xE7: "GSRN++",
    0xE8: "GSRNP++",
    0xE9: "SGLN++",
    0xEA: "GDTI++",
    0xEB: "GRAI++",
    0xEC: "SGCN++",
    0xED: "ITIP++",
    0xEE: "GIAI++",
    0xEF: "SSCC++",
    0xF0: "CPI+",
    0xF1: "GRAI+",
    0xF2: "SGLN+",
    0xF3: "ITIP+",
    0xF4: "GSRN+",
    0xF5: "GSRNP+",
    0xF6: "GDTI+",
    0xF7: "SGTIN+",
    0xF8: "SGCN+",
    0xF9: "SSCC+",
    0xFA: "GIAI+",
    0xFB: "DSGTIN+",
    0xFC: "DSGTIN++",
    0xFD: "SGTIN++",
}
"""Every scheme of TDS 2.3, Table 14-1; those without a layout here are known by name only."""
