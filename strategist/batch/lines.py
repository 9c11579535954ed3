"""A file of JSON lines that only grows while a batch runs, and survives its death at any moment."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from strategist.errors import InputError
from strategist.report.output import written_whole

__all__ = ["Lines", "read_lines"]

_BLOCK = 1 << 20


class Lines:
    """One JSON object a line. A line without its end, left by a death, is cut off on opening."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with _said_as_input(path):
            self._file = path.open("a+b")
            end = self._end_of_last_line()
            if end < self._file.seek(0, os.SEEK_END):
                self._file.truncate(end)
                os.fsync(self._file.fileno())

    def close(self) -> None:
        self._file.close()

    def _end_of_last_line(self) -> int:
        at = self._file.seek(0, os.SEEK_END)
        while at > 0:
            start = max(0, at - _BLOCK)
            self._file.seek(start)
            found = self._file.read(at - start).rfind(b"\n")
            if found >= 0:
                return start + found + 1
            at = start
        return 0

    def append(self, texts: Sequence[str]) -> list[int]:
        """Add lines and return where each begins, once all are on disk."""
        coded = [text.encode() + b"\n" for text in texts]
        with _said_as_input(self.path):
            at = self._file.seek(0, os.SEEK_END)
            self._file.write(b"".join(coded))
            self._file.flush()
            os.fsync(self._file.fileno())
        begins = []
        for line in coded:
            begins.append(at)
            at += len(line)
        return begins

    def each(self) -> Iterator[tuple[int, dict[str, Any]]]:
        """(where it begins, object) of each line; raises InputError as `read_lines`."""
        return read_lines(self.path)

    def reorder(self, begins: Iterable[int]) -> None:
        """Keep the lines that begin at `begins`, in that order: all at once, by renaming."""
        with self.path.open("rb") as file, written_whole(self.path) as target:
            for begin in begins:
                file.seek(begin)
                target.write(file.readline().decode())
        self._file.close()
        self._file = self.path.open("a+b")


@contextlib.contextmanager
def _said_as_input(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        allowed = "a file that can be written, with room for it"
        raise InputError.one(str(path), error.strerror or str(error), allowed) from None


def read_lines(path: Path) -> Iterator[tuple[int, dict[str, Any]]]:
    """(where it begins, object) of each whole line of a file of a batch.

    Raises InputError where a line is none that a batch writes.
    """
    with path.open("rb") as file:
        at = 0
        for number, line in enumerate(file, 1):
            if not line.endswith(b"\n"):
                return
            try:
                found = json.loads(line)
            except ValueError:
                found = None
            if not isinstance(found, dict) or "case" not in found:
                shown = line[:80].decode("utf-8", "replace").strip()
                allowed = "a line that a batch wrote; move the file away to start anew"
                raise InputError.one(str(path), shown, allowed, line=number)
            yield at, found
            at += len(line)
