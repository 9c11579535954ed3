"""OpenAPI 3.1, made from the definitions that route and validate."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from pydantic import TypeAdapter

from strategist import Untitled, __version__

from .answers import Late, Problem
from .endpoints import JSON, Endpoint, Form
from .problems import KINDS

_REF = "#/components/schemas/{model}"
_ABOUT = (
    "Surveys of UHF RFID read points in; proven strategies and comparisons out. "
    "Every POST takes an Idempotency-Key: sent again with the same body it makes nothing new. "
    "With Prefer: respond-async (RFC 7240) what a worker answers is 202 at once, to be asked for "
    "at its Location. "
    "X-Request-Id is echoed. Errors are problem details (RFC 9457) that name each fault."
)
_BINARY = {"type": "string", "contentMediaType": "application/octet-stream"}
_KEY = {
    "name": "Idempotency-Key",
    "in": "header",
    "description": "A unique key per creation request; kept for seven days.",
    "schema": {"type": "string", "minLength": 1, "maxLength": 200, "pattern": "^[!-~]{1,200}$"},
}


def describe(endpoints: Iterable[Endpoint]) -> dict[str, Any]:
    """The document for a set of endpoints."""
    known = tuple(endpoints)
    schemas, definitions = _schemas(known)
    paths: dict[str, Any] = {}
    for one in known:
        paths.setdefault(one.path, {})[one.method.lower()] = _operation(one, known, schemas)
    return {
        "openapi": "3.1.0",
        "info": {"title": "strategist", "version": __version__, "description": _ABOUT},
        "servers": [{"url": "/"}],
        "paths": paths,
        "components": {
            "schemas": definitions,
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
    }


def statuses(endpoint: Endpoint) -> dict[int, list[str]]:
    """The kinds of problem that an endpoint may answer with, by status."""
    kinds = ["foreign", "invalid", "internal", "unavailable", *endpoint.problems]
    if "no-time" in endpoint.problems:  # a worker answers
        kinds += ["no-memory", "long-answer", "full-store"]
    if endpoint.needs_token:
        kinds += ["unauthorized", "queue-full"]
    if "{" in endpoint.path:
        kinds.append("not-found")
    if endpoint.method == "POST":
        kinds += ["malformed", "too-large", "media-type", "busy-key", "other-key", "stopping"]
    if endpoint.method != "GET":
        kinds += ["full-store", "full-share"]
    found: dict[int, list[str]] = {}
    for kind in KINDS:
        if kind in kinds:
            found.setdefault(KINDS[kind].status, []).append(kind)
    return found


def _models(endpoint: Endpoint) -> list[Any]:
    body = endpoint.schema if endpoint.body is bytes else endpoint.body
    given = (body, endpoint.query, *endpoint.gives.values())
    return [_made(model) for model in given if model is not None]


def _made(model: Any) -> Any:
    return model.make() if isinstance(model, Late) else model


def _schemas(endpoints: Iterable[Endpoint]) -> tuple[dict[Any, Any], dict[str, Any]]:
    """The schema of each model, and the definitions that they refer to."""
    models = {model: None for one in endpoints for model in _models(one)} | {Problem: None}
    inputs = [(model, "validation", TypeAdapter(model)) for model in models]
    found, rest = TypeAdapter.json_schemas(
        inputs,  # type: ignore[arg-type]
        ref_template=_REF,
        schema_generator=Untitled,
    )
    return {model: schema for (model, _), schema in found.items()}, rest.get("$defs", {})


def _operation(
    one: Endpoint, known: tuple[Endpoint, ...], schemas: dict[Any, Any]
) -> dict[str, Any]:
    found: dict[str, Any] = {
        "operationId": one.name,
        "summary": one.summary,
        "tags": [one.tag],
        "parameters": [*_path_parameters(one), *_query_parameters(one, schemas)],
        "responses": _responses(one, known, schemas),
        "security": [{"token": []}] if one.needs_token else [],
    }
    if one.method == "POST":
        found["parameters"].append(_KEY)
    if one.body is not None:
        content = {JSON: {"schema": schemas[one.schema if one.body is bytes else one.body]}}
        if one.forms:
            content["multipart/form-data"] = {"schema": {"anyOf": [*map(_form, one.forms)]}}
        found["requestBody"] = {"required": True, "content": content}
    return found


def _form(form: Form) -> dict[str, Any]:
    several = {"type": "array", "items": _BINARY, "minItems": 1}
    return {
        "type": "object",
        "properties": {name: several if name in form.repeated else _BINARY for name in form.parts},
        "required": list(form.needed),
        "additionalProperties": False,
    }


def _path_parameters(one: Endpoint) -> list[dict[str, Any]]:
    return [
        {"name": name, "in": "path", "required": True, "schema": {"type": "string", "minLength": 1}}
        for name in re.findall(r"{(\w+)}", one.path)
    ]


def _query_parameters(one: Endpoint, schemas: dict[Any, Any]) -> list[dict[str, Any]]:
    if one.query is None:
        return []
    schema = TypeAdapter(one.query).json_schema(schema_generator=Untitled)
    return [
        {"name": name, "in": "query", "required": name in schema.get("required", []), "schema": of}
        for name, of in schema["properties"].items()
    ]


def _responses(
    one: Endpoint, known: tuple[Endpoint, ...], schemas: dict[Any, Any]
) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for status, model in one.gives.items():
        given: dict[str, Any] = {"description": one.summary}
        if model is not None:
            plain = {media: {"schema": {"type": "string"}} for media in one.media}
            as_json = {} if model is str else {JSON: {"schema": schemas[_made(model)]}}
            given["content"] = as_json | plain
        links = _links(one, known)
        if links:
            given["links"] = links
        found[str(status)] = given
    if one.method == "GET":
        found["304"] = {"description": "As before (If-None-Match)."}
    problem = {"application/problem+json": {"schema": schemas[Problem]}}
    for status, kinds in statuses(one).items():
        words = "; ".join(KINDS[kind].title for kind in kinds)
        found[str(status)] = {"description": words, "content": problem}
    return found


def _links(one: Endpoint, known: tuple[Endpoint, ...]) -> dict[str, Any]:
    """From what a POST makes to what can be done with it."""
    if one.method != "POST" or not {201, 202} & set(one.gives):
        return {}
    of_item = re.compile(re.escape(one.path) + r"/{(\w+)}(/results)?")
    return {
        other.name.replace(".", "_"): {
            "operationId": other.name,
            "parameters": {match[1]: "$response.body#/id"},
        }
        for other in known
        if (match := of_item.fullmatch(other.path))
    }
