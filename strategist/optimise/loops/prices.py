# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Compiled: the loops of `own_prices`, which has the mathematics."""

from __future__ import annotations

import cython
import numpy as np

INFINITE = cython.declare(cython.double, float("inf"))
DEFLECTED = cython.declare(cython.double, 0.7)  # of the direction before that each one keeps
PATIENCE = cython.declare(cython.int, 20)  # rounds without a higher bound, then shorter steps
SHORTER = cython.declare(cython.double, 0.6)
SHORTEST = cython.declare(cython.double, 0.01)
BEYOND = cython.declare(cython.double, 0.02)  # by how much the step aims above the target
RECENT = cython.declare(cython.double, 0.05)  # share of a round in what columns are remembered by


@cython.final
@cython.cclass
class Prices:
    """The fields of `own_columns.Columns` that are read, and what a round works with.

    The choice of each antenna is `chosen[a]`, with its term in `least[a]`. `counted[a, r]` tells
    which rows it counts, `way` is the direction of the prices, `lowest[p]` the lowest column of
    each place that is alive, −1 where none is.
    """

    antenna: cython.const[cython.longlong][:]
    place: cython.const[cython.longlong][:]
    of_place: cython.const[cython.longlong][:]
    begin: cython.const[cython.longlong][:]
    row: cython.const[cython.longlong][:]
    column: cython.const[cython.longlong][:]
    wanted: cython.const[cython.uchar][:]
    cost: cython.const[cython.double][:]
    most_on: cython.Py_ssize_t
    antennas: cython.Py_ssize_t
    rows: cython.Py_ssize_t
    off: cython.Py_ssize_t
    alive: cython.uchar[::1]
    price: cython.double[:, ::1]
    term: cython.double[::1]
    lowest: cython.longlong[::1]
    least: cython.double[::1]
    chosen: cython.longlong[::1]
    counted: cython.uchar[:, ::1]
    way: cython.double[:, ::1]

    def __init__(self, columns, alive, price) -> None:
        self.antenna, self.place, self.of_place = columns.antenna, columns.place, columns.of_place
        self.begin, self.row, self.column = columns.begin, columns.row, columns.column
        self.wanted, self.cost, self.most_on = columns.wanted, columns.cost, columns.most_on
        self.alive, self.price = alive, price
        self.antennas, self.rows = price.shape
        self.off = len(alive) - self.antennas
        self.term, self.lowest = np.zeros(len(alive)), np.empty(len(columns.of_place), np.int64)
        self.least, self.chosen = np.empty(self.antennas), np.empty(self.antennas, np.int64)
        self.counted, self.way = np.zeros(price.shape, np.uint8), np.zeros(price.shape)

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def find_lowest(self) -> cython.void:
        for p in range(self.lowest.shape[0]):
            self.lowest[p] = -1
        for c in range(self.alive.shape[0] - 1, -1, -1):
            if self.alive[c] and self.place[c] >= 0:
                self.lowest[self.place[c]] = c

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fill_terms(self) -> cython.double:
        """Fills `term[c]` and what is chosen; returns the sum of the least ones of antennas. The
        term of "off" where an antenna is on is the least of those off for lack of turns."""
        a: cython.Py_ssize_t
        p: cython.Py_ssize_t
        k: cython.Py_ssize_t
        last: cython.Py_ssize_t
        on: cython.Py_ssize_t
        off_too: cython.bint
        for a in range(self.antennas):
            self.least[a], self.chosen[a] = INFINITE, 0
            if self.alive[self.off + a]:
                self.least[a], self.chosen[a] = 0.0, self.off + a
        for p in range(self.lowest.shape[0]):
            a, k, end = self.of_place[p], self.begin[p], self.begin[p + 1]
            total = 0.0
            while self.lowest[p] >= 0 and k < end and self.column[k] >= self.lowest[p]:
                c = self.column[k]
                while k < end and self.column[k] == c:
                    total += self.price[a, self.row[k]]
                    k += 1
                self.term[c] = total
                if self.alive[c] and total < self.least[a]:
                    self.least[a], self.chosen[a] = total, c
        spare: cython.double = 0.0
        while True:
            on = 0
            for a in range(self.antennas):
                on += self.place[self.chosen[a]] >= 0
            if on <= self.most_on:
                break
            last = -1
            for a in range(self.antennas):
                off_too = self.place[self.chosen[a]] >= 0 and self.alive[self.off + a]
                if off_too and (last < 0 or self.least[a] > self.least[last]):
                    last = a
            if last < 0:
                return INFINITE
            spare, self.least[last], self.chosen[last] = self.least[last], 0.0, self.off + last
        for a in range(self.antennas):
            self.term[self.off + a] = spare if self.place[self.chosen[a]] >= 0 else 0.0
        total = 0.0
        for a in range(self.antennas):
            total += self.least[a]
        return total

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def count(self) -> cython.double:
        """Fills which rows each antenna counts; what that costs."""
        p: cython.Py_ssize_t
        heard: cython.bint
        total: cython.double = 0.0
        for a in range(self.antennas):
            for r in range(self.rows):
                self.counted[a, r] = False
            p = self.place[self.chosen[a]]
            if p >= 0:
                for k in range(self.begin[p], self.begin[p + 1]):
                    if self.column[k] < self.chosen[a]:
                        break
                    self.counted[a, self.row[k]] = True
        for r in range(self.rows):
            heard = False
            for a in range(self.antennas):
                heard = heard or self.counted[a, r]
            if heard != self.wanted[r]:
                total += self.cost[r]
        return total

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def turn(self, kept: cython.double) -> cython.double:
        """Turns the direction `way` towards the subgradient; returns its squared length, without
        wanted rows whose price cannot go that way."""
        heard: cython.Py_ssize_t
        free: cython.bint
        length: cython.double = 0.0
        for r in range(self.rows):
            if self.wanted[r]:
                heard = 0
                for a in range(self.antennas):
                    heard += self.counted[a, r]
                slope = (1 - kept) * (heard - 1.0) + kept * self.way[0, r]
                for a in range(self.antennas):
                    self.way[a, r] = slope
                free = self.price[0, r] > -self.cost[r] if slope < 0 else self.price[0, r] < 0
                if free:
                    length += slope * slope
            else:
                for a in range(self.antennas):
                    self.way[a, r] = (1 - kept) * self.counted[a, r] + kept * self.way[a, r]
                    length += self.way[a, r] * self.way[a, r]
        return length

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def move(self, step: cython.double) -> cython.void:
        """A step along the direction, then the nearest prices that are allowed."""
        above: cython.Py_ssize_t
        total: cython.double
        for r in range(self.rows):
            cost = self.cost[r]
            if self.wanted[r]:
                moved = min(0.0, max(-cost, self.price[0, r] + step * self.way[0, r]))
                for a in range(self.antennas):
                    self.price[a, r] = moved
                continue
            total = 0.0
            for a in range(self.antennas):
                self.price[a, r] = max(0.0, self.price[a, r] + step * self.way[a, r])
                total += self.price[a, r]
            while total > cost + 1e-12:  # as often as there are antennas, at most
                above = 0
                for a in range(self.antennas):
                    above += self.price[a, r] > 0
                less, total = (total - cost) / above, 0.0
                for a in range(self.antennas):
                    if self.price[a, r] > 0:
                        self.price[a, r] = max(0.0, self.price[a, r] - less)
                    else:
                        self.price[a, r] = 0.0
                    total += self.price[a, r]

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def give_up(self, room: cython.double) -> cython.bint:
        """Marks the columns that are in no choice below the target; whether there was one."""
        some: cython.bint = False
        for c in range(self.alive.shape[0]):
            if self.alive[c] and self.term[c] - self.term[self.chosen[self.antenna[c]]] >= room:
                self.alive[c], some = False, True
        return some


