"""The first page for programs: ten lines, one worked example, and what there is, by task."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress

from flask import Response, request

from ..endpoints import Endpoint
from ..problems import KINDS, ProblemError
from ..service import Service
from .render import render
from .visit import Visitor, visitor_of

# Task to the tags of its endpoints; what has none of these stands under the last.
TASKS: Mapping[str, tuple[str, ...]] = {
    "Plan a survey": ("first-plans", "plans"),
    "Take a survey in": ("surveys", "site-keys"),
    "Find the best strategy": ("strategies", "assessments"),
    "Weigh and compare": ("trade-offs", "comparisons"),
    "Solve all read points of a site": ("batches", "templates", "cross-reads", "site-plans"),
    "Set the reader": ("settings", "lawful"),
    "Accept what was installed": ("acceptance-plan", "acceptances"),
    "The service itself": ("service",),
}
_LOCAL = ("127.0.0.1", "localhost", "[::1]")


def by_task(endpoints: Iterable[Endpoint]) -> dict[str, list[Endpoint]]:
    """The endpoints of each task, in the order of the table."""
    known = list(endpoints)
    told = {tag for tags in TASKS.values() for tag in tags}
    found = {
        task: [one for tag in tags for one in known if one.tag == tag]
        for task, tags in TASKS.items()
    }
    rest = [one for one in known if one.tag not in told]
    return found | ({"More": rest} if rest else {})


def show(service: Service, endpoints: tuple[Endpoint, ...]) -> Response:
    visitor: Visitor | None = None
    with suppress(ProblemError):  # anybody may read this
        visitor = visitor_of(service, request)
    local = request.host.rsplit(":", 1)[0] in _LOCAL
    address = f"{'http' if local else 'https'}://{request.host}"
    tasks = by_task(endpoints)
    return render("docs.html", visitor, address=address, tasks=tasks, problems=KINDS)
