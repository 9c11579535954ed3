"""A raw table as it lies in a file: names, a sample, and columns of text when asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from strategist.survey.records import Ints
from strategist.survey.texts import Texts

COLUMNS_MAX = 1000  # a log with more is none
SAMPLED = 2000  # rows that are looked at to tell what a column holds


@dataclass(frozen=True, eq=False)
class Sheet:
    """A table of a file. `load(places)` gives these columns, and the line of each row from 1.

    `named` is False where the file has no header line; the names are then "column 1" and so on.
    `sample` holds the first rows, `notes` what was assumed of the file's form; `part` names the
    sheet of a workbook, `hints` say how a column is written where the file's own format settles it.
    """

    source: str
    names: tuple[str, ...]
    named: bool
    sample: Sequence[Sequence[str]]
    load: Callable[[Sequence[int]], tuple[list[Texts], Ints]]
    notes: tuple[str, ...] = ()
    part: str | None = None
    hints: Mapping[str, str] = field(default_factory=dict)

    def column(self, place: int) -> list[str]:
        """The sample's cells of a column that are not empty."""
        return [text for row in self.sample if (text := row[place].strip())]


def sheet_of_columns(
    source: str,
    names: Sequence[str],
    columns: Sequence[Sequence[str]],
    lines: Sequence[int],
    notes: Sequence[str] = (),
    *,
    named: bool = True,
    part: str | None = None,
    hints: Mapping[str, str] | None = None,
) -> Sheet:
    """A sheet whose columns are at hand."""

    def load(places: Sequence[int]) -> tuple[list[Texts], Ints]:
        return [coded(columns[place]) for place in places], np.array(lines, np.int64)

    sample = list(zip(*(column[:SAMPLED] for column in columns), strict=True))
    return Sheet(source, tuple(names), named, sample, load, tuple(notes), part, hints or {})


def coded(texts: Sequence[str] | pd.Series) -> Texts:
    """A column with each value once; spaces round a value do not count."""
    array = texts.to_numpy(object) if isinstance(texts, pd.Series) else np.array(texts, object)
    codes, values = pd.factorize(array)
    stripped = [str(value).strip() for value in values]
    same, known = pd.factorize(np.array(stripped, object))
    return Texts(
        same.astype(np.int64)[codes] if len(same) else codes.astype(np.int64), tuple(known)
    )


def used(column: Texts) -> Texts:
    """The column without values that no row has."""
    codes, back = np.unique(column.codes, return_inverse=True)
    return Texts(back.astype(np.int64), tuple(column.values[code] for code in codes))


class Growing:
    """A sheet that grows row by row; a column that a row lacks is empty there."""

    def __init__(self) -> None:
        self._columns: dict[str, list[str]] = {}
        self._lines: list[int] = []
        self._same: dict[str, str] = {}  # each text is kept once

    @property
    def names(self) -> list[str]:
        """The columns so far, in the order in which they were met."""
        return list(self._columns)

    def __len__(self) -> int:
        return len(self._lines)

    def add(self, line: int, row: Mapping[str, str]) -> None:
        """Take a row."""
        for name, text in row.items():
            column = self._columns.setdefault(name, [])
            column.extend([""] * (len(self._lines) - len(column)))
            column.append(self._same.setdefault(text, text))
        self._lines.append(line)

    def column(self, name: str) -> list[str]:
        """A column of all rows."""
        column = self._columns[name]
        column.extend([""] * (len(self._lines) - len(column)))
        return column

    def sheet(
        self,
        source: str,
        names: Sequence[str],
        notes: Sequence[str],
        hints: Mapping[str, str] | None = None,
    ) -> Sheet:
        """The sheet with these columns."""
        columns = [self.column(name) for name in names]
        return sheet_of_columns(source, names, columns, self._lines, notes, hints=hints)
