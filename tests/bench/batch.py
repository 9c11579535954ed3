"""The batch runner measured: `python -m tests.bench.batch [--quick] [--points N] [--kinds N] …`.

Prints rates with one and two workers and on Dask, where the time of a read point goes, the peak
memory of the parent, and how resumed runs fare that are killed at random moments.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from strategist import Options, choose, complete
from strategist.batch.cross_reads import hearings
from strategist.optimise.problem import pose
from strategist.survey.parts import open_case
from strategist.tags.candidates import forget_candidates
from tests.bench.made_site import write_made_site

SIZE = (60, 15, 12)  # passes, levels, tags a pass
Size = tuple[int, int, int]
QUICKLY = {"allow": ["power"]}  # a policy that leaves next to nothing to solve
POLICY = {"reader": {"mask_slots": 2}}
UNSEEN = Options(unseen=False, sturdier=False)
_RUN = """
import json, resource, sys, time
from strategist import Options, run_batch
if __name__ == "__main__":
    case, out, how = sys.argv[1], sys.argv[2], json.loads(sys.argv[3])
    began = time.monotonic()
    summary = run_batch([case], out, Options(unseen=False, sturdier=False), **how)
    took = time.monotonic() - began
    parent, workers = map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    cpu = [used.ru_utime + used.ru_stime for used in (parent, workers)]
    print(json.dumps([summary.total, summary.failed, took, parent.ru_maxrss / 1024, *cpu]))
