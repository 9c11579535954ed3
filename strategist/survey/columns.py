"""The columns of a case's tables: which there are, and what a cell of each may hold."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from strategist.errors import Fault
from strategist.survey.faults import FaultList, nearest_hint
from strategist.survey.policy import (
    ANTENNA_MAX,
    DECIMALS,
    LEVEL_DBM_MAX,
    LEVEL_DBM_MIN,
    NAME_ALLOWED,
    RSSI_DBM_MAX,
    RSSI_DBM_MIN,
    is_name,
)
from strategist.survey.records import Kind

_EPCS = 10_000  # judged last
_POWER = ("power_dbm", "power_mw")  # one of the two, never both
NEEDED: dict[Kind, tuple[str, ...]] = {
    "reads": ("read_point", "pass_id", "power_dbm", "epc", "rssi_dbm"),
    "roster": ("read_point", "pass_id", "epc", "role"),
    "tried": ("read_point", "pass_id", "power_dbm"),
    "passes": ("read_point", "pass_id"),
}
OPTIONAL: dict[Kind, tuple[str, ...]] = {
    "reads": ("power_mw", "antenna", "reads", "t_s", "channel_mhz"),
    "roster": ("tid", "user", "tag_type"),
    "tried": ("power_mw", "dwell_s"),
    "passes": ("condition", "day", "weight"),
}

WEIGHT_MIN, WEIGHT_MAX = 1e-3, 1e6  # of a pass; as of the losses
SECONDS_MAX = 86400  # no pass lasts longer than a day
EPC_BYTES_MAX = 62  # the 5-bit length field of the PC word counts at most 31 words of 16 bits

_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_WHOLE = re.compile(r"[0-9]{1,18}(\.0*)?")
_HEX = re.compile(r"([0-9A-Fa-f]{2})+")


@dataclass(frozen=True)
class Rule:
    """What a cell may hold, in words, and the value of a cell's text (None: not allowed)."""

    allowed: str
    value: Callable[[str], str | float | None]


def _name(text: str) -> str | None:
    return text if is_name(text) else None


def _or_empty(rule: Callable[[str], str | float | None]) -> Callable[[str], str | float | None]:
    return lambda text: rule(text) if text else ""


def _hex(text: str) -> str | None:
    return text.upper() if _HEX.fullmatch(text) else None


@lru_cache(maxsize=_EPCS)  # reads and roster name the same ones
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


def _at_least(low: int) -> Callable[[str], float | None]:
    return lambda text: float(text) if _WHOLE.fullmatch(text) and float(text) >= low else None


def _day(text: str) -> str | None:
    try:
        return text if date.fromisoformat(text).isoformat() == text else None
    except ValueError:
        return None


