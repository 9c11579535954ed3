"""Made read points with several antennas: geometry and radio in two dimensions. All invented.

Free-space loss at 867 MHz both ways; the antenna's gain falls off its axis by 12 (θ ÷ 65°)² dB and
by at most 18 dB (the parabola that is common in planning, from memory); shadowing by tag, antenna
and pass; turn-on power and backscatter loss by tag. A tag is read where it gets its turn-on power.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strategist.survey.policy import Loss, Policy, Reader
from strategist.survey.records import ReadPoint, Survey, Tag
from tests.surveyed import surveyed_policy

GAIN_DBI, BEAM_DEGREES, BACK_DB = 8.0, 65.0, 18.0
TURN_ON_DBM, BACKSCATTER_DB, WEAKEST_DBM = -16.0, -7.0, -82.0


@dataclass(frozen=True)
class Antenna:
    """Where it is (m) and where it looks (degrees, 0 along x, 90 along y)."""

    x: float
    y: float
    towards: float


@dataclass(frozen=True)
class Zone:
    """Where tags are: a rectangle in m, and how many of them in a pass."""

    x: tuple[float, float]
    y: tuple[float, float]
    tags: int


@dataclass(frozen=True)
class Portal:
    antennas: Sequence[Antenna]
    wanted: Sequence[Zone]
    stray: Sequence[Zone]
    levels: int = 8
    top_dbm: float = 30.0
    passes: int = 30
    shadow_db: float = 2.5
    fails: float = 0.02
    kinds: int = 1  # of tags; those of wanted and of stray tags overlap


def made(portal: Portal, seed: int, policy: Policy | None = None) -> ReadPoint:
    """The survey of a portal, antennas numbered from 1, each read with its antenna and its time."""
    rng = np.random.default_rng(seed)
    levels = portal.top_dbm - np.arange(portal.levels)[::-1]
    places, roles, pass_of, tags = [], [], [], []
    for number in range(portal.passes):
        for zones, role in ((portal.wanted, True), (portal.stray, False)):
            for place, zone in enumerate(zones):
                for n in range(zone.tags):
                    places.append((rng.uniform(*zone.x), rng.uniform(*zone.y)))
                    roles.append(role)
                    pass_of.append(number)
                    serial = n if not role else number * 64 + n
                    own = hashlib.sha256(f"{role} {place} {serial}".encode()).hexdigest()[:8]
                    kind = min(int(rng.exponential(portal.kinds / 4)), portal.kinds - 1)
                    kind = kind if role else portal.kinds - 1 - n % portal.kinds % 3
                    tags.append(f"30{0xA0 + kind:02X}{own.upper()}")
    names = sorted(set(tags))
    tag_of = np.searchsorted(names, tags)
    xy = np.array(places)
    own = rng.normal(0.0, 1.0, len(xy))
    columns: list[list[np.ndarray]] = [[] for _ in range(6)]
    for number, antenna in enumerate(portal.antennas, 1):
        one_way = _gain_less_loss(antenna, xy) + rng.normal(0.0, portal.shadow_db, len(xy))
        for index, level in enumerate(levels):
            at_tag = level + one_way + rng.normal(0.0, 0.5, len(xy))
            rssi = np.round(2 * (level + 2 * one_way + BACKSCATTER_DB + own)) / 2
            read = (at_tag >= TURN_ON_DBM + own) & (rssi >= WEAKEST_DBM)
            read &= rng.random(len(xy)) >= portal.fails
            chosen = np.flatnonzero(read)
            found = (np.array(pass_of)[chosen], np.full(len(chosen), index), tag_of[chosen])
            times = np.round(np.minimum(rng.exponential(0.25, len(chosen)), 1.9), 2)
            more = (rssi[chosen], np.full(len(chosen), number), times)
            for column, values in zip(columns, (*found, *more), strict=True):
                column.append(values)
    number, level, tag, rssi, antenna_of, t_s = (np.concatenate(column) for column in columns)
    survey = Survey(
        read_point="portal",
        levels_dbm=levels,
        pass_ids=tuple(f"p{n:03d}" for n in range(portal.passes)),
        tags=tuple(Tag(name) for name in names),
        roster_pass=np.array(pass_of),
        roster_tag=tag_of,
        roster_wanted=np.array(roles),
        roster_listed=np.ones(len(roles), bool),
        read_pass=number,
        read_level=level,
        read_tag=tag,
        read_rssi=rssi,
        tried=np.ones((portal.passes, portal.levels), bool),
        antennas=tuple(range(1, len(portal.antennas) + 1)),
        read_antenna=antenna_of,
        read_t_s=t_s,
    )
    return ReadPoint(survey, policy or POLICY)


POLICY = surveyed_policy(loss=Loss(5, 1), reader=Reader(mask_slots=0))


def _gain_less_loss(antenna: Antenna, xy: np.ndarray) -> np.ndarray:
    dx, dy = xy[:, 0] - antenna.x, xy[:, 1] - antenna.y
    metres = np.maximum(np.hypot(dx, dy), 0.3)
    off = np.degrees(np.arctan2(dy, dx)) - antenna.towards
    off = np.abs((off + 180.0) % 360.0 - 180.0)
    gain = GAIN_DBI - np.minimum(12.0 * (off / BEAM_DEGREES) ** 2, BACK_DB)
    wave = 299.792458 / 867.0
    return np.asarray(gain - 20.0 * np.log10(4.0 * math.pi * metres / wave))


FACING_WALLS = Portal(  # strays behind antenna 2: antenna 1 looks at them, antenna 2 turns its back
    antennas=(Antenna(0.0, 0.0, 0.0), Antenna(3.0, 0.0, 180.0)),
    wanted=(Zone((1.0, 2.0), (-0.5, 0.5), 4),),
    stray=(Zone((3.8, 4.8), (-1.0, 1.0), 6),),
    shadow_db=4.0,
)
CORRIDOR = Portal(  # antennas along a wall look across; the gate is before the one in the middle
    antennas=(Antenna(0.0, 0.0, 90.0), Antenna(4.0, 0.0, 90.0), Antenna(8.0, 0.0, 90.0)),
    wanted=(Zone((3.5, 4.5), (1.0, 2.0), 4),),
    stray=(Zone((-0.5, 0.8), (1.0, 2.5), 4), Zone((7.2, 8.5), (1.0, 2.5), 4)),
)
TWO_LANES = Portal(  # each lane between two antennas, too wide for one; lane A is wanted
    antennas=(
        Antenna(0.0, 0.0, 90.0),
        Antenna(0.0, 6.0, 270.0),
        Antenna(5.0, 0.0, 90.0),
        Antenna(5.0, 6.0, 270.0),
    ),
    wanted=(Zone((-0.5, 0.5), (0.4, 5.6), 6),),
    stray=(Zone((4.5, 5.5), (0.4, 5.6), 6),),
    top_dbm=22.0,
)
CRIB_DOOR = Portal(  # antenna 1 at the door, antenna 2 aimed at the rack
    antennas=(Antenna(0.0, 0.0, 0.0), Antenna(0.0, 4.0, 90.0)),
    wanted=(Zone((0.8, 1.6), (-0.5, 0.5), 2),),
    stray=(Zone((-1.0, 1.0), (5.0, 6.5), 12),),
    passes=40,
    fails=0.0,
)
LARGE = Portal(  # tags of both roles mixed enough that no antenna alone parts them
    antennas=(
        Antenna(0.0, 0.0, 90.0),
        Antenna(0.0, 3.0, 270.0),
        Antenna(5.0, 0.0, 90.0),
        Antenna(5.0, 3.0, 270.0),
    ),
    wanted=(Zone((-0.8, 0.8), (0.3, 2.7), 8),),
    stray=(Zone((1.4, 3.0), (0.3, 2.7), 6), Zone((4.0, 6.0), (0.3, 2.7), 6)),
    levels=20,
    passes=100,
    shadow_db=4.0,
    kinds=6,
)
CLOSE = Portal(  # four corners of one gate: antennas that hear nearly the same
    antennas=(
        Antenna(0.0, 0.0, 45.0),
        Antenna(2.0, 0.0, 135.0),
        Antenna(2.0, 2.0, 225.0),
        Antenna(0.0, 2.0, 315.0),
    ),
    wanted=(Zone((0.3, 1.7), (0.3, 1.7), 8),),
    stray=(Zone((-1.5, 3.5), (-1.5, -0.3), 6), Zone((-1.5, 3.5), (2.3, 3.5), 6)),
    levels=20,
    passes=100,
    shadow_db=4.0,
    kinds=6,
)
