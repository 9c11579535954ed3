"""Batches: many read points, accepted at once and solved by the workers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import RowMapping

from strategist.errors import InputError

from ..answers import Batch, BatchResults, page_of
from ..at_point import (
    cursor,
    iso,
    listed,
    missing,
    read_points_of,
    refuse_unknown_point,
    survey_row,
)
from ..endpoints import Answer, Ask, endpoint
from ..interactive import refused
from ..limits import BATCH_GRACE_S, READ_POINTS_OF_BATCH
from ..models import BatchRequest, PageQuery, PositionQuery, RemovalQuery
from ..problems import ProblemError
from ..results import CSV, HTML, NDJSON, as_csv, as_ndjson, as_page, result_row
from ..store.batches import batch_counts, drop_batch, find_batch, find_batches, results_after
from ..store.jobs import Job, Queue, RefusedError, add_jobs, cancel
from ..store.tables import jobs

_RETRY = "2"  # seconds until a look at the progress is worth it
_WAIT = {"Retry-After": _RETRY}


@endpoint("POST", "/v1/batches", gives={202: Batch}, body=BatchRequest, problems=("queue-full",))
def submit(ask: Ask) -> Answer:
    """Accept read points to be solved: on disk before this answer leaves."""
    body: BatchRequest = ask.body
    new = ask.new_id("ba")
    asked = _jobs(ask, body, new)
    batch = {"id": new, "label": body.label, "total": len(asked)}
    limits, limit_s = ask.service.limits, body.options.time_limit_s + BATCH_GRACE_S
    queue = Queue(limits.waiting_batch, limits.waiting_batch_all)
    database = ask.service.database
    try:
        add_jobs(database, ask.client, asked, batch=batch, queue=queue, limit_s=limit_s)
    except RefusedError as error:
        raise refused(error) from None
    row = find_batch(ask.service.database, ask.client, new)
    assert row is not None
    headers = {"Location": f"/v1/batches/{new}", "Retry-After": _RETRY}
    return Answer(_document(ask, row), 202, headers)


@endpoint("GET", "/v1/batches", gives={200: page_of(Batch)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your batches, newest first."""
    limit, after = ask.query.limit, cursor(ask)
    rows, following = find_batches(ask.service.database, ask.client, limit, after)
    return Answer(listed([_document(ask, row) for row in rows], following))


@endpoint("GET", "/v1/batches/{batch_id}", gives={200: Batch})
def read(ask: Ask) -> Answer:
    """How far a batch is."""
    document = _document(ask, _mine(ask))
    is_open = document["state"] in ("waiting", "running")
    return Answer(document, headers={"Retry-After": _RETRY} if is_open else {})


@endpoint(
    "GET",
    "/v1/batches/{batch_id}/results",
    gives={200: BatchResults},
    query=PositionQuery,
    media=(NDJSON, CSV, HTML),
    problems=("queue-full",),
)
def results(ask: Ask) -> Answer:
    """The results: a page as JSON, all as CSV, sheets that print as HTML, or a JSON line each
    as they come (NDJSON).

    Lines end before the batch is done where the server stops, or after ten minutes; a last line
    with the key `incomplete` then says so: ask again.
    """
    batch = _mine(ask)
    if ask.accept == NDJSON:
        return as_ndjson(ask, batch["id"])
    if ask.accept == CSV:
        return as_csv(ask.service, batch["id"])
    if ask.accept == HTML:
        return as_page(ask.service, ask.client, batch["id"])
    limit = ask.query.limit
    rows = results_after(ask.service.database, batch["id"], ask.query.cursor, limit + 1)
    following = rows[limit - 1]["position"] if len(rows) > limit else None
    items = [result_row(row) for row in rows[:limit]]
    return Answer({"items": items, "next": following})


@endpoint(
    "DELETE",
    "/v1/batches/{batch_id}",
    gives={200: Batch, 204: None},
    query=RemovalQuery,
    problems=("in-use",),
)
def stop(ask: Ask) -> Answer:
    """Cancel what is not solved yet; what is solved stays. With `results=delete`, delete the batch
    with all its results, once nothing of it is waiting or running.
    """
    batch = _mine(ask)
    if ask.query.results == "delete":
        if not drop_batch(ask.service.database, ask.client, batch["id"]):
            raise ProblemError("in-use", "Read points of it are not finished.", headers=_WAIT)
        return Answer(status=204)
    cancel(ask.service.database, jobs.c.batch == batch["id"], batch=batch["id"])
    return Answer(_document(ask, _mine(ask)))


def _mine(ask: Ask) -> RowMapping:
    row = find_batch(ask.service.database, ask.client, ask.path["batch_id"])
    if row is None:
        raise missing("batch")
    return row


def _jobs(ask: Ask, body: BatchRequest, batch: str) -> list[Job]:
    """A job for each read point; raises InputError where one is unknown, or there are too many."""
    named = _named(ask, body)
    total = sum(len(names) for _, names in named)
    if total > READ_POINTS_OF_BATCH:
        allowed = f"at most {READ_POINTS_OF_BATCH:,} read points in a batch"
        where: Any = {"column": "items", "path": ("items",)}
        wrong = f"{total:,} read points are too many"
        raise InputError.one("body", f"{total:,}", allowed, wrong=wrong, **where)
    request = {"options": body.options.model_dump()}
    found: list[Job] = []
    for survey, names in named:
        for name in names:
            position = len(found)
            new = ask.new_id("st") if position == 0 else _following(found[0].id, position)
            found.append(
                Job(new, "strategy", survey, name, request, batch=batch, position=position)
            )
    return found


def _named(ask: Ask, body: BatchRequest) -> list[tuple[RowMapping, Sequence[str]]]:
    """Each item's survey and the names of its read points; a survey is looked up once."""
    known: dict[str, tuple[RowMapping, tuple[str, ...]]] = {}
    found: list[tuple[RowMapping, Sequence[str]]] = []
    for number, item in enumerate(body.items):
        if item.survey not in known:
            row = survey_row(ask, item.survey, "items", number, "survey")
            known[item.survey] = row, read_points_of(row)
        survey, points = known[item.survey]
        for place, name in enumerate(item.read_points or ()):
            refuse_unknown_point(points, name, "items", number, "read_points", place)
        found.append((survey, points if item.read_points is None else item.read_points))
    return found


def _following(first: str, position: int) -> str:
    """The id of a further job: the same again when the request is sent again."""
    number = (int(first[3:], 16) + position) % 2**128
    return f"{first[:3]}{number:032x}"


def _document(ask: Ask, row: RowMapping) -> dict[str, Any]:
    counts = batch_counts(ask.service.database, row["id"])
    if counts["waiting"] + counts["running"]:
        state = "running" if counts["running"] + counts["done"] + counts["failed"] else "waiting"
    else:
        state = "done" if row["cancelled"] is None else "cancelled"
    return {
        "id": row["id"],
        "label": row["label"],
        "created": iso(row["created"]),
        "state": state,
        "total": row["total"],
        "counts": counts,
        "results": f"/v1/batches/{row['id']}/results",
    }
