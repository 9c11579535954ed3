"""The server process: waitress before the app, workers beside it, and an orderly end."""

from __future__ import annotations

import contextlib
import fcntl
import logging
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from .app import ENDPOINTS, create_app
from .door import open_door
from .headers import Door
from .pages.render import warm_up
from .pages.visit import SIGN_IN, SIGN_IN_BYTES, client_at_the_door
from .service import Service
from .store.database import Database, StoreError
from .store.keys import free_keys
from .store.leases import take_back_all
from .store.retention import Retention
from .supervisor import Supervisor

_LOG = logging.getLogger("api.server")
THREADS = 32  # more than may wait for answers and streams at once, so that others are served
_END_S = 40  # longer than any answer takes; an upload may be cut off, and is sent again
_LEAVE_S = 0.5  # for load balancers to see /readyz turn before the port closes
_FLUSH_S = 0.2  # for the last answers to leave


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
    service: Service,
    url: str,
    *,
    host: str,
    port: int,
    workers: int,
    keep: Retention,
    local: bool,
) -> None:
    """Serve until SIGTERM or SIGINT; then answer what is in flight and end."""
    recover(service.database)
    settings = {
        "host": host,
        "port": port,
        "ident": None,
        "connection_limit": 500,
        "backlog": 512,
        "max_request_header_size": 2**15,
        "max_request_body_size": service.limits.upload_bytes + 2**16,
        "clear_untrusted_proxy_headers": True,
    }
    server = open_door(create_app(service), door_of(service), threads=THREADS, settings=settings)
    supervisor = Supervisor(
        service.database,
        url,
        workers,
        interactive=min(1, workers),
        keep=keep,
        memory_mib=service.limits.worker_mib,
    )
    service.warm = lambda: supervisor.warm
    supervisor.start()
    threading.Thread(target=warm_up, daemon=True).start()
    _end_on_signals(service, server)
    _LOG.info("serving on http://%s:%s", host, server.effective_port)
    print(f"strategist API on http://{host}:{server.effective_port}", flush=True)
    if local and not service.open_to_all:
        address = f"http://{host}:{server.effective_port}{SIGN_IN}?link={service.link.secret}"
        print(f"pages: {address} (signs in once, within the hour)", flush=True)
    try:
        server.run()
    finally:
        server.close()
        supervisor.stop()
        service.database.close()
        _LOG.info("stopped")


def door_of(service: Service) -> Door:
    """What may come in: long bodies only where surveys are uploaded, and only with a token."""
    limits = service.limits
    most: dict[tuple[str, str], int] = {
        (one.method, one.path): limits.upload_bytes for one in ENDPOINTS if one.forms
    }
    most |= {("POST", "/surveys"): limits.upload_bytes, ("POST", SIGN_IN): SIGN_IN_BYTES}
    return Door(
        lambda method, path: most.get((method, path), limits.request_bytes),
        lambda path, headers: client_at_the_door(service, path, headers),
        incoming_bytes=limits.incoming_bytes,
        half_open=limits.half_open,
    )


def recover(database: Database) -> None:
    """Look at a store of its own, and take up what a former server left behind.

    Raises DamagedStoreError where the file is not whole.
    """
    if not database.alone:
        return
    database.check()
    try:
        take_back_all(database)
        free_keys(database)
        database.rebuild()
        database.give_back()
    except StoreError as error:  # full, say: what can be read is served, and deletes make room
        _LOG.warning("store: %s", error)


def _end_on_signals(service: Service, server: Any) -> None:
    """At SIGTERM or SIGINT take no more work, let what is in flight end, then stop the loop.

    The loop of waitress sends what the threads answer, so it must run until they have.
    """
    main = threading.main_thread().ident
    assert main is not None

    def drain() -> None:
        time.sleep(_LEAVE_S)
        dispatcher, end = server.task_dispatcher, time.monotonic() + _END_S
        while (dispatcher.active_count or dispatcher.queue) and time.monotonic() < end:
            time.sleep(0.05)
        time.sleep(_FLUSH_S)
        signal.pthread_kill(main, signal.SIGUSR1)

    def begin_end(*_: Any) -> None:
        if not service.stopping.is_set():
            service.stopping.set()
            threading.Thread(target=drain, daemon=True).start()

    def stop(*_: Any) -> None:
        raise SystemExit

    signal.signal(signal.SIGUSR1, stop)
    signal.signal(signal.SIGTERM, begin_end)
    signal.signal(signal.SIGINT, begin_end)
