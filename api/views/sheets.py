"""The sheet of one answer: what `strategist report` makes of it, with its survey at hand."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

from sqlalchemy import RowMapping

import strategist

from ..at_point import missing
from ..endpoints import Answer, Ask, endpoint
from ..interactive import answer_of
from ..limits import INTERACTIVE_TIME_S
from ..page import FRAMED_BY_NONE
from ..results import HTML
from ..store.database import Database
from ..store.ids import random_id
from ..store.jobs import Job, find_at_point, find_job
from ..store.surveys import find_survey

_LOOKED_AT = 20  # of the newest questions, for trade-offs to show


@endpoint(
    "GET",
    "/v1/strategies/{strategy_id}/sheet",
    gives={200: str},
    media=(HTML,),
    problems=("queue-full", "no-time"),
)
def sheet(ask: Ask) -> Answer:
    """The sheet of a strategy that is there, as a page that prints and needs no network: with plots
    while its survey is there, and with the newest trade-offs of its read point.
    """
    row = find_job(ask.service.database, ask.client, "strategy", ask.path["strategy_id"])
    if row is None or row["result"] is None:
        raise missing("strategy that is done")
    result = json.loads(row["result"])
    survey = find_survey(ask.service.database, ask.client, row["survey"])
    page = _plain(row, result) if survey is None else _plotted(ask, row, result, survey)
    headers = {"Content-Security-Policy": f"{strategist.page_policy(page)}; {FRAMED_BY_NONE}"}
    return Answer(content=page, media=f"{HTML}; charset=utf-8", headers=headers)


@endpoint("GET", "/v1/plans/{plan_id}/sheet", gives={200: str}, media=(HTML,))
def run_sheet(ask: Ask) -> Answer:
    """The run sheet of a plan of measurements, as a page to print and fill in."""
    row = find_job(ask.service.database, ask.client, "plan", ask.path["plan_id"])
    if row is None or row["result"] is None:
        raise missing("plan that is done")
    page = strategist.run_sheet_page(json.loads(row["result"]), date.today().isoformat())
    headers = {"Content-Security-Policy": f"{strategist.page_policy(page)}; {FRAMED_BY_NONE}"}
    return Answer(content=page, media=f"{HTML}; charset=utf-8", headers=headers)


def _plain(row: RowMapping, result: dict[str, Any]) -> str:
    given = strategist.GivenResult("answer", None, row["read_point"], result)
    document = strategist.report_document([given], made_on=date.today().isoformat())
    return strategist.report_page(document)


def _plotted(ask: Ask, row: RowMapping, result: dict[str, Any], survey: RowMapping) -> str:
    """By a worker, since plots need the survey."""
    place = row["survey"], row["read_point"]
    _, frontiers = frontier_at(ask.service.database, ask.client, place)
    job = sheet_job(survey, row["read_point"], result, frontiers)
    return str(answer_of(ask, job, INTERACTIVE_TIME_S)["page"])


def sheet_job(
    survey: RowMapping,
    read_point: str,
    result: dict[str, Any],
    frontiers: list[dict[str, Any]],
    *,
    alone: bool = False,
) -> Job:
    """The job of a worker that draws a sheet: as a page, or `alone` for a page that has a frame."""
    asked = {
        "result": result,
        "site": json.loads(survey["summary"])["site"],
        "made_on": date.today().isoformat(),
        "frontiers": frontiers,
        "alone": alone,
    }
    return Job(random_id("sh"), "sheet", survey, read_point, asked)


def frontier_at(
    database: Database, client: str, place: tuple[str, str]
) -> tuple[str, list[dict[str, Any]]]:
    """The newest trade-offs of a read point with all its techniques: their id, and the frontier;
    neither where none were asked for."""
    for one in find_at_point(database, client, "trade_offs", place, _LOOKED_AT):
        asked = json.loads(one["request"])
        if asked.get("set") or asked.get("view") not in (None, "counts"):
            continue
        found = find_job(database, client, "trade_offs", one["id"])
        result = None if found is None else json.loads(found["result"])
        if result and "points" in result and not result.get("changes"):
            return one["id"], [result]
    return "", []
