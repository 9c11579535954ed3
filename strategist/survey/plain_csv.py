"""The columns of a CSV file without quotes: split where it is small, else by pandas' parser.

Such a file has one row a line. Where anything else is in doubt, nothing is said: the careful way of
`tables` knows every line.
"""

from __future__ import annotations

import csv
import io

import numpy as np

from strategist.survey.records import Ints
from strategist.survey.texts import Texts

SMALL = 3_000_000  # bytes that are split sooner than pandas is loaded


def parse_plain(data: bytes, names: list[str]) -> tuple[dict[str, Texts], Ints] | None:
    """The columns with the line of each row, or None where only the careful way will do."""
    if b'"' in data or data.count(b"\r") != data.count(b"\r\n"):
        return None
    lines = data.count(b"\n") + 1
    if data.count(b",") != (len(names) - 1) * lines:
        return None
    columns = (_split if len(data) < SMALL else _by_pandas)(data, names, lines)
    return None if columns is None else (columns, np.arange(2, lines + 1))


def _split(data: bytes, names: list[str], lines: int) -> dict[str, Texts] | None:
    """The cells of all rows in turn, once each row is known to have as many as there are names."""
    rows = data.decode().replace("\r\n", "\n").split("\n")
    commas, count = len(names) - 1, len(names)
    if any(row.count(",") != commas for row in rows):
        return None
    cells = ",".join(rows[1:]).split(",") if lines > 1 else []
    columns = {}
    for place, name in enumerate(names):
        column = cells[place::count]
        known = {text: code for code, text in enumerate(dict.fromkeys(column))}
        codes = np.fromiter(map(known.__getitem__, column), np.int64, len(column))
        columns[name] = Texts(codes, tuple(known))
    return columns


def _by_pandas(data: bytes, names: list[str], lines: int) -> dict[str, Texts] | None:
    """Each row has the same number of commas exactly when the totals fit, no line is too long
    (which pandas refuses) and the first row is not.

    As categories, since the parser then makes one text of each value, not of each cell: ten million
    rows take 3 s and 0.4 GB; 9 s and 1.6 GB as texts that are made categories afterwards. pyarrow
    takes as long as categories do.
    """
    import pandas as pd  # noqa: PLC0415 (slow to load)

    start = data.find(b"\n") + 1
    end = max(data.find(b"\n", start), start)
    if data.count(b",", start, end) > len(names) - 1:
        return None
    try:
        frame = pd.read_csv(
            io.BytesIO(data),
            dtype="category",
            na_filter=False,
            names=names,
            header=0,
            quoting=csv.QUOTE_NONE,
        )
    except ValueError:
        return None
    if len(frame) != lines - 1 or list(frame.columns) != names:
        return None
    return {
        name: Texts(frame[name].cat.codes.to_numpy(), tuple(frame[name].cat.categories))
        for name in names
    }
