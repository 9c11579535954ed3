"""A worker for what a survey is read for alone, so that jobs to be solved stay as they are."""

from __future__ import annotations

import json
import threading

from sqlalchemy import select, update

from api.store.database import Database
from api.store.leases import finish
from api.store.surveys import Cases
from api.store.tables import jobs
from api.work import Task, perform

__all__ = ["read_surveys"]

_KINDS = ("check", "import", "masks", "comparison", "settings")
_NAME = "reader"
_IDLE_S = 0.005


def read_surveys(database: Database, stop: threading.Event) -> None:
    """Do such jobs until `stop` is set; another worker may take them first."""
    cases = Cases(database)
    mine = (jobs.c.state == "waiting") & jobs.c.kind.in_(_KINDS)
    while not stop.wait(_IDLE_S):
        with database.read() as connection:
            if connection.execute(select(jobs.c.id).where(mine).limit(1)).first() is None:
                continue
        with database.write() as connection:
            row = connection.execute(select(jobs).where(mine).limit(1)).mappings().first()
            if row is not None:
                taken = update(jobs).where(jobs.c.id == row["id"])
                connection.execute(taken.values(state="running", worker=_NAME))
        if row is not None:
            result, error = perform(Task(cases, row, json.loads(row["request"]), None))
            finish(database, row["id"], _NAME, result=result, error=error)
