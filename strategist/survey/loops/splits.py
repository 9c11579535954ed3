# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Compiled: the cells of a plain CSV file (`plain_csv`), each value known by its first place."""

from __future__ import annotations

import cython

COMMA = cython.declare(cython.int, 44)
LINE = cython.declare(cython.int, 10)
RETURN = cython.declare(cython.int, 13)
BASIS = cython.declare(cython.longlong, 18652613)  # of the hash FNV-1a, less its highest bit
PRIME = cython.declare(cython.longlong, 16777619)  # of the same
BITS = cython.declare(cython.longlong, 2147483647)  # that are kept: all but the sign


def split(
    data: cython.const[cython.uchar][::1],
    begin: cython.Py_ssize_t,
    end: cython.Py_ssize_t,
    code: cython.int[:, ::1],
    known: cython.int[::1],
    first: cython.longlong[:, ::1],
    size: cython.int[:, ::1],
    mark: cython.int[:, ::1],
    before: cython.int[:, ::1],
    last: cython.int[:, ::1],
) -> bool:
    """Whether bytes `begin` to `end` − 1 are just the rows of `code`, each with its columns.

    Each row ends with a line feed or both signs; the last may end with neither. `code[column, row]`
    becomes the number of a value among those of its column, in the order in which they come:
    `known[column]` of them, of which number n stands in the `size[column, n]` bytes from
    `first[column, n]` on. Values of a like hash are a chain: `last[column, hash]` is the newest
    (−1: none), `before[column, n]` the one before it, and `mark[column, n]` the whole hash.
    """
    columns: cython.Py_ssize_t = code.shape[0]
    rows: cython.Py_ssize_t = code.shape[1]
    at: cython.Py_ssize_t = begin
    start: cython.Py_ssize_t
    length: cython.Py_ssize_t
    column: cython.Py_ssize_t
    row: cython.Py_ssize_t
    k: cython.Py_ssize_t
    there: cython.longlong
    hashed: cython.longlong
    among: cython.longlong = last.shape[1] - 1
    found: cython.int
    byte: cython.uchar
    whole: cython.bint = True
    with cython.nogil:
        for row in range(rows):
            for column in range(columns):
                start = at
                hashed = BASIS
                while at < end:
                    byte = data[at]
                    if byte in (COMMA, LINE, RETURN):
                        break
                    hashed = ((hashed ^ byte) * PRIME) & BITS
                    at += 1
                length = at - start
                if column < columns - 1:
                    whole = at < end and data[at] == COMMA
                else:
                    if at < end and data[at] == RETURN:
                        at += 1
                    whole = at < end and data[at] == LINE
                    if row == rows - 1:
                        whole = at == end or (whole and at == end - 1)
                if not whole:
                    break
                at += 1
                found = last[column, hashed & among]
                while found >= 0:
                    if mark[column, found] == hashed and size[column, found] == length:
                        there = first[column, found]
                        k = 0
                        while k < length and data[there + k] == data[start + k]:
                            k += 1
                        if k == length:
                            break
                    found = before[column, found]
                if found < 0:
                    found = known[column]
                    known[column] = found + 1
                    first[column, found] = start
                    size[column, found] = length
                    mark[column, found] = hashed
                    before[column, found] = last[column, hashed & among]
                    last[column, hashed & among] = found
                code[column, row] = found
            if not whole:
                break
    return whole
