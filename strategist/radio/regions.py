"""Radiated-power rules as data, and the highest conducted level that keeps them.

There is no default region. Without a region, or without the antenna's gain, nothing is claimed.
The figures are an engineer's aid and no permission: rules change, and the local authority and
licensed practice have the last word.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from strategist.errors import InputError
from strategist.radio.link import DIPOLE_DB, dbm_to_w, w_to_dbm

Polarisation = Literal["circular", "linear"]

CAUTION = (
    "Radio rules change and differ by country: the local authority and licensed practice decide. "
    "This figure is no permission to transmit."
)


@dataclass(frozen=True)
class Region:
    """One band and its limit, with the clause and the edition it was read in.

    `limits_w` lists (fewest hopping channels, W), ascending; a rule that does not ask for hopping
    has the single entry (0, W). `kind` says what the watts count: `conducted` at the port, with
    `free_gain_dbi` of antenna gain before the power must go down dB for dB, or radiated `erp` or
    `eirp`. `linear_component_db` is what a circular antenna's gain may count less where the rule
    is measured with a linear antenna; 0 where no such practice is known.
    """

    name: str
    low_mhz: float
    high_mhz: float
    kind: Literal["conducted", "erp", "eirp"]
    limits_w: tuple[tuple[int, float], ...]
    clause: str
    edition: str
    conditions: str
    free_gain_dbi: float = 0.0
    linear_component_db: float = 0.0

    @property
    def hops(self) -> bool:
        """Does the limit depend on the number of hopping channels?"""
        return self.limits_w[0][0] > 0


_ETSI_CONDITIONS = (
    "The standard also sets channels and, above 0.5 W and above 1 W, the antenna's beamwidth; "
    "the band is not open in every country."
)

REGIONS: dict[str, Region] = {
    region.name: region
    for region in (
        Region(
            "fcc-902-928",
            902.0,
            928.0,
            "conducted",
            ((25, 0.25), (50, 1.0)),
            "47 CFR 15.247(a)(1)(i), (b)(2), (b)(4)",
            "Code of Federal Regulations, edition date not recorded",
            "Fewer than 50 hopping channels are for a 20 dB bandwidth of 250 kHz or more; "
            "the time on a channel is limited to 0.4 s as well.",
            free_gain_dbi=6.0,
        ),
        Region(
            "etsi-865-868",
            865.0,
            868.0,
            "erp",
            ((0, 2.0),),
            "ETSI EN 302 208, lower band",
            "V3.3.1 and V3.4",
            _ETSI_CONDITIONS,
            linear_component_db=3.0,  # from memory: e.r.p. is measured with a linear antenna
        ),
        Region(
            "etsi-915-921",
            915.0,
            921.0,
            "erp",
            ((0, 4.0),),
            "ETSI EN 302 208, upper band",
            "V3.3.1 and V3.4",
            _ETSI_CONDITIONS,
            linear_component_db=3.0,  # from memory, as above
        ),
    )
}


def region_named(name: str) -> Region:
    """The profile of that name. Raises InputError with the known names otherwise."""
    if name not in REGIONS:
        raise InputError.one("region", name, f"one of {', '.join(REGIONS)}")
    return REGIONS[name]


def custom_region(
    limit_dbm: float,
    kind: Literal["erp", "eirp"],
    low_mhz: float,
    high_mhz: float,
    clause: str = "limit given by the user",
) -> Region:
    """A limit of the user's own, in dBm e.r.p. or e.i.r.p., for a band in MHz."""
    limits_w = ((0, dbm_to_w(limit_dbm)),)
    edition = "as given; not checked here"
    return Region("custom", low_mhz, high_mhz, kind, limits_w, clause, edition, "")


@dataclass(frozen=True)
class LawfulLevel:
    """The highest conducted level at the reader port, in dBm, and why.

    `dbm` None means that no claim is made. `eirp_dbm` is what it radiates with the whole gain of
    the antenna, as exposure counts it. `caution` always has a sentence.
    """

    dbm: float | None
    eirp_dbm: float | None
    reason: str
    caution: str = CAUTION


