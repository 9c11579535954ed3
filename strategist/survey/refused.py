"""Values that were refused: pydantic finds them, and what is said of each is said here."""

from __future__ import annotations

import itertools
import json
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from strategist.errors import Fault, InputError
from strategist.survey.faults import FAULTS_SHOWN, FaultList, nearest_hint
from strategist.survey.key_words import KEY_WORDS
from strategist.survey.keys import allowed_of, resolved

_OUTSIDE = {
    "greater_than": "small",
    "greater_than_equal": "small",
    "less_than": "large",
    "less_than_equal": "large",
}
# Said of a whole whose parts were refused themselves, or that is one of another kind.
_OF_ANOTHER_KIND = ("float_type", "int_type", "string_type", "literal_error")
_CONSEQUENCES = ("too_short", *_OF_ANOTHER_KIND)
_UNKNOWN = ("extra_forbidden", "unexpected_keyword_argument")
_MISSING = ("missing", "missing_argument")
_NOW = {
    old: name.rsplit(".", 1)[-1] for name, words in KEY_WORDS.items() if (old := words.formerly)
}


def input_error(
    error: ValidationError, kind: TypeAdapter[Any], source: str, given: Any, noun: str = "key"
) -> InputError:
    """What is wrong with `given`, plain values that should be a `kind`: by key and index.

    A key is called by the `noun`.
    """
    details = error.errors(include_url=False, include_context=False)
    places = [_place(detail["loc"], given) for detail in details[: 2 * FAULTS_SHOWN]]
    holders = {place[:-1] for place in places if place}
    of_its_kind = {
        place
        for detail, place in zip(details, places, strict=False)
        if detail["type"] not in _OF_ANOTHER_KIND
    }
    told = (
        _fault(dict(detail), place, kind, source, noun)
        for detail, place in zip(details, places, strict=False)
        if not (place in holders and detail["type"] in _CONSEQUENCES)
        and not (place in of_its_kind and detail["type"] in _OF_ANOTHER_KIND)
    )
    # of a choice of kinds pydantic tells each that did not fit
    once = (
        next(same) for _, same in itertools.groupby(told, key=lambda one: (one.path, one.wrong))
    )
    found = list(itertools.islice(once, FAULTS_SHOWN))
    count = len(details) if len(details) > FAULTS_SHOWN else len(found)
    faults = FaultList()
    faults.add_each(source, count, found)
    return InputError(faults.faults())


def _fault(
    detail: dict[str, Any],
    place: tuple[str | int, ...],
    kind: TypeAdapter[Any],
    source: str,
    noun: str,
) -> Fault:
    location: tuple[str | int, ...] = detail["loc"]
    path = ".".join(str(part) for part in place) or None
    schema = _schema(kind)
    definitions = schema.get("$defs", {})
    is_name = location[-1:] == ("[key]",)  # of a map: the fault is in the name itself
    if is_name:
        node = _node(schema, place[:-1], last=True).get("propertyNames", {})
        node = {"type": "string"} | node
    else:
        node = _node(schema, place)
    allowed = allowed_of(node, definitions)
    kind_of_error, value = detail["type"], detail["input"]
    if kind_of_error in _UNKNOWN:
        return _unknown_key(str(location[-1]), schema, source, place, noun)
    if kind_of_error in _MISSING:
        return Fault(source, None, path, "", allowed, place)
    if kind_of_error.startswith("union_tag"):
        return _no_such_kind(value, resolved(node, definitions), source, place)
    text = json.dumps(value, default=str, ensure_ascii=False).strip('"')
    shown = "" if isinstance(value, (list, dict)) else text
    if kind_of_error == "value_error":  # our own words: what is wrong, then what to do
        wrong, stop, todo = str(detail["msg"]).removeprefix("Value error, ").partition(". ")
        if stop:
            wrong = wrong[:1].lower() + wrong[1:]
            return Fault(source, None, path, text, todo, place, wrong=wrong)
        allowed = wrong
    wrong = _wrong(kind_of_error, value, shown)
    return Fault(source, None, path, text, allowed, place, wrong=wrong)


