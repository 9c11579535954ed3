"""From CSV, JSON rows or data frames to plain columns of text that know their lines; nothing is
judged."""

from __future__ import annotations

import csv
import io
import itertools
from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from strategist.errors import Fault
from strategist.survey.columns import NEEDED, NUMBERS, judge_header
from strategist.survey.faults import FaultList
from strategist.survey.plain_csv import parse_plain
from strategist.survey.records import Ints, Kind
from strategist.survey.texts import Texts

if TYPE_CHECKING:
    import pandas as pd

OPEN_QUOTE = "a quote is opened and not closed, or text follows a closing quote"
CLOSE_QUOTES = "Write quotes in pairs, and a quote within a field twice."


@dataclass(frozen=True, eq=False)
class Table:
    """A file as columns of text, with the line (from 1) that each row starts on.

    `faults` holds what made parts of the file unreadable: rows of the wrong length are left out,
    and a file without a usable header has no columns. Values are judged later.
    """

    kind: Kind
    source: str
    columns: Mapping[str, Texts]
    lines: Ints
    faults: FaultList = field(default_factory=FaultList)


def read_bytes(path: Path, source: str, faults: FaultList) -> bytes | None:
    """The content of a file, or None and a fault that says why it cannot be read."""
    try:
        if path.exists() and not path.is_file():
            wrong = "is no file"
            faults.add(Fault(source, None, None, wrong, "the name of a file", wrong=wrong))
            return None
        return path.read_bytes()
    except FileNotFoundError:
        todo = "Put it there, or correct its name."
        faults.add(Fault(source, None, None, "", todo, wrong="no such file"))
    except (OSError, ValueError) as error:
        why = reason(error)
        todo = "Give a file that can be read."
        faults.add(Fault(source, None, None, why, todo, wrong=f"cannot be read: {why}"))
    return None


def reason(error: Exception) -> str:
    """What the system says of a file that it does not give, as a part of a sentence."""
    why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return why[:1].lower() + why[1:]


def table_from_csv(data: bytes | Path, source: str, kind: Kind) -> Table:
    """The table in a CSV file or in its bytes: UTF-8 (BOM allowed), comma, header line first.

    Quoted fields, CRLF and blank lines are read as usual. Never raises: what is wrong is in the
    table's `faults`.
    """
    faults = FaultList()
    content = read_bytes(data, source, faults) if isinstance(data, Path) else data
    if content is None or not _is_text(content, source, faults):
        return _empty(kind, source, faults)
    content = content.removeprefix(b"\xef\xbb\xbf").rstrip()
    text = io.TextIOWrapper(io.BytesIO(content), "utf-8", newline="")
    reader = records(text, source, faults)
    line, _, header = next((record for record in reader if record[2]), (1, 0, []))
    names = [name.strip() for name in header]
    if not judge_header(names, line, source, kind, faults):
        return _empty(kind, source, faults)
    columns, lines = parse_plain(content, names) or _parse_slowly(reader, names, source, faults)
    return Table(kind, source, columns, lines, faults)


def table_from_rows(rows: Sequence[Mapping[str, Any]], source: str, kind: Kind) -> Table:
    """The table in JSON rows (one object a row); the line of a row is its number, from 1.

    None and an absent key mean not given. Numbers may stand in number columns only, so that no
    EPC loses its leading zeros. Never raises: what is wrong is in the table's `faults`.
    """
    names = list(dict.fromkeys(name for row in rows for name in row)) or list(NEEDED[kind])
    return _table_of(names, len(rows), lambda name: [row.get(name) for row in rows], source, kind)


def table_from_frame(frame: pd.DataFrame, source: str, kind: Kind) -> Table:
    """The table in a data frame; as `table_from_rows`, NaN and NA mean not given, too."""

    def values(name: str) -> Sequence[Any]:
        column = frame[name]
        plain = column.astype(object).where(column.notna(), None).tolist()
        return [value.item() if isinstance(value, np.generic) else value for value in plain]

    return _table_of([str(name) for name in frame.columns], len(frame), values, source, kind)


def _table_of(
    names: list[str], count: int, values_of: Callable[[str], Sequence[Any]], source: str, kind: Kind
) -> Table:
    """The table whose column `name` holds `count` values, which are asked for one by one."""
    faults = FaultList()
    if not judge_header(names, None, source, kind, faults):
        return _empty(kind, source, faults)
    good = np.ones(count, bool)
    columns: dict[str, Texts] = {}
    for name in names:
        values = values_of(name)
        columns[name], bad = _texts_of(values, name)
        allowed = "a number or text" if name in NUMBERS else "text"
        for row in bad:
            found = repr(values[row])
            wrong = f"{found} is not valid"
            faults.add(Fault(source, int(row) + 1, name, found, allowed, wrong=wrong))
        good[bad] = False
    kept = np.flatnonzero(good)
    texts = {name: column.take(kept) for name, column in columns.items()}
    return Table(kind, source, texts, kept + 1, faults)


