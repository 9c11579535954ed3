"""The plan of a whole site: asked for on the page of its survey, shown on one of its own."""

from __future__ import annotations

from typing import Any

from flask import Response

from .ask import at
from .later import ask_for, look_at, watch
from .visiting import Page, Visit, nothing, to

_SECONDS = 30.0  # the time limit


def ask_plan(visit: Visit, survey_id: str) -> Response:
    visit.ask.get(at("v1", "surveys", survey_id))  # whose it is
    asked: dict[str, Any] = {"survey": survey_id, "options": {"time_limit_s": _SECONDS}}
    asked |= visit.numbers(at_most=int, budget=float)
    made = ask_for(visit, "site-plans", asked)
    return to(at("surveys", survey_id, "site-plans", made))


def plan(visit: Visit, survey_id: str, plan_id: str) -> Response:
    survey = visit.ask.get(at("v1", "surveys", survey_id))
    looked = look_at(visit, "site-plans", plan_id)
    asked = looked.document
    if looked.status == 202:
        stop = at("surveys", survey_id, "site-plans", plan_id, "delete")
        return watch(visit, asked, stop, survey=survey, tab="Plan of the site")
    if asked["survey"] != survey["id"]:
        raise nothing("such plan")
    return visit.show("site-plan.html", survey=survey, asked=asked)


def remove(visit: Visit, survey_id: str, plan_id: str) -> Response:
    """Delete a plan, or stop working it out."""
    visit.ask.delete(at("v1", "site-plans", plan_id))
    return to(at("surveys", survey_id))


PAGES = (
    Page("POST", "/surveys/<survey_id>/site-plans", ask_plan),
    Page("GET", "/surveys/<survey_id>/site-plans/<plan_id>", plan),
    Page("POST", "/surveys/<survey_id>/site-plans/<plan_id>/delete", remove),
)
