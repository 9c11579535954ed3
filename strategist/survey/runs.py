"""Where the rows of each read point stand in a CSV file, found in one walk in constant memory."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import BinaryIO

from strategist.errors import InputError
from strategist.survey.tables import Kind, table_from_csv

__all__ = ["header_of", "line_ends", "runs_of"]

_BLOCK = 1 << 20  # bytes that are looked at together
_LINE_END = ord("\n")

Run = tuple[str, int, int, int]


def header_of(file: BinaryIO, source: str, kind: Kind) -> tuple[bytes, int]:
    """The bytes up to the end of the header line, and the place of `read_point` among its columns.

    Leaves the file behind the header; raises InputError where the header is not one of its kind.
    """
    header = b""
    for line in file:
        header += line
        if header.strip() and header.count(b'"') % 2 == 0:
            break
    blank = len(header) - len(header.lstrip())
    end = header.find(b"\r", blank)
    if end >= 0 and header[end + 1 : end + 2] != b"\n" and end + 1 < len(header):
        header = header[: end + 1]
        file.seek(end + 1)
    table_from_csv(header, source, kind).faults.raise_any()
    text = header.decode("utf-8-sig").strip()
    names = next(csv.reader(io.StringIO(text, newline="")))
    return header, [name.strip() for name in names].index("read_point")


def line_ends(data: bytes) -> int:
    """How many lines end in a text: by CR, LF or both, as the parsers count."""
    lone = data.count(b"\r") - data.count(b"\r\n") if b"\r" in data else 0
    return data.count(b"\n") + lone


def runs_of(file: BinaryIO, source: str, header: bytes, column: int) -> Iterator[Run]:
    """(read point, first byte, bytes, first line) of each run of rows of one read point.

    Blank lines go with the rows before them. Raises InputError where quotes do not pair.
    """
    its, start, size, line = "", len(header), 0, line_ends(header) + 1
    at, number = start, line
    for name, bytes_, lines in _names(file, source, column, at, line):
        if name is None:
            size += bytes_ if size else 0
        elif size and name == its:
            size += bytes_
        else:
            if size:
                yield its, start, size, line
            its, start, size, line = name, at, bytes_, number
        at += bytes_
        number += lines
    if size:
        yield its, start, size, line


def _names(
    file: BinaryIO, source: str, column: int, at: int, line: int
) -> Iterator[tuple[str | None, int, int]]:
    """(read point or None, bytes, lines) of each record; blank ones have no read point.

    Lines without quotes are matched many at a time, and equal neighbours come as one. From the
    first quote, or carriage return inside a line, on, the standard parser decides where records
    end, which takes longer.
    """
    alike = _alike(column)
    while block := file.read(_BLOCK) + file.readline():
        if b'"' in block or (b"\r" in block and block.count(b"\r") != block.count(b"\r\n")):
            file.seek(at)
            yield from _carefully(file, source, column, line)
            return
        at += len(block)
        start = 0
        while start < len(block):
            found = alike.match(block, start)
            if found and found[1].strip():
                its, end = found[1], found.end()
            else:
                end = block.find(b"\n", start) + 1 or len(block)
                its = _raw(block[start:end], column)
            name = None if its is None else its.decode("utf-8", "backslashreplace").strip()
            lines = block.count(b"\n", start, end) + (block[end - 1] != _LINE_END)
            yield name, end - start, lines
            line += lines
            start = end


def _alike(column: int) -> re.Pattern[bytes]:
    """Lines that have the same text (group 1) in a column, one after another."""
    before, after = rb"(?:[^,\n]*,){%d}" % column, rb"(?:,[^\n]*)?\n"
    return re.compile(rb"%b([^,\n]*)%b(?:%b\1%b)*+" % (before, after, before, after))


def _raw(line: bytes, column: int) -> bytes | None:
    """The text in a column, nothing where the line is too short; None where it is blank."""
    fields = line.split(b",", column + 1)
    if len(fields) == 1 and not line.strip():
        return None
    return fields[column] if column < len(fields) else b""


def _carefully(
    file: BinaryIO, source: str, column: int, line: int
) -> Iterator[tuple[str | None, int, int]]:
    size = 0

    def lines() -> Iterator[str]:
        nonlocal size
        for text in wrapped:
            size += len(text.encode("utf-8", "surrogateescape"))
            yield text

    wrapped = io.TextIOWrapper(file, "utf-8", errors="surrogateescape", newline="")
    try:
        reader = csv.reader(lines(), strict=True)
        before = 0
        for record in reader:
            raw = record[column].strip() if column < len(record) else ""
            name = raw.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
            blank = len(record) < 2 and not "".join(record).strip()
            yield None if blank else name, size, reader.line_num - before
            size, before = 0, reader.line_num
    except csv.Error as error:
        where = line + before
        allowed = "well-formed CSV, quotes in pairs"
        raise InputError.one(source, str(error), allowed, line=where) from None
    finally:
        wrapped.detach()
