"""JSON text to a valid object: one door for files, command line and HTTP bodies."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from strategist.errors import InputError, MalformedError
from strategist.survey.refused import input_error

T = TypeVar("T")

_BROKEN = {  # what Python says of it
    "Expecting value": "no value begins here",
    "Expecting property name enclosed in double quotes": "a key in double quotes is missing",
    "Expecting ':' delimiter": "a colon is missing",
    "Expecting ',' delimiter": "a comma is missing",
    "Extra data": "the text goes on after its end",
    "Unterminated string starting at": "a text begins whose closing quote is missing",
    "Invalid control character at": "a control character stands within a text",
    "Invalid \\escape": "a backslash is followed by what it cannot stand before",
    "Illegal trailing comma before end of object": "a comma stands before the end",
    "Illegal trailing comma before end of array": "a comma stands before the end",
}

NOTE = "//"  # a key that begins so is a note for whoever reads the text, and is not read here


def parse_json(
    data: bytes,
    kind: TypeAdapter[T],
    source: str,
    *,
    first: Callable[[Any], None] = lambda _: None,
) -> T:
    """The object of type `kind` that the UTF-8 JSON text `data` describes; notes are left out.

    Raises InputError with every fault at once (the first 1,000 and a count): unknown keys by name
    with the nearest known key, wrong values by JSON path; MalformedError where the text is no JSON,
    by line. A key given twice is refused, since one of the two would be lost. `first` is given the
    plain values before they are judged, and may refuse them for their number.
    """
    given, noted = _plain(data, source)
    first(given)
    try:
        return kind.validate_json(json.dumps(given) if noted else data)
    except ValidationError as error:
        raise input_error(error, kind, source, given) from None


def refuse_values(given: Any, most: int, source: str) -> None:
    """Raise InputError where there are more than `most` plain values, those inside of others
    counted: what is wrong in a million places is a million faults to gather."""
    found, inside = 1, [given]
    while inside and found <= most:
        one = inside.pop()
        if isinstance(one, (dict, list)):
            found += len(one)
            if found <= most:
                inside += _held(one)
    if found > most:
        many = f"more than {most:,} values"
        raise InputError.one(source, many, "fewer, or split it", wrong=f"holds {many}")


def _held(one: dict[str, Any] | list[Any]) -> Iterator[Any]:
    values = one.values() if isinstance(one, dict) else one
    return (value for value in values if isinstance(value, (dict, list)))


def _plain(data: bytes, source: str) -> tuple[Any, bool]:
    """The plain values in the text without notes, and whether it has some; or MalformedError."""
    reader = _Reader()
    try:
        return json.loads(data.decode("utf-8"), object_pairs_hook=reader.object), reader.noted
    except UnicodeDecodeError as error:
        raise not_utf8(data, error, source, MalformedError) from None
    except json.JSONDecodeError as error:
        found, wrong = error.doc[error.pos : error.pos + 20], why_no_json(error)
        allowed = "Correct the text there."
        raise MalformedError.one(source, found, allowed, line=error.lineno, wrong=wrong) from None
    except RecursionError:
        wrong, allowed = "the JSON is nested too deeply", "JSON of a few levels"
        raise MalformedError.one(source, "very deep nesting", allowed, wrong=wrong) from None
    except _KeyTwiceError as error:
        wrong = f'the key "{error}" stands twice in one object'
        allowed = "each key once"
        raise MalformedError.one(source, str(error), allowed, wrong=wrong) from None
    except ValueError:  # a number of thousands of digits
        wrong, allowed = "a number has too many digits", "numbers of at most 4,000 digits"
        raise MalformedError.one(source, "a long number", allowed, wrong=wrong) from None


def why_no_json(error: ValueError | RecursionError) -> str:
    """Why a text is no JSON, with the column."""
    if isinstance(error, json.JSONDecodeError):
        return f"no JSON at column {error.colno}: {_BROKEN.get(error.msg, error.msg.lower())}"
    return "the JSON is nested too deeply, or a number has too many digits"


def not_utf8(
    data: bytes, error: UnicodeDecodeError, source: str, kind: type[InputError] = InputError
) -> InputError:
    """What is said of bytes that are no UTF-8 text, with the line of the first."""
    line = data.count(b"\n", 0, error.start) + 1
    value = f"byte 0x{data[error.start]:02x}"
    return kind.one(source, value, "text in UTF-8", line=line, wrong=f"{value} is no UTF-8 text")


class _KeyTwiceError(Exception):
    pass


class _Reader:
    """Makes the objects of a JSON text: without their notes, and each key once."""

    def __init__(self) -> None:
        self.noted = False

    def object(self, pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if any(key.startswith(NOTE) for key in found):
            self.noted = True
            pairs = [pair for pair in pairs if not pair[0].startswith(NOTE)]
            found = dict(pairs)
        if len(found) < len(pairs):
            seen: set[str] = set()
            for key, _ in pairs:
                if key in seen:
                    raise _KeyTwiceError(key)
                seen.add(key)
        return found
