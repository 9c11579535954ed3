"""Ladders of one selection, and packed selections; the loops are compiled (`loops.walks`)."""

from __future__ import annotations

import numpy as np

from strategist.optimise.loops import walks
from strategist.survey.records import Bools, Bytes, Floats, Ints

__all__ = [
    "counts_of",
    "ladder_bounds",
    "ladders_left",
    "sums_of",
    "sums_of_bytes",
]


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


def counts_of(
    ladders: Ints,
    accepted: Bools,
    start: Ints,
    row_count: Ints,
    row_weight: Ints,
    row_wanted: Bools,
    stop_after: int,
) -> Ints:
    """Missed and stray tags of ladders (places from the top down): shape (ladders, 2).

    `accepted[r, l]`: rows are sorted by pass group; those of p are `start[p] … start[p + 1]`.
    """
    wanted = np.where(row_wanted, row_weight, 0)
    by_level = np.ascontiguousarray(accepted.T)
    reported = np.zeros((len(ladders), 2), np.int64)
    of_rows = row_count, wanted, row_weight - wanted
    walks.reported(ladders, by_level, start, *of_rows, stop_after, reported)
    reported[:, 0] = wanted.sum() - reported[:, 0]
    return reported


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
