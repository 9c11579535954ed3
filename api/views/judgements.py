"""Judgements: the best strategy for a read point with what tests it, as `strategist judge`."""

from __future__ import annotations

from api.answers import Judgement, page_of
from api.at_point import at_point
from api.endpoints import Answer, Ask, endpoint
from api.models import JudgementRequest, PageQuery
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


@endpoint(
    "POST",
    "/v1/judgements",
    gives={201: Judgement},
    body=JudgementRequest,
    problems=("queue-full", "no-time"),
)
def assess(ask: Ask) -> Answer:
    """The best strategy, chosen again without some passes and tags: how far to trust it."""
    body: JudgementRequest = ask.body
    survey, options = at_point(ask, body), body.options
    request = {"options": options.model_dump()}
    new = ask.new_id("ju")
    job = Job(new, "judgement", survey, body.read_point, request, label=body.label)
    return made(ask, "judgements", wait_for(ask, job, options.time_limit_s))


@endpoint("GET", "/v1/judgements", gives={200: page_of(Judgement)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your judgements, newest first."""
    return kept_page(ask, "judgement")


@endpoint("GET", "/v1/judgements/{judgement_id}", gives={200: Judgement})
def read(ask: Ask) -> Answer:
    """A judgement."""
    return kept_one(ask, "judgement")


@endpoint("DELETE", "/v1/judgements/{judgement_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete a judgement."""
    return dropped(ask, "judgement")
