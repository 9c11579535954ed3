"""The version of the tables: made, brought up to date, or refused with a word what to do."""

from __future__ import annotations

from sqlalchemy import Connection, Engine, insert, inspect, select, text, update
from sqlalchemy.schema import CreateColumn

from .tables import metadata, versions

VERSION = 3  # 2: without progress; 1: without sessions, with other names; 0: unnumbered
_LOCK = 8_420_001  # of PostgreSQL, so that one process at a time makes or changes tables
# What rows from before version 1 have in the columns that came with it.
_FILL = (
    "UPDATE surveys SET size = (SELECT COALESCE(SUM(LENGTH(content)), 0) FROM survey_files "
    "WHERE survey_files.survey = surveys.id)",
    "UPDATE jobs SET size = LENGTH(request) + COALESCE(LENGTH(result), 0)",
    "UPDATE jobs SET seq = position + 1 WHERE batch IS NOT NULL AND finished IS NOT NULL",
    "UPDATE batches SET last_seq = total + 1",
    "UPDATE keys SET size = COALESCE(LENGTH(body), 0)",
)
# Answers that are kept under another name since version 2; what they hold stays as it was made.
_RENAMED = (
    *(
        f"UPDATE jobs SET kind = '{now}' WHERE kind = '{before}'"
        for before, now in (
            ("judgement", "assessment"),
            ("frontier", "trade_offs"),
            ("techniques", "trade_offs"),
            ("what_if", "trade_offs"),
            ("evaluation", "comparison"),
            ("coupling", "cross_reads"),
        )
    ),
    "UPDATE jobs SET request = REPLACE(request, '\"prover\"', '\"method\"') "
    "WHERE state IN ('waiting', 'running')",
)


class SchemaError(Exception):
    """Tables that this program cannot work with."""


def prepare(engine: Engine) -> None:
    """Make the tables where there are none; bring older ones up to date, whole or not at all."""
    with engine.connect() as connection, connection.begin():
        found = _version(connection)
    if found == VERSION:
        return
    if found is not None and found > VERSION:
        raise SchemaError(
            f"a newer strategist made this store (version {found}; this one knows {VERSION}). "
            "Install that one again, or put back a backup from before."
        )
    begin = {"strategist_begin": "BEGIN IMMEDIATE"}
    with engine.connect().execution_options(**begin) as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            connection.execute(text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
        if _version(connection) != VERSION:  # else another process has just done it
            _bring_up(connection, found)


def _version(connection: Connection) -> int | None:
    """The version of the tables, 0 where they are older than versions; None: there are none."""
    known = set(inspect(connection).get_table_names())
    if versions.name in known:
        return connection.execute(select(versions.c.version)).scalar_one_or_none() or 0
    return 0 if "jobs" in known else None


def _bring_up(connection: Connection, found: int | None) -> None:
    metadata.create_all(connection)
    if found is not None:
        _add_missing(connection)
    if found == 0:
        for statement in _FILL:
            connection.execute(text(statement))
    if found is not None:
        for statement in _RENAMED:
            connection.execute(text(statement))
    changed = connection.execute(update(versions).values(version=VERSION))
    if not changed.rowcount:
        connection.execute(insert(versions).values(id=1, version=VERSION))


def _add_missing(connection: Connection) -> None:
    for table in metadata.sorted_tables:
        there = {column["name"] for column in inspect(connection).get_columns(table.name)}
        for column in table.columns:
            if column.name not in there:
                what = CreateColumn(column).compile(dialect=connection.dialect)
                connection.execute(text(f"ALTER TABLE {table.name} ADD COLUMN {what}"))
        for index in table.indexes:
            index.create(connection, checkfirst=True)


def refuse_foreign_tables(engine: Engine) -> None:
    """Raise SchemaError where a table or a column is missing, although the version is right."""
    with engine.connect() as connection, connection.begin():
        look = inspect(connection)
        known = set(look.get_table_names())
        for table in metadata.sorted_tables:
            there = (
                {column["name"] for column in look.get_columns(table.name)}
                if table.name in known
                else set()
            )
            missing = [column.name for column in table.columns if column.name not in there]
            if missing:
                raise SchemaError(
                    f"the table {table.name} lacks {', '.join(missing)}. It was changed by "
                    "something else than strategist; put back a backup."
                )
