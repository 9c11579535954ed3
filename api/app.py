"""The app factory: every endpoint behind one wrapper that authorises, validates and answers."""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import cache
from typing import Any

from flask import Flask, Response, g, request
from werkzeug.exceptions import HTTPException, MethodNotAllowed, RequestEntityTooLarge

from strategist.errors import InputError

from .endpoints import JSON, Answer, Ask, Endpoint
from .log import log_request
from .openapi import describe
from .page import FRAMED_BY_NONE, POLICY, page
from .pages.routes import add_pages
from .problems import ProblemError, problem_json
from .requests import (
    client_for,
    digest_of_request,
    ids_of,
    invalid,
    query_of,
    read_body,
    refuse_foreign,
    refuse_full_share,
)
from .service import Service
from .store.database import FullStoreError, StoreError
from .store.ids import derived_ids
from .store.keys import begin, complete_key, forget_key
from .views import batches, documents, figures, kept, settings, sheets, surveys

_VIEWS = (surveys, sheets, settings, batches, figures, documents)
ENDPOINTS: tuple[Endpoint, ...] = (
    *kept.ENDPOINTS,
    *(one for module in _VIEWS for one in vars(module).values() if isinstance(one, Endpoint)),
)
_REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_KEY = re.compile(r"[\x21-\x7e]{1,200}")
_RETRY = {"Retry-After": "2"}
_SECURITY = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_CSP = f"default-src 'none'; {FRAMED_BY_NONE}"


@cache
def description() -> dict[str, Any]:
    """The OpenAPI document, made when somebody first asks for it."""
    return describe(ENDPOINTS)


