"""Ladders of one selection, and packed selections; the loops are compiled (`loops.walks`)."""

from __future__ import annotations

import numpy as np

from strategist.optimise.loops import walks
from strategist.survey.records import Bools, Bytes, Floats, Ints

__all__ = [
    "accepted_of",
    "changes_of",
    "counts_of",
    "ladder_bounds",
    "ladders_left",
    "sums_of",
    "sums_of_bytes",
]


def changes_of(
    rssi: Floats, least: Floats, row_class: Ints, row_change: Floats, classes: int
) -> Floats:
    """Σ `row_change` over the rows of each class with a read of `least` (dBm, ascending) or more at
    each level: shape (classes, least, levels). `rssi[r, l]`."""
    found = np.zeros((classes, rssi.shape[1], len(least)))
    walks.changes(rssi, least, row_class, row_change, found)
    return np.ascontiguousarray(found.transpose(0, 2, 1))


def ladder_bounds(edge: Floats, top: Floats, steps_max: int) -> tuple[Floats, Floats]:
    """(least, total) of several measures, as in `ladders.Steps`; axis 0 is the measure.

    `edge` and `top` have shape (measures, levels + 1, levels), as `kernel.step_costs` gives them.
    """
    measures, _, levels = edge.shape
    least = np.full((measures, steps_max, levels), np.inf)
    total = np.full((measures, steps_max, levels), np.inf)
    walks.ladder_bounds(edge, top, least, total)
    return least, total


def ladders_left(
    edge: Floats,
    top: Floats,
    least: Floats,
    room: Floats,
    must: Bools,
    ladder: Ints,
    depth: int,
    most: int,
    turns: int,
) -> tuple[Ints, int]:
    """The next ladders whose bounds a corner has room for, at most so many, and the depth to go on.

    Shape (ladders, count): places of levels from the top down, in the order of preference. Levels
    that `must` be are in each of them. `ladder` holds the topmost place, and below it −1 at first;
    with the depth, 1 at first, it says how far the walk has come, and moves on. Depth 0: there are
    no more. It pauses after so many `turns` of its loop.
    """
    found = np.empty((most, len(ladder)), np.int64)
    number, depth = walks.ladders_left(edge, top, least, room, must, ladder, depth, turns, found)
    return found[:number], depth


def accepted_of(rssi: Floats, levels: Ints, least: float, row_class: Ints, through: Bools) -> Bools:
    """Whether rows of the classes let through have a read of `least` (dBm) at each of some levels:
    shape (levels, rows). `rssi` has a row for each level."""
    accepted = np.empty((len(levels), len(row_class)), bool)
    walks.accept(rssi, levels, least, row_class, through, accepted)
    return accepted


def counts_of(
    ladders: Ints,
    accepted: Bools,
    start: Ints,
    row_count: Ints,
    wanted: Ints,
    stray: Ints,
    stop_after: int,
) -> Ints:
    """Missed and stray tags of ladders (places from the top down): shape (ladders, 2).

    `accepted[l, r]`: rows are sorted by pass group; those of p are `start[p] … start[p + 1]`. Of
    the tags of a row, `row_count` count to the stop; `wanted` and `stray` over all passes.
    """
    counts = np.empty((len(ladders), 2), np.int64)
    walks.reported(ladders, accepted, start, row_count, wanted, stray, stop_after, counts)
    counts[:, 0] = wanted.sum() - counts[:, 0]
    return counts


def sums_of_bytes(weight: Floats) -> Floats:
    """Σ weight over the bits of each byte value, first bit highest: shape (bytes, 256)."""
    table = np.zeros((len(weight) // 8, 256))
    walks.sums_of_bytes(weight, table)
    return table


def sums_of(packed: Bytes, table: Floats) -> Floats:
    """Σ weight over the bits set in each row of bytes, by the table of `sums_of_bytes`."""
    found = np.empty(len(packed))
    walks.sums_of(packed, table, found)
    return found
