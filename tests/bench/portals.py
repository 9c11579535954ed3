"""Made portals for the model of own powers: `python -m tests.bench.portals` prints the processor
time by size, for the large portal of the tests and for one of rays, where links fade more;
`--ladders` what boxes of trims and cutoffs prove of ladders, by antennas, levels and passes.

Antennas stand round a gate, wanted tags pass between them, strays wait about it; each link is the
sum of a few rays with phases drawn for it. Invented, from a seed; not a measured site.
"""

from __future__ import annotations

import argparse
import itertools
import math
import time
from dataclasses import replace

import numpy as np

from strategist.answers.solution import solve
from strategist.optimise.clock import Clock
from strategist.optimise.own_heard import by_antenna
from strategist.optimise.own_model import prove_own_powers
from strategist.optimise.own_powers import ByAntenna, descend
from strategist.optimise.problem import pose
from strategist.survey.policy import Limits, Loss, Policy, Reader
from strategist.survey.records import ReadPoint
from strategist.survey.score import Peak, scored
from tests.optimise.portals import CLOSE, LARGE, Portal, made

_STANDS = np.array([[0.0, -0.9], [0.0, 0.9], [1.2, -0.9], [1.2, 0.9]])  # metres, along and across


def portal(
    seed: int, passes: int, tags: int, *, antennas: int = 4, step_db: float = 0.5
) -> ByAntenna:
    """A gate with up to four antennas, 10 to 29 dBm in whole dB; a third of the tags is wanted."""
    levels, rng = 20, np.random.default_rng(seed)
    count = passes * tags
    wanted = rng.random(count) < 1 / 3
    along = np.where(wanted, rng.uniform(0, 1.2, count), rng.uniform(-3, 4.5, count))
    across = np.where(wanted, rng.uniform(-0.5, 0.5, count), rng.uniform(1.4, 3.5, count))
    load_db = rng.uniform(0, 12, count)
    power = np.arange(10.0, 10.0 + levels)
    rssi = np.full((count, antennas, levels), -np.inf)
    for a, (x, y) in enumerate(_STANDS[:antennas]):
        distance = np.hypot(along - x, across - y).clip(0.3)
        rays = 1 + (0.5 * np.exp(2j * math.pi * rng.random((3, count)))).sum(axis=0)
        gain = 20 * np.log10(np.abs(rays) / distance) - 31.7 - load_db + 3
        incident = power + gain[:, None] + rng.normal(0, 0.25, (count, levels))
        answer = incident + gain[:, None] - 5 + rng.normal(0, 0.4, (count, levels))
        heard = (incident >= -16) & (answer >= -80) & (rng.random((count, levels)) > 0.02)
        rssi[:, a] = np.where(heard, np.round(2 * answer) / 2, -np.inf)
    drift = np.where(wanted, -2.0, 2.0)[:, None, None]
    return ByAntenna(
        wanted=wanted,
        weight=np.ones(count),
        row_class=np.zeros(count, np.int64),
        rssi=rssi,
        guarded=rssi + drift,
        allowed=np.ones((antennas, levels), bool),
        through=np.ones((1, 1), bool),
        loss=Loss(5, 1),
        limits=Limits(),
        passes=passes,
        step_db=step_db,
    )


def as_surveyed(passes: int) -> ByAntenna:
    """The large portal of the tests, twenty tags a pass, as the program poses it."""
    point = made(replace(LARGE, passes=passes), 0)
    heard = scored(point.survey, point.policy, Peak(), None)
    assert heard is not None
    base = pose(heard.survey, heard.policy)
    return by_antenna(point.survey, point.policy, base, np.ones((1, base.profile.classes), bool))


def main(sizes: list[int], models: bool) -> None:
    prove_own_powers(portal(0, 3, 20), Clock())  # compiled
    print("portal seed presentations descent s  loss  search s  loss bound parts bounds  model s")
    kinds = [("large", 0), *(("rays", seed) for seed in range(3))]
    for size, (name, seed) in itertools.product(sizes, kinds):
        problem = as_surveyed(size // 20) if name == "large" else portal(seed, size // 20, 20)
        began = time.process_time()
        first = descend(problem, Clock())
        descent = time.process_time() - began
        proven = prove_own_powers(problem, Clock(400), start=first)
        took, effort = time.process_time() - began - descent, dict(proven.effort)
        print(
            f"{name:6} {seed:4} {size:13} {descent:9.2f} {problem.key(first)[1]:5g} {took:9.1f} "
            f"{proven.key[1]:5g} {proven.bound[1]:5g} {effort['parts']:5} {effort['bounds']:6}",
            end=" ",
            flush=True,
        )
        print(_by_model(problem, proven.key[1]) if models else "", flush=True)


def _by_model(problem: ByAntenna, loss: float) -> str:
    """What the model alone takes, and whether it comes to the same loss."""
    began = time.process_time()
    found = prove_own_powers(problem, Clock(400), method="model")
    same = "" if found.key[1] == loss and found.proven else f" {found.bound[1]:g}–{found.key[1]:g}"
    return f"{time.process_time() - began:8.1f}{same}"


def _ladders() -> None:
    """Three steps at most, no masks; `loss` the best that any search found, `bound` of all ladders
    with own powers (equal: none is better)."""
    solve(_with_own(replace(LARGE, passes=3, levels=3), 2))  # compiled
    print("portal antennas levels passes  boxes  loss bound  CPU s")
    for name, portal, count, levels, passes in (
        ("large", LARGE, 2, 10, 20),
        ("large", LARGE, 2, 20, 100),
        ("gate", CLOSE, 2, 10, 20),
        ("gate", CLOSE, 2, 20, 100),
        ("large", LARGE, 3, 10, 20),
        ("large", LARGE, 4, 8, 10),
        ("large", LARGE, 4, 20, 100),
    ):
        point = _with_own(replace(portal, levels=levels, passes=passes), count)
        began = time.process_time()
        found = solve(point)
        assert found.own is not None
        told = found.own.to_json()
        bound = found.bound if found.own.all_ladders else told["bound_of_ladders"]
        print(
            f"{name:6} {count:8} {levels:6} {passes:6} {told.get('boxes', 0):6} {found.loss:5g} "
            f"{bound:5g} {time.process_time() - began:6.1f}",
            flush=True,
        )


def _with_own(portal: Portal, antennas: int) -> ReadPoint:
    policy = Policy(loss=Loss(5, 1), reader=Reader(3, 0, antenna_power="own"))
    return made(replace(portal, antennas=portal.antennas[:antennas]), 0, policy)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.bench.portals", description=__doc__)
    parser.add_argument("presentations", nargs="*", type=int, default=[600, 1800])
    parser.add_argument("--model", action="store_true", help="the model alone, too")
    parser.add_argument("--ladders", action="store_true", help="ladders with own powers alone")
    asked = parser.parse_args()
    if asked.ladders:
        _ladders()
    else:
        main(asked.presentations, asked.model)
