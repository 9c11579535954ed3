"""One run at a time in a folder."""

from __future__ import annotations

import fcntl
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from strategist.batch.lines import open_own
from strategist.errors import InputError

_NAME = ".lock"
_BEGIN = b"process "  # of what stands in it


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Hold a folder; raises InputError where another run does, or the lock file is not ours.

    The system lets go of the lock when its process ends, however it ends, so a lock file that was
    left behind locks nothing.
    """
    path = folder / _NAME
    with open_own(path) as file:
        file.seek(0)
        found = file.read(200)
        if not (found.startswith(_BEGIN) or _BEGIN.startswith(found)):
            shown = found[:40].decode("utf-8", "replace")
            wrong, todo = f'"{shown}" is no lock of a batch', "Move the file away."
            raise InputError.one(str(path), shown, todo, wrong=wrong)
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            who = found.decode("utf-8", "replace").strip() or "another run"
            todo = "Wait until that run has ended, or give another folder."
            raise InputError.one(str(folder), who, todo, wrong=f"is in use by {who}") from None
        file.truncate(0)
        file.write(f"process {os.getpid()} on {socket.gethostname()}\n".encode())
        file.flush()
        yield
