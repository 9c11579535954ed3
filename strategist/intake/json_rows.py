"""JSON lines, or one array of objects: a row an object, a column a key; inner keys have dots."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

from strategist.errors import InputError
from strategist.intake.sheet import COLUMNS_MAX, Growing, Sheet
from strategist.survey.json_text import why_no_json

_LINE_MAX = 1_000_000  # characters


def sheet_of_json(data: bytes, source: str) -> Sheet:
    """The table; raises InputError with the line that is no object."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError.one(
            source, "", "text in UTF-8", line=line, wrong="is no UTF-8 text"
        ) from None
    if text.lstrip().startswith("["):
        return _of_rows(_array(text, source), source, "one JSON array")
    return _of_rows(_lines(text, source), source, "JSON lines")


def _array(text: str, source: str) -> Iterator[tuple[int, Any]]:
    found = _parsed(text, source, 1)
    if not isinstance(found, list):
        raise InputError.one(source, "", "an array of objects", wrong="is no array")
    yield from enumerate(found, 1)


def _lines(text: str, source: str) -> Iterator[tuple[int, Any]]:
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > _LINE_MAX:
            found = f"the line has {len(line):,} characters"
            raise InputError.one(source, "", f"at most {_LINE_MAX:,}", line=number, wrong=found)
        if line.strip():
            yield number, _parsed(line, source, number)


def _parsed(text: str, source: str, line: int) -> Any:
    """JSON with its numbers as they are written."""
    try:
        return json.loads(text, parse_float=str, parse_int=str, parse_constant=str)
    except (ValueError, RecursionError) as error:
        at = getattr(error, "lineno", 1) + line - 1
        todo = "Correct the text there."
        raise InputError.one(source, "", todo, line=at, wrong=why_no_json(error)) from None


def _of_rows(rows: Iterable[tuple[int, Any]], source: str, note: str) -> Sheet:
    found = Growing()
    for line, row in rows:
        if not isinstance(row, dict):
            wrong = f"the entry {json.dumps(row)[:40]} is no object"
            raise InputError.one(
                source, "", "an object with a key for each column", line=line, wrong=wrong
            )
        found.add(line, dict(_flat(row, "", 3)))
        if len(found.names) > COLUMNS_MAX:
            keys = f"the entries have more than {COLUMNS_MAX:,} keys"
            raise InputError.one(source, "", f"at most {COLUMNS_MAX:,}", line=line, wrong=keys)
    if not len(found):
        raise InputError.one(source, "", "at least one", wrong="holds no object")
    return found.sheet(source, found.names, [note])


def _flat(row: dict[str, Any], before: str, depth: int) -> Iterator[tuple[str, str]]:
    for key, value in row.items():
        name = f"{before}{key}"
        if isinstance(value, dict) and depth:
            yield from _flat(value, f"{name}.", depth - 1)
        elif value is None:
            continue
        elif isinstance(value, bool):
            yield name, "true" if value else "false"
        else:
            yield name, value if isinstance(value, str) else json.dumps(value)
