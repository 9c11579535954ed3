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
    site = json.loads(survey["summary"])["site"]
    asked = {
        "result": result,
        "site": site,
        "made_on": date.today().isoformat(),
        "frontiers": _trade_offs(ask, row),
    }
    job = Job(random_id("sh"), "sheet", survey, row["read_point"], asked)
    return str(answer_of(ask, job, INTERACTIVE_TIME_S)["page"])


def _trade_offs(ask: Ask, row: RowMapping) -> list[dict[str, Any]]:
    """The newest frontier of the read point, where one was asked for."""
    database, place = ask.service.database, (row["survey"], row["read_point"])
    for one in find_at_point(database, ask.client, "trade_offs", place, _LOOKED_AT):
        found = find_job(database, ask.client, "trade_offs", one["id"])
        result = None if found is None else json.loads(found["result"])
        if result and "points" in result:
            return [result]
    return []
