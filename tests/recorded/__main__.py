"""`python -m tests.recorded [FILE …]`: record what is answered now, and print what that changes."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

_HERE = Path(__file__).parent


def main(files: list[str]) -> int:
    """Record anew; of no test any more: removed, where all are run."""
    before = {path: path.stat().st_mtime_ns for path in _HERE.glob("answers/*/*.json")}
    os.environ["RECORD_ANSWERS"] = "1"
    status = pytest.main(["-q", "-s", "-n0", *(files or [str(_HERE)])])
    for path, written in before.items():
        if not files and not status and path.stat().st_mtime_ns == written:
            print(f"removed: {path.name}")
            path.unlink()
    return int(status)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
