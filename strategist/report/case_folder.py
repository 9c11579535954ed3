"""Writing a case: a new folder, whole or not at all."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping
from pathlib import Path

from strategist.errors import InputError

_ALLOWED = "a folder that does not exist yet, or is empty, since nothing is overwritten"


def refuse_folder(folder: str | Path) -> None:
    """Raise InputError where no new folder can be made: to be asked before the work begins."""
    try:
        target = Path(folder).resolve()
        if target.exists() and (not target.is_dir() or any(target.iterdir())):
            found = "a folder with files" if target.is_dir() else "a file"
            raise InputError.one(str(folder), "", _ALLOWED, wrong=found)
        if not target.parent.is_dir():
            found = f"no folder {target.parent}"
            raise InputError.one(str(folder), "", "a new folder in one that exists", wrong=found)
        if not os.access(target.parent, os.W_OK):
            raise InputError.one(
                str(folder), "", _ALLOWED, wrong=f"no right to write in {target.parent}"
            )
    except (OSError, ValueError, RuntimeError) as error:  # a name that no file system takes
        raise _refused(folder, error) from None


def write_case(folder: str | Path, files: Mapping[str, str]) -> None:
    """Write the files (name → text) into a new folder; raises InputError where that fails."""
    refuse_folder(folder)
    target = Path(folder).resolve()
    beside = target.with_name(f".strategist-{os.getpid()}-{target.name}.part")
    try:
        beside.mkdir()
        for name, text in files.items():
            with (beside / name).open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
        if target.exists():
            target.rmdir()
        beside.rename(target)
    except OSError as error:
        raise _refused(folder, error) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _refused(folder: str | Path, error: Exception) -> InputError:
    why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return InputError.one(str(folder), "", "a folder that can be made", wrong=why)
