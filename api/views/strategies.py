"""Strategies: the best one for a read point, answered at once, and those of batches."""

from __future__ import annotations

from api.answers import StrategyAnswer, page_of
from api.at_point import at_point
from api.endpoints import Answer, Ask, endpoint
from api.models import PageQuery, StrategyRequest
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


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
    return kept_page(ask, "strategy")


@endpoint("GET", "/v1/strategies/{strategy_id}", gives={200: StrategyAnswer})
def read(ask: Ask) -> Answer:
    """A strategy with its proof; that of a batch may not be there yet."""
    return kept_one(ask, "strategy", unfinished=True)


@endpoint("DELETE", "/v1/strategies/{strategy_id}", gives={204: None}, problems=("in-use",))
def remove(ask: Ask) -> Answer:
    """Delete a strategy that is not a part of a batch."""
    return dropped(ask, "strategy")
