"""The job table: accepted work is a committed row; `leases` says who is at it.

States: waiting → running → done, failed or cancelled. What a worker brings back counts only while
the row is still its own. A row whose worker ended goes back to waiting, three times at most.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, delete, func, insert, select, update

from .database import Database, moment
from .pages import Place, page
from .tables import batches, jobs, surveys
from .turns import note_asked

_OPEN = ("waiting", "running")


class RefusedError(Exception):
    """Jobs that are not accepted: a queue is full ("queue", "client"), or their survey is gone."""


@dataclass(frozen=True)
class Queue:
    """How many answers may be open: of one client, and of all."""

    of_client: int
    of_all: int


@dataclass(frozen=True)
class Job:
    """What is asked for: a `kind` of answer on a survey's read point, and the request as JSON.

    `survey` is None for an answer on a whole batch, which the request names.
    """

    id: str
    kind: str
    survey: RowMapping | None
    read_point: str
    request: Mapping[str, Any]
    label: str = ""
    batch: str | None = None
    position: int = 0
    result: Mapping[str, Any] | None = None  # of an answer that was found at once


def add_jobs(
    database: Database,
    client: str,
    asked: Sequence[Job],
    *,
    queue: Queue,
    batch: Mapping[str, Any] | None = None,
    waits_s: float | None = None,
    limit_s: float | None = None,
) -> None:
    """Store jobs, and the batch that they are of, in one transaction; known ids are left alone.

    `waits_s`: how long a client waits for the answer; `limit_s`: how long a worker may be at each.
    Raises RefusedError where the queue (of those that clients wait for, or of batches) would be
    longer than it may be, or a survey was deleted meanwhile.
    """
    with database.write() as connection:
        if batch is not None:
            known = connection.execute(select(batches.c.id).where(batches.c.id == batch["id"]))
            if known.first() is not None:
                return
        elif connection.execute(select(jobs.c.id).where(jobs.c.id == asked[0].id)).first():
            return
        wanted = {job.survey["id"] for job in asked if job.survey is not None}
        there = select(func.count()).where(surveys.c.id.in_(wanted))
        if connection.execute(there).scalar_one() < len(wanted):
            raise RefusedError("survey")
        coming = sum(job.result is None for job in asked)
        if coming:
            own = jobs.c.batch.is_(None) if batch is None else jobs.c.batch.is_not(None)
            _refuse_long_queue(connection, client, own, coming, queue)
        now = moment(connection)
        deadline = None if waits_s is None else now + waits_s
        fixed = {"client": client, "created": now, "deadline": deadline, "limit_s": limit_s}
        if batch is not None:
            connection.execute(insert(batches).values(client=client, created=now, **batch))
        connection.execute(insert(jobs), [fixed | _row(job, now) for job in asked])
        if coming:
            note_asked(connection, client, now)


def _refuse_long_queue(
    connection: Connection, client: str, own: ColumnElement[bool], coming: int, queue: Queue
) -> None:
    found = select(jobs.c.client, func.count()).where(jobs.c.state.in_(_OPEN), own)
    rows = connection.execute(found.group_by(jobs.c.client))
    waiting = {one: int(count) for one, count in rows}
    if waiting.get(client, 0) + coming > queue.of_client:
        raise RefusedError("client")
    if sum(waiting.values()) + coming > queue.of_all:
        raise RefusedError("queue")


def _row(job: Job, now: float) -> dict[str, Any]:
    request = _coded(job.request)
    found = None if job.result is None else _coded(job.result)
    return {
        "id": job.id,
        "kind": job.kind,
        "label": job.label,
        "batch": job.batch,
        "position": job.position,
        "survey": "" if job.survey is None else job.survey["id"],
        "survey_digest": "" if job.survey is None else job.survey["digest"],
        "read_point": job.read_point,
        "request": request,
        "state": "waiting" if found is None else "done",
        "attempts": 0,
        "finished": None if found is None else now,
        "size": len(request.encode()) + len((found or "").encode()),
        "result": found,
    }


def cancel(database: Database, jobs_of: ColumnElement[bool], *, batch: str | None = None) -> None:
    """Cancel what is not finished; whoever started their workers sees it and ends them."""
    database.make_room(lambda connection: _cancel(connection, jobs_of, batch))


def _cancel(connection: Connection, jobs_of: ColumnElement[bool], batch: str | None) -> int:
    now = moment(connection)
    off: dict[str, Any] = {"state": "cancelled", "finished": now}
    if batch is not None:  # all of them may be seen at once, in the order of their positions
        off["seq"] = _numbers(connection, batch) + jobs.c.position
        first = (batches.c.id == batch) & batches.c.cancelled.is_(None)
        connection.execute(update(batches).where(first).values(cancelled=now))
    still_open = jobs_of & jobs.c.state.in_(_OPEN)
    return connection.execute(update(jobs).where(still_open).values(off)).rowcount


def _numbers(connection: Connection, batch: str) -> int:
    """The first of as many numbers of a batch as it has jobs (`leases` gives single ones)."""
    this = batches.c.id == batch
    more = update(batches).where(this).values(last_seq=batches.c.last_seq + batches.c.total)
    connection.execute(more)
    found = select(batches.c.last_seq - batches.c.total + 1).where(this)
    return int(connection.execute(found).scalar_one())


def cancel_all(connection: Connection, client: str) -> int:
    """Cancel all that a client has open; returns how many jobs that were."""
    mine = jobs.c.client == client
    of_batches = select(jobs.c.batch).where(
        mine, jobs.c.state.in_(_OPEN), jobs.c.batch.is_not(None)
    )
    count = 0
    for batch in connection.execute(of_batches.distinct()).scalars().all():
        count += _cancel(connection, jobs.c.batch == batch, batch)
    return count + _cancel(connection, mine, None)


def jobs_by_client(database: Database) -> dict[str, dict[str, int]]:
    """How many jobs each client has in each state, by name."""
    found = select(jobs.c.client, jobs.c.state, func.count())
    counts: dict[str, dict[str, int]] = {}
    with database.read() as connection:
        grouped = found.group_by(jobs.c.client, jobs.c.state).order_by(jobs.c.client)
        for client, state, count in connection.execute(grouped):
            counts.setdefault(client, {})[state] = count
    return counts


def find_job(database: Database, client: str, kind: str, job_id: str) -> RowMapping | None:
    """A client's job, or None where the client has none of this id and kind."""
    with database.read() as connection:
        mine = (jobs.c.id == job_id) & (jobs.c.client == client) & (jobs.c.kind == kind)
        return connection.execute(select(jobs).where(mine)).mappings().one_or_none()


