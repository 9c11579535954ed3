"""Tables judged: rows whose every value is allowed, and their places on the axes of a survey."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from strategist.survey.columns import MEASURED, RULES
from strategist.survey.faults import FaultList
from strategist.survey.policy import DECIMALS, Policy
from strategist.survey.records import Bools, Floats, Ints, Kind
from strategist.survey.tables import Table
from strategist.survey.texts import Texts

MW_WITHIN_DB = 0.05  # 15 dBm is 31.6 mW, which people write as 32 (15.05 dBm)


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows whose every value is allowed.

    `texts` holds names, roles and upper-case hex, "" where nothing was given; `numbers` holds the
    columns of `columns.MEASURED`, NaN where nothing was given. A column that the file lacks is
    absent. `in_mw` says that powers were given in milliwatts, which are as a rule rounded.
    """

    source: str
    lines: Ints
    texts: Mapping[str, Texts]
    numbers: Mapping[str, Floats]
    in_mw: bool

    def __len__(self) -> int:
        return len(self.lines)

    def take(self, rows: Ints | Bools) -> Rows:
        """Some of the rows, by number or by mask."""
        if rows.dtype == bool and rows.all():
            return self
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
        if not (self.in_mw and "power_dbm" in self.numbers and len(levels) and len(self)):
            return self
        power = self.numbers["power_dbm"]
        nearest = levels[np.abs(power[:, None] - levels).argmin(axis=1)]
        meant = np.abs(power - nearest) <= MW_WITHIN_DB + 10.0**-DECIMALS
        numbers = {**self.numbers, "power_dbm": np.where(meant, nearest, power)}
        return replace(self, numbers=numbers)

    def by_read_point(self) -> dict[str, Rows]:
        """The rows of each read point, in the order of the file."""
        points = self.texts["read_point"]
        if len(names := points.used()) == 1:
            return {points.values[names[0]]: self}
        order = np.argsort(points.codes, kind="stable")
        codes, starts = np.unique(points.codes[order], return_index=True)
        parts = np.split(order, starts[1:]) if len(codes) else []
        return {
            points.values[code]: self.take(part) for code, part in zip(codes, parts, strict=True)
        }


@dataclass(frozen=True, eq=False)
class PointRows:
    """The rows of one read point in each table; "tried" and "passes" are lacking where the case has
    none."""

    name: str
    policy: Policy
    files: Mapping[Kind, Rows]
    policy_source: str

    @property
    def roster(self) -> Rows:
        return self.files["roster"]

    @property
    def reads(self) -> Rows:
        return self.files["reads"]

    @property
    def tried(self) -> Rows | None:
        return self.files.get("tried")

    @property
    def passes(self) -> Rows | None:
        return self.files.get("passes")

    def at_levels(self, levels: Floats) -> PointRows:
        """With powers from milliwatts moved to the levels that are meant."""
        return replace(self, files={k: rows.at_levels(levels) for k, rows in self.files.items()})


def judge(table: Table, faults: FaultList) -> Rows:
    """The table's values; spaces round a value do not count.

    Adds the table's own faults and one for each cell that is not allowed. Where there are faults
    the rows are of no use.
    """
    faults.extend(table.faults)
    texts: dict[str, Texts] = {}
    numbers: dict[str, Floats] = {}
    for name, column in table.columns.items():
        rule = RULES[name]
        values = [rule.value(text.strip()) for text in column.values]
        unfit = np.array([value is None for value in values], bool)
        bad = np.flatnonzero(unfit[column.codes]) if unfit.any() else np.empty(0, np.int64)
        faults.add_rows(
            table.source,
            name,
            table.lines[bad],
            lambda i, column=column, bad=bad: column[bad[i]],  # type: ignore[misc]
            lambda i, rule=rule: rule.allowed,  # type: ignore[misc]
        )
        if name in MEASURED:
            known = [math.nan if value in (None, "") else float(value or 0) for value in values]
            numbers[MEASURED[name]] = np.array(known, np.float64)[column.codes]
        else:
            same = [str(value) for value in values]
            place = {text: number for number, text in enumerate(dict.fromkeys(same))}
            codes = np.array([place[text] for text in same], np.int32)
            texts[name] = Texts(codes[column.codes], tuple(place))
    return Rows(table.source, table.lines, texts, numbers, "power_mw" in table.columns)


@dataclass(frozen=True, eq=False)
class Axes:
    """Pass ids in natural order and EPCs in text order; places on them are a survey's indices."""

    passes: tuple[str, ...]
    epcs: tuple[str, ...]

    def pass_of(self, rows: Rows) -> Ints:
        """The place of each row's pass."""
        return _places(rows.texts["pass_id"], self._place_of_pass)

    def tag_of(self, rows: Rows) -> Ints:
        """The place of each row's tag."""
        return _places(rows.texts["epc"], self._place_of_tag)

    def pair_of(self, rows: Rows) -> Ints:
        """One number for each row's (pass, tag)."""
        return self.pass_of(rows) * len(self.epcs) + self.tag_of(rows)

    @cached_property
    def _place_of_pass(self) -> dict[str, int]:
        return {name: number for number, name in enumerate(self.passes)}

    @cached_property
    def _place_of_tag(self) -> dict[str, int]:
        return {name: number for number, name in enumerate(self.epcs)}


def names_in(column: str, *files: Rows | None) -> set[str]:
    return {
        rows.texts[column].values[code]
        for rows in files
        if rows is not None
        for code in rows.texts[column].used()
    }


def _places(column: Texts, place: Mapping[str, int]) -> Ints:
    used, places = column.used(), np.empty(len(column.values), np.int64)
    places[used] = [place[column.values[code]] for code in used.tolist()]
    found: Ints = places[column.codes]
    return found
