"""Batches: many read points accepted at once; each is a job, and its answer a strategy."""

from __future__ import annotations

from sqlalchemy import RowMapping, select

from api.store.database import Database
from api.store.jobs import count_states
from api.store.pages import Place, page
from api.store.tables import batches, jobs, surveys

__all__ = [
    "batch_counts",
    "deleted_surveys",
    "find_batch",
    "find_batches",
    "finished_since",
    "results_after",
]


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


def finished_since(
    database: Database, batch_id: str, moment: float, limit: int
) -> list[RowMapping]:
    """The jobs of a batch that were finished at or after a moment, as they came."""
    with database.read() as connection:
        found = select(jobs).where(jobs.c.batch == batch_id, jobs.c.finished >= moment)
        ordered = found.order_by(jobs.c.finished, jobs.c.position).limit(limit)
        return list(connection.execute(ordered).mappings())
