# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Compiled: the tables of `cells`."""

from __future__ import annotations

import cython
import numpy as np


def fill(
    rssi: cython.const[cython.double][:, ::1],
    levels: cython.const[cython.longlong][:],
    low: cython.double,
    high: cython.double,
    stays: cython.bint,
    order: cython.const[cython.longlong][::1],
    begin: cython.const[cython.longlong][::1],
    wanted: cython.const[cython.uchar][:],
    count: cython.const[cython.longlong][:],
    weight: cython.const[cython.longlong][:],
    missed: cython.double[:, ::1],
    stray: cython.double[:, ::1],
    hold: cython.double[:, ::1],
    first: cython.longlong[::1],
) -> None:
    """What each cell changes, and holds for sure, at each level, if a read of `low` may be accepted
    and one of `high` is; the first level at which each row may be."""
    c: cython.Py_ssize_t
    t: cython.Py_ssize_t
    r: cython.Py_ssize_t
    lowest: cython.Py_ssize_t
    place: cython.Py_ssize_t
    number: cython.Py_ssize_t = levels.shape[0]
    peak: cython.double[::1] = np.empty(number)
    with cython.nogil:
        for c in range(begin.shape[0] - 1):
            for t in range(number):
                missed[c, t] = 0.0
                stray[c, t] = 0.0
                hold[c, t] = 0.0
            for place in range(begin[c], begin[c + 1]):
                r = order[place]
                lowest = 0
                while lowest < number and not rssi[r, levels[lowest]] >= low:
                    lowest += 1
                if lowest == number:
                    first[r] = -1
                    continue
                first[r] = lowest
                tags: cython.double = count[r]
                cost: cython.double = weight[r]
                for t in range(lowest, number):
                    peak[t] = rssi[r, levels[t]]
                for t in range(lowest, number):  # without branches: some levels at a time
                    hold[c, t] += tags if peak[t] >= high else 0.0
                if not wanted[r]:
                    for t in range(lowest, number):
                        stray[c, t] += cost if peak[t] >= high else 0.0
                elif stays:
                    for t in range(lowest, number):
                        missed[c, t] -= cost
                else:
                    for t in range(lowest, number):
                        missed[c, t] -= cost if peak[t] >= low else 0.0


def weigh(
    missed: cython.const[cython.double][:, ::1],
    stray: cython.const[cython.double][:, ::1],
    of_missed: cython.double,
    of_stray: cython.double,
    gain: cython.double[:, ::1],
) -> None:
    """What each cell changes at each level, by the weights of a measure."""
    c: cython.Py_ssize_t
    t: cython.Py_ssize_t
    with cython.nogil:
        for c in range(gain.shape[0]):
            for t in range(gain.shape[1]):
                gain[c, t] = of_missed * missed[c, t] + of_stray * stray[c, t]


def sort_by_first(
    of_pass: cython.const[cython.longlong][:],
    first: cython.const[cython.longlong][::1],
    levels: cython.Py_ssize_t,
    start: cython.longlong[::1],
    row: cython.longlong[::1],
) -> None:
    """The rows of each pass that have a first level, by it: from `start[p]` on, those of pass p."""
    p: cython.Py_ssize_t
    t: cython.Py_ssize_t
    number: cython.Py_ssize_t = 0
    at: cython.longlong[::1] = np.empty(levels + 1, np.int64)
    with cython.nogil:
        for p in range(start.shape[0] - 1):
            start[p] = number
            for t in range(levels + 1):
                at[t] = 0
            for r in range(of_pass[p], of_pass[p + 1]):
                if first[r] >= 0:
                    at[first[r] + 1] += 1
            for t in range(levels):
                at[t + 1] += at[t]
            for r in range(of_pass[p], of_pass[p + 1]):
                if first[r] >= 0:
                    row[number + at[first[r]]] = r
                    at[first[r]] += 1
            number += at[levels]
        start[start.shape[0] - 1] = number


def flips(
    start: cython.const[cython.longlong][::1],
    hold: cython.const[cython.double][:, ::1],
    flip_start: cython.longlong[::1],
    flip: cython.longlong[::1],
) -> int:
    """For each pass and level the cells whose tags begin or cease to be accepted there, and where
    these begin; returns how many there are. `flip` has room for each cell at each level."""
    p: cython.Py_ssize_t
    t: cython.Py_ssize_t
    c: cython.Py_ssize_t
    i: cython.Py_ssize_t
    before: cython.bint
    now: cython.bint
    number: cython.Py_ssize_t = 0
    found: cython.Py_ssize_t
    most: cython.Py_ssize_t = 0
    levels: cython.Py_ssize_t = hold.shape[1]
    for p in range(start.shape[0] - 1):
        most = max(most, start[p + 1] - start[p])
    at: cython.longlong[::1] = np.empty(levels + 1, np.int64)
    cell: cython.longlong[::1] = np.empty(most * levels, np.int64)  # as they come, in one pass
    level: cython.longlong[::1] = np.empty(most * levels, np.int64)
    with cython.nogil:
        for p in range(start.shape[0] - 1):
            for t in range(levels + 1):
                at[t] = 0
            found = 0
            for c in range(start[p], start[p + 1]):
                before = False
                for t in range(levels):
                    now = hold[c, t] > 0
                    if now != before:
                        cell[found], level[found] = c, t
                        at[t + 1] += 1
                        found += 1
                        before = now
            at[0] = number
            for t in range(levels):
                flip_start[p * levels + t] = at[t]
                at[t + 1] += at[t]
            for i in range(found):
                t = level[i]
                flip[at[t]] = cell[i]
                at[t] += 1
            number += found
        flip_start[flip_start.shape[0] - 1] = number
    return number
