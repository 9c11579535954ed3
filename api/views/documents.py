"""The service itself: what there is, its description, and how it fares."""

from __future__ import annotations

from dataclasses import asdict

from strategist import QUESTIONS, __version__

from ..answers import Health, Index
from ..endpoints import Answer, Ask, endpoint
from ..limits import (
    ANSWER_BYTES,
    BATCH_TIME_S,
    CHANGES,
    CHECK_TIME_S,
    ENTRIES,
    INTERACTIVE_TIME_S,
    READ_POINTS_OF_BATCH,
    TEMPLATES,
)
from ..problems import ProblemError
from ..store.database import StoreError
from ..store.jobs import count_states

_RESOURCES = (
    *("surveys", "strategies", "assessments", "trade-offs", "comparisons", "settings"),
    *("acceptances", "acceptance-plan", "first-plans", "batches", "templates", "cross-reads"),
    "site-plans",
    *("lawful", "site-keys"),
)


@endpoint("GET", "/v1", gives={200: Index}, needs_token=False)
def index(ask: Ask) -> Answer:
    """The resources and the limits of this server."""
    limits = asdict(ask.service.limits) | {
        "answer_bytes": ANSWER_BYTES,
        "check_time_s": CHECK_TIME_S,
        "interactive_time_s": INTERACTIVE_TIME_S,
        "batch_time_s": BATCH_TIME_S,
        "read_points_of_batch": READ_POINTS_OF_BATCH,
        "comparison_entries": ENTRIES,
        "what_if_changes": CHANGES,
        "templates": TEMPLATES,
    }
    names = (*_RESOURCES, *(one.kept.path for one in QUESTIONS if one.kept is not None))
    resources = {name: f"/v1/{name}" for name in names} | {"description": "/docs"}
    return Answer({"version": __version__, "limits": limits, "resources": resources})


@endpoint("GET", "/healthz", gives={200: Health}, needs_token=False)
def healthy(ask: Ask) -> Answer:
    """Whether the process answers."""
    return Answer({"status": "ok"})


@endpoint(
    "GET",
    "/readyz",
    gives={200: Health},
    needs_token=False,
    problems=("starting", "stopping", "full-store"),
)
def ready(ask: Ask) -> Answer:
    """Whether the server accepts requests: the store can be written, the workers can answer at
    once, and the server is not stopping.
    """
    if ask.service.stopping.is_set():
        raise ProblemError("stopping", "No new work is taken.")
    if not ask.service.warm():
        raise ProblemError("starting", "The workers are warming up.", headers={"Retry-After": "2"})
    ask.service.database.try_to_write()
    return Answer({"status": "ok"})


@endpoint("GET", "/metrics", gives={200: str}, media=("text/plain",))
def metrics(ask: Ask) -> Answer:
    """Counts of requests and jobs, as text."""
    try:
        jobs = count_states(ask.service.database)
    except StoreError:
        jobs = {}
    text = ask.service.metrics.text(jobs)
    return Answer(content=text, media="text/plain; version=0.0.4; charset=utf-8")
