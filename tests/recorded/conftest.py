from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from tests.recorded import record

_ANSWERS = Path(__file__).parent / "answers"


@pytest.fixture
def recorded(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Holds a value against what was recorded for the test (`less`: keys left out)."""
    name = re.sub(r"[^\w.-]+", "-", request.node.name).strip("-")
    path = _ANSWERS / request.node.path.stem.removeprefix("test_") / f"{name}.json"

    def same(value: Any, less: Sequence[str] = ()) -> None:
        now, before = record.flat(value, less), record.read(path)
        found = record.changes(before, now)
        if os.environ.get("RECORD_ANSWERS"):
            print(*(f"{path.stem}  {change}" for change in found), sep="\n")
            record.write(path, now)
            return
        assert before, f"nothing is recorded in {path.name}: run python -m tests.recorded"
        assert not found, "\n".join(found[:20])

    return same
