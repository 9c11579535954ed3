"""One measurement: a task in a fresh process on one core, with its time and its peak of memory."""

from __future__ import annotations

import contextlib
import gc
import importlib
import multiprocessing
import os
import resource
import signal
import tempfile
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

from strategist.errors import SolveError
from strategist.survey.records import ReadPoint
from tests.bench.made_large import large_read_point

__all__ = ["Found", "Measured", "Size", "measure"]

_GRACE = 30.0  # seconds beyond 1.1 times its limit before a process is ended
_RUNS, _SHORT = 3, 5.0  # runs of one task where they take less than so many seconds


@dataclass(frozen=True)
class Size:
    """What a read point is generated from; `read_point()` gives the same one each time."""

    passes: int
    levels: int
    tags_a_pass: int
    kinds: int
    rssi_values: int | None = None
    steps: int = 5
    slots: int = 3
    stop_after: int = 1
    tags_of_kind: int = 12
    seed: int = 0

    def read_point(self) -> ReadPoint:
        return large_read_point(
            self.passes,
            self.levels,
            self.tags_a_pass,
            kinds=self.kinds,
            rssi_values=self.rssi_values,
            steps=self.steps,
            slots=self.slots,
            stop_after=self.stop_after,
            tags_of_kind=self.tags_of_kind,
            seed=self.seed,
        )


@dataclass(frozen=True)
class Found:
    """The loss of the best strategy found (None: none was) and the bound below all losses."""

    loss: float | None
    bound: float
    proven: bool

    @property
    def gap(self) -> float | None:
        """(loss − bound) ÷ loss, at most 1: no loss is below 0. None where nothing was found."""
        if self.loss is None:
            return None
        return (self.loss - max(0.0, self.bound)) / self.loss if self.loss else 0.0


@dataclass(frozen=True)
class Measured:
    """Seconds by the clock and of processor time, peak memory of the process, and what was found.

    `found` is None where the process gave no answer; `why` then says why, in a few words.
    """

    found: Found | None
    wall: float
    cpu: float
    peak_mb: float
    why: str = ""

    @property
    def proven(self) -> bool:
        return self.found is not None and self.found.proven


def measure(task: str, size: Size, limit: float | None) -> Measured:
    """Run `task` ("module:function", called with the read point and the limit in seconds).

    Only the call is measured, not the imports and not the making of the read point. Short runs are
    repeated and the one with the least processor time given, since others disturb short runs most.
    """
    run = least = _once(task, size, limit)
    for _ in range(1, _RUNS):
        if run.found is None or run.wall > _SHORT:
            break
        run = _once(task, size, limit)
        least = min(run, least, key=lambda one: (one.found is not None, one.cpu))
    return least


def _once(task: str, size: Size, limit: float | None) -> Measured:
    """One run in a process of its own, which is ended where it overruns its limit by far."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"  # numpy starts its threads before the process can be pinned
    spawn = multiprocessing.get_context("spawn")
    receiver, sender = spawn.Pipe(duplex=False)
    with tempfile.TemporaryDirectory() as folder:
        process = spawn.Process(target=_work, args=(sender, task, size, limit, folder))
        process.start()
        sender.close()
        try:
            if not receiver.poll(None if limit is None else 1.1 * limit + _GRACE):
                return Measured(None, 0.0, 0.0, 0.0, f"> {limit:g} s: no answer in time, ended")
            measured: Measured = receiver.recv()
            process.join(_GRACE)
            return measured
        except EOFError:
            process.join(_GRACE)
            return Measured(None, 0.0, 0.0, 0.0, f"died with exit code {process.exitcode}")
        finally:
            _end(process)


def _end(process: multiprocessing.process.BaseProcess) -> None:
    """End a process that still runs, and what it started: it leads a group of its own."""
    if process.pid is not None and process.is_alive():
        with contextlib.suppress(ProcessLookupError):
            if os.getpgid(process.pid) == process.pid:
                os.killpg(process.pid, signal.SIGKILL)
        process.kill()
    process.join()


def _work(sender: Connection, task: str, size: Size, limit: float | None, folder: str) -> None:
    os.setsid()
    os.environ["TMPDIR"] = tempfile.tempdir = folder  # CBC leaves files when it is ended
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # HiGHS writes a banner there
    module, name = task.split(":")
    try:
        function = getattr(importlib.import_module(module), name)
    except ImportError as absent:
        sender.send(Measured(None, 0.0, 0.0, 0.0, f"{absent.name} is not installed"))
        return
    read_point = size.read_point()
    gc.collect()
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # the peak starts anew
    wall, cpu = time.perf_counter(), _cpu()
    found, why = None, ""
    try:
        found = function(read_point, limit)
    except SolveError as error:
        why = type(error).__name__
    wall, cpu = time.perf_counter() - wall, _cpu() - cpu
    sender.send(Measured(found, wall, cpu, _peak_mb(), why))


def _cpu() -> float:
    """Seconds of processor time of this process and of those it waited for."""
    of = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in of)


def _peak_mb() -> float:
    """Peak resident memory of this process, or of a process it started if that was larger."""
    of = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return max(usage.ru_maxrss for usage in of) / 1024
