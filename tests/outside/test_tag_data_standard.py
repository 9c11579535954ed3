"""EPC and TID fields against published encodings and two independent libraries.

Source of the values: GS1 Tag Data Standard (TDS) 2.3, annex E and section 14, unless a line says
otherwise. The 2.3 text has two known errata (the serial of its SGTIN-96 "EPC URI" line, the header
of its SSCC++ example), which are left out.
"""

from __future__ import annotations

import ipaddress
import warnings
from dataclasses import replace

import pyepc
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from strategist.errors import InputError
from strategist.survey.records import Tag
from strategist.tags.epc import decode
from strategist.tags.mask import Mask, chain_accepts
from strategist.tags.schemes import HEADERS, LAYOUTS
from strategist.tags.tid import decode_tid
from tests.tags.uris import encode, uri_of

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its patterns warn when first compiled
    from epcpy import hex_to_tag_encodable, tag_uri_to_tag_encodable  # type: ignore[import-untyped]

ANNEX_E3 = [
    ("sgtin-96:3.95060001343.05.123456789", "3066C4409047E140075BCD15"),
    ("sgtin-198:3.95060001343.05.32a%2Fb", "3666C4409047E159B2C2BF100000000000000000000000000000"),
    ("sscc-96:0.952012.03456789123", "311BA1B300CE0A6A83000000"),
    ("sgln-96:3.9521141.12345.5678", "3276451FD46072000000162E"),
    ("sgln-195:3.9521141.12345.32a%2Fb", "3976451FD46072CD9615F8800000000000000000000000000000"),
    ("grai-96:3.9521141.12345.5678", "3376451FD40C0E400000162E"),
    ("grai-170:3.9521141.12345.32a%2Fb", "3776451FD40C0E59B2C2BF1000000000000000000000"),
    ("giai-96:3.9521141.5678", "3476451FD40000000000162E"),
    ("giai-202:3.9521141.32a%2Fb", "3876451FD59B2C2BF10000000000000000000000000000000000"),
    ("gsrn-96:3.9521141.1234567890", "2D76451FD4499602D2000000"),
    ("gsrnp-96:3.9521141.1234567890", "2E76451FD4499602D2000000"),
    ("gdti-96:3.9521141.12345.5678", "2C76451FD46072000000162E"),
    ("gdti-174:3.9521141.98765.ABCDefgh012345678", "3E76451FD7039B061438997367D0C18B266D1AB66EE0"),
    ("cpi-96:3.9521141.98765.12345", "3C76451FD400C0E680003039"),
]
OLDER_ANNEX_E3 = [  # TDS 1.x, annex E.3
    ("sgtin-96:3.0614141.812345.6789", "3074257BF7194E4000001A85"),
    ("sscc-96:3.0614141.1234567890", "3174257BF4499602D2000000"),
    ("sgln-96:3.0614141.12345.5678", "3274257BF46072000000162E"),
    ("grai-96:3.0614141.12345.5678", "3374257BF40C0E400000162E"),
    ("giai-96:3.0614141.5678", "3474257BF40000000000162E"),
    ("gsrn-96:3.0614141.1234567890", "2D74257BF4499602D2000000"),
    ("gdti-96:3.0614141.12345.5678", "2C74257BF46072000000162E"),
    ("sgtin-198:3.0614141.712345.32a%2Fb", "3674257BF6B7A659B2C2BF100000000000000000000000000000"),
    ("gid-96:31415.271828.1414", "350007AB70425D4000000586"),
    ("usdod-96:3.CAGEY.5678", "2F320434147455900000162E"),
]
ANNEX_E1 = [("sgtin-96:3.95060001343.05.6789", "3066C4409047E14000001A85")]  # annex E.1 and E.2
ENCODINGS = ANNEX_E3 + OLDER_ANNEX_E3 + ANNEX_E1


@pytest.mark.parametrize(("uri", "epc"), ENCODINGS)
def test_published_encodings_decode_to_their_uri_and_encode_back(uri: str, epc: str) -> None:
    uri = f"urn:epc:tag:{uri}"
    assert uri_of(epc) == uri
    assert decode(epc)[0].words.lower() == f"scheme {uri.split(':')[3]}"
    assert encode(uri) == epc


@pytest.mark.parametrize(("uri", "epc"), ENCODINGS)
def test_epcpy_agrees_on_the_published_encodings(uri: str, epc: str) -> None:
    name, body = uri.split(":")
    identity = body if name == "gid-96" else body.split(".", 1)[1]
    assert hex_to_tag_encodable(epc).epc_uri == f"urn:epc:id:{name.split('-')[0]}:{identity}"


