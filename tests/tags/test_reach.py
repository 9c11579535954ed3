"""How far into a bank masks are sought: 1,024 bits of its data, to the bit."""

from __future__ import annotations

import pytest

from strategist.survey.records import Tag
from strategist.tags.candidates import tag_fields
from strategist.tags.fields import Field, bits_in_reach, fields_in_reach, long_banks


@pytest.mark.parametrize("size", [127, 128])
def test_up_to_1024_bits_a_bank_is_taken_whole(size: int) -> None:
    tag = Tag("AB", user="A5" * size)
    assert bits_in_reach(tag, "user") == (int("A5" * size, 16), 8 * size, 0)
    fields = tag_fields(tag, "user")
    assert fields_in_reach(fields, "user") == fields
    assert long_banks([tag]) == ()


def test_of_a_longer_bank_the_first_1024_bits_are_taken() -> None:
    tag = Tag("AB", user="A5" * 128 + "C3")
    assert bits_in_reach(tag, "user") == (int("A5" * 128, 16), 1024, 0)
    (field,) = fields_in_reach(tag_fields(tag, "user"), "user")
    assert (field.pointer, field.length, field.value) == (0, 1024, int("A5" * 128, 16))
    assert bits_in_reach(Tag("AB"), "user") is None


@pytest.mark.parametrize(("bank", "end"), [("user", 1024), ("tid", 1024), ("epc", 1056)])
def test_the_field_that_crosses_the_end_is_cut(bank: str, end: int) -> None:
    """The data of the EPC bank begin at bit 32 (Gen2)."""

    def field(pointer: int, length: int, value: int) -> Field:
        return Field("bits", pointer, length, value, "", False, "")

    ends, crosses = field(end - 16, 16, 0xABCD), field(end - 4, 8, 0xE7)
    last_bit, behind = field(end - 1, 8, 0x80), field(end, 8, 0xFF)
    assert fields_in_reach([ends, crosses, last_bit, behind], bank) == (  # type: ignore[arg-type]
        ends,
        field(end - 4, 4, 0xE),
        field(end - 1, 1, 1),
    )


def test_each_long_bank_is_said_with_its_tags() -> None:
    tags = [Tag("A0", tid="E2" * 129, user="00" * 130), Tag("A1", user="00" * 129), Tag("A2")]
    tid, user = long_banks(tags)
    assert tid.startswith("1 of 3 tags have more than 1,024 bits of TID (up to 1,032):")
    assert user.startswith("2 of 3 tags have more than 1,024 bits of user memory (up to 1,040):")
