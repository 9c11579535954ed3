"""Which values a cell of each column may hold, and columns of text turned into such values."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from strategist.survey.faults import FaultList
from strategist.survey.policy import (
    DECIMALS,
    LEVEL_DBM_MAX,
    LEVEL_DBM_MIN,
    NAME_ALLOWED,
    RSSI_DBM_MAX,
    RSSI_DBM_MIN,
    is_name,
)
from strategist.survey.records import Floats, Ints
from strategist.survey.tables import NEEDED, NUMBERS, OPTIONAL, Kind, Table, Texts

__all__ = ["Rows", "judge", "row_schema"]

MW_WITHIN_DB = 0.05  # 15 dBm is 31.6 mW, which people write as 32 (15.05 dBm)
EPC_BYTES_MAX = 62  # the 5-bit length field of the PC word counts at most 31 words of 16 bits

_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_WHOLE = re.compile(r"[0-9]{1,18}(\.0*)?")
_HEX = re.compile(r"([0-9A-Fa-f]{2})+")


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows whose every value is allowed.

    `texts` holds names, roles and upper-case hex, "" where nothing was given; `numbers` holds
    `power_dbm` and `rssi_dbm`. A column that the file lacks is absent. `in_mw` says that powers
    were given in milliwatts, which are as a rule rounded.
    """

    source: str
    lines: Ints
    texts: Mapping[str, Texts]
    numbers: Mapping[str, Floats]
    in_mw: bool = False

    def __len__(self) -> int:
        return len(self.lines)

    def take(self, rows: Ints | npt.NDArray[np.bool_]) -> Rows:
        """Some of the rows, by number or by mask."""
        index = np.arange(len(self))[rows]
        return Rows(
            self.source,
            self.lines[index],
            {name: column.take(index) for name, column in self.texts.items()},
            {name: column[index] for name, column in self.numbers.items()},
            self.in_mw,
        )

    def at_levels(self, levels: Floats) -> Rows:
        """Powers from milliwatts moved to the level that is meant: the nearest within 0.05 dB."""
        if not (self.in_mw and len(levels) and len(self)):
            return self
        power = self.numbers["power_dbm"]
        nearest = levels[np.abs(power[:, None] - levels).argmin(axis=1)]
        meant = np.abs(power - nearest) <= MW_WITHIN_DB + 10.0**-DECIMALS
        numbers = {**self.numbers, "power_dbm": np.where(meant, nearest, power)}
        return replace(self, numbers=numbers)

    def by_read_point(self) -> dict[str, Rows]:
        """The rows of each read point, in the order of the file."""
        points = self.texts["read_point"]
        order = np.argsort(points.codes, kind="stable")
        codes, starts = np.unique(points.codes[order], return_index=True)
        parts = np.split(order, starts[1:]) if len(codes) else []
        return {
            points.values[code]: self.take(part) for code, part in zip(codes, parts, strict=True)
        }


@dataclass(frozen=True)
class _Rule:
    """What a cell may hold, in words, and the value of a cell's text (None: not allowed)."""

    allowed: str
    value: Callable[[str], str | float | None]


def _name(text: str) -> str | None:
    return text if is_name(text) else None


def _or_empty(rule: Callable[[str], str | float | None]) -> Callable[[str], str | float | None]:
    return lambda text: rule(text) if text else ""


def _hex(text: str) -> str | None:
    return text.upper() if _HEX.fullmatch(text) else None


def _epc(text: str) -> str | None:
    return _hex(text) if len(text) <= 2 * EPC_BYTES_MAX else None


def _role(text: str) -> str | None:
    return text if text in ("wanted", "stray") else None


def _within(low: float, high: float) -> Callable[[str], float | None]:
    def value(text: str) -> float | None:
        number = round(float(text), DECIMALS) if _NUMBER.fullmatch(text) else math.nan
        return number + 0.0 if low <= number <= high else None  # + 0.0: no −0.0

    return value


def _dbm_of_mw(text: str) -> float | None:
    """10·log10 of the milliwatts, to 0.01 dB."""
    number = float(text) if _NUMBER.fullmatch(text) else math.nan
    if not 0 < number < math.inf:
        return None
    dbm = round(10 * math.log10(number), 2) + 0.0
    return dbm if LEVEL_DBM_MIN <= dbm <= LEVEL_DBM_MAX else None


