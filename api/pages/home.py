"""The first page: files go in, and what is there already; and each list by itself."""

from __future__ import annotations

from typing import Any

from flask import Response

from . import sign_in
from .ask import Asker, find
from .visiting import Page, Visit

_NEWEST = 5  # of each list on the first page
_LISTED = 25  # on a page of its own


def home(visit: Visit) -> Response:
    return show_home(visit)


def show_home(visit: Visit, *, status: int = 200, problem: Any = None) -> Response:
    """The first page, with what is wrong with the files that were sent."""
    lists = {name: _list(visit.ask, name, _NEWEST) for name in ("surveys", "batches", "answers")}
    case = find(visit.ask.endpoints, "POST", "/v1/surveys")[0].forms[0]
    return visit.show("home.html", status=status, problem=problem, forms=case.parts, **lists)


def surveys(visit: Visit) -> Response:
    return _listed(visit, "surveys")


def batches(visit: Visit) -> Response:
    return _listed(visit, "batches")


def answers(visit: Visit) -> Response:
    return _listed(visit, "answers")


def _listed(visit: Visit, name: str) -> Response:
    found = _list(visit.ask, name, _LISTED, visit.text("cursor") or None)
    return visit.show("list.html", name=name, found=found)


def _list(ask: Asker, name: str, limit: int, cursor: str | None = None) -> dict[str, Any]:
    path = "/v1/strategies" if name == "answers" else f"/v1/{name}"
    found: dict[str, Any] = ask.get(path, limit=limit, cursor=cursor)
    return found


PAGES = (
    Page("GET", "/", home),
    Page("GET", "/surveys", surveys),
    Page("GET", "/batches", batches),
    Page("GET", "/answers", answers),
    Page("POST", "/sign-out", sign_in.leave),
)
