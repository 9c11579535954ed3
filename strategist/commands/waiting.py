"""A line on standard error while an answer takes long: at a terminal, and nowhere else."""

from __future__ import annotations

import contextlib
import sys
import threading
import time
from collections.abc import Iterator

import strategist

_QUIET_S = 2.0  # before the first line
_EVERY_S = 0.5


@contextlib.contextmanager
def waiting_for(name: str) -> Iterator[None]:
    """Say how long an answer takes and how far it is, over and over in one line.

    Where standard error is no terminal nothing is said.
    """
    if sys.stderr is None or not sys.stderr.isatty():
        yield
        return
    line = _Line(name)
    thread = threading.Thread(target=line.draw, daemon=True)
    thread.start()
    try:
        with strategist.watched_by(line.note):
            yield
    finally:
        line.over.set()
        thread.join()


class _Line:
    def __init__(self, name: str) -> None:
        self.over = threading.Event()
        self._name = name
        self._started = time.monotonic()
        self._found = ""

    def note(self, reached: strategist.Reached) -> None:
        known = ""
        if reached.loss is not None and reached.bound is not None:
            known = f", loss {reached.loss:g} found, none below {max(0.0, reached.bound):g}"
        self._found = known + (f"; {reached.stage}" if reached.stage else "")

    def draw(self) -> None:
        if self.over.wait(_QUIET_S):
            return
        while True:
            text = f"{self._name}: {time.monotonic() - self._started:.0f} s{self._found}"
            self._print(f"\r{text[:79]}\x1b[K")
            if self.over.wait(_EVERY_S):
                self._print("\r\x1b[K")
                return

    @staticmethod
    def _print(text: str) -> None:
        with contextlib.suppress(OSError, ValueError, AttributeError):  # it may be closed by now
            print(text, end="", file=sys.stderr, flush=True)
