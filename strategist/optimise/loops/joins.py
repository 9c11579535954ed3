# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Compiled: the loops of `joins`, over blocks of packed selections."""

from __future__ import annotations

import cython


@cython.final
@cython.cclass
class Blocks:
    """What `joins.Blocks` holds, with masks to join by "or" (`either`) or "and", and for each cut
    the sums of its weights by byte: of all, of those above 0 and of those below, and its room.

    `rows` packed selections make a block, and as many blocks a block of blocks.
    """

    rows: cython.Py_ssize_t
    bytes: cython.const[cython.uchar][:, ::1]
    sure: cython.const[cython.uchar][:, ::1]
    may: cython.const[cython.uchar][:, ::1]
    outer_sure: cython.const[cython.uchar][:, ::1]
    outer_may: cython.const[cython.uchar][:, ::1]
    masks: cython.const[cython.uchar][:, ::1]
    either: cython.bint
    every: cython.const[cython.double][:, :, ::1]
    above: cython.const[cython.double][:, :, ::1]
    below: cython.const[cython.double][:, :, ::1]
    rooms: cython.const[cython.double][::1]

    def __init__(
        self,
        rows: cython.Py_ssize_t,
        listed,
        outer,
        masks,
        either: cython.bint,
        sums,
        rooms,
    ) -> None:
        """`listed` are (bytes, sure, may), `outer` (sure, may), `sums` (every, above, below)."""
        self.rows, self.masks, self.either, self.rooms = rows, masks, either, rooms
        self.bytes, self.sure, self.may = listed
        self.outer_sure, self.outer_may = outer
        self.every, self.above, self.below = sums

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fits(
        self,
        sure: cython.const[cython.uchar][:, ::1],
        may: cython.const[cython.uchar][:, ::1],
        block: cython.Py_ssize_t,
        j: cython.Py_ssize_t,
    ) -> cython.bint:
        """Whether the bounds of a block's joins with mask j, by each cut, are within the room."""
        total: cython.double
        for cut in range(self.rooms.shape[0]):
            total = 0.0
            for k in range(self.masks.shape[1]):
                byte = self.masks[j, k]
                if self.either:
                    total += (
                        self.above[cut, k, sure[block, k] | byte]
                        + self.below[cut, k, may[block, k] | byte]
                    )
                else:
                    total += (
                        self.above[cut, k, sure[block, k] & byte]
                        + self.below[cut, k, may[block, k] & byte]
                    )
            if total > self.rooms[cut]:
                return False
        return True

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def is_within(self, i: cython.Py_ssize_t, j: cython.Py_ssize_t) -> cython.bint:
        """Whether the sums of the join of row i with mask j are within the room."""
        byte: cython.uchar
        total: cython.double
        for cut in range(self.rooms.shape[0]):
            total = 0.0
            for k in range(self.masks.shape[1]):
                byte = self.masks[j, k]
                byte = self.bytes[i, k] | byte if self.either else self.bytes[i, k] & byte
                total += self.every[cut, k, byte]
            if total > self.rooms[cut]:
                return False
        return True

    def joins(
        self,
        first: cython.Py_ssize_t,
        last: cython.Py_ssize_t,
        row: cython.longlong[::1],
        literal: cython.longlong[::1],
    ) -> tuple[int, int]:
        """Notes joins of the blocks of blocks from the first to before the last, as long as there
        is room; returns the one to go on with, and how many were noted."""
        masks: cython.Py_ssize_t = self.masks.shape[0]
        most: cython.Py_ssize_t = self.rows * self.rows * masks
        number: cython.Py_ssize_t = 0
        outer: cython.Py_ssize_t = first
        block: cython.Py_ssize_t
        with cython.nogil:
            last = min(last, self.outer_sure.shape[0])
            while outer < last and number + most <= row.shape[0]:
                for j in range(masks):
                    if not self.fits(self.outer_sure, self.outer_may, outer, j):
                        continue
                    for block in range(
                        self.rows * outer, min(self.rows * (outer + 1), self.sure.shape[0])
                    ):
                        if not self.fits(self.sure, self.may, block, j):
                            continue
                        for i in range(
                            self.rows * block, min(self.rows * (block + 1), self.bytes.shape[0])
                        ):
                            if self.is_within(i, j):
                                row[number] = i
                                literal[number] = j
                                number += 1
                outer += 1
        return outer, number
