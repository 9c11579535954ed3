"""A worker: one process that takes jobs from the store, one at a time, until it is told to stop."""

from __future__ import annotations

import json
import logging
import os
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

from sqlalchemy import RowMapping

from .store.database import Database, FullStoreError, StoreError
from .store.leases import claim, finish, note_progress, release
from .store.surveys import Cases
from .work import Task, perform

_LOG = logging.getLogger("api.worker")
_IDLE_S = 0.1
_TROUBLE_S = 1.0  # until the store is asked again after it failed
_PULSE_S = 1.0
_TELL_S = 1.0
_FULL = {"problem": "full-store", "detail": "There was no room to keep the answer."}
_Found = Mapping[str, Any] | None


class Worker:
    """Claims, solves and stores. Whoever started it keeps its lease, and ends it where need be.

    `places`: how many workers of its group take any work.
    """

    def __init__(
        self, database: Database, name: str, *, interactive_only: bool = False, places: int = 1
    ) -> None:
        self.database = database
        self.name = name
        self.at: str | None = None  # the id of the job in hand
        self._interactive_only = interactive_only
        self._places = places
        self._cases = Cases(database)

    def run(self, stop: threading.Event) -> None:
        """Work until `stop` is set; a store that fails is asked again."""
        while not stop.is_set():
            try:
                row = claim(
                    self.database,
                    self.name,
                    interactive_only=self._interactive_only,
                    places=self._places,
                )
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
            request = json.loads(row["request"])
            tell = Teller(self.database, row["id"], self.name)
            result, error = perform(Task(self._cases, row, request, row["left_s"], tell))
            self._store(row, result, error)
        except (SystemExit, KeyboardInterrupt):
            release(self.database, self.name, blamed=False)
            raise
        finally:
            self.at = None

    def _store(self, row: RowMapping, result: _Found, error: _Found) -> None:
        """Store what was found; a store that fails now is tried again while the lease is ours.

        Where there is no room for it, that is told in its place: at once to a client that waits.
        """
        for pause in (0.5, 2.0, 5.0, 10.0, None):
            try:
                finish(self.database, row["id"], self.name, result=result, error=error)
                return
            except FullStoreError:
                if pause is None or row["deadline"] is not None:
                    break
                time.sleep(pause)
            except StoreError:
                if pause is None:
                    raise
                time.sleep(pause)
        finish(self.database, row["id"], self.name, error=_FULL)


class Teller:
    """Writes how far a job is to the store, about once a second and never at the job's cost."""

    def __init__(
        self, database: Database, job: str, worker: str, now: Callable[[], float] = time.monotonic
    ) -> None:
        self._place = database, job, worker
        self._now = now
        self._next = now() + _TELL_S

    def __call__(self, progress: Mapping[str, Any]) -> None:
        if self._now() < self._next:
            return
        self._next = self._now() + _TELL_S
        database, job, worker = self._place
        with suppress(StoreError):
            note_progress(database, job, worker, progress)


def pulse(parent: int, end: Callable[[int], None] = os._exit) -> None:
    """End the process where the one that started it is gone: a solve cannot be asked to stop."""
    while True:
        time.sleep(_PULSE_S)
        if os.getppid() != parent:
            end(0)
