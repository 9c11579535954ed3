"""A bound on the memory of a process, so that a large survey ends in a refusal, not a machine."""

from __future__ import annotations

import contextlib
import resource


def limit_memory(mebibytes: int) -> None:
    """Let this process take no more memory of its own than that; beyond it, MemoryError is raised.

    Counted is what can be written to (RLIMIT_DATA), not the libraries and the address space that
    they reserve. A lower limit that the process was started with stays.
    """
    asked = mebibytes << 20
    _, most = resource.getrlimit(resource.RLIMIT_DATA)
    if most != resource.RLIM_INFINITY:
        asked = min(asked, most)
    with contextlib.suppress(OSError, ValueError):  # a system without such limits
        resource.setrlimit(resource.RLIMIT_DATA, (asked, asked))
