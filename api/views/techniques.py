"""Techniques: what each buys at a read point, as `strategist techniques` gives it."""

from __future__ import annotations

from api.answers import Techniques, page_of
from api.at_point import at_point
from api.endpoints import Answer, Ask, endpoint
from api.models import PageQuery, TechniquesRequest
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


@endpoint(
    "POST",
    "/v1/techniques",
    gives={201: Techniques},
    body=TechniquesRequest,
    problems=("queue-full", "no-time"),
)
def compare(ask: Ask) -> Answer:
    """The best strategies with some techniques only, and with less work to install."""
    body: TechniquesRequest = ask.body
    survey, options = at_point(ask, body), body.options
    request = {"options": options.model_dump()}
    new = ask.new_id("tq")
    job = Job(new, "techniques", survey, body.read_point, request, label=body.label)
    return made(ask, "techniques", wait_for(ask, job, options.time_limit_s))


@endpoint("GET", "/v1/techniques", gives={200: page_of(Techniques)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your comparisons of techniques, newest first."""
    return kept_page(ask, "techniques")


@endpoint("GET", "/v1/techniques/{techniques_id}", gives={200: Techniques})
def read(ask: Ask) -> Answer:
    """A comparison of techniques."""
    return kept_one(ask, "techniques")


@endpoint("DELETE", "/v1/techniques/{techniques_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete a comparison of techniques."""
    return dropped(ask, "techniques")
