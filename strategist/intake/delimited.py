"""Delimited text of any make: which encoding, which delimiter, where the header is."""

from __future__ import annotations

import csv
import io
import re
from array import array
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from strategist.errors import Fault, InputError
from strategist.intake.sheet import COLUMNS_MAX, SAMPLED, Sheet, coded, used
from strategist.intake.values import is_value
from strategist.survey.faults import FaultList
from strategist.survey.records import Ints
from strategist.survey.tables import CLOSE_QUOTES, OPEN_QUOTE
from strategist.survey.texts import Texts

DELIMITERS = {";": "semicolon", "\t": "tab", ",": "comma", "|": "vertical bar", " ": "blank"}
_LINE_MAX = 100_000  # characters; a longer one is no row of a log
_LOOKED_AT = 200  # lines from which delimiter and header are told
_PREAMBLE_MAX = 50  # lines of titles and comments that may stand before the header
_ENDS = re.compile(r"\r\n|\r|\n|\Z")


@dataclass(frozen=True)
class _Form:
    """How the text is laid out; lines count from 0, and `begin` is the first line of rows."""

    delimiter: str
    names: tuple[str, ...]
    named: bool
    begin: int
    notes: tuple[str, ...]


def sheet_of_text(data: bytes, source: str) -> Sheet:
    """The table in delimited text; raises InputError with the line where it is none."""
    text, encoding = _decoded(data, source)
    form = _form_of(text, source)
    note = f"{encoding}, {DELIMITERS.get(form.delimiter, 'one column')}s between columns"
    if form.delimiter not in form.names[0] and len(form.names) == 1:
        note = f"{encoding}, one column"

    def load(places: Sequence[int]) -> tuple[list[Texts], Ints]:
        faults = FaultList()
        loaded = _quickly(text, form, places) or _carefully(text, form, places, source, faults)
        faults.raise_any()
        return loaded

    sample = _sample(text, form)
    return Sheet(source, form.names, form.named, sample, load, (note, *form.notes))


def _decoded(data: bytes, source: str) -> tuple[str, str]:
    """The text, and the name of its encoding: by its mark, by its zero bytes, or UTF-8."""
    if not data.strip(b"\0 \t\r\n\xef\xbb\xbf"):
        raise InputError.one(source, "", "a header line and rows", wrong="is empty")
    encoding, name = _encoding_of(data)
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        if name != "UTF-8" or b"\0" in data:
            line = data.count(b"\n", 0, error.start) + 1
            found = f"byte 0x{data[error.start]:02x} at offset {error.start} is no {name} text"
            raise InputError.one(source, "", f"text in {name}", line=line, wrong=found) from None
        text, name = data.decode("cp1252", errors="replace"), "Windows-1252, since not UTF-8"
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        allowed = "text, a workbook (.xlsx), JSON lines, or LLRP reports"
        raise InputError.one(source, "", allowed, line=line, wrong="holds a zero byte")
    return text, name


def _encoding_of(data: bytes) -> tuple[str, str]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16", "UTF-16"
    if data.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig", "UTF-8"
    head = data[:4000]
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if max(even, odd) > 0.3 * len(head) / 2:
        return ("utf-16-le", "UTF-16") if odd > even else ("utf-16-be", "UTF-16")
    return "utf-8", "UTF-8"


def _lines(text: str, begin: int = 0) -> Iterator[tuple[int, str]]:
    """(number from 0, line) of each line; CR, LF or both end it."""
    start = 0
    for number, end in enumerate(_ENDS.finditer(text)):
        if number >= begin:
            yield number, text[start : end.start()]
        start = end.end()


