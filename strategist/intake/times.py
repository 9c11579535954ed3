"""When something happened, from the many ways in which it is written down.

Times are microseconds (int64); `NEVER` marks a cell without one. Those with a date count from
1970-01-01 by the clock as written, times of day from midnight, and uptimes from any moment.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from strategist.survey.records import Bools, Bytes, Floats, Ints

NEVER = np.iinfo(np.int64).min
SECOND, DAY = 1_000_000, 86_400_000_000
DATELESS = frozenset({"time_of_day", "uptime_us", "seconds"})
FORM_WORDS = {
    "iso": "ISO 8601",
    "d.m.y": "day.month.year",
    "m/d/y": "month/day/year",
    "time_of_day": "time of day without a date",
    "epoch_s": "seconds since 1970",
    "epoch_ms": "milliseconds since 1970",
    "epoch_us": "microseconds since 1970",
    "uptime_us": "microseconds since some moment",
    "seconds": "seconds since some moment",
}
_EPOCHS = {"epoch_s": SECOND, "epoch_ms": 1000, "epoch_us": 1, "uptime_us": 1, "seconds": SECOND}
_EPOCH_RANGE = (9.4e8, 4.2e9)  # seconds: the years 1999 to 2103
_PARTS = (
    r"^(?:(\d{1,4})[-./](\d{1,2})[-./](\d{1,4})(?:[T ,]+|$))?"
    r"(?:(\d{1,2})[:.](\d{2})(?:[:.](\d{2})(?:[.,](\d{1,9}))?)?)?\s*(AM|PM|am|pm)?"
    r"\s*(Z|([+-])(\d{2}):?(\d{2}))?$"
)
_PARTS_OF = re.compile(_PARTS, re.ASCII)
_LONG = 64  # characters of a time at most
_LAYOUTS_MAX = 1000


@dataclass(frozen=True, eq=False)
class Times:
    """Times of a column's values: as written, and by UTC where the zone is given (`zoned`)."""

    form: str
    wall: Ints
    utc: Ints
    zoned: bool

    @property
    def bad(self) -> Bools:
        return np.asarray(self.wall == NEVER)


def forms_of_times(values: Sequence[str], *, dates: bool = False) -> list[str]:
    """The forms that all of the sample's values have; more than one: it cannot be known. With
    `dates` they are days without a time."""
    series = pd.Series(list(values), dtype=object)
    numbers = pd.to_numeric(series.str.replace(",", ".", regex=False), errors="coerce")
    if len(values) and numbers.notna().all():
        low, high = float(numbers.min()), float(numbers.max())
        epochs = {"epoch_s": 1.0, "epoch_ms": 1e3, "epoch_us": 1e6}
        return [
            form
            for form, unit in epochs.items()
            if _EPOCH_RANGE[0] * unit <= low and high <= _EPOCH_RANGE[1] * unit
        ]
    parts = series.str.extract(_PARTS)
    dated, clocked = parts[0].notna(), parts[3].notna()
    if not dates and clocked.all() and not dated.any():
        return ["time_of_day"] * bool(len(values))
    if not dated.all() or not (dates or clocked.all()):
        return []
    dotted = bool(series.str.match(r"\d+\.\d+\.").all())
    return ["iso"] if _is_iso(parts) else _days(parts, dotted=dotted)


def _days(parts: pd.DataFrame, *, dotted: bool) -> list[str]:
    """Which of two numbers is the day; with dots between, the first (common practice)."""
    first, second = parts[0].astype(int), parts[1].astype(int)
    days = {"d.m.y": (first, second), "m/d/y": (second, first)}
    return [
        form
        for form, (day, month) in days.items()
        if day.between(1, 31).all() and month.between(1, 12).all() and not (dotted and "/" in form)
    ]


def _is_iso(parts: pd.DataFrame) -> bool:
    return bool((parts[0].str.len() == 4).all())


