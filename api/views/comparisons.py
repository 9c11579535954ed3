"""Comparisons: strategies and settings of weights on one read point, side by side."""

from __future__ import annotations

from dataclasses import asdict

from api.answers import Comparison, page_of
from api.at_point import at_point, cursor, listed, missing, strategy_of
from api.endpoints import Answer, Ask, endpoint
from api.models import ComparisonRequest, PageQuery
from api.prompt import job_json, made, wait_for
from api.store.jobs import Job, drop_job, find_job, find_jobs


@endpoint(
    "POST",
    "/v1/comparisons",
    gives={201: Comparison},
    body=ComparisonRequest,
    problems=("queue-full", "no-time"),
)
def compare(ask: Ask) -> Answer:
    """Compare strategies, and the best ones under other weights, at a read point."""
    body: ComparisonRequest = ask.body
    survey = at_point(ask, body)
    entries = [
        {
            "name": entry.name,
            "strategy": None
            if entry.loss is not None
            else strategy_of(ask, entry, "entries", number).to_json(),
            "loss": None if entry.loss is None else asdict(entry.loss),
        }
        for number, entry in enumerate(body.entries)
    ]
    request = {"entries": entries, "options": body.options.model_dump()}
    new = ask.new_id("co")
    job = Job(new, "comparison", survey, body.read_point, request, label=body.label)
    return made(ask, "comparisons", wait_for(ask, job, body.options.time_limit_s))


@endpoint("GET", "/v1/comparisons", gives={200: page_of(Comparison)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your comparisons, newest first."""
    limit, after = ask.query.limit, cursor(ask)
    rows, following = find_jobs(ask.service.database, ask.client, "comparison", limit, after)
    return Answer(listed([job_json(row) for row in rows], following))


@endpoint("GET", "/v1/comparisons/{comparison_id}", gives={200: Comparison})
def read(ask: Ask) -> Answer:
    """A comparison."""
    row = find_job(ask.service.database, ask.client, "comparison", ask.path["comparison_id"])
    if row is None or row["result"] is None:
        raise missing("comparison")
    return Answer(job_json(row))


@endpoint("DELETE", "/v1/comparisons/{comparison_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete a comparison."""
    if not drop_job(ask.service.database, ask.client, "comparison", ask.path["comparison_id"]):
        raise missing("comparison")
    return Answer(status=204)
