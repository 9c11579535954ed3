"""Gen2 frames, checksums and Select rules against published values.

Sources: GS1 EPC Gen2 (ISO/IEC 18000-63), GS1 TDS 2.3 (memory banks, EBV), the catalogue of CRC
algorithms, and the test suite of A. Larionov's thesis models (frames). The layout of the Select
frame and the rules of truncation are from memory.
"""

from __future__ import annotations

import binascii
import itertools
from collections.abc import Callable

import pytest

from strategist.survey.records import Tag
from strategist.tags.gen2 import (
    ACTIONS,
    BANK_BITS,
    Select,
    commands_for,
    crc16,
    ebv,
    truncation,
)
from strategist.tags.mask import Mask
from tests.tags.heard import replay

RESIDUE = 0x1D0F  # of the CRC-16 register over bits that end in their CRC (Annex F)


def bits_of(data: bytes) -> str:
    return "".join(f"{byte:08b}" for byte in data)


def test_memory_banks() -> None:
    """TDS 2.3, appendix B: 00 reserved, 01 EPC, 10 TID, 11 user."""
    assert BANK_BITS == {"epc": 0b01, "tid": 0b10, "user": 0b11}


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        (b"123456789", 0xD64E),  # catalogue check value of CRC-16/GENIBUS
        (bytes.fromhex("3000E2004216CB60601500951ED6"), 0xB91F),  # a published tag reply
        (bytes.fromhex("30003074257BF7194E4000001A85"), 0xAAF9),  # computed from the formula
    ],
)
def test_crc16(data: bytes, crc: int) -> None:
    bits = bits_of(data)
    assert crc16(bits) == crc
    assert crc16(bits) == binascii.crc_hqx(data, 0xFFFF) ^ 0xFFFF
    assert crc16(bits + f"{crc:016b}") ^ 0xFFFF == RESIDUE


@pytest.mark.parametrize(
    ("value", "blocks"),
    [(0, "00"), (127, "7F"), (128, "8100"), (16383, "FF7F"), (16384, "818000")],
)
def test_ebv(value: int, blocks: str) -> None:
    """TDS 2.3, appendix D; Larionov's tests."""
    assert ebv(value) == bits_of(bytes.fromhex(blocks))


@pytest.mark.parametrize("pointer", [0, 32, 127])
@pytest.mark.parametrize("length", [0, 1, 8, 58, 96, 255])
def test_select_frame_is_45_bits_and_its_mask(pointer: int, length: int) -> None:
    """Layout from memory: 45 + L bits with a pointer below 128; the CRC's residue closes it."""
    frame = Select(0, "epc", pointer, "1" * length).frame()
    assert len(frame) == 45 + length
    assert crc16(frame) ^ 0xFFFF == RESIDUE


def test_select_frame_field_by_field() -> None:
    """Layout from memory: 1010, target, action, bank, pointer, length, mask, truncate."""
    frame = Select(2, "tid", 200, "10110").frame()
    assert frame[:-16] == "".join(
        ["1010", "100", "010", "10", "1000000101001000", "00000101", "10110", "0"]
    )


def test_select_actions() -> None:
    """Gen2 v2.0.1, Table 6-30."""
    assert ACTIONS == (
        ("set", "clear"),
        ("set", "leave"),
        ("leave", "clear"),
        ("turn", "leave"),
        ("clear", "set"),
        ("clear", "leave"),
        ("leave", "set"),
        ("leave", "turn"),
    )


A, B, C = (Mask("epc", 32 + at, 1, "80") for at in range(3))
TAGS = [Tag(f"{value << 5:02X}00") for value in range(8)]  # bits 32, 33, 34 hold A, B, C
Rule = Callable[[bool, bool, bool], bool]


def _mask(mask: Mask, join: str | None, negate: bool) -> Mask:
    return Mask(mask.bank, mask.pointer, mask.length, mask.pattern, negate, join)  # type: ignore[arg-type]


CHAINS: list[tuple[list[Mask], list[int], Rule]] = [
    ([A], [0], lambda a, b, c: a),
    ([_mask(A, None, True)], [4], lambda a, b, c: not a),
    ([A, _mask(B, "or", False)], [0, 1], lambda a, b, c: a or b),
    ([A, _mask(B, "and", False)], [0, 2], lambda a, b, c: a and b),
    ([A, _mask(B, "and", True)], [0, 5], lambda a, b, c: a and not b),
    ([A, _mask(B, "or", True)], [0, 6], lambda a, b, c: a or not b),
    (
        [A, _mask(B, "or", False), _mask(C, "and", False)],
        [0, 1, 2],
        lambda a, b, c: (a or b) and c,
    ),
    (
        [A, _mask(B, "and", False), _mask(C, "or", False)],
        [0, 2, 1],
        lambda a, b, c: (a and b) or c,
    ),
    (
        [A, _mask(B, "or", False), _mask(C, "and", True)],
        [0, 1, 5],
        lambda a, b, c: (a or b) and not c,
    ),
    ([_mask(A, None, True), _mask(B, "and", True)], [4, 5], lambda a, b, c: not (a or b)),
]


@pytest.mark.parametrize(("chain", "actions", "rule"), CHAINS)
def test_combination_rules(chain: list[Mask], actions: list[int], rule: Rule) -> None:
    """Worked by exhaustive simulation from both starting flags (computed, no document)."""
    commands = commands_for(chain)
    assert [command.action for command in commands] == actions
    for tag, before in itertools.product(TAGS, (False, True)):
        value = int(tag.epc[:2], 16) >> 5
        a, b, c = bool(value & 4), bool(value & 2), bool(value & 1)
        assert replay(commands, tag, before) == rule(a, b, c)


@pytest.mark.parametrize("action", [1, 2, 3, 5, 6, 7])
def test_any_other_first_action_lets_the_stale_flag_through(action: int) -> None:
    command = (Select(action, "epc", 32, "1"),)
    assert any(replay(command, tag, False) != replay(command, tag, True) for tag in TAGS)


@pytest.mark.parametrize(("masks", "reachable"), [(2, 12), (3, 94)])
def test_reachable_functions(masks: int, reachable: int) -> None:
    """12 of 16 functions of two masks, 94 of 256 of three, each mask once, in any order (computed).

    With the actions of `commands_for`, which state-unaware LLRP filters share: exclusive or is out
    of reach. Gen2's own actions 3 and 7 would turn the flag and reach it.
    """
    found = set()
    for count in range(1, masks + 1):
        for order in itertools.permutations(range(masks), count):
            for actions in itertools.product((0, 4), *[(1, 2, 5, 6)] * (count - 1)):
                found.add(_truth(order, actions, masks))
    assert len(found) == reachable
    if masks == 2:
        exclusive = _truth((0, 1), (0, 3), masks)
        assert exclusive == (False, True, True, False)
        assert exclusive not in found


def _truth(order: tuple[int, ...], actions: tuple[int, ...], masks: int) -> tuple[bool, ...]:
    chosen = zip(order, actions, strict=True)
    commands = [Select(action, "epc", 32 + at, "1") for at, action in chosen]
    return tuple(replay(commands, tag, True) for tag in TAGS[:: 2 ** (3 - masks)])


def test_truncation_from_memory() -> None:
    """From memory: last Select, on SL, on the EPC bank, mask ending inside the EPC."""
    assert truncation([A], 96).permitted
    assert not truncation([Mask("tid", 0, 8, "E2")], 96).permitted
    assert not truncation([Mask("epc", 120, 16, "0000")], 96).permitted
