"""The attacks of `python -m tests.bench.api_attack` in their short form."""

from __future__ import annotations

from pathlib import Path

from tests.api.live import HANG_S
from tests.bench.attacks import by_a_worker_with_another_clock
from tests.bench.greedy import beside_a_greedy_client


def test_beside_a_client_that_takes_all_it_can(tmp_path: Path) -> None:
    """All workers are at its work, and all its places are taken, when another comes."""
    seen = beside_a_greedy_client(
        tmp_path, interactive=1, limit_s=30.0, wait_s=HANG_S, head_start_s=1.0
    )
    assert seen.greedy.get("batch 202", 0) > 0
    assert seen.answered == seen.asked
    assert seen.batch_s < float("inf")


def test_a_worker_whose_clock_is_a_minute_behind(tmp_path: Path) -> None:
    """To whom leases and deadlines look a minute away; `test_clocks` has either way round."""
    seen = by_a_worker_with_another_clock(tmp_path, -60.0, points=4, interactive=1)
    assert (seen.done, seen.rows) == (5, 5)
    assert seen.answered == 1
