"""Writing files whole, and lines that tell whether they are as they were written."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from strategist.errors import InputError
from strategist.survey.tables import reason

_SEAL = re.compile(rb',"checksum":"([0-9a-f]{16})"}\Z')


def refuse_target(path: str | Path) -> None:
    """Raise InputError where a file cannot be written: to be asked before the work begins."""
    try:
        target = Path(path).resolve()
        if target.is_dir():
            raise InputError.one(str(path), "a folder", "the name of a file", wrong="is a folder")
        if target.exists() and not target.is_file():
            allowed = "the name of a file, or - for standard output"
            raise InputError.one(str(path), "no file", allowed, wrong="is no regular file")
        if not target.parent.is_dir():
            wrong = f"the folder {Path(path).parent} does not exist"
            raise InputError.one(str(path), "", "a file in a folder that exists", wrong=wrong)
        if not os.access(target.parent, os.W_OK):
            wrong = f"you may not write into {Path(path).parent}"
            raise InputError.one(
                str(path), "", "a file in a folder that you may write to", wrong=wrong
            )
    except (OSError, ValueError, RuntimeError) as error:  # a name that no file system takes
        raise _refused(path, error) from None


def write_whole(path: str | Path, text: str) -> None:
    """Write a UTF-8 text whole or not at all; raises InputError where that fails."""
    with written_whole(path) as file:
        file.write(text)


@contextlib.contextmanager
def written_whole(path: str | Path) -> Iterator[TextIO]:
    """A UTF-8 file to write to, under a temporary name beside `path`, put in its place at the end.

    Raises InputError where that fails; what stood there before then stands there still.
    """
    refuse_target(path)
    target = Path(path).resolve()
    beside = target.with_name(f".strategist-{os.getpid()}.part")
    try:
        with beside.open("x", encoding="utf-8", newline="\n") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    except OSError as error:
        raise _refused(path, error) from None
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)


def _refused(path: str | Path, error: Exception) -> InputError:
    wrong = f"cannot be written: {reason(error)}"
    return InputError.one(str(path), "", "a file that can be written", wrong=wrong)


def sealed(text: str) -> str:
    """A JSON object as text with a key `checksum` more, of all that stands before it."""
    return f'{text[:-1]},"checksum":"{_sum(text[:-1].encode())}"}}'


def is_sealed(line: bytes) -> bool | None:
    """Whether a line is as it was written; None where it has no checksum, as in older versions."""
    found = _SEAL.search(line)
    if found is None:
        return None if b'"checksum"' not in line else False
    return found[1].decode() == _sum(line[: found.start()])


def _sum(content: bytes) -> str:
    return hashlib.blake2b(content, digest_size=8).hexdigest()
