from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from tests.recorded import record

_ANSWERS = Path(__file__).parent / "answers"


@pytest.fixture
def recorded(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Holds a value against what was recorded for the test (`less`: keys left out)."""
    test = request.node.name
    path = _ANSWERS / f"{request.node.path.stem.removeprefix('test_')}.json"

    def same(value: Any, less: Sequence[str] = ()) -> None:
        now, before = record.flat(value, less), record.read(path).get(test, {})
        found = record.changes(before, now)
        if os.environ.get("RECORD_ANSWERS"):
            print(*(f"{test}  {change}" for change in found), sep="\n")
            record.write(path, test, now)
            return
        assert before, f"nothing is recorded for {test}: run python -m tests.recorded"
        assert not found, "\n".join(found[:20])

    return same
