"""When something happened, from the many ways in which it is written down.

Times are microseconds (int64); `NEVER` marks a cell without one. Those with a date count from
1970-01-01 by the clock as written, times of day from midnight, and uptimes from any moment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from strategist.survey.records import Bools, Ints

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
    r"\s*(Z|[+-]\d{2}:?\d{2})?$"
)


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
    series = pd.Series(list(values), dtype=object)
    if form in _EPOCHS:
        found = _numeric(series, _EPOCHS[form])
        return Times(form, found, found, form.startswith("epoch"))
    if form == "iso":
        quick = _iso(series)
        if quick is not None:
            return quick
    return _by_parts(series, form)


def _numeric(series: pd.Series, unit: int) -> Ints:
    text = series.str.replace(",", ".", regex=False)
    if unit == 1:
        whole = pd.to_numeric(text, errors="coerce")
        return _or_never(np.round(whole.to_numpy(np.float64)))
    return _or_never(np.round(pd.to_numeric(text, errors="coerce").to_numpy(np.float64) * unit))


def _or_never(microseconds: npt.NDArray[np.float64]) -> Ints:
    fine = np.isfinite(microseconds) & (np.abs(microseconds) < 9e18)
    found = np.full(len(microseconds), NEVER)
    found[fine] = microseconds[fine].astype(np.int64)
    return found


def _iso(series: pd.Series) -> Times | None:
    """By pandas' parser; None where it does not take every value that is there."""
    text = series.str.replace(",", ".", regex=False)
    given = (text != "").to_numpy(bool)
    zones = text.str.contains(r"(?:Z|\d[+-]\d{2}:?\d{2})$", regex=True)
    if zones[given].any() and not zones[given].all():
        return None
    parsed = pd.to_datetime(text.where(given, None), format="ISO8601", utc=True, errors="coerce")
    if parsed[given].isna().any():
        return None
    utc = _microseconds(parsed)
    if not zones.any():
        return Times("iso", utc, utc, False)
    zone = text.str.extract(r"(Z|[+-]\d{2}:?\d{2})$")[0]
    return Times("iso", np.where(utc == NEVER, NEVER, utc + _zone(zone)), utc, True)


def _microseconds(parsed: pd.Series) -> Ints:
    stamps = parsed.dt.tz_localize(None).to_numpy("datetime64[us]")
    return np.where(np.isnat(stamps), NEVER, stamps.astype(np.int64))


def _by_parts(series: pd.Series, form: str) -> Times:
    parts = series.str.extract(_PARTS)
    here = parts[0].notna() if form != "time_of_day" else parts[3].notna() & parts[0].isna()
    number = {i: pd.to_numeric(parts[i], errors="coerce").fillna(0) for i in (0, 1, 2, 3, 4, 5)}
    fraction = parts[6].fillna("0").str.ljust(6, "0").str.slice(0, 6).astype(np.int64)
    half = parts[7].str.lower()
    twelve = number[3] % 12 + 12.0 * (half == "pm")
    hour = number[3].where(half.isna(), twelve)
    of_day = ((hour * 60 + number[4]) * 60 + number[5]) * SECOND + fraction
    sound = here & (hour < 24) & (number[4] < 60) & (number[5] < 61)
    if form == "time_of_day":
        day = pd.Series(0.0, index=series.index)
    else:
        order = {"iso": (0, 1, 2), "d.m.y": (2, 1, 0), "m/d/y": (2, 0, 1)}[form]
        year, month, date = (number[i].astype(np.int64) for i in order)
        year = year.where(year >= 100, year + 2000)
        frame = pd.DataFrame({"year": year, "month": month, "day": date})
        days = pd.to_datetime(frame, errors="coerce")
        sound &= days.notna()
        stamps = days.to_numpy("datetime64[D]").astype(np.int64)
        day = pd.Series(np.where(days.notna(), stamps, 0.0), index=series.index)
    wall = np.where(sound, day * DAY + of_day, NEVER).astype(np.int64)
    zone = _zone(parts[8])
    utc = np.where(wall == NEVER, NEVER, wall - zone)
    given = (series != "").to_numpy(bool)
    return Times(form, wall, utc, bool(given.any() and parts[8].notna()[given].all()))


def _zone(texts: pd.Series) -> Ints:
    """Microseconds that each zone is ahead of UTC; 0 where none is written."""
    plain = texts.fillna("Z").str.replace(":", "", regex=False).where(lambda t: t != "Z", "+0000")
    sign = np.where(plain.str.startswith("-"), -1, 1)
    minutes = plain.str.slice(1, 3).astype(int) * 60 + plain.str.slice(3, 5).astype(int)
    return np.asarray(sign * minutes.to_numpy(np.int64) * 60 * SECOND)
