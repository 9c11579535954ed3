"""A case's files walked once, in memory that grows neither with rows nor with read points.

A CSV file gives the *runs* of neighbouring rows of one read point. site.json is taken apart into a
*frame*, which is the file without its read points, and a *piece* for each of these. Where all of
them are sound as documents of their own, so is the file, except for a read point that comes twice,
which the caller sees. Whatever is not sound is left to `parse_json` over the whole, so that there
is one way to say what is wrong.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
from collections.abc import Generator, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TextIO

import numpy as np
import pydantic
from pydantic import TypeAdapter

from strategist.errors import InputError
from strategist.survey.faults import FaultList
from strategist.survey.json_text import parse_json
from strategist.survey.policy import STRICT, Name
from strategist.survey.records import Ints, Kind
from strategist.survey.site import NO_COST, Arbitration, Cost, SharedReader
from strategist.survey.tables import Table, read_bytes, records, table_from_csv

SITE = "site.json"
_BLOCK = 1 << 16  # characters read together
_BLANK = re.compile(r"[ \t\n\r]*")
_BEHIND = tuple(" \t\n\r,:}")  # what may stand behind a key or value
_DECODER = json.JSONDecoder()

Run = tuple[str, int, int, int]
Policies = Generator[tuple[str, Any], None, str]


def line_ends(data: bytes) -> int:
    """How many lines end in a text: by CR, LF or both, as the parsers count."""
    lone = data.count(b"\r") - data.count(b"\r\n") if b"\r" in data else 0
    return data.count(b"\n") + lone


def runs_of(file: TextIO, source: str, kind: Kind) -> tuple[bytes, Iterator[Run]]:
    """The bytes up to the end of the header line, and (read point, first byte, bytes, first line)
    of each run of rows.

    The file is opened as Latin-1, a character a byte. Blank lines go with the rows before them.
    Raises InputError where the header is not one of its kind, and while the runs are walked where
    quotes do not pair.
    """
    faults = FaultList()
    rows = records(file, source, faults)
    size = 0
    for _, bytes_, record in rows:
        size += bytes_
        if record:
            break
    faults.raise_any()
    header = os.pread(file.fileno(), size, 0)
    table_from_csv(header, source, kind).faults.raise_any()
    text = header.decode("utf-8-sig").strip()
    names = next(csv.reader(io.StringIO(text, newline="")))
    column = [name.strip() for name in names].index("read_point")
    return header, _runs(rows, size, column, faults)


def _runs(
    rows: Iterator[tuple[int, int, list[str]]], at: int, column: int, faults: FaultList
) -> Iterator[Run]:
    its, start, size, first = "", at, 0, 0
    last: str | None = None
    for line, bytes_, record in rows:
        if record:
            raw = record[column] if column < len(record) else ""
            if raw != last:
                name = raw.encode("latin-1").decode("utf-8", "backslashreplace").strip()
                if last is None or name != its:
                    if size:
                        yield its, start, size, first
                    its, start, size, first = name, at, 0, line
                last = raw
        at += bytes_
        size += bytes_ if last is not None else 0
    faults.raise_any()
    if size:
        yield its, start, size, first


@dataclass(frozen=True, eq=False)
class Excerpt:
    """A part of a file: its header and some of its rows, as bytes.

    Line `at[i]` of the part (from 1) and those after it, up to `at[i + 1]`, are the lines of the
    file from `lines[i]` on.
    """

    kind: Kind
    header: bytes
    rows: bytes
    at: Ints
    lines: Ints

    def table(self) -> Table:
        table = table_from_csv(self.header + self.rows, f"{self.kind}.csv", self.kind)
        faults = table.faults.at_lines(lambda line: int(self._line(np.array([line]))[0]))
        return replace(table, lines=self._line(table.lines), faults=faults)

    def _line(self, here: Ints) -> Ints:
        run = np.maximum(np.searchsorted(self.at, here, side="right") - 1, 0)
        in_run: Ints = self.lines[run] + here - self.at[run]
        return np.where(here < self.at[0], here, in_run)


@pydantic.dataclasses.dataclass(frozen=True, config=STRICT)
class _Site:
    """site.json with its policies unjudged: a bad one spoils its own read point alone."""

    read_points: dict[Name, Any]
    site: str = ""
    readers: dict[Name, SharedReader] = field(default_factory=dict)
    cost: Cost = NO_COST
    arbitration: dict[Name, Arbitration] = field(default_factory=dict)


_LOOSE: TypeAdapter[_Site] = TypeAdapter(_Site)


class UnsoundError(Exception):
    """Something in the file is not as it should be."""


def loose_policies(path: Path, faults: FaultList) -> Policies:
    """What `policies_of` gives, of the whole file; nothing after adding its faults."""
    data = read_bytes(path, SITE, faults)
    if data is None:
        return ""
    try:
        site = parse_json(data.removeprefix(b"\xef\xbb\xbf"), _LOOSE, SITE)
    except InputError as error:
        faults.take(error)
        return ""
    yield from site.read_points.items()
    return site.site


def policies_of(path: Path) -> Policies:
    """(read point, policy) of each read point, unjudged, as they stand in the file; returns the
    name of the site.

    Raises UnsoundError, maybe after some of them, where the file is not sound.
    """
    if not path.is_file():
        raise UnsoundError
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            return (yield from _policies(_Text(file)))
    except (InputError, ValueError, RecursionError, OSError):
        raise UnsoundError from None


def _policies(text: _Text) -> Policies:
    frame = []
    for key in text.members():
        value = "{}"
        if key == '"read_points"' and text.next() == "{":
            for name in text.members():
                piece = f'{{"read_points": {{{name}: {text.value()}}}}}'
                yield from parse_json(piece.encode(), _LOOSE, SITE).read_points.items()
        else:
            value = text.value()
        frame.append(f"{key}: {value}")
    if text.next():
        raise UnsoundError
    return parse_json(f"{{{', '.join(frame)}}}".encode(), _LOOSE, SITE).site


class _Text:
    """A JSON text that is read as far as it is needed, one value in memory at a time."""

    def __init__(self, file: TextIO) -> None:
        self._file = file
        self._text = ""
        self._at = 0

    def next(self) -> str:
        """The next character that is not blank, not taken; "" at the end."""
        while True:
            found = _BLANK.match(self._text, self._at)
            assert found is not None  # nothing matches, too
            self._at = found.end()
            if self._at < len(self._text):
                return self._text[self._at]
            if not self._read_on():
                return ""

    def members(self) -> Iterator[str]:
        """The keys of the object that comes, as JSON; whoever gets one takes its value."""
        self._take("{")
        mark = "" if self.next() == "}" else ","
        while mark == ",":
            if self.next() != '"':
                raise UnsoundError
            key = self.value()
            self._take(":")
            yield key
            mark = self.next()
            if mark == ",":
                self._take(",")
        self._take("}")

    def value(self) -> str:
        """The value that comes, as JSON."""
        self.next()
        while True:
            try:
                _, end = _DECODER.raw_decode(self._text, self._at)
            except ValueError:  # cut off by the end of what was read, or wrong
                end = len(self._text)
            if self._text[end : end + 1] in _BEHIND:  # not a number that goes on, such as 1|e5
                value = self._text[self._at : end]
                self._at = end
                return value
            if not self._read_on():
                raise UnsoundError

    def _take(self, mark: str) -> None:
        if self.next() != mark:
            raise UnsoundError
        self._at += 1

    def _read_on(self) -> bool:
        """Read as much as there is unread, at least a block, so that no value is tried often."""
        kept = self._text[self._at :]
        more = self._file.read(max(_BLOCK, len(kept)))
        self._text, self._at = kept + more, 0
        return bool(more)