def highest_conducted_dbm(
    region: Region | None,
    antenna_gain_dbi: float | None,
    polarisation: Polarisation | None,
    cable_loss_db: float = 0.0,
    *,
    hop_channels: int | None = None,
    count_linear_component: bool = False,
) -> LawfulLevel:
    """The highest lawful conducted level for a region, antenna and cable.

    `antenna_gain_dbi` is the gain on the data sheet in its direction of most gain, in dBi for a
    linear and in dBic for a circular antenna; both count in full, and so does an antenna whose
    `polarisation` is not known (None). A linear antenna sees 3 dB
    less of a circular one, and that is claimed only with `count_linear_component` and only where
    the region knows such a practice. No cable loss is the careful assumption. Under a conducted
    limit, the cable's loss is set against the gain and never lifts the port above the limit.

    No claim (`dbm` None) without region, gain, or hop count where the rule asks for one.
    """
    if region is None:
        return _no_claim("the region is not given")
    if antenna_gain_dbi is None:
        return _no_claim("the antenna gain is not given")
    gain, loss = antenna_gain_dbi, cable_loss_db
    if region.hops and hop_channels is None:
        return _no_claim(f"{region.clause} depends on the number of hopping channels, not given")
    watts = _limit_w(region, hop_channels)
    if watts is None:
        fewest = region.limits_w[0][0]
        return _no_claim(f"{region.clause} asks for at least {fewest} hopping channels")
    counted, gain_text = _counted_gain(region, gain, polarisation, count_linear_component)
    limit = w_to_dbm(watts)
    if region.kind == "conducted":
        excess = counted - loss - region.free_gain_dbi
        dbm = limit - max(0.0, excess)
        rule = (
            f"{limit:.2f} dBm conducted, minus the antenna gain above {region.free_gain_dbi:g} dBi"
        )
    else:
        radiated = limit + DIPOLE_DB if region.kind == "erp" else limit
        dbm = radiated - counted + loss
        label = "e.r.p." if region.kind == "erp" else "e.i.r.p."
        rule = f"{watts:.4g} W {label} ({radiated:.2f} dBm e.i.r.p.)"
    reason = (
        f"At most {_round_down(dbm):.2f} dBm at the reader port. {region.clause} "
        f"({region.edition}): {rule}; {gain_text}, cable loss {loss:g} dB. {region.conditions}"
    )
    return LawfulLevel(dbm, dbm + gain - loss, reason.strip())


def levels_above(levels_dbm: Iterable[float], lawful: LawfulLevel) -> tuple[float, ...]:
    """The levels that are not lawful; none where no claim is made (the caution then says so)."""
    if lawful.dbm is None:
        return ()
    return tuple(level for level in levels_dbm if level > lawful.dbm + 1e-9)


def _no_claim(why: str) -> LawfulLevel:
    reason = f"No lawful level can be named: {why}."
    return LawfulLevel(None, None, reason, f"{reason} Levels were not checked. {CAUTION}")


def _limit_w(region: Region, hop_channels: int | None) -> float | None:
    """The limit for that many hopping channels; None where the rule allows none with so few."""
    allowed = [watts for fewest, watts in region.limits_w if (hop_channels or 0) >= fewest]
    return allowed[-1] if allowed else None


def _counted_gain(
    region: Region, gain: float, polarisation: Polarisation | None, asked: bool
) -> tuple[float, str]:
    """The gain that the limit counts, and the words for it."""
    unit = "dBic" if polarisation == "circular" else "dBi"
    if polarisation != "circular" or not asked:
        return gain, f"gain {gain:g} {unit} counted in full"
    if not region.linear_component_db:
        return gain, f"gain {gain:g} {unit} counted in full (no rule known here for less)"
    less = region.linear_component_db
    words = f"gain {gain:g} {unit} counted {less:g} dB less as asked (linear component)"
    return gain - less, words


def _round_down(dbm: float) -> float:
    """To 0.01 dB, never above the limit (a hair of floating-point noise apart)."""
    return math.floor(dbm * 100 + 1e-6) / 100
