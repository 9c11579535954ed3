"""What to measure next at a read point of a survey: asked for on its page, shown on one of its own,
with the run sheet, and with the settings once it is enough."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from flask import Response

from ..problems import KINDS, ProblemError
from ..results import HTML
from .answers import power_table
from .ask import at
from .later import ask_for, look_at, watch
from .surveys import point_of
from .visiting import Page, Visit, download, nothing, to

_RESOURCE = "plans"
_SECONDS = 30.0  # the time limit


def ask_plan(visit: Visit, survey_id: str) -> Response:
    survey = visit.ask.get(at("v1", "surveys", survey_id))
    name = point_of(survey, visit.text("point"))["read_point"]
    asked: dict[str, Any] = {"survey": survey_id, "read_point": name}
    asked["options"] = {"time_limit_s": _SECONDS}
    asked |= visit.numbers(within=float, minutes_a_pass=float, seconds_a_level=float)
    return to(at("surveys", survey_id, _RESOURCE, ask_for(visit, _RESOURCE, asked)))


def plan(visit: Visit, survey_id: str, asked_id: str) -> Response:
    survey, asked = _found(visit, survey_id, asked_id)
    if "result" not in asked:
        stop = at("surveys", survey_id, _RESOURCE, asked_id, "delete")
        return watch(visit, asked, stop, survey=survey, tab="What to measure next")
    return _shown(visit, survey, asked)


def _shown(
    visit: Visit,
    survey: Mapping[str, Any],
    asked: Mapping[str, Any],
    error: ProblemError | None = None,
) -> Response:
    names = [one["read_point"] for one in survey["read_points"]]
    return visit.show(
        "plan.html",
        status=200 if error is None else KINDS[error.kind].status,
        survey=survey,
        asked=asked,
        point=names.index(asked["read_point"]),
        problem=None if error is None else {"kind": KINDS[error.kind], "error": error},
    )


def _found(visit: Visit, survey_id: str, asked_id: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """The survey and a plan at it, which may not be there yet."""
    survey = visit.ask.get(at("v1", "surveys", survey_id))
    looked = look_at(visit, _RESOURCE, asked_id)
    asked: dict[str, Any] = looked.document
    if looked.status != 202 and asked["survey"] != survey["id"]:
        raise nothing("such plan")
    return survey, asked


def run_sheet(visit: Visit, survey_id: str, asked_id: str) -> Response:
    """The run sheet, to print and fill in, as one file that needs no network."""
    _, asked = _found(visit, survey_id, asked_id)
    page = visit.ask.content(at("v1", _RESOURCE, asked_id, "sheet"), HTML).payload()
    assert isinstance(page, bytes | str)
    return download(page, f"{HTML}; charset=utf-8", f"{asked['read_point']}-run-sheet.html")


def settings_file(visit: Visit, survey_id: str, asked_id: str) -> Response:
    """The strategy in hand as Gen2 commands, or as LLRP parameters by the table of powers."""
    survey, asked = _found(visit, survey_id, asked_id)
    strategy, form = asked.get("result", {}).get("strategy"), visit.text("form_of")
    if strategy is None:
        raise nothing("strategy in hand")
    wanted = {"survey": survey_id, "read_point": asked["read_point"], "format": form}
    try:
        table = {"power_table": power_table(visit)} if form == "llrp" else {}
        made = visit.ask.post("/v1/settings", {**wanted, "strategy": strategy, **table})
    except ProblemError as error:
        return _shown(visit, survey, asked, error)
    text = json.dumps(made, ensure_ascii=False, indent=2) + "\n"
    return download(text, "application/json", f"{asked['read_point']}-{form}.json")


def remove(visit: Visit, survey_id: str, asked_id: str) -> Response:
    """Delete a plan, or stop working it out."""
    visit.ask.delete(at("v1", _RESOURCE, asked_id))
    return to(at("surveys", survey_id))


PAGES = (
    Page("POST", "/surveys/<survey_id>/plans", ask_plan),
    Page("GET", "/surveys/<survey_id>/plans/<asked_id>", plan),
    Page("GET", "/surveys/<survey_id>/plans/<asked_id>/run-sheet.html", run_sheet),
    Page("POST", "/surveys/<survey_id>/plans/<asked_id>/settings", settings_file),
    Page("POST", "/surveys/<survey_id>/plans/<asked_id>/delete", remove),
)