def test_bit_level_example_of_annex_e1() -> None:
    fields = {field.name: field for field in decode("3066C4409047E14000001A85")}
    bits = {name: f"{field.value:0{field.length}b}" for name, field in fields.items()}
    assert bits["header"] == "00110000"
    assert bits["filter"] == "011"
    assert bits["partition"] == "001"
    assert bits["company prefix"] == "1011000100010000001001000001000111111"
    assert bits["item reference"] == "0000101"
    assert fields["serial"].value == 6789


def check_digit(digits: str) -> int:
    """GS1 General Specifications, 7.9: from the right, weights 3 and 1 in turn, up to tens."""
    total = sum(int(d) * (3, 1)[place % 2] for place, d in enumerate(reversed(digits)))
    return -total % 10


@pytest.mark.parametrize(
    ("epc", "key"),
    [
        ("3066C4409047E14000001A85", "09506000134352"),  # TDS annex E.1: check digit 2
        ("311BA1B300CE0A6A83000000", "095201234567891235"),  # TDS annex E.3, SSCC: check digit 5
    ],
)
def test_the_fields_are_the_digits_that_the_published_check_digit_fits(epc: str, key: str) -> None:
    """An EPC carries no check digit: the company prefix goes behind the first digit of the other
    field (TDS 7), and what the standard prints closes the sum."""
    _, company, other = str(uri_of(epc)).split(":")[-1].split(".")[:3]
    digits = other[0] + company + other[1:]
    assert digits + str(check_digit(digits)) == key


def test_sgtin_96_layout() -> None:
    """TDS 14.6: header 20h, filter 28h, partition 2Bh, prefix and item 2Eh–59h, serial 5Ah–7Fh."""
    fields = {field.name: field for field in decode("3066C4409047E140075BCD15")}
    assert (fields["header"].pointer, fields["header"].length) == (0x20, 8)
    assert (fields["filter"].pointer, fields["filter"].length) == (0x28, 3)
    assert (fields["partition"].pointer, fields["partition"].length) == (0x2B, 3)
    assert fields["company prefix"].pointer == 0x2E
    assert fields["item reference"].pointer + fields["item reference"].length == 0x5A
    assert (fields["serial"].pointer, fields["serial"].length) == (0x5A, 38)


@pytest.mark.parametrize(
    ("partition", "company", "item"),
    [
        (0, (40, 12), (4, 1)),
        (1, (37, 11), (7, 2)),
        (2, (34, 10), (10, 3)),
        (3, (30, 9), (14, 4)),
        (4, (27, 8), (17, 5)),
        (5, (24, 7), (20, 6)),
        (6, (20, 6), (24, 7)),
    ],
)
def test_sgtin_partition_table(
    partition: int, company: tuple[int, int], item: tuple[int, int]
) -> None:
    parts = {part.name: part for part in LAYOUTS[0x30].parts(partition)}
    assert (parts["company prefix"].bits, parts["company prefix"].digits) == company
    assert (parts["item reference"].bits, parts["item reference"].digits) == item


@pytest.mark.parametrize(
    ("last_field", "length", "prefix"),
    [
        ("header", 8, "30"),
        ("filter", 11, "3060"),
        ("partition", 14, "3064"),
        ("item reference", 58, "3066C4409047E140"),
    ],
)
def test_structural_prefixes_as_masks(last_field: str, length: int, prefix: str) -> None:
    """Computed from the layout of TDS 14.6: masks from pointer 20h on, left-aligned."""
    bits = ""
    for field in decode("3066C4409047E140075BCD15"):
        bits += f"{field.value:0{field.length}b}"
        if field.name == last_field:
            break
    assert len(bits) == length
    assert f"{int(bits.ljust(4 * len(prefix), '0'), 2):X}" == prefix


def test_serial_of_sgtin_96_ends_at_38_bits_and_has_no_leading_zeros() -> None:
    start = "urn:epc:tag:sgtin-96:3.95060001343.05."
    assert uri_of(encode(start + "274877906943")) == start + "274877906943"
    for serial in ("274877906944", "0123", ""):
        with pytest.raises(InputError):
            encode(start + serial)


