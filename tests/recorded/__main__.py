"""`python -m tests.recorded [FILE …]`: record what is answered now, and print what that changes."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from tests.recorded import record

_HERE = Path(__file__).parent


def main(files: list[str]) -> int:
    """Record anew; where all is recorded, what is of no test any more goes."""
    answers = _HERE / "answers"
    before = {path: record.read(path) for path in sorted(answers.glob("*.json"))}
    os.environ["RECORD_ANSWERS"] = "1"
    named = _Named()
    status = pytest.main(["-q", "-s", "-n0", *(files or [str(_HERE)])], plugins=[named])
    for path, by_test in before.items():
        gone = sorted(set(by_test) - named.tests)
        if gone and not files and not status:
            print(*(f"removed: {test}" for test in gone), sep="\n")
            record.drop(path, gone)
    return int(status)


class _Named:
    """The names of the tests that there are."""

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        self.tests = {item.name for item in items}


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
