"""What judging costs: `python -m tests.bench.judging` prints processor time, in choices.

Each read point of the demo is judged in one process. The command has each processor start a process
(a second or two) and take part, so on two idle ones it takes near that and half of what is printed.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator, Sequence

from cases.generate import FOLDER
from strategist.answers.assessment import choose
from strategist.answers.full_assessment import assess_fully
from strategist.answers.solution import Options
from strategist.optimise.strategy import Strategy
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint


def main() -> None:
    spent: list[float] = []

    def mapped(
        function: Callable[[ReadPoint], Strategy], parts: Sequence[ReadPoint]
    ) -> Iterator[Strategy]:
        for part in parts:
            started = time.process_time()
            yield function(part)
            spent.append(time.process_time() - started)

    points = read_case(FOLDER).read_points
    choose(points[0], Options(unseen=False))  # libraries are loaded
    for point in points:
        spent.clear()
        started = time.process_time()
        choose(point, Options(unseen=False))
        once = time.process_time() - started
        started = time.process_time()
        assess_fully(point, Options(), mapped)
        whole = time.process_time() - started
        print(
            f"{point.name}: judging is {whole / once:.1f} choices ({whole:.1f} s of processor "
            f"time): {len(spent)} further choices {sum(spent):.1f} s, the rest "
            f"{whole - once - sum(spent):.1f} s; half of it is {whole / 2:.1f} s",
            flush=True,
        )


if __name__ == "__main__":
    argparse.ArgumentParser(prog="python -m tests.bench.judging", description=__doc__).parse_args()
    main()
