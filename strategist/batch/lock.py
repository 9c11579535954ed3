"""One run at a time in a folder."""

from __future__ import annotations

import fcntl
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from strategist.errors import InputError

__all__ = ["alone_in"]

_NAME = ".lock"


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Hold a folder; raises InputError where another run does.

    The system lets go of the lock when its process ends, however it ends, so a lock file that was
    left behind locks nothing.
    """
    with (folder / _NAME).open("a+", encoding="utf-8") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.seek(0)
            found = f"in use by {file.read().strip() or 'another run'}"
            allowed = "a folder that no other run writes to"
            raise InputError.one(str(folder), found, allowed) from None
        file.truncate(0)
        file.write(f"process {os.getpid()} on {socket.gethostname()}\n")
        file.flush()
        yield
