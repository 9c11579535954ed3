"""What only a store in a file needs: leave for its owner alone, room for deletes, room given back.

Deleted pages of an SQLite file stay in it until they are asked back, and to delete takes room,
too: on a full disk nothing could be deleted. So some room is kept in a file that can be let go of.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import ConnectionPoolEntry

_BUSY_MS = 20_000  # how long a writer waits for another before it gives up
_WRITABLE = "strategist_writable"
_RESERVE = 16 * 2**20  # bytes; to delete a batch of 1,000 read points takes less
_SHARE = 8  # of the file system at most 1/8
_PAGE = 4096
_LEFT_BYTES = 16 * _PAGE  # of a full file system, for the log of the next delete
_STEP = 256  # pages given back at once: others wait for so long, and no longer
_LOG_BYTES = 8 * 2**20  # of the write-ahead log, from which on it is emptied


def _kept_bytes(folder: Path) -> int:
    return min(_RESERVE, shutil.disk_usage(folder).total // _SHARE)


def own_mode(file: Path) -> None:
    """Make the file, or the one that is there, its owner's alone (0600)."""
    os.close(os.open(file, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
    for part in (file, *(file.with_name(file.name + end) for end in ("-wal", "-shm"))):
        if part.exists() and part.stat().st_mode & 0o077 and os.access(part, os.W_OK):
            part.chmod(0o600)


def sqlite_engine(url: str, connections: int) -> Engine:
    """An engine whose connections are set up alike."""
    engine = create_engine(url, pool_size=connections, connect_args={"timeout": _BUSY_MS / 1000})
    # The log must not outgrow the room that is kept: to write it into the file may take as much.
    kept = _kept_bytes(Path(engine.url.database or "").parent)
    log_pages = max(16, min(1000, kept // _PAGE // 4))

    @event.listens_for(engine, "connect")
    def _connect(connection: sqlite3.Connection, record: ConnectionPoolEntry) -> None:
        record.info[_WRITABLE] = os.access(engine.url.database or "", os.W_OK)
        connection.isolation_level = None  # we begin ourselves
        for pragma in (
            f"busy_timeout={_BUSY_MS}",
            "auto_vacuum=INCREMENTAL",  # of a file that is new; others: see `give_back`
            "journal_mode=WAL",
            f"wal_autocheckpoint={log_pages}",
            "synchronous=FULL",  # what is committed survives a power cut
            "secure_delete=FAST",  # else a delete writes all that it deletes once more
            "foreign_keys=ON",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "checkin")
    def _checkin(_: Any, record: ConnectionPoolEntry) -> None:
        # SQLite opens a file that cannot be written for reading, and for ever: once it can be
        # written again, no such connection may be left.
        if not record.info.get(_WRITABLE, True):
            record.invalidate()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        begin = connection.get_execution_options().get("strategist_begin", "BEGIN")
        connection.exec_driver_sql(begin)

    return engine


def copy_file(source: Path, target: Path) -> None:
    """A sound copy in a new file; what is written meanwhile is in it or not, whole.

    Raises OSError where the target is there or cannot be written.
    """
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600))
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)


def whats_wrong(engine: Engine) -> str | None:
    """What SQLite finds wrong in the file, or None; it reads all of it."""
    with engine.connect() as connection:
        said = str(connection.exec_driver_sql("PRAGMA quick_check(1)").scalar_one())
    return None if said == "ok" else said.replace("\n", " ")


def can_shrink(engine: Engine) -> None:
    """Rewrite a file from before version 1 once, so that it can give pages back."""
    plain = engine.raw_connection()
    try:
        connection = plain.driver_connection
        assert connection is not None
        if not connection.execute("PRAGMA auto_vacuum").fetchone()[0]:
            connection.execute("PRAGMA auto_vacuum=INCREMENTAL")
            connection.execute("VACUUM")
            _empty_log(connection)
    finally:
        plain.close()


def give_back(engine: Engine, stop: Callable[[], bool]) -> None:
    """Shorten the file by the pages that are free, a step at a time, and empty the log."""
    plain = engine.raw_connection()
    try:
        connection = plain.driver_connection
        assert connection is not None
        freed = False
        while not stop():
            free = connection.execute("PRAGMA freelist_count").fetchone()[0]
            if not free or not connection.execute("PRAGMA auto_vacuum").fetchone()[0]:
                break
            connection.execute(f"PRAGMA incremental_vacuum({_STEP})").fetchall()
            _empty_log(connection)
            freed = True
            if connection.execute("PRAGMA freelist_count").fetchone()[0] >= free:
                break
        log = Path(f"{engine.url.database}-wal")
        if not freed and log.exists() and log.stat().st_size > _LOG_BYTES:
            _empty_log(connection)
    finally:
        plain.close()


def _empty_log(connection: Any) -> None:
    """Write the log into the file; where others read, some of it stays for the next time."""
    connection.execute("PRAGMA busy_timeout=500")
    try:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    finally:
        connection.execute(f"PRAGMA busy_timeout={_BUSY_MS}")


class Reserve:
    """A file that takes room until room is needed."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def fill(self, *, again: bool = False) -> None:
        """Take the room, where so much more is there.

        `again`: it was let go of just now and is taken back at once, as far as it is still there,
        or the next upload would take it and no delete would have any.
        """
        try:
            folder = self._path.parent
            size, free = _kept_bytes(folder), shutil.disk_usage(folder).free
            taken = self._path.stat().st_size if self._path.exists() else 0
            if again:
                size = min(size, free + taken - _LEFT_BYTES)
            elif free < 2 * size:
                return
            if taken >= size:
                return
            file = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                os.posix_fallocate(file, 0, size)
            finally:
                os.close(file)
        except OSError:
            self.release()  # what was taken of it may be too little, and is better free

    def release(self) -> bool:
        """Let go of the room; False where none was kept."""
        try:
            kept = self._path.stat().st_size > 0
            os.truncate(self._path, 0)
        except OSError:
            return False
        return kept
