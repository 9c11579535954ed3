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
PIECE = 32_000_000  # bytes that pandas is given at once


def parse_plain(data: bytes, names: list[str]) -> tuple[dict[str, Texts], Ints] | None:
    """The columns with the line of each row, or None where only the careful way will do.

    The names may be quoted: some programs quote every text, but a number.
    """
    start = data.find(b"\n") + 1
    if not start or data.find(b'"', start) >= 0 or data.count(b"\r") != data.count(b"\r\n"):
        return None
    commas, lines = len(names) - 1, data.count(b"\n") + 1
    if data.count(b",") != commas * lines or data.count(b",", 0, start) != commas:
        return None
    columns = (_split if len(data) < SMALL else _by_pandas)(data, start, names, lines - 1)
    return None if columns is None else (columns, np.arange(2, lines + 1))


def _split(data: bytes, start: int, names: list[str], count: int) -> dict[str, Texts] | None:
    """The cells of all rows in turn, once each row is known to have as many as there are names."""
    rows = data[start:].decode().replace("\r\n", "\n").split("\n")
    if any(row.count(",") != len(names) - 1 for row in rows):
        return None
    cells = ",".join(rows).split(",")
    columns = {}
    for place, name in enumerate(names):
        column = cells[place :: len(names)]
        known = {text: code for code, text in enumerate(dict.fromkeys(column))}
        codes = np.fromiter(map(known.__getitem__, column), np.int64, count)
        columns[name] = Texts(codes, tuple(known))
    return columns


def _by_pandas(data: bytes, start: int, names: list[str], count: int) -> dict[str, Texts] | None:
    """Each row has the same number of commas exactly when the totals fit and no line is too long,
    which pandas refuses where the first one is not.

    As categories, since the parser then makes a text of each value, not of each cell, and by
    pieces. Before each stands a row of the names, so that no column looks like one of numbers,
    whose texts would be lost. Ten million rows take 3 s; 9 s and 1.6 GB as texts that are made
    categories afterwards. pyarrow and its dictionaries take as long as this.
    """
    import pandas as pd  # noqa: PLC0415 (slow to load)

    known: list[dict[str, int]] = [{} for _ in names]
    codes = [np.empty(count, np.int32) for _ in names]
    row, line = 0, ",".join(names).encode() + b"\n"
    while start < len(data):
        stop = data.find(b"\n", start + PIECE) + 1 or len(data)
        try:
            frame = pd.read_csv(
                io.BytesIO(line + data[start:stop]),
                dtype="category",
                na_filter=False,
                names=names,
                quoting=csv.QUOTE_NONE,
                low_memory=False,
            ).iloc[1:]
        except ValueError:
            return None
        if len(frame) != data.count(b"\n", start, stop - 1) + 1:
            return None
        for name, texts, whole in zip(names, known, codes, strict=True):
            of = frame[name].cat
            place = np.array([texts.setdefault(text, len(texts)) for text in of.categories])
            whole[row : row + len(frame)] = place[of.codes]
        row, start = row + len(frame), stop
    return {
        name: Texts(whole, tuple(texts))
        for name, texts, whole in zip(names, known, codes, strict=True)
    }
