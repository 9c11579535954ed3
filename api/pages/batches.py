"""A batch: how far it is, each read point in a table, and what can be asked of all of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any
from urllib.parse import urlencode

from flask import Response

from ..results import CSV, HTML
from .ask import at
from .briefs import Briefs, Line
from .visiting import Page, Visit, download, to

_A_PAGE = 50
_BRIEFS = Briefs()
_OPEN = ("waiting", "running")
_STATES = ("done", "failed", "waiting", "running", "cancelled")
_KEYS: dict[str, Callable[[Line], Any]] = {
    "order": lambda line: line.row["position"],
    "name": lambda line: line.row["read_point"].lower(),
    "state": lambda line: line.row["state"],
    "loss": lambda line: line.brief and line.brief.loss,
    "guarded": lambda line: line.brief and line.brief.guarded_loss,
    "missed": lambda line: line.brief and line.brief.missed,
    "stray": lambda line: line.brief and line.brief.stray,
}


def batch(visit: Visit, batch_id: str) -> Response:
    """State and table, by page, sorted and filtered as the address says."""
    found = visit.ask.get(at("v1", "batches", batch_id))  # whose it is
    lines = _BRIEFS.of_batch(visit.ask.service.database, batch_id)
    asked = {"q": visit.text("q"), "state": visit.text("state"), "sort": visit.text("sort")}
    chosen = _sorted(_filtered(lines, asked["q"], asked["state"]), asked["sort"])
    pages = max(1, -(-len(chosen) // _A_PAGE))
    page = visit.whole("page", 1, 1, pages)
    waits = found["state"] in _OPEN
    return visit.show(
        "batch.html",
        batch=found,
        lines=chosen[(page - 1) * _A_PAGE : page * _A_PAGE],
        found=len(chosen),
        asked=asked,
        states=_STATES,
        address=lambda **more: f"?{urlencode({**asked, **more})}",
        page=page,
        pages=pages,
        totals=_totals(lines),
        waits=waits,
        refresh=3 if waits else 0,
    )


def _filtered(lines: Sequence[Line], name: str, state: str) -> list[Line]:
    return [
        line
        for line in lines
        if name.lower() in line.row["read_point"].lower() and state in ("", line.row["state"])
    ]


def _sorted(lines: list[Line], sort: str) -> list[Line]:
    """By a column; with a minus before its name the other way round. What has none comes last."""
    key = _KEYS.get(sort.removeprefix("-"), _KEYS["order"])
    there = [line for line in lines if key(line) is not None]
    lacking = [line for line in lines if key(line) is None]
    return sorted(there, key=key, reverse=sort.startswith("-")) + lacking


def _totals(lines: Sequence[Line]) -> dict[str, float]:
    briefs = [line.brief for line in lines if line.brief is not None]
    names = ("loss", "missed", "wanted", "stray", "stray_presented")
    return {name: sum(getattr(one, name) for one in briefs) for name in names}


def stop(visit: Visit, batch_id: str) -> Response:
    visit.ask.delete(at("v1", "batches", batch_id))
    return to(at("batches", batch_id))


def remove(visit: Visit, batch_id: str) -> Response:
    visit.ask.delete(at("v1", "batches", batch_id), results="delete")
    return to("/batches")


def table_file(visit: Visit, batch_id: str) -> Response:
    """All read points as a table for a spreadsheet."""
    found = visit.ask.content(at("v1", "batches", batch_id, "results"), CSV)
    payload = found.payload()
    assert isinstance(payload, bytes | str)
    return download(payload, found.media, "results.csv")


def sheets_file(visit: Visit, batch_id: str) -> Response:
    """The sheets of the read points with the largest losses, as one file that prints."""
    found = visit.ask.content(at("v1", "batches", batch_id, "results"), HTML)
    payload = found.payload()
    assert isinstance(payload, bytes | str)
    return download(payload, found.media, "sheets.html")


PAGES = (
    Page("GET", "/batches/<batch_id>", batch),
    Page("GET", "/batches/<batch_id>/results.csv", table_file),
    Page("GET", "/batches/<batch_id>/sheets.html", sheets_file),
    Page("POST", "/batches/<batch_id>/stop", stop),
    Page("POST", "/batches/<batch_id>/delete", remove),
)
