"""More slots, more seconds: never a worse answer? `python -m tests.bench.never_worse [--limits …]`.

The demo's read points with masks on any four bits of serial numbers, by seconds and mask slots.
Returns 1 where a slot or a second more made a loss higher, or a second more a bound lower. By the
clock of the processor, so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time

from strategist.optimise.clock import Clock
from strategist.optimise.problem import Answer, pose
from strategist.optimise.search import search
from strategist.radio.complete import complete
from tests.bench.nasty import serial_masks_at

POINTS = ("soiled-chute", "sorting-belt", "clean-gate", "shelf-cabinet")


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.never_worse", description=__doc__)
    parser.add_argument("--points", nargs="+", choices=POINTS, default=list(POINTS))
    parser.add_argument("--slots", nargs="+", type=int, default=[1, 2, 3, 4, 5])
    parser.add_argument("--limits", nargs="+", type=float, default=[2.0, 5.0, 20.0], metavar="S")
    given = parser.parse_args(arguments)
    slots, limits, worse = sorted(given.slots), sorted(given.limits), 0
    search_at("sorting-belt", 1, 5.0)  # compiles
    print(f"{'read point':16}{'slots':>6}{'limit s':>9}{'loss':>8}{'bound':>8}{'masks':>7}")
    for name in given.points:
        found: dict[tuple[int, float], Answer] = {}
        for number, limit in itertools.product(slots, limits):
            answer = found[number, limit] = search_at(name, number, limit)
            loss, bound, masks = answer.key[1], answer.bound[1], len(answer.chain.literals)
            print(f"{name:16}{number:>6}{limit:>9g}{loss:>8g}{bound:>8g}{masks:>7}", flush=True)
        for limit, (fewer, more) in itertools.product(limits, itertools.pairwise(slots)):
            worse += found[more, limit].key[:2] > found[fewer, limit].key[:2]
        for number, (less, more_s) in itertools.product(slots, itertools.pairwise(limits)):
            before, after = found[number, less], found[number, more_s]
            worse += after.key[:2] > before.key[:2] or after.bound < before.bound
    print(f"{worse} worse" if worse else "none worse")
    return 1 if worse else 0


def search_at(name: str, slots: int, limit: float) -> Answer:
    whole = complete(serial_masks_at(name, slots))
    problem = pose(whole.survey, whole.policy)
    return search(problem, Clock(limit, now=time.process_time))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
