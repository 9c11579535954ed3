"""The columns of a CSV file without quotes, split by a compiled loop.

Such a file has one row a line. Where anything else is in doubt, nothing is said: the careful way of
`tables` knows every line.
"""

from __future__ import annotations

import numpy as np

from strategist.survey.loops.splits import split
from strategist.survey.records import Ints
from strategist.survey.texts import Codes, Texts

PIECE = 32_000_000  # bytes that are split at once, so that what is laid out for them stays small


def parse_plain(data: bytes, names: list[str]) -> tuple[dict[str, Texts], Ints] | None:
    """The columns with the line of each row, or None where only the careful way will do.

    The names may be quoted: some programs quote every text, but a number.
    """
    start = data.find(b"\n") + 1
    header = data[:start].removesuffix(b"\n").removesuffix(b"\r")
    if not start or b"\r" in header or data.find(b'"', start) >= 0:
        return None
    if header.count(b",") != len(names) - 1:
        return None
    count, row = data.count(b"\n", start) + 1, 0
    known: list[dict[str, int]] = [{} for _ in names]
    codes = np.empty((len(names), count), np.int32)
    while row < count:
        stop = data.find(b"\n", start + PIECE) + 1 or len(data)
        columns = _split(data, start, stop, len(names))
        if columns is None:
            return None
        rows = len(columns[0][0])
        for texts, whole, (code, values) in zip(known, codes, columns, strict=True):
            place = np.array([texts.setdefault(text, len(texts)) for text in values], np.int32)
            whole[row : row + rows] = place[code]
        row, start = row + rows, stop
    columns_by_name = {
        name: Texts(code, tuple(texts))
        for name, code, texts in zip(names, codes, known, strict=True)
    }
    return columns_by_name, np.arange(2, count + 2)


def _split(
    data: bytes, start: int, stop: int, columns: int
) -> list[tuple[Codes, list[str]]] | None:
    """For each column of some whole rows the number of each cell's value, and the values; None
    where a row has more or fewer cells."""
    rows = data.count(b"\n", start, stop - 1) + 1
    codes = np.empty((columns, rows), np.int32)
    known = np.zeros(columns, np.int32)
    first = np.empty((columns, rows), np.int64)
    size, mark, before = np.empty((3, columns, rows), np.int32)  # used as far as values differ
    last = np.full((columns, 1 << max(8, rows.bit_length() - 3)), -1, np.int32)
    if not split(data, start, stop, codes, known, first, size, mark, before, last):
        return None
    found = []
    for column, different in enumerate(known):
        begins = first[column, :different]
        ends = begins + size[column, :different]
        values = [data[i:j].decode() for i, j in zip(begins.tolist(), ends.tolist(), strict=True)]
        found.append((codes[column], values))
    return found
