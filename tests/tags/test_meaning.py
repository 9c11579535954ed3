"""From how many tags on a plain value means something, and how many may show it by chance."""

from __future__ import annotations

from fractions import Fraction
from math import comb

import numpy as np
import pytest
from scipy import stats

from strategist.survey.policy import Reader
from strategist.survey.records import Tag
from strategist.tags.candidates import Candidates, find_candidates
from strategist.tags.meaning import Runs, _beyond_chance
from tests.tags.uris import encode

VARIED = "unstructured bits that vary like a serial number (serial_masks is false)"

BY_CHANCE = "value that other tags show by chance, as in a serial number"


def found(tags: list[Tag], step: int = 8) -> Candidates:
    return find_candidates(tags, Reader(mask_step_bits=step))


def patterns(tags: list[Tag], pointer: int, length: int, step: int = 8) -> set[str]:
    return {
        mask.pattern
        for mask in found(tags, step).masks
        if (mask.bank, mask.pointer, mask.length) == ("user", pointer, length)
    }


def reasons(tags: list[Tag], step: int = 8) -> dict[str, int]:
    return {one.reason: one.masks for one in found(tags, step).left_out}


def with_bytes(values: list[int]) -> list[Tag]:
    """Tags with a byte of user memory each, and EPCs that say nothing."""
    return [Tag(f"{n:02X}", user=f"{value:02X}") for n, value in enumerate(values)]


def least_beyond_chance(tags: int) -> int:
    """The fewest of some tags on which the commonest of 256 byte values is seen with a probability
    below 0.1 %: a binomial tail for each value, added up."""
    for count in range(1, tags + 1):
        tail = sum(
            comb(tags, k) * Fraction(1, 256) ** k * Fraction(255, 256) ** (tags - k)
            for k in range(count, tags + 1)
        )
        if 256 * tail < Fraction(1, 1000):
            return count
    raise AssertionError(tags)


LEAST = [(4, 3), (8, 3), (20, 4), (40, 5), (100, 6), (250, 9)]


@pytest.mark.parametrize(("tags", "least"), LEAST)
def test_a_byte_means_something_where_it_repeats_beyond_chance(tags: int, least: int) -> None:
    """On one tag fewer it is as good as random. For 40 tags: 5.4 in 1000 for four of them, 0.13 in
    1000 for five."""
    assert least == least_beyond_chance(tags)
    others = list(range(1, tags))
    enough = [0] * least + others[: tags - least]
    assert patterns(with_bytes(enough), 0, 8) == {"00"}
    fewer = [0] * (least - 1) + others[: tags - least + 1]
    assert patterns(with_bytes(fewer), 0, 8) == set()
    if least > 3:
        assert reasons(with_bytes(fewer))[VARIED] == 1


def test_a_byte_is_weighed_among_tags_alike_before_it() -> None:
    """Twenty tags of kind 01 and four of kind 02: three of 07 mean something among the four, and
    not among the twenty."""
    kinds = [(1, 16 + n) for n in range(20)] + [(2, 7)] * 3 + [(2, 8)]
    tags = [Tag(f"{n:02X}", user=f"{a:02X}{b:02X}") for n, (a, b) in enumerate(kinds)]
    assert patterns(tags, 0, 16) == {"0207"}
    kinds = [(1, 16 + n) for n in range(17)] + [(1, 7)] * 3 + [(2, 8)] * 4
    tags = [Tag(f"{n:02X}", user=f"{a:02X}{b:02X}") for n, (a, b) in enumerate(kinds)]
    assert patterns(tags, 0, 16) == set()


@pytest.mark.parametrize(("alike", "kept"), [(9, True), (8, False)])
def test_one_in_ten_may_show_a_plain_value_by_chance(alike: int, kept: bool) -> None:
    """Nibbles are judged by their whole byte: nine of A1 and one of A2 have nibble A."""
    tags = with_bytes([0xA2] + [0xA1] * alike + [0x10 + n for n in range(6)])
    assert ("A0" in patterns(tags, 0, 4, step=4)) is kept
    assert BY_CHANCE not in reasons(tags, 4)  # none of these tags has a serial number


@pytest.mark.parametrize(("alike", "kept"), [(9, True), (8, False)])
def test_one_in_ten_may_show_it_in_a_serial_number(alike: int, kept: bool) -> None:
    """Plain EPCs with 2F in byte 9, and a returnable asset whose reference holds 2F there."""
    rack = Tag(encode(f"urn:epc:tag:giai-96:0.9521141.{0x2F0102}"))
    tools = [Tag(encode(f"urn:epc:tag:giai-96:0.9521141.{0x100000 + 0x10001 * n}")) for n in (1, 2)]
    assert int(rack.epc[18:20], 16) == 0x2F  # bits 104 to 111
    plain = [Tag(f"AB00000000000000002F{n:04X}") for n in range(alike)]
    masks = found([*tools, rack, *plain]).masks
    apart = [m for m in masks if m.matches(rack) != m.matches(tools[0])]
    assert [(m.pointer, m.length, m.pattern) for m in apart] == [(104, 8, "2F")] * kept


def test_a_run_holds_a_window_to_its_last_bit() -> None:
    runs = Runs()
    runs.tags["user", 8, 24] = 0b01
    runs.tags["user", 0, 16] = 0b10
    runs.tags["tid", 0, 96] = 0b100
    assert runs.over("user", 8, 16) == 0b11
    assert (runs.over("user", 7, 16), runs.over("user", 8, 17)) == (0b10, 0b01)
    assert (runs.over("user", 8, 24), runs.over("user", 8, 25)) == (0b01, 0)
    assert (runs.over("user", 0, 16), runs.over("tid", 0, 16)) == (0b10, 0b100)


@pytest.mark.parametrize("tags", [3, 40, 256, 1000, 20_000, 300_000])
def test_a_count_beyond_chance_is_one_by_the_binomial_law_of_scipy(tags: int) -> None:
    middle = tags // 256
    for count in (3, *range(max(3, middle - 5), min(tags, middle + 200) + 1)):
        tail = stats.binom.sf(count - 1, tags, 1 / 256)
        assert _beyond_chance(count, tags) == (256 * tail < 0.001)


def test_the_least_count_beyond_chance_is_that_by_scipy_for_any_number_of_tags() -> None:
    tags = np.arange(3, 3001)
    least = np.empty(len(tags), np.int64)
    count = 1
    for place, many in enumerate(tags.tolist()):  # it never falls with the number of tags
        while not _beyond_chance(count, many):
            count += 1
        least[place] = count
    assert np.all(256 * stats.binom.sf(least - 1, tags, 1 / 256) < 0.001)
    assert np.all(256 * stats.binom.sf(least - 2, tags, 1 / 256) >= 0.001)