_BANK = "hex of whole bytes without prefix, or empty"
RULES = {
    "read_point": Rule(NAME_ALLOWED, _name),
    "pass_id": Rule(NAME_ALLOWED, _name),
    "power_dbm": Rule(
        f"a number from {LEVEL_DBM_MIN:g} to {LEVEL_DBM_MAX:g} (dBm)",
        _within(LEVEL_DBM_MIN, LEVEL_DBM_MAX),
    ),
    "power_mw": Rule(
        f"a number from {10 ** (LEVEL_DBM_MIN / 10):g} to {10 ** (LEVEL_DBM_MAX / 10):,.0f} (mW)",
        _dbm_of_mw,
    ),
    "rssi_dbm": Rule(
        f"a number from {RSSI_DBM_MIN:g} to {RSSI_DBM_MAX:g} (dBm)",
        _within(RSSI_DBM_MIN, RSSI_DBM_MAX),
    ),
    "epc": Rule(f"hex of 1 to {EPC_BYTES_MAX} whole bytes without prefix", _epc),
    "role": Rule("wanted or stray", _role),
    "tid": Rule(_BANK, _or_empty(_hex)),
    "user": Rule(_BANK, _or_empty(_hex)),
    "tag_type": Rule(f"{NAME_ALLOWED}, or empty", _or_empty(_name)),
    "antenna": Rule(
        f"a whole number from 1 to {ANTENNA_MAX}, or empty",
        _or_empty(lambda text: _within(1, ANTENNA_MAX)(text) if _WHOLE.fullmatch(text) else None),
    ),
    "reads": Rule("a whole number of 1 or more, or empty", _or_empty(_at_least(1))),
    "t_s": Rule(
        f"a number from 0 to {SECONDS_MAX:,} (seconds), or empty",
        _or_empty(_within(0, SECONDS_MAX)),
    ),
    "dwell_s": Rule(
        f"a number from 0.000001 to {SECONDS_MAX:,} (seconds), or empty",
        _or_empty(_within(1e-6, SECONDS_MAX)),
    ),
    "condition": Rule(f"{NAME_ALLOWED}, or empty", _or_empty(_name)),
    "day": Rule("a date such as 2024-05-31, or empty", _or_empty(_day)),
    "weight": Rule(
        f"a number from {WEIGHT_MIN:g} to {WEIGHT_MAX:,.0f}, or empty",
        _or_empty(_within(WEIGHT_MIN, WEIGHT_MAX)),
    ),
    "channel_mhz": Rule("a number from 840 to 960 (MHz), or empty", _or_empty(_within(840, 960))),
}
MEASURED = {  # columns of numbers, and what they are kept as
    "power_dbm": "power_dbm",
    "power_mw": "power_dbm",
    **{
        name: name
        for name in ("rssi_dbm", "antenna", "reads", "t_s", "channel_mhz", "dwell_s", "weight")
    },
}
NUMBERS = frozenset(MEASURED)


def row_schema(kind: Kind) -> dict[str, Any]:
    """The JSON Schema of a row given as an object: its keys, their types, what they may hold."""
    properties: dict[str, Any] = {}
    for name in NEEDED[kind] + OPTIONAL[kind]:
        types = ["number", "string"] if name in NUMBERS else ["string"]
        given = name in NEEDED[kind] or name in _POWER
        allowed = RULES[name].allowed
        properties[name] = {"type": types if given else [*types, "null"], "description": allowed}
    schema = {"type": "object", "properties": properties, "additionalProperties": False}
    needed = [name for name in NEEDED[kind] if name not in _POWER]
    if "power_mw" in properties:
        powers = [{"required": [name]} for name in ("power_dbm", "power_mw")]
        return schema | {"required": needed, "oneOf": powers}
    return schema | {"required": needed}


def judge_header(
    names: list[str], line: int | None, source: str, kind: Kind, faults: FaultList
) -> bool:
    """Whether the column names are those of the kind: each once, none missing, none unknown."""
    known = NEEDED[kind] + OPTIONAL[kind]
    if len(names) == 1 and any(mark in names[0] for mark in ";\t|"):
        wrong, todo = "no comma stands between the column names", "Separate columns by commas."
        faults.add(Fault(source, line, None, names[0], todo, wrong=wrong))
        return False
    found: list[Fault] = []
    for name in dict.fromkeys(names):
        if name not in known:
            wrong = f'unknown column "{name}"' if name else "a column without a name"
            todo = f"Known columns: {', '.join(known)}{nearest_hint(name, known)}."
            found.append(Fault(source, line, None, name, todo, wrong=wrong))
        elif names.count(name) > 1:
            times, todo = f"{names.count(name)} times", "each column once"
            wrong = f"the column stands {times}"
            found.append(Fault(source, line, name, times, todo, wrong=wrong))
    both = set(_POWER) <= set(names)
    if both and "power_mw" in known:
        both_of = " and ".join(_POWER)
        wrong, todo = f"the columns {both_of} exclude each other", "one of the two"
        found.append(Fault(source, line, None, both_of, todo, wrong=wrong))
    for name in NEEDED[kind]:
        if name not in names and not (name == "power_dbm" and "power_mw" in names):
            todo = "Add it to the header and to each row."
            found.append(Fault(source, line, name, "", todo, wrong="the column is missing"))
    for fault in found:
        faults.add(fault)
    return not found
