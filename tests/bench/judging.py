"""What judging costs: `python -m tests.bench.judging` prints processor time, in choices.

Each read point of the demo is judged in one process; the wall time on k idle processors is near the
processor time of a choice plus the rest divided by k.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence

from cases.generate import FOLDER
from strategist.choose import choose
from strategist.decide import Options
from strategist.judge import judge
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
        judge(point, Options(), mapped)
        whole = time.process_time() - started
        print(
            f"{point.name}: judging is {whole / once:.1f} choices ({whole:.1f} s of processor "
            f"time): {len(spent)} further choices {sum(spent):.1f} s, the rest "
            f"{whole - once - sum(spent):.1f} s; on two idle processors about "
            f"{whole - sum(spent) / 2:.1f} s",
            flush=True,
        )


if __name__ == "__main__":
    main()
