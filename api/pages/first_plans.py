"""What to measure first: of a site.json alone, before there is a survey."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

from flask import Response

import strategist

from ..problems import ProblemError
from ..results import HTML
from .visiting import Page, Visit, download

ALONE = "site.json"
_MOST = 20  # read points


def show_first_plans(visit: Visit, data: bytes) -> Response:
    """The first plan of each read point of a site.json. Raises ProblemError where it is none."""
    try:
        points = json.loads(data)["read_points"].items()
    except (ValueError, KeyError, TypeError, AttributeError):
        detail = f"{ALONE} alone asks for first plans, and is an object with the key read_points."
        raise ProblemError("invalid", detail) from None
    asked = [(name, json.dumps(policy)) for name, policy in list(points)[:_MOST]]
    plans = [(policy, _planned(visit, name, policy)) for name, policy in asked]
    return visit.show("first-plans.html", plans=plans, left=max(0, len(points) - _MOST))


def run_sheet(visit: Visit) -> Response:
    """The run sheet of the first plan of a read point that a form holds."""
    plan = _planned(visit, visit.text("read_point"), visit.text("policy"))
    page = strategist.run_sheet_page(plan, date.today().isoformat())
    return download(page, f"{HTML}; charset=utf-8", f"{plan['read_point']}-run-sheet.html")


def _planned(visit: Visit, read_point: str, policy: str) -> dict[str, Any]:
    try:
        given = json.loads(policy)
    except ValueError:
        raise ProblemError("invalid", "The policy of a read point is JSON.") from None
    found: dict[str, Any] = visit.ask.post(
        "/v1/first-plans", {"read_point": read_point, "policy": given}
    )
    return found


PAGES = (Page("POST", "/first-plans/run-sheet.html", run_sheet),)
