"""An invented linen service for hospitals: its tags, and the five read points it surveys.

This is the truth about the site, and nothing here is random: `cases.generate` draws surveys of it.
Company prefixes are those that GS1 keeps for examples (952…); the tag maker does not exist.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from cases.physics import Field, Mirror, Stand, TagType

OWN, SUPPLIER = 9521141, 9524321  # company prefixes of seven digits (partition 5: 24 bits)
MAKER = 0x1F0  # 9-bit maker number in the TID, invented

TEXTILE = TagType("textile", 0x1A2, sensitivity_dbm=-16.0, answer_loss_db=5.0)
MOULDED = TagType("moulded", 0x0C7, sensitivity_dbm=-11.5, answer_loss_db=11.0)


@dataclass(frozen=True)
class Kind:
    """What a tag is fixed to. EPC schemes of 96 bits (GS1 TDS 14.6): header, filter, partition 5,
    company, then `reference` in `reference_bits` and a serial in the rest."""

    header: int
    reference: int
    reference_bits: int
    filter: int = 0
    company: int = OWN
    moulded_share: float = 0.0

    def epc(self, serial: int) -> str:
        """The EPC in hex."""
        head = (((self.header << 3) | self.filter) << 3 | 5) << 24 | self.company
        serial_bits = 58 - self.reference_bits
        return f"{((head << self.reference_bits | self.reference) << serial_bits) | serial:024X}"


def _grai(asset_type: int, moulded_share: float = 0.0) -> Kind:
    return Kind(0x33, asset_type, 20, moulded_share=moulded_share)


def _uniform(item: int, moulded_share: float) -> Kind:
    return Kind(0x30, item, 20, filter=1, moulded_share=moulded_share)


# Asset types are numbered in families: 11… bags, 20… and 21… bed linen and towels, 23… gowns.
KINDS = {
    "bag": _grai(11200, 0.2),
    "sheet": _grai(20810, 0.2),
    "cover": _grai(21010, 0.2),
    "towel": _grai(21600, 0.2),
    "gown": _grai(23010, 0.15),
    "tunic": _uniform(31200, 0.0),
    "trousers": _uniform(31400, 0.0),
    "worn tunic": _uniform(31200, 0.9),
    "worn trousers": _uniform(31400, 0.9),
    "cart": Kind(0x34, 0, 0, moulded_share=1.0),  # GIAI: no class, the serial alone
    "shelf": Kind(0x32, 40210, 17),  # SGLN: one location, an extension for each shelf
    "parcel": Kind(0x30, 2050, 20, filter=1, company=SUPPLIER),
}

# The antennas and cables of `cases.physics.Field`, and a reader in a country of the lower band.
RADIO = {
    "region": "etsi-865-868",
    "antenna_gain_dbi": 6.0,
    "polarisation": "circular",
    "cable_loss_db": 1.5,
}
LINK = "miller4-256"

Span = tuple[float, float]
Box = tuple[Span, Span, Span]


@dataclass(frozen=True)
class Group:
    """Tags that come to a read point together: how many, of what kinds, where, behind what.

    `load_db` is the range of loss that the whole group shares in a pass (wet linen, a wall, a
    body), `tag_db` the further loss of each tag. `next_of` names a group whose tags of the pass
    before are this group's turn now. Tags of a `fixed` group never change and never move.
    """

    name: str
    kinds: tuple[str, ...]
    count: tuple[int, int]
    box: Box
    wanted: bool = False
    load_db: Span = (0.0, 0.0)
    tag_db: Span = (0.0, 3.0)
    next_of: str | None = None
    fixed: bool = False
    listed: bool = True


@dataclass(frozen=True)
class Place:
    """A read point: its radio field, who comes by, and what the planner decided about it.

    `stands` are its antennas, numbered from 1, which take turns of `turn_s` at each level; none:
    one antenna, at the origin.
    """

    radio: Field
    groups: tuple[Group, ...]
    levels_dbm: range
    passes: int
    with_tid: bool = False
    policy: dict[str, Any] = field(default_factory=dict)
    stands: tuple[Stand, ...] = ()
    turn_s: float = 0.2


CHUTE = Place(
    radio=Field((Mirror(2, -1.1, 0.5), Mirror(1, 2.2, 0.85), Mirror(0, 4.6, 0.6))),
    groups=(
        Group(
            "bag",
            ("bag",),
            (1, 1),
            ((0.45, 0.9), (-0.25, 0.25), (-0.3, 0.2)),
            wanted=True,
            load_db=(0.0, 10.0),
            next_of="waiting",
        ),
        Group(
            "in the bag",
            ("sheet", "towel", "gown"),
            (2, 3),
            ((0.5, 1.0), (-0.25, 0.25), (-0.4, 0.2)),
            load_db=(2.0, 12.0),
        ),
        Group(
            "waiting",
            ("bag",),
            (2, 3),
            ((2.2, 4.2), (-1.4, 1.6), (-0.8, 0.0)),
            load_db=(1.0, 6.0),
            tag_db=(0.0, 6.0),
        ),
    ),
    levels_dbm=range(10, 31),
    passes=60,
    policy={
        "loss": {"missed": 5, "stray": 2},
        "stop_after": 1,
        "reader": {"ladder_steps_max": 4, "mask_slots": 2, "mask_step_bits": 8},
        "radio": {**RADIO, "distance_m": 0.7},
        "time": {"dwell_s": 3.0, "rf_mode": LINK},
    },
)

BELT = Place(
    radio=Field((Mirror(0, 0.95, 0.35), Mirror(1, -0.9, 0.7), Mirror(1, 1.9, 0.7))),
    groups=(
        Group(
            "piece",
            ("sheet", "cover", "towel"),
            (1, 1),
            ((0.5, 0.8), (-0.15, 0.15), (-0.2, 0.2)),
            wanted=True,
            load_db=(0.0, 6.0),
            next_of="upstream",
        ),
        Group(
            "upstream",
            ("sheet", "cover", "towel"),
            (1, 1),
            ((0.5, 0.8), (-0.15, 0.15), (0.8, 1.1)),
            load_db=(0.0, 6.0),
        ),
        Group(
            "neighbour lane",
            ("sheet", "cover", "towel"),
            (2, 3),
            ((0.5, 0.8), (0.75, 1.05), (-0.5, 0.5)),
            load_db=(0.0, 6.0),
        ),
        Group("cart", ("cart",), (0, 2), ((0.4, 0.8), (-0.8, -0.5), (-0.6, 0.6))),
    ),
    levels_dbm=range(10, 31),
    passes=60,
    policy={
        "loss": {"missed": 3, "stray": 2},
        "stop_after": 1,
        "reader": {"ladder_steps_max": 4, "mask_slots": 2, "mask_step_bits": 8},
        "radio": {**RADIO, "distance_m": 0.65},
        "time": {"dwell_s": 0.8, "rf_mode": LINK},
    },
)

GATE = Place(
    radio=Field(
        (Mirror(2, -1.2, 0.5), Mirror(0, 2.2, 0.5), Mirror(1, 1.8, 0.6)), slip=0.02, crowd=0.001
    ),
    groups=(
        Group(
            "clean cart",
            ("sheet", "cover", "towel"),
            (15, 24),
            ((0.5, 1.2), (-0.45, 0.45), (-0.6, 0.5)),
            wanted=True,
            load_db=(0.0, 2.0),
            tag_db=(0.0, 2.0),
        ),
        Group("cart", ("cart",), (1, 1), ((0.5, 1.3), (-0.5, 0.5), (-0.9, -0.8))),
        Group(
            "staff",
            ("worn tunic", "worn trousers"),
            (2, 4),
            ((0.8, 1.8), (-0.8, 0.8), (-0.4, 0.4)),
            load_db=(0.0, 4.0),
        ),
        Group(
            "soiled, other",
            ("gown", "bag"),
            (3, 5),
            ((2.6, 4.0), (-1.5, 1.5), (-0.8, 0.4)),
            load_db=(2.0, 6.0),
        ),
        Group(
            "soiled, same",
            ("sheet", "towel"),
            (3, 6),
            ((2.6, 4.0), (-1.5, 1.5), (-0.8, 0.4)),
            load_db=(4.0, 8.0),
            tag_db=(0.0, 6.0),
        ),
    ),
    levels_dbm=range(16, 31),
    passes=40,
    policy={
        "loss": {"missed": 2, "stray": 1},
        "stop_after": 20,
        "reader": {"ladder_steps_max": 3, "mask_slots": 3, "mask_step_bits": 8},
        "radio": {**RADIO, "distance_m": 0.9},
        "time": {"dwell_s": 2.5, "rf_mode": LINK},
    },
)

CABINET = Place(
    radio=Field((Mirror(2, -0.9, 0.5), Mirror(1, -0.4, 0.8), Mirror(0, 2.6, 0.6))),
    groups=(
        Group(
            "in stock",
            ("tunic", "trousers"),
            (2, 4),
            ((0.25, 0.6), (-0.3, 0.4), (-0.6, 0.6)),
            wanted=True,
            load_db=(0.0, 5.0),
        ),
        Group(
            "shelf labels", ("shelf",), (3, 3), ((0.6, 0.65), (-0.3, 0.4), (-0.6, 0.6)), fixed=True
        ),
        Group(
            "staff",
            ("worn tunic", "worn trousers"),
            (1, 3),
            ((0.9, 2.2), (-0.3, 1.6), (-0.4, 0.5)),
            load_db=(0.0, 5.0),
        ),
        Group(
            "patients",
            ("gown",),
            (0, 2),
            ((0.9, 2.2), (-0.3, 1.6), (-0.4, 0.3)),
            load_db=(0.0, 5.0),
        ),
        Group(
            "passing parcel",
            ("parcel",),
            (0, 1),
            ((1.2, 2.2), (0.2, 1.6), (-0.5, 0.2)),
            load_db=(4.0, 9.0),
            listed=False,
        ),
    ),
    levels_dbm=range(10, 29),
    passes=50,
    with_tid=True,
    policy={
        "loss": {"missed": 5, "stray": 1},
        "stop_after": 4,
        "reader": {"ladder_steps_max": 3, "mask_slots": 3, "mask_step_bits": 8},
        "radio": {**RADIO, "distance_m": 0.45},
        "time": {"rf_mode": LINK},
    },
)

# Carts are pushed along x through a portal, between antennas 1 and 2 at its sides and under antenna
# 3. Beyond antenna 2, whose back is to it, carts wait in a lane, which antenna 4 looks at.
PORTAL = Place(
    radio=Field(
        (Mirror(2, -1.1, 0.5), Mirror(1, 3.0, 0.6), Mirror(1, -1.6, 0.5)), slip=0.02, crowd=0.002
    ),
    stands=(
        Stand((0.0, -0.8, 0.1), (0.0, 1.0, 0.0)),
        Stand((0.0, 0.8, 0.1), (0.0, -1.0, 0.0)),
        Stand((0.0, 0.0, 1.3), (0.0, 0.0, -1.0)),
        Stand((0.3, 0.9, 0.3), (0.0, 1.0, 0.0)),
    ),
    groups=(
        Group(
            "cart in the portal",
            ("sheet", "cover", "towel"),
            (3, 5),
            ((-0.5, 0.5), (-0.35, 0.35), (-0.7, 0.5)),
            wanted=True,
            load_db=(0.0, 4.0),
            tag_db=(0.0, 6.0),
            next_of="waiting",
        ),
        Group(
            "waiting",
            ("sheet", "cover", "towel"),
            (3, 5),
            ((-0.7, 0.7), (1.3, 2.1), (-0.7, 0.5)),
            load_db=(0.0, 4.0),
            tag_db=(0.0, 6.0),
        ),
        Group("cart", ("cart",), (1, 1), ((-0.5, 0.5), (-0.35, 0.35), (-0.9, -0.8))),
    ),
    levels_dbm=range(16, 31),
    passes=40,
    policy={
        "loss": {"missed": 3, "stray": 2},
        "stop_after": 4,
        "reader": {"ladder_steps_max": 2, "mask_slots": 1, "mask_step_bits": 8},
        "radio": dict(RADIO),
        "time": {"dwell_s": 3.0, "step_s": 0.8},
    },
)

PLACES = {
    "soiled-chute": CHUTE,
    "sorting-belt": BELT,
    "clean-gate": GATE,
    "shelf-cabinet": CABINET,
    "cart-portal": PORTAL,
}