def _form_of(text: str, source: str) -> _Form:
    looked: list[tuple[int, str]] = []
    for number, line in _lines(text):
        if len(line) > _LINE_MAX:
            found = f"the line has {len(line):,} characters"
            raise InputError.one(source, "", f"at most {_LINE_MAX:,}", line=number + 1, wrong=found)
        if line.strip():
            looked.append((number, line))
        if len(looked) == _LOOKED_AT:
            break
    notes = []
    if re.fullmatch(r"sep=.", looked[0][1].strip()):
        looked = looked[1:]
    if not looked:
        raise InputError.one(source, "", "a header line and rows", wrong="holds no row")
    delimiter = _delimiter_of([line for _, line in looked])
    split = [(number, _split(line, delimiter)) for number, line in looked]
    width = Counter(len(cells) for _, cells in split[len(split) // 2 :]).most_common(1)[0][0]
    if width > COLUMNS_MAX:
        raise InputError.one(
            source, "", f"at most {COLUMNS_MAX:,} columns", wrong=f"has {width:,} columns"
        )
    at = next(i for i, (_, cells) in enumerate(split) if len(cells) == width)
    if at > _PREAMBLE_MAX:
        found = f"has {at} lines of another form before its first row"
        todo = f"Take them out: at most {_PREAMBLE_MAX} such lines are skipped."
        raise InputError.one(source, "", todo, wrong=found)
    if at:
        before = "1 line before the header was" if at == 1 else f"{at} lines before the header were"
        notes.append(f"{before} left out")
    number, cells = split[at]
    named = not any(is_value(cell) for cell in cells)
    if not named:
        names = tuple(f"column {i + 1}" for i in range(width))
        return _Form(delimiter, names, False, number, (*notes, "no header line"))
    stripped = tuple(cell.strip().lstrip("\ufeff") for cell in cells)
    twice = next((name for name, count in Counter(stripped).items() if name and count > 1), None)
    if twice is not None:
        raise InputError.one(
            source,
            "",
            "each column name once",
            line=number + 1,
            wrong=f'the column name "{twice}" stands more than once',
        )
    names = tuple(name or f"column {i + 1}" for i, name in enumerate(stripped))
    return _Form(delimiter, names, True, number + 1, tuple(notes))


def _delimiter_of(lines: list[str]) -> str:
    """The mark that parts most lines into the same number of columns, the most columns first.

    A comma may be a decimal one, so another mark that parts as evenly goes before it.
    """
    best, mark = (0.0, False), "\n"
    for one in DELIMITERS:
        if one == " " and best[0]:
            break  # blanks part columns only where nothing else does
        widths = Counter(len(_split(line, one)) for line in lines)
        parted = max((count for width, count in widths.items() if width > 1), default=0)
        found = (round(parted / len(lines), 1), one != ",")
        if found[0] >= 0.5 and found > best:
            best, mark = found, one
    return mark


def _split(line: str, delimiter: str) -> list[str]:
    if '"' not in line:
        return line.split(delimiter)
    return next(csv.reader([line], delimiter=delimiter), [""]) if delimiter != "\n" else [line]


def _sample(text: str, form: _Form) -> list[list[str]]:
    """Rows from the beginning and, so that a slow change is seen, from further on."""
    found: list[list[str]] = []
    for _, line in _lines(text, form.begin):
        cells = _split(line, form.delimiter)
        if len(cells) == len(form.names) and tuple(c.strip() for c in cells) != form.names:
            found.append(cells)
        if len(found) == SAMPLED:
            break
    return found


def _quickly(text: str, form: _Form, places: Sequence[int]) -> tuple[list[Texts], Ints] | None:
    """The columns by pandas' parser, or None where only the careful one knows every line.

    Without quotes the rows are the lines, and each has its columns when no line is too long, which
    pandas refuses, and the marks are as many as they must be.
    """
    if '"' in text or text.count("\r") != text.count("\r\n") or form.delimiter == "\n":
        return None
    start = 0
    for _ in range(form.begin):
        start = text.find("\n", start) + 1 or len(text)
    rows = text[start:].rstrip("\r\n")
    count = rows.count("\n") + 1
    width = len(form.names)
    if rows.count(form.delimiter) != (width - 1) * count or not rows:
        return None
    head = rows[: max(rows.find("\n"), 0) or None]
    if head.count(form.delimiter) != width - 1:
        return None
    try:
        frame = pd.read_csv(
            io.BytesIO(rows.encode()),
            sep=form.delimiter,
            dtype=object,
            na_filter=False,
            names=list(range(width)),
            header=None,
            usecols=list(places),
            quoting=csv.QUOTE_NONE,
            skip_blank_lines=False,
        )
    except ValueError:
        return None
    if len(frame) != count:
        return None
    lines = np.arange(form.begin + 1, form.begin + 1 + count)
    return _without_headers([coded(frame[place]) for place in places], lines, form, places)


def _without_headers(
    columns: list[Texts], lines: Ints, form: _Form, places: Sequence[int]
) -> tuple[list[Texts], Ints]:
    """Header lines inside, as of files that were joined, are no rows."""
    if not (form.named and columns):
        return columns, lines
    is_header = np.ones(len(lines), bool)
    for column, place in zip(columns, places, strict=True):
        name = form.names[place]
        code = column.values.index(name) if name in column.values else -1
        is_header &= column.codes == code
    if not is_header.any():
        return columns, lines
    kept = np.flatnonzero(~is_header)
    return [used(column.take(kept)) for column in columns], lines[kept]


def _carefully(
    text: str, form: _Form, places: Sequence[int], source: str, faults: FaultList
) -> tuple[list[Texts], Ints]:
    """The columns by the standard parser, which knows each line; other widths are faults."""
    width = len(form.names)
    cells: list[list[str]] = [[] for _ in places]
    lines = array("q")
    for line, record in _records(text, form, source, faults):
        if len(record) != width:
            found = f"the row has {len(record)} field{'' if len(record) == 1 else 's'}"
            faults.add(Fault(source, line, None, "", _width_allowed(form, record), wrong=found))
        elif not form.named or tuple(cell.strip() for cell in record) != form.names:
            lines.append(line)
            for column, place in zip(cells, places, strict=True):
                column.append(record[place])
    return [coded(column) for column in cells], np.array(lines, np.int64)


def _width_allowed(form: _Form, record: list[str]) -> str:
    width = len(form.names)
    if form.delimiter == "," and len(record) > width:
        return (
            f"{width} fields, as in the header; where numbers have decimal commas, another mark "
            "than a comma has to stand between the columns"
        )
    return f"{width} fields, as {'in the header' if form.named else 'other rows have'}"


def _records(
    text: str, form: _Form, source: str, faults: FaultList
) -> Iterator[tuple[int, list[str]]]:
    """(line from 1, cells) of each record that is not blank."""
    at = form.begin
    lines = (line + "\n" for _, line in _lines(text, form.begin))
    if form.delimiter == "\n":
        for number, line in enumerate(lines, form.begin + 1):
            if line.strip():
                yield number, [line.strip()]
        return
    reader = csv.reader(lines, delimiter=form.delimiter, strict=True)
    try:
        for record in reader:
            number, at = at + 1, form.begin + reader.line_num
            if any(cell.strip() for cell in record):
                yield number, record
    except csv.Error:
        faults.add(Fault(source, at + 1, None, "", CLOSE_QUOTES, wrong=OPEN_QUOTE))
