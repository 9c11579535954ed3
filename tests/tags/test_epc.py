"""EPC fields: what malformed content does, and that fields always cover the bits."""

from __future__ import annotations

import contextlib
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from strategist.errors import InputError
from strategist.survey.records import Tag
from strategist.tags.epc import decode, parted
from strategist.tags.fields import words_of
from strategist.tags.mask import EPC_START, window
from strategist.tags.schemes import LAYOUTS
from tests.tags.uris import encode, uri_of

GOOD = "3066C4409047E140075BCD15"


def any_epc(sizes: st.SearchStrategy[int]) -> st.SearchStrategy[str]:
    """EPCs of so many bytes, half of them with the header of a known layout."""
    headers = st.sampled_from([*LAYOUTS, 0xF1, 0xF7, 0xE2]) | st.integers(0, 255)
    return st.builds(
        lambda header, size, seed: (bytes([header]) + seed.to_bytes(62)[:size]).hex()[: 2 * size],
        headers,
        sizes,
        st.integers(0, 2**496 - 1),
    )


@given(any_epc(st.integers(2, 62)))
def test_any_epc_of_16_to_496_bits_is_covered_by_fields_without_gaps(epc: str) -> None:
    at = EPC_START
    for field in decode(epc):
        assert field.pointer == at
        assert field.value == window(Tag(epc), "epc", field.pointer, field.length)
        at += field.length
    assert at == EPC_START + 4 * len(epc)
    uri = uri_of(epc)
    if uri is not None:
        assert encode(uri) == epc.upper()


@given(any_epc(st.just(12)))
def test_a_uri_is_claimed_only_if_it_encodes_back(epc: str) -> None:
    uri = uri_of(epc)
    if uri is not None:
        assert encode(uri) == epc.upper()


@given(st.text(max_size=40))
def test_any_text_decodes_or_raises_our_own_error(text: str) -> None:
    with contextlib.suppress(InputError):
        decode(text)


@given(st.text(max_size=40), st.sampled_from([scheme.name.lower() for scheme in LAYOUTS.values()]))
def test_any_uri_encodes_or_raises_our_own_error(text: str, name: str) -> None:
    for uri in (text, f"urn:epc:tag:{name}:{text}"):
        with contextlib.suppress(InputError):
            assert uri_of(encode(uri)) is not None


@pytest.mark.parametrize("text", ["3", "30G0", "0x30", " 30", "30 74", "３０"])
def test_what_is_not_hex_of_whole_bytes_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="whole bytes"):
        decode(text)


@pytest.mark.parametrize(
    ("epc", "broken"),
    [
        (GOOD[:-4], "takes 96 bits and this EPC has 80"),
        (GOOD + "0000", "takes 96 bits and this EPC has 112"),
        ("307C" + GOOD[4:], "partition 7 is none of 0 to 6"),
        ("3067FFFFFFFFFFFFFFFFFFFF", "company prefix 137438953471 has more than 11 digits"),
        ("3074257BF7FFFE4000001A85", "item reference 1048569 has more than 6 digits"),
        ("3174257BF4499602D2000001", "reserved bits are not all zero"),
        ("3666C4409047E159B2C2BF100000000000000000000000000001", "padding bits are not all zero"),
        ("3666C4409047E1400000000000000000000000000000000000".ljust(52, "0"), "serial is empty"),
        ("3666C4409047E159B2C2BF100000000000000000000000010000", "serial goes on behind its end"),
        ("3666C4409047E150" + "0" * 36, "serial holds a character that GS1 does not allow"),
        ("2F3" + "2" * 12 + "00000162E", "no code of 5 or 6 capitals and digits"),
    ],
)
def test_a_rule_broken_means_plain_bits(epc: str, broken: str) -> None:
    (field,) = decode(epc)
    assert not field.structural, broken
    assert uri_of(epc) is None


@pytest.mark.parametrize("epc", ["00" * 12, "E2" * 12, "FF" * 12, "7F00"])
def test_headers_of_no_scheme_stay_plain_bits(epc: str) -> None:
    (field,) = decode(epc)
    assert not field.structural


def test_no_bits_are_no_field() -> None:
    assert decode("") == ()


@pytest.mark.parametrize(
    ("uri", "part"),
    [
        ("urn:epc:id:sgtin:0614141.812345.6789", None),
        ("urn:epc:tag:sgtin-97:3.0614141.812345.6789", None),
        ("urn:epc:tag:sgtin-96:3.0614141.812345", None),
        ("urn:epc:tag:sgtin-96:8.0614141.812345.6789", "filter"),
        ("urn:epc:tag:sgtin-96:3.06141.81234567.6789", "company prefix"),
        ("urn:epc:tag:sgtin-96:3.061414x.812345.6789", "company prefix"),
        ("urn:epc:tag:sgtin-96:3.0614141.12345.6789", "item reference"),
        ("urn:epc:tag:sgtin-96:3.0614141.812345." + "9" * 5000, "serial"),
        ("urn:epc:tag:sgtin-198:3.0614141.812345.a/b", "serial"),
        ("urn:epc:tag:sgtin-198:3.0614141.812345.ä", "serial"),
        ("urn:epc:tag:sgtin-198:3.0614141.812345." + "a" * 21, "serial"),
        ("urn:epc:tag:sgtin-198:3.0614141.812345.", "serial"),
        ("urn:epc:tag:usdod-96:3.CAGEO.5678", "manager"),
        ("urn:epc:tag:cpi-96:3.952114100000.1234.1", "part reference"),
    ],
)
def test_a_uri_that_breaks_a_rule_is_refused_naming_the_part(uri: str, part: str | None) -> None:
    with pytest.raises(InputError) as caught:
        encode(uri)
    assert [fault.column for fault in caught.value.faults] == [part]


