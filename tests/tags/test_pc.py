"""The PC word: what it refuses."""

from __future__ import annotations

import pytest

from strategist.errors import InputError
from strategist.tags.pc import pc_fields, pc_word


@pytest.mark.parametrize("pc", ["", "30", "300", "30000", "30G0"])
def test_a_pc_word_is_four_hex_digits(pc: str) -> None:
    with pytest.raises(InputError, match="PC word"):
        pc_fields(pc)


@pytest.mark.parametrize("epc", ["30", "307425", "30" * 64, "3"])
def test_an_epc_is_whole_words_31_at_most(epc: str) -> None:
    with pytest.raises(InputError, match="EPC"):
        pc_word(epc)


def test_the_shortest_and_the_longest_epc() -> None:
    assert pc_word("3074") == "0800"
    assert pc_word("30" * 62) == "F800"