def times_of(values: Sequence[str], form: str) -> Times:
    """The times of a column's values, by one form; empty cells and others have `NEVER`."""
    if form in _EPOCHS:
        text = pd.Series(list(values), dtype=object).str.replace(",", ".", regex=False)
        numbers = pd.to_numeric(text, errors="coerce").to_numpy(np.float64)
        found = _or_never(np.round(numbers * _EPOCHS[form]))
        return Times(form, found, found, form.startswith("epoch"))
    wall, zone, zoned = _laid_out(values, form)
    utc = np.where(wall == NEVER, NEVER, wall - zone)
    given = wall != NEVER
    return Times(form, wall, utc, bool(given.any() and zoned[given].all()))


def _or_never(microseconds: Floats) -> Ints:
    fine = np.isfinite(microseconds) & (np.abs(microseconds) < 9e18)
    found = np.full(len(microseconds), NEVER)
    found[fine] = microseconds[fine].astype(np.int64)
    return found


def _laid_out(values: Sequence[str], form: str) -> tuple[Ints, Ints, Bools]:
    """(time as written, zone ahead of UTC, whether a zone is written) of each value.

    Values of one layout, alike but for their digits, are read together, as columns of characters:
    a log has few layouts and many times.
    """
    plain = [text if text.isascii() and len(text) <= _LONG else "" for text in values]
    cells = np.array(plain or [""], "S")
    characters = cells.view(np.uint8).reshape(len(cells), cells.itemsize)
    digits = (characters >= 48) & (characters <= 57)
    layout = np.where(digits, np.uint8(48), characters)
    wall, zone = np.full(len(cells), NEVER), np.zeros(len(cells), np.int64)
    zoned, left = np.zeros(len(cells), bool), cells != b""
    for _ in range(_LAYOUTS_MAX):
        if not left.any():
            break
        one = int(np.argmax(left))
        block = np.flatnonzero(left & (layout == layout[one]).all(axis=1))
        left[block] = False
        found = _PARTS_OF.match(plain[one])
        if found is not None:
            wall[block], zone[block] = _of_layout(found, characters[block], form)
            zoned[block] = found[9] is not None
    count = len(values)
    return wall[:count], zone[:count], zoned[:count]


def _of_layout(found: re.Match[str], characters: Bytes, form: str) -> tuple[Ints, Ints]:
    """The times and zones of values laid out as the one that was matched."""

    def number(group: int, width: int = 0) -> Ints:
        begin, end = found.span(group)
        value = np.zeros(len(characters), np.int64)
        for place in range(begin, max(end, begin + width)):
            digit = characters[:, place].astype(np.int64) - 48 if place < end else 0
            value = value * 10 + digit
        return value

    hour = number(4)
    if found[8] is not None:
        hour = hour % 12 + 12 * (found[8].lower() == "pm")
    of_day = ((hour * 60 + number(5)) * 60 + number(6)) * SECOND
    of_day += number(7, 6) // 10 ** max(len(found[7] or "") - 6, 0)
    sound = (hour < 24) & (number(5) < 60) & (number(6) < 61) & (found[4] is not None)
    if form == "time_of_day":
        return np.where(sound & (found[1] is None), of_day, NEVER), np.zeros_like(of_day)
    if found[1] is None:
        return np.full_like(of_day, NEVER), np.zeros_like(of_day)
    day, is_day = _days_since_1970(number, form)
    sound = is_day & (sound | (found[4] is None))
    zone = np.zeros_like(of_day)
    if found[10] is not None:
        zone = (number(11) * 60 + number(12)) * 60 * SECOND * (-1 if found[10] == "-" else 1)
    return np.where(sound, day * DAY + of_day, NEVER), zone


def _days_since_1970(number: Callable[[int], Ints], form: str) -> tuple[Ints, Bools]:
    """The day of a date's three numbers, and whether there is such a day."""
    order = {"iso": (1, 2, 3), "d.m.y": (3, 2, 1), "m/d/y": (3, 1, 2)}.get(form, (1, 2, 3))
    year, month, day = (number(group) for group in order)
    year = np.where(year < 100, year + 2000, year)
    is_day = (year >= 1600) & (year < 2600) & (month >= 1) & (month <= 12) & (day >= 1)
    months = np.where(is_day, (year - 1970) * 12 + month - 1, 0)
    first, following = (
        (months + more).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
        for more in (0, 1)
    )
    return first + day - 1, is_day & (first + day - 1 < following)
