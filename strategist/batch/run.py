"""The batch runner: read points of any number of cases, in parallel, resumed where it stopped."""

from __future__ import annotations

import contextlib
import functools
import json
import os
import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from strategist.answers.solution import Options
from strategist.batch.book import Book, Place
from strategist.batch.engine import ATTEMPTS, carry_out, engine_for
from strategist.batch.lock import alone_in
from strategist.batch.summary import Summary, refuse_links, summarise
from strategist.batch.work import Done, Task, failed, solve
from strategist.errors import InputError, SolveError
from strategist.survey.parts import Parts, open_case
from strategist.survey.tables import reason

_ANSWERS = "4"  # part of each hash: raise it when the same input may get another answer


@dataclass(frozen=True)
class Progress:
    """How far a batch is: read points in all, done (failed ones and `kept` ones included), failed,
    and kept from an earlier run; seconds since this run began; lines of an earlier run that are
    `doubtful` (damaged, or of a version without checksums), whose read points are done again."""

    total: int
    done: int = 0
    failed: int = 0
    kept: int = 0
    seconds: float = 0.0
    doubtful: int = 0

    @property
    def rate(self) -> float | None:
        """Read points a second of this run; None before the first."""
        worked = self.done - self.kept
        return worked / self.seconds if worked and self.seconds else None

    @property
    def left_s(self) -> float | None:
        """Seconds that the rest may take at this rate; None while there is no rate."""
        return None if self.rate is None else (self.total - self.done) / self.rate


def run_batch(
    cases: Sequence[str | Path],
    out: str | Path,
    options: Options | None = None,
    *,
    workers: int = 0,
    scheduler: str | None = None,
    progress: Callable[[Progress], None] = lambda _: None,
) -> Summary:
    """Choose for every read point of some case folders and write the answers to a folder.

    `out` gets results.jsonl (one JSON object a line: `case`, `read_point`, `hash` and `result` or
    `error`), while it runs in the order of finishing and at the end in the order of the cases;
    tags.jsonl (the EPCs wanted and heard at each read point); and at the end the files of
    `summarise`. A read point whose content and options have a result there already
    is not solved again; one that failed is. `workers` 0 works in this process, more in spawned
    ones; `scheduler` is the address of a Dask scheduler. A read point or case that cannot be read
    or solved is a line with its error.

    Each line has a `checksum`. One that was damaged, or has none, is not believed, and its read
    point is solved again.

    Raises InputError where `out` cannot be used, is in use, holds results of other cases or links
    in place of files, or is gone before the end, and where a case changes while it runs; SolveError
    where the workers or the scheduler are lost, or this machine has no room to sort in.
    """
    options = options or Options()
    labels = _labels(cases)
    folder = _folder(out)
    with _faults_of(folder), contextlib.ExitStack() as stack:
        stack.enter_context(alone_in(folder))
        for left in folder.glob(".strategist-*.part"):  # by a run that was killed
            left.unlink()
        refuse_links(folder)
        index = sqlite3.connect("")
        stack.callback(index.close)
        book = stack.enter_context(Book(folder, index))
        book.look_up()
        book.refuse_others(labels, folder)
        run = _Run(labels, book, options, index, progress)
        run.carry_out(workers, scheduler)
        book.put_in_order(run.places())
        return summarise(folder, book, index, run.progress.kept)


class _Run:
    def __init__(
        self,
        labels: Sequence[str],
        book: Book,
        options: Options,
        index: sqlite3.Connection,
        tell: Callable[[Progress], None],
    ) -> None:
        self._began = time.monotonic()
        self._book, self._options, self._tell = book, options, tell
        self._cases: list[tuple[str, Parts | InputError]] = []
        for label in labels:
            try:
                self._cases.append((label, open_case(label, label, index)))
            except InputError as error:
                self._cases.append((label, error))
        total = sum(1 if isinstance(c, InputError) else len(c) for _, c in self._cases)
        self.progress = Progress(total, doubtful=book.doubtful)

    def places(self) -> Iterator[Place]:
        """Case and read point of each line to be, in order."""
        for label, case in self._cases:
            if isinstance(case, InputError):
                yield label, ""
            else:
                for name in case.names():
                    yield label, name

    def carry_out(self, workers: int, scheduler: str | None) -> None:
        self._count()
        for label, case in self._cases:
            if isinstance(case, InputError):
                self._add([((label, ""), "", _unreadable(label, case))])
        tasks = self._tasks()
        first = next(tasks, None)
        if first is None:
            return
        run = functools.partial(solve, options=self._options)
        answers = carry_out(
            _chain(first, tasks),
            run,
            engine_for(workers, scheduler),
            _given_up,
            self.progress.total,
        )
        with contextlib.closing(answers):
            for answered in answers:
                self._add([(task.place, task.digest, done) for task, done in answered])

    def _tasks(self) -> Iterator[Task]:
        options = json.dumps(asdict(self._options), sort_keys=True)
        for _, case in self._cases:
            for part in () if isinstance(case, InputError) else case:
                task = Task(part, part.digest(_ANSWERS, options))
                if self._book.has(task.place, task.digest):
                    self._count(done=1, kept=1)
                else:
                    yield task

    def _add(self, done: list[tuple[Place, str, Done]]) -> None:
        self._book.add(done)
        self._count(done=len(done), failed=sum(not one.ok for _, _, one in done))

    def _count(self, done: int = 0, failed: int = 0, kept: int = 0) -> None:
        now = self.progress
        self.progress = replace(
            now,
            done=now.done + done,
            failed=now.failed + failed,
            kept=now.kept + kept,
            seconds=time.monotonic() - self._began,
        )
        self._tell(self.progress)


def _chain(first: Task, rest: Iterator[Task]) -> Iterator[Task]:
    yield first
    yield from rest


def _given_up(task: Task) -> Done:
    return failed(task, "worker", f"its worker died {ATTEMPTS} times at this read point")


def _unreadable(label: str, error: InputError) -> Done:
    found = {"kind": "input", "message": str(error)}
    row = {"case": label, "read_point": None, "hash": None, "error": found}
    return Done(json.dumps(row, ensure_ascii=False, separators=(",", ":")), None)


def _labels(cases: Sequence[str | Path]) -> list[str]:
    """The cases as they are called in the results; raises InputError where one comes twice."""
    if not cases:
        raise InputError.one("cases", "", "at least one", wrong="no case is given")
    labels = [os.path.normpath(case) for case in cases]
    seen: set[Path] = set()
    for label in labels:
        path = Path(label).resolve()
        if path in seen:
            raise InputError.one("cases", label, "each case once", wrong=f"{label} is given twice")
        seen.add(path)
    return labels


@contextlib.contextmanager
def _faults_of(folder: Path) -> Iterator[None]:
    """What happens to the folder, or to the index, while a batch runs, said as what it is."""
    try:
        yield
    except sqlite3.Error as error:
        raise SolveError(f"the index of the batch in the temporary folder: {error}") from None
    except OSError as error:
        if error.filename is None or folder not in Path(str(error.filename)).parents:
            raise
        todo = "Run it again, and leave the folder as it is meanwhile."
        raise InputError.one(str(error.filename), "", todo, wrong=reason(error)) from None


def _folder(out: str | Path) -> Path:
    folder = Path(out)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not os.access(folder, os.W_OK):
            raise PermissionError(f"no right to write in {folder}")
    except (OSError, ValueError) as error:
        wrong, allowed = f"cannot be used: {reason(error)}", "a folder that you may write to"
        if isinstance(error, FileExistsError):
            wrong = "is no folder"
        raise InputError.one(str(out), "", allowed, wrong=wrong) from None
    return folder
