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
    "dbm_to_mw",
    "dbm_to_w",
    "erp_to_eirp_dbm",
    "mw_to_dbm",
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


def erp_to_eirp_dbm(erp_dbm: float) -> float:
    """E.i.r.p. in dBm of an e.r.p. in dBm: 2.148 dB more (the same 1.64)."""
    return bounded("erp_dbm", erp_dbm, -300, 300, "dBm") + DIPOLE_DB


def wavelength_m(mhz: float) -> float:
    """Wavelength in vacuum, in m, at `mhz` MHz."""
    return SPEED_OF_LIGHT / (bounded("mhz", mhz, 1, 1e6, "MHz") * 1e6)
