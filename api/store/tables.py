"""The tables of the store. Times are seconds since 1970 as floats; documents are JSON text."""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)

__all__ = ["batches", "jobs", "keys", "metadata", "probes", "survey_files", "surveys", "tokens"]

metadata = MetaData()

tokens = Table(
    "tokens",
    metadata,
    Column("digest", String(64), primary_key=True),  # SHA-256 of the token, which is never kept
    Column("client", String(64), nullable=False, index=True),
    Column("created", Float, nullable=False),
)

surveys = Table(
    "surveys",
    metadata,
    Column("id", String(40), primary_key=True),
    Column("client", String(64), nullable=False),
    Column("created", Float, nullable=False),
    Column("label", Text, nullable=False),
    Column("digest", String(64), nullable=False),  # SHA-256 of the contents as given
    Column("summary", Text, nullable=False),
    Index("surveys_by_client", "client", "created", "id"),
)

survey_files = Table(
    "survey_files",
    metadata,
    Column("survey", String(40), ForeignKey("surveys.id", ondelete="CASCADE"), primary_key=True),
    Column("name", String(20), primary_key=True),
    Column("content", LargeBinary, nullable=False),  # as given, deflated
)

batches = Table(
    "batches",
    metadata,
    Column("id", String(40), primary_key=True),
    Column("client", String(64), nullable=False),
    Column("created", Float, nullable=False),
    Column("label", Text, nullable=False),
    Column("total", Integer, nullable=False),
    Column("cancelled", Float),
    Index("batches_by_client", "client", "created", "id"),
)

# One row is one answer: asked for alone, or as the read point at `position` of a batch.
jobs = Table(
    "jobs",
    metadata,
    Column("id", String(40), primary_key=True),
    Column("client", String(64), nullable=False),
    Column("created", Float, nullable=False),
    Column("kind", String(20), nullable=False),
    Column("label", Text, nullable=False),
    Column("batch", String(40), ForeignKey("batches.id")),
    Column("position", Integer, nullable=False),
    Column("survey", String(40), nullable=False),  # "" for an answer on a whole batch
    Column("survey_digest", String(64), nullable=False),
    Column("read_point", Text, nullable=False),
    Column("request", Text, nullable=False),
    Column("state", String(10), nullable=False),
    Column("worker", String(80)),
    Column("lease_until", Float),
    Column("deadline", Float),  # of an answer that a client waits for
    Column("attempts", Integer, nullable=False),  # that ended with the end of the worker
    Column("finished", Float),
    Column("result", Text),
    Column("error", Text),
    Index("jobs_to_do", "state", "deadline", "created", "position"),
    Index("jobs_by_batch", "batch", "position"),
    Index("jobs_by_client", "client", "kind", "state", "created", "id"),
    Index("jobs_by_survey", "survey", "state"),
)

keys = Table(
    "keys",
    metadata,
    Column("client", String(64), primary_key=True),
    Column("key", String(200), primary_key=True),
    Column("created", Float, nullable=False),
    Column("path", Text, nullable=False),
    Column("digest", String(64), nullable=False),  # SHA-256 of what was asked
    Column("nonce", String(32), nullable=False),  # from which the ids of what is made follow
    Column("lease_until", Float, nullable=False),
    Column("status", Integer),  # None while the first request is in progress
    Column("headers", Text),
    Column("body", Text),
)

# One row, written to see whether anything can be written.
probes = Table(
    "probes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("moment", Float, nullable=False),
)
