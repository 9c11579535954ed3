"""Settings are read back from their bits by code that did not write them."""

from __future__ import annotations

import numpy as np
import pytest

from strategist.tags.gen2 import commands_for
from strategist.tags.llrp import llrp_document
from strategist.tags.mask import Bank, Mask
from strategist.tags.power_table import PowerTable
from strategist.tags.read_back import chain_of_frames, of_llrp_step

BANKS: tuple[Bank, ...] = ("epc", "tid", "user")


def random_chain(seed: int) -> tuple[Mask, ...]:
    """Up to four masks of any length, pointer, bank, sign and join."""
    rng = np.random.default_rng(seed)
    chain = []
    for number in range(int(rng.integers(0, 5))):
        length = int(rng.integers(1, 100))
        value = int.from_bytes(rng.bytes(13)) % 2**length
        pointer = int(rng.choice([0, 32, 127, 128, 300, 4095]))
        mask = Mask.of_value(BANKS[rng.integers(3)], pointer, length, value)
        join = ("and", "or")[rng.integers(2)] if number else None
        negate = bool(rng.integers(2))
        chain.append(Mask(mask.bank, pointer, length, mask.pattern, negate, join))
    return tuple(chain)


@pytest.mark.parametrize("seed", range(40))
def test_a_chain_comes_back_as_it_was(seed: int) -> None:
    chain = random_chain(seed)
    assert chain_of_frames([command.frame() for command in commands_for(chain)]) == chain
    document = llrp_document([17.0], chain, PowerTable(((9, 17.0),)))
    assert of_llrp_step(document["steps"][0]["bytes"]) == (9, chain)