def _wrong(kind_of_error: str, value: Any, shown: str) -> str:
    """What is wrong with a value; "": that the text is not valid."""
    if kind_of_error in ("too_short", "string_too_short"):
        few = "1 entry is" if len(value) == 1 else f"{len(value)} entries are"
        return f"{few} too few" if value else "is empty"
    if isinstance(value, list):
        return (
            f"{len(value):,} entries are too many" if kind_of_error == "too_long" else "is a list"
        )
    if isinstance(value, dict):
        return (
            f"{len(value):,} keys are too many" if kind_of_error == "too_long" else "is an object"
        )
    if kind_of_error == "string_too_long":
        return f"a text of {len(value):,} characters is too long"
    if kind_of_error in _OUTSIDE:
        return f"{shown} is too {_OUTSIDE[kind_of_error]}"
    return "" if isinstance(value, str) and value else f"{shown or 'an empty text'} is not valid"


def _no_such_kind(
    value: Any, node: dict[str, Any], source: str, place: tuple[str | int, ...]
) -> Fault:
    """What is said of an object that must name its kind: it names none, or one that there is not;
    `node` is the choice of kinds."""
    name = node["discriminator"]["propertyName"]
    allowed = f"one of {', '.join(node['discriminator']['mapping'])}"
    found = str(value.get(name, "")) if isinstance(value, dict) else ""
    path = ".".join(str(part) for part in (*place, name))
    return Fault(source, None, path, found, allowed, (*place, name))


def _pairs(given: Any) -> list[str]:
    """The names of a map that is judged as pairs, in their order: antennas by number."""
    if not isinstance(given, dict):
        return []
    by_number = all(name.isdecimal() for name in given)
    return sorted(given, key=int) if by_number else list(given)


def _unknown_key(
    name: str, schema: dict[str, Any], source: str, place: tuple[str | int, ...], noun: str
) -> Fault:
    options = _options(_node(schema, place[:-1]), schema.get("$defs", {}))
    known = list(dict.fromkeys(key for one in options for key in one.get("properties", {})))
    path = ".".join(str(part) for part in place)
    if name in _NOW and _NOW[name] in known:
        wrong, todo = f'the {noun} "{name}" has another name now', f"Write {_NOW[name]}."
    else:
        wrong = f'unknown {noun} "{name}"'
        todo = f"Known {noun}s: {', '.join(known)}{nearest_hint(name, known)}."
    return Fault(source, None, path, name, todo, place, wrong=wrong)


def _place(location: tuple[str | int, ...], given: Any) -> tuple[str | int, ...]:
    """The part of a location that lies in the text: pydantic adds names of its own types.

    The last part may name a key that is missing.
    """
    place: list[str | int] = []
    in_pair = False  # the part says which of a name and its value
    for last, part in enumerate(location, 1 - len(location)):
        if in_pair:
            in_pair = False
            continue
        names = _pairs(given) if isinstance(part, int) else []
        in_pair = bool(names)
        here = names[part] if isinstance(part, int) and part < len(names) else part
        is_index = isinstance(given, list) and isinstance(here, int) and here < len(given)
        if is_index or (isinstance(given, dict) and here in given):
            given = given[here]
        elif (
            last
            or isinstance(here, int)
            or not isinstance(given, dict)
            or str(here).startswith("[")
        ):
            continue
        place.append(here)
    return tuple(place)


@cache
def _schema(kind: TypeAdapter[Any]) -> dict[str, Any]:
    return kind.json_schema()


def _node(
    schema: dict[str, Any], place: tuple[str | int, ...], *, last: bool = False
) -> dict[str, Any]:
    """What the schema says of a place; walks $ref, arrays and maps (`last`: at its end, too)."""
    definitions = schema.get("$defs", {})
    node = schema
    for part in place:
        if isinstance(part, int):
            child = _option(node, definitions, "items").get("items", {})
        else:
            options = _options(node, definitions)
            named = (one for one in options if part in one.get("properties", {}))
            other = _option(node, definitions, "properties", "additionalProperties")
            found = next(named, other)
            child = found.get("properties", {}).get(part, found.get("additionalProperties", {}))
        node = child if isinstance(child, dict) else {}
    return resolved(node, definitions) if last else node


def _option(node: dict[str, Any], definitions: dict[str, Any], *has: str) -> dict[str, Any]:
    """Of a choice of kinds the one that has one of these members; else the first."""
    options = _options(node, definitions)
    return next((one for one in options if any(name in one for name in has)), options[0])


def _options(node: dict[str, Any], definitions: dict[str, Any]) -> list[dict[str, Any]]:
    """The kinds to choose from, also where a choice is one of a choice; one where there is none."""
    whole = resolved(node, definitions, choose=False)
    choices = whole.get("anyOf") or whole.get("oneOf") or []
    return [one for choice in choices for one in _options(choice, definitions)] or [whole]
