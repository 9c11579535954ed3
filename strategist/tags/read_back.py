"""What written settings say, read back from their bits: the mask chain, and an LLRP power index.

Written apart from `gen2` and `llrp`, which write them: `export` replays what comes back from here.
Sources as there.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from strategist.tags.mask import Bank, Mask

Join = Literal["and", "or"]
_BANKS: dict[int, Bank] = {1: "epc", 2: "tid", 3: "user"}

# What an action that comes first, or later, makes of the chain so far: (join, negate).
_FIRST: dict[int, bool] = {0: False, 4: True}  # the same numbers in both standards
_SELECT: dict[int, tuple[Join, bool]] = {
    1: ("or", False),  # set SL where it matches
    2: ("and", False),  # clear SL where it does not
    5: ("and", True),  # clear SL where it matches
    6: ("or", True),  # set SL where it does not
}
_FILTER: dict[int, tuple[Join, bool]] = {
    1: ("or", False),  # select matching
    2: ("and", False),  # unselect others
    3: ("and", True),  # unselect matching
    5: ("or", True),  # select others
}


def chain_of_frames(frames: Sequence[str]) -> tuple[Mask, ...]:
    """The mask chain of Select frames (bits), which must act on SL in the ways we write.

    Raises KeyError on an action or a bank that we do not write.
    """
    chain = []
    for number, frame in enumerate(frames):
        action, bank = int(frame[7:10], 2), int(frame[10:12], 2)
        pointer, at = 0, 12
        while True:  # an extensible bit vector: blocks of a flag and seven bits
            block, at = frame[at : at + 8], at + 8
            pointer = pointer * 128 + int(block[1:], 2)
            if block[0] == "0":
                break
        length = int(frame[at : at + 8], 2)
        bits = frame[at + 8 : at + 8 + length]
        mask = Mask.of_value(_BANKS[bank], pointer, length, int(bits, 2))
        join, negate = _SELECT[action] if number else (None, _FIRST[action])
        chain.append(replace(mask, negate=negate, join=join))
    return tuple(chain)


@dataclass(frozen=True)
class Inventory:
    """What an AISpec says, or several in a row, one for each turn: the power index of each antenna
    that they list, the masks (None: they differ by antenna), and how long each lasts (None: until
    the ROSpec ends)."""

    power_index: tuple[tuple[int, int], ...]
    chain: tuple[Mask, ...] | None
    seconds: float | None


def of_ai_specs(coded: str) -> Inventory:
    """The inventory of an AISpec, or of several in a row that last as long, given as hex. Raises
    KeyError where an antenna that one lists has no configuration, ValueError where some last
    longer than others."""
    turns = [_of_turn(body) for _, body in _parameters(bytes.fromhex(coded))]
    (seconds,) = {turn.seconds for turn in turns}
    chains = {turn.chain for turn in turns}
    power_index = tuple(pair for turn in turns for pair in turn.power_index)
    return Inventory(power_index, chains.pop() if len(chains) == 1 else None, seconds)


def _of_turn(body: bytes) -> Inventory:
    (count,) = struct.unpack(">H", body[:2])
    listed = struct.unpack(f">{count}H", body[2 : 2 + 2 * count])
    inside = dict(_parameters(body[2 + 2 * count :]))
    kind, milliseconds = struct.unpack(">BI", inside[184][:5])
    indices, chains = {}, {}
    for _, configuration in _parameters(inside[186][3:]):
        (antenna,) = struct.unpack(">H", configuration[:2])
        parts = dict(_parameters(configuration[2:]))
        indices[antenna] = struct.unpack(">HHH", parts[224])[2]
        chains[antenna] = _chain_of(parts[330])
    same = {chains[antenna] for antenna in listed}
    return Inventory(
        tuple((antenna, indices[antenna]) for antenna in listed),
        same.pop() if len(same) == 1 else None,
        milliseconds / 1000 if kind == 1 else None,
    )


def of_llrp_step(coded: Mapping[str, str]) -> tuple[int, tuple[Mask, ...]]:
    """The power index and the mask chain of a step's two parameters, given as hex by name."""
    (_, transmitter), *_ = _parameters(bytes.fromhex(coded["RFTransmitter"]))
    (_, inventory), *_ = _parameters(bytes.fromhex(coded["C1G2InventoryCommand"]))
    return struct.unpack(">HHH", transmitter)[2], _chain_of(inventory)


def _chain_of(inventory: bytes) -> tuple[Mask, ...]:
    """The mask chain of the body of a C1G2InventoryCommand."""
    filters = [body for kind, body in _parameters(inventory[1:]) if kind == 331]
    chain = []
    for number, body in enumerate(filters):
        inside = dict(_parameters(body[1:]))
        bank, pointer, length = struct.unpack(">BHH", inside[332][:5])
        value = int.from_bytes(inside[332][5:]) >> (-length % 8)
        mask = Mask.of_value(_BANKS[bank >> 6], pointer, length, value)
        action = inside[334][0]
        join, negate = _FILTER[action] if number else (None, _FIRST[action])
        chain.append(replace(mask, negate=negate, join=join))
    return tuple(chain)


def _parameters(data: bytes) -> Iterator[tuple[int, bytes]]:
    """(type, body) of the TLV parameters in a row."""
    while data:
        kind, size = struct.unpack(">HH", data[:4])
        yield kind, data[4:size]
        data = data[size:]
