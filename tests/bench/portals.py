"""Made portals for the model of own powers: `python -m tests.bench.portals` prints the processor
time by size, for the large portal of the tests and for one of rays, where links fade more.

Antennas stand round a gate, wanted tags pass between them, strays wait about it; each link is the
sum of a few rays with phases drawn for it. Invented, from a seed; not a measured site.
"""

from __future__ import annotations

import itertools
import math
import sys
import time
from dataclasses import replace

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.own_model import prove_own_powers
from strategist.optimise.own_part import by_antenna
from strategist.optimise.own_powers import ByAntenna, descend
from strategist.optimise.problem import pose
from strategist.survey.policy import Limits, Loss
from strategist.survey.score import Peak, scored
from tests.optimise.portals import LARGE, made

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


def main(sizes: list[int]) -> None:
    print("portal  presentations  descent s   loss  model s   loss  bound  nodes  variables   rows")
    for size, (name, build) in itertools.product(
        sizes, (("large", as_surveyed), ("rays", lambda passes: portal(0, passes, 20)))
    ):
        problem = build(size // 20)
        began = time.process_time()
        first = descend(problem, Clock())
        descent = time.process_time() - began
        proven = prove_own_powers(problem, Clock(400), start=first)
        took, effort = time.process_time() - began - descent, dict(proven.effort)
        print(
            f"{name:6} {size:14} {descent:10.2f} {problem.key(first)[1]:6g} {took:8.1f} "
            f"{proven.key[1]:6g} {proven.bound[1]:6g} {effort['nodes']:6} "
            f"{effort.get('variables', 0):10} {effort.get('rows', 0):6}",
            flush=True,
        )


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or [600, 1800])
