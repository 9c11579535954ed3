"""The keys of site.json: what is said of one where its field stands, and the list of them all."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field, GetCoreSchemaHandler, TypeAdapter
from pydantic.json_schema import GenerateJsonSchema

from strategist.survey.answer import Declared
from strategist.survey.key_words import KEY_WORDS

_UNIT, _WHEN = "x-unit", "x-when"  # beside what JSON Schema has
_NO_BOUND = 1e12  # so much is a guard, not a bound that anybody meets
_NAMED = 8  # keys of an object that are named


class Untitled(GenerateJsonSchema):
    """Makes a schema whose fields have no titles that repeat their names."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


@dataclass(frozen=True)
class EachSchema:
    """The JSON Schema of an object with one of a kind under each name, made when it is asked for
    (at import it would take longer than the policy itself)."""

    kind: Any

    def __get_pydantic_json_schema__(self, _: Any, handler: Any) -> dict[str, Any]:
        each = TypeAdapter(self.kind).json_schema(schema_generator=Untitled)
        return {"type": "object", "additionalProperties": each}


class Assumed(int):
    """A default that supposes something of the reader; whoever sets the key gives a plain int."""

    @classmethod
    def __get_pydantic_core_schema__(cls, _: Any, handler: GetCoreSchemaHandler) -> Any:
        return handler(int)


def key(name: str, *, default: Any = None, **bounds: Any) -> Any:
    """The annotation of a field that is the key `name` of site.json, with its words.

    `bounds` are those of pydantic's Field. Default and allowed values follow from the field;
    `default` is that of its JSON where another stands in the field.
    """
    words = KEY_WORDS[name]
    more = {_UNIT: words.unit, _WHEN: words.when, "default": default}
    extra: Any = {name: value for name, value in more.items() if value not in ("", None)}
    return Field(
        description=words.means, examples=[words.example], json_schema_extra=extra, **bounds
    )


@dataclass(frozen=True)
class SiteKey(Declared):
    """A key of site.json; `name` has the keys that hold it before it, joined by dots.

    Keys of a read point are named from there; N stands for a name that the planner gives.
    `when` is read after "Set it". `default` and `example` are JSON values; `required` keys have no
    default. Where a key `holds` others, its value is an object, and they are listed after it.
    """

    name: Annotated[str, "as key"]
    means: str
    unit: str | None
    default: Any
    required: bool
    allowed: str
    when: str
    example: Any
    holds: bool


@dataclass(frozen=True)
class SiteKeys(Declared):
    """Keys of site.json, each before those that it holds."""

    keys: tuple[SiteKey, ...]


def keys_of(schema: dict[str, Any]) -> tuple[SiteKey, ...]:
    """The keys that a JSON Schema made from such fields describes, each before those it holds."""
    return tuple(_walk(schema, schema.get("$defs", {}), ""))


def _walk(node: dict[str, Any], definitions: dict[str, Any], before: str) -> Iterator[SiteKey]:
    for name, given in node.get("properties", {}).items():
        inner = resolved(given, definitions)
        of_each = inner.get("additionalProperties")
        holds = "properties" in inner or isinstance(of_each, dict)
        yield SiteKey(
            before + name,
            given.get("description", ""),
            given.get(_UNIT),
            None if holds else given.get("default"),
            name in node.get("required", ()),
            allowed_of(given, definitions),
            given.get(_WHEN, ""),
            (given.get("examples") or [None])[0],
            holds,
        )
        if isinstance(of_each, dict):
            each = resolved(of_each, definitions)
            within = "" if name == "read_points" else f"{before}{name}.N."
            yield from _walk(each, definitions, within)
        else:
            yield from _walk(inner, definitions, f"{before}{name}.")


def resolved(
    node: dict[str, Any], definitions: dict[str, Any], *, choose: bool = True
) -> dict[str, Any]:
    """A schema without $ref; of a choice of kinds the first that is not null (`choose`)."""
    while "$ref" in node:
        node = definitions[node["$ref"].rsplit("/", 1)[-1]]
    for option in node.get("anyOf", ()) if choose else ():
        if option.get("type") != "null":
            return resolved(option, definitions)
    return node


def allowed_of(node: dict[str, Any], definitions: dict[str, Any]) -> str:
    """What a schema allows, in words: `a whole number from 1 to 32, or null`."""
    options = node.get("anyOf", [node])
    words = [_kind(resolved(one, definitions), definitions) for one in options]
    plain = [one for one in words if one != "null"]
    unit = f" ({node[_UNIT]})" if _UNIT in node else ""
    return (
        " or ".join(dict.fromkeys(plain)) + unit + (", or null" if len(plain) < len(words) else "")
    )


def _kind(node: dict[str, Any], definitions: dict[str, Any]) -> str:
    if "enum" in node or "const" in node:
        names = [one or "an empty text" for one in node.get("enum", [node.get("const")])]
        return names[0] if len(names) == 1 else f"one of {', '.join(names)}"
    if "discriminator" in node:
        named = node["discriminator"]
        return f"an object whose {named['propertyName']} is one of {', '.join(named['mapping'])}"
    kind = node.get("type")
    if kind in ("integer", "number"):
        return ("a whole number" if kind == "integer" else "a number") + _range(node)
    if kind == "array":
        many = _count(node.get("minItems", 0), node.get("maxItems"))
        return f"a list{many}, each {allowed_of(node.get('items', {}), definitions)}"
    if kind == "object":
        return _object(node)
    most = node.get("maxLength")
    low = node.get("minLength", 0)
    span = f"{low} to {most}" if low else f"at most {most}"
    text = "a text" if most is None else f"a text of {span} characters"
    if "pattern" in node:
        text = (
            f"a text such as {node['examples'][0]}" if "examples" in node else "a text of its form"
        )
    return {"boolean": "true or false", "null": "null", "string": text}.get(str(kind), "any value")


def _object(node: dict[str, Any]) -> str:
    names = list(node.get("properties", {}))
    if not names or len(names) > _NAMED:
        most = node.get("maxProperties")
        if most is not None:
            return f"an object with at most {most} keys"
        if "examples" in node:
            return f"an object such as {json.dumps(node['examples'][0])}"
        return f"an object with keys such as {', '.join(names[:3])}" if names else "an object"
    return f"an object with the key{'' if len(names) == 1 else 's'} {', '.join(names)}"


def _count(low: int, high: int | None) -> str:
    if low == high:
        return f" of {low}"
    if high is not None:
        return f" of {low} to {high:,}" if low else f" of at most {high:,}"
    return f" of {'one' if low == 1 else low} or more" if low else ""


def _range(node: dict[str, Any]) -> str:
    low, high = node.get("minimum"), node.get("maximum")
    above = node.get("exclusiveMinimum")
    top, least = ("" if one is None else bound_words(one) for one in (high, low))
    if above is not None:
        return f" above {above:g}" + (f" and at most {top}" if top else "")
    if high is not None and high >= _NO_BOUND:
        return f" of {least} or more" if low is not None and low > -_NO_BOUND else ""
    if low is not None and high is not None:
        return f" from {least} to {top}"
    return f" of {least} or more" if low is not None else ""


def bound_words(number: float) -> str:
    """A bound as people write it: 1,000,000, 0.001, 0.000001."""
    if abs(number) >= 1000:
        return f"{number:,.0f}"
    return f"{number:f}".rstrip("0") if 0 < abs(number) < 1e-4 else f"{number:g}"
