"""Masks that were not taken are counted, not kept, and no mask is sought far into a long bank."""

from __future__ import annotations

import random
import tracemalloc

import pytest

from strategist.answers.masks import list_masks
from strategist.report.lists import masks_text
from strategist.survey.policy import Policy, Reader
from strategist.survey.records import ReadPoint, Tag
from strategist.tags.candidates import find_candidates
from strategist.tags.fields import REACH_BITS
from strategist.tags.left_out import Tally
from strategist.trust.diagnosis import diagnose
from tests.optimise.made import survey_of

LONG = "longer than 96 bits (mask_bits_max)"


@pytest.mark.parametrize("step", [1, 3, 8])
@pytest.mark.parametrize("bits_max", [2, 8, 20])
@pytest.mark.parametrize("seed", range(5))
def test_prefixes_are_counted_as_a_set_of_them_would_count(
    step: int, bits_max: int, seed: int
) -> None:
    rng = random.Random(seed)
    tally = Tally(step, bits_max)
    listed: set[tuple[int, int]] = set()
    for _ in range(60):
        length = rng.randint(1, 40)
        value = rng.getrandbits(length) & rng.choice([-1, 0, 1 << length >> 1])
        tally.prefixes("long", "user", 0, value, length)
        for end in range(step, length + 1, step):
            if end > bits_max:
                listed.add((end, value >> (length - end)))
    assert sum(one.masks for one in tally.left_out()) == len(listed)


def test_what_comes_again_counts_once() -> None:
    tally = Tally(8, 96)
    for value in (1, 2, 1):
        tally.note("serial", ("tid", 32, 48), value)
    tally.once("plain", ("user", 0, 8), 7)
    assert [(one.reason, one.masks) for one in tally.left_out()] == [("plain", 1), ("serial", 2)]
    assert tally.left_out()[0].examples == ("USER bank, pointer 0, length 8: 07 hex",)


def test_of_long_prefixes_the_shortest_that_is_too_long_is_shown() -> None:
    """Bytes, and masks of up to 16 bits: the first that is left out has 24."""
    tally = Tally(8, 16)
    tally.prefixes("long", "user", 0, 0xABCDEF12, 32)
    (one,) = tally.left_out()
    assert (one.masks, one.examples) == (2, ("USER bank, pointer 0, length 24: ABCDEF hex",))


def with_memory(size: int, tags: int) -> list[Tag]:
    """Tags with `size` bytes of random user memory."""
    rng = random.Random(1)
    return [Tag(f"{n:024X}", None, rng.randbytes(size).hex().upper()) for n in range(tags)]


@pytest.mark.parametrize("step", [1, 8])
def test_kilobytes_of_user_memory_take_no_gigabytes(step: int) -> None:
    """Some 0.3 GB for 10 tags with whole bytes, and over 1 GB with single bits, when each mask left
    out was kept."""
    tags = with_memory(8192, 10)
    tracemalloc.start()
    found = find_candidates(tags, Reader(mask_step_bits=step))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 20e6
    counts = {one.reason: one.masks for one in found.left_out}
    ends = range(step, REACH_BITS + 1, step)
    users = [int(tag.user or "", 16) >> (8 * 8192 - REACH_BITS) for tag in tags]
    of_users = {(end, user >> (REACH_BITS - end)) for user in users for end in ends if end > 96}
    assert counts[LONG] == len(of_users)
    assert all(mask.pointer + mask.length <= REACH_BITS for mask in found.masks)


def test_a_bank_that_is_longer_is_said() -> None:
    """In the list of masks, and as a finding of `check` and `solve`."""
    long, short = with_memory(129, 1)[0], Tag("AB", user="00" * 128)
    survey = survey_of(
        [20.0], [[(long.epc, True, [-50.0]), ("AB", False, [-50.0])]], {long.epc: long, "AB": short}
    )
    point = ReadPoint(survey, Policy())
    said = (
        "1 of 2 tags have more than 1,024 bits of user memory (up to 1,032): masks are sought in "
        "the first 1,024 bits only."
    )
    assert said in list_masks(point).warnings
    assert said in " ".join(masks_text(list_masks(point)).split())
    assert said in [finding.text for finding in diagnose(point) if finding.kind == "data_beyond"]


def test_what_was_left_out_is_listed_with_examples() -> None:
    document = list_masks(
        ReadPoint(
            survey_of([20.0], [[("AB01", True, [-50.0]), ("CD02", False, [-50.0])]]), Policy()
        )
    ).to_json()
    (one,) = document["left_out"]
    assert one["reason"] == "plain value seen on one tag alone" and one["masks"] == 6
    assert one["examples"][0] == "EPC bank, pointer 32, length 8: AB hex"
    assert len(one["examples"]) == 3
