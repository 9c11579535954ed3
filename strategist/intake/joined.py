"""Several logs as one table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from strategist.errors import Fault
from strategist.intake.read import Table
from strategist.intake.terms import Role
from strategist.intake.times import DATELESS, NEVER, Times
from strategist.survey.faults import FaultList
from strategist.survey.records import Floats, Ints
from strategist.survey.texts import Texts


def joined(tables: Sequence[Table], faults: FaultList) -> Table:
    """The rows of all tables, in order; what one of them lacks is not given in its rows."""
    first = tables[0]
    if len(tables) == 1:
        return first
    dateless = {one.forms["time"] in DATELESS for one in tables if "time" in one.forms}
    if len(dateless) > 1:
        allowed = "times with a date in each log, or in none"
        wrong = "some logs have times with a date, and others without"
        faults.add(Fault(first.source, None, "time", "", allowed, wrong=wrong))
    roles: list[Role] = list(dict.fromkeys(role for one in tables for role in one.texts))
    return replace(
        first,
        source=f"{first.source} and {len(tables) - 1} more",
        lines=np.concatenate([one.lines for one in tables]),
        columns=tuple(column for one in tables for column in one.columns),
        texts={role: _texts([one.texts.get(role) for one in tables], tables) for role in roles},
        numbers={
            role: np.concatenate([_numbers(one, role) for one in tables])
            for role in dict.fromkeys(role for one in tables for role in one.numbers)
        },
        times=_times(tables),
        forms={role: form for one in reversed(tables) for role, form in one.forms.items()},
        assumed=tuple(dict.fromkeys(f"{o.source}: {text}" for o in tables for text in o.assumed)),
    )


def _texts(columns: Sequence[Texts | None], tables: Sequence[Table]) -> Texts:
    places: dict[str, int] = {}
    codes = []
    for column, table in zip(columns, tables, strict=True):
        if column is None:
            codes.append(np.full(len(table), places.setdefault("", len(places))))
            continue
        own = [places.setdefault(value, len(places)) for value in column.values]
        codes.append(np.array(own, np.int64)[column.codes])
    return Texts(np.concatenate(codes), tuple(places))


def _numbers(table: Table, role: Role) -> Floats:
    return table.numbers[role] if role in table.numbers else np.full(len(table), np.nan)


def _times(tables: Sequence[Table]) -> dict[Role, tuple[Times, Ints]]:
    having = [one for one in tables if "time" in one.times]
    if not having:
        return {}
    forms = [one.times["time"][0].form for one in having]
    wall, utc = (
        np.concatenate([_clock(one, wall=wall) for one in tables]) for wall in (True, False)
    )
    zoned = all(one.times["time"][0].zoned for one in having)
    return {"time": (Times(forms[0], wall, utc, zoned), np.arange(len(wall)))}


def _clock(table: Table, *, wall: bool) -> Ints:
    found = table.time("time", wall=wall)
    return np.full(len(table), NEVER) if found is None else found
