"""Link budget of a passive UHF tag: path loss, fields, range, turn-on level and RSSI.

All of it is free space or a plain indoor law. A real read point has metal and reflections, so
these figures judge a survey roughly; they never replace one.
"""

from __future__ import annotations

import math

from strategist.radio.units import bounded, dbm_to_w, wavelength_m

__all__ = [
    "eirp_dbm",
    "field_strength_v_m",
    "free_space_loss_db",
    "free_space_loss_p525_db",
    "indoor_loss_db",
    "monostatic_rssi_dbm",
    "power_density_w_m2",
    "tag_range_m",
    "turn_on_dbm",
]

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


def free_space_loss_p525_db(mhz: float, metres: float) -> float:
    """The same with the rounded constant of ITU-R P.525: 32.4 + 20 log f(MHz) + 20 log d(km)."""
    frequency = bounded("mhz", mhz, 1, 1e6, "MHz")
    return 32.4 + 20 * math.log10(frequency) + 20 * math.log10(_metres(metres) / 1000)


def indoor_loss_db(
    mhz: float, metres: float, distance_coefficient: float, floor_loss_db: float = 0.0
) -> float:
    """Indoor loss in dB: 20 log f(MHz) + N log d(m) + Lf - 28, from 1 m on. Source: ITU-R P.1238.

    `distance_coefficient` is N: 33 for an office and 20 for a commercial hall near 900 MHz
    (both from memory); `floor_loss_db` is Lf of the floors between.
    """
    frequency = bounded("mhz", mhz, 300, 100_000, "MHz")
    distance = bounded("metres", metres, 1, 1000, "m")
    slope = bounded("distance_coefficient", distance_coefficient, 10, 60, "dB a decade")
    floors = _loss("floor_loss_db", floor_loss_db)
    return 20 * math.log10(frequency) + slope * math.log10(distance) + floors - 28


def eirp_dbm(conducted_dbm: float, antenna_gain_dbi: float, cable_loss_db: float = 0.0) -> float:
    """Radiated power over isotropic in dBm: conducted level + gain - cable loss."""
    power = _dbm("conducted_dbm", conducted_dbm)
    gain = _gain("antenna_gain_dbi", antenna_gain_dbi)
    return power + gain - _loss("cable_loss_db", cable_loss_db)


def field_strength_v_m(radiated_dbm: float, metres: float) -> float:
    """RMS field in V/m at a distance: sqrt(30 p)/d, p the e.i.r.p. in W. Source: P.525 eq. (1)."""
    return math.sqrt(30 * dbm_to_w(_dbm("radiated_dbm", radiated_dbm))) / _metres(metres)


def power_density_w_m2(radiated_dbm: float, metres: float) -> float:
    """Far-field power density in W/m²: e.i.r.p. / (4 pi d²)."""
    watts = dbm_to_w(_dbm("radiated_dbm", radiated_dbm))
    return watts / (4 * math.pi * _metres(metres) ** 2)


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


def monostatic_rssi_dbm(
    conducted_dbm: float,
    mhz: float,
    metres: float,
    antenna_gain_dbi: float,
    *,
    tag_gain_dbi: float = DIPOLE_TAG_DBI,
    modulation_loss_db: float = 6.0,
    one_way_loss_db: float = 0.0,
) -> float:
    """Backscatter in dBm at the port of a reader that sends and hears on one antenna.

    Pt + 2 Gr + 2 Gt - 2 Lbf - modulation loss (radar equation), and `one_way_loss_db` (cable and
    polarisation) taken twice. 6 dB of modulation loss is common practice, no source. The slope
    is 1 dB per dB of power and -12.04 dB per doubling of distance.
    """
    gains = _gain("antenna_gain_dbi", antenna_gain_dbi) + _gain("tag_gain_dbi", tag_gain_dbi)
    losses = free_space_loss_db(mhz, metres) + _loss("one_way_loss_db", one_way_loss_db)
    modulation = _loss("modulation_loss_db", modulation_loss_db)
    return _dbm("conducted_dbm", conducted_dbm) + 2 * (gains - losses) - modulation
