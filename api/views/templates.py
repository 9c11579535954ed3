"""Templates: few strategies for all read points of a batch, as `strategist templates`."""

from __future__ import annotations

from api.answers import Templates, page_of
from api.at_point import finished_batch
from api.endpoints import Answer, Ask, endpoint
from api.models import PageQuery, TemplatesRequest
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


@endpoint(
    "POST",
    "/v1/templates",
    gives={201: Templates},
    body=TemplatesRequest,
    problems=("queue-full", "no-time", "not-done"),
)
def choose(ask: Ask) -> Answer:
    """At most so many strategies for all read points of a batch, of the least summed loss."""
    body: TemplatesRequest = ask.body
    finished_batch(ask, body.batch)
    options = body.options.model_dump()
    request = {
        "batch": body.batch,
        "at_most": body.at_most,
        "may_pay": body.may_pay,
        "options": options,
    }
    job = Job(ask.new_id("te"), "templates", None, "", request, label=body.label)
    return made(ask, "templates", wait_for(ask, job, body.options.time_limit_s))


@endpoint("GET", "/v1/templates", gives={200: page_of(Templates)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your templates, newest first."""
    return kept_page(ask, "templates")


@endpoint("GET", "/v1/templates/{templates_id}", gives={200: Templates})
def read(ask: Ask) -> Answer:
    """Templates of a batch."""
    return kept_one(ask, "templates")


@endpoint("DELETE", "/v1/templates/{templates_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete templates."""
    return dropped(ask, "templates")
