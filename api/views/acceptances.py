"""Acceptance: how many passes show a rate, and what a run of them has shown."""

from __future__ import annotations

import strategist
from api.answers import Acceptance, answer, page_of
from api.at_point import at_point, read_points_of, refuse_unknown_point, strategy_of, survey_row
from api.endpoints import Answer, Ask, endpoint
from api.limits import PROMPT_TIME_S
from api.models import AcceptanceRequest, PageQuery, PlanQuery
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


@endpoint("GET", "/v1/acceptance-plan", gives={200: answer("AcceptancePlan")}, query=PlanQuery)
def plan(ask: Ask) -> Answer:
    """How many passes show that a rate of misses is low enough; nothing is stored."""
    asked: PlanQuery = ask.query
    found = strategist.plan_acceptance(asked.rate_limit, asked.confidence, asked.failures_allowed)
    return Answer(found.to_json())


@endpoint(
    "POST",
    "/v1/acceptances",
    gives={201: Acceptance},
    body=AcceptanceRequest,
    problems=("queue-full", "no-time"),
)
def accept(ask: Ask) -> Answer:
    """Judge a new survey under a strategy (pass, fail, not enough), and what has moved since."""
    body: AcceptanceRequest = ask.body
    survey, strategy = at_point(ask, body), strategy_of(ask, body)
    if body.against is not None:
        older = read_points_of(survey_row(ask, body.against, "against"))
        refuse_unknown_point(older, body.read_point, "against")
    names = ("strategy_id", "rate_limit", "confidence", "against")
    request = {"strategy": strategy.to_json(), **{name: getattr(body, name) for name in names}}
    new = ask.new_id("ac")
    job = Job(new, "acceptance", survey, body.read_point, request, label=body.label)
    return made(ask, "acceptances", wait_for(ask, job, PROMPT_TIME_S))


@endpoint("GET", "/v1/acceptances", gives={200: page_of(Acceptance)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your acceptance runs, newest first."""
    return kept_page(ask, "acceptance")


@endpoint("GET", "/v1/acceptances/{acceptance_id}", gives={200: Acceptance})
def read(ask: Ask) -> Answer:
    """An acceptance run."""
    return kept_one(ask, "acceptance")


@endpoint("DELETE", "/v1/acceptances/{acceptance_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete an acceptance run."""
    return dropped(ask, "acceptance")
