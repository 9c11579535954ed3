"""The worker processes of a server: started, watched, ended where need be, and stopped with it.

A solve cannot be asked to stop, so whoever started a worker keeps its lease while it lives, and
ends it where its job is cancelled, late, or in the way of another client's.
"""

from __future__ import annotations

import logging
import os
import secrets
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from .limits import WORKER_MIB
from .store.database import Database, StoreError
from .store.leases import end_late, held, release, renew, sweep
from .store.retention import Retention, forget
from .store.turns import ANY, INTERACTIVE, worker_to_take_back
from .store.where import DATABASE

READY = b"ready\n"  # a worker says so once its first answer will take no longer than others
_LOG = logging.getLogger("api.supervisor")
_WORKER = (sys.executable, "-m", f"{__package__}.worker_process")
_LOOK_S = 0.2
_JOBS_S = 0.5  # how soon a worker is ended whose job is cancelled or late
_RENEW_S = 5.0
_SWEEP_S = 2.0
_TIDY_S = 5.0
_FORGET_S = 60.0
_SHARE_S = 1.0
_QUICK_S = 5.0  # a worker that ended sooner than this is started again ever later
_DELAY_MAX_S = 10.0
_STOP_S = 5.0


@dataclass(eq=False)
class _Place:
    """A place for a worker: the process that fills it now, and when the next may start."""

    takes: str
    name: str = ""
    process: subprocess.Popen[bytes] | None = None
    ready: bool = False
    started: float = 0.0
    delay: float = 0.0
    next_start: float = field(default=0.0)


class Supervisor:
    """`workers` processes for all work, and `interactive` more for answers that clients wait for.

    `keep` also makes it forget what is old and give room back: what the server of a store does.
    `memory_mib` is what each worker may take.
    """

    def __init__(
        self,
        database: Database,
        url: str,
        workers: int,
        *,
        interactive: int = 0,
        keep: Retention | None = None,
        memory_mib: int = WORKER_MIB,
    ) -> None:
        self._database = database
        self._url = url
        self._workers = workers
        self._memory_mib = memory_mib
        self._group = f"{os.uname().nodename[:30]}-{os.getpid()}-{secrets.token_hex(3)}"
        self._places = [_Place(ANY) for _ in range(workers)]
        self._places += [_Place(INTERACTIVE) for _ in range(interactive)]
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._watch, name="supervisor", daemon=True)]
        if keep is not None:
            tidy = threading.Thread(target=self._tidy, args=(keep,), name="tidy", daemon=True)
            self._threads.append(tidy)
        self._been_warm = not self._places

    @property
    def warm(self) -> bool:
        """Whether a worker of each kind could once answer at once."""
        if not self._been_warm:
            kinds = {place.takes for place in self._places}
            self._been_warm = kinds == {place.takes for place in self._places if place.ready}
        return self._been_warm

    def start(self) -> None:
        for place in self._places:
            self._fill(place)
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End the workers; what they were at goes back to the queue."""
        self._stop.set()
        for thread in self._threads:
            thread.join(timeout=_STOP_S)
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
        turns = [
            _Turn(_JOBS_S, self._look_at_jobs),
            _Turn(_RENEW_S, self._renew),
            _Turn(_SWEEP_S, lambda: sweep(self._database)),
            _Turn(_SHARE_S, self._share),
        ]
        while not self._stop.wait(_LOOK_S):
            for place in self._places:
                self._look(place)
            for turn in turns:
                turn.take()

    def _tidy(self, keep: Retention) -> None:
        """What may take longer: forgetting what is old, and giving room back."""
        stopping = self._stop.is_set
        turns = [
            _Turn(_FORGET_S, lambda: forget(self._database, keep, stopping)),
            _Turn(_TIDY_S, lambda: self._database.give_back(stopping)),
        ]
        while not self._stop.wait(_LOOK_S):
            for turn in turns:
                turn.take()

    def _look(self, place: _Place) -> None:
        """Put back what an ended worker was at, and start another."""
        if place.process is not None and place.process.poll() is not None:
            status = place.process.returncode
            self._emptied(place)
            if status:
                _LOG.warning("worker ended with %s", status, extra={"worker": place.name})
                quick = time.monotonic() - place.started < _QUICK_S
                place.delay = min(_DELAY_MAX_S, 2 * place.delay + 0.5) if quick else 0.0
            self._release(place, blamed=status != 0)
            place.next_start = time.monotonic() + place.delay
        if place.process is None and time.monotonic() >= place.next_start:
            self._fill(place)

    def _look_at_jobs(self) -> None:
        """End workers whose job was cancelled or is late; a late one is failed."""
        busy = held(self._database, self._names()) if self._places else {}
        for place in self._places:
            job, cancelled, late = busy.get(place.name, ("", False, False))
            if late and end_late(self._database, job, place.name):
                self._end(place, "late: worker ended")
            elif cancelled:
                self._end(place, "cancelled: worker ended")

    def _renew(self) -> None:
        """A worker that lives has its lease, however busy it is."""
        if self._places and held(self._database, self._names()):
            renew(self._database, self._names())

    def _share(self) -> None:
        """Take a worker back from a client that has more than its share while others wait."""
        if not self._workers or not all(place.ready for place in self._places):
            return
        name = worker_to_take_back(self._database, self._group, self._workers)
        for place in self._places:
            if place.name == name:
                self._end(place, "another client waits: worker ended")

    def _names(self) -> list[str]:
        return [place.name for place in self._places if place.process is not None]

    def _end(self, place: _Place, why: str) -> None:
        """End a worker in the midst of its job, which is not to blame; another starts at once."""
        if place.process is None or place.process.poll() is not None:
            return
        _LOG.info(why, extra={"worker": place.name})
        place.process.kill()
        place.process.wait()
        self._emptied(place)
        self._release(place, blamed=False)
        place.next_start, place.delay = 0.0, 0.0

    def _emptied(self, place: _Place) -> None:
        place.process, place.ready = None, False

    def _release(self, place: _Place, *, blamed: bool) -> None:
        try:
            release(self._database, place.name, blamed=blamed)
        except StoreError as error:  # its lease will run out
            _LOG.warning("release: %s", error, extra={"worker": place.name})

    def _fill(self, place: _Place) -> None:
        place.name = f"{self._group}.{place.takes}.{secrets.token_hex(8)}"
        command = [*_WORKER, "--name", place.name, "--parent", str(os.getpid())]
        command += ["--places", str(self._workers), "--memory-mib", str(self._memory_mib)]
        command += ["--interactive-only"] * (place.takes == INTERACTIVE) + ["--warm-up"] * (
            not self.warm
        )
        # The URL may hold a password, which other users of the machine could read in a command.
        environment = os.environ | {DATABASE: self._url}
        place.started = time.monotonic()
        place.process = subprocess.Popen(
            command, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE
        )
        threading.Thread(target=_hear, args=(place, place.process), daemon=True).start()


def _hear(place: _Place, process: subprocess.Popen[bytes]) -> None:
    """Note when a worker says that it is ready."""
    assert process.stdout is not None
    with process.stdout as said:
        for line in said:
            if line == READY and place.process is process:
                place.ready = True


class _Turn:
    """Something to do every so often; a store that fails is asked again the next time."""

    def __init__(self, every_s: float, what: Callable[[], object]) -> None:
        self._every_s, self._what = every_s, what
        self._last = time.monotonic()

    def take(self) -> None:
        if time.monotonic() - self._last < self._every_s:
            return
        self._last = time.monotonic()
        try:
            self._what()
        except StoreError as error:
            _LOG.warning("store: %s", error)
