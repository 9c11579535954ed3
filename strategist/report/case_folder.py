"""Writing a case: a new folder, whole or not at all."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping
from pathlib import Path

from strategist.errors import InputError
from strategist.survey.tables import reason

_ALLOWED = "a folder that does not exist yet, or is empty: nothing is overwritten"


def refuse_folder(folder: str | Path) -> None:
    """Raise InputError where no new folder can be made: to be asked before the work begins."""
    try:
        target = Path(folder).resolve()
        if target.exists() and (not target.is_dir() or any(target.iterdir())):
            wrong = "is a folder that holds files" if target.is_dir() else "is a file"
            raise InputError.one(str(folder), "", _ALLOWED, wrong=wrong)
        if not target.parent.is_dir():
            wrong = f"the folder {Path(folder).parent} does not exist"
            raise InputError.one(str(folder), "", "a new folder in one that exists", wrong=wrong)
        if not os.access(target.parent, os.W_OK):
            wrong = f"you may not write into {Path(folder).parent}"
            raise InputError.one(
                str(folder), "", "a folder in one that you may write to", wrong=wrong
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
    wrong = f"cannot be made: {reason(error)}"
    return InputError.one(str(folder), "", "a folder that can be made", wrong=wrong)