def _texts_of(values: Sequence[Any], name: str) -> tuple[Texts, Ints]:
    """A column of JSON values as text, each value looked at once, and the rows that have none."""
    places: dict[tuple[type, Any], int] = {}
    codes = [
        places.setdefault((v.__class__, repr(v) if v.__class__ in (list, dict) else v), len(places))
        for v in values
    ]
    texts = [None if kind in (list, dict) else _text_of(value, name) for kind, value in places]
    known = {text: place for place, text in enumerate(dict.fromkeys(text or "" for text in texts))}
    same = np.array([known[text or ""] for text in texts], np.int64)
    unfit = np.array([text is None for text in texts], bool)
    rows = np.array(codes, np.int64)
    return Texts(same[rows], tuple(known)), np.flatnonzero(unfit[rows])


def _empty(kind: Kind, source: str, faults: FaultList) -> Table:
    return Table(kind, source, {}, np.empty(0, np.int64), faults)


def _text_of(value: Any, name: str) -> str | None:
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    try:
        return repr(value) if is_number and name in NUMBERS else None
    except ValueError:  # an integer of thousands of digits
        return None


def _is_text(data: bytes, source: str, faults: FaultList) -> bool:
    """Whether the bytes are UTF-8 text that is neither empty nor binary; else one fault."""
    if not data or data.isspace():
        faults.add(Fault(source, None, None, "", "a header line and rows", wrong="is empty"))
        return False
    position = data.find(b"\0")
    if position < 0 and not data.isascii():
        try:
            data.decode("utf-8")
        except UnicodeDecodeError as error:
            position = error.start
    if position >= 0:
        line = data.count(b"\n", 0, position) + 1
        value = f"byte 0x{data[position]:02x} at offset {position}"
        wrong = f"{value} is no UTF-8 text"
        faults.add(Fault(source, line, None, value, "text in UTF-8", wrong=wrong))
    return position < 0


def records(
    file: Iterable[str], source: str, faults: FaultList
) -> Iterator[tuple[int, int, list[str]]]:
    """(line it starts on, characters, fields) of each record, without fields where it is blank.

    The file is opened with `newline=""`: lines end by CR, LF or both. From the first quote on, the
    standard parser decides where records end; that is the end, with a fault, where quotes do not
    pair.
    """
    lines = iter(file)
    for line, text in enumerate(lines, 1):
        if '"' in text:
            yield from _quoted(itertools.chain([text], lines), line, source, faults)
        else:
            yield line, len(text), text.rstrip("\r\n").split(",") if text.strip() else []


def _quoted(
    texts: Iterable[str], line: int, source: str, faults: FaultList
) -> Iterator[tuple[int, int, list[str]]]:
    size, before = 0, line - 1

    def lines() -> Iterator[str]:
        nonlocal size
        for text in texts:
            size += len(text)
            yield text

    reader = csv.reader(lines(), strict=True)
    try:
        for record in reader:
            yield line, size, record if len(record) > 1 or "".join(record).strip() else []
            size, line = 0, before + reader.line_num + 1
    except csv.Error as error:
        faults.add(Fault(source, line, None, str(error), CLOSE_QUOTES, wrong=OPEN_QUOTE))


def _parse_slowly(
    reader: Iterable[tuple[int, int, list[str]]], names: list[str], source: str, faults: FaultList
) -> tuple[dict[str, Texts], Ints]:
    """The columns by the standard parser, which knows each line; ragged lines are faults."""
    lines, ragged, fields = array("q"), array("q"), array("q")

    def whole() -> Iterator[list[str]]:
        for line, _, record in reader:
            if len(record) == len(names):
                lines.append(line)
                yield record
            elif record:
                ragged.append(line)
                fields.append(len(record))

    columns = _coded(names, whole())
    faults.add_rows(
        source,
        None,
        np.array(ragged, np.int64),
        lambda i: f"{fields[i]} fields",
        lambda _: f"{len(names)} fields, as in the header",
        wrong=lambda i: f"the row has {fields[i]} field{'' if fields[i] == 1 else 's'}",
    )
    return columns, np.array(lines, np.int64)


def _coded(names: list[str], records: Iterable[list[str]]) -> dict[str, Texts]:
    seen: list[dict[str, int]] = [{} for _ in names]
    codes = [array("q") for _ in names]
    columns = list(zip(seen, codes, strict=True))
    for record in records:
        for (values, places), text in zip(columns, record, strict=True):
            places.append(values.setdefault(text, len(values)))
    return {
        name: Texts(np.array(places, np.int64), tuple(values))
        for name, (values, places) in zip(names, columns, strict=True)
    }