def _at_least(low: int) -> Callable[[str], str | None]:
    return lambda text: text if _WHOLE.fullmatch(text) and float(text) >= low else None


_BANK = "hex of whole bytes without prefix, or empty"
_RULES = {
    "read_point": _Rule(NAME_ALLOWED, _name),
    "pass_id": _Rule(NAME_ALLOWED, _name),
    "power_dbm": _Rule(
        f"a number from {LEVEL_DBM_MIN:g} to {LEVEL_DBM_MAX:g} (dBm)",
        _within(LEVEL_DBM_MIN, LEVEL_DBM_MAX),
    ),
    "power_mw": _Rule(
        f"a number from {10 ** (LEVEL_DBM_MIN / 10):g} to {10 ** (LEVEL_DBM_MAX / 10):g} (mW)",
        _dbm_of_mw,
    ),
    "rssi_dbm": _Rule(
        f"a number from {RSSI_DBM_MIN:g} to {RSSI_DBM_MAX:g} (dBm)",
        _within(RSSI_DBM_MIN, RSSI_DBM_MAX),
    ),
    "epc": _Rule(f"hex of 1 to {EPC_BYTES_MAX} whole bytes without prefix", _epc),
    "role": _Rule("wanted or stray", _role),
    "tid": _Rule(_BANK, _or_empty(_hex)),
    "user": _Rule(_BANK, _or_empty(_hex)),
    "tag_type": _Rule(f"{NAME_ALLOWED}, or empty", _or_empty(_name)),
    "antenna": _Rule("a whole number of 0 or more, or empty", _or_empty(_at_least(0))),
    "reads": _Rule("a whole number of 1 or more, or empty", _or_empty(_at_least(1))),
}
_NUMERIC = {"power_dbm": "power_dbm", "power_mw": "power_dbm", "rssi_dbm": "rssi_dbm"}


def judge(table: Table, faults: FaultList) -> Rows:
    """The table's values; spaces round a value do not count.

    Adds the table's own faults and one for each cell that is not allowed, whose row is left out.
    """
    faults.extend(table.faults)
    texts: dict[str, Texts] = {}
    numbers: dict[str, Floats] = {}
    good = np.ones(len(table.lines), bool)
    for name, column in table.columns.items():
        rule = _RULES[name]
        values = [rule.value(text.strip()) for text in column.values]
        refused = np.array([value is None for value in values], bool)[column.codes]
        bad = np.flatnonzero(refused)
        faults.add_rows(
            table.source,
            name,
            table.lines[bad],
            lambda i, column=column, bad=bad: column[bad[i]],  # type: ignore[misc]
            lambda i, rule=rule: rule.allowed,  # type: ignore[misc]
        )
        good &= ~refused
        if name in _NUMERIC:
            known = [math.nan if value is None else float(value) for value in values]
            numbers[_NUMERIC[name]] = np.array(known, np.float64)[column.codes]
        else:
            normal, same = pd.factorize(np.array([str(value) for value in values], object))
            texts[name] = Texts(normal.astype(np.int64)[column.codes], tuple(same))
    return Rows(table.source, table.lines, texts, numbers, "power_mw" in table.columns).take(good)


def row_schema(kind: Kind) -> dict[str, Any]:
    """The JSON Schema of a row given as an object: its keys, their types, what they may hold."""
    properties: dict[str, Any] = {}
    for name in NEEDED[kind] + OPTIONAL[kind]:
        types = ["number", "string"] if name in NUMBERS else ["string"]
        given = name in NEEDED[kind] or name in _NUMERIC
        allowed = _RULES[name].allowed
        properties[name] = {"type": types if given else [*types, "null"], "description": allowed}
    schema = {"type": "object", "properties": properties, "additionalProperties": False}
    needed = [name for name in NEEDED[kind] if name not in _NUMERIC or name == "rssi_dbm"]
    if "power_mw" in properties:
        powers = [{"required": [name]} for name in ("power_dbm", "power_mw")]
        return schema | {"required": needed, "oneOf": powers}
    return schema | {"required": needed}