def find_jobs(
    database: Database, client: str, kind: str, limit: int, after: Place | None
) -> tuple[list[RowMapping], str | None]:
    """A page of a client's finished answers of a kind, newest first."""
    with database.read() as connection:
        mine = (jobs.c.client == client) & (jobs.c.kind == kind) & (jobs.c.state == "done")
        return page(connection, jobs, mine, limit, after)


def find_at_point(
    database: Database,
    client: str,
    kind: str,
    place: tuple[str, str],
    limit: int,
    *,
    unfinished: bool = False,
) -> list[RowMapping]:
    """What a client asked of one place (a survey's id, a read point) and has an answer to, or will
    have (`unfinished`); newest first."""
    columns = (jobs.c.id, jobs.c.label, jobs.c.created, jobs.c.request, jobs.c.state)
    states = ("done", *_OPEN) if unfinished else ("done",)
    with database.read() as connection:
        mine = (jobs.c.client == client) & (jobs.c.kind == kind) & jobs.c.state.in_(states)
        here = mine & (jobs.c.survey == place[0]) & (jobs.c.read_point == place[1])
        found = select(*columns).where(here).order_by(jobs.c.created.desc()).limit(limit)
        return list(connection.execute(found).mappings())


def find_of_batch(
    database: Database, client: str, kind: str, batch: str, limit: int
) -> list[RowMapping]:
    """A client's newest answers of a kind about a whole batch, those to come among them."""
    columns = (jobs.c.id, jobs.c.label, jobs.c.created, jobs.c.request, jobs.c.state)
    with database.read() as connection:
        states = jobs.c.state.in_(("done", *_OPEN))
        mine = (jobs.c.client == client) & (jobs.c.kind == kind) & states
        about = mine & jobs.c.request.contains(json.dumps({"batch": batch})[1:-1], autoescape=True)
        found = select(*columns).where(about).order_by(jobs.c.created.desc()).limit(limit)
        return list(connection.execute(found).mappings())


def drop_job(database: Database, client: str, kind: str, job_id: str) -> bool:
    """Delete an answer that stands alone; False where it is a part of a batch.

    One that a worker is at is cancelled, or nobody would end the worker; it goes later.
    """
    mine = (jobs.c.id == job_id) & (jobs.c.client == client) & (jobs.c.kind == kind)
    alone = mine & jobs.c.batch.is_(None)

    def drop(connection: Connection) -> int:
        idle = delete(jobs).where(alone, jobs.c.worker.is_(None))
        busy = update(jobs).where(alone, jobs.c.worker.is_not(None))
        off = {"state": "cancelled", "finished": moment(connection)}
        return connection.execute(idle).rowcount + connection.execute(busy.values(off)).rowcount

    return database.make_room(drop) == 1


def drop_refused(database: Database, job_id: str) -> None:
    """Delete an answer that was refused: no list shows it. One that is worked at goes later."""
    ended = jobs.c.state.in_(("failed", "cancelled")) & jobs.c.worker.is_(None)
    refused = delete(jobs).where(jobs.c.id == job_id, jobs.c.batch.is_(None), ended)
    database.make_room(lambda connection: connection.execute(refused))


def count_states(database: Database, where: Iterable[ColumnElement[bool]] = ()) -> dict[str, int]:
    """How many jobs are in each state."""
    counts = dict.fromkeys(("waiting", "running", "done", "failed", "cancelled"), 0)
    with database.read() as connection:
        found = select(jobs.c.state, func.count()).where(*where).group_by(jobs.c.state)
        for state, count in connection.execute(found):
            counts[state] = count
    return counts


def _coded(document: Mapping[str, Any]) -> str:
    return json.dumps(document, ensure_ascii=False, allow_nan=False)
