# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Compiled: the loops of `walks`, over ladders of one selection and over packed selections."""

from __future__ import annotations

import cython
import numpy as np

SLACK = cython.declare(cython.double, 1e-6)


def ladder_bounds(
    edge: cython.const[cython.double][:, :, :],
    top: cython.const[cython.double][:, :, :],
    least: cython.double[:, :, ::1],
    total: cython.double[:, :, ::1],
) -> None:
    """Fills in `walks.ladder_bounds`, where all is inf."""
    t: cython.Py_ssize_t
    u: cython.Py_ssize_t
    n: cython.Py_ssize_t
    levels: cython.Py_ssize_t = edge.shape[2]
    steps_max: cython.Py_ssize_t = least.shape[1]
    met_at: cython.double[::1] = np.empty(levels + 1)  # a column, read once
    top_at: cython.double[::1] = np.empty(levels + 1)
    with cython.nogil:
        for k in range(edge.shape[0]):
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


@cython.cfunc
@cython.nogil
@cython.exceptval(check=False)
def within(
    bounds: cython.const[cython.double][::1], room: cython.const[cython.double][:, :]
) -> cython.bint:
    """Whether a corner has room for the bounds; `room[k, q]` is the measure k of corner q."""
    fits: cython.bint
    for q in range(room.shape[1]):
        fits = True
        for k in range(bounds.shape[0]):
            if bounds[k] > room[k, q] + SLACK:
                fits = False
                break
        if fits:
            return True
    return False


def ladders_left(
    edge: cython.const[cython.double][:, :, :],
    top: cython.const[cython.double][:, :, :],
    least: cython.const[cython.double][:, :, ::1],
    room: cython.const[cython.double][:, :],
    must: cython.const[cython.uchar][:],
    ladder: cython.longlong[::1],
    depth: cython.Py_ssize_t,
    turns: cython.Py_ssize_t,
    found: cython.longlong[:, ::1],
) -> tuple[int, int]:
    """Fills in `walks.ladders_left`; returns how many were found, and the depth to go on."""
    measures: cython.Py_ssize_t = edge.shape[0]
    count: cython.Py_ssize_t = ladder.shape[0]
    most: cython.Py_ssize_t = found.shape[0]
    number: cython.Py_ssize_t = 0
    spent: cython.double[:, ::1] = np.empty((count, measures))  # of the steps above, by depth
    bounds: cython.double[::1] = np.empty(measures)
    d: cython.Py_ssize_t
    place: cython.Py_ssize_t
    complete: cython.bint
    skipped: cython.bint
    with cython.nogil:
        for d in range(1, depth):
            for k in range(measures):
                if d == 1:
                    spent[0, k] = top[k, ladder[1] + 1, ladder[0]] + 0.0
                else:
                    met = edge[k, ladder[d] + 1, ladder[d - 1]]
                    spent[d - 1, k] = met + spent[d - 2, k]
        for place in range(ladder[0] + 1, must.shape[0]):
            if must[place]:
                depth = 0
        while depth > 0 and number < most and turns > 0:
            turns -= 1
            if depth == count:
                complete = True
                lowest = ladder[count - 1]
                for place in range(lowest):
                    complete = complete and not must[place]
                for k in range(measures):
                    if count == 1:
                        bounds[k] = top[k, 0, lowest]
                    else:
                        bounds[k] = spent[count - 2, k] + edge[k, 0, lowest]
                if complete and within(bounds, room):
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
                    if within(bounds, room):
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


def changes(
    rssi: cython.const[cython.double][:, :],
    least: cython.const[cython.double][::1],
    row_class: cython.const[cython.longlong][::1],
    row_change: cython.const[cython.double][::1],
    found: cython.double[:, :, ::1],
) -> None:
    """Fills in `walks.changes_of`, by class, level and cutoff, where all is 0."""
    r: cython.Py_ssize_t
    t: cython.Py_ssize_t
    k: cython.Py_ssize_t
    c: cython.Py_ssize_t
    with cython.nogil:
        for r in range(rssi.shape[0]):
            c, change = row_class[r], row_change[r]
            for t in range(rssi.shape[1]):
                peak, k = rssi[r, t], 0
                while k < least.shape[0] and peak >= least[k]:
                    found[c, t, k] += change
                    k += 1


