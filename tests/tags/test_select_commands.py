"""Select commands: the same tags pass as through the mask chain; truncation; the document."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from strategist.survey.records import Tag
from strategist.tags.gen2 import (
    commands_for,
    gen2_document,
    gen2_lines,
    truncation,
)
from strategist.tags.mask import Bank, Mask, bank_bits, chain_accepts, window
from tests.tags.heard import replay

HEX = st.binary(min_size=2, max_size=62).map(lambda data: data.hex().upper())
BANKS = st.none() | st.binary(max_size=12).map(lambda data: data.hex().upper())
TAGS = st.builds(Tag, HEX, BANKS, BANKS)


@st.composite
def chains(draw: st.DrawFn, tags: list[Tag]) -> tuple[Mask, ...]:
    """Chains of 0–4 masks; half of them hold what one of the tags holds, so that they match."""
    chain: list[Mask] = []
    for _ in range(draw(st.integers(0, 4))):
        bank: Bank = draw(st.sampled_from(["epc", "tid", "user"]))
        tag = draw(st.sampled_from(tags))
        recorded = bank_bits(tag, bank)
        end = recorded[1] + recorded[2] if recorded else 64
        pointer = draw(st.integers(0, end + 8))
        length = draw(st.integers(1, max(1, min(255, end - pointer))))
        held = window(tag, bank, pointer, length)
        value = draw(st.integers(0, 2**length - 1))
        if held is not None and draw(st.booleans()):
            value = held
        plain = Mask.of_value(bank, pointer, length, value)
        join = draw(st.sampled_from(["and", "or"])) if chain else None
        chain.append(Mask(bank, pointer, length, plain.pattern, draw(st.booleans()), join))
    return tuple(chain)


@settings(max_examples=400, deadline=None)
@given(st.data(), st.lists(TAGS, min_size=1, max_size=4))
def test_commands_pass_the_tags_that_the_chain_passes(data: st.DataObject, tags: list[Tag]) -> None:
    chain = data.draw(chains(tags))
    commands = commands_for(chain)
    for tag in tags:
        for before in (False, True):
            assert replay(commands, tag, before) == chain_accepts(chain, tag)


@pytest.mark.parametrize("negate", [False, True])
@pytest.mark.parametrize(
    "mask",
    [
        Mask("tid", 0, 8, "E2"),  # bank not recorded
        Mask("user", 0, 8, "00"),  # nothing in the bank
        Mask("epc", 40, 16, "7400"),  # begins inside, ends behind the EPC
        Mask("epc", 48, 8, "00"),  # begins behind the EPC
        Mask("epc", 16, 16, "0800"),  # the PC word, which no survey records
    ],
)
def test_a_mask_beyond_what_is_recorded_does_not_match(mask: Mask, negate: bool) -> None:
    tag = Tag("3074", user="")
    chain = (Mask(mask.bank, mask.pointer, mask.length, mask.pattern, negate),)
    for before in (False, True):
        assert replay(commands_for(chain), tag, before) is negate
    assert chain_accepts(chain, tag) is negate


@pytest.mark.parametrize("words", [1, 3, 7, 31])
def test_a_mask_up_to_the_last_bit_matches(words: int) -> None:
    tag = Tag("A5C3" * words)
    chain = (Mask("epc", 32 + 16 * words - 8, 8, "C3"),)
    assert replay(commands_for(chain), tag, False)
    longer = (Mask("epc", 32 + 16 * words - 8, 9, "C300"),)
    assert not replay(commands_for(longer), tag, True)


def test_no_chain_needs_no_command_and_lets_every_tag_through() -> None:
    assert commands_for(()) == ()
    assert replay((), Tag("3074"), False)
    assert gen2_document(())["query_sel"] == "all"


EPC_MASK = Mask("epc", 32, 8, "30")


@pytest.mark.parametrize(
    ("chain", "why"),
    [
        ((), "no mask"),
        ((Mask("tid", 0, 8, "E2"),), "not on the EPC bank"),
        ((Mask("epc", 32, 8, "30", True),), "negated"),
        ((Mask("tid", 0, 8, "E2", True), Mask("epc", 32, 8, "30", join="and")), "negated"),
        ((EPC_MASK, Mask("epc", 40, 8, "30", join="or")), '"or"'),
        ((Mask("epc", 24, 16, "0030"),), "before the EPC"),
        ((Mask("epc", 88, 16, "0030"),), "behind the EPC"),
    ],
)
def test_truncation_is_refused_with_the_reason(chain: tuple[Mask, ...], why: str) -> None:
    offer = truncation(chain, 64)
    assert not offer.permitted
    assert any(why in reason for reason in offer.reasons)
    assert offer.lacks == ()


def test_truncation_says_what_the_reply_lacks() -> None:
    assert len(truncation((EPC_MASK,), 96).lacks) == 2
    offer = truncation((Mask("tid", 0, 8, "E2"), Mask("epc", 46, 24, "91483D", join="and")), 96)
    assert offer.permitted
    assert offer.lacks[-1] == "EPC bits 32 to 45 are not sent and are lost."


def test_the_document_is_json_and_its_lines_say_the_same() -> None:
    chain = (Mask("epc", 32, 11, "3060"), Mask("tid", 8, 24, "9F0234", True, "and"))
    document = json.loads(json.dumps(gen2_document(chain, 96)))
    first, second = document["commands"]
    assert (first["action"], first["length"], first["mask"]) == (0, 11, "3060")
    assert (second["action"], second["bank_bits"], second["mask"]) == (5, "10", "9F0234")
    assert second["frame"] == commands_for(chain)[1].frame()
    lines = gen2_lines(document)
    assert lines[0].startswith("1. Select SL, action 0 (match: set SL; no match: clear SL)")
    assert "pointer 32 (20h), length 11, mask 3060" in lines[0]
    assert lines[2] == "3. Query with Sel = SL"
    assert any("TID or user memory" in line for line in lines)


def test_a_mask_on_the_pc_word_is_warned_of() -> None:
    notes = gen2_document((Mask("epc", 16, 5, "30"),))["notes"]
    assert any("PC word" in note for note in notes)
