"""What one client may ask for; published at /v1, and each excess has its own clear answer."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "ANSWER_BYTES",
    "BATCH_TIME_S",
    "CHANGES",
    "CHECK_TIME_S",
    "ENTRIES",
    "PAGE",
    "POWER_ENTRIES",
    "PROMPT_TIME_S",
    "READ_POINTS_OF_BATCH",
    "TEMPLATES",
    "WORKER_MIB",
    "Limits",
]

PROMPT_TIME_S = 30.0  # of an answer that the client waits for
CHECK_TIME_S = 120.0  # until a survey is checked and accepted
BATCH_TIME_S = 600.0  # of each read point of a batch
READ_POINTS_OF_BATCH = 1000
ENTRIES = 10  # of a comparison
CHANGES = 50  # keys set in a what-if
PAGE = 100  # items of a list
TEMPLATES = 1000  # different strategies for a batch
POWER_ENTRIES = 1000  # of a reader's power table
ANSWER_BYTES = 2_000_000  # of one answer as JSON
WORKER_MIB = 2048  # of memory that a worker may take


@dataclass(frozen=True)
class Limits:
    """Limits that the server may be started with; bytes of a body, counts of all else."""

    upload_bytes: int = 64 * 2**20
    request_bytes: int = 2**20  # of any body but a survey's
    request_values: int = 20_000  # in such a body: numbers, texts, lists, objects
    site_values: int = 500_000  # in the site of a survey
    read_points: int = 500  # of a survey
    rows: int = 2_000_000  # of a table of a survey
    passes: int = 20_000  # of a read point
    waiting_prompt: int = 8  # answers being waited for, over all clients
    waiting_batch: int = 10_000  # read points of batches not yet solved, over all clients
    streams: int = 4  # result streams at once
