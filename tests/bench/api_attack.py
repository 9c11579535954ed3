"""What one client, one clock, one full disk or one without a token can take from everybody.

`python -m tests.bench.api_attack [--only greedy clocks full door] [--root FOLDER]` prints what was
seen and what must hold; the exit status is 1 where something did not. `--root` attacks the server
of another tree.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.api.live import ROOT
from tests.bench.attacks import (
    by_a_worker_with_another_clock,
    on_a_full_disk,
    small_disk,
    without_a_token,
)
from tests.bench.greedy import beside_a_greedy_client
from tests.bench.held import Held, tell

MB = 2**20


def greedy(folder: Path, root: Path) -> list[Held]:
    seen = beside_a_greedy_client(folder, interactive=20, root=root)
    batch = f"{seen.batch_s:.1f} s"
    return [
        Held(
            "interactive of another answered", f"{seen.answered} of 20", "18", seen.answered >= 18
        ),
        Held("statuses of the rest", str(seen.refused)),
        Held("their waits, median", f"{statistics.median(seen.waits):.1f} s"),
        Held("their waits, longest", f"{max(seen.waits):.1f} s"),
        Held("batch of one of another", batch, "20 s", seen.batch_s <= 20),
        Held("answers to the greedy one", str(dict(sorted(seen.greedy.items())))),
    ]


def clocks(folder: Path, root: Path) -> list[Held]:
    rows = []
    for shift in (-60.0, 60.0):
        place = folder / f"{shift:g}"
        seen = by_a_worker_with_another_clock(place, shift, points=12, interactive=3, root=root)
        done, told, all_of = seen.done, seen.rows, seen.points
        rows += [
            Held(f"worker {shift:+g} s: done", f"{done} of {all_of}", "all", done == all_of),
            Held(f"worker {shift:+g} s: streamed", f"{told} of {all_of}", "all", told == all_of),
            Held(
                f"worker {shift:+g} s: interactive",
                f"{seen.answered} of {seen.interactive}",
                "all",
                seen.answered == seen.interactive,
            ),
        ]
    return rows


def full(folder: Path, root: Path) -> list[Held]:
    with small_disk(folder / "small", "16m") as mounted:
        if not mounted:
            return [Held("full disk", "no right to mount a small file system")]
        seen = on_a_full_disk(folder / "small" / "data", root=root)
    given = seen.bytes_after < seen.bytes_full / 2
    return [
        Held("deletes by status", str(seen.deletes), "all 204", set(seen.deletes) == {204}),
        Held("ready after a restart", str(seen.ready_after_restart)),
        Held("ready after the deletes", str(seen.ready_after), "200", seen.ready_after == 200),
        Held("store when full", f"{seen.bytes_full / MB:.1f} MB"),
        Held("store after", f"{seen.bytes_after / MB:.1f} MB", "less than half", given),
    ]


def door(folder: Path, root: Path) -> list[Held]:
    seen = without_a_token(folder, bodies=8, halves=520, root=root)
    spooled = f"{seen.spooled_bytes / MB:.1f} MB"
    return [
        Held("kept of 8 × 60 MB without a token", spooled, "1 MB", seen.spooled_bytes <= MB),
        Held("answers to them", str(seen.refused), "413", set(seen.refused) == {413}),
        Held("let in beside 520 half requests", f"{seen.let_in} of 5", "5", seen.let_in == 5),
        Held("the slowest of them", f"{seen.slowest_s:.1f} s"),
    ]


ATTACKS: dict[str, Callable[[Path, Path], list[Held]]] = {
    "greedy": greedy,
    "clocks": clocks,
    "full": full,
    "door": door,
}


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--only", nargs="+", choices=ATTACKS, default=list(ATTACKS))
    parser.add_argument("--root", type=Path, default=ROOT, help="the tree whose server is attacked")
    given = parser.parse_args()
    broken = 0
    for name in given.only:
        with tempfile.TemporaryDirectory() as folder:
            broken |= tell(name, ATTACKS[name](Path(folder), given.root.resolve()))
    return broken


if __name__ == "__main__":
    sys.exit(main())
