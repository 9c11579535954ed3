"""Evaluations: what a given strategy would do at a surveyed read point."""

from __future__ import annotations

from api.answers import Evaluation, page_of
from api.at_point import at_point, strategy_of
from api.endpoints import Answer, Ask, endpoint
from api.limits import PROMPT_TIME_S
from api.models import EvaluationRequest, PageQuery
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


@endpoint(
    "POST",
    "/v1/evaluations",
    gives={201: Evaluation},
    body=EvaluationRequest,
    problems=("queue-full", "no-time"),
)
def evaluate(ask: Ask) -> Answer:
    """What a strategy would do at a read point."""
    body: EvaluationRequest = ask.body
    survey, strategy = at_point(ask, body), strategy_of(ask, body)
    request = {"strategy": strategy.to_json(), "strategy_id": body.strategy_id}
    new, label = ask.new_id("ev"), body.label
    job = Job(new, "evaluation", survey, body.read_point, request, label=label)
    return made(ask, "evaluations", wait_for(ask, job, PROMPT_TIME_S))


@endpoint("GET", "/v1/evaluations", gives={200: page_of(Evaluation)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your evaluations, newest first."""
    return kept_page(ask, "evaluation")


@endpoint("GET", "/v1/evaluations/{evaluation_id}", gives={200: Evaluation})
def read(ask: Ask) -> Answer:
    """An evaluation."""
    return kept_one(ask, "evaluation")


@endpoint("DELETE", "/v1/evaluations/{evaluation_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete an evaluation."""
    return dropped(ask, "evaluation")