def test_sgtin_filter_values() -> None:
    """TDS Table 10-1; a reserved value must be accepted by a decoder (10.1)."""
    words = []
    for value in range(8):
        uri = f"urn:epc:tag:sgtin-96:{value}.9521141.000212.1"
        words.append(decode(encode(uri))[1].words)
    assert words == [
        "filter 0 (all others)",
        "filter 1 (POS item)",
        "filter 2 (full case)",
        "filter 3 (reserved)",
        "filter 4 (inner pack)",
        "filter 5 (reserved)",
        "filter 6 (unit load)",
        "filter 7 (component)",
    ]


TABLE_14_1 = """
2C GDTI-96 · 2D GSRN-96 · 2E GSRNP-96 · 2F USDoD-96 · 30 SGTIN-96 · 31 SSCC-96 · 32 SGLN-96 ·
33 GRAI-96 · 34 GIAI-96 · 35 GID-96 · 36 SGTIN-198 · 37 GRAI-170 · 38 GIAI-202 · 39 SGLN-195 ·
3A GDTI-113 · 3B ADI-var · 3C CPI-96 · 3D CPI-var · 3E GDTI-174 · 3F SGCN-96 · 40 ITIP-110 ·
41 ITIP-212 · F0 CPI+ · F1 GRAI+ · F2 SGLN+ · F3 ITIP+ · F4 GSRN+ · F5 GSRNP+ · F6 GDTI+ ·
F7 SGTIN+ · F8 SGCN+ · F9 SSCC+ · FA GIAI+ · FB DSGTIN+ · E6 CPI++ · E7 GSRN++ · E8 GSRNP++ ·
E9 SGLN++ · EA GDTI++ · EB GRAI++ · EC SGCN++ · ED ITIP++ · EE GIAI++ · EF SSCC++ ·
FC DSGTIN++ · FD SGTIN++
"""


def test_headers_of_table_14_1() -> None:
    published = dict(row.split() for row in TABLE_14_1.replace("\n", " ").split("·"))
    assert {f"{header:02X}": name for header, name in HEADERS.items()} == published
    assert not {0x00, 0xE2, 0xFF} & set(HEADERS)  # unprogrammed, like a TID, reserved


@pytest.mark.parametrize("header", sorted(set(HEADERS) - set(LAYOUTS)))
def test_a_scheme_without_layout_keeps_its_name_and_plain_bits(header: int) -> None:
    found = decode(f"{header:02X}" + "00" * 11)
    assert found[0].words == f"scheme {HEADERS[header]}"
    assert uri_of(f"{header:02X}" + "00" * 11) is None


def test_sgtin_plus_example() -> None:
    """TDS 2.3 E.3, SGTIN+ (01)79521141123453(21)32a/b filter 3; fields by hand from the text."""
    found = decode("F73795211411234538566CB0AFC4")
    assert found[0].words == "scheme SGTIN+"
    toggle, filter_value, item, rest = found[1:]
    assert (toggle.pointer, toggle.length, toggle.value) == (0x28, 1, 0)
    assert (filter_value.pointer, filter_value.length, filter_value.value) == (0x29, 3, 3)
    assert (item.text, item.structural) == ("79521141123453", True)
    assert f"{rest.value:0{rest.length}b}"[:8] == "10000101"  # encoding indicator 100, length 00101


