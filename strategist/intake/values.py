"""What a cell of a raw file means: EPCs, numbers and their units. Each value is looked at once."""

from __future__ import annotations

import binascii
import math
import re
from collections.abc import Callable

import numpy as np

from strategist.survey.columns import EPC_BYTES_MAX
from strategist.survey.policy import LEVEL_DBM_MAX, LEVEL_DBM_MIN, RSSI_DBM_MAX, RSSI_DBM_MIN
from strategist.survey.records import Floats, Ints
from strategist.survey.suspected import looks_like_mw, pc_fits
from strategist.tags.epc import decode
from strategist.tags.uri import epc_of_uri

_NUMBER = re.compile(
    r"([+-]?[0-9]+(?:[.,][0-9]*)?|[+-]?[.,][0-9]+)\s*(dBm|mW|dB|s)?", re.IGNORECASE
)
_TEXT_CELL = re.compile(r'="(.*)"')  # as spreadsheets write long digits that must stay text
_MARKS = re.compile(r"[\s\-:_.,]")
_HEX = re.compile(rf"([0-9A-F]{{2}}){{1,{EPC_BYTES_MAX + 4}}}")
_VALUE = re.compile(
    r'\s*(="?)?([+-]?[0-9]+([.,][0-9]+)?|(0x)?[0-9a-fA-F]{8,}|[0-9]{1,4}[-./: ][0-9].*|urn:.*)"?\s*'
)
_ROUNDED = re.compile(r"[0-9](?:[.,][0-9]+)?[eE]\+[0-9]+")

DBM_OF: dict[str, Callable[[float], float]] = {
    "dbm": lambda value: value,
    "minus_dbm": lambda value: -value,
    "tenths_dbm": lambda value: value / 10,
    "hundredths_dbm": lambda value: value / 100,
    "mw": lambda value: 10 * math.log10(value) if value > 0 else math.nan,
}
ODD_SHARE = 0.02  # of rows whose RSSI may be impossible, where all others have one unit
FORM_WORDS = {
    "dbm": "dBm",
    "minus_dbm": "dBm without their minus sign",
    "tenths_dbm": "tenths of a dBm",
    "hundredths_dbm": "hundredths of a dBm",
    "mw": "mW",
    "hex": "hex",
    "pc_epc": "hex with the PC word before the EPC",
    "pc_epc_crc": "hex with PC word, EPC and CRC",
}


def is_value(cell: str) -> bool:
    """Whether a cell is a value rather than the name of a column."""
    return _VALUE.fullmatch(cell) is not None


def number(text: str) -> float:
    """The number in a cell, with a decimal point or comma, a real minus and a unit; NaN if none."""
    found = _NUMBER.fullmatch(text.replace("\u2212", "-").strip())
    return float(found[1].replace(",", ".")) if found else math.nan


def plain_hex(text: str, epc_filter: int | None = None) -> str | None:
    """The hex of an EPC in any of its spellings, upper case; None where it is no EPC.

    Spaces, dashes, colons, 0x and a trailing h are dropped; URIs are encoded (`epc_of_uri`).
    """
    cell = _TEXT_CELL.fullmatch(text)
    bare = cell[1] if cell else text
    if bare[:4].lower() == "urn:":
        return epc_of_uri(bare, epc_filter)
    digits = re.sub(r"(?<![0-9A-Fa-f])0[xX]", "", bare)
    digits = _MARKS.sub("", digits).upper().removesuffix("H")
    return digits if _HEX.fullmatch(digits) else None


def why_no_epc(text: str) -> str:
    """What an EPC cell should hold, where this one holds something else."""
    if _ROUNDED.fullmatch(text):
        return "hex; a spreadsheet has rounded this one: format the column as text and export again"
    if text.lower().startswith("urn:epc:id:"):
        return (
            "a tag URI (urn:epc:tag:…) or hex: a pure identity lacks the filter value; say "
            '"epc_filter": 0 to 7 in the mapping file'
        )
    if _HEX.fullmatch(_MARKS.sub("", text).upper() + "0"):
        return "whole bytes of hex; a digit is lacking (a leading zero?)"
    return f"hex of 1 to {EPC_BYTES_MAX} bytes, or an EPC tag URI"


def form_of_epcs(values: list[str]) -> str | None:
    """How hex is written: "hex", "pc_epc" or "pc_epc_crc"; None where it may be either.

    A PC word (Gen2: its first five bits count the words of the EPC behind it) is believed where it
    fits every value; the CRC (CRC-16 of Gen2) proves itself.
    """
    if not values:
        return "hex"
    if all(_crc_fits(value) for value in values):
        return "pc_epc_crc"
    if not all(pc_fits(value) for value in values):
        return "hex"
    whole = sum(_is_scheme(value) for value in values) / len(values)
    behind = sum(_is_scheme(value[4:]) for value in values) / len(values)
    if whole == behind:
        return "pc_epc" if whole == 0 and len({value[:4] for value in values}) <= 2 else None
    return "hex" if whole > behind else "pc_epc"


