"""Power and its units, and the link budget of a passive UHF tag in free space.

Power is dBm inside the program. A real read point has metal and reflections, so these figures judge
a survey roughly; they never replace one. Numbers are judged where they come in, not here.
"""

from __future__ import annotations

import math

SPEED_OF_LIGHT = 299_792_458.0  # m/s, exact by definition of the metre
DIPOLE_GAIN = 1.64  # half-wave dipole over isotropic, as e.r.p. is converted in the rules
DIPOLE_DB = 10 * math.log10(DIPOLE_GAIN)  # 2.148 dB; the 2.15 dB often printed is this, rounded
TAG_DBM = -18.0  # chip sensitivity of a budget (2010 and later: from memory)
DIPOLE_TAG_DBI = 2.15  # a tag taken as a half-wave dipole, where its own gain is not known


def dbm_to_w(dbm: float) -> float:
    """Watts of a power in dBm."""
    return float(10 ** (dbm / 10) / 1000)


def w_to_dbm(watts: float) -> float:
    """dBm of a power in watts, above 0."""
    return 10 * math.log10(watts * 1000)


def wavelength_m(mhz: float) -> float:
    """Wavelength in vacuum, in m, at `mhz` MHz."""
    return SPEED_OF_LIGHT / (mhz * 1e6)


def free_space_loss_db(mhz: float, metres: float) -> float:
    """Loss in dB between isotropic antennas: 20 log(4 pi d / wavelength). Source: Friis 1946."""
    return 20 * math.log10(4 * math.pi * metres / wavelength_m(mhz))


def tag_range_m(
    radiated_dbm: float,
    mhz: float,
    tag_sensitivity_dbm: float,
    *,
    tag_gain_dbi: float = DIPOLE_TAG_DBI,
    polarisation_loss_db: float = 0.0,
) -> float:
    """Free-space distance in m at which the tag just wakes; `radiated_dbm` is e.i.r.p.

    `tag_sensitivity_dbm` is the power that its chip needs, mismatch included. A circular reader
    antenna and a linear tag cost 3 dB of `polarisation_loss_db`. Source: Ahson and Ilyas,
    RFID Handbook, eq. 4.4-4.5.
    """
    budget = radiated_dbm + tag_gain_dbi - polarisation_loss_db - tag_sensitivity_dbm
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
    lost = free_space_loss_db(mhz, metres) + polarisation_loss_db + cable_loss_db
    return tag_sensitivity_dbm + lost - antenna_gain_dbi - tag_gain_dbi
