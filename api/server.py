"""The server process: waitress before the app, workers beside it, and an orderly end."""

from __future__ import annotations

import contextlib
import fcntl
import logging
import signal
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from waitress.server import create_server

from api.app import create_app
from api.limits import Limits
from api.service import Service
from api.store.database import Database
from api.store.jobs import take_back_all
from api.store.keys import free_keys
from api.supervisor import Supervisor

__all__ = ["THREADS", "InUseError", "own_folder", "serve"]

_LOG = logging.getLogger("api.server")
THREADS = 32  # more than may wait for answers and streams at once, so that others are served
_END_S = 40  # longer than any answer takes
_LEAVE_S = 0.5  # for load balancers to see /readyz turn before the port closes


class InUseError(Exception):
    """Another server has the data folder."""


@contextlib.contextmanager
def own_folder(folder: Path) -> Iterator[None]:
    """Hold a data folder for this process alone; however it ends, the lock ends with it."""
    with (folder / "server.lock").open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise InUseError(f"another server is using {folder}") from None
        yield


def serve(
    service: Service, url: str, *, host: str, port: int, workers: int, limits: Limits
) -> None:
    """Serve until SIGTERM or SIGINT; then answer what is in flight and end."""
    recover(service.database)
    server = create_server(
        create_app(service),
        host=host,
        port=port,
        threads=THREADS,
        ident=None,
        connection_limit=500,
        backlog=512,
        channel_timeout=120,
        max_request_body_size=limits.upload_bytes + 2**16,
        clear_untrusted_proxy_headers=True,
    )
    supervisor = Supervisor(service.database, url, workers)
    supervisor.start()
    stopper = _on_signals(service, server)
    _LOG.info("serving on http://%s:%s", host, server.effective_port)
    print(f"strategist API on http://{host}:{server.effective_port}", flush=True)
    try:
        with contextlib.suppress(SystemExit):
            server.run()
    finally:
        stopper.cancel()
        server.task_dispatcher.shutdown(cancel_pending=False, timeout=_END_S)
        server.close()
        supervisor.stop()
        service.database.close()
        _LOG.info("stopped")


def recover(database: Database) -> None:
    """Take up what a former server of a store of its own left behind."""
    if database.alone:
        take_back_all(database)
        free_keys(database)


def _on_signals(service: Service, server: Any) -> threading.Timer:
    """At the first signal say so at /readyz, a moment later stop accepting."""

    def end() -> None:
        signal.raise_signal(signal.SIGUSR1)

    timer = threading.Timer(_LEAVE_S, end)

    def begin_end(*_: Any) -> None:
        if not service.stopping.is_set():
            service.stopping.set()
            timer.start()

    def stop(*_: Any) -> None:
        raise SystemExit

    signal.signal(signal.SIGUSR1, stop)
    signal.signal(signal.SIGTERM, begin_end)
    signal.signal(signal.SIGINT, begin_end)
    return timer