def epc_in(value: str, form: str) -> str:
    """The EPC in hex of a form."""
    return {"pc_epc": value[4:], "pc_epc_crc": value[4:-4]}.get(form, value)


def _crc_fits(value: str) -> bool:
    """PC, EPC and CRC-16 (polynomial 1021h, preset FFFFh, ones' complement), as on the air."""
    if len(value) < 12 or not pc_fits(value[:-4]):
        return False
    sum_ = binascii.crc_hqx(bytes.fromhex(value[:-4]), 0xFFFF) ^ 0xFFFF
    return sum_ == int(value[-4:], 16)


def _is_scheme(value: str) -> bool:
    """Whether hex decodes whole by the scheme that its header names."""
    fields = decode(value) if len(value) <= 2 * EPC_BYTES_MAX else ()
    return len(fields) > 1


def form_of_rssi(values: Floats) -> list[str]:
    """The units in which all the values are RSSI of a reader."""
    return [form for form, dbm in _as_rssi(values).items() if _are_rssi(dbm)]


def odd_rssi(values: Floats, rows: Ints) -> tuple[str, Ints]:
    """The unit in which all but a few are RSSI, and the places of those few; "" and none else.

    `rows` says how often each value stands.
    """
    for form, dbm in _as_rssi(values).items():
        odd = (dbm < RSSI_DBM_MIN) | (dbm > RSSI_DBM_MAX)
        if odd.any() and rows[odd].sum() <= ODD_SHARE * rows.sum() and _are_rssi(dbm[~odd]):
            return form, np.flatnonzero(odd)
    return "", np.empty(0, np.int64)


def _as_rssi(values: Floats) -> dict[str, Floats]:
    return {
        "dbm": values,
        "minus_dbm": -values,
        "tenths_dbm": values / 10,
        "hundredths_dbm": values / 100,
    }


def _are_rssi(dbm: Floats) -> bool:
    """All allowed, and nine in ten of the middle where readers report (−95 to −15 dBm)."""
    if not len(dbm) or dbm.min() < RSSI_DBM_MIN or dbm.max() > RSSI_DBM_MAX:
        return False
    low, high = np.quantile(dbm, [0.05, 0.95])
    return bool(low >= -95 and high <= -15)


def form_of_power(values: Floats) -> list[str]:
    """The units in which all the values are levels that people set: regular ones.

    dBm is what power is set in, so other units are likely only where dBm is not, or where the
    values are spaced like milliwatts.
    """
    found: list[str] = []
    for form in ("dbm", "tenths_dbm", "hundredths_dbm", "mw"):
        if found == ["dbm"] and (form != "mw" or not looks_like_mw(np.unique(values))):
            continue
        dbm = np.array([DBM_OF[form](float(value)) for value in values])
        if len(dbm) and np.all((dbm >= LEVEL_DBM_MIN) & (dbm <= LEVEL_DBM_MAX)):
            snapped = levels_of_mw(values) if form == "mw" else dbm
            if are_regular(snapped):
                found.append(form)
    return found


def are_regular(levels: Floats) -> bool:
    """Whether levels are multiples of a quarter dB, as people set them."""
    return bool(np.all(np.abs(levels * 4 - np.round(levels * 4)) < 1e-6))


def levels_of_mw(values: Floats, known: Floats | None = None) -> Floats:
    """The levels (dBm) that milliwatts mean: each of the `known` ones, or else of the whole or half
    dBm, which is within 0.05 dB or comes to the value as it is rounded; 0.01 dB where there is
    none."""
    exact = np.array([DBM_OF["mw"](float(value)) for value in values])
    whole = np.round(exact)
    grids = [known] if known is not None and len(known) else [whole, np.round(exact * 2) / 2]
    for grid in grids:
        nearest = grid[np.abs(exact[:, None] - grid).argmin(axis=1)] if len(grid) else exact
        meant = np.abs(exact - nearest) <= 0.0501
        meant |= [_rounds_to(level, value) for level, value in zip(nearest, values, strict=True)]
        if meant.all():
            return np.asarray(nearest + 0.0)
    return np.asarray(np.round(exact, 2) + 0.0)


def _rounds_to(level: float, mw: float) -> bool:
    """Whether a level's milliwatts, rounded as the value is, come to it."""
    decimals = len(f"{mw:.6f}".rstrip("0").partition(".")[2])
    return bool(round(10 ** (level / 10), decimals) == mw)
