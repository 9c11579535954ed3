"""Answers that a client waits for: a job like any other, first in the queue, with a deadline."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from typing import Any

from sqlalchemy import RowMapping

from strategist import __version__

from .at_point import cursor, iso, listed, missing
from .endpoints import Answer, Ask
from .limits import INTERACTIVE_GRACE_S, LATER_S
from .problems import ProblemError
from .store.ids import random_id
from .store.jobs import (
    Job,
    Queue,
    RefusedError,
    add_jobs,
    cancel,
    drop_job,
    drop_refused,
    find_job,
    find_jobs,
)
from .store.tables import jobs

_RETRY = {"Retry-After": "5"}
_SAID = (
    "invalid",
    "malformed",
    "no-memory",
    "no-time",
    "long-answer",
    "full-store",
)  # what the client can do about


def wait_for(ask: Ask, job: Job, seconds: float) -> RowMapping:
    """Hand a job to the workers and wait for its answer.

    Raises ProblemError where too many wait already, where no worker or no answer came within
    `seconds` and a grace or the client has gone (the job is cancelled then), and where the job was
    refused. A job that was refused leaves nothing behind.
    """
    database = ask.service.database
    end = time.monotonic() + seconds + INTERACTIVE_GRACE_S
    _keep(ask, job, seconds + INTERACTIVE_GRACE_S, seconds + INTERACTIVE_GRACE_S)
    pause, begun = 0.01, False
    while time.monotonic() < end and not ask.gone():
        row = find_job(database, ask.client, job.kind, job.id)
        if row is None or row["state"] == "cancelled":
            break
        begun = begun or row["state"] == "running"
        if row["state"] == "done":
            return row
        if row["state"] == "failed":
            drop_refused(database, job.id)
            raise _failed(json.loads(row["error"]))
        time.sleep(pause)
        pause = min(1.3 * pause, 0.15)
    cancel(database, jobs.c.id == job.id)
    drop_refused(database, job.id)
    if not begun:
        raise ProblemError("queue-full", "No worker was free within that time.", headers=_RETRY)
    raise ProblemError("no-time", f"None within {seconds:g} s.", headers=_RETRY)


def begin(ask: Ask, job: Job, seconds: float) -> RowMapping:
    """Hand a job to the workers, for a client that asks again; those come before batches, too.

    Raises ProblemError where too many wait already.
    """
    _keep(ask, job, LATER_S, seconds + INTERACTIVE_GRACE_S)
    row = find_job(ask.service.database, ask.client, job.kind, job.id)
    assert row is not None
    return row


def answer_of(ask: Ask, job: Job, seconds: float) -> dict[str, Any]:
    """The result of a job that nobody can ask for again: waited for, and not kept.

    It has an id of its own each time: one that a request cut off left behind may still be ending.
    """
    job = replace(job, id=random_id(job.id[:2]))
    found: dict[str, Any] = json.loads(wait_for(ask, job, seconds)["result"])
    drop_job(ask.service.database, ask.client, job.kind, job.id)
    return found


def _keep(ask: Ask, job: Job, waits_s: float, limit_s: float) -> None:
    """Store a job; raises ProblemError where too many wait already."""
    database, limits = ask.service.database, ask.service.limits
    queue = Queue(limits.waiting_interactive, limits.waiting_interactive_all)
    try:
        add_jobs(database, ask.client, [job], queue=queue, waits_s=waits_s, limit_s=limit_s)
    except RefusedError as error:
        raise refused(error) from None


def refused(error: RefusedError) -> ProblemError:
    """Why jobs were not accepted."""
    if error.args == ("survey",):
        return ProblemError("invalid", "The survey was deleted meanwhile.")
    detail = "Too much work of yours is waiting already; the limits are at /v1."
    if error.args == ("queue",):
        detail = "Too much work of all clients is waiting already."
    return ProblemError("queue-full", detail, headers=_RETRY)


def _failed(error: dict[str, Any]) -> ProblemError:
    if error["problem"] == "worker-ended":
        detail = "Its workers ended: it may need more memory than one may use. See the log."
        return ProblemError("no-memory", detail)
    kind = error["problem"] if error["problem"] in _SAID else "internal"
    return ProblemError(kind, error.get("detail", "See the log."), tuple(error.get("faults", ())))


def made(ask: Ask, resource: str, row: RowMapping) -> Answer:
    """201 with the place of what was made."""
    document = job_json(row)
    return Answer(document, 201, {"Location": f"/v1/{resource}/{row['id']}"})


def kept_page(ask: Ask, kind: str) -> Answer:
    """The client's answers of a kind, newest first, page by page."""
    limit, after = ask.query.limit, cursor(ask)
    rows, following = find_jobs(ask.service.database, ask.client, kind, limit, after)
    return Answer(listed([job_json(row) for row in rows], following))


def kept_one(ask: Ask, kind: str, *, unfinished: bool = False) -> Answer:
    """One answer of the client, named in the path, or how far it is; `unfinished`: as an answer
    whose result is not there yet. Raises ProblemError where it was refused.
    """
    row = find_job(ask.service.database, ask.client, kind, ask.path[f"{kind}_id"])
    if row is None or (row["state"] == "cancelled" and not unfinished):
        raise missing(kind.replace("_", " "))
    if unfinished or row["result"] is not None:
        return Answer(job_json(row))
    if row["state"] == "failed":
        raise _failed(json.loads(row["error"]))
    return Answer(pending_json(row), 202, {"Retry-After": "1"})


def begun(ask: Ask, resource: str, row: RowMapping, *, unfinished: bool) -> Answer:
    """202 with the place of what is made, and how far it is."""
    document = job_json(row) if unfinished else pending_json(row)
    headers = {"Location": f"/v1/{resource}/{row['id']}", "Preference-Applied": "respond-async"}
    return Answer(document, 202, headers | {"Retry-After": "1"})


def pending_json(row: RowMapping) -> dict[str, Any]:
    """How far an answer is that is not there yet."""
    progress = None if row["progress"] is None else json.loads(row["progress"])
    return {"id": row["id"], "state": row["state"], "progress": progress}


def dropped(ask: Ask, kind: str) -> Answer:
    """Delete one answer of the client, named in the path, that is not a part of a batch."""
    job_id = ask.path[f"{kind}_id"]
    if find_job(ask.service.database, ask.client, kind, job_id) is None:
        raise missing(kind.replace("_", " "))
    if not drop_job(ask.service.database, ask.client, kind, job_id):
        raise ProblemError("in-use", "It is a part of a batch.")
    return Answer(status=204)


def job_json(row: RowMapping) -> dict[str, Any]:
    """An answer with what was asked: enough to ask again and know whether it is the same."""
    request = json.loads(row["request"])
    at_point = {name: row[name] for name in ("survey", "survey_digest", "read_point")}
    found = {
        "id": row["id"],
        "label": row["label"],
        "created": iso(row["created"]),
        **(at_point if row["survey"] else {"batch": request["batch"]}),
        "request": request,
        "version": __version__,
        "result": None if row["result"] is None else json.loads(row["result"]),
    }
    if row["kind"] == "strategy":
        error = None if row["error"] is None else json.loads(row["error"])
        progress = None if row["progress"] is None else json.loads(row["progress"])
        state = {"state": row["state"], "progress": progress, "error": error}
        found |= {"batch": row["batch"], **state}
    return found
