"""What is asked of a batch that is done: few strategies for all of it, and who reads whose tags."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from flask import Response
from sqlalchemy import RowMapping

from ..at_point import iso
from ..problems import KINDS, ProblemError
from ..store.jobs import find_of_batch
from .ask import at
from .later import ask_for, look_at, watch
from .render import day
from .visiting import Page, Visit, nothing, to

_SECONDS = 30.0  # for templates
_NAMES = {"templates": "Templates", "cross-reads": "Cross-reads"}
_SHOWN = 10
_AT_MOST = 4  # templates, unless another number is asked for


def about(visit: Visit, batch_id: str) -> Response:
    """What can be asked of all read points together, and what was."""
    return _about(visit, visit.ask.get(at("v1", "batches", batch_id)))


def _about(visit: Visit, batch: Mapping[str, Any], problem: ProblemError | None = None) -> Response:
    ask = visit.ask

    def earlier(kind: str) -> Any:
        return find_of_batch(ask.service.database, ask.client, kind, batch["id"], _SHOWN)

    return visit.show(
        "of-batch.html",
        status=200 if problem is None else KINDS[problem.kind].status,
        batch=batch,
        at_most=visit.text("at_most") or max(1, min(_AT_MOST, batch["total"] // 2)),
        templates=[_named(row) for row in earlier("templates")],
        cross_reads=[_named(row) for row in earlier("cross_reads")],
        problem=None if problem is None else {"kind": KINDS[problem.kind], "error": problem},
    )


def _named(row: RowMapping) -> dict[str, Any]:
    request = json.loads(row["request"])
    name = f"of {day(iso(row['created']))}"
    if "at_most" in request:
        name = f"at most {request['at_most']}"
    label = name if row["state"] == "done" else f"{name}, being worked out"
    return {"id": row["id"], "label": label}


def ask_templates(visit: Visit, batch_id: str) -> Response:
    text = visit.text("at_most")
    asked = {"batch": batch_id, "options": {"time_limit_s": _SECONDS}}
    try:
        if not (text.isascii() and text.isdigit() and len(text) < 5):
            raise ProblemError("invalid", "How many templates at most is a whole number.")
        made = ask_for(visit, "templates", {**asked, "at_most": int(text)})
    except ProblemError as error:
        return _about(visit, visit.ask.get(at("v1", "batches", batch_id)), error)
    return to(at("batches", batch_id, "templates", made))


def templates(visit: Visit, batch_id: str, asked_id: str) -> Response:
    return _shown(visit, batch_id, "templates", asked_id)


def ask_cross_reads(visit: Visit, batch_id: str) -> Response:
    try:
        made = ask_for(visit, "cross-reads", {"batch": batch_id})
    except ProblemError as error:
        return _about(visit, visit.ask.get(at("v1", "batches", batch_id)), error)
    return to(at("batches", batch_id, "cross-reads", made))


def cross_reads(visit: Visit, batch_id: str, asked_id: str) -> Response:
    return _shown(visit, batch_id, "cross-reads", asked_id)


def _shown(visit: Visit, batch_id: str, kind: str, asked_id: str) -> Response:
    batch = visit.ask.get(at("v1", "batches", batch_id))
    looked = look_at(visit, kind, asked_id)
    asked = looked.document
    if looked.status == 202:
        stop = at("batches", batch_id, kind, asked_id, "delete")
        return watch(visit, asked, stop, batch=batch, tab=_NAMES[kind])
    if asked["batch"] != batch["id"]:
        raise nothing("such answer")
    return visit.show(f"{kind}.html", batch=batch, asked=asked)


def remove(visit: Visit, batch_id: str, kind: str, asked_id: str) -> Response:
    """Delete an answer about a batch, or stop working it out."""
    if kind not in _NAMES:
        raise nothing("such answer")
    visit.ask.delete(at("v1", kind, asked_id))
    return to(at("batches", batch_id, "together"))


PAGES = (
    Page("GET", "/batches/<batch_id>/together", about),
    Page("POST", "/batches/<batch_id>/templates", ask_templates),
    Page("GET", "/batches/<batch_id>/templates/<asked_id>", templates),
    Page("POST", "/batches/<batch_id>/cross-reads", ask_cross_reads),
    Page("GET", "/batches/<batch_id>/cross-reads/<asked_id>", cross_reads),
    Page("POST", "/batches/<batch_id>/<kind>/<asked_id>/delete", remove),
)
