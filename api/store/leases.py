"""Who is at which job: claimed under a lease, renewed, finished, given back, and ended when late.

Workers have names such as `host-4711.any.5f…`: their group (the supervisor that started them), then
the work that they take. All times are the database's: a worker's own clock decides nothing. A job's
`worker` stays at a job that was cancelled until it has let go of it.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, Select, or_, select, update

from .database import Database, moment
from .tables import batches, jobs
from .turns import next_clients, note_turn

LEASE_S = 30.0  # a supervisor renews every few seconds, so a lease that ends means a dead host
ATTEMPTS_MAX = 3  # a job that ends its worker so often is taken to be the reason
_LIMIT_S = 660.0  # of a job from before limits were kept
_UNKEPT = ("check", "masks", "settings", "sheet")  # answers that nobody can ask for again
_FORGET_S = 60.0  # how long a refused answer is kept for whoever still asks for it


def claim(
    database: Database, worker: str, *, interactive_only: bool = False, places: int = 1
) -> RowMapping | None:
    """The next job, now `worker`'s, with `left_s` until nobody waits for it; None: no job.

    Those that a client waits for come first; clients take turns, and who has fewest running goes
    first. `places` is how many workers of the group take any work.
    """
    with database.read() as connection:  # an idle worker takes no right to write
        waiting = select(jobs.c.id).where(jobs.c.state == "waiting").limit(1)
        if connection.execute(waiting).first() is None:
            return None
    with database.write() as connection:
        now = moment(connection)
        waited_for = (jobs.c.state == "waiting") & (jobs.c.deadline > now)
        others = (jobs.c.state == "waiting") & jobs.c.deadline.is_(None)
        for ready in [waited_for] if interactive_only else [waited_for, others]:
            own_places = 0 if interactive_only else places
            for client in next_clients(connection, ready, worker, own_places, now):
                row = connection.execute(_first(ready, client, now)).mappings().one_or_none()
                if row is not None:
                    _take(connection, row, worker, now)
                    return row
    return None


def _first(ready: ColumnElement[bool], client: str, now: float) -> Select[Any]:
    left = (jobs.c.deadline - now).label("left_s")
    found = select(jobs, left).where(ready, jobs.c.client == client)
    ordered = found.order_by(jobs.c.created, jobs.c.position).limit(1)
    return ordered.with_for_update(skip_locked=True)


def _take(connection: Connection, row: RowMapping, worker: str, now: float) -> None:
    taken = {
        "state": "running",
        "worker": worker,
        "lease_until": now + LEASE_S,
        "ends_by": now + (row["limit_s"] or _LIMIT_S),
    }
    connection.execute(update(jobs).where(jobs.c.id == row["id"]).values(taken))
    note_turn(connection, row["client"], now)


def _own(job_id: str, worker: str) -> ColumnElement[bool]:
    return (jobs.c.id == job_id) & (jobs.c.worker == worker) & (jobs.c.state == "running")


def renew(database: Database, workers: Collection[str]) -> int:
    """Prolong the leases of workers that are alive; returns how many had a job."""
    mine = jobs.c.worker.in_(workers) & (jobs.c.state == "running")
    with database.write() as connection:
        until = {"lease_until": moment(connection) + LEASE_S}
        return connection.execute(update(jobs).where(mine).values(until)).rowcount


def held(database: Database, workers: Collection[str]) -> dict[str, tuple[str, bool, bool]]:
    """What each of some workers is at: the job, whether it was cancelled, whether it is late."""
    with database.read() as connection:
        now = moment(connection)
        found = select(jobs.c.worker, jobs.c.id, jobs.c.state, jobs.c.ends_by)
        rows = connection.execute(found.where(jobs.c.worker.in_(workers)))
        return {
            worker: (job, state != "running", state == "running" and (ends_by or now) < now)
            for worker, job, state, ends_by in rows
        }


def note_progress(
    database: Database, job_id: str, worker: str, progress: Mapping[str, Any]
) -> None:
    """Say how far a job is, while it is still the worker's."""
    code = json.dumps(progress, allow_nan=False)
    with database.write() as connection:
        mine = update(jobs).where(_own(job_id, worker))
        connection.execute(mine.values(progress=code))


