"""Time limits kept? `python -m tests.bench.limits [--surveys gate …] [--commands solve …]`.

Runs what each command asks of the library on the nastiest read points, a process for each, and
prints wall time and peak memory beside what is allowed: the limit and three seconds, 1.5 GiB.
Reading the files, loading the library and compiling are not counted; on a machine that has other
things to do, wall time grows with them, and processor time tells. Returns 1 where one is over.
"""

from __future__ import annotations

import argparse
import gc
import multiprocessing
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import strategist
from strategist import Options, ReadPoint
from strategist.tags.candidates import forget_candidates
from tests.bench.made_large import large_read_point
from tests.bench.nasty import NASTY

LIMITS = (1.0, 5.0, 20.0)
OVER_S, MOST_MB = 3.0, 1536.0
_HUNG = 600.0

Run = Callable[[ReadPoint, Options], Any]
Asked = tuple[str, float]  # command, limit in seconds
Found = tuple[float, float, float, str]  # wall and processor s, peak in MiB, what was found


def _solve(point: ReadPoint, options: Options) -> Any:
    return strategist.choose(point, options)


def _solve_by_model(point: ReadPoint, options: Options) -> Any:
    model = Options(total_limit_s=options.total_limit_s, method="model")
    return strategist.choose(point, model)


def _batch(point: ReadPoint, options: Options) -> Any:
    return strategist.choose(point, Options(total_limit_s=options.total_limit_s, unseen=False))


def _assess(point: ReadPoint, options: Options) -> Any:
    return strategist.assess_fully(point, options)


def _frontier(point: ReadPoint, options: Options) -> Any:
    return strategist.trace_frontier(point, options)


def _techniques(point: ReadPoint, options: Options) -> Any:
    return strategist.compare_techniques(point, options)


def _what_if(point: ReadPoint, options: Options) -> Any:
    slots = point.policy.reader.mask_slots
    return strategist.what_if(point, {"reader.mask_slots": slots - 1}, options=options)


def _what_ifs(point: ReadPoint, options: Options) -> Any:
    return strategist.usual_what_ifs(point, options)


COMMANDS: Mapping[str, Run] = {
    "solve": _solve,
    "model": _solve_by_model,
    "batch": _batch,
    "assess": _assess,
    "counts": _frontier,
    "techniques": _techniques,
    "what-if": _what_if,
    "what-ifs": _what_ifs,
}


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.limits", description=__doc__)
    parser.add_argument("--surveys", nargs="+", choices=NASTY, default=list(NASTY))
    parser.add_argument("--commands", nargs="+", choices=COMMANDS, default=list(COMMANDS))
    parser.add_argument("--limits", nargs="+", type=float, default=list(LIMITS), metavar="S")
    given = parser.parse_args(arguments)
    print(f"{'survey':10}{'command':12}{'limit s':>8}{'wall s':>8}{'CPU s':>8}{'MB':>7}  answer")
    over = 0
    for survey in given.surveys:
        asked = [(command, limit) for command in given.commands for limit in given.limits]
        for (command, limit), (wall, cpu, peak, said) in zip(
            asked, _measured(survey, asked), strict=False
        ):
            late = wall > limit + OVER_S or peak > MOST_MB
            over += late
            print(
                f"{survey:10}{command:12}{limit:>8g}{wall:>8.1f}{cpu:>8.1f}{peak:>7.0f}  "
                f"{said}{'  OVER' if late else ''}",
                flush=True,
            )
    print(f"{over} over" if over else "all within their limits")
    return 1 if over else 0


def _measured(survey: str, asked: Sequence[Asked]) -> Iterator[Found]:
    """One after the other, in one fresh process; where that hangs or dies, no more."""
    spawn = multiprocessing.get_context("spawn")
    receiver, sender = spawn.Pipe(duplex=False)
    process = spawn.Process(target=_work, args=(sender, survey, asked))
    process.start()
    sender.close()
    try:
        for _ in asked:
            if not receiver.poll(_HUNG):
                yield _HUNG, 0.0, 0.0, "hung"
                return
            found: Found = receiver.recv()
            yield found
    except EOFError:
        yield _HUNG, 0.0, 0.0, "died"
    finally:
        process.kill()
        process.join()


def _work(sender: Connection, survey: str, asked: Sequence[Asked]) -> None:
    point = NASTY[survey]()
    small = large_read_point(12, 3, 3, kinds=3, slots=2)
    for one in (_assess, _frontier, _solve_by_model):
        one(small, Options())  # compiles
    for command, limit in asked:
        forget_candidates()
        point = replace(point, survey=replace(point.survey))  # of which nothing is kept
        gc.collect()
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # the peak starts anew
        started, cpu = time.monotonic(), time.process_time()
        try:
            said = _said(COMMANDS[command](point, Options(total_limit_s=limit)))
        except (strategist.StrategistError, MemoryError) as error:
            said = f"{type(error).__name__}: {str(error)[:60]}"
        wall, cpu = time.monotonic() - started, time.process_time() - cpu
        sender.send((wall, cpu, _peak_mb(), said))


def _peak_mb() -> float:
    status = Path("/proc/self/status").read_text(encoding="ascii")
    (line,) = [line for line in status.splitlines() if line.startswith("VmHWM")]
    return int(line.split()[1]) / 1024


def _said(answer: Any) -> str:
    """What was found, in a few words."""
    document = answer.to_json()
    if "variants" in document:
        first, count = document["variants"][0], len(document["variants"])
        return f"loss {first['loss']:g}, bound {first['bound']:g}, {count} variants"
    if "points" in document:
        return f"{document['status']}, {len(document['points'])} points"
    if "questions" in document:
        asked = sum(one["answer"] is not None for one in document["questions"])
        return f"loss {document['before']['loss']:g}, {asked} questions answered"
    if "after" in document:
        return f"loss {document['loss']['before']:g} → {document['loss']['after']:g}"
    return f"loss {document['loss']:g}, bound {document['bound']:g}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
