"""The attacks of `python -m tests.bench.api_attack` in their short form."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.attacks import by_a_worker_with_another_clock
from tests.bench.greedy import beside_a_greedy_client


def test_beside_a_client_that_takes_all_it_can(tmp_path: Path) -> None:
    """All workers are at its work, and all its places are taken, when another comes."""
    seen = beside_a_greedy_client(tmp_path, interactive=2, limit_s=30.0, wait_s=120.0)
    assert seen.greedy.get("batch 202", 0) > 0
    assert seen.answered == seen.asked
    assert seen.batch_s < float("inf")


@pytest.mark.parametrize("shift", [-60.0, 60.0])
def test_a_worker_whose_clock_is_a_minute_off(tmp_path: Path, shift: float) -> None:
    seen = by_a_worker_with_another_clock(tmp_path, shift, points=4, interactive=1)
    assert (seen.done, seen.rows) == (5, 5)
    assert seen.answered == 1
