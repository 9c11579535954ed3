"""Compiled loops over ladders of one selection, and over packed selections."""

from __future__ import annotations

import numpy as np

from strategist.optimise.cached_numba import compiled
from strategist.survey.records import Bools, Bytes, Floats, Ints

__all__ = [
    "counts_of",
    "ladder_bounds",
    "ladders_left",
    "sums_of",
    "sums_of_bytes",
]

_SLACK = 1e-6


def ladder_bounds(edge: Floats, top: Floats, steps_max: int) -> tuple[Floats, Floats]:
    """(least, total) of several measures, as in `ladders.Steps`; axis 0 is the measure.

    `edge` and `top` have shape (measures, levels + 1, levels), as `kernel.step_costs` gives them.
    """
    measures, _, levels = edge.shape
    least = np.full((measures, steps_max, levels), np.inf)
    total = np.full((measures, steps_max, levels), np.inf)
    _ladder_bounds(edge, top, least, total)
    return least, total


@compiled
def _ladder_bounds(edge: Floats, top: Floats, least: Floats, total: Floats) -> None:
    measures, _, levels = edge.shape
    steps_max = least.shape[1]
    met_at, top_at = np.empty(levels + 1), np.empty(levels + 1)  # a column, read once
    for k in range(measures):
        for t in range(levels):
            least[k, 0, t] = edge[k, 0, t]
            total[k, 0, t] = top[k, 0, t]
        for t in range(1, levels):
            for u in range(t + 1):
                met_at[u] = edge[k, u, t]
                top_at[u] = top[k, u, t]
            for n in range(1, min(steps_max, t + 1)):
                for u in range(t):
                    before = least[k, n - 1, u]
                    least[k, n, t] = min(least[k, n, t], before + met_at[u + 1])
                    total[k, n, t] = min(total[k, n, t], before + top_at[u + 1])


@compiled
def _within(bounds: Floats, room: Floats) -> bool:
    """Whether a corner has room for the bounds; `room[k, q]` is the measure k of corner q."""
    for q in range(room.shape[1]):
        fits = True
        for k in range(len(bounds)):
            if bounds[k] > room[k, q] + _SLACK:
                fits = False
                break
        if fits:
            return True
    return False


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
    number, depth = _ladders_left(edge, top, least, room, must, ladder, depth, turns, found)
    return found[:number], depth


@compiled
def _ladders_left(
    edge: Floats,
    top: Floats,
    least: Floats,
    room: Floats,
    must: Bools,
    ladder: Ints,
    depth: int,
    turns: int,
    found: Ints,
) -> tuple[int, int]:
    measures, count = edge.shape[0], len(ladder)
    most, number = len(found), 0
    spent = np.empty((count, measures))  # of the steps above, with the one at this depth chosen
    bounds = np.empty(measures)
    for d in range(1, depth):
        for k in range(measures):
            met = (
                top[k, ladder[1] + 1, ladder[0]]
                if d == 1
                else edge[k, ladder[d] + 1, ladder[d - 1]]
            )
            spent[d - 1, k] = met + (spent[d - 2, k] if d > 1 else 0.0)
    for place in range(ladder[0] + 1, len(must)):
        if must[place]:
            return 0, 0
    while depth > 0 and number < most and turns > 0:
        turns -= 1
        if depth == count:
            complete = True
            lowest = ladder[count - 1]
            for place in range(lowest):
                complete = complete and not must[place]
            for k in range(measures):
                above = spent[count - 2, k] if count > 1 else 0.0
                bounds[k] = top[k, 0, lowest] if count == 1 else above + edge[k, 0, lowest]
            if complete and _within(bounds, room):
                for n in range(count):
                    found[number, n] = ladder[n]
                number += 1
            depth -= 1
            continue
        # the next lower step below ladder[depth − 1]
        upper = ladder[depth - 1]
        place = max(ladder[depth] + 1, count - depth - 1)
        chosen = -1
        while place < upper:
            turns -= 1
            skipped = False
            for between in range(place + 1, upper):
                skipped = skipped or must[between]
            if not skipped:
                for k in range(measures):
                    met = top[k, place + 1, upper] if depth == 1 else edge[k, place + 1, upper]
                    above = 0.0 if depth == 1 else spent[depth - 2, k]
                    spent[depth - 1, k] = above + met
                    bounds[k] = spent[depth - 1, k] + least[k, count - depth - 1, place]
                if _within(bounds, room):
                    chosen = place
                    break
            place += 1
        ladder[depth] = chosen
        if chosen < 0:
            depth -= 1
        else:
            depth += 1
            if depth < count:
                ladder[depth] = -1
    return number, depth


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
    by_level = np.ascontiguousarray(accepted.T).view(np.uint8)
    reported = np.zeros((len(ladders), 2), np.int64)
    _reported(
        ladders, by_level, start, row_count, wanted, row_weight - wanted, stop_after, reported
    )
    reported[:, 0] = wanted.sum() - reported[:, 0]
    return reported


@compiled
def _reported(
    ladders: Ints,
    accepted: Bytes,
    start: Ints,
    row_count: Ints,
    wanted: Ints,
    stray: Ints,
    stop_after: int,
    found: Ints,
) -> None:
    """Add up the wanted and the stray tags that ladders report; `accepted[l, r]` is 0 or 1."""
    reported = np.empty(accepted.shape[1], np.uint8)
    steps = ladders.shape[1]
    for i in range(len(ladders)):
        for p in range(len(start) - 1):
            first, end = start[p], start[p + 1]
            for r in range(first, end):
                reported[r] = 0
            for n in range(steps - 1, -1, -1):
                on = accepted[ladders[i, n]]
                tags = 0
                for r in range(first, end):  # without branches, many rows at a time
                    reported[r] |= on[r]
                    tags += reported[r] * row_count[r]
                if tags >= stop_after:
                    break
            for r in range(first, end):
                found[i, 0] += reported[r] * wanted[r]
                found[i, 1] += reported[r] * stray[r]


def sums_of_bytes(weight: Floats) -> Floats:
    """Σ weight over the bits of each byte value, first bit highest: shape (bytes, 256)."""
    table = np.zeros((len(weight) // 8, 256))
    _sums_of_bytes(weight, table)
    return table


@compiled
def _sums_of_bytes(weight: Floats, table: Floats) -> None:
    for place in range(len(table)):
        for value in range(1, 256):
            low = 0
            while not (value >> low) & 1:
                low += 1
            table[place, value] = table[place, value & (value - 1)] + weight[8 * place + 7 - low]


def sums_of(packed: Bytes, table: Floats) -> Floats:
    """Σ weight over the bits set in each row of bytes, by the table of `sums_of_bytes`."""
    found = np.empty(len(packed))
    _sums_of(packed, table, found)
    return found


@compiled
def _sums_of(packed: Bytes, table: Floats, found: Floats) -> None:
    for row in range(len(packed)):
        total = 0.0
        for place in range(packed.shape[1]):
            total += table[place, packed[row, place]]
        found[row] = total
