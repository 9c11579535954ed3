"""A file of JSON lines that only grows while a batch runs, and survives its death at any moment.

Each line ends with a checksum. What has none, or not its own, is not believed: damage costs the
lines that it touched, never the others.
"""

from __future__ import annotations

import contextlib
import json
import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO

from strategist.errors import InputError
from strategist.report.output import is_sealed, sealed, written_whole
from strategist.survey.tables import reason

_BLOCK = 1 << 20
_BEGIN = b'{"case":'  # of every line that a batch writes
_FLAGS = os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC | os.O_NOFOLLOW


def open_own(path: Path) -> BinaryIO:
    """Open a file of a batch's folder to read and append to, made where it is lacking.

    Raises InputError where it is a link or no regular file: what it leads to is not ours.
    """
    with _said_as_input(path):
        if path.is_symlink():
            todo = "Remove it, or give another folder."
            raise InputError.one(
                str(path), "a link", todo, wrong="is a link, which is not followed"
            )
        file = os.fdopen(os.open(path, _FLAGS, 0o666), "a+b")
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            file.close()
            todo = "Remove it, or give another folder."
            raise InputError.one(str(path), "no file", todo, wrong="is no regular file")
        return file


class Lines:
    """One JSON object a line. A line without its end, left by a death, is cut off on opening.

    `doubtful` counts the lines that were not believed when the file was last read. Raises
    InputError where the file has lines and none looks like one of a batch.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.doubtful = 0
        self._file = open_own(path)
        with _said_as_input(path):
            self._refuse_foreign()
            end = self._end_of_last_line()
            if end < self._file.seek(0, os.SEEK_END):
                self._file.truncate(end)
                os.fsync(self._file.fileno())

    def close(self) -> None:
        self._file.close()

    def _refuse_foreign(self) -> None:
        """Nothing is cut off or overwritten in a file that another program wrote."""
        self._file.seek(0)
        first = b""
        for line in self._file:
            first = first or line
            if line.startswith(_BEGIN) or (_BEGIN.startswith(line) and not line.endswith(b"\n")):
                return
        if first:
            self._file.close()
            shown = first[:80].decode("utf-8", "replace").strip()
            wrong = f'"{shown}" is no line that a batch wrote'
            todo = "Give another folder, or move the file away to start anew."
            raise InputError.one(str(self.path), shown, todo, line=1, wrong=wrong)

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
        coded = [sealed(text).encode() + b"\n" for text in texts]
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
        """(where it begins, object) of each line that can be believed; the others are counted."""
        self.doubtful = 0
        with _said_as_input(self.path):
            for at, _, line in _whole_lines(self.path):
                found = _believed(line)
                if found is None:
                    self.doubtful += 1
                else:
                    yield at, found

    def reorder(self, begins: Iterable[int]) -> None:
        """Keep the lines that begin at `begins`, in that order: all at once, by renaming."""
        with _said_as_input(self.path):
            with self.path.open("rb") as file, written_whole(self.path) as target:
                for begin in begins:
                    file.seek(begin)
                    target.write(file.readline().decode())
            self._file.close()
            self._file = open_own(self.path)


@contextlib.contextmanager
def _said_as_input(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        todo = "Make room, and see that the file may be written."
        if not path.parent.is_dir():
            todo = "Leave its folder where it is while a batch runs."
        wrong = f"cannot be written: {reason(error)}"
        raise InputError.one(str(path), "", todo, wrong=wrong) from None


def _whole_lines(path: Path) -> Iterator[tuple[int, int, bytes]]:
    """(where it begins, its number from 1, the line) of each line that has its end."""
    with path.open("rb") as file:
        at = 0
        for number, line in enumerate(file, 1):
            if not line.endswith(b"\n"):
                return
            yield at, number, line[:-1]
            at += len(line)


def _believed(line: bytes) -> dict[str, Any] | None:
    """The object of a line that is as a batch wrote it."""
    if not is_sealed(line):
        return None
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return found if _is_of_batch(found) else None


def _is_of_batch(found: Any) -> bool:
    """Whether a value has the keys by which lines are found again, each of its type."""
    if not isinstance(found, dict) or not isinstance(found.get("case"), str):
        return False
    named = all(isinstance(found.get(key), (str, type(None))) for key in ("read_point", "hash"))
    held = [found[key] for key in ("result", "error", "heard") if key in found]
    return named and bool(held) and all(isinstance(one, dict) for one in held)


def read_lines(path: Path) -> Iterator[dict[str, Any]]:
    """The object of each whole line of a file of a batch.

    Raises InputError where a line cannot be believed.
    """
    for _, number, line in _whole_lines(path):
        found = _believed(line)
        if found is None:
            bare = is_sealed(line) is None
            wrong = "the line has no checksum" if bare else "the line is damaged"
            todo = "Run the batch again: it does only such lines anew."
            raise InputError.one(str(path), "", todo, line=number, wrong=wrong)
        yield found