def create_app(service: Service) -> Flask:
    """The WSGI app over a store; it starts no worker and opens no port."""
    app = Flask(__name__, static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = service.limits.upload_bytes
    app.config["MAX_FORM_PARTS"] = 20
    app.extensions["strategist"] = service
    for found in ENDPOINTS:
        app.add_url_rule(
            re.sub(r"{(\w+)}", r"<\1>", found.path),
            found.name,
            _wrapped(found, service),
            methods=[found.method],
            provide_automatic_options=False,
        )
    app.add_url_rule("/openapi.json", "openapi", lambda: _response(Answer(description())))
    app.add_url_rule("/docs/reference", "reference", _reference)
    add_pages(app, service, ENDPOINTS, lambda error: _as_problem(app, error))
    app.before_request(_begin)
    app.after_request(lambda response: _end(response, service))
    app.register_error_handler(Exception, lambda error: _problem(app, error))
    return app


def _reference() -> Response:
    headers = {"Content-Security-Policy": POLICY}
    content = page(description())
    return _response(Answer(content=content, media="text/html; charset=utf-8", headers=headers))


def _wrapped(endpoint: Endpoint, service: Service) -> Callable[..., Response]:
    def view(**path: str) -> Response:
        if service.open_to_all:
            refuse_foreign(request)
        client = client_for(service, request) if endpoint.needs_token else ""
        g.client = client
        if not endpoint.needs_token:
            return _answered(endpoint, service, client, path)
        with service.requests.one(client) as taken:
            if not taken:
                detail = "Too many requests of yours at once; the limits are at /v1."
                raise ProblemError("queue-full", detail, headers=_RETRY)
            return _answered(endpoint, service, client, path)

    return view


def _answered(
    endpoint: Endpoint, service: Service, client: str, path: Mapping[str, str]
) -> Response:
    """Everything that can be refused by the header is, before the body is looked at."""
    if endpoint.method == "POST":
        if service.stopping.is_set():
            raise ProblemError("stopping", "Send it again to the next server.", headers=_RETRY)
        coding = request.headers.get("Content-Encoding", "identity")
        if coding.strip().lower() != "identity":
            detail = f"Content-Encoding is {coding[:40]}; send the body as it is."
            raise ProblemError("media-type", detail)
        if {201, 202} & set(endpoint.gives):
            refuse_full_share(service, client)
    query = query_of(endpoint, request)
    body, files = read_body(endpoint, request, service)
    accept = request.accept_mimetypes.best_match([JSON, *endpoint.media], JSON)
    gone = request.environ.get("waitress.client_disconnected", lambda: False)
    later = endpoint.later and "respond-async" in _preferences()
    ask = Ask(service, client, ids_of(path), query, body, files, accept, gone=gone, later=later)
    if endpoint.method == "POST" and endpoint.needs_token:
        return _once(endpoint, ask)
    return _response(_called(endpoint, ask))


def _preferences() -> set[str]:
    """What the client would prefer (RFC 7240), by name."""
    given = ",".join(request.headers.getlist("Prefer")).lower()
    return {one.partition(";")[0].strip() for one in given.split(",")}


def _called(endpoint: Endpoint, ask: Ask) -> Answer:
    try:
        return endpoint.view(ask)
    except InputError as error:
        raise invalid(error) from None


def _once(endpoint: Endpoint, ask: Ask) -> Response:
    """Do a POST; with an Idempotency-Key at most once, and give the first answer ever after."""
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return _response(_called(endpoint, ask))
    if not _KEY.fullmatch(key):
        allowed = "a key of 1 to 200 visible ASCII characters"
        raise invalid(InputError.one("header", key[:20], allowed, column="Idempotency-Key"))
    database = ask.service.database
    digest = digest_of_request(request, ask)
    held = begin(database, ask.client, key, path=request.path, digest=digest)
    if held.state == "other":
        raise ProblemError("other-key", "The key came with another path or body before.")
    if held.state == "busy":
        raise ProblemError(
            "busy-key", "The first request with this key is not answered yet.", headers=_RETRY
        )
    if held.state == "done":
        headers = {**(held.headers or {}), "Idempotency-Replayed": "true"}
        return _response(Answer(status=held.status, headers=headers, content=held.body))
    try:
        answer = _called(endpoint, replace(ask, new_id=derived_ids(held.nonce)))
    except Exception:
        with suppress(StoreError):  # then it is free again when its lease has run out
            forget_key(database, ask.client, key)
        raise
    text = json.dumps(answer.document, ensure_ascii=False, allow_nan=False)
    complete_key(database, ask.client, key, status=answer.status, headers=answer.headers, body=text)
    return _response(answer)


def _response(answer: Answer) -> Response:
    payload = answer.payload()
    response = Response(payload, answer.status, mimetype=None, content_type=answer.media)
    for name, value in answer.headers.items():
        response.headers[name] = value
    if request.method == "GET" and answer.status == 200 and isinstance(payload, str | bytes):
        data = payload.encode() if isinstance(payload, str) else payload
        response.set_etag(hashlib.sha256(data).hexdigest()[:32])
        response.make_conditional(request)
    return response


def _begin() -> None:
    given = request.headers.get("X-Request-Id", "")
    g.request_id = given if _REQUEST_ID.fullmatch(given) else secrets.token_hex(8)
    g.started = time.monotonic()
    g.client = None


def _end(response: Response, service: Service) -> Response:
    response.headers["X-Request-Id"] = g.request_id
    for name, value in _SECURITY.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Content-Security-Policy", _CSP)
    response.headers.setdefault("Cache-Control", "private, no-cache")
    response.vary.add("Accept")  # results come in several forms
    seconds = time.monotonic() - g.started
    name = request.endpoint or "unknown"
    service.metrics.count(name, response.status_code, seconds)
    log_request(g.request_id, g.client, request, response.status_code, seconds)
    return response


def _problem(app: Flask, error: Exception) -> Response:
    """The one place where a refusal or a failure becomes an answer."""
    found = _as_problem(app, error)
    document = problem_json(found, g.request_id)
    media = "application/problem+json"
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    response = Response(text, found.status, content_type=media)
    for name, value in found.headers.items():
        response.headers[name] = value
    return response


def _as_problem(app: Flask, error: Exception) -> ProblemError:
    if isinstance(error, ProblemError):
        return error
    if isinstance(error, HTTPException):
        return _of_http(error)
    if isinstance(error, FullStoreError) or _no_space(error):
        return ProblemError("full-store", "Nothing of this request was kept.")
    if isinstance(error, StoreError):
        return ProblemError("unavailable", "Nothing of this request was kept.", headers=_RETRY)
    app.logger.error("defect", exc_info=error, extra={"request_id": g.request_id})
    return ProblemError("internal", "The error was logged under the request id.")


def _of_http(error: HTTPException) -> ProblemError:
    """What Flask refuses by itself."""
    if isinstance(error, MethodNotAllowed):
        allow = ", ".join(sorted(set(error.valid_methods or ()) - {"OPTIONS"}))
        return ProblemError("method", f"Allowed: {allow}.", headers={"Allow": allow})
    if isinstance(error, RequestEntityTooLarge):
        return ProblemError("too-large", "See the limits at /v1.")
    if error.code in (404, 308):
        return ProblemError("not-found", "There is no such path; /docs lists those that there are.")
    return ProblemError("malformed", "The request does not follow HTTP.")


def _no_space(error: Exception) -> bool:
    return isinstance(error, OSError) and error.errno in (27, 28, 122)  # EFBIG, ENOSPC, EDQUOT
