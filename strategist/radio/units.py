"""Power and ratio units of the radio part, and the one check that a number makes sense.

Power is dBm inside the program; watts and milliwatts come in and go out here.
"""

from __future__ import annotations

import math
from numbers import Real

from strategist.errors import InputError

__all__ = [
    "DIPOLE_DB",
    "DIPOLE_GAIN",
    "SPEED_OF_LIGHT",
    "bounded",
    "db_to_ratio",
    "dbm_to_mw",
    "dbm_to_w",
    "eirp_to_erp_dbm",
    "eirp_to_erp_w",
    "erp_to_eirp_dbm",
    "erp_to_eirp_w",
    "mw_to_dbm",
    "ratio_to_db",
    "w_to_dbm",
    "wavelength_m",
    "whole",
]

SPEED_OF_LIGHT = 299_792_458.0  # m/s, exact by definition of the metre
DIPOLE_GAIN = 1.64  # half-wave dipole over isotropic, as e.r.p. is converted in the rules
DIPOLE_DB = 10 * math.log10(DIPOLE_GAIN)  # 2.148 dB; the 2.15 dB often printed is this, rounded


def bounded(name: str, value: float, low: float, high: float, unit: str) -> float:
    """`value` as a float if it is a number in low..high (ends included).

    Raises InputError naming `name` otherwise: NaN, infinities, truth values and text included.
    """
    fits = isinstance(value, Real) and not isinstance(value, bool) and low <= value <= high
    if not fits:
        allowed = f"a number from {low:g} to {high:g} {unit}".rstrip()
        raise InputError.one("radio", value, allowed, column=name)
    return float(value)


def whole(name: str, value: int, low: int, high: int, unit: str) -> int:
    """`value` as an int if it is a whole number in low..high; InputError as `bounded` otherwise."""
    number = bounded(name, value, low, high, unit)
    if not number.is_integer():
        allowed = f"a whole number from {low} to {high} {unit}".rstrip()
        raise InputError.one("radio", value, allowed, column=name)
    return int(value)


def db_to_ratio(db: float) -> float:
    """Power ratio of a difference in dB."""
    return float(10 ** (bounded("db", db, -400, 400, "dB") / 10))


def ratio_to_db(ratio: float) -> float:
    """dB of a power ratio above 0."""
    return 10 * math.log10(bounded("ratio", ratio, 1e-40, 1e40, ""))


def dbm_to_mw(dbm: float) -> float:
    """Milliwatts of a power in dBm."""
    return float(10 ** (bounded("dbm", dbm, -300, 300, "dBm") / 10))


def mw_to_dbm(mw: float) -> float:
    """dBm of a power in milliwatts, above 0."""
    return 10 * math.log10(bounded("mw", mw, 1e-30, 1e30, "mW"))


def dbm_to_w(dbm: float) -> float:
    """Watts of a power in dBm."""
    return dbm_to_mw(dbm) / 1000


def w_to_dbm(watts: float) -> float:
    """dBm of a power in watts, above 0."""
    return mw_to_dbm(bounded("watts", watts, 1e-33, 1e27, "W") * 1000)


def erp_to_eirp_w(erp_w: float) -> float:
    """E.i.r.p. (over isotropic) in W of an e.r.p. (over a dipole) in W: times 1.64."""
    return bounded("erp_w", erp_w, 0, 1e27, "W") * DIPOLE_GAIN


def eirp_to_erp_w(eirp_w: float) -> float:
    """E.r.p. in W of an e.i.r.p. in W: divided by 1.64."""
    return bounded("eirp_w", eirp_w, 0, 1e27, "W") / DIPOLE_GAIN


def erp_to_eirp_dbm(erp_dbm: float) -> float:
    """E.i.r.p. in dBm of an e.r.p. in dBm: 2.148 dB more (the same 1.64)."""
    return bounded("erp_dbm", erp_dbm, -300, 300, "dBm") + DIPOLE_DB


def eirp_to_erp_dbm(eirp_dbm: float) -> float:
    """E.r.p. in dBm of an e.i.r.p. in dBm: 2.148 dB less."""
    return bounded("eirp_dbm", eirp_dbm, -300, 300, "dBm") - DIPOLE_DB


def wavelength_m(mhz: float) -> float:
    """Wavelength in vacuum, in m, at `mhz` MHz."""
    return SPEED_OF_LIGHT / (bounded("mhz", mhz, 1, 1e6, "MHz") * 1e6)
