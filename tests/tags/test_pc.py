"""The PC word: what it refuses."""

from __future__ import annotations

import pytest

from strategist.errors import InputError
from strategist.tags.pc import pc_fields


@pytest.mark.parametrize("pc", ["", "30", "300", "30000", "30G0"])
def test_a_pc_word_is_four_hex_digits(pc: str) -> None:
    with pytest.raises(InputError, match="PC word"):
        pc_fields(pc)
