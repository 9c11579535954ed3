"""From an HTTP request to an `Ask` whose every part is valid, or a problem that says why not."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from flask import Request
from pydantic import TypeAdapter, ValidationError
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from strategist import input_error, parse_json, refuse_values
from strategist.errors import InputError, MalformedError

from .endpoints import JSON, Ask, Endpoint, Form
from .forms import files_of_form
from .problems import ProblemError, detail_of, faults_json
from .service import Service
from .store.ids import is_id
from .store.retention import stored_bytes
from .store.tokens import client_of

LOCAL = ("127.0.0.1", "localhost", "[::1]")
FORM = "multipart/form-data"
_PARAMETERS = 20  # faults of a query that are listed
_OPEN_CLIENT = ""  # whose everything is where no tokens are asked for


def invalid(error: InputError) -> ProblemError:
    """The problem for bad input, with every fault."""
    kind = "malformed" if isinstance(error, MalformedError) else "invalid"
    return ProblemError(kind, detail_of(error), tuple(faults_json(error.faults)))


def refuse_foreign(request: Request) -> None:
    """Without tokens, a page on the web must not reach us through its visitor's browser."""
    name = request.host.rsplit(":", 1)[0] if not request.host.endswith("]") else request.host
    origin = request.headers.get("Origin")
    if name not in LOCAL or (origin is not None and origin != f"http://{request.host}"):
        raise ProblemError("foreign", "The Host or Origin of the request is another machine's.")


def client_for(service: Service, request: Request) -> str:
    """Whose data the request may see."""
    client = client_by(service, request.headers.get("Authorization", ""))
    if client is None:
        headers = {"WWW-Authenticate": 'Bearer realm="strategist"'}
        raise ProblemError(
            "unauthorized", "The request has no token, or one that is not valid.", headers=headers
        )
    return client


def client_by(service: Service, authorization: str) -> str | None:
    """The client whose token the header holds, or None."""
    if service.open_to_all:
        return _OPEN_CLIENT
    scheme, _, token = authorization.partition(" ")
    return client_of(service.database, token) if scheme.lower() == "bearer" and token else None


def ids_of(path: Mapping[str, str]) -> Mapping[str, str]:
    """The parts of the path; one that should be an id and is none names nothing."""
    if any(name.endswith("_id") and not is_id(value) for name, value in path.items()):
        raise ProblemError("not-found", "The path holds what is no id.")
    return path


def query_of(endpoint: Endpoint, request: Request) -> Any:
    """The query as the endpoint's model; every key once and known."""
    given: dict[str, str] = {}
    for key, values in request.args.lists():
        if len(values) > 1:
            wrong = f'the parameter "{key}" is given {len(values)} times'
            raise invalid(InputError.one("query", values[0], "it once", column=key, wrong=wrong))
        given[key] = values[0]
    if endpoint.query is None:
        if given:
            key = next(iter(given))
            wrong, todo = f'unknown parameter "{key}"', "Leave it out: this path takes none."
            raise invalid(InputError.one("query", key, todo, column=key, wrong=wrong))
        return None
    try:
        return adapter(endpoint.query).validate_strings(given, strict=False)
    except ValidationError as error:
        told = input_error(error, adapter(endpoint.query), "query", given, "parameter")
        faults = (replace(fault, path=()) for fault in told.faults[:_PARAMETERS])
        raise invalid(InputError(faults)) from None  # a pointer leads into the body


def read_body(
    endpoint: Endpoint, request: Request, service: Service
) -> tuple[Any, Mapping[str, bytes] | None]:
    """The JSON body as the endpoint's model, or the parts of its form."""
    if endpoint.body is None:
        return None, None
    request.max_content_length = (
        service.limits.upload_bytes if endpoint.forms else service.limits.request_bytes
    )
    try:
        if request.mimetype == FORM and endpoint.forms:
            return None, _parts(endpoint.forms, request)
        if request.mimetype != JSON:
            kinds = JSON if not endpoint.forms else f"{JSON} or {FORM}"
            found = request.mimetype or "none"
            raise ProblemError("media-type", f"Content-Type is {found}; send {kinds}.")
        data = request.get_data(cache=True)
    except RequestEntityTooLarge:
        size = request.max_content_length
        raise ProblemError("too-large", f"A body may have at most {size:,} bytes here.") from None
    except HTTPException:
        raise ProblemError("malformed", "The body does not follow its Content-Type.") from None
    if isinstance(endpoint.body, type) and endpoint.body is bytes:
        return data, None

    def few_enough(given: Any) -> None:
        refuse_values(given, service.limits.request_values, "body")

    try:
        return parse_json(data, adapter(endpoint.body), "body", first=few_enough), None
    except InputError as error:
        raise invalid(error) from None


@cache
def adapter(model: Any) -> TypeAdapter[Any]:
    """Made once for each model, which takes longer than to use it."""
    return TypeAdapter(model)


def _parts(forms: Sequence[Form], request: Request) -> Mapping[str, bytes]:
    """The parts of a form by their names, as files or as fields."""
    request.max_form_memory_size = request.max_content_length
    given = [(name, file.read()) for name, file in request.files.items(multi=True)]
    given += [(name, text.encode()) for name, text in request.form.items(multi=True)]
    try:
        return files_of_form(forms, given)
    except InputError as error:
        raise invalid(error) from None


def refuse_full_share(service: Service, client: str) -> None:
    """Raise ProblemError where a client stores as much as it may."""
    used, most = stored_bytes(service.database, client), service.limits.stored_bytes
    if used >= most:
        detail = f"{used:,} bytes of yours are stored; at most {most:,} are."
        raise ProblemError("full-share", detail)


def digest_of_request(request: Request, ask: Ask) -> str:
    """SHA-256 of what is asked: of the query and the body, or of the parts of a form."""
    total = hashlib.sha256(json.dumps(sorted(request.args.items(multi=True))).encode())
    if ask.files is None:
        total.update(request.get_data(cache=True))
    else:
        for name, content in sorted(ask.files.items()):
            total.update(f"{name} {len(content)}\n".encode())
            total.update(content)
    return total.hexdigest()
