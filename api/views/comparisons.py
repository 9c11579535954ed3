"""Comparisons: strategies and settings of weights on one read point, side by side."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from api.answers import Comparison, page_of
from api.at_point import at_point, strategy_file
from api.endpoints import Answer, Ask, endpoint
from api.models import ComparisonRequest, Entry, PageQuery
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


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
    entries = [_entry(ask, entry, number) for number, entry in enumerate(body.entries)]
    request = {"entries": entries, "options": body.options.model_dump()}
    new = ask.new_id("co")
    job = Job(new, "comparison", survey, body.read_point, request, label=body.label)
    return made(ask, "comparisons", wait_for(ask, job, body.options.time_limit_s))


def _entry(ask: Ask, entry: Entry, number: int) -> dict[str, Any]:
    """What the worker needs of an entry: strategies as JSON, or weights."""
    asked: dict[str, Any] = {"name": entry.name, "strategy": None, "sturdier": None, "loss": None}
    if entry.loss is not None:
        return asked | {"loss": asdict(entry.loss)}
    file = strategy_file(ask, entry, "entries", number)
    sturdier = None if file.sturdier is None else file.sturdier.to_json()
    return asked | {"strategy": file.strategy.to_json(), "sturdier": sturdier}


@endpoint("GET", "/v1/comparisons", gives={200: page_of(Comparison)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your comparisons, newest first."""
    return kept_page(ask, "comparison")


@endpoint("GET", "/v1/comparisons/{comparison_id}", gives={200: Comparison})
def read(ask: Ask) -> Answer:
    """A comparison."""
    return kept_one(ask, "comparison")


@endpoint("DELETE", "/v1/comparisons/{comparison_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete a comparison."""
    return dropped(ask, "comparison")
