"""What a read point's policy makes of the rules: levels to choose from, the distance to keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from strategist.errors import InputError
from strategist.radio.exposure import (
    GROUND_FACTOR_OET65,
    ExposureDistance,
    NoDistance,
    exposure_distance,
)
from strategist.radio.link import TAG_DBM, tag_range_m
from strategist.radio.regions import (
    LawfulLevel,
    Region,
    custom_region,
    highest_conducted_dbm,
    levels_above,
    region_named,
)
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.order import figure, some
from strategist.survey.policy import LEVEL_DBM_MAX, LEVEL_DBM_MIN, Policy, Radio
from strategist.survey.records import Bools, Floats, Survey


@dataclass(frozen=True)
class Lawful(Declared):
    """The highest lawful level at a read point, and the surveyed levels above it (dBm).

    `of` is the region of the policy, and its name, clause and edition are told where a level is
    claimed; where none is, `caution` says why.
    """

    of: Hidden[Region | None]
    level: Hidden[LawfulLevel]
    levels_above_dbm: Annotated[
        tuple[float, ...], Field(description="Surveyed levels above the lawful one")
    ]

    @told(after="of")
    def highest_dbm(self) -> float | None:
        return self.level.dbm

    @told(after="of")
    def region(self) -> str | None:
        return self._claimed("name")

    @told(after="of")
    def clause(self) -> str | None:
        return self._claimed("clause")

    @told(after="of")
    def edition(self) -> str | None:
        return self._claimed("edition")

    @told(after="levels_above_dbm")
    def reason(self) -> str:
        return self.level.reason

    @told(after="levels_above_dbm")
    def caution(self) -> str:
        return self.level.caution

    def _claimed(self, what: str) -> str | None:
        return None if self.of is None or self.level.dbm is None else getattr(self.of, what)


def region_of(radio: Radio) -> Region | None:
    """The region that is named, or the limit given; None without either."""
    if radio.region is not None:
        return region_named(radio.region)
    if radio.limit is None:
        return None
    own = radio.limit
    return custom_region(own.dbm, own.kind, own.low_mhz, own.high_mhz, own.rule)


def lawful_at(levels_dbm: Floats, radio: Radio) -> Lawful:
    """What is lawful with this antenna and cable, held against some levels."""
    region = region_of(radio)
    level = highest_conducted_dbm(
        region,
        radio.antenna_gain_dbi,
        radio.polarisation,
        radio.cable_loss_db,
        hop_channels=radio.hop_channels,
        count_linear_component=radio.count_linear_component,
    )
    return Lawful(region, level, levels_above(levels_dbm.tolist(), level))


def strictest_radio(policy: Policy, on: Sequence[int] | None = None) -> Radio:
    """Antenna and cable of that antenna which may be given the least power, of those that are on
    (None: all); its lawful levels are lawful for each of them."""
    return _by_limit(policy, on)[0]


def mildest_radio(policy: Policy) -> Radio:
    """Antenna and cable of that antenna which may be given the most power."""
    return _by_limit(policy, None)[-1]


def _by_limit(policy: Policy, on: Sequence[int] | None) -> list[Radio]:
    """Those of the antennas, by the power that they may be given; none known counts as any."""
    antennas = [antenna for antenna, _ in policy.antennas] if on is None else on
    if not policy.antennas or not antennas:
        return [policy.radio]
    radios = [policy.radio_of(antenna) for antenna in antennas]
    found = [lawful_at(np.array([]), radio).level.dbm for radio in radios]
    limits = [np.inf if dbm is None else dbm for dbm in found]
    return [radios[place] for place in np.argsort(limits, kind="stable")]


def lawful_levels(survey: Survey, policy: Policy) -> Bools:
    """Which surveyed levels may be chosen. Raises InputError where all are above the lawful one."""
    lawful = lawful_at(survey.levels_dbm, policy.radio)
    may: Bools = ~np.isin(survey.levels_dbm, lawful.levels_above_dbm)
    if not may.any():
        path = ("read_points", survey.read_point, "levels_dbm")
        raise InputError.one(
            "site.json",
            some([figure(level) for level in survey.levels_dbm]),
            f"Survey lower levels. {lawful.level.reason}",
            path=path,
            wrong="no level surveyed is lawful",
        )
    return may


def choosable_levels(survey: Survey, policy: Policy) -> Bools:
    """Which surveyed levels are lawful and can be set. Raises InputError where none is left."""
    lawful = lawful_levels(survey, policy)
    levels = survey.levels_dbm.tolist()
    may: Bools = lawful & np.array([policy.reader.can_set_level(level) for level in levels], bool)
    if not may.any():
        path = ("read_points", survey.read_point, "reader", "power_levels_dbm")
        lawful_dbm = [figure(level) for level in survey.levels_dbm[lawful]]
        raise InputError.one(
            "site.json",
            some([figure(level) for level in policy.reader.power_levels_dbm or ()]),
            f"one that was surveyed and is lawful: {some(lawful_dbm)}",
            path=path,
            wrong="no level that the reader can be set to was surveyed and is lawful",
        )
    return may


def exposure_at(level_dbm: float, radio: Radio) -> ExposureDistance | NoDistance:
    """The distance to keep with this conducted level, or why none can be named."""
    region = region_of(radio)
    gain = radio.antenna_gain_dbi
    if region is None or gain is None:
        lacking = [name for name, value in (("region", region), ("gain", gain)) if value is None]
        return NoDistance(
            None,
            f"No distance for exposure can be named ({' and '.join(lacking)} not given). Local "
            "rules and licensed practice come first.",
        )
    fcc = region.name.startswith("fcc") if radio.exposure is None else radio.exposure == "fcc"
    ground = radio.ground_factor
    if ground is None:
        ground = GROUND_FACTOR_OET65 if fcc else 1.0
    return exposure_distance(
        level_dbm + gain - radio.cable_loss_db,
        region.low_mhz,
        "fcc" if fcc else "icnirp",
        "public",
        ground,
    )


@dataclass(frozen=True)
class PowerLimit(Declared):
    """What is lawful for an antenna and cable, and the distance to keep at `level_dbm`.

    `level_dbm` None: no level was given and none can be named. `reach_m`: how far a tag in free
    space may answer at it, a dipole with a chip of `link.TAG_DBM` (None without region or gain).
    """

    level_dbm: Annotated[
        float | None, Field(description="null: none was given, and none can be named")
    ]
    lawful: Lawful
    exposure: ExposureDistance | NoDistance
    reach_m: Annotated[
        float | None, Field(description="How far a tag of -18 dBm may answer in free space")
    ] = None


def power_limit(radio: Radio, level_dbm: float | None = None) -> PowerLimit:
    """The highest lawful level, and the distance to keep at a level (None: at that highest).

    Raises InputError for a level that no survey may hold.
    """
    if level_dbm is not None and not LEVEL_DBM_MIN <= level_dbm <= LEVEL_DBM_MAX:
        allowed = f"a level from {LEVEL_DBM_MIN:g} to {LEVEL_DBM_MAX:g} dBm"
        raise InputError.one("radio", level_dbm, allowed, column="level_dbm")
    lawful = lawful_at(np.array([] if level_dbm is None else [level_dbm]), radio)
    level = lawful.level.dbm if level_dbm is None else level_dbm
    if level is None:
        no_level = "No distance for exposure can be named: no level is given or known to be lawful."
        return PowerLimit(None, lawful, NoDistance(None, no_level))
    return PowerLimit(level, lawful, exposure_at(level, radio), _reach_m(level, radio))


def _reach_m(level_dbm: float, radio: Radio) -> float | None:
    """How far a tag may answer at a level, at the low end of the band, where it is farthest."""
    region, gain = region_of(radio), radio.antenna_gain_dbi
    if region is None or gain is None:
        return None
    loss_db = 3.0 if radio.polarisation == "circular" else 0.0
    radiated = level_dbm + gain - radio.cable_loss_db
    return tag_range_m(radiated, region.low_mhz, TAG_DBM, polarisation_loss_db=loss_db)
