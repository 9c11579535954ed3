# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Compiled: the loops of `joins`, over blocks of packed selections."""

from __future__ import annotations

import cython
import numpy as np

# ways to join a mask, and the bits that tell of them
AND = cython.declare(cython.int, 1)
AND_NOT = cython.declare(cython.int, 2)
OR = cython.declare(cython.int, 4)
OR_NOT = cython.declare(cython.int, 8)
WAYS = cython.declare(cython.int, 4)


@cython.final
@cython.cclass
class Blocks:
    """What `joins.Blocks` holds, with masks to join, as they are and negated, by "and" and (if
    `ors`) by "or"; and for each cut the sums of its weights by byte: of all, of those above 0 and
    of those below, and its room.

    `rows` packed selections make a block, and as many blocks a block of blocks. Bytes
    `place[touched[j]] …` are those in which mask j lets anything through; `own[cut, j]` is the sum
    of the mask, `whole[cut]` that of everything.

    Let v be what a row shares with a mask and s all of the row, as sums or as the least of these in
    a block. Joined by "and" it comes to v, with the mask negated to s − v; by "or" to the sum of
    the mask and s − v, with the mask negated to that of what is outside of the mask and v.
    """

    rows: cython.Py_ssize_t
    bytes: cython.const[cython.uchar][:, ::1]
    sure: cython.const[cython.uchar][:, ::1]
    may: cython.const[cython.uchar][:, ::1]
    outer_sure: cython.const[cython.uchar][:, ::1]
    outer_may: cython.const[cython.uchar][:, ::1]
    masks: cython.const[cython.uchar][:, ::1]
    touched: cython.longlong[::1]
    place: cython.longlong[::1]
    ways: cython.int
    every: cython.const[cython.double][:, :, ::1]
    above: cython.const[cython.double][:, :, ::1]
    below: cython.const[cython.double][:, :, ::1]
    rooms: cython.const[cython.double][::1]
    own: cython.double[:, ::1]
    whole: cython.double[::1]
    sums: cython.double[::1]  # s of the block or row at hand, by cut
    open: cython.int[::1]  # ways that bounds leave to the masks in the block of blocks
    some: cython.longlong[::1]  # masks that they leave in the block,
    left: cython.int[::1]  # and the ways to each

    def __init__(self, rows: cython.Py_ssize_t, listed, outer, masks, ors, sums, rooms) -> None:
        """`listed` are (bytes, sure, may), `outer` (sure, may), `sums` (every, above, below)."""
        self.rows, self.masks, self.rooms = rows, masks, rooms
        self.ways = AND | AND_NOT | OR | OR_NOT if ors else AND | AND_NOT
        self.bytes, self.sure, self.may = listed
        self.outer_sure, self.outer_may = outer
        self.every, self.above, self.below = sums
        self.touched = np.append(0, np.cumsum(np.count_nonzero(masks, axis=1)))
        self.place = np.ascontiguousarray(np.nonzero(masks)[1])
        every, width = sums[0], np.arange(masks.shape[1])
        self.own = np.ascontiguousarray(every[:, width, masks].sum(axis=2))
        self.whole = every[:, :, 255].sum(axis=1)
        self.sums = np.empty(len(rooms))
        self.open, self.left = np.empty((2, len(masks)), np.int32)
        self.some = np.empty(len(masks), np.int64)

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def add_up(
        self,
        sure: cython.const[cython.uchar][:, ::1],
        may: cython.const[cython.uchar][:, ::1],
        block: cython.Py_ssize_t,
    ) -> cython.void:
        """The least sums of what a block's rows let through."""
        cut: cython.Py_ssize_t
        k: cython.Py_ssize_t
        total: cython.double
        for cut in range(self.rooms.shape[0]):
            total = 0.0
            for k in range(self.masks.shape[1]):
                total += self.above[cut, k, sure[block, k]] + self.below[cut, k, may[block, k]]
            self.sums[cut] = total

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fit(
        self,
        sure: cython.const[cython.uchar][:, ::1],
        may: cython.const[cython.uchar][:, ::1],
        block: cython.Py_ssize_t,
        j: cython.Py_ssize_t,
        ways: cython.int,
    ) -> cython.int:
        """The ways in which bounds of a block's joins with mask j are within the room of each cut.

        `add_up` is that of the block."""
        cut: cython.Py_ssize_t
        i: cython.Py_ssize_t
        k: cython.Py_ssize_t
        byte: cython.uchar
        shared: cython.double
        for cut in range(self.rooms.shape[0]):
            shared = 0.0
            for i in range(self.touched[j], self.touched[j + 1]):
                k = self.place[i]
                byte = self.masks[j, k]
                shared += (
                    self.above[cut, k, sure[block, k] & byte]
                    + self.below[cut, k, may[block, k] & byte]
                )
            ways &= self.within(shared, cut, j)
            if not ways:
                break
        return ways

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def row_fits(self, i: cython.Py_ssize_t, j: cython.Py_ssize_t, ways: cython.int) -> cython.int:
        """The ways in which the joins of row i with mask j are within the room of each cut."""
        cut: cython.Py_ssize_t
        n: cython.Py_ssize_t
        k: cython.Py_ssize_t
        shared: cython.double
        for cut in range(self.rooms.shape[0]):
            shared = 0.0
            for n in range(self.touched[j], self.touched[j + 1]):
                k = self.place[n]
                shared += self.every[cut, k, self.bytes[i, k] & self.masks[j, k]]
            ways &= self.within(shared, cut, j)
            if not ways:
                break
        return ways

    @cython.cfunc
    @cython.inline
    @cython.nogil
    @cython.exceptval(check=False)
    def within(
        self, shared: cython.double, cut: cython.Py_ssize_t, j: cython.Py_ssize_t
    ) -> cython.int:
        """The ways that are within the room of a cut."""
        room: cython.double = self.rooms[cut]
        apart: cython.double = self.sums[cut] - shared
        own: cython.double = self.own[cut, j]
        return (
            AND * (shared <= room)
            + AND_NOT * (apart <= room)
            + OR * (own + apart <= room)
            + OR_NOT * (self.whole[cut] - own + shared <= room)
        )

    def joins(
        self,
        first: cython.Py_ssize_t,
        last: cython.Py_ssize_t,
        row: cython.longlong[::1],
        literal: cython.longlong[::1],
        either: cython.uchar[::1],
    ) -> tuple[int, int]:
        """Notes joins of the blocks of blocks from the first to before the last, as long as there
        is room; returns the one to go on with, and how many were noted."""
        masks: cython.Py_ssize_t = self.masks.shape[0]
        most: cython.Py_ssize_t = self.rows * self.rows * masks * WAYS
        number: cython.Py_ssize_t = 0
        outer: cython.Py_ssize_t = first
        block: cython.Py_ssize_t
        i: cython.Py_ssize_t
        j: cython.Py_ssize_t
        n: cython.Py_ssize_t
        some: cython.Py_ssize_t
        ways: cython.int
        way: cython.int
        with cython.nogil:
            last = min(last, self.outer_sure.shape[0])
            while outer < last and number + most <= row.shape[0]:
                self.add_up(self.outer_sure, self.outer_may, outer)
                for j in range(masks):
                    self.open[j] = self.fit(self.outer_sure, self.outer_may, outer, j, self.ways)
                for block in range(
                    self.rows * outer, min(self.rows * (outer + 1), self.sure.shape[0])
                ):
                    self.add_up(self.sure, self.may, block)
                    some = 0
                    for j in range(masks):
                        if self.open[j]:
                            ways = self.fit(self.sure, self.may, block, j, self.open[j])
                            if ways:
                                self.some[some] = j
                                self.left[some] = ways
                                some += 1
                    if not some:
                        continue
                    for i in range(
                        self.rows * block, min(self.rows * (block + 1), self.bytes.shape[0])
                    ):
                        self.add_up(self.bytes, self.bytes, i)
                        for n in range(some):
                            j = self.some[n]
                            ways = self.row_fits(i, j, self.left[n])
                            if ways:
                                for way in range(WAYS):
                                    if (ways >> way) & 1:
                                        row[number] = i
                                        literal[number] = 2 * j + (way & 1)
                                        either[number] = way >= 2
                                        number += 1
                outer += 1
        return outer, number
