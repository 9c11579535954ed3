"""The executor seam: every job answered once, whatever happens to the workers."""

from __future__ import annotations

import itertools
import sys
import threading
import time
import traceback
from collections.abc import Iterable, Iterator

import pytest

from strategist.batch.engine import ATTEMPTS, Engine, Processes, Serial, carry_out
from tests.batch.deadly import Number, doubled


def given_up(job: Number) -> int:
    return -job.value


def answers(jobs: Iterable[Number], engine: Engine, expected: int) -> Iterator[tuple[Number, int]]:
    """Job by job, what comes back task by task."""
    return itertools.chain.from_iterable(carry_out(jobs, doubled, engine, given_up, expected))


@pytest.mark.parametrize("engine", [Serial(), Processes(2)], ids=["serial", "processes"])
def test_each_job_is_answered_once(engine: Engine) -> None:
    jobs = [Number(n) for n in range(50)]
    found = {job.value: answer for job, answer in answers(jobs, engine, 50)}
    assert found == {n: 2 * n for n in range(50)}


def test_the_guilty_one_is_given_up_and_no_other() -> None:
    """Jobs 4 and 5 kill their workers at each attempt; those that flew with them do not pay."""
    jobs = [Number(n, deadly=n in (4, 5)) for n in range(1, 33)]
    given = list(answers(jobs, Processes(2), 32))
    assert len(given) == 32
    found = {job.value: answer for job, answer in given}
    assert found == {n: -n if n in (4, 5) else 2 * n for n in range(1, 33)}
    assert ATTEMPTS == 3


def test_jobs_are_taken_as_they_are_needed() -> None:
    """Few are in memory: no more than have been answered, and those in flight."""
    taken = itertools.count()
    last = 0

    def jobs() -> Iterator[Number]:
        nonlocal last
        for n in range(100):
            last = next(taken)
            yield Number(n)

    for done, _ in enumerate(answers(jobs(), Serial(), 100), 1):
        assert last <= done + 2


def test_nothing_to_do() -> None:
    assert list(carry_out([], doubled, Serial(), given_up, 0)) == []


def test_a_worker_that_is_ended_while_it_answers_leaves_nobody_waiting() -> None:
    """Half an answer stands in the pipe then; its reader, whom Python joins at its end, must not
    wait for the other half."""
    before = set(threading.enumerate())
    engine = Processes(1)
    engine.open().submit(bytes, 400_000_000)
    (reader,) = (one for one in threading.enumerate() if one not in before and is_manager(one))
    while not any(frame.name == "_recv" for frame in stack_of(reader)):
        time.sleep(0.001)
    engine.close(at_once=True)
    reader.join(60)
    assert not reader.is_alive()


def is_manager(thread: threading.Thread) -> bool:
    return type(thread).__name__ == "_ExecutorManagerThread"


def stack_of(thread: threading.Thread) -> list[traceback.FrameSummary]:
    assert thread.ident is not None
    frame = sys._current_frames().get(thread.ident)
    return [] if frame is None else traceback.extract_stack(frame)
