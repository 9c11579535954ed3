"""The recording itself: what it takes for the same, and what not."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from tests.recorded.record import changes, drop, flat, read, write


@dataclass
class Held:
    part: dict[str, object]
    row: np.ndarray


def test_values_by_path() -> None:
    held = Held({"a": 1, "seconds": 3.2, "deep": [{"b": None}, {"b": float("inf")}]}, np.arange(3))
    assert flat(held, less=["seconds"]) == {
        "part.a": 1,
        "part.deep.0.b": None,
        "part.deep.1.b": "inf",
        "row": [0, 1, 2],
    }


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        ({"a": 1.0}, {"a": 1.0 + 1e-10}, []),
        ({"a": 1.0}, {"a": 1}, []),
        ({"a": 1.0}, {"a": 1.00001}, ["a: 1.0 → 1.00001"]),
        ({"a": 1}, {"a": 2}, ["a: 1 → 2"]),
        ({"a": 1}, {"a": True}, ["a: 1 → True"]),
        ({"a": [1, 2.0]}, {"a": [1, 2.5]}, ["a: [1, 2.0] → [1, 2.5]"]),
        ({"a": [1]}, {"a": [1, 2]}, ["a: [1] → [1, 2]"]),
        ({"a": "kept"}, {}, ["a: 'kept' → '(none)'"]),
        ({}, {"a": None}, ["a: '(none)' → None"]),
    ],
)
def test_changes(before: dict, after: dict, found: list[str]) -> None:
    assert changes(before, after) == found


def test_written_and_read(tmp_path: Path) -> None:
    file = tmp_path / "new" / "one.json"
    values, other = flat({"tag": "952", "loss": [0.1, None], "none": {}}), flat({"b": 2})
    write(file, "test_b", values)
    write(file, "test_a", other)
    assert read(file) == {"test_a": other, "test_b": values}
    write(file, "test_b", other)
    assert read(file)["test_b"] == other
    drop(file, ["test_a"])
    assert list(read(file)) == ["test_b"]
    assert read(tmp_path / "two.json") == {}
