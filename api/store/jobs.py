"""The job table: accepted work is a committed row, and a lease says who is at it.

States: waiting → running → done, failed or cancelled. A worker takes one row at a time (solves
last long against a transaction) with a lease that it renews; what it brings back counts only while
the row is still its own. A row whose worker ended goes back to waiting, three times at most.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, RowMapping, delete, func, insert, or_, select, update

from api.store.database import Database
from api.store.pages import Place, page
from api.store.tables import batches, jobs, surveys

__all__ = [
    "ATTEMPTS_MAX",
    "LEASE_S",
    "Job",
    "RefusedError",
    "add_jobs",
    "cancel",
    "claim",
    "count_states",
    "drop_job",
    "find_job",
    "find_jobs",
    "finish",
    "release",
    "renew",
    "sweep",
    "take_back_all",
]

LEASE_S = 30.0  # a worker renews every second, so a lease that ends means a dead host
ATTEMPTS_MAX = 3  # a job that ends its worker so often is taken to be the reason
_OPEN = ("waiting", "running")


class RefusedError(Exception):
    """Jobs that are not accepted: the queue is full, or their survey is gone."""


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
    batch: Mapping[str, Any] | None = None,
    deadline: float | None = None,
    queue_max: int,
) -> None:
    """Store jobs, and the batch that they are of, in one transaction; known ids are left alone.

    Raises RefusedError where the queue (of those that clients wait for, or of batches) would be
    longer than `queue_max`, or a survey was deleted meanwhile.
    """
    now = time.time()
    fixed = {"client": client, "created": now, "deadline": deadline}
    rows = [fixed | _row(job, now) for job in asked]
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
        own = jobs.c.batch.is_(None) if batch is None else jobs.c.batch.is_not(None)
        waiting = select(func.count()).where(jobs.c.state.in_(_OPEN), own)
        coming = sum(job.result is None for job in asked)
        if coming and connection.execute(waiting).scalar_one() + coming > queue_max:
            raise RefusedError("queue")
        if batch is not None:
            connection.execute(insert(batches).values(client=client, created=now, **batch))
        connection.execute(insert(jobs), rows)


def _row(job: Job, now: float) -> dict[str, Any]:
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
        "request": _coded(job.request),
        "state": "waiting" if found is None else "done",
        "attempts": 0,
        "finished": None if found is None else now,
        "result": found,
    }


def claim(database: Database, worker: str, *, prompt_only: bool = False) -> RowMapping | None:
    """The next job, now `worker`'s; those that a client waits for come first. None: no job."""
    now = time.time()
    ready: ColumnElement[bool] = jobs.c.state == "waiting"
    waited_for = ready & (jobs.c.deadline > now)
    with database.read() as connection:  # an idle worker takes no right to write
        if connection.execute(select(jobs.c.id).where(ready).limit(1)).first() is None:
            return None
    choices = [waited_for] if prompt_only else [waited_for, ready & jobs.c.deadline.is_(None)]
    with database.write() as connection:
        for choice in choices:
            found = (
                select(jobs)
                .where(choice)
                .order_by(jobs.c.created, jobs.c.position)
                .limit(1)
                .with_for_update(skip_locked=True)
            )
            row = connection.execute(found).mappings().one_or_none()
            if row is not None:
                taken = {"state": "running", "worker": worker, "lease_until": now + LEASE_S}
                connection.execute(update(jobs).where(jobs.c.id == row["id"]).values(taken))
                return row
    return None


def _own(job_id: str, worker: str) -> ColumnElement[bool]:
    return (jobs.c.id == job_id) & (jobs.c.worker == worker) & (jobs.c.state == "running")


def renew(database: Database, job_id: str, worker: str) -> bool:
    """Prolong the lease; False where the job is no longer the worker's (cancelled, or lost)."""
    with database.write() as connection:
        prolonged = update(jobs).where(_own(job_id, worker))
        lease = {"lease_until": time.time() + LEASE_S}
        return connection.execute(prolonged.values(lease)).rowcount == 1


def finish(
    database: Database,
    job_id: str,
    worker: str,
    *,
    result: Mapping[str, Any] | None = None,
    error: Mapping[str, Any] | None = None,
) -> bool:
    """Store what came of a job, once; False where it is no longer the worker's."""
    values = {
        "state": "failed" if result is None else "done",
        "finished": time.time(),
        "worker": None,
        "lease_until": None,
        "result": None if result is None else _coded(result),
        "error": None if error is None else _coded(error),
    }
    with database.write() as connection:
        done = update(jobs).where(_own(job_id, worker)).values(values)
        return connection.execute(done).rowcount == 1


def release(database: Database, worker: str, *, blamed: bool) -> int:
    """Put back what a worker was at; `blamed` where its end may be the job's doing."""
    with database.write() as connection:
        return _put_back(connection, jobs.c.worker == worker, blamed)


def take_back_all(database: Database) -> int:
    """Put back all that was running: the only server of a store starts, its workers are gone."""
    with database.write() as connection:
        return _put_back(connection, jobs.c.worker.is_not(None), False)


def _put_back(connection: Any, whose: ColumnElement[bool], blamed: bool) -> int:
    running = (jobs.c.state == "running") & whose
    count = 0
    if blamed:
        last = running & (jobs.c.attempts >= ATTEMPTS_MAX - 1)
        given_up = {
            "state": "failed",
            "attempts": jobs.c.attempts + 1,
            "finished": time.time(),
            "worker": None,
            "lease_until": None,
            "error": _coded({"problem": "worker-ended", "attempts": ATTEMPTS_MAX}),
        }
        count = connection.execute(update(jobs).where(last).values(given_up)).rowcount
    back = {
        "state": "waiting",
        "attempts": jobs.c.attempts + int(blamed),
        "worker": None,
        "lease_until": None,
    }
    return int(count + connection.execute(update(jobs).where(running).values(back)).rowcount)


def sweep(database: Database) -> None:
    """Put back jobs whose lease ran out; drop answers that nobody waits for any more."""
    now = time.time()
    late = (jobs.c.state == "running") & (jobs.c.lease_until < now)
    too_late = (jobs.c.state == "waiting") & (jobs.c.deadline < now)
    with database.read() as connection:
        if (
            connection.execute(select(jobs.c.id).where(or_(late, too_late)).limit(1)).first()
            is None
        ):
            return
    with database.write() as connection:
        _put_back(connection, late, True)
        dropped = {"state": "cancelled", "finished": now}
        connection.execute(update(jobs).where(too_late).values(dropped))


def cancel(database: Database, jobs_of: ColumnElement[bool], *, batch: str | None = None) -> None:
    """Cancel what is not finished; workers see it at their next renewal."""
    now = time.time()
    with database.write() as connection:
        off = {"state": "cancelled", "finished": now, "worker": None, "lease_until": None}
        connection.execute(update(jobs).where(jobs_of & jobs.c.state.in_(_OPEN)).values(off))
        if batch is not None:
            first = (batches.c.id == batch) & batches.c.cancelled.is_(None)
            connection.execute(update(batches).where(first).values(cancelled=now))


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


def drop_job(database: Database, client: str, kind: str, job_id: str) -> bool:
    """Delete an answer that stands alone; False where it is a part of a batch."""
    with database.write() as connection:
        mine = (jobs.c.id == job_id) & (jobs.c.client == client) & (jobs.c.kind == kind)
        return connection.execute(delete(jobs).where(mine, jobs.c.batch.is_(None))).rowcount == 1


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
