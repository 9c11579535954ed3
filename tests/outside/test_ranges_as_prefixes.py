"""Ranges of numbers as prefix masks, held against the standard library's ipaddress.

A range is covered by aligned blocks, each a prefix; ipaddress.summarize_address_range gives the
least of them. [1, 2^w − 2] needs exactly 2w − 2 (Srinivasan and Gupta, from memory). The numbers
stand in plain data behind a header that no standard uses (AB); each is on two tags, and masks may
begin and end at any bit. Numbers that fill a byte evenly look like serials, so serial masks are
asked for.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence

import pytest

from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.survey.policy import Loss, Reader
from strategist.survey.records import Tag
from strategist.tags.candidates import find_candidates
from strategist.tags.mask import Mask
from tests.outside.laid_out import one_pass
from tests.surveyed import surveyed_policy

READER = Reader(mask_step_bits=1, mask_bits_max=96)
HEADER = 0xAB


def prefixes(low: int, high: int, width: int) -> list[tuple[int, int]]:
    """(value, bits) of the prefixes that cover low … high, numbers of `width` bits."""
    shift = 32 - width
    first = ipaddress.IPv4Address(low << shift)
    last = ipaddress.IPv4Address((high << shift) | ((1 << shift) - 1))
    nets = ipaddress.summarize_address_range(first, last)
    return [(int(net.network_address) >> (32 - net.prefixlen), net.prefixlen) for net in nets]


def epcs(numbers: Sequence[int], width: int) -> list[str]:
    """Two EPCs for each number: header, number from the left of 32 bits, one of two last bytes."""
    ends = (0x00, 0xFF)
    return [f"{HEADER:02X}{n << (32 - width):08X}{end:02X}" for n in numbers for end in ends]


def lacking(numbers: Sequence[int], low: int, high: int, width: int) -> list[tuple[int, int]]:
    """The prefixes of the range whose tags no candidate selects, nor all others."""
    tags = [Tag(epc) for epc in epcs(numbers, width)]
    found = find_candidates(tags, READER, serial_masks=True)
    everything = frozenset(range(len(tags)))
    selected = {
        frozenset(n for n, of in enumerate(found.tag_class.tolist()) if row[of])
        for row in found.matches
    }
    missing = []
    for value, bits in prefixes(low, high, width):
        mask = Mask.of_value("epc", 32, 8 + bits, HEADER << bits | value)
        block = frozenset(n for n, tag in enumerate(tags) if mask.matches(tag))
        inside = {n for n, tag in enumerate(tags) if int(tag.epc[2:10], 16) >> (32 - bits) == value}
        assert block == inside and block != everything
        if block not in selected and everything - block not in selected:
            missing.append((value, bits))
    return missing


@pytest.mark.parametrize("width", [4, 8])
def test_the_worst_range_needs_2w_less_2_prefixes_and_all_are_candidates(width: int) -> None:
    high = 2**width - 2
    assert len(prefixes(1, high, width)) == 2 * width - 2
    assert lacking(range(2**width), 1, high, width) == []


@pytest.mark.parametrize(
    ("width", "low", "high", "count"),
    [
        (16, 1024, 65535, 6),  # the ports that anyone may use
        (16, 6000, 6999, 7),
        *((width, 1, 2**width - 2, 2 * width - 2) for width in (12, 16, 24, 32)),
    ],
)
def test_published_ranges_of_more_bits(width: int, low: int, high: int, count: int) -> None:
    """Ports 1024 to 65535 take 6 prefixes, 6000 to 6999 take 7; the worst ranges 22, 30, 46, 62.

    The survey holds the ends of each block and the numbers beside them.
    """
    blocks = prefixes(low, high, width)
    assert len(blocks) == count
    numbers = set()
    for value, bits in blocks:
        first, size = value << (width - bits), 1 << (width - bits)
        beside = (first - 1, first, first + size - 1, first + size)
        numbers |= {number for number in beside if 0 <= number < 1 << width}
    assert lacking(sorted(numbers), low, high, width) == []


@pytest.mark.parametrize(("slots", "loss"), [(0, 4), (1, 2), (2, 0)])
def test_all_but_two_excluded_prefixes(slots: int, loss: float) -> None:
    """[1, 14] of 4 bits: six prefixes, or everything less two; a chain of two negated masks.

    Without masks the four tags of 0 and 15 are strays that pass; each mask takes two away.
    """
    policy = surveyed_policy(
        loss=Loss(1, 1),
        allow=("power", "masks"),
        reader=Reader(mask_slots=slots, mask_step_bits=1),
        serial_masks=True,
    )
    numbers = range(16)
    wanted = [1 <= number <= 14 for number in numbers for _ in range(2)]
    point = one_pass(epcs(numbers, 4), wanted, [-60.0] * 32, policy)
    result = choose(point, Options(unseen=False))
    assert (result.status, result.loss) == ("optimal", loss)
    assert (
        all(mask.negate for mask in result.strategy.masks) and len(result.strategy.masks) == slots
    )