def accept(
    rssi: cython.const[cython.double][:, ::1],
    levels: cython.const[cython.longlong][:],
    least: cython.double,
    row_class: cython.const[cython.longlong][::1],
    through: cython.const[cython.uchar][:],
    accepted: cython.uchar[:, ::1],
) -> None:
    """Fills in whether rows of the classes let through have a read of `least` at some levels;
    `rssi[l, r]`."""
    let: cython.uchar[::1] = np.empty(row_class.shape[0], np.uint8)
    r: cython.Py_ssize_t
    n: cython.Py_ssize_t
    level: cython.Py_ssize_t
    with cython.nogil:
        for r in range(row_class.shape[0]):
            let[r] = through[row_class[r]]
        for n in range(levels.shape[0]):
            level = levels[n]
            for r in range(row_class.shape[0]):
                accepted[n, r] = (rssi[level, r] >= least) & let[r]


def reported(
    ladders: cython.const[cython.longlong][:, :],
    accepted: cython.const[cython.uchar][:, ::1],
    start: cython.const[cython.longlong][:],
    row_count: cython.const[cython.longlong][::1],
    wanted: cython.const[cython.longlong][::1],
    stray: cython.const[cython.longlong][::1],
    stop_after: cython.longlong,
    found: cython.longlong[:, ::1],
) -> None:
    """Fills in the wanted and the stray tags that ladders report; `accepted[l, r]` is 0 or 1."""
    on: cython.uchar[::1] = np.empty(accepted.shape[1], np.uint8)
    steps: cython.Py_ssize_t = ladders.shape[1]
    p: cython.Py_ssize_t
    r: cython.Py_ssize_t
    first: cython.Py_ssize_t
    end: cython.Py_ssize_t
    place: cython.Py_ssize_t
    tags: cython.longlong
    missed: cython.longlong
    let: cython.longlong
    with cython.nogil:
        for i in range(ladders.shape[0]):
            missed = 0
            let = 0
            for p in range(start.shape[0] - 1):
                first = start[p]
                end = start[p + 1]
                for r in range(first, end):
                    on[r] = 0
                for n in range(steps - 1, -1, -1):
                    place = ladders[i, n]
                    tags = 0
                    for r in range(first, end):  # without branches: many rows at a time
                        on[r] |= accepted[place, r]
                        tags += on[r] * row_count[r]
                    if tags >= stop_after:
                        break
                for r in range(first, end):
                    missed += on[r] * wanted[r]
                    let += on[r] * stray[r]
            found[i, 0] = missed
            found[i, 1] = let


def sums_of_bytes(weight: cython.const[cython.double][:], table: cython.double[:, ::1]) -> None:
    """Fills in `walks.sums_of_bytes`, where all is 0."""
    place: cython.Py_ssize_t
    value: cython.Py_ssize_t
    low: cython.Py_ssize_t
    with cython.nogil:
        for place in range(table.shape[0]):
            for value in range(1, 256):
                low = 0
                while not (value >> low) & 1:
                    low += 1
                table[place, value] = (
                    table[place, value & (value - 1)] + weight[8 * place + 7 - low]
                )


def sums_of(
    packed: cython.const[cython.uchar][:, :],
    table: cython.const[cython.double][:, ::1],
    found: cython.double[::1],
) -> None:
    """Fills in `walks.sums_of`."""
    total: cython.double
    with cython.nogil:
        for row in range(packed.shape[0]):
            total = 0.0
            for place in range(packed.shape[1]):
                total += table[place, packed[row, place]]
            found[row] = total
