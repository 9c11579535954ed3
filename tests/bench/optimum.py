"""Whether intervals of passes to come hold the truth: `python -m tests.bench.optimum READ_POINT`.

In surveys drawn from the demo's generator: how often the interval of the expected loss holds the
true loss of the strategy chosen, and how often that of the least expected loss of any strategy
holds the true loss of the best known (the best of 1,000 passes, over 1,500 new passes). `--first`
and `--draws` cut it into pieces.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace

import numpy as np

from strategist.answers.expected import expected_of
from strategist.answers.solution import solve
from strategist.survey.records import ReadPoint
from tests.bench.drawn import drawn_read_point
from tests.bench.regret import FIRST_SEED, OPTIONS, best_known, true_loss


def held(name: str, passes: int, seed: int) -> tuple[float, ...]:
    """Whether each interval holds the truth, where not, on which side, and both ends of each."""
    point = drawn_read_point(name, passes, FIRST_SEED + 5000 + seed)
    aimed = ReadPoint(point.survey, replace(point.policy, aim="expected"))
    options = replace(OPTIONS, seed=seed)
    solution = solve(aimed, options)
    found = expected_of(solution, options)
    assert found is not None
    loss, optimum = found.loss, found.optimum
    truth, best = true_loss(name, solution.strategy), best_known(name)
    return (
        float(loss.low <= truth <= loss.high),
        float(optimum.low <= best <= optimum.high),
        float(optimum.low > best),
        float(optimum.high < best),
        optimum.low,
        loss.a_pass,
        optimum.high,
        truth,
    )


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.optimum", description=__doc__)
    parser.add_argument("name", metavar="READ_POINT")
    parser.add_argument("--passes", type=int, default=60)
    parser.add_argument("--draws", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args(arguments)
    found = []
    for seed in range(given.first, given.first + given.draws):
        found.append(held(given.name, given.passes, seed))
        told = " ".join(f"{value:.4f}" for value in found[-1])
        print(f"# {given.name} {given.passes} {seed} {told}", flush=True)
    mean = np.array(found).mean(axis=0)
    print(
        f"{given.name}, {given.passes} passes, {len(found)} surveys, best known "
        f"{best_known(given.name):.4f}: expected loss {mean[5]:.4f}, true {mean[7]:.4f}; its "
        f"interval holds it in {mean[0]:.1%}, that of the optimum ({mean[4]:.4f} to {mean[6]:.4f} "
        f"in the mean) the best known in {mean[1]:.1%} (too high {mean[2]:.1%}, too low "
        f"{mean[3]:.1%})"
    )


if __name__ == "__main__":
    main(sys.argv[1:])
