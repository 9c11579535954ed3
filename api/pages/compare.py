"""An answer beside the settings of today, a colleague's, or another answer of the read point."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from flask import Response

import strategist
from strategist.errors import InputError

from ..problems import KINDS, ProblemError
from ..requests import invalid
from ..store.jobs import find_at_point
from .answers import finished
from .ask import at
from .later import ask_for, look_at, watch
from .visiting import Page, Visit, nothing, to

_RESOURCE, _KIND = "comparisons", "comparison"
_SHOWN = 10
_PASSES = 20  # that differ, shown by name


def form(visit: Visit, answer_id: str) -> Response:
    """What can be compared with, and what was."""
    return _form(visit, finished(visit.ask, answer_id))


def _form(visit: Visit, found: Mapping[str, Any], problem: ProblemError | None = None) -> Response:
    ask, where = visit.ask, (found["survey"], found["read_point"])
    database = ask.service.database
    others = find_at_point(database, ask.client, "strategy", where, _SHOWN)
    earlier = find_at_point(database, ask.client, _KIND, where, _SHOWN, unfinished=True)
    shown = None if problem is None else {"kind": KINDS[problem.kind], "error": problem}
    return visit.show(
        "compare.html",
        status=200 if problem is None else KINDS[problem.kind].status,
        answer=found,
        others=[row for row in others if row["id"] != found["id"]],
        earlier=earlier,
        given=visit.request.form,
        problem=shown,
    )


def compare(visit: Visit, answer_id: str) -> Response:
    """Work the comparison out; changes are told from the other settings to the answer."""
    found = finished(visit.ask, answer_id)
    try:
        name = visit.text("name") or "today"
        asked = {
            "survey": found["survey"],
            "read_point": found["read_point"],
            "label": name[:200],
            "entries": [
                {"name": name, **_other(visit)},
                {"name": "answer", "strategy_id": answer_id},
            ],
        }
        made = ask_for(visit, _RESOURCE, asked)
    except ProblemError as error:
        return _form(visit, found, error)
    return to(at("answers", answer_id, "compare", made))


def _other(visit: Visit) -> dict[str, Any]:
    """The other side, as the form gives it: a file, a text, another answer, or plain figures."""
    file = visit.request.files.get("file")
    text = visit.text("strategy").encode()
    if file is not None and file.filename:
        text = file.read()
    if text:
        try:
            given = strategist.parse_strategy_file(text, "the settings given")
        except InputError as error:
            raise invalid(error) from None
        return {"strategy": given.strategy.to_json()}
    if visit.text("other"):
        return {"strategy_id": visit.text("other")}
    if not visit.text("levels"):
        raise ProblemError("invalid", "Give the power that is set today, or a strategy.")
    return {"strategy": _figures(visit)}


def _figures(visit: Visit) -> dict[str, Any]:
    """A strategy by its figures: levels, when to stop, cutoff. Masks need a file or a text."""
    words = visit.text("levels").replace(";", " ").replace("/", " ").replace(",", " ").split()
    try:
        found: dict[str, Any] = {"levels_dbm": [float(_plain(word)) for word in words]}
        if visit.text("cutoff"):
            found["cutoff_dbm"] = float(_plain(visit.text("cutoff")))
        if visit.text("stop_after"):
            found["stop_after"] = int(visit.text("stop_after"))
    except ValueError:
        raise ProblemError("invalid", "Power, cutoff and stop rule are numbers.") from None
    return found


def _plain(text: str) -> str:
    return text.replace("−", "-").removesuffix("dBm")


def compared(visit: Visit, answer_id: str, asked_id: str) -> Response:
    """Both sides, what to change from the first to the second, and the passes that differ."""
    found = finished(visit.ask, answer_id)
    try:
        looked = look_at(visit, _RESOURCE, asked_id)
    except ProblemError as error:
        if error.kind == "not-found":
            raise
        return _form(visit, found, error)  # the worker refused it
    asked = looked.document
    if looked.status == 202:
        stop = at("answers", answer_id, "compare", asked_id, "delete")
        return watch(visit, asked, stop, answer=found, tab="Compare")
    if (asked["survey"], asked["read_point"]) != (found["survey"], found["read_point"]):
        raise nothing("such comparison")
    result = asked["result"]
    return visit.show(
        "compared.html",
        answer=found,
        asked=asked,
        result=result,
        passes=result["passes"][:_PASSES],
        text=json.dumps,
    )


def remove(visit: Visit, answer_id: str, asked_id: str) -> Response:
    visit.ask.delete(at("v1", _RESOURCE, asked_id))
    return to(at("answers", answer_id, "compare"))


PAGES = (
    Page("GET", "/answers/<answer_id>/compare", form),
    Page("POST", "/answers/<answer_id>/compare", compare),
    Page("GET", "/answers/<answer_id>/compare/<asked_id>", compared),
    Page("POST", "/answers/<answer_id>/compare/<asked_id>/delete", remove),
)