def finish(
    database: Database,
    job_id: str,
    worker: str,
    *,
    result: Mapping[str, Any] | None = None,
    error: Mapping[str, Any] | None = None,
) -> bool:
    """Store what came of a job, once; False where it is no longer the worker's.

    Raises FullStoreError where there is no room for a result; for an error some is kept.
    """
    code = json.dumps(result if error is None else error, ensure_ascii=False, allow_nan=False)
    values = {
        "state": "failed" if result is None else "done",
        "lease_until": None,
        "worker": None,
        "progress": None,
        "size": jobs.c.size + len(code.encode()),
        "result" if error is None else "error": code,
    }

    def end(connection: Connection) -> bool:
        if _end(connection, _own(job_id, worker), values):
            return True
        still = (jobs.c.id == job_id) & (jobs.c.worker == worker)
        connection.execute(update(jobs).where(still).values(worker=None))
        return False

    if error is not None:
        return database.make_room(end)
    with database.write() as connection:
        return end(connection)


def end_late(database: Database, job_id: str, worker: str) -> bool:
    """Fail a job whose worker is past its time; False where it is no longer the worker's."""
    with database.write() as connection:
        late = _own(job_id, worker) & (jobs.c.ends_by < moment(connection))
        limit = connection.execute(select(jobs.c.limit_s).where(late)).scalar_one_or_none()
        seconds = f"{limit or _LIMIT_S:g} s"
        detail = f"No answer within {seconds}, the time limit and what goes with it: ended."
        code = json.dumps({"problem": "no-time", "detail": detail})
        values = {"state": "failed", "lease_until": None, "worker": None, "error": code}
        return _end(connection, late, values) > 0


def _end(connection: Connection, whose: ColumnElement[bool], values: Mapping[str, Any]) -> int:
    """Finish jobs; those of a batch are numbered in the order in which they can be seen.

    The row of the batch is written first: who holds it commits before the next number is given.
    """
    found = select(jobs.c.id, jobs.c.batch, jobs.c.position).where(whose)
    rows = connection.execute(found.order_by(jobs.c.batch, jobs.c.position)).all()
    now = moment(connection)
    count = 0
    for job_id, batch, _ in rows:
        seq = None if batch is None else _next_seq(connection, batch)
        ended = update(jobs).where(whose, jobs.c.id == job_id)
        count += connection.execute(ended.values({**values, "finished": now, "seq": seq})).rowcount
    return count


def _next_seq(connection: Connection, batch: str) -> int:
    following = update(batches).where(batches.c.id == batch)
    connection.execute(following.values(last_seq=batches.c.last_seq + 1))
    found = select(batches.c.last_seq).where(batches.c.id == batch)
    return int(connection.execute(found).scalar_one())


def release(database: Database, worker: str, *, blamed: bool) -> int:
    """Put back what a worker that ended was at; `blamed`: its end may be the job's doing."""
    with database.write() as connection:
        return _put_back(connection, jobs.c.worker == worker, blamed)


def take_back_all(database: Database) -> int:
    """Put back all that was running: the only server of a store starts, its workers are gone."""
    return database.make_room(
        lambda connection: _put_back(connection, jobs.c.worker.is_not(None), False)
    )


def _put_back(connection: Connection, whose: ColumnElement[bool], blamed: bool) -> int:
    running = (jobs.c.state == "running") & whose
    count = 0
    if blamed:
        given_up = {
            "state": "failed",
            "attempts": jobs.c.attempts + 1,
            "worker": None,
            "lease_until": None,
            "error": json.dumps({"problem": "worker-ended", "attempts": ATTEMPTS_MAX}),
        }
        count = _end(connection, running & (jobs.c.attempts >= ATTEMPTS_MAX - 1), given_up)
    back = {
        "state": "waiting",
        "attempts": jobs.c.attempts + int(blamed),
        "worker": None,
        "lease_until": None,
    }
    count += connection.execute(update(jobs).where(running).values(back)).rowcount
    connection.execute(update(jobs).where(whose).values(worker=None))  # of those cancelled
    return count


def sweep(database: Database) -> None:
    """Put back jobs whose lease ran out; drop answers that nobody waits for any more."""
    with database.read() as connection:
        now = moment(connection)
        late = jobs.c.worker.is_not(None) & (jobs.c.lease_until < now)
        too_late = (jobs.c.state == "waiting") & (jobs.c.deadline < now)
        unkept = (jobs.c.state == "done") & jobs.c.kind.in_(_UNKEPT)
        refused = (
            (jobs.c.state.in_(("cancelled", "failed")) | unkept)
            & jobs.c.deadline.is_not(None)
            & jobs.c.worker.is_(None)
            & (jobs.c.finished < now - _FORGET_S)
        )
        any_of = select(jobs.c.id).where(or_(late, too_late, refused)).limit(1)
        if connection.execute(any_of).first() is None:
            return
    with database.write() as connection:
        _put_back(connection, late, True)
        dropped = {"state": "cancelled", "finished": now}
        connection.execute(update(jobs).where(too_late).values(dropped))
    database.make_room(lambda connection: connection.execute(jobs.delete().where(refused)))
