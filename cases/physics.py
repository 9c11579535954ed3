"""What a reader hears of a tag: a radio field of a few rays, a tag, and the way back.

Positions are metres (x away from the antenna, y across, z up; where a place has one antenna, it is
at the origin and looks along x). Gains and losses are dB, powers dBm. Everything that is said about
a place is the one-way gain between the reader's antenna connector and the tag's chip: 0 dBm in, so
many dBm out.
"""

from __future__ import annotations

import cmath
import math
import random
from dataclasses import dataclass

Point = tuple[float, float, float]

SPEED_OF_LIGHT = 299_792_458.0  # m/s
FREQUENCY_HZ = 866.3e6
WAVELENGTH = SPEED_OF_LIGHT / FREQUENCY_HZ
POLARISATION_DB = 3.0  # circular antenna to linear tag: half the power is lost
TAG_GAIN_DBI = 2.0
SIN_LEAST = 0.2  # a tag seen end-on still answers a little: 14 dB below the best


@dataclass(frozen=True)
class Mirror:
    """A flat floor, wall or cupboard at right angles to one axis (0 x, 1 y, 2 z).

    `reflects` is the share of the field's amplitude that comes back (its phase turns round).
    """

    axis: int
    at: float
    reflects: float


@dataclass(frozen=True)
class Stand:
    """Where an antenna is and which way it looks (a vector of length 1)."""

    at: Point = (0.0, 0.0, 0.0)
    looks: Point = (1.0, 0.0, 0.0)


ORIGIN = Stand()


@dataclass(frozen=True)
class Field:
    """The antenna and what stands round it. `crowd` is the chance, for each tag that answers at a
    level, that a tag does not get its turn there; `slip` the chance without any crowd."""

    mirrors: tuple[Mirror, ...]
    gain_dbi: float = 6.0
    cable_db: float = 1.5
    slip: float = 0.02
    crowd: float = 0.0
    hears_dbm: float = -80.0  # weakest backscatter that the reader decodes

    def gain_db(self, place: Point, stand: Stand = ORIGIN) -> float:
        """One-way gain (dB) from connector to a well-turned tag: Friis for each ray, added with
        its phase. The reflected rays come from the antenna's image behind each mirror."""
        total = self._ray(stand.at, stand.looks, place)
        for mirror in self.mirrors:
            image, looks = list(stand.at), list(stand.looks)
            image[mirror.axis] = 2 * mirror.at - image[mirror.axis]
            looks[mirror.axis] = -looks[mirror.axis]
            ray = self._ray((image[0], image[1], image[2]), (looks[0], looks[1], looks[2]), place)
            total -= mirror.reflects * ray
        path = 20 * math.log10(abs(total) + 1e-9)
        return path + self.gain_dbi + TAG_GAIN_DBI - self.cable_db - POLARISATION_DB

    @staticmethod
    def _ray(start: Point, looks: Point, place: Point) -> complex:
        """Complex amplitude of one ray from an antenna at `start`."""
        distance = max(math.dist(start, place), WAVELENGTH / 2)  # nearer, Friis does not hold
        toward = sum(look * (p - s) for look, p, s in zip(looks, place, start, strict=True))
        ahead = max(toward / distance, 0.0)
        pattern = 0.12 + 0.88 * math.pow(
            ahead, 1.5
        )  # half power about 33 degrees off; -18 dB behind
        phase = -2 * math.pi * distance / WAVELENGTH
        return WAVELENGTH / (4 * math.pi * distance) * pattern * cmath.exp(1j * phase)


@dataclass(frozen=True)
class TagType:
    """A make of tag: chip sensitivity (dBm), what it loses when it answers (dB), their spread."""

    name: str
    model: int  # 12-bit model number in the TID
    sensitivity_dbm: float
    answer_loss_db: float
    spread_db: float = 1.2  # standard deviation of both, over tags


@dataclass(frozen=True)
class Chip:
    """One tag's own figures, drawn once from its type."""

    sensitivity_dbm: float
    answer_loss_db: float

    @classmethod
    def draw(cls, kind: TagType, rng: random.Random) -> Chip:
        return cls(
            rng.gauss(kind.sensitivity_dbm, kind.spread_db),
            rng.gauss(kind.answer_loss_db, kind.spread_db),
        )


def turn_loss_db(rng: random.Random) -> float:
    """Loss of a tag turned at random: its dipole hears with the sine of the angle to its axis."""
    cosine = rng.random()  # of a random direction in space
    return -20 * math.log10(max(math.sqrt(1 - cosine * cosine), SIN_LEAST))


def axis_of(rng: random.Random) -> Point:
    """The axis of a dipole turned at random."""
    up, round_ = rng.uniform(-1.0, 1.0), rng.uniform(0.0, 2 * math.pi)
    flat = math.sqrt(1 - up * up)
    return flat * math.cos(round_), flat * math.sin(round_), up


def turned_loss_db(axis: Point, toward: Point) -> float:
    """Loss of a dipole with this axis towards an antenna: each antenna sees it from elsewhere."""
    length = math.hypot(*toward)
    cosine = sum(a * t for a, t in zip(axis, toward, strict=True)) / length
    return -20 * math.log10(max(math.sqrt(max(0.0, 1 - cosine * cosine)), SIN_LEAST))


def incident_dbm(gain_db: float, power_dbm: float, rng: random.Random) -> float:
    """Power at the chip for one try; the small scatter is the load's own movement."""
    return power_dbm + gain_db + rng.gauss(0.0, 0.25)


def answer_dbm(chip: Chip, gain_db: float, incident: float, rng: random.Random) -> float:
    """Peak RSSI (dBm, steps of 0.5) of a chip that is turned on.

    1 dB of power gives 1 dB of RSSI at first; from about 12 dB above turn-on the chip clips what
    it takes in, and the answer grows by half a dB only.
    """
    above = incident - chip.sensitivity_dbm - 12.0
    clipped = 0.5 * (above if above > 30 else math.log1p(math.exp(above)))
    heard = incident + gain_db - chip.answer_loss_db - clipped + rng.gauss(0.0, 0.4)
    return min(round(2 * heard) / 2, 0.0)


def read_pass(
    field: Field, tags: list[tuple[Chip, float]], power_dbm: float, rng: random.Random
) -> list[float | None]:
    """RSSI (dBm) of each (chip, one-way gain) at one level, in order; None where it is not read."""
    incident = [incident_dbm(gain, power_dbm, rng) for _, gain in tags]
    on = [dbm >= chip.sensitivity_dbm for (chip, _), dbm in zip(tags, incident, strict=True)]
    lost = field.slip + field.crowd * sum(on)
    heard: list[float | None] = []
    for (chip, gain), dbm, turned_on in zip(tags, incident, on, strict=True):
        rssi = answer_dbm(chip, gain, dbm, rng) if turned_on else None
        missed = rng.random() < lost
        heard.append(None if rssi is None or missed or rssi < field.hears_dbm else rssi)
    return heard
