"""How near a person may come: limits of RF exposure, and the distance they imply.

The result is a caution for the sheet. It replaces neither a measurement nor the assessment of a
qualified person.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from strategist.radio.link import dbm_to_w
from strategist.survey.answer import Declared

Guideline = Literal["icnirp", "fcc"]
Group = Literal["public", "occupational"]

GROUND_FACTOR_OET65 = 2.56  # a reflecting ground adds 60 % to the field: 1.6 squared (OET-65)

# (W/m² per MHz for the public, the same at work, source)
_LEVELS: dict[Guideline, tuple[float, float, str]] = {
    "icnirp": (1 / 200, 1 / 40, "ICNIRP 1998 and 2020, whole body, f/200 and f/40 W/m²"),
    "fcc": (10 / 1500, 10 / 300, "47 CFR 1.1310, f/1500 and f/300 mW/cm²"),
}
_AVERAGING = {
    "icnirp": "averaged over the whole body (30 min in the 2020 edition, 6 min in 1998)",
    "fcc": "averaged over 30 min for the public and 6 min at work (OET-65)",
}
LIMIT_NAMES = {  # each guideline's own word
    "icnirp": "ICNIRP reference level",
    "fcc": "FCC limit (MPE)",
}
PEOPLE = {"icnirp": "general public", "fcc": "general population"}
_CAUTION = (
    "Inside {metres:.2f} m of the antenna the {limit} for {group} exposure may be exceeded: keep "
    "people out of it or have a qualified person assess the place. Local rules and licensed "
    "practice come first; implants and other devices may need more distance."
)


def reference_w_m2(guideline: Guideline, group: Group, mhz: float) -> float:
    """Whole-body limit of power density in W/m² at `mhz`, of a band of UHF tags.

    ICNIRP (1998 and 2020): f/200 for the public, f/40 at work, 400-2000 MHz. FCC 47 CFR 1.1310:
    f/1500 and f/300 mW/cm², 300-1500 MHz (f/1500 and f/300 from memory).
    """
    public, occupational, _ = _LEVELS[guideline]
    return mhz * (public if group == "public" else occupational)


def reference_field_v_m(group: Group, mhz: float) -> float:
    """ICNIRP field reference level in V/m, 400-2000 MHz: 1.375 sqrt f, at work 3 sqrt f.

    Both factors from memory.
    """
    return (1.375 if group == "public" else 3.0) * math.sqrt(mhz)


@dataclass(frozen=True)
class NoDistance(Declared):
    """Why no distance can be named: `caution` is a sentence."""

    distance_m: None
    caution: str


@dataclass(frozen=True)
class ExposureDistance(Declared):
    """The distance in m inside which the reference level may be exceeded, with its grounds.

    `reference_v_m` is the level as a field, for whoever measures it (None: the FCC has none here).
    """

    distance_m: float
    eirp_dbm: float
    mhz: float
    guideline: Guideline
    group: Group
    reference_w_m2: float
    reference_v_m: float | None
    ground_factor: float
    source: str
    assumptions: tuple[str, ...]
    caution: str


def exposure_distance(
    eirp_dbm: float,
    mhz: float,
    guideline: Guideline = "icnirp",
    group: Group = "public",
    ground_factor: float = 1.0,
) -> ExposureDistance:
    """Distance sqrt(k EIRP / (4 pi S)) at which the power density S is the limit.

    `eirp_dbm` counts the whole gain of the antenna (dBic for a circular one). `mhz`: take the
    lowest frequency of the band, where the level is strictest. `ground_factor` k is 1 in free
    space and 2.56 with the ground reflection of OET-65.
    """
    level = reference_w_m2(guideline, group, mhz)
    metres = math.sqrt(ground_factor * dbm_to_w(eirp_dbm) / (4 * math.pi * level))
    people = "occupational" if group == "occupational" else PEOPLE[guideline]
    assumptions = (
        "one antenna sends all the time at this power, in the direction of its most gain",
        "far field; nearer than about 2 D²/wavelength (D the antenna's size) the figure is rough",
        f"ground reflection counted {ground_factor:g} times in power density; no other reflector",
        f"whole-body level, {_AVERAGING[guideline]}",
    )
    return ExposureDistance(
        distance_m=metres,
        eirp_dbm=float(eirp_dbm),
        mhz=float(mhz),
        guideline=guideline,
        group=group,
        reference_w_m2=level,
        reference_v_m=reference_field_v_m(group, mhz) if guideline == "icnirp" else None,
        ground_factor=ground_factor,
        source=_LEVELS[guideline][2],
        assumptions=assumptions,
        caution=_CAUTION.format(
            metres=math.ceil(metres * 100) / 100, limit=LIMIT_NAMES[guideline], group=people
        ),
    )