def raised(
    columns,
    alive: cython.uchar[::1],
    price: cython.double[:, ::1],
    target: cython.double,
    rounds: cython.Py_ssize_t,
):
    """`own_prices.raised`."""
    work = Prices(columns, np.asarray(alive), np.asarray(price))
    antennas: cython.Py_ssize_t = work.antennas
    rows: cython.Py_ssize_t = work.rows
    lately: cython.double[::1] = np.zeros(alive.shape[0])
    best: cython.double[:, ::1] = np.array(price)
    choice: cython.longlong[::1] = np.zeros(antennas, np.int64)
    highest: cython.double = -INFINITE
    cheapest: cython.double = INFINITE
    scale: cython.double = 1.0
    kept: cython.double = 0.0
    idle: cython.int = 0
    r: cython.Py_ssize_t
    with cython.nogil:
        work.find_lowest()
        for _ in range(rounds):
            bound = work.fill_terms()
            for r in range(rows):
                if work.wanted[r]:
                    bound -= price[0, r]
            idle += 1
            if bound > highest + 1e-9:
                if bound > highest + 1e-3 * (target - highest):
                    idle = 0
                highest = bound
                for a in range(antennas):
                    for r in range(rows):
                        best[a, r] = price[a, r]
                if highest >= target:
                    break
                if work.give_up(target - bound):
                    work.find_lowest()
            spent = work.count()
            for c in range(lately.shape[0]):
                lately[c] *= 1 - RECENT
            for a in range(antennas):
                lately[work.chosen[a]] += RECENT
            if spent < cheapest:
                cheapest = spent
                for a in range(antennas):
                    choice[a] = work.chosen[a]
            if idle >= PATIENCE:
                scale, idle = scale * SHORTER, 0
                for a in range(antennas):
                    for r in range(rows):
                        price[a, r] = best[a, r]
            length = work.turn(kept)
            if length < 1e-12 or scale < SHORTEST:
                break
            kept = DEFLECTED
            work.move(scale * (target + BEYOND * abs(target) - bound) / length)
        for a in range(antennas):
            for r in range(rows):
                price[a, r] = best[a, r]
    return highest, np.asarray(lately), cheapest, np.asarray(choice)
