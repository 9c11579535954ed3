"""Candidate masks: which fields, pieces and prefixes become one, and why others do not."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from strategist.survey.policy import Reader
from strategist.survey.records import Tag
from strategist.tags.candidates import Candidates, find_candidates, no_candidates, tag_fields
from tests.tags.uris import encode

BAG, SHEET, TUNIC = (
    "grai-96:0.9521141.11200",
    "grai-96:0.9521141.20810",
    "sgtin-96:1.9521141.031200",
)
PARCEL = "sgtin-96:1.9524321.002050"
SERIAL = "serial or unstructured part (serial_masks is false)"


def epc(what: str, serial: int) -> str:
    return encode(f"urn:epc:tag:{what}.{serial}")


def tags_of(*kinds: str, each: int = 3, seed: int = 1) -> list[Tag]:
    """Tags of some kinds with random serials of 32 bits."""
    rng = random.Random(seed)
    return [Tag(epc(kind, rng.getrandbits(32))) for kind in kinds for _ in range(each)]


def found(tags: Sequence[Tag], step: int = 8, bits: int = 96, serial: bool = False) -> Candidates:
    reader = Reader(mask_step_bits=step, mask_bits_max=bits)
    return find_candidates(tags, reader, serial_masks=serial)


def selections(candidates: Candidates) -> list[frozenset[int]]:
    """The tags that each candidate selects, by `matches` and `tag_class`."""
    classes = candidates.tag_class.tolist()
    return [
        frozenset(tag for tag, of in enumerate(classes) if row[of]) for row in candidates.matches
    ]


def by_window(candidates: Candidates) -> dict[tuple[str, int, int, str], str]:
    """Words by bank, pointer, length and pattern."""
    masks = zip(candidates.masks, candidates.words, strict=True)
    return {(m.bank, m.pointer, m.length, m.pattern): words for m, words in masks}


def reasons(candidates: Candidates) -> dict[str, int]:
    return {one.reason: one.masks for one in candidates.left_out}


MIXED = [
    *tags_of(BAG, SHEET, TUNIC, PARCEL),
    Tag("AB01", tid="E29F0345", user="00FF"),
    Tag("AB02", tid="E29F0346"),
]


@pytest.mark.parametrize("step", [1, 4, 8, 16])
@pytest.mark.parametrize("bits", [8, 24, 96])
@pytest.mark.parametrize("serial", [False, True])
def test_every_candidate_is_what_it_says(step: int, bits: int, serial: bool) -> None:
    """Aligned, short enough, selecting what `matches` says, and no two selections alike."""
    candidates = found(MIXED, step, bits, serial)
    seen: set[frozenset[int]] = set()
    everything = frozenset(range(len(MIXED)))
    for mask, selected in zip(candidates.masks, selections(candidates), strict=True):
        start = 32 if mask.bank == "epc" else 0
        assert (mask.pointer - start) % step == 0 and mask.length % step == 0
        assert mask.length <= bits and not mask.negate and mask.join is None
        assert selected == {n for n, tag in enumerate(MIXED) if mask.matches(tag)}
        assert selected and selected != everything
        assert selected not in seen and everything - selected not in seen
        seen.add(selected)
    assert len(candidates.words) == len(candidates.masks) <= candidates.listed
    assert all(one.masks > 0 for one in candidates.left_out)


def test_a_finer_step_never_tells_less_apart() -> None:
    """What masks of whole bytes select, masks of nibbles and bits select too."""
    coarse: set[frozenset[int]] = set()
    everything = frozenset(range(len(MIXED)))
    for step in (16, 8, 4, 1):
        finer = set(selections(found(MIXED, step)))
        assert all(s in finer or everything - s in finer for s in coarse), step
        coarse = finer


def test_whole_fields_with_a_step_of_one_bit() -> None:
    """Fields at their own bits, alone: header, filter, company, item reference (TDS 14.6)."""
    kinds = (BAG, SHEET, TUNIC, PARCEL, "sgtin-96:4.9524321.002051", "grai-96:1.9524321.11200")
    words = by_window(found(tags_of(*kinds), step=1))
    assert words["epc", 32, 8, "30"] == "scheme SGTIN-96"
    assert ("epc", 32, 8, "33") not in words  # GRAI-96 is the opposite here
    assert words["epc", 40, 3, "80"] == "filter 4 (inner pack)"
    assert words["epc", 40, 3, "20"] == "filter 1 (POS item); filter 1"  # two schemes
    assert set(words.values()) >= {"company 9521141", "item reference 031200", "asset type 20810"}


def test_neighbouring_fields_make_one_mask() -> None:
    """Item 7 under two companies: only company and item reference together tell one of them."""
    kinds = [
        f"sgtin-96:0.{company}.{item}" for company in (9521141, 9524321) for item in ("000007",)
    ]
    kinds += ["sgtin-96:0.9521141.000009", "sgtin-96:0.9524321.000009"]
    candidates = found(tags_of(*kinds), step=1)
    wanted = frozenset({0, 1, 2})
    words = dict(zip(selections(candidates), candidates.words, strict=True))
    assert words[wanted] == "item reference 000007 of company 9521141"
    mask = candidates.masks[selections(candidates).index(wanted)]
    assert (mask.pointer, mask.length) == (46, 44)


def test_a_field_that_is_not_aligned_gives_the_widest_piece_inside() -> None:
    """Asset type: bits 70 to 89. Whole bytes inside are 72–79 and 72–87; both are tried."""
    tags = tags_of(BAG, SHEET, "grai-96:0.9521141.21010")
    words = by_window(found(tags))
    assert words["epc", 72, 8, "0A"] == "part of asset type 11200"
    assert words["epc", 72, 16, "1452"] == "part of asset type 20810"
    assert all(pointer >= 72 and pointer + length <= 88 for _, pointer, length, _ in words)
    nibbles = by_window(found(tags, step=4))
    assert nibbles["epc", 72, 12, "1450"] == "part of asset type 20810"


def test_a_part_names_the_fields_that_share_it() -> None:
    """Asset types 20800 to 20830 share the byte 14 and no whole field."""
    kinds = [f"grai-96:0.9521141.{number}" for number in (20800, 20810, 20820, 20830)]
    words = by_window(found([*tags_of(*kinds), *tags_of(BAG, TUNIC)]))
    listed = "asset type 20800 and of asset type 20810 and of asset type 20820, … (4 in all)"
    assert words["epc", 72, 8, "14"] == f"part of {listed}"


def test_a_piece_may_hold_neighbours_of_a_narrow_field() -> None:
    """Filter and partition share a byte with two bits of the company: no step fits in them alone.

    With the same company the byte tells filters apart.
    """
    tags = [*tags_of("sgtin-96:1.9521141.000001"), *tags_of("sgtin-96:2.9521141.000001")]
    candidates = found(tags)
    (mask,) = candidates.masks
    assert (mask.bank, mask.pointer, mask.length) == ("epc", 40, 8)
    assert candidates.words == ("part of filter 1 (POS item), company 9521141",)
    assert reasons(candidates)["filter: no 8-bit-aligned mask lies within this field"] == 2
    assert reasons(candidates)["partition: no 8-bit-aligned mask lies within this field"] == 1


def test_a_mask_is_not_said_of_a_field_that_it_does_not_touch() -> None:
    """Mask designer and model from bit 16 on: the flags at bits 8 to 10 are not in it."""
    tids = ("E29F0345", "E21F0345", "E29F0346", "E29F0347")  # two with and without an XTID
    candidates = found([Tag("AB01", tid=tid) for tid in tids], step=16)
    words = dict(zip(selections(candidates), candidates.words, strict=True))
    assert words[frozenset({0, 1})] == "part of model 345h of mask designer 1F0h"


def test_all_three_banks_give_candidates() -> None:
    tags = [
        Tag(epc(BAG if n % 2 else SHEET, n), tid=f"E29F03{n // 2 % 2:02X}", user=f"0{n // 4}00")
        for n in range(8)
    ]
    assert {mask.bank for mask in found(tags).masks} == {"epc", "tid", "user"}


def test_the_longest_mask_is_said() -> None:
    tags = tags_of(BAG, SHEET, TUNIC)
    short = found(tags, step=8, bits=8)
    assert {mask.length for mask in short.masks} == {8}
    assert reasons(short)["longer than 8 bits (mask_bits_max)"] > 0
    assert found(tags, step=16, bits=8).masks == ()
    plain = [Tag(f"AB{n:04X}") for n in (1, 1, 2, 2)]
    assert reasons(found(plain, bits=16))["longer than 16 bits (mask_bits_max)"] == 2


def test_same_and_opposite_selections_are_merged() -> None:
    """Two kinds under one scheme: every mask selects one of them, so a single one stays.

    The most structural is kept, then the shortest: with bits, the whole asset type would be 20
    bits long, and a part of it, one bit, is less structural.
    """
    tags = tags_of(BAG, SHEET)
    candidates = found(tags, step=1)
    assert candidates.listed > 20
    (mask,) = candidates.masks
    assert candidates.words[0].startswith("asset type ")
    assert (mask.pointer, mask.length) == (70, 20)
    (part,) = found(tags).masks  # whole bytes hold a part only: the shortest
    assert (part.pointer, part.length) == (72, 8)


def test_what_is_left_out_is_counted_once_for_each_mask() -> None:
    """Three tags with three serials, each on a hundred records, are three serial parts.

    Pieces from bytes 4, 5, 6 and 9 of the EPC bank to byte 10: 7, 6, 5 and 2 of them.
    """
    tags = tags_of(BAG) * 100
    assert reasons(found(tags)) == {
        "filter: no 8-bit-aligned mask lies within this field": 1,
        "partition: no 8-bit-aligned mask lies within this field": 1,
        "selects every tag of the survey": 20,
        SERIAL: 3,
    }


def test_serial_parts_stay_out_unless_asked_for() -> None:
    tags = tags_of(BAG, each=40)
    for step in (1, 4, 8, 16):
        assert found(tags, step).masks == ()
        assert reasons(found(tags, step))[SERIAL] == 40
    asked = found(tags, serial=True)
    assert SERIAL not in reasons(asked)
    assert any(mask.pointer >= 90 for mask in asked.masks)
    assert reasons(asked)["plain value seen on one tag alone"] > 0
    assert all(len(selected) >= 2 for selected in selections(asked))


@pytest.mark.parametrize("step", [1, 4, 8])
def test_plain_data_as_varied_as_a_serial_stays_out(step: int) -> None:
    """Also bit by bit: a bit of a random byte takes both values and says nothing.

    Nor does the first part of a random number behind bits that all tags share.
    """
    rng = random.Random(3)
    tags = [Tag(f"AB{rng.getrandbits(88):022X}") for _ in range(60)]
    candidates = found(tags, step)
    assert candidates.masks == ()
    varied = "unstructured bits that vary like a serial number (serial_masks is false)"
    assert reasons(candidates)[varied] > 0
    assert len(found(tags, step, serial=True).masks) > len(candidates.masks)


def test_plain_data_with_few_values_gives_prefixes_and_single_steps() -> None:
    tags = [Tag(f"AB{kind:02X}{shift:02X}") for kind in (1, 2, 3) for shift in (7, 9) * 4]
    words = by_window(found(tags))
    assert words["epc", 40, 8, "01"] == "bits 40–47 01"
    assert words["epc", 48, 8, "07"] == "bits 48–55 07"
    assert words["epc", 32, 24, "AB0107"] == "bits 32–55 AB0107"
    bits = by_window(found(tags, step=1)).values()
    assert "bit 46 0" in bits or "bit 46 1" in bits  # kind 1 against 2 and 3


@pytest.mark.parametrize("step", [4, 8])
def test_masks_of_a_single_step_reach_behind_the_first(step: int) -> None:
    """Where a mask may be no longer than one step."""
    tags = [Tag("", user=f"AB{kind:02X}") for kind in (0x11, 0x22, 0x33) for _ in range(4)]
    words = by_window(found(tags, step=step, bits=step))
    assert {pointer for _, pointer, _, _ in words} == {8}
    assert {pattern for _, _, _, pattern in words} == (
        {"11", "22", "33"} if step == 8 else {"10", "20", "30"}
    )


@pytest.mark.parametrize("step", [4, 8])
def test_prefixes_of_plain_numbers_cover_their_ranges(step: int) -> None:
    """Numbers given out in a row, 0000 to 00FF and 0100 to 01FF: byte by byte, 00 and 01 repeat."""
    candidates = found([Tag(f"AB{n:04X}") for n in range(0x200)], step)
    first = frozenset(range(0x100))
    assert selections(candidates) in ([first], [frozenset(range(0x100, 0x200))])


def test_a_plain_value_on_fewer_than_three_tags_is_left_out() -> None:
    """Negated it would silence these tags, and tell nothing of others; serial masks may do so."""
    tags = [Tag("AB01"), Tag("AB02"), Tag("AB02")]
    candidates = found(tags)
    assert candidates.masks == ()
    assert reasons(candidates)["plain value seen on one tag alone"] == 2
    assert reasons(candidates)["plain value seen on two tags alone"] == 2
    (mask,) = found(tags, serial=True).masks
    assert mask.pattern in {"02", "AB02"}
    assert found([*tags, Tag("AB02")]).masks != ()


def test_plain_values_are_no_masks_on_the_serials_of_other_tags() -> None:
    """Plain tags with 2F in byte 9 and an asset reference that happens to hold 2F there."""
    tools = [Tag(epc("giai-96:0.9521141", 0x100000 + 0x10001 * n)) for n in range(40)]
    rack = Tag(epc("giai-96:0.9521141", 0x2F0102))
    plain = [Tag(f"AB00000000000000002F{n:04X}") for n in range(4)]
    assert int(rack.epc[18:20], 16) == 0x2F  # bits 104–111
    mixed = found([*tools, rack, *plain])
    assert not [mask for mask in mixed.masks if mask.pointer == 104]
    assert reasons(mixed)["value that other tags show by chance, as in a serial number"] > 0
    assert [mask.pattern for mask in found([*tools, *plain]).masks]  # the plain tags have masks


def test_a_value_that_stray_plain_tags_share_by_chance_is_left_out() -> None:
    """Constant bytes of 200 tags must not make the random ones of 60 others look repeated."""
    rng = random.Random(5)
    alike = [Tag(f"AB0011{n:04X}") for n in range(200)]
    random_ones = [Tag(f"AB{rng.getrandbits(16):04X}{n:04X}") for n in range(60)]
    candidates = found([*alike, *random_ones])
    at_byte = {m.pattern for m in candidates.masks if (m.pointer, m.length) == (40, 8)}
    assert at_byte <= {"00", "11"}


def test_no_mask_tells_only_what_was_recorded() -> None:
    """TIDs of one model, recorded for the wanted tags alone: a mask on them would part the roles
    in the survey and nothing in the field."""
    tags = [Tag(epc(BAG, n), tid="E29F0345" if n < 3 else None) for n in range(6)]
    candidates = found(tags)
    assert candidates.masks == ()
    assert reasons(candidates)["tells only whether the TID bank was recorded"] > 0
    two = [*tags, Tag(epc(BAG, 7), tid="E29F0346")]
    assert {mask.bank for mask in found(two).masks} == {"tid"}


def test_no_tags_and_no_fields_give_no_candidates() -> None:
    assert found([]).masks == no_candidates([]).masks == ()
    assert found([Tag("AB01")]).masks == ()
    assert tag_fields(Tag("AB01"), "tid") == tag_fields(Tag("AB01", user=""), "user") == ()
