"""The plan of a whole site: asked for on the page of its survey, shown on one of its own."""

from __future__ import annotations

from typing import Any

from flask import Response

from ..problems import ProblemError
from .ask import at
from .visiting import Page, Visit, nothing, to

_SECONDS = 25.0  # what a visitor waits for at most


def ask_plan(visit: Visit, survey_id: str) -> Response:
    asked: dict[str, Any] = {"survey": survey_id, "options": {"time_limit_s": _SECONDS}}
    for name, kind in (("at_most", int), ("budget", float)):
        text = visit.text(name).strip()
        if text:
            try:
                asked[name] = kind(text)
            except ValueError:
                detail = f"{name.replace('_', ' ').capitalize()} is a number, or empty."
                raise ProblemError("invalid", detail) from None
    made = visit.ask.post("/v1/site-plans", asked)
    return to(at("surveys", survey_id, "site-plans", made["id"]))


def plan(visit: Visit, survey_id: str, plan_id: str) -> Response:
    asked = visit.ask.get(at("v1", "site-plans", plan_id))
    survey = visit.ask.get(at("v1", "surveys", survey_id))
    if asked["survey"] != survey["id"]:
        raise nothing("such plan")
    return visit.show("site-plan.html", survey=survey, asked=asked)


PAGES = (
    Page("POST", "/surveys/<survey_id>/site-plans", ask_plan),
    Page("GET", "/surveys/<survey_id>/site-plans/<plan_id>", plan),
)
