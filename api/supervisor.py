"""The worker processes of a server: started, watched, started again, and stopped with it."""

from __future__ import annotations

import logging
import os
import secrets
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field

from api.store.database import Database, StoreError
from api.store.jobs import release, sweep
from api.store.where import DATABASE

__all__ = ["Supervisor"]

_LOG = logging.getLogger("api.supervisor")
_LOOK_S = 0.2
_SWEEP_S = 2.0
_QUICK_S = 5.0  # a worker that ended sooner than this is started again ever later
_DELAY_MAX_S = 10.0
_STOP_S = 5.0


@dataclass(eq=False)
class _Place:
    """A place for a worker: the process that fills it now, and when the next may start."""

    prompt_only: bool
    name: str = ""
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    delay: float = 0.0
    next_start: float = field(default=0.0)


class Supervisor:
    """`workers` processes for all work, and one more for answers that clients wait for.

    No worker at all where `workers` is 0: others work for the store.
    """

    def __init__(self, database: Database, url: str, workers: int) -> None:
        self._database = database
        self._url = url
        self._places = [_Place(False) for _ in range(workers)] + [_Place(True)] * bool(workers)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="supervisor", daemon=True)

    def start(self) -> None:
        for place in self._places:
            self._fill(place)
        self._thread.start()

    def stop(self) -> None:
        """End the workers; what they were at goes back to the queue."""
        self._stop.set()
        self._thread.join(timeout=_STOP_S)
        for place in self._places:
            if place.process is not None:
                place.process.terminate()
        for place in self._places:
            if place.process is None:
                continue
            try:
                place.process.wait(_STOP_S)
            except subprocess.TimeoutExpired:
                place.process.kill()
                place.process.wait()
            self._release(place, blamed=False)

    def _watch(self) -> None:
        swept = 0.0
        while not self._stop.wait(_LOOK_S):
            for place in self._places:
                self._look(place)
            if time.monotonic() - swept > _SWEEP_S:
                swept = time.monotonic()
                try:
                    sweep(self._database)
                except StoreError as error:
                    _LOG.warning("sweep: %s", error)

    def _look(self, place: _Place) -> None:
        """Put back what an ended worker was at, and start another."""
        if place.process is not None and place.process.poll() is not None:
            status = place.process.returncode
            place.process = None
            if status:
                _LOG.warning("worker ended with %s", status, extra={"worker": place.name})
                quick = time.monotonic() - place.started < _QUICK_S
                place.delay = min(_DELAY_MAX_S, 2 * place.delay + 0.5) if quick else 0.0
            self._release(place, blamed=status != 0)
            place.next_start = time.monotonic() + place.delay
        if place.process is None and time.monotonic() >= place.next_start:
            self._fill(place)

    def _release(self, place: _Place, *, blamed: bool) -> None:
        try:
            release(self._database, place.name, blamed=blamed)
        except StoreError as error:  # its lease will run out
            _LOG.warning("release: %s", error, extra={"worker": place.name})

    def _fill(self, place: _Place) -> None:
        place.name = f"{os.getpid()}-{secrets.token_hex(8)}"
        command = [sys.executable, "-m", "api.worker_process", "--name", place.name]
        command += ["--parent", str(os.getpid())]
        if place.prompt_only:
            command.append("--prompt-only")
        # The URL may hold a password, which other users of the machine could read in a command.
        environment = os.environ | {DATABASE: self._url}
        place.started = time.monotonic()
        place.process = subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL)
