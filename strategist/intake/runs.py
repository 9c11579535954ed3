"""The run sheet: which pass was presented when, at which level, with which tags."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from strategist.errors import Fault
from strategist.intake.clock import Clocks
from strategist.intake.read import Table
from strategist.intake.terms import Role
from strategist.intake.times import DAY, NEVER, SECOND, forms_of_times, times_of
from strategist.survey.faults import FaultList
from strategist.survey.order import some
from strategist.survey.records import Floats, Ints

_PARTS = re.compile(r"[;,|/]|\s+")
_FILLED: tuple[Role, ...] = ("read_point", "pass", "condition", "date")  # merged cells leave blanks


@dataclass(frozen=True, eq=False)
class Runs:
    """The rows of a run sheet as columns: `passes`, `points`, `conditions`, `days`, `rospecs`,
    `wanted` and `strays` are texts ("" none), `level` and `weight` are NaN and `start` and `end`
    NEVER where not given; `dwell` is in seconds. `has` names the roles that the sheet has."""

    source: str
    lines: Ints
    passes: tuple[str, ...]
    points: tuple[str, ...]
    start: Ints
    end: Ints
    level: Floats
    weight: Floats
    conditions: tuple[str, ...]
    days: tuple[str, ...]
    rospecs: tuple[str, ...]
    wanted: tuple[tuple[str, ...], ...]
    strays: tuple[tuple[str, ...], ...]
    dwell: Floats
    has: frozenset[str]
    assumed: tuple[str, ...] = field(default=())

    def __len__(self) -> int:
        return len(self.lines)


def runs_of(table: Table, clocks: Clocks | None, point: str, faults: FaultList) -> Runs:
    """The rows of a run sheet; a sheet without a pass column has a pass in each row."""
    count = len(table)
    assumed: list[str] = []
    texts = {role: _filled(table, role, assumed) for role in _FILLED}
    passes = texts["pass"]
    if "pass" not in table.texts:
        passes = [f"p{i:0{max(4, len(str(count)))}d}" for i in range(1, count + 1)]
        assumed.append(f"each of the {count} rows of the run sheet is a pass, numbered from p0001")
        if "power" in table.texts:
            wrong = "no column tells which rows are one pass at several levels"
            allowed = "a column with the number or name of the pass in each row"
            faults.add(Fault(table.source, None, "pass", "", allowed, wrong=wrong))
    for row in [i for i, name in enumerate(passes) if not name]:
        allowed = "the number or name of the pass"
        faults.add(Fault(table.source, int(table.lines[row]), "pass", "", allowed))
    never, none = np.full(count, NEVER), np.full(count, np.nan)
    start, end = never, never
    if clocks is not None and clocks.start is not None:
        start, end = _windows(table, clocks, assumed, faults)
    days = _days(table, texts["date"], faults)
    return Runs(
        table.source,
        table.lines,
        tuple(passes),
        tuple(name or point for name in texts["read_point"]),
        start,
        end,
        table.numbers.get("power", none),
        table.numbers.get("weight", none),
        tuple(texts["condition"]),
        days,
        _texts(table, "rospec"),
        _listed(table, "wanted"),
        _listed(table, "stray"),
        _dwell(start, end, table, clocks),
        frozenset(column.role for column in table.columns if column.role is not None),
        tuple(assumed),
    )


def _filled(table: Table, role: Role, assumed: list[str]) -> list[str]:
    """A column's texts; a blank below a value is as the cell above, as where cells were merged."""
    if role not in table.texts:
        return [""] * len(table)
    texts = list(_texts(table, role))
    blanks = 0
    for row in range(1, len(texts)):
        if not texts[row] and texts[row - 1] and role in ("pass", "read_point"):
            texts[row] = texts[row - 1]
            blanks += 1
    if blanks:
        assumed.append(f"{blanks} blank cells of {role} on the run sheet are as the cell above")
    return texts


def _dwell(start: Ints, end: Ints, table: Table, clocks: Clocks | None) -> Floats:
    """How long the reader listened in each row, in seconds; NaN where its end was not given."""
    given = np.zeros(len(start), bool)
    if clocks is not None and clocks.end is not None:
        given |= clocks.end != NEVER
    if "duration" in table.numbers:
        given |= np.isfinite(table.numbers["duration"])
    given &= (start != NEVER) & (end != NEVER)
    return np.where(given, (end - start) / SECOND, np.nan)


def _texts(table: Table, role: Role) -> tuple[str, ...]:
    column = table.texts.get(role)
    return ("",) * len(table) if column is None else tuple(column[i] for i in range(len(table)))


def _days(table: Table, texts: list[str], faults: FaultList) -> tuple[str, ...]:
    """The day of each row as an ISO date."""
    given = [text for text in dict.fromkeys(texts) if text]
    likely = forms_of_times(given, dates=True)
    if given and len(likely) != 1:
        allowed = "days written one way that can be told, best as 2026-03-09"
        faults.add(Fault(table.source, None, "date", some(given[:3]), allowed))
        return ("",) * len(texts)
    times = times_of(texts, likely[0]).wall if likely else np.full(len(texts), NEVER)
    found = times.astype("datetime64[us]").astype("datetime64[D]")
    return tuple("" if time == NEVER else str(day) for time, day in zip(times, found, strict=True))


def _listed(table: Table, role: Role) -> tuple[tuple[str, ...], ...]:
    """The tags or lists named in each row: parted by semicolons, commas, bars or blanks, unless
    the whole cell is the name of one."""
    return tuple((text,) if text else () for text in _texts(table, role))


def parts_of(cell: str, known: Callable[[str], bool]) -> list[str]:
    """The names in a cell: itself where it is known, else its parts."""
    if known(cell):
        return [cell]
    by_mark = [part.strip() for part in re.split(r"[;,|]", cell) if part.strip()]
    if all(known(part) for part in by_mark):
        return by_mark
    return [part for part in _PARTS.split(cell) if part]


def _windows(
    table: Table, clocks: Clocks, assumed: list[str], faults: FaultList
) -> tuple[Ints, Ints]:
    """Start and end of each row: as given, by the duration, or where the next row starts."""
    start, end = clocks.start, clocks.end
    assert start is not None
    lacking = np.flatnonzero(start == NEVER)
    for row in lacking:
        allowed = "the time at which the pass began"
        faults.add(Fault(table.source, int(table.lines[row]), "start", "", allowed))
    if end is None:
        end = np.full(len(start), NEVER)
    if "duration" in table.numbers:
        long = table.numbers["duration"]
        given = (end == NEVER) & np.isfinite(long) & (start != NEVER)
        end = np.where(given, start + np.nan_to_num(long * SECOND).astype(np.int64), end)
    open_ = np.flatnonzero(end == NEVER)
    if len(open_):
        order = np.argsort(start, kind="stable")
        following = np.append(start[order][1:], np.iinfo(np.int64).max)
        ends = np.empty(len(start), np.int64)
        ends[order] = following
        end = np.where(end == NEVER, ends, end)
        assumed.append(f"{len(open_)} passes without an end last until the next one begins")
    bare = table.forms.get("end") == "time_of_day"
    end = np.where(bare & (end < start), end + DAY, end)
    for row in np.flatnonzero((end <= start) & (start != NEVER)):
        line = int(table.lines[row])
        faults.add(
            Fault(
                table.source,
                line,
                "end",
                "",
                "an end after the start",
                wrong="is not after the start",
            )
        )
    return start, end