def test_words_for_runs_of_fields() -> None:
    epc = encode("urn:epc:tag:sgtin-96:4.9521141.000212.77")
    header, filter_, partition, company, item, serial = decode(epc)
    assert words_of([company, item]) == "item reference 000212 of company 9521141"
    assert words_of([partition, company]) == "company 9521141"
    assert words_of([header, filter_]) == "scheme SGTIN-96, filter 4 (inner pack)"
    assert words_of([partition]) == "partition 5 (company prefix of 7 digits)"
    assert words_of([item]) == "item reference 000212"
    assert words_of([item, serial]) == "item reference 000212, serial 77"


STRUCTURED = [
    ("sgtin-96:1.9521141.000212.7", "item reference", "serial"),
    ("sscc-96:0.9521141.1234567890", "company prefix", "serial reference"),
    ("sgln-96:0.9521141.12345.7", "location reference", "extension"),
    ("grai-96:0.9521141.12345.7", "asset type", "serial"),
    ("giai-96:0.9521141.7", "company prefix", "asset reference"),
    ("gsrn-96:0.9521141.1234567890", "company prefix", "service reference"),
    ("gdti-96:0.9521141.12345.7", "document type", "serial"),
    ("cpi-96:0.9521141.12345.7", "part reference", "serial"),
    ("gid-96:31415.271828.7", "object class", "serial"),
    ("gsrnp-96:0.9521141.1234567890", "company prefix", "service reference"),
    ("usdod-96:3.CAGEY.5678", "manager", "serial"),
    ("sgtin-198:3.9521141.000212.7a", "item reference", "serial"),
    ("grai-170:0.9521141.12345.7a", "asset type", "serial"),
    ("giai-202:0.9521141.7a", "company prefix", "asset reference"),
    ("sgln-195:0.9521141.12345.7a", "location reference", "extension"),
    ("gdti-174:0.9521141.12345.7a", "document type", "serial"),
]


@pytest.mark.parametrize(("uri", "structural", "serial"), STRUCTURED)
def test_structural_parts_come_before_serial_parts(uri: str, structural: str, serial: str) -> None:
    fields = decode(encode(f"urn:epc:tag:{uri}"))
    names = [field.name for field in fields if field.structural]
    assert names[0] == "header" and names[-1] == structural
    assert next(field.name for field in fields if not field.structural) == serial
    assert not any(field.structural for field in fields[len(names) :])


@given(st.sampled_from(STRUCTURED), st.integers(0, 2**200) | st.integers(0, 2**30))
def test_an_epc_is_parted_as_its_fields_are(one: tuple[str, str, str], rest: int) -> None:
    """Whatever stands behind the structure: `parted` says nothing where a rule is broken."""
    epc = encode(f"urn:epc:tag:{one[0]}")
    structure = tuple(itertools.takewhile(lambda field: field.structural, decode(epc)))
    bits = 4 * len(epc) - sum(field.length for field in structure)
    for own in (int(epc, 16) % 2**bits, rest % 2**bits, rest % 2 ** (bits // 2)):
        other = f"{(int(epc, 16) >> bits << bits) + own:0{len(epc)}X}"
        whole = decode(other)
        assert parted(other) == (None if len(whole) == 1 else (structure, own, bits))
        assert len(whole) == 1 or whole[: len(structure)] == structure


@pytest.mark.parametrize(("item", "kept"), [(999_999, True), (1_000_000, False)])
def test_a_reference_of_one_digit_too_many_is_no_sgtin(item: int, kept: bool) -> None:
    """Partition 5 has six digits for the item in 20 bits, which hold 1,048,575."""
    value = (((0x30 << 3 | 1) << 3 | 5) << 24 | 9521141) << 20 | item
    assert (uri_of(f"{value << 38:024X}") is not None) is kept


def test_letter_case_of_hex_and_escapes_does_not_matter() -> None:
    assert decode(GOOD.lower()) == decode(GOOD)
    uri = "urn:epc:tag:sgtin-198:3.95060001343.05.32a%2fb"
    assert uri_of(encode(uri)) == uri.replace("%2f", "%2F")


def test_a_location_without_digits_is_written_empty() -> None:
    """A company prefix of 12 digits leaves none to the location reference."""
    uri = "urn:epc:tag:sgln-96:0.952114100000..7"
    assert uri_of(encode(uri)) == uri
