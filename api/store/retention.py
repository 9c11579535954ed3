"""What a store holds, of whom, and how it forgets: nothing, unless its server was told to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import Connection, and_, delete, exists, func, select

from .database import Database, moment
from .tables import batches, jobs, keys, survey_files, surveys

_STEP = 20  # things deleted in a transaction, so that others wait for no longer than that
_DAY_S = 86_400.0
_OPEN = jobs.c.state.in_(("waiting", "running")) | jobs.c.worker.is_not(None)


@dataclass(frozen=True)
class Retention:
    """How long things are kept, and how many bytes of them; None: for ever, and any number."""

    days: float | None = None
    total_bytes: int | None = None


def stored_bytes(database: Database, client: str | None = None) -> int:
    """Bytes of the surveys, requests, results and kept answers of a client, or of all."""
    with database.read() as connection:
        return sum(
            int(
                connection.execute(
                    select(func.coalesce(func.sum(table.c.size), 0)).where(
                        *(() if client is None else (table.c.client == client,))
                    )
                ).scalar_one()
            )
            for table in (surveys, jobs, keys)
        )


def forget(database: Database, keep: Retention, stop: Callable[[], bool] = lambda: False) -> int:
    """Delete what is older than it may be, then the oldest until the rest fits; returns how much.

    Answers and batches go first, each when it is done; a survey when nothing that is left was drawn
    from it. What is waiting or worked at always stays.
    """
    count = 0
    if keep.days is not None:
        age = keep.days * _DAY_S
        while not stop() and (
            done := database.make_room(lambda c: _older(c, moment(c) - age, _STEP))
        ):
            count += done
    if keep.total_bytes is not None:
        while not stop() and stored_bytes(database) > keep.total_bytes:
            done = database.make_room(lambda c: _older(c, moment(c), 1))
            if not done:
                break
            count += done
    return count


def _older(connection: Connection, before: float, at_most: int) -> int:
    """Delete the oldest few things from before a moment; returns how many."""
    alone = and_(jobs.c.batch.is_(None), ~_OPEN, jobs.c.created < before)
    still = exists().where(jobs.c.batch == batches.c.id, _OPEN)
    drawn = exists().where(jobs.c.survey == surveys.c.id)
    found = [
        ("answer", jobs.c.id, alone, jobs.c.created),
        ("batch", batches.c.id, and_(~still, batches.c.created < before), batches.c.created),
        ("survey", surveys.c.id, and_(~drawn, surveys.c.created < before), surveys.c.created),
    ]
    things: list[tuple[float, str, str]] = []
    for kind, name, where, created in found:
        rows = select(name, created).where(where).order_by(created).limit(at_most)
        things += [(at, kind, one) for one, at in connection.execute(rows)]
    for _, kind, one in sorted(things)[:at_most]:
        _drop(connection, kind, one)
    return min(len(things), at_most)


def _drop(connection: Connection, kind: str, one: str) -> None:
    if kind == "answer":
        connection.execute(delete(jobs).where(jobs.c.id == one))
    elif kind == "batch":
        connection.execute(delete(jobs).where(jobs.c.batch == one))
        connection.execute(delete(batches).where(batches.c.id == one))
    else:
        connection.execute(delete(survey_files).where(survey_files.c.survey == one))
        connection.execute(delete(surveys).where(surveys.c.id == one))
