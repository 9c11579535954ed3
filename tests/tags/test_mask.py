"""Masks on tags of every size: what matches, what is too short, what nobody recorded."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from strategist.survey.records import Tag
from strategist.tags.gen2 import commands_for, gen2_document
from strategist.tags.host_rules import Keep
from strategist.tags.llrp import host_work, llrp_document
from strategist.tags.mask import Bank, Mask, bank_bits, chain_accepts, unrecorded, window
from strategist.tags.power_table import PowerTable
from tests.tags.heard import replay

BYTES = st.binary(min_size=2, max_size=62).map(lambda data: data.hex().upper())


def spelled(text: str | None) -> str:
    """Hex as 0 and 1, digit by digit."""
    return "".join(f"{int(digit, 16):04b}" for digit in text or "")


@settings(max_examples=300, deadline=None)
@given(BYTES, BYTES, BYTES, st.sampled_from(["epc", "tid", "user"]), st.data())
def test_a_window_is_the_bits_as_they_are_spelled(
    epc: str, tid: str, user: str, bank: Bank, data: st.DataObject
) -> None:
    """EPCs of 16 to 496 bits, whole words or not; any pointer, also beyond the end."""
    tag = Tag(epc, tid, user)
    start = 32 if bank == "epc" else 0
    bits = "?" * start + spelled({"epc": epc, "tid": tid, "user": user}[bank])
    pointer = data.draw(st.integers(0, len(bits) + 8))
    length = data.draw(st.integers(1, 255))
    held = bits[pointer : pointer + length]
    known = len(held) == length and "?" not in held
    assert window(tag, bank, pointer, length) == (int(held, 2) if known else None)
    mask = Mask.of_value(bank, pointer, length, int(held, 2) if known else 0)
    assert mask.matches(tag) == known


@pytest.mark.parametrize("bits", range(16, 497, 16))
def test_epcs_of_every_number_of_words(bits: int) -> None:
    """A mask on the last bits matches, one that goes a bit further does not."""
    tag = Tag("A5C3" * (bits // 16))
    assert Mask("epc", 32 + bits - 8, 8, "C3").matches(tag)
    assert not Mask("epc", 32 + bits - 8, 9, "C300").matches(tag)
    assert not Mask("epc", 32 + bits, 1, "00").matches(tag)


@pytest.mark.parametrize("epc", ["AB", "ABCDEF", "AB" * 61])
def test_an_epc_of_an_odd_number_of_bytes_has_all_its_bits(epc: str) -> None:
    tag = Tag(epc)
    assert Mask.of_value("epc", 32, 8, 0xAB).matches(tag)
    end = 32 + 4 * len(epc)
    assert window(tag, "epc", end - 8, 8) == int(epc[-2:], 16)
    assert window(tag, "epc", end - 8, 16) is None


def test_a_bank_that_was_not_recorded_never_matches_and_not_of_it_always_does() -> None:
    for tag in (Tag("3074"), Tag("3074", tid="", user="")):
        for bank in ("tid", "user"):
            assert bank_bits(tag, bank) is None  # type: ignore[arg-type]
            assert not Mask(bank, 0, 8, "00").matches(tag)  # type: ignore[arg-type]
            assert Mask(bank, 0, 8, "00", negate=True).matches(tag)  # type: ignore[arg-type]


@pytest.mark.parametrize("pattern", ["3", "303", "3G", "0x30", "30 ", "", "3030"])
def test_a_pattern_is_hex_of_whole_bytes_for_its_length(pattern: str) -> None:
    with pytest.raises(ValidationError, match="The pattern "):
        Mask("epc", 32, 8, pattern)


def test_a_pattern_has_zeros_behind_its_length() -> None:
    assert Mask("epc", 32, 5, "f8").pattern == "F8"
    with pytest.raises(ValidationError, match="ones behind its length"):
        Mask("epc", 32, 5, "FF")


CONTROL = [  # CRC at bits 0–15, PC word at 16–31 of the EPC bank (TDS 2.3, 9.3)
    Mask("epc", 0, 16, "AAF9"),  # the very CRC of the tag below (computed)
    Mask("epc", 16, 16, "3000"),  # its very PC word: 6 words (TDS 9.3)
    Mask("epc", 16, 5, "30"),
    Mask("epc", 24, 16, "0030"),  # begins in the PC word, ends in the EPC
]
TAG = Tag("3074257BF7194E4000001A85")


@pytest.mark.parametrize("mask", CONTROL)
@pytest.mark.parametrize("negate", [False, True])
def test_masks_on_crc_or_pc_are_taken_and_never_match(mask: Mask, negate: bool) -> None:
    """Gen2 can select on these bits and no survey records them: not recorded is no match.

    The Select commands are planned alike, and every way out says what is not known.
    """
    chain = (Mask(mask.bank, mask.pointer, mask.length, mask.pattern, negate),)
    assert chain_accepts(chain, TAG) is negate
    assert replay(commands_for(chain), TAG, not negate) is negate
    (said,) = unrecorded(chain, [TAG])
    assert "CRC or PC word" in said and "never matching" in said
    assert said in gen2_document(chain)["notes"]
    assert said in llrp_document([17], chain, PowerTable(((1, 17.0),)))["host_work"]


def test_masks_on_the_epc_alone_need_no_word() -> None:
    """An EPC is recorded whole: a tag too short for a mask does not match it on the air either."""
    chain = (Mask("epc", 32, 8, "30"), Mask("epc", 120, 16, "0000", join="or"))
    assert unrecorded(chain, [TAG, Tag("30")]) == ()
    assert not any("recorded" in said for said in host_work([17], 1, Keep(), chain))


def test_tags_whose_banks_were_not_recorded_are_counted() -> None:
    tags = [TAG, Tag("30", tid="E29F0345"), Tag("31", tid="E29F", user="00"), Tag("32", user="")]
    chain = (Mask("tid", 8, 24, "812345"), Mask("user", 0, 8, "00", join="and"))
    tid, user = unrecorded(chain, tags)
    assert "TID memory, which was not recorded for 3 of 4 tags" in tid
    assert "user memory, which was not recorded for 3 of 4 tags" in user
    assert unrecorded(chain[:1], tags[1:2]) == ()
    assert unrecorded((), tags) == ()
