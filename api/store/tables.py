"""The tables of the store. Times are seconds since 1970 by the
database's clock, as floats; documents are JSON text.
"""

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

metadata = MetaData()

tokens = Table(
    "tokens",
    metadata,
    Column("digest", String(64), primary_key=True),  # SHA-256 of the token, which is never kept
    Column("client", String(64), nullable=False, index=True),
    Column("created", Float, nullable=False),
)

# Of browsers; what is kept of a session is as little as of a token.
sessions = Table(
    "sessions",
    metadata,
    Column("digest", String(64), primary_key=True),  # SHA-256 of what the browser keeps
    Column("token", String(64), nullable=False, index=True),  # digest of the token it came with
    Column("created", Float, nullable=False),
    Column("expires", Float, nullable=False),
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
    Column("size", Integer, nullable=False, server_default="0"),  # bytes stored
    Index("surveys_by_client", "client", "created", "id"),
    Index("surveys_sizes", "client", "size"),
    Index("surveys_by_age", "created"),
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
    Column("last_seq", Integer, nullable=False, server_default="0"),  # of its jobs
    Index("batches_by_age", "created"),
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
    Column("worker", String(80)),  # who is at it, even after it was cancelled
    Column("lease_until", Float),
    Column("deadline", Float),  # of an answer that a client waits for
    Column("limit_s", Float),  # how long a worker may be at it
    Column("ends_by", Float),  # when its worker is ended
    Column("attempts", Integer, nullable=False),  # that ended with the end of the worker
    Column("progress", Text),  # of a solve that is worked at: JSON, written about once a second
    Column("finished", Float),
    Column("seq", Integer),  # of those of a batch that are finished: in the order of commits
    Column("size", Integer, nullable=False, server_default="0"),  # bytes stored
    Column("result", Text),
    Column("error", Text),
    Index("jobs_to_do", "state", "deadline", "created", "position"),
    Index("jobs_at_work", "worker"),
    Index("jobs_by_seq", "batch", "seq"),
    Index("jobs_by_age", "batch", "created"),
    Index("jobs_sizes", "client", "size"),
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
    Column("size", Integer, nullable=False, server_default="0"),
    Index("keys_by_age", "created"),
    Index("keys_sizes", "client", "size"),
)

# When each client's work was last taken up, and when it last asked, so that clients take turns.
turns = Table(
    "turns",
    metadata,
    Column("client", String(64), primary_key=True),
    Column("served", Float, nullable=False),
    Column("asked", Float, nullable=False),
)

# One row: which version of these tables the store has.
versions = Table(
    "versions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("version", Integer, nullable=False),
)

# One row, written to see whether anything can be written.
probes = Table(
    "probes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("moment", Float, nullable=False),
)
