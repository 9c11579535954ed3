"""TID fields: short recordings, other classes, and that fields always cover the bits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from strategist.errors import InputError
from strategist.survey.records import Tag
from strategist.tags.fields import words_of
from strategist.tags.mask import window
from strategist.tags.tid import decode_tid

GOOD = "E29F03452000000000ABCDEF"


@given(st.sampled_from([b"\xe2", b"\xe0", b"\x30"]), st.binary(max_size=40))
def test_any_tid_is_covered_by_fields_without_gaps(first: bytes, rest: bytes) -> None:
    tid = (first + rest).hex()
    at = 0
    for field in decode_tid(tid):
        assert field.pointer == at
        assert field.value == window(Tag("3000", tid=tid), "tid", at, field.length)
        at += field.length
    assert at == 4 * len(tid)


@pytest.mark.parametrize(
    ("tid", "named"),
    [
        (GOOD[:6], 0),  # only 24 bits recorded
        (GOOD[:8], 6),  # the XTID header was not recorded
        (GOOD[:-2], 7),  # only a part of the 48 bits of its serial was recorded
        ("E21F0345" + GOOD[8:], 6),  # no XTID: the standard gives no place to a serial
        ("E29F03450000", 7),  # no serial
        ("E0040102030405", 0),  # only 56 bits recorded
        ("E1" * 12, 0),  # another class
        ("", 0),
    ],
)
def test_what_cannot_be_read_stays_plain_bits(tid: str, named: int) -> None:
    names = [field.name for field in decode_tid(tid)]
    assert "serial" not in names
    assert len([name for name in names if name != "bits"]) == named


@pytest.mark.parametrize(("version", "bits"), [(1, 48), (2, 64), (7, 144)])
def test_serial_length_follows_the_xtid_header(version: int, bits: int) -> None:
    found = decode_tid(f"E29F0345{version << 13:04X}" + "A5" * (bits // 8))
    assert found[-1].name == "serial"
    assert found[-1].length == bits


def test_structural_fields_name_the_chip_and_not_the_tag() -> None:
    fields = decode_tid(GOOD)
    structural = [field for field in fields if field.structural]
    assert [field.name for field in structural][-2:] == ["mask designer", "model"]
    assert words_of(structural[-2:]) == "model 345h of mask designer 1F0h"
    assert not fields[-1].structural


def test_every_field_before_the_serial_is_shared_by_a_chip_model() -> None:
    """Class, the three flags, designer and model are the same on all chips of a model, so masks
    may be made of them; XTID header and serial number are not."""
    shared = {field.name: field.structural for field in decode_tid(GOOD)}
    assert shared == {
        "class": True,
        "XTID flag": True,
        "security flag": True,
        "file flag": True,
        "mask designer": True,
        "model": True,
        "XTID header": False,
        "serial": False,
    }


def test_what_is_not_hex_is_refused() -> None:
    with pytest.raises(InputError, match="TID"):
        decode_tid("E2Z0")
