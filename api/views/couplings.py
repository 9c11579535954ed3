"""Couplings: the read points of a batch that hear each other's wanted tags, as coupling.json."""

from __future__ import annotations

from api.answers import Coupling, page_of
from api.at_point import finished_batch
from api.endpoints import Answer, Ask, endpoint
from api.models import CouplingRequest, PageQuery
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


@endpoint(
    "POST",
    "/v1/couplings",
    gives={201: Coupling},
    body=CouplingRequest,
    problems=("queue-full", "no-time", "not-done"),
)
def find(ask: Ask) -> Answer:
    """Which read points of a batch hear each other's wanted tags, and what silences them."""
    body: CouplingRequest = ask.body
    finished_batch(ask, body.batch)
    job = Job(ask.new_id("cp"), "coupling", None, "", {"batch": body.batch}, label=body.label)
    return made(ask, "couplings", wait_for(ask, job, body.options.time_limit_s))


@endpoint("GET", "/v1/couplings", gives={200: page_of(Coupling)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your couplings, newest first."""
    return kept_page(ask, "coupling")


@endpoint("GET", "/v1/couplings/{coupling_id}", gives={200: Coupling})
def read(ask: Ask) -> Answer:
    """A coupling."""
    return kept_one(ask, "coupling")


@endpoint("DELETE", "/v1/couplings/{coupling_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete a coupling."""
    return dropped(ask, "coupling")
