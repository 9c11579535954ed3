"""The database: SQLite in the data folder, or PostgreSQL by URL; short transactions only."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

from sqlalchemy import Connection, Engine, create_engine, insert, update
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, IntegrityError

from .schema import SchemaError, prepare, refuse_foreign_tables
from .sqlite_file import (
    Reserve,
    can_shrink,
    copy_file,
    give_back,
    own_mode,
    sqlite_engine,
    whats_wrong,
)
from .tables import probes

_LOG = logging.getLogger("api.store")
_FULL = ("disk is full", "No space left", "disk full", "could not extend")
_DAMAGED = ("malformed", "not a database", "file is encrypted")
_CLOCK = {
    "sqlite": "SELECT (julianday('now') - 2440587.5) * 86400.0",
    "postgresql": "SELECT CAST(EXTRACT(EPOCH FROM clock_timestamp()) AS double precision)",
}
_Found = TypeVar("_Found")


class StoreError(Exception):
    """The store cannot be read or written now; nothing of the request was kept."""


class FullStoreError(StoreError):
    """There is no room left where the store is kept."""


class DamagedStoreError(StoreError):
    """The store's file is not what was written."""


def moment(connection: Connection) -> float:
    """Now, in seconds since 1970, by the database's clock: the only one that all share."""
    return float(connection.exec_driver_sql(_CLOCK[connection.dialect.name]).scalar_one())


class Database:
    """An engine with its kinds of transaction."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.file = Path(engine.url.database or "") if self.alone else None
        self._reserve = None if self.file is None else Reserve(self.file.parent / "reserve")

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

    def make_room(self, work: Callable[[Connection], _Found]) -> _Found:
        """A writing transaction that frees more than it takes; a full disk has room for it."""
        try:
            with self.write() as connection:
                return work(connection)
        except FullStoreError:
            if not self.let_go_of_room():
                raise
        with self.write() as connection:
            found = work(connection)
        self.give_back(again=True)
        return found

    def let_go_of_room(self) -> bool:
        """Free the room that is kept for deletes; False where there was none."""
        return self._reserve is not None and self._reserve.release()

    def give_back(self, stop: Callable[[], bool] = lambda: False, *, again: bool = False) -> None:
        """Return what was freed to the file system, step by step, and keep room for deletes;
        `again` where that room was let go of just now."""
        if self.file is None or self._reserve is None:
            return  # PostgreSQL sees to it by itself
        try:
            give_back(self.engine, stop)
        except DBAPIError as error:
            raise _store_error(error) from error
        self._reserve.fill(again=again)

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
            found = _store_error(error)
            if isinstance(found, DamagedStoreError):
                found = DamagedStoreError(_damaged(self.file, str(found)))
            raise found from error

    def try_to_write(self) -> None:
        """Raise StoreError where nothing can be written now: only a commit shows it."""
        with suppress(IntegrityError), self.write() as connection:  # another's, at this moment
            now = moment(connection)
            written = connection.execute(update(probes).values(moment=now))
            if not written.rowcount:
                connection.execute(insert(probes).values(id=1, moment=now))

    @property
    def alone(self) -> bool:
        """Whether one server owns the store (SQLite in a data folder)."""
        return self.engine.dialect.name == "sqlite"

    def check(self) -> None:
        """Raise DamagedStoreError where the file is not whole."""
        try:
            wrong = None if self.file is None else whats_wrong(self.engine)
        except DBAPIError as error:
            raise _store_error(error) from error
        if wrong is not None:
            raise DamagedStoreError(_damaged(self.file, wrong))

    def copy_to(self, file: Path) -> None:
        """A sound copy of a store in a file, while others use it. Raises StoreError, OSError."""
        assert self.file is not None
        copy_file(self.file, file)

    def rebuild(self) -> None:
        """Rewrite a file of an older version, so that it can shrink; without room it stays."""
        if self.file is None:
            return
        try:
            can_shrink(self.engine)
        except DBAPIError as error:
            _LOG.warning("the store's file cannot shrink: %s", error.orig)

    def close(self) -> None:
        self.engine.dispose()


def _store_error(error: DBAPIError) -> Exception:
    """Trouble of the store in our words; a defect of ours (a broken rule of a table) as it is."""
    said = str(error.orig)
    if any(word in said for word in _FULL):
        return FullStoreError(said)
    if any(word in said for word in _DAMAGED):
        _LOG.error("the store is damaged: %s", said)
        return DamagedStoreError(said)
    if type(error).__name__ in ("OperationalError", "InternalError", "InterfaceError"):
        return StoreError(said)
    return error


def _damaged(file: Path | None, said: str) -> str:
    return (
        f"{file} is damaged ({said}). Stop all that uses it and put a backup in its place (without "
        "its -wal and -shm files); where there is none, `sqlite3 FILE .recover` saves what can be "
        "read."
    )


def sqlite_url(folder: Path) -> str:
    return f"sqlite:///{folder / 'strategist.sqlite3'}"


def open_database(url: str, connections: int = 40) -> Database:
    """The database with its tables, which are made or brought up to date where need be.

    Raises StoreError where it cannot be used, and says what to do: SchemaError where its tables
    are not ours, DamagedStoreError where the file is not whole.
    """
    known = make_url(url)
    if known.get_backend_name() == "sqlite":
        own_mode(Path(known.database or ""))
        engine = sqlite_engine(url, connections)
    else:
        engine = create_engine(url, pool_size=connections, pool_pre_ping=True)
    database = Database(engine)
    for attempt in range(3):  # two processes may make the tables at the same moment
        try:
            prepare(database.engine)
            refuse_foreign_tables(database.engine)
            return database
        except SchemaError as error:
            raise StoreError(f"{known.render_as_string()}: {error}") from None
        except DBAPIError as error:
            found = _store_error(error)
            if isinstance(found, DamagedStoreError):
                raise DamagedStoreError(_damaged(database.file, str(found))) from error
            if attempt == 2:
                raise found from error
            if isinstance(found, FullStoreError):  # even to open a file may take room
                database.let_go_of_room()
            time.sleep(0.2)
    raise AssertionError("not reached")