"""


@dataclass(frozen=True)
class Ran:
    """A batch in a process of its own: seconds, peak memory of the parent, seconds of processor."""

    points: int
    seconds: float
    peak_mib: float
    parent_cpu_s: float
    workers_cpu_s: float

    @property
    def rate(self) -> float:
        return self.points / self.seconds

    @property
    def cpu(self) -> str:
        parent, workers = (1000 * s / self.points for s in (self.parent_cpu_s, self.workers_cpu_s))
        return f"processor time a read point: parent {parent:.1f} ms, workers {workers:.0f} ms"


def run(case: Path, out: Path, **how: Any) -> Ran:
    script = out.with_suffix(".py")
    script.write_text(_RUN)
    words = [sys.executable, str(script), str(case), str(out), json.dumps(how)]
    total, failed, *rest = json.loads(subprocess.check_output(words))
    assert not failed, f"{failed} read points failed"
    return Ran(total, *rest)


def shares(case: Path, most: int) -> None:
    """Where the time of a read point goes, in this process."""
    spent = {"reading": 0.0, "posing": 0.0, "solving": 0.0, "cross_reads": 0.0}

    def timed(name: str, work: Callable[[], Any]) -> Any:
        began = time.perf_counter()
        found = work()
        spent[name] += time.perf_counter() - began
        return found

    began = time.perf_counter()
    parts = open_case(case)
    walk = time.perf_counter() - began
    for number, part in enumerate(parts, 1):
        point = timed("reading", part.read)
        timed("posing", lambda point=point: pose(point.survey, point.policy))
        forget_candidates()
        result = timed("solving", lambda point=point: choose(point, UNSEEN))
        timed("cross_reads", lambda p=point, r=result: hearings(complete(p), r.strategy))
        if number == most:
            break
    spent["solving"] -= spent["posing"]  # choose poses again
    whole = sum(spent.values())
    print(f"walk over the files: {1000 * walk / len(parts):.2f} ms a read point, in the parent")
    for name, seconds in spent.items():
        print(f"{name:<9} {1000 * seconds / number:8.1f} ms a read point {seconds / whole:6.1%}")


def rates(case: Path, folder: Path) -> None:
    """Read points a second with one worker, two, and two of a Dask cluster."""
    ran = {n: run(case, folder / f"workers{n}", workers=n) for n in (1, 2)}
    for workers, one in ran.items():
        print(f"{workers} workers: {one.rate:.2f} read points a second; {one.cpu}")
    print(f"scaling from one worker to two: {ran[2].rate / ran[1].rate:.2f}")
    with cluster(folder) as address:
        dask = run(case, folder / "cluster", scheduler=address)
    share = dask.seconds / ran[2].seconds
    print(f"Dask, 2 workers: {dask.rate:.2f} a second, {share:.2f} of the pool's time")


@contextmanager
def cluster(folder: Path, workers: int = 2) -> Iterator[str]:
    """The address of a Dask scheduler with workers of one thread each."""
    address = "tcp://127.0.0.1:18786"
    dask = [sys.executable, "-m", "dask"]
    quiet: dict[str, Any] = {"stderr": subprocess.DEVNULL, "cwd": folder}
    words = [*dask, "scheduler", "--host", "127.0.0.1", "--port", "18786", "--no-dashboard"]
    scheduler = subprocess.Popen(words, **quiet)
    words = [*dask, "worker", address, "--nthreads", "1", "--nworkers", str(workers)]
    worker = subprocess.Popen([*words, "--no-dashboard"], **quiet)
    try:
        yield address
    finally:
        for process in (worker, scheduler):
            process.terminate()
            process.wait()


def memory(folder: Path, counts: list[int], size: Size) -> None:
    """Peak memory of the parent for more and more read points, with next to no solving."""
    first = None
    for points in counts:
        case = write_made_site(folder / f"memory{points}", points, size, kinds=6, policy=QUICKLY)
        mib = sum(file.stat().st_size for file in case.iterdir()) / 2**20
        ran = run(case, folder / f"memory{points}-out", workers=2)
        first = first or ran.peak_mib
        print(
            f"{points:>6} read points ({mib:,.0f} MiB): peak {ran.peak_mib:.0f} MiB, "
            f"{ran.peak_mib / first:.2f} of the first; {ran.rate:.1f} a second; {ran.cpu}",
            flush=True,
        )
        shutil.rmtree(case)


def kills(folder: Path, times: int, points: int) -> None:
    """kill -9 at random moments, resumed each time, against an uninterrupted run."""
    case = write_made_site(folder / "kills", points, (20, 8, 6), kinds=6, policy=POLICY)
    whole, out = folder / "kills-whole", folder / "kills-out"
    seconds = run(case, whole, workers=2).seconds
    rng = random.Random(0)
    words = [sys.executable, "-m", "strategist", "batch", str(case), "--out", str(out)]
    words += ["--workers", "2"]
    names = ("tags.jsonl", "cross_reads.json", "summary.txt")

    def same() -> bool:
        files = all((out / name).read_bytes() == (whole / name).read_bytes() for name in names)
        return files and plain(out) == plain(whole)

    killed, mid_work, torn, ends = 0, 0, 0, []
    while killed < times:
        process = subprocess.Popen(
            words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        try:
            process.wait(rng.uniform(0.1, 1.0) * seconds)
            ends.append(same())
            shutil.rmtree(out)  # it came to its end before the kill: anew
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            killed += 1
            file = out / "results.jsonl"
            lines = file.read_bytes() if file.exists() else b""
            mid_work += 0 < lines.count(b"\n") < points
            torn += lines[-1:] not in (b"", b"\n")
    subprocess.run(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
    ends.append(same())
    print(
        f"{killed} kills at random moments of {points} read points, {mid_work} of them with some "
        f"results written and some not, {torn} torn lines; {sum(ends)} of the {len(ends)} runs "
        "that came to their end gave the bytes of the uninterrupted one"
    )


def plain(out: Path) -> list[str]:
    """The lines of results.jsonl without the times and the checksums of them."""
    lines = []
    for line in (out / "results.jsonl").read_text().splitlines():
        row = json.loads(line)
        row.get("result", {}).pop("seconds", None)
        del row["checksum"]
        lines.append(json.dumps(row))
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=1000)
    parser.add_argument("--kinds", type=int, default=6, help="of tag: more make more masks")
    parser.add_argument("--memory", type=int, nargs="*", default=[100, 1000, 10000])
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument(
        "--size",
        type=lambda text: tuple(map(int, text.split("x"))),
        default=SIZE,
        help="of a read point: passes x levels x tags a pass, as 60x15x12",
    )
    parser.add_argument("--quick", action="store_true")
    given = parser.parse_args()
    if given.quick:
        given.points, given.memory, given.kills = 24, [50, 200], 4
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if given.points:
            case = write_made_site(
                folder / "case", given.points, given.size, kinds=given.kinds, policy=POLICY
            )
            shares(case, min(given.points, 20))
            rates(case, folder)
        if given.memory:
            memory(folder, given.memory, given.size)
        if given.kills:
            kills(folder, given.kills, 60)


if __name__ == "__main__":
    main()
