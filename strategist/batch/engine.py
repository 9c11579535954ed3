"""Where tasks run: in this process, in spawned processes, or on a Dask cluster. One seam for all.

An engine opens an executor of the standard library's kind; `carry_out` feeds it and survives the
death of workers. A run function must not raise: whatever it raises counts as the death of the
worker that ran it.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from typing import Any, Protocol, TypeVar

from strategist.errors import InputError, SolveError

ATTEMPTS = 3  # of one job whose worker dies; from the second on it runs alone
_AHEAD = 2  # tasks for each place: one that runs, one that waits for it
_BYTES = 4_000_000  # of one task; Dask warns from 10 MB on
_SHARES = 4  # tasks for each place from what is left, so that all end at about the same time
_PATIENCE_S = 30  # for a scheduler to answer, and for its first worker


class _Sized(Protocol):
    @property
    def size(self) -> int:
        """Bytes, roughly."""
        ...


Job = TypeVar("Job", bound=_Sized)
Answer = TypeVar("Answer")


class Engine(Protocol):
    """`most` jobs go into one task; `places()` tasks run at once."""

    most: int

    def open(self) -> Executor: ...

    def places(self) -> int: ...

    def close(self, *, at_once: bool) -> None: ...


class Serial:
    """In this process, one after the other."""

    most = 1

    def open(self) -> Executor:
        return _Here()

    def places(self) -> int:
        return 1

    def close(self, *, at_once: bool) -> None:
        pass


class _Here(Executor):
    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


class Processes:
    """Spawned processes of this machine: a fork after a solve may hang."""

    most = 8

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._pool: ProcessPoolExecutor | None = None
        self._others: set[Any] = set()

    def open(self) -> Executor:
        self._others = set(multiprocessing.active_children())
        context = multiprocessing.get_context("spawn")
        self._pool = ProcessPoolExecutor(self._workers, context, _begin)
        return self._pool

    def places(self) -> int:
        return self._workers

    def close(self, *, at_once: bool) -> None:
        if self._pool is None:
            return
        writer = getattr(getattr(self._pool, "_result_queue", None), "_writer", None)
        self._pool.shutdown(wait=not at_once, cancel_futures=True)
        if at_once:
            for process in set(multiprocessing.active_children()) - self._others:
                process.terminate()
            if writer is not None:  # half an answer has an end when nobody can write the rest
                writer.close()
        self._pool = None


def _begin() -> None:
    """Begin a worker: interrupts are the parent's to take, and it ends when the parent does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None

    def end_with_it() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=end_with_it, daemon=True).start()


class Dask:
    """The workers of a Dask scheduler, such as tcp://10.0.0.1:8786; they need strategist too."""

    most = 100

    def __init__(self, address: str) -> None:
        self._address = address
        self._client: Any = None

    def open(self) -> Executor:
        try:
            from distributed import Client  # noqa: PLC0415 (slow, and not always there)
        except ImportError:
            wrong = "the package distributed is not installed"
            todo = "Run pip install 'strategist[cluster]', or leave the scheduler out."
            raise InputError.one("scheduler", self._address, todo, wrong=wrong) from None
        try:
            self._client = Client(self._address, timeout=_PATIENCE_S, set_as_default=False)
            self._client.wait_for_workers(1, timeout=_PATIENCE_S)
        except (OSError, ValueError, TimeoutError) as error:
            self.close(at_once=True)
            wrong = f"no scheduler with workers answers at {self._address} ({error})"
            todo = "Start a scheduler and workers, and give its address."
            raise InputError.one("scheduler", self._address, todo, wrong=wrong) from None
        executor: Executor = self._client.get_executor(pure=False)
        return executor

    def places(self) -> int:
        try:
            return max(1, int(sum(self._client.nthreads().values())))
        except Exception as error:
            raise self._lost() from error

    def close(self, *, at_once: bool) -> None:
        if self._client is not None:
            self._client.close(timeout=1 if at_once else 10)
            self._client = None

    def _lost(self) -> SolveError:
        return SolveError(f"the scheduler {self._address} was lost; rerun the command to resume")


def engine_for(workers: int, scheduler: str | None) -> Engine:
    """The cluster behind `scheduler` where one is given, else processes, or none for 0 workers."""
    if scheduler is not None:
        return Dask(scheduler)
    return Processes(workers) if workers else Serial()


def carry_out(
    jobs: Iterable[Job],
    run: Callable[[tuple[Job, ...]], Sequence[Answer]],
    engine: Engine,
    give_up: Callable[[Job], Answer],
    expected: int,
) -> Generator[list[tuple[Job, Answer]], None, None]:
    """Jobs with their answers, those together that came back together, in the order of finishing;
    few jobs are in memory at any time.

    `run` answers the jobs of one task, in order. Jobs whose worker died run again, each alone, so
    that the one to blame is known; after three attempts `give_up` answers. `expected` jobs or fewer
    will come. Raises SolveError where the cluster's scheduler is lost.
    """
    work = _Work(jobs, run, engine, expected)
    finished = False
    try:
        while work.feed():
            for answered in work.collect():
                yield [
                    (job, give_up(job) if answer is None else answer) for job, answer in answered
                ]
        finished = True
    finally:
        engine.close(at_once=not finished)


class _Work:
    """What is waiting, in flight, and under suspicion of having killed its worker."""

    def __init__(self, jobs: Iterable[Any], run: Any, engine: Engine, expected: int) -> None:
        self._jobs = iter(jobs)
        self._run = run
        self._engine = engine
        self._executor = engine.open()
        self._left = expected
        self._flying: dict[Future[Any], tuple[tuple[Any, ...], int]] = {}
        self._suspects: deque[tuple[Any, int]] = deque()

    def feed(self) -> bool:
        """Put tasks in flight; False where none is left. Suspects fly alone, before all others."""
        if self._suspects:
            if not self._flying:
                job, attempts = self._suspects.popleft()
                self._submit((job,), attempts + 1)
            return True
        while len(self._flying) < _AHEAD * self._engine.places():
            task = self._task()
            if not task:
                break
            self._submit(task, 1)
        return bool(self._flying)

    def _task(self) -> tuple[Any, ...]:
        """The next jobs, fewer of them as the end draws near."""
        task: list[Any] = []
        size = 0
        most = min(self._engine.most, self._left // (_SHARES * self._engine.places()))
        while len(task) < max(1, most) and size < _BYTES:
            job = next(self._jobs, None)
            if job is None:
                break
            task.append(job)
            size += job.size
        self._left -= len(task)
        return tuple(task)

    def _submit(self, task: tuple[Any, ...], attempt: int) -> None:
        for _ in range(ATTEMPTS):
            try:
                self._flying[self._executor.submit(self._run, task)] = task, attempt
                return
            except BrokenExecutor:  # a worker died while it had nothing to do
                self._engine.close(at_once=True)
                self._executor = self._engine.open()
        raise SolveError("worker processes die as they start")

    def collect(self) -> Iterator[list[tuple[Any, Any]]]:
        """(job, answer) of each task that has come back; None is the answer of the last attempt."""
        done, _ = wait(self._flying, return_when=FIRST_COMPLETED)
        for future in done:
            task, attempt = self._flying.pop(future)
            if not future.cancelled() and future.exception() is None:
                yield list(zip(task, future.result(), strict=True))
                continue
            self._engine.places()  # raises where no engine is left to try again
            if attempt < ATTEMPTS:
                self._suspects.extend((job, attempt) for job in task)
            else:
                yield [(job, None) for job in task]
