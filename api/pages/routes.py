"""Which page is where; each is wrapped so that it has a visitor, and that what fails is a page."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any
from urllib.parse import quote

from flask import Flask, Response, g, redirect, request

from ..endpoints import Endpoint
from ..problems import KINDS, ProblemError
from ..service import Service
from . import (
    answers,
    batches,
    compare,
    docs,
    first_plans,
    home,
    of_batch,
    plans,
    sign_in,
    site_plan,
    surveys,
    trade_offs,
    what_if,
)
from .ask import Asker
from .render import render, static_file
from .visit import SIGN_IN, Visitor, refuse_forged, visitor_of
from .visiting import Page, Visit

_OF_ANSWERS = (answers, trade_offs, what_if, compare)
_MODULES = (home, surveys, *_OF_ANSWERS, batches, of_batch, site_plan, plans, first_plans)
PAGES: tuple[Page, ...] = tuple(page for module in _MODULES for page in module.PAGES)
AsProblem = Callable[[Exception], ProblemError]


def add_pages(
    app: Flask, service: Service, endpoints: tuple[Endpoint, ...], as_problem: AsProblem
) -> None:
    """Add the pages to an app; they ask the endpoints, and nothing else of the API."""
    for page in PAGES:
        view = partial(_shown, page, service, endpoints, as_problem)
        app.add_url_rule(page.rule, page.name, view, methods=[page.method])
    shown = partial(sign_in.show, service)
    app.add_url_rule(SIGN_IN, "sign-in", shown, methods=["GET"])
    take = partial(_guarded, partial(sign_in.take, service), as_problem)
    app.add_url_rule(SIGN_IN, "sign-in-taken", take, methods=["POST"])
    app.add_url_rule("/docs", "docs", partial(docs.show, service, endpoints))
    app.add_url_rule("/pages/<name>", "page-file", _static)


def _static(name: str) -> Response:
    found = static_file(name)
    if found is None:
        raise ProblemError("not-found", "There is no such file.")
    return found


def _shown(
    page: Page,
    service: Service,
    endpoints: tuple[Endpoint, ...],
    as_problem: AsProblem,
    **path: str,
) -> Response:
    if page.rule == "/" and not _wants_html():
        raise ProblemError("not-found", "There is no such path; /docs lists those that there are.")
    visitor: Visitor | None = None
    try:
        visitor = visitor_of(service, request)
        if visitor is None:
            return _to_sign_in()
        g.client = visitor.client
        if page.method == "POST":
            request.max_content_length = page.most(service.limits)
            refuse_forged(request, visitor)
        gone = request.environ.get("waitress.client_disconnected", lambda: False)
        with service.requests.one(visitor.client) as taken:
            if not taken:
                raise ProblemError("queue-full", "Too many requests of yours at once.")
            asker = Asker(service, visitor.client, endpoints, gone)
            return page.view(Visit(visitor, asker, request), **path)
    except Exception as error:
        return problem_page(as_problem(error), visitor)


def _guarded(view: Callable[[], Response], as_problem: AsProblem) -> Response:
    try:
        return view()
    except Exception as error:
        return problem_page(as_problem(error), None)


def _to_sign_in() -> Response:
    """To the form, and back from there.

    A link on another site (a mail, say) is followed without the cookie: a page of ours then asks
    again, which sends it.
    """
    if request.method != "GET":
        error = ProblemError("unauthorized", "Your session has ended. Sign in, then send it again.")
        return problem_page(error, None)
    query = quote(request.query_string, safe="=&%+")
    address = quote(request.path) + (f"?{query}" if query else "")
    if request.headers.get("Sec-Fetch-Site") == "cross-site":
        return render("again.html", None, address=address)
    back = "" if address == "/" else f"?next={quote(address, safe='')}"
    return _as_response(redirect(f"{SIGN_IN}{back}", 303))


def _as_response(found: Any) -> Response:
    return Response(found.get_data(), found.status_code, headers=dict(found.headers))


def problem_page(error: ProblemError, visitor: Visitor | None) -> Response:
    """What went wrong, each fault with its place, and what to do about it."""
    kind = KINDS[error.kind]
    return render("problem.html", visitor, status=kind.status, kind=kind, error=error)


def _wants_html() -> bool:
    best = request.accept_mimetypes.best_match(["application/json", "text/html"])
    return best == "text/html"
