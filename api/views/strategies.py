"""Strategies: the best one for a read point, answered at once, and those of batches."""

from __future__ import annotations

from api.answers import StrategyAnswer, page_of
from api.at_point import at_point, cursor, listed, missing
from api.endpoints import Answer, Ask, endpoint
from api.models import PageQuery, StrategyRequest
from api.problems import ProblemError
from api.prompt import job_json, made, wait_for
from api.store.jobs import Job, drop_job, find_job, find_jobs


@endpoint(
    "POST",
    "/v1/strategies",
    gives={201: StrategyAnswer},
    body=StrategyRequest,
    problems=("queue-full", "no-time"),
)
def solve(ask: Ask) -> Answer:
    """The best strategy for a read point, within the time limit given."""
    body: StrategyRequest = ask.body
    job = Job(
        ask.new_id("st"),
        "strategy",
        at_point(ask, body),
        body.read_point,
        {"options": body.options.model_dump()},
        label=body.label,
    )
    return made(ask, "strategies", wait_for(ask, job, body.options.time_limit_s))


@endpoint("GET", "/v1/strategies", gives={200: page_of(StrategyAnswer)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your strategies, newest first."""
    limit, after = ask.query.limit, cursor(ask)
    rows, following = find_jobs(ask.service.database, ask.client, "strategy", limit, after)
    return Answer(listed([job_json(row) for row in rows], following))


@endpoint("GET", "/v1/strategies/{strategy_id}", gives={200: StrategyAnswer})
def read(ask: Ask) -> Answer:
    """A strategy with its proof; that of a batch may not be there yet."""
    row = find_job(ask.service.database, ask.client, "strategy", ask.path["strategy_id"])
    if row is None:
        raise missing("strategy")
    return Answer(job_json(row))


@endpoint("DELETE", "/v1/strategies/{strategy_id}", gives={204: None}, problems=("in-use",))
def remove(ask: Ask) -> Answer:
    """Delete a strategy that is not a part of a batch."""
    database, strategy_id = ask.service.database, ask.path["strategy_id"]
    row = find_job(database, ask.client, "strategy", strategy_id)
    if row is None:
        raise missing("strategy")
    if not drop_job(database, ask.client, "strategy", strategy_id):
        raise ProblemError("in-use", "It is a part of a batch.")
    return Answer(status=204)
