"""Two clocks laid beside each other: that of the log and that of the run sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.errors import Fault
from strategist.intake.read import Table
from strategist.intake.times import DAY, FORM_WORDS, NEVER, SECOND
from strategist.survey.faults import FaultList
from strategist.survey.order import figure
from strategist.survey.records import Ints

_SAMPLED = 20_000  # reads by which an offset is looked for
_HOURS = 14  # the farthest time zone
GAIN_MIN = 0.05  # share of all reads that a shifted clock must bring into windows to be suspected
_FOUND_MIN, _LOST_MAX = 0.8, 0.5  # inside with the offset, and without: the clocks surely differ


@dataclass(frozen=True, eq=False)
class Clocks:
    """The log's times and the run sheet's on one clock (microseconds; NEVER: none)."""

    log: Ints
    start: Ints | None
    end: Ints | None
    assumed: tuple[str, ...]


def lay_beside(log: Table, runs: Table | None, offset_s: float, faults: FaultList) -> Clocks | None:
    """Both on one clock: by UTC where both give a zone, else as written; None without times.

    A date that one lacks is the other's where that has one only; otherwise it is asked for.
    """
    if "time" not in log.times:
        return None
    times = log.times["time"][0]
    sheet = None if runs is None or "start" not in runs.times else runs
    zoned = sheet is not None and all(t.zoned for t, _ in sheet.times.values())
    wall = not (times.zoned and zoned)
    assumed, midnights = [], 0
    at = log.time("time", wall=wall)
    assert at is not None
    if times.form == "time_of_day":
        at, midnights = _past_midnight(at)
        if midnights:
            assumed.append(f"the log's time of day goes past midnight {midnights} times")
    at = np.where(at == NEVER, NEVER, at + round(offset_s * SECOND))
    if sheet is None:
        return Clocks(at, None, None, tuple(assumed))
    start, end = sheet.time("start", wall=wall), sheet.time("end", wall=wall)
    assert start is not None
    if midnights and sheet.forms["start"] == "time_of_day":
        later = _past_midnight(start)[0] - start
        start, end = start + later, None if end is None else _moved(end, later)
    dates = _dated(log, at, sheet, start, faults)
    if dates is None:
        return None
    move_log, move_sheet = dates
    if wall and times.zoned != zoned:
        assumed.append("times on log and run sheet are taken as of one time zone, as written")
    return Clocks(
        _moved(at, move_log),
        _moved(start, move_sheet),
        None if end is None else _moved(end, move_sheet),
        tuple(assumed),
    )


def _moved(times: Ints, by: int | Ints) -> Ints:
    return np.where(times == NEVER, NEVER, times + by)


def _past_midnight(times: Ints) -> tuple[Ints, int]:
    """Times of day in the log's order, a day later after each fall by half a day or more."""
    known = np.flatnonzero(times != NEVER)
    falls = np.diff(times[known], prepend=times[known][:1]) <= -DAY // 2
    days = np.zeros(len(times), np.int64)
    days[known] = np.cumsum(falls)
    return np.where(times == NEVER, NEVER, times + days * DAY), int(falls.sum())


def _dated(
    log: Table, at: Ints, sheet: Table, start: Ints, faults: FaultList
) -> tuple[int, int] | None:
    """What to add to the log's times and to the sheet's, so that both are of the same days."""
    form, of_sheet, source = log.forms["time"], sheet.forms["start"], log.source
    log_bare, sheet_bare = form == "time_of_day", of_sheet == "time_of_day"
    relative = {"uptime_us", "seconds"}
    if (form in relative) != (of_sheet in relative):
        allowed = (
            "times by the clock of the run sheet; or tell passes by their pauses ("
            "passes_by and pause_s in the mapping file)"
        )
        faults.add(
            Fault(
                source,
                None,
                "time",
                "",
                allowed,
                wrong=f"is in {FORM_WORDS.get(form, form)}, and the run sheet's times are not",
            )
        )
        return None
    if log_bare == sheet_bare:
        return 0, 0
    dated, role, where = (start, "time", source) if log_bare else (at, "start", sheet.source)
    days = np.unique(dated[dated != NEVER] // DAY)
    if len(days) != 1:
        wrong = f"the times have no date, and those of the other file are of {len(days):,} days"
        faults.add(Fault(where, None, role, "", "times with their date", wrong=wrong))
        return None
    day = int(days[0]) * DAY
    return (day, 0) if log_bare else (0, day)


@dataclass(frozen=True)
class Offset:
    """A shift of the log's clock (seconds) that brings more reads into windows."""

    seconds: float
    inside: int
    without: int
    reads: int

    @property
    def sure(self) -> bool:
        """Whether the clocks must differ: hardly a read fits without, most do with the shift."""
        share = self.inside / self.reads
        return share >= _FOUND_MIN and self.without <= _LOST_MAX * self.reads

    def text(self) -> str:
        return (
            f"The clocks of log and run sheet seem to be {_long(abs(self.seconds))} apart: "
            f"{self.without:,} of {self.reads:,} reads looked at lie inside a pass, and "
            f"{self.inside:,} would if the log's times were {_long(abs(self.seconds))} "
            f"{'later' if self.seconds > 0 else 'earlier'}."
        )


def _long(seconds: float) -> str:
    """A span of time in its largest unit that is whole, with its seconds."""
    plain = f"{figure(seconds)} s"
    for unit, name in ((86_400, "day"), (3600, "hour")):
        if seconds >= unit and seconds % unit == 0:
            many = round(seconds / unit)
            return f"{many:,} {name}{'' if many == 1 else 's'} ({plain})"
    return plain


def offset_of(times: Ints, start: Ints, end: Ints) -> Offset | None:
    """The shift that puts most reads into windows, where it gains enough; None: the clocks fit."""
    known = np.sort(times[times != NEVER])
    if not len(known) or not len(start):
        return None
    reads = known[:: max(1, len(known) // _SAMPLED)]
    order = np.argsort(start)
    begins, ends = start[order], end[order]
    reached = np.maximum.accumulate(np.append(begins[:1], ends[:-1]))
    begins = np.maximum(begins, reached)  # a read in two windows is one that is inside
    ends = np.maximum(ends, begins)

    def inside(shift: float) -> int:
        low, high = begins - int(shift * SECOND), ends - int(shift * SECOND)
        return int((np.searchsorted(reads, high) - np.searchsorted(reads, low)).sum())

    quarters = [900.0 * i for i in range(-4 * _HOURS, 4 * _HOURS + 1)]
    first = (float(begins[0]) - float(reads[0])) / SECOND
    near = [float(i) for i in range(-300, 301, 2)]
    rough = max([*quarters, *near, first], key=lambda s: (inside(s), -abs(s)))
    fine = max((rough + i / 2 for i in range(-20, 21)), key=lambda s: (inside(s), -abs(s - rough)))
    best = _middle(inside, fine)
    found = Offset(round(best, 1), inside(round(best, 1)), inside(0.0), len(reads))
    return found if found.inside - found.without >= GAIN_MIN * len(reads) else None


def _middle(inside: object, best: float) -> float:
    """Of the shifts that are as good the roundest near their middle: whole hours, minutes, …"""
    assert callable(inside)
    most, low, high = inside(best), best, best
    while inside(low - 0.5) == most and best - low < 60:
        low -= 0.5
    while inside(high + 0.5) == most and high - best < 60:
        high += 0.5
    middle = (low + high) / 2
    for unit in (3600, 900, 60, 1):
        if low <= unit * round(middle / unit) <= high:
            return float(unit * round(middle / unit))
    return middle
