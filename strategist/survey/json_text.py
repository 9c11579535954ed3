"""JSON text to a valid object: one door for files, command line and HTTP bodies."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from strategist.errors import Fault, InputError, MalformedError
from strategist.survey.faults import FaultList, nearest_hint

T = TypeVar("T")


def parse_json(
    data: bytes,
    kind: TypeAdapter[T],
    source: str,
    *,
    first: Callable[[Any], None] = lambda _: None,
) -> T:
    """The object of type `kind` that the UTF-8 JSON text `data` describes.

    Raises InputError with every fault at once (the first 1,000 and a count): unknown keys by name
    with the nearest known key, wrong values by JSON path; MalformedError where the text is no JSON,
    by line. A key given twice is refused, since one of the two would be lost. `first` is given the
    plain values before they are judged, and may refuse them for their number.
    """
    given = _refuse_broken(data, source)
    first(given)
    try:
        return kind.validate_json(data)
    except ValidationError as error:
        faults = FaultList()
        faults.add_each(
            source,
            error.error_count(),
            (
                _fault(dict(detail), kind, source, given)
                for detail in error.errors(include_url=False, include_context=False)
            ),
        )
        raise InputError(faults.faults()) from None


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
        raise InputError.one(source, f"more than {most:,} values", f"at most {most:,} values")


def _held(one: dict[str, Any] | list[Any]) -> Iterator[Any]:
    values = one.values() if isinstance(one, dict) else one
    return (value for value in values if isinstance(value, (dict, list)))


def _refuse_broken(data: bytes, source: str) -> Any:
    """The plain values in the text, or MalformedError."""
    try:
        return json.loads(data.decode("utf-8"), object_pairs_hook=_no_key_twice)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        value = f"byte 0x{data[error.start]:02x}"
        raise MalformedError.one(source, value, "UTF-8 text", line=line) from None
    except json.JSONDecodeError as error:
        found = error.doc[error.pos : error.pos + 20]
        raise MalformedError.one(source, found, f"JSON ({error.msg})", line=error.lineno) from None
    except RecursionError:
        raise MalformedError.one(source, "very deep nesting", "JSON of a few levels") from None
    except _KeyTwiceError as error:
        raise MalformedError.one(source, str(error), "each key once in an object") from None
    except ValueError as error:  # a number of thousands of digits
        raise MalformedError.one(source, str(error), "JSON with numbers of usual size") from None


class _KeyTwiceError(Exception):
    pass


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise _KeyTwiceError(key)
            seen.add(key)
    return found


def _fault(detail: dict[str, Any], kind: TypeAdapter[Any], source: str, given: Any) -> Fault:
    location: tuple[str | int, ...] = detail["loc"]
    place = _place(location, given)
    path = ".".join(str(part) for part in location)
    if detail["type"] in ("extra_forbidden", "unexpected_keyword_argument"):
        known = _known_keys(_schema(kind), location[:-1])
        allowed = f"{', '.join(known)}{nearest_hint(str(location[-1]), known)}"
        return Fault(source, None, path, str(location[-1]), allowed, place)
    missing = detail["type"] in ("missing", "missing_argument")
    value = "" if missing else json.dumps(detail["input"], default=str, ensure_ascii=False)
    message = str(detail["msg"])
    for noise in ("Value error, ", "Input should be "):
        message = message.removeprefix(noise)
    return Fault(source, None, path or None, value.strip('"'), message, place)


def _place(location: tuple[str | int, ...], given: Any) -> tuple[str | int, ...]:
    """The part of a location that lies in the text: pydantic adds names of its own types.

    The last part may name a key that is missing.
    """
    place: list[str | int] = []
    for last, part in enumerate(location, 1 - len(location)):
        is_index = isinstance(given, list) and isinstance(part, int) and part < len(given)
        if is_index or (isinstance(given, dict) and part in given):
            given = given[part]
        elif last or not isinstance(given, dict) or str(part).startswith("["):
            continue
        place.append(part)
    return tuple(place)


@cache
def _schema(kind: TypeAdapter[Any]) -> dict[str, Any]:
    return kind.json_schema()


def _known_keys(schema: dict[str, Any], location: tuple[str | int, ...]) -> list[str]:
    """The property names that the schema knows at a place; walks $ref, arrays and maps."""
    definitions = schema.get("$defs", {})

    def resolve(node: dict[str, Any]) -> dict[str, Any]:
        while "$ref" in node:
            node = definitions[node["$ref"].rsplit("/", 1)[-1]]
        for option in node.get("anyOf", ()):
            if option.get("type") != "null":
                return resolve(option)
        return node

    node = resolve(schema)
    for part in location:
        if isinstance(part, int):
            node = resolve(node.get("items", {}))
        else:
            child = node.get("properties", {}).get(part, node.get("additionalProperties", {}))
            node = resolve(child if isinstance(child, dict) else {})
    return list(node.get("properties", {}))