@pytest.mark.parametrize(
    ("epc", "scheme", "filter_value", "key"),
    [
        ("F90095201234567891235", "SSCC+", 0, None),
        ("F13095211411234548566CB0AFC4", "GRAI+", 3, "09521141123454"),
        ("FA3952114132E83C2BF10", "GIAI+", 3, None),
    ],
)
def test_other_plus_examples(epc: str, scheme: str, filter_value: int, key: str | None) -> None:
    found = decode(epc.ljust(-(-len(epc) // 4) * 4, "0"))
    assert found[0].words == f"scheme {scheme}"
    assert found[2].value == filter_value
    texts = [field.text for field in found if field.name == "asset type"]
    assert texts == ([] if key is None else [key])


def test_a_filter_mask_for_sgtin_96_does_not_fit_sgtin_plus() -> None:
    old = decode("3066C4409047E140075BCD15")[1]
    new = decode("F73795211411234538566CB0AFC4")[2]
    assert old.name == new.name == "filter"
    assert old.value == new.value
    assert old.pointer + 1 == new.pointer


def test_tid_example() -> None:
    """TDS Table 16-1 and the steps of 16.3.2, worked by hand for invented content."""
    found = decode_tid("E28123452000000000ABCDEF")
    fields = {field.name: field for field in found}
    assert fields["XTID flag"].value == 1
    assert fields["security flag"].value == fields["file flag"].value == 0
    assert fields["mask designer"].value == 18
    assert fields["model"].value == 0x345
    assert fields["XTID header"].value >> 13 == 1
    assert found[-1].text == "000000ABCDEF"
    assert [(f.name, f.pointer, f.length) for f in found[4:]] == [
        ("mask designer", 0x0B, 9),
        ("model", 0x14, 12),
        ("XTID header", 0x20, 16),
        ("serial", 0x30, 48),
    ]


def test_tid_class_e0_from_memory() -> None:
    """ISO/IEC 7816-6 class, from memory: chip maker of 8 bits, serial of 48."""
    found = decode_tid("E004010203040506")
    assert [(f.name, f.pointer, f.length, f.structural) for f in found] == [
        ("class", 0, 8, True),
        ("chip maker", 8, 8, True),
        ("serial", 16, 48, False),
    ]


GS1_TEXT = st.text("ABCXYZabcxyz0123456789!\"%&'()*+,-./:;<=>?_", min_size=1)
_NUMBERS = {
    "sgtin-96": (13, 38),
    "sgln-96": (12, 41),
    "grai-96": (12, 38),
    "gdti-96": (12, 41),
    "sscc-96": (17, 0),
    "gsrn-96": (17, 0),
    "gsrnp-96": (17, 0),
    "cpi-96": (15, 31),
    "giai-96": (25, 0),
}
_TEXTS = {"sgtin-198": (13, 20), "sgln-195": (12, 20), "grai-170": (12, 16), "gdti-174": (12, 17)}


@st.composite
def tag_uris(draw: st.DrawFn) -> str:
    """Valid tag URIs of all schemes with a company prefix, by the rules of TDS section 6."""
    name = draw(st.sampled_from(sorted({*_NUMBERS, *_TEXTS, "giai-202"})))
    company = draw(st.integers(6, 12))
    parts = [str(draw(st.integers(0, 7)))]
    parts.append(f"{draw(st.integers(0, 10**company - 1)):0{company}d}")
    digits, size = _NUMBERS.get(name) or _TEXTS.get(name) or (30, 0)
    if name == "giai-202":
        parts.append(_escape(draw(GS1_TEXT)[: 30 - company]))
        return f"urn:epc:tag:{name}:" + ".".join(parts)
    left = digits - company
    if name == "giai-96":
        company_bits = (40, 37, 34, 30, 27, 24, 20)[12 - company]
        parts.append(str(draw(st.integers(0, 2 ** (82 - company_bits) - 1))))
    else:
        number = draw(st.integers(0, 10**left - 1))
        parts.append(str(number) if name == "cpi-96" else f"{number:0{left}d}" if left else "")
    if name in _TEXTS:
        parts.append(_escape(draw(GS1_TEXT)[:size]))
    elif size:
        parts.append(str(draw(st.integers(0, 2**size - 1))))
    return f"urn:epc:tag:{name}:" + ".".join(parts)


def _escape(text: str) -> str:
    return "".join(f"%{ord(c):02X}" if c in '"%&/<>?' else c for c in text)


@settings(max_examples=300, deadline=None)
@given(tag_uris())
def test_any_uri_encodes_and_decodes_back(uri: str) -> None:
    assert uri_of(encode(uri)) == uri


EPCPY_ALSO = tag_uris().filter(lambda uri: "%" not in uri and uri.count(":") == 4)
"""epcpy counts an escape as three characters and cuts a GIAI at its colons: both left out."""


@settings(max_examples=300, deadline=None)
@given(EPCPY_ALSO)
def test_epcpy_encodes_any_uri_to_the_same_bits(uri: str) -> None:
    theirs = tag_uri_to_tag_encodable(uri)
    name = uri.split(":")[3].upper().replace("-", "_")
    scheme = type(theirs).BinaryCodingScheme[name]
    filters = {value.value: value for value in _filters(type(theirs))}
    chosen = filters[uri.split(":")[4][0]]
    bits = theirs.binary(binary_coding_scheme=scheme, filter_value=chosen)
    ours = encode(uri)
    assert f"{int(bits.ljust(4 * len(ours), '0'), 2):0{len(ours)}X}" == ours


def _filters(scheme: type) -> list[object]:
    module = __import__(scheme.__module__, fromlist=["x"])
    return list(getattr(module, f"{scheme.__name__}FilterValue"))


@settings(max_examples=150, deadline=None)
@given(tag_uris().filter(lambda uri: uri.split(":")[3] in ("sgtin-96", "sscc-96")))
def test_pyepc_decodes_any_sgtin_96_and_sscc_96_to_the_same(uri: str) -> None:
    theirs = pyepc.decode(encode(uri))
    assert theirs.pure_identity_uri.split(":")[-1] == uri.partition(".")[2]


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 999_999), st.integers(0, 999_999), st.lists(st.integers(0, 999_999)))
def test_a_chain_of_prefixes_admits_the_range_of_a_pattern_uri(
    one: int, other: int, items: list[int]
) -> None:
    """TDS 13.2: urn:epc:pat:sgtin-96:3.9521141.[lo-hi].* is fitted by tags whose item lies in
    lo … hi. The chain asks for each aligned block of the range, as ipaddress lays them out."""
    low, high = sorted((one, other))
    shift = 32 - 20  # the item of a seven-digit company has 20 bits
    first = ipaddress.IPv4Address(low << shift)
    last = ipaddress.IPv4Address((high + 1 << shift) - 1)
    head = decode(encode("urn:epc:tag:sgtin-96:3.9521141.000000.0"))[:4]
    begin = 0
    for field in head:
        begin = begin << field.length | field.value
    bits = sum(field.length for field in head)
    chain: list[Mask] = []
    for net in ipaddress.summarize_address_range(first, last):
        value = begin << net.prefixlen | int(net.network_address) >> (32 - net.prefixlen)
        mask = Mask.of_value("epc", 0x20, bits + net.prefixlen, value)
        chain.append(replace(mask, join="or") if chain else mask)
    for item in {low, high, max(low - 1, 0), min(high + 1, 999_999), *items}:
        for filter_value, company in ((3, "9521141"), (1, "9521141"), (3, "9521142")):
            uri = f"urn:epc:tag:sgtin-96:{filter_value}.{company}.{item:06d}.{item}"
            fits = low <= item <= high and (filter_value, company) == (3, "9521141")
            assert chain_accepts(chain, Tag(encode(uri))) == fits


def test_the_longest_epc_ends_where_the_xpc_begins() -> None:
    """TDS 9.3: 31 words, 496 bits, reach from 20h to 20Fh; XPC_W1 stands at 210h to 21Fh, which no
    survey records, so that a mask on it matches nothing."""
    tag = Tag("FF" * 62)
    assert len(tag.epc) // 4 == 31  # words of 16 bits
    assert Mask("epc", 0x20F, 1, "80").matches(tag)
    assert not Mask("epc", 0x210, 1, "80").matches(tag)
    assert not Mask("epc", 0x20F, 2, "C0").matches(tag)


_DIGITS = {"sgtin-96": 13, "grai-96": 12}  # of company prefix and item reference or asset type
POOL = st.tuples(
    st.sampled_from(sorted(_DIGITS)),
    st.sampled_from(["0", "1"]),
    st.sampled_from(["9521141", "9524321", "95060001343"]),
    st.integers(0, 3),
    st.integers(0, 2**38 - 1),
).map(lambda t: (*t[:3], f"{t[3]:0{_DIGITS[t[0]] - len(t[2])}d}", t[4]))


@settings(max_examples=200, deadline=None)
@given(POOL, st.lists(POOL, min_size=1, max_size=20), st.integers(1, 5))
def test_a_mask_of_fields_admits_what_the_pattern_uri_admits(
    one: tuple[str, str, str, str, int], others: list[tuple[str, str, str, str, int]], fields: int
) -> None:
    """TDS 13.2: a tag fits urn:epc:pat:scheme:a.b.*.* when every component that is no * is equal.

    The mask is the first fields of one EPC: header, filter, partition and company, item
    reference. A partition alone fixes the number of digits of the company prefix.
    """
    pattern = decode(encode("urn:epc:tag:{}:{}.{}.{}.{}".format(*one)))[:fields]
    value = 0
    for field in pattern:
        value = value << field.length | field.value
    mask = Mask.of_value("epc", 0x20, sum(field.length for field in pattern), value)
    for other in (one, *others):
        tag = Tag(encode("urn:epc:tag:{}:{}.{}.{}.{}".format(*other)))
        same = [mine == theirs for mine, theirs in zip(one[:4], other[:4], strict=True)]
        scheme, filter_value, company, item = same
        fits = (scheme, filter_value, len(one[2]) == len(other[2]), company, item)
        assert mask.matches(tag) == all(fits[:fields])
