# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Compiled: the tables of `cells`."""

from __future__ import annotations

import cython
import numpy as np


def fill(
    rssi: cython.const[cython.double][:, :],
    levels: cython.const[cython.longlong][:],
    low: cython.double,
    high: cython.double,
    stays: cython.bint,
    order: cython.const[cython.longlong][:],
    begin: cython.const[cython.longlong][:],
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
    may_be: cython.bint
    number: cython.Py_ssize_t = levels.shape[0]
    with cython.nogil:
        for c in range(begin.shape[0] - 1):
            for t in range(number):
                missed[c, t] = 0.0
                stray[c, t] = 0.0
                hold[c, t] = 0.0
            for place in range(begin[c], begin[c + 1]):
                r = order[place]
                first[r] = -1
                for t in range(number):
                    peak = rssi[r, levels[t]]
                    may_be = peak >= low
                    if may_be and first[r] < 0:
                        first[r] = t
                    if wanted[r] and (may_be or (stays and first[r] >= 0)):
                        missed[c, t] -= weight[r]
                    if peak >= high:
                        hold[c, t] += count[r]
                        if not wanted[r]:
                            stray[c, t] += weight[r]


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
    start: cython.const[cython.longlong][:],
    hold: cython.const[cython.double][:, ::1],
    flip_start: cython.longlong[::1],
    flip: cython.longlong[::1],
) -> None:
    """For each pass and level the cells whose tags begin or cease to be accepted there: with no
    room for them, where those of each will stand; with room, which these are."""
    p: cython.Py_ssize_t
    t: cython.Py_ssize_t
    before: cython.bint
    now: cython.bint
    room: cython.bint = flip.shape[0] > 0
    number: cython.Py_ssize_t = 0
    levels: cython.Py_ssize_t = hold.shape[1]
    at: cython.longlong[::1] = np.empty(levels, np.int64)
    with cython.nogil:
        for p in range(start.shape[0] - 1):
            for t in range(levels):
                at[t] = flip_start[p * levels + t] if room else 0
            for c in range(start[p], start[p + 1]):
                before = False
                for t in range(levels):
                    now = hold[c, t] > 0
                    if now != before:
                        if room:
                            flip[at[t]] = c
                        at[t] += 1
                    before = now
            if not room:
                for t in range(levels):
                    flip_start[p * levels + t] = number
                    number += at[t]
        if not room:
            flip_start[flip_start.shape[0] - 1] = number
