"""Frontiers: every sensible compromise at a read point, as `strategist frontier` gives it."""

from __future__ import annotations

from api.answers import Frontier, page_of
from api.at_point import at_point
from api.endpoints import Answer, Ask, endpoint
from api.models import FrontierRequest, PageQuery
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


@endpoint(
    "POST",
    "/v1/frontiers",
    gives={201: Frontier},
    body=FrontierRequest,
    problems=("queue-full", "no-time"),
)
def trace(ask: Ask) -> Answer:
    """Every compromise of missed and stray tags that no other strategy betters."""
    body: FrontierRequest = ask.body
    survey, options = at_point(ask, body), body.options
    request = {"options": options.model_dump()}
    new = ask.new_id("fr")
    job = Job(new, "frontier", survey, body.read_point, request, label=body.label)
    return made(ask, "frontiers", wait_for(ask, job, options.time_limit_s))


@endpoint("GET", "/v1/frontiers", gives={200: page_of(Frontier)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your frontiers, newest first."""
    return kept_page(ask, "frontier")


@endpoint("GET", "/v1/frontiers/{frontier_id}", gives={200: Frontier})
def read(ask: Ask) -> Answer:
    """A frontier."""
    return kept_one(ask, "frontier")


@endpoint("DELETE", "/v1/frontiers/{frontier_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete a frontier."""
    return dropped(ask, "frontier")
