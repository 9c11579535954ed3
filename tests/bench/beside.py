"""This checkout beside another, task by task in one run: start, first solve, reading, large solves.

`python -m tests.bench.beside OTHER [--only start reading …] [--reads 1000000]` runs each task in a
fresh process of each checkout (its own `.venv`), pinned to one core, and prints processor time,
clock and peak memory of both with the ratio of processor times. Read ratios: others may use the
machine.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["main"]

_HERE = Path(__file__).parents[2]
_DEMO = "cases/linen-service"
_CHUTE = ("-m", "strategist", "solve", _DEMO, "--read-point", "soiled-chute")
_ONCE = 20.0  # seconds of processor time from which a task is not repeated
_RUNS = 3
_SEARCH = (
    "import tests.bench.ours as o; from tests.bench.measure import Size; "
    "p = Size({size}).read_point(); import time; t = time.process_time(); "
    "f = o.by_search(p, {limit}); print('SPENT', time.process_time() - t, f.loss, f.proven)"
)
_READ = (
    "import strategist, time; t = time.process_time(); c = strategist.read_case({case!r}); "
    "strategist.check(c); print('SPENT', time.process_time() - t, sum(len(p.survey.read_tag) "
    "for p in c.read_points))"
)
_SIZES = {
    "200 passes, 1,000 masks": "200, 25, 40, kinds=116",
    "2,000 passes": "2000, 25, 40, kinds=116",
    "60 × 13 × 92, two slots": "60, 13, 5, kinds=47, rssi_values=60, slots=2",
    "60 × 13 × 92, three slots": "60, 13, 5, kinds=47, rssi_values=60",
    "57 masks": "60, 13, 5, kinds=24, rssi_values=28, steps=3, slots=2",
    "153 masks": "60, 13, 5, kinds=96, rssi_values=28, steps=3, slots=2",
}


@dataclass(frozen=True)
class Task:
    """What Python is given; `cold`: with a new folder for compiled code."""

    name: str
    arguments: tuple[str, ...]
    cold: bool = False


@dataclass(frozen=True)
class Run:
    """Seconds of processor and clock, peak MB, and what was printed after SPENT (a task that tells
    its own processor time tells it first)."""

    cpu: float
    wall: float
    mb: float
    told: tuple[str, ...] = field(default=())


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("other", type=Path)
    parser.add_argument("--only", nargs="+", choices=("start", "cold", "reading", "large"))
    parser.add_argument("--reads", type=int, default=1_000_000)
    parser.add_argument("--limit", type=float, default=120.0, help="seconds for a solve (120)")
    asked = parser.parse_args(argv)
    print(f"{'':30}{'CPU s':>16}{'clock s':>16}{'MB':>14}   CPU, new ÷ old")
    with tempfile.TemporaryDirectory() as folder:
        for task in _tasks(asked, Path(folder)):
            old, new = (_least(task, where, folder) for where in (asked.other.resolve(), _HERE))
            print(_line(task.name, old, new), flush=True)
    return 0


def _tasks(asked: argparse.Namespace, folder: Path) -> Iterator[Task]:
    only = asked.only or ("start", "cold", "reading", "large")
    if "start" in only:
        yield Task("--help", ("-m", "strategist", "--help"))
        yield Task("check of the demo", ("-m", "strategist", "check", _DEMO))
        yield Task("solve of the chute, warm", _CHUTE)
    if "cold" in only:
        yield Task("solve of the chute, cold", _CHUTE, cold=True)
    if "reading" in only:
        case = _case_of(folder / "case", asked.reads)
        yield Task(f"{asked.reads:,} reads checked", ("-c", _READ.format(case=str(case))))
    if "large" in only:
        for name, size in _SIZES.items():
            yield Task(name, ("-c", _SEARCH.format(size=size, limit=asked.limit)))


def _least(task: Task, where: Path, folder: str) -> Run:
    """The run with the least processor time; short ones are repeated."""
    runs = [_once(task, where, folder)]
    while len(runs) < _RUNS and runs[-1].cpu < _ONCE:
        runs.append(_once(task, where, folder))
    return min(runs, key=lambda run: run.cpu)


def _once(task: Task, where: Path, folder: str) -> Run:
    one = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(where)}
    if task.cold:
        one["NUMBA_CACHE_DIR"] = tempfile.mkdtemp(dir=folder)
    python = where / ".venv" / "bin" / "python"
    started = time.perf_counter()
    process = subprocess.Popen(
        ["taskset", "-c", "0", str(python), *task.arguments],
        cwd=where,
        env=os.environ | one,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    printed = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - started
    process.returncode = os.waitstatus_to_exitcode(status)
    told = next((x.split()[1:] for x in printed.splitlines() if x.startswith("SPENT")), [])
    cpu = float(told[0]) if told else usage.ru_utime + usage.ru_stime
    if process.returncode not in (0, 1):
        said = printed.strip().splitlines() or ["failed"]
        return Run(float("nan"), wall, 0.0, (said[-1],))
    return Run(cpu, wall, usage.ru_maxrss / 1024, tuple(told[1:]))


def _line(name: str, old: Run, new: Run) -> str:
    same = "" if old.told == new.told else f"   NOT THE SAME: {old.told} {new.told}"
    return (
        f"{name:30}{old.cpu:>8.2f}{new.cpu:>8.2f}{old.wall:>8.2f}{new.wall:>8.2f}"
        f"{old.mb:>7.0f}{new.mb:>7.0f}{new.cpu / old.cpu:>10.2f}{same}"
    )


def _case_of(folder: Path, reads: int) -> Path:
    """A read point of so many reads: 40 tags in each pass at 25 levels, each read 20 times."""
    folder.mkdir()
    passes = max(1, reads // (40 * 25 * 20))
    tags = [f"3034{number:020X}" for number in range(2000)]
    with (folder / "reads.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["read_point", "pass_id", "power_dbm", "epc", "rssi_dbm"])
        for p, level, tag in itertools.product(range(passes), range(25), range(40)):
            epc, rssi = tags[(7 * p + 31 * tag) % 2000], -70 + level + (13 * tag + p) % 17
            row = ["dock-1", f"p{p:04d}", 10 + level, epc]
            writer.writerows([*row, rssi + (5 * n) % 8 / 2] for n in range(20))
    with (folder / "roster.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["read_point", "pass_id", "epc", "role"])
        for p, tag in itertools.product(range(passes), range(40)):
            role = "wanted" if tag < 10 else "stray"
            writer.writerow(["dock-1", f"p{p:04d}", tags[(7 * p + 31 * tag) % 2000], role])
    levels = {"levels_dbm": list(range(10, 35))}
    (folder / "site.json").write_text(json.dumps({"site": "", "read_points": {"dock-1": levels}}))
    return folder


if __name__ == "__main__":
    sys.exit(main())
