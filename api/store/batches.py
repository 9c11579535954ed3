"""Batches: many read points accepted at once; each is a job, and its answer a strategy."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import Connection, RowMapping, delete, exists, select

from .database import Database
from .jobs import count_states
from .pages import Place, page
from .tables import batches, jobs, surveys

_AT_ONCE = 500  # ids in a query


def find_batch(database: Database, client: str, batch_id: str) -> RowMapping | None:
    """A client's batch, or None where the client has none of this id."""
    with database.read() as connection:
        mine = (batches.c.id == batch_id) & (batches.c.client == client)
        return connection.execute(select(batches).where(mine)).mappings().one_or_none()


def find_batches(
    database: Database, client: str, limit: int, after: Place | None
) -> tuple[list[RowMapping], str | None]:
    """A page of a client's batches, newest first."""
    with database.read() as connection:
        return page(connection, batches, batches.c.client == client, limit, after)


def batch_counts(database: Database, batch_id: str) -> dict[str, int]:
    """How many of a batch's read points are in each state."""
    return count_states(database, [jobs.c.batch == batch_id])


def deleted_surveys(database: Database, batch_id: str) -> list[str]:
    """Surveys from which a batch has results, and which are there no more."""
    with database.read() as connection:
        of_batch = (jobs.c.batch == batch_id) & (jobs.c.state == "done")
        gone = of_batch & jobs.c.survey.not_in(select(surveys.c.id))
        found = select(jobs.c.survey).where(gone).distinct().order_by(jobs.c.survey)
        return list(connection.execute(found).scalars())


def results_after(database: Database, batch_id: str, position: int, limit: int) -> list[RowMapping]:
    """The jobs of a batch behind a position, in order."""
    with database.read() as connection:
        found = select(jobs).where(jobs.c.batch == batch_id, jobs.c.position > position)
        return list(connection.execute(found.order_by(jobs.c.position).limit(limit)).mappings())


def rows_of(database: Database, batch_id: str) -> list[RowMapping]:
    """All jobs of a batch in order, without what they asked and what came of them."""
    columns = (jobs.c.id, jobs.c.position, jobs.c.survey, jobs.c.read_point, jobs.c.state)
    with database.read() as connection:
        found = select(*columns).where(jobs.c.batch == batch_id).order_by(jobs.c.position)
        return list(connection.execute(found).mappings())


def results_of(database: Database, batch_id: str, ids: Collection[str]) -> dict[str, str]:
    """The results (JSON) of some jobs of a batch, by their ids."""
    found: dict[str, str] = {}
    wanted = list(ids)
    with database.read() as connection:
        for start in range(0, len(wanted), _AT_ONCE):
            some = jobs.c.id.in_(wanted[start : start + _AT_ONCE])
            mine = select(jobs.c.id, jobs.c.result).where(jobs.c.batch == batch_id, some)
            found |= {job: text for job, text in connection.execute(mine) if text is not None}
    return found


def finished_after(database: Database, batch_id: str, seq: int, limit: int) -> list[RowMapping]:
    """The jobs of a batch that were finished behind a number, in the order in which they were."""
    with database.read() as connection:
        found = select(jobs).where(jobs.c.batch == batch_id, jobs.c.seq > seq)
        ordered = found.order_by(jobs.c.seq).limit(limit)
        return list(connection.execute(ordered).mappings())


def drop_batch(database: Database, client: str, batch_id: str) -> bool:
    """Delete a batch with all its results; False where something of it is still worked at."""
    of_batch = jobs.c.batch == batch_id
    at_work = jobs.c.state.in_(("waiting", "running")) | jobs.c.worker.is_not(None)

    def drop(connection: Connection) -> bool:
        if connection.execute(select(exists().where(of_batch, at_work))).scalar_one():
            return False
        connection.execute(delete(jobs).where(of_batch, jobs.c.client == client))
        mine = (batches.c.id == batch_id) & (batches.c.client == client)
        connection.execute(delete(batches).where(mine))
        return True

    return database.make_room(drop)
