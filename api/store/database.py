"""The database: SQLite in the data folder, or PostgreSQL by URL; short transactions only."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, insert, update
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.pool import ConnectionPoolEntry

from api.store.tables import metadata, probes

__all__ = ["Database", "FullStoreError", "StoreError", "open_database", "sqlite_url"]

_BUSY_MS = 20_000  # how long a writer waits for another before it gives up
_WRITABLE = "strategist_writable"
_FULL = ("disk is full", "No space left", "disk full", "could not extend")


class StoreError(Exception):
    """The store cannot be read or written now; nothing of the request was kept."""


class FullStoreError(StoreError):
    """There is no room left where the store is kept."""


class Database:
    """An engine with its two kinds of transaction."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A transaction that only looks."""
        with self._transaction("BEGIN") as connection:
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A transaction that is on disk when the block has ended, or has left no trace.

        SQLite takes the right to write at once, so that two writers wait and never clash.
        """
        with self._transaction("BEGIN IMMEDIATE") as connection:
            yield connection

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[Connection]:
        try:
            with (
                self.engine.connect() as plain,
                plain.execution_options(strategist_begin=begin) as connection,
                connection.begin(),
            ):
                yield connection
        except DBAPIError as error:
            raise _store_error(error) from error

    def try_to_write(self) -> None:
        """Raise StoreError where nothing can be written now: only a commit shows it."""
        with suppress(IntegrityError), self.write() as connection:  # another's, at this moment
            written = connection.execute(update(probes).values(moment=time.time()))
            if not written.rowcount:
                connection.execute(insert(probes).values(id=1, moment=time.time()))

    @property
    def alone(self) -> bool:
        """Whether one server owns the store (SQLite in a data folder)."""
        return self.engine.dialect.name == "sqlite"

    def close(self) -> None:
        self.engine.dispose()


def _store_error(error: DBAPIError) -> Exception:
    """Trouble of the store in our words; a defect of ours (a broken rule of a table) as it is."""
    if any(word in str(error.orig) for word in _FULL):
        return FullStoreError(str(error.orig))
    if type(error).__name__ in ("OperationalError", "InternalError", "InterfaceError"):
        return StoreError(str(error.orig))
    return error


def sqlite_url(folder: Path) -> str:
    return f"sqlite:///{folder / 'strategist.sqlite3'}"


def open_database(url: str, connections: int = 40) -> Database:
    """The database with its tables, which are made where they are missing."""
    database = Database(_engine(url, connections))
    for attempt in range(3):  # two processes may make the tables at the same moment
        try:
            metadata.create_all(database.engine)
            return database
        except DBAPIError as error:
            if attempt == 2:
                raise _store_error(error) from error
            time.sleep(0.2)
    raise AssertionError("not reached")


def _engine(url: str, connections: int) -> Engine:
    if not url.startswith("sqlite"):
        return create_engine(url, pool_size=connections, pool_pre_ping=True)
    engine = create_engine(url, pool_size=connections, connect_args={"timeout": _BUSY_MS / 1000})

    @event.listens_for(engine, "connect")
    def _connect(connection: sqlite3.Connection, record: ConnectionPoolEntry) -> None:
        record.info[_WRITABLE] = os.access(engine.url.database or "", os.W_OK)
        connection.isolation_level = None  # we begin ourselves
        for pragma in (
            f"busy_timeout={_BUSY_MS}",
            "journal_mode=WAL",
            "synchronous=FULL",  # what is committed survives a power cut
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
