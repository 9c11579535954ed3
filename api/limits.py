"""What one client may ask for; published at /v1, and each excess has its own clear answer."""

from __future__ import annotations

from dataclasses import dataclass

from strategist import CHANGES_MAX

INTERACTIVE_TIME_S = 30.0  # of an answer that the client waits for
LATER_S = 600.0  # until a worker takes up an answer that the client asks for again
CHECK_TIME_S = 120.0  # until a survey is checked and accepted
BATCH_TIME_S = 600.0  # of each read point of a batch
INTERACTIVE_GRACE_S = 8.0  # reading the survey, and what a solve does before it looks at its clock
BATCH_GRACE_S = 15.0  # the same where nobody waits; then the worker is ended
READ_POINTS_OF_BATCH = 1000
ENTRIES = 10  # of a comparison
CHANGES = CHANGES_MAX  # keys set in a what-if
PAGE = 100  # items of a list
TEMPLATES = 1000  # different strategies for a batch
POWER_ENTRIES = 1000  # of a reader's power table
ANSWER_BYTES = 2_000_000  # of one answer as JSON
WORKER_MIB = 2048  # of memory that a worker may take, unless it is told otherwise


@dataclass(frozen=True)
class Limits:
    """Limits that the server may be started with; bytes of a body, counts where nothing is said."""

    upload_bytes: int = 64 * 2**20
    request_bytes: int = 2**20  # of any body but a survey's
    request_values: int = 20_000  # in such a body: numbers, texts, lists, objects
    site_values: int = 500_000  # in the site of a survey
    read_points: int = 500  # of a survey
    rows: int = 2_000_000  # of a table of a survey
    passes: int = 20_000  # of a read point
    requests: int = 12  # of a client at once, those that wait among them
    waiting_interactive: int = 4  # answers that a client waits for
    waiting_interactive_all: int = 16  # over all clients
    waiting_batch: int = 10_000  # read points of a client's batches not yet solved
    waiting_batch_all: int = 50_000
    streams: int = 4  # result streams of a client at once
    streams_all: int = 12
    stored_bytes: int = 4 * 2**30  # of a client, deflated as they are stored
    half_open: int = 64  # connections of an address whose request is not whole yet
    incoming_bytes: int = 128 * 2**20  # of bodies that a client is sending
    worker_mib: int = WORKER_MIB  # of memory that a worker of this server may take
