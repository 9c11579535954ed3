"""Link budget of a passive UHF tag: path loss, range and turn-on level, in free space.

A real read point has metal and reflections, so these figures judge a survey roughly; they never
replace one.
"""

from __future__ import annotations

import math

from strategist.radio.units import bounded, wavelength_m

__all__ = [
    "TAG_DBM",
    "eirp_dbm",
    "free_space_loss_db",
    "tag_range_m",
    "turn_on_dbm",
]

TAG_DBM = -18.0  # chip sensitivity of a budget (2010 and later: from memory)
DIPOLE_TAG_DBI = 2.15  # a tag taken as a half-wave dipole, where its own gain is not known


def _metres(value: float) -> float:
    return bounded("metres", value, 0.01, 1e6, "m")


def _dbm(name: str, value: float) -> float:
    return bounded(name, value, -150, 100, "dBm")


def _gain(name: str, value: float) -> float:
    return bounded(name, value, -30, 30, "dBi")


def _loss(name: str, value: float) -> float:
    return bounded(name, value, 0, 100, "dB")


def free_space_loss_db(mhz: float, metres: float) -> float:
    """Loss in dB between isotropic antennas: 20 log(4 pi d / wavelength). Source: Friis 1946."""
    return 20 * math.log10(4 * math.pi * _metres(metres) / wavelength_m(mhz))


def eirp_dbm(conducted_dbm: float, antenna_gain_dbi: float, cable_loss_db: float = 0.0) -> float:
    """Radiated power over isotropic in dBm: conducted level + gain - cable loss."""
    power = _dbm("conducted_dbm", conducted_dbm)
    gain = _gain("antenna_gain_dbi", antenna_gain_dbi)
    return power + gain - _loss("cable_loss_db", cable_loss_db)


def tag_range_m(
    radiated_dbm: float,
    mhz: float,
    tag_sensitivity_dbm: float,
    *,
    tag_gain_dbi: float = DIPOLE_TAG_DBI,
    polarisation_loss_db: float = 0.0,
) -> float:
    """Free-space distance in m at which the tag just wakes.

    `tag_sensitivity_dbm` is the power that its chip needs, mismatch included. A circular reader
    antenna and a linear tag cost 3 dB of `polarisation_loss_db`. Source: Ahson and Ilyas,
    RFID Handbook, eq. 4.4-4.5.
    """
    budget = (
        _dbm("radiated_dbm", radiated_dbm)
        + _gain("tag_gain_dbi", tag_gain_dbi)
        - _loss("polarisation_loss_db", polarisation_loss_db)
        - _dbm("tag_sensitivity_dbm", tag_sensitivity_dbm)
    )
    return float(wavelength_m(mhz) / (4 * math.pi) * 10 ** (budget / 20))


def turn_on_dbm(
    mhz: float,
    metres: float,
    antenna_gain_dbi: float,
    tag_sensitivity_dbm: float,
    *,
    tag_gain_dbi: float = DIPOLE_TAG_DBI,
    polarisation_loss_db: float = 0.0,
    cable_loss_db: float = 0.0,
) -> float:
    """Conducted level in dBm that just wakes the tag at a free-space distance.

    The inverse of `tag_range_m`, seen from the reader port.
    """
    return (
        _dbm("tag_sensitivity_dbm", tag_sensitivity_dbm)
        + free_space_loss_db(mhz, metres)
        + _loss("polarisation_loss_db", polarisation_loss_db)
        + _loss("cable_loss_db", cable_loss_db)
        - _gain("antenna_gain_dbi", antenna_gain_dbi)
        - _gain("tag_gain_dbi", tag_gain_dbi)
    )
