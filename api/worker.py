"""A worker: one process that takes jobs from the store, one at a time, until it is told to stop."""

from __future__ import annotations

import json
import logging
import os
import threading
import time
from collections.abc import Callable

from sqlalchemy import RowMapping

from api.store.database import Database, StoreError
from api.store.jobs import claim, finish, release, renew
from api.store.surveys import Cases
from api.work import Task, perform

__all__ = ["Worker", "pulse"]

_LOG = logging.getLogger("api.worker")
_IDLE_S = 0.1
_TROUBLE_S = 1.0  # until the store is asked again after it failed
_PULSE_S = 1.0  # how soon a cancelled job ends its worker


class Worker:
    """Claims, solves and stores; what it is at can be seen from the thread that keeps its lease."""

    def __init__(self, database: Database, name: str, *, prompt_only: bool = False) -> None:
        self.database = database
        self.name = name
        self.at: str | None = None  # the id of the job in hand
        self._prompt_only = prompt_only
        self._cases = Cases(database)

    def run(self, stop: threading.Event) -> None:
        """Work until `stop` is set; a store that fails is asked again."""
        while not stop.is_set():
            try:
                row = claim(self.database, self.name, prompt_only=self._prompt_only)
                if row is None:
                    stop.wait(_IDLE_S)
                else:
                    self._carry_out(row)
            except StoreError as error:
                _LOG.warning("store: %s", error, extra={"worker": self.name})
                stop.wait(_TROUBLE_S)

    def _carry_out(self, row: RowMapping) -> None:
        self.at = row["id"]
        try:
            left = None if row["deadline"] is None else row["deadline"] - time.time()
            result, error = perform(Task(self._cases, row, json.loads(row["request"]), left))
            self._store(row["id"], result, error)
        except (SystemExit, KeyboardInterrupt):
            release(self.database, self.name, blamed=False)
            raise
        finally:
            self.at = None

    def _store(self, job_id: str, result: object, error: object) -> None:
        """Store what was found; a store that fails now is tried again while the lease is ours."""
        for pause in (0.5, 2.0, 5.0, 10.0, None):
            try:
                finish(self.database, job_id, self.name, result=result, error=error)  # type: ignore[arg-type]
                return
            except StoreError:
                if pause is None:
                    raise
                time.sleep(pause)


def pulse(worker: Worker, parent: int, end: Callable[[int], None] = os._exit) -> None:
    """Keep the lease of the worker's job; end the process where it is lost or the server is gone.

    A solve cannot be asked to stop, so the process ends; whoever started it starts another.
    """
    while True:
        time.sleep(_PULSE_S)
        if parent and os.getppid() != parent:
            end(0)
        at = worker.at
        try:
            if at is not None and not renew(worker.database, at, worker.name) and worker.at == at:
                end(0)
        except StoreError as error:
            _LOG.warning("lease: %s", error, extra={"worker": worker.name})
