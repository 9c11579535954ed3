"""Tables as the compiled loops read them, of random numbers."""

from __future__ import annotations

from typing import Any

import numpy as np

from strategist.optimise.loops import tables
from strategist.optimise.own_columns import Columns

Random = np.random.Generator


def some_cells(rng: Random, passes: int, classes: int, levels: int) -> dict[str, Any]:
    """Tables as of `bounds.Cells`, laid out soundly, of random numbers."""
    inside = rng.random((passes, classes)) < rng.choice([0.3, 1.0])
    klass, start = np.nonzero(inside)[1].copy(), np.append(0, np.cumsum(inside.sum(axis=1)))
    shape = len(klass), levels
    hold = rng.integers(1, 3, shape) * (rng.random(shape) < 0.5) * 1.0
    row_class, row_first, row_start = [], [], [0]
    for p in range(passes):
        own = np.repeat(klass[start[p] : start[p + 1]], 2)
        first = np.sort(rng.integers(0, levels, len(own)))
        row_class.append(own)
        row_first.append(first)
        row_start.append(row_start[-1] + len(own))
    flip_start = np.empty(passes * levels + 1, np.int64)
    flip = np.empty(hold.size, np.int64)
    flip = flip[: tables.flips(start, hold, flip_start, flip)]
    none = np.empty(0, np.int64)
    return {
        "start": start,
        "klass": klass,
        "gain": rng.normal(0, 2, shape) if rng.random() < 0.5 else rng.integers(-4, 5, shape) * 1.0,
        "hold": hold,
        "accepts": hold > 0,
        "base": rng.integers(0, 9, passes) * 1.25,
        "row_start": np.array(row_start),
        "row_class": np.concatenate([none, *row_class]),
        "row_first": np.concatenate([none, *row_first]),
        "row_count": rng.integers(1, 3, row_start[-1]) * 1.0,
        "flip_start": flip_start,
        "flip": flip,
    }


def some_columns(rng: Random) -> Columns:
    """Antennas that hear some rows at some levels, one of them maybe nothing."""
    antennas, rows = int(rng.integers(1, 4)), int(rng.choice([0, 3, 15]))
    places = [a for a in range(antennas) for _ in range(int(rng.integers(0, 3)))]
    sizes = [int(rng.integers(1, 4)) for _ in places]
    first = np.append(0, np.cumsum(np.array(sizes, np.int64)))
    row, column, begin = [np.empty(0, np.int64)], [np.empty(0, np.int64)], [0]
    for n, size in enumerate(sizes):
        reached = rng.integers(-1, size, rows)
        order = np.argsort(-reached, kind="stable")[: int((reached >= 0).sum())]
        row.append(order)
        column.append(first[n] + reached[order])
        begin.append(begin[-1] + len(order))
    each, none = np.arange(antennas), np.empty(0)
    return Columns(
        antenna=np.append(np.repeat(np.array(places, np.int64), sizes), each),
        level=none.astype(np.int64),
        cutoff=none,
        place=np.append(np.repeat(np.arange(len(sizes)), sizes), np.full(antennas, -1)),
        breadth=none,
        of_place=np.array(places, np.int64),
        begin=np.array(begin),
        row=np.concatenate(row),
        column=np.concatenate(column),
        wanted=rng.random(rows) < 0.4,
        cost=rng.choice([1.0, 2.5, 5.0], rows),
        most_on=int(rng.integers(1, antennas + 1)),
    )
