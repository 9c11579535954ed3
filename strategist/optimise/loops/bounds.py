# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Compiled: bounds of ladders for one cutoff, and what is done with them (`kernel` tells of both).

Arrays are held by the objects below, since what a function is given of an array is copied.
"""

from __future__ import annotations

import cython
import numpy as np

# states of a class, as `kernel` names them
OUT = cython.declare(cython.longlong, 0)
IN = cython.declare(cython.longlong, 1)
OPEN = cython.declare(cython.longlong, 2)

INFINITE = cython.declare(cython.double, float("inf"))


@cython.final
@cython.cclass
class Cells:
    """What classes do in passes under one cutoff; c is a cell, r a row, p a pass group, l a level.

    Cells `start[p] … start[p + 1]` are those of pass p. `gain[c, l]` changes the cost of the pass
    when the class is let through, `hold[c, l]` counts its tags accepted at l, `accepts[c, l]` tells
    whether there are any (an eighth of the memory to go through); `base[p]` is the cost when
    nothing is. Rows `row_start[p] …` are (class, first level accepted, tags), by first level.
    `flip[flip_start[p * levels + l] …]` are the cells whose tags begin or cease to be accepted at
    l, going up.
    """

    start: cython.const[cython.longlong][::1]
    klass = cython.declare(cython.const[cython.longlong][::1], visibility="readonly")
    gain = cython.declare(cython.const[cython.double][:, ::1], visibility="readonly")
    hold: cython.const[cython.double][:, ::1]
    accepts: cython.const[cython.uchar][:, ::1]
    base: cython.const[cython.double][::1]
    row_start: cython.const[cython.longlong][::1]
    row_class: cython.const[cython.longlong][::1]
    row_first: cython.const[cython.longlong][::1]
    row_count: cython.const[cython.double][::1]
    flip_start: cython.const[cython.longlong][::1]
    flip: cython.const[cython.longlong][::1]
    passes: cython.Py_ssize_t
    levels: cython.Py_ssize_t

    def __init__(
        self,
        start,
        klass,
        gain,
        hold,
        accepts,
        base,
        row_start,
        row_class,
        row_first,
        row_count,
        flip_start,
        flip,
    ) -> None:
        self.start, self.klass, self.gain, self.hold, self.base = start, klass, gain, hold, base
        self.row_start, self.row_class = row_start, row_class
        self.row_first, self.row_count = row_first, row_count
        self.accepts, self.flip_start, self.flip = accepts, flip_start, flip
        self.passes, self.levels = len(base), gain.shape[1]


@cython.final
@cython.cclass
class Ladder:
    """Room to find the least ladder in, and that ladder: `count` places of levels, ascending."""

    place: cython.longlong[::1]
    count: cython.Py_ssize_t
    steps_max: cython.Py_ssize_t
    least: cython.double[:, ::1]  # with n + 1 steps, the last of them at t
    came: cython.longlong[:, ::1]
    met_at: cython.double[::1]  # a column, read once
    top_at: cython.double[::1]

    def __init__(self, steps_max: cython.Py_ssize_t, levels: cython.Py_ssize_t) -> None:
        self.steps_max = steps_max
        self.place = np.empty(max(1, steps_max), np.int64)
        self.least, self.came = np.empty((steps_max, levels)), np.empty((steps_max, levels), int)
        self.met_at, self.top_at = np.empty(levels + 1), np.empty(levels + 1)

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def find(
        self,
        edge: cython.const[cython.double][:, ::1],
        top: cython.const[cython.double][:, ::1],
        must: cython.const[cython.uchar][::1],
    ) -> cython.double:
        """The bound of the least ladder, which is kept."""
        n: cython.Py_ssize_t
        t: cython.Py_ssize_t
        u: cython.Py_ssize_t
        levels: cython.Py_ssize_t = edge.shape[1]
        for n in range(self.steps_max):
            for t in range(levels):
                self.least[n, t] = INFINITE
                self.came[n, t] = -1
        best: cython.double = INFINITE
        count: cython.Py_ssize_t = 0
        under: cython.Py_ssize_t = -1
        last: cython.Py_ssize_t = levels - 1
        lowest: cython.Py_ssize_t = 0  # the level that a step at t must not pass over, if `passed`
        passed: cython.bint = False
        final: cython.Py_ssize_t = 0
        for t in range(levels):
            if must[t]:
                final = t
        is_top: cython.bint
        for t in range(levels):
            is_top = t >= final
            for u in range(t + 1):
                self.met_at[u] = edge[u, t]
                self.top_at[u] = top[u, t]
            if not passed:
                self.least[0, t] = edge[0, t]
                if is_top and top[0, t] < best:
                    best, count, last = top[0, t], 0, t
            for n in range(1, self.steps_max):
                for u in range(lowest, t):
                    met = self.least[n - 1, u] + self.met_at[u + 1]
                    if met < self.least[n, t]:
                        self.least[n, t] = met
                        self.came[n, t] = u
                    whole = self.least[n - 1, u] + self.top_at[u + 1]
                    if is_top and whole < best:
                        best, count, under, last = whole, n, u, t
            if must[t]:
                lowest, passed = t, True
        self.place[count] = last
        for n in range(count - 1, -1, -1):
            self.place[n] = under
            under = self.came[n, under]
        self.count = count + 1
        return best


@cython.final
@cython.cclass
class Passes:
    """What each pass p costs if it ends at level l, what could stop it, and what steps cost.

    `cost[p, l]`; `sure[p, l]` tags stop it there for sure; `open[p]`: a class of it is open;
    `turn[p]` is the lowest level by which it could have stopped. `least[row, l]` is what a pass
    costs at least if l, from its turn on, is a step below the top: it ends there, or walks past.
    """

    cells: Cells
    state: cython.longlong[::1]
    multiplier: cython.double[::1]
    stop_after: cython.Py_ssize_t
    must: cython.const[cython.uchar][::1]
    levels: cython.Py_ssize_t
    cost: cython.double[:, ::1]
    sure: cython.double[:, ::1]
    open: cython.uchar[::1]
    turn: cython.longlong[::1]
    least: cython.double[:, ::1]
    walk: cython.double[::1]
    beyond: cython.double[::1]  # the least of `walk` above each level
    total: cython.double[::1]
    edge: cython.double[:, ::1]
    top: cython.double[:, ::1]

    def __init__(
        self,
        cells: Cells,
        state,
        multiplier,
        stop_after: cython.Py_ssize_t,
        must,
        rows: cython.Py_ssize_t = 1,
    ) -> None:
        """With `rows` of `least`: one, or one for each pass."""
        passes, levels = cells.passes, cells.levels
        self.cells, self.state, self.multiplier = cells, state, multiplier
        self.stop_after, self.must, self.levels = stop_after, must, levels
        self.cost, self.sure = np.empty((passes, levels)), np.empty((passes, levels))
        self.open, self.turn = np.empty(passes, np.uint8), np.empty(passes, np.int64)
        self.least = np.empty((rows, levels))
        self.walk, self.beyond, self.total = (np.empty(levels) for _ in range(3))
        self.edge, self.top = np.empty((levels + 1, levels)), np.empty((levels + 1, levels))

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fill_pass(self, p: cython.Py_ssize_t) -> cython.void:
        """Fill in what pass p costs, what stops it for sure, and whether a class is open."""
        levels: cython.Py_ssize_t = self.levels
        self.open[p] = False
        for level in range(levels):
            self.cost[p, level] = self.cells.base[p]
            self.sure[p, level] = 0.0
        for c in range(self.cells.start[p], self.cells.start[p + 1]):
            kind = self.state[self.cells.klass[c]]
            if kind == IN:
                for level in range(levels):
                    self.cost[p, level] += self.cells.gain[c, level]
                    self.sure[p, level] += self.cells.hold[c, level]
            elif kind == OPEN:
                self.open[p] = True
                by = self.multiplier[c]
                for level in range(levels):
                    self.cost[p, level] += min(0.0, self.cells.gain[c, level] + by)

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fill_turn(self, p: cython.Py_ssize_t) -> cython.void:
        """The lowest level by which pass p could have stopped; `levels` if there is none."""
        found: cython.double = 0.0
        self.turn[p] = self.levels
        for r in range(self.cells.row_start[p], self.cells.row_start[p + 1]):
            if self.state[self.cells.row_class[r]] != OUT:
                found += self.cells.row_count[r]
                if found >= self.stop_after:
                    self.turn[p] = self.cells.row_first[r]
                    break

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fill(self) -> cython.void:
        """Fill in all passes."""
        for p in range(self.cells.passes):
            self.fill_pass(p)
            self.fill_turn(p)

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def free(self) -> cython.double:
        """What the passes cost, each at its best level, once they are filled in."""
        least: cython.double
        free: cython.double = 0.0
        for p in range(self.cells.passes):
            least = self.cost[p, 0]
            for t in range(self.levels):
                least = min(least, self.cost[p, t])
            free += least
        return free

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def end(self, p: cython.Py_ssize_t) -> cython.Py_ssize_t:
        """The place of the step that pass p does not walk past: where it stops for sure, or top."""
        for place in range(self.levels):
            if self.must[place] and self.sure[p, place] >= self.stop_after:
                return place
        return self.levels - 1

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fill_least(self, p: cython.Py_ssize_t, row: cython.Py_ssize_t) -> cython.void:
        """Fill in a row of `least` for pass p, from its turn on."""
        t: cython.Py_ssize_t
        other: cython.Py_ssize_t
        levels: cython.Py_ssize_t = self.levels
        turn: cython.Py_ssize_t = self.turn[p]
        end: cython.Py_ssize_t = self.end(p)
        parts: cython.bint = self.open[p] and self.stop_after == 1
        known: cython.bint = False  # whether `beyond` is of what is walked past now
        for t in range(levels):
            self.walk[t] = self.cost[p, t]
        for t in range(0 if parts else turn, levels):
            if parts:
                # from walking past t − 1 to walking past t: open classes accepted at t are missing
                for f in range(
                    self.cells.flip_start[p * levels + t], self.cells.flip_start[p * levels + t + 1]
                ):
                    c = self.cells.flip[f]
                    if self.state[self.cells.klass[c]] == OPEN:
                        sign = 1.0 - 2.0 * self.cells.accepts[c, t]
                        by = self.multiplier[c]
                        for other in range(max(t, turn) + 1, end + 1):  # lower ones are not asked
                            self.walk[other] += sign * min(0.0, self.cells.gain[c, other] + by)
                        known = False
            if t < turn:
                continue
            least = self.cost[p, t]
            if t < end and self.sure[p, t] < self.stop_after:
                if not known:
                    lowest = self.walk[end]
                    self.beyond[end - 1] = lowest
                    for other in range(end - 1, t, -1):
                        lowest = min(lowest, self.walk[other])
                        self.beyond[other - 1] = lowest
                    known = True
                least = min(least, self.beyond[t])
            self.least[row, t] = least

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fill_steps(self) -> cython.void:
        """Fill in (edge, top) of `kernel.step_costs`, once all passes are filled in."""
        levels: cython.Py_ssize_t = self.levels
        for t in range(levels):
            self.total[t] = 0.0
        for u in range(levels + 1):
            for t in range(levels):
                self.edge[u, t] = 0.0
                self.top[u, t] = 0.0
        for p in range(self.cells.passes):
            turn = self.turn[p]
            self.fill_least(p, 0)
            for t in range(levels):
                self.total[t] += self.cost[p, t]
            for t in range(turn, levels):
                self.edge[turn, t] += self.least[0, t]
                self.top[turn, t] += self.cost[p, t]
        add_up(self.total, self.edge, self.top)

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def choose(
        self, ladder: Ladder, chosen: cython.double[::1], stops: cython.longlong[::1]
    ) -> cython.void:
        """What the bound of a ladder makes of the passes, once they are filled in.

        Fills in, for each cell, 1 where it is of an open class and let through, else 0; for each
        pass where it ends.
        """
        p: cython.Py_ssize_t
        t: cython.Py_ssize_t
        final: cython.Py_ssize_t = ladder.place[ladder.count - 1]
        for p in range(self.cells.passes):
            stop, passed = final, -1
            for n in range(ladder.count - 1):
                if ladder.place[n] >= self.turn[p]:
                    stop = ladder.place[n]
                    break
            if stop != final and self.sure[p, stop] < self.stop_after:
                for other in range(self.levels):
                    self.walk[other] = self.cost[p, other]
                least, t = self.cost[p, stop], stop
                if self.stop_after == 1:
                    for c in range(self.cells.start[p], self.cells.start[p + 1]):
                        if self.state[self.cells.klass[c]] == OPEN and self.cells.accepts[c, t]:
                            for other in range(t + 1, self.levels):
                                self.walk[other] -= min(
                                    0.0, self.cells.gain[c, other] + self.multiplier[c]
                                )
                for other in range(t + 1, self.end(p) + 1):
                    if self.walk[other] < least:
                        least, stop, passed = self.walk[other], other, t
            stops[p] = stop
            for c in range(self.cells.start[p], self.cells.start[p + 1]):
                # without a branch, which no processor would foresee
                chosen[c] = (self.cells.gain[c, stop] + self.multiplier[c] < 0) & (
                    self.state[self.cells.klass[c]] == OPEN
                )
            if passed >= 0 and self.stop_after == 1:
                for c in range(self.cells.start[p], self.cells.start[p + 1]):
                    if self.cells.accepts[c, passed]:
                        chosen[c] = 0.0

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def penalties(
        self, could: cython.longlong[::1], into: cython.double[::1], out: cython.double[::1]
    ) -> cython.void:
        """Fill in `kernel.penalties_of`, once the passes are filled in; `could` is room."""
        p: cython.Py_ssize_t
        i: cython.Py_ssize_t
        end: cython.Py_ssize_t
        number: cython.Py_ssize_t
        first: cython.Py_ssize_t
        low: cython.double
        high: cython.double
        behind: cython.bint
        by: cython.double
        levels: cython.Py_ssize_t = self.levels
        final: cython.Py_ssize_t = 0
        for k in range(self.state.shape[0]):
            into[k] = 0.0
            out[k] = 0.0
        for place in range(levels):
            if self.must[place]:
                final = place
        for p in range(self.cells.passes):
            end = self.end(p)
            for place in range(levels):
                could[place] = place >= final or (place >= self.turn[p] and self.stop_after > 1)
            for c in range(self.cells.start[p], self.cells.start[p + 1]):
                if self.state[self.cells.klass[c]] != OUT and self.stop_after == 1:
                    for place in range(levels):
                        could[place] |= self.cells.accepts[c, place]
            number = 0
            for place in range(end + 1):
                if could[place]:
                    could[number] = place  # from here on, those places alone
                    number += 1
            for c in range(self.cells.start[p], self.cells.start[p + 1]):
                if self.state[self.cells.klass[c]] != OPEN:
                    continue
                first = end  # behind it the pass had walked on without the class
                if self.stop_after == 1:
                    for place in range(end):
                        if self.cells.accepts[c, place]:
                            first = place
                            break
                by, low, high, i = self.multiplier[c], INFINITE, -INFINITE, 0
                while i < number and could[i] <= first:
                    changed = self.cells.gain[c, could[i]] + by
                    low, high = min(low, changed), max(high, changed)
                    i += 1
                behind = i < number
                while i < number and low > 0:
                    low = min(low, self.cells.gain[c, could[i]] + by)
                    i += 1
                into[self.cells.klass[c]] += max(0.0, low)
                if not behind:
                    out[self.cells.klass[c]] += max(0.0, -high)

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def centre(
        self, share: cython.double[::1], size: cython.double[::1], chosen: cython.double[::1]
    ) -> cython.void:
        """Take from each cell of an open class the mean of the class; 0 for the cells of others.

        `share` and `size` are room, one for each class."""
        for k in range(self.state.shape[0]):
            share[k] = 0.0
            size[k] = 0.0
        for c in range(chosen.shape[0]):
            share[self.cells.klass[c]] += chosen[c]
            size[self.cells.klass[c]] += 1.0
        for c in range(chosen.shape[0]):
            k = self.cells.klass[c]
            chosen[c] = chosen[c] - share[k] / size[k] if self.state[k] == OPEN else 0.0

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def look_at(self, p: cython.Py_ssize_t) -> cython.void:
        """Fill in pass p, and its row of `least`."""
        self.fill_pass(p)
        self.fill_turn(p)
        self.fill_least(p, p)

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def fill_tried(
        self, p: cython.Py_ssize_t, c: cython.Py_ssize_t, kind: cython.longlong, passes: Passes
    ) -> cython.void:
        """Fill in what pass p costs once an open cell of it is out or in, given what it costs."""
        for t in range(self.levels):
            gain = self.cells.gain[c, t]
            cost = passes.cost[p, t] - min(0.0, gain + self.multiplier[c])
            self.cost[p, t] = cost + gain if kind == IN else cost
            self.sure[p, t] = passes.sure[p, t] + (self.cells.hold[c, t] if kind == IN else 0.0)
        self.open[p] = passes.open[p]

    @cython.cfunc
    @cython.nogil
    @cython.exceptval(check=False)
    def count_in(
        self, p: cython.Py_ssize_t, sign: cython.double, sums: cython.double[:, ::1]
    ) -> cython.void:
        """Count pass p in, or out again, by its turn."""
        levels: cython.Py_ssize_t = self.levels
        turn: cython.Py_ssize_t = self.turn[p]
        for t in range(levels):
            sums[2 * levels + 2, t] += sign * self.cost[p, t]
        for t in range(turn, levels):
            sums[turn, t] += sign * self.least[p, t]
            sums[levels + 1 + turn, t] += sign * self.cost[p, t]


@cython.cfunc
@cython.nogil
@cython.exceptval(check=False)
def add_up(
    total: cython.const[cython.double][::1],
    edge: cython.double[:, ::1],
    top: cython.double[:, ::1],
) -> cython.void:
    """From what passes cost by turn and level to what steps do (`kernel.step_costs`), in place."""
    t: cython.Py_ssize_t
    met: cython.double
    turned: cython.double
    levels: cython.Py_ssize_t = total.shape[0]
    for t in range(levels):
        met, ended = 0.0, 0.0
        for u in range(t, -1, -1):
            met += edge[u, t]
            edge[u, t] = met
        for u in range(t + 1):
            turned = top[u, t]
            top[u, t] = total[t] - ended
            ended += turned


def best_ladder(
    edge: cython.const[cython.double][:, ::1],
    top: cython.const[cython.double][:, ::1],
    steps_max: cython.Py_ssize_t,
    must: cython.const[cython.uchar][::1],
):
    """(bound, ladder) of `kernel.best_ladder`."""
    ladder = Ladder(steps_max, edge.shape[1])
    with cython.nogil:
        bound = ladder.find(edge, top, must)
    return bound, np.asarray(ladder.place[: ladder.count])


def by_step(
    edge: cython.double[:, ::1],
    top: cython.double[:, ::1],
    steps_max: cython.Py_ssize_t,
    must: cython.const[cython.uchar][::1],
    some: cython.const[cython.longlong][::1],
):
    """(without, within) of `kernel.by_step`."""
    levels: cython.Py_ssize_t = edge.shape[1]
    ladder = Ladder(steps_max, levels)
    asked: cython.uchar[::1] = np.array(must, np.uint8)
    kept: cython.double[:, ::1] = np.empty((2, levels + 1))
    without: cython.double[::1] = np.empty(some.shape[0])
    within: cython.double[::1] = np.empty(some.shape[0])
    u: cython.Py_ssize_t
    i: cython.Py_ssize_t
    place: cython.Py_ssize_t
    with cython.nogil:
        for i in range(some.shape[0]):
            place = some[i]
            for u in range(levels + 1):
                kept[0, u], kept[1, u] = edge[u, place], top[u, place]
                edge[u, place] = INFINITE
                top[u, place] = INFINITE
            without[i] = ladder.find(edge, top, must)
            for u in range(levels + 1):
                edge[u, place], top[u, place] = kept[0, u], kept[1, u]
            asked[place] = 1
            within[i] = ladder.find(edge, top, asked)
            asked[place] = must[place]
    return np.asarray(without), np.asarray(within)


STEPS = cython.declare(cython.int, 0)  # how far `of_states` goes
BOUND = cython.declare(cython.int, 1)
CHOICES = cython.declare(cython.int, 2)
SUBGRADIENT = cython.declare(cython.int, 3)


def of_states(
    states: cython.longlong[:, ::1],
    multiplier,
    cells: Cells,
    stop_after: cython.Py_ssize_t,
    steps_max: cython.Py_ssize_t,
    must,
    limit: cython.double,
    far: cython.int,
):
    """(bounds, edge, top, free, chosen, stops): bounds of each row of class states, no further
    where the cost without a ladder, of which the last is returned, is above the limit; the others
    are of the last row."""
    passes = Passes(
        cells, states[0] if len(states) else np.empty(0, int), multiplier, stop_after, must
    )
    ladder = Ladder(steps_max, cells.levels)
    reached: cython.bint = far >= CHOICES
    classes: cython.Py_ssize_t = states.shape[1] if far == SUBGRADIENT else 0
    share: cython.double[::1] = np.empty(classes)
    size: cython.double[::1] = np.empty(classes)
    chosen: cython.double[::1] = np.empty(cells.klass.shape[0] if reached else 0)
    stops: cython.longlong[::1] = np.empty(cells.passes if reached else 0, int)
    bounds: cython.double[::1] = np.empty(len(states))
    free: cython.double = 0.0
    with cython.nogil:
        for i in range(states.shape[0]):
            passes.state = states[i]
            passes.fill()
            free = passes.free()
            bounds[i] = free
            if free > limit:
                continue
            passes.fill_steps()
            if far == STEPS:
                continue
            bounds[i] = ladder.find(passes.edge, passes.top, passes.must)
            if far >= CHOICES:
                passes.choose(ladder, chosen, stops)
            if far == SUBGRADIENT:
                passes.centre(share, size, chosen)
    return (
        np.asarray(bounds),
        np.asarray(passes.edge),
        np.asarray(passes.top),
        free,
        np.asarray(chosen),
        np.asarray(stops),
    )


def penalties_of(state, multiplier, cells: Cells, stop_after: cython.Py_ssize_t, must):
    """(into, out) of `kernel.penalties_of`."""
    passes = Passes(cells, state, multiplier, stop_after, must)
    could: cython.longlong[::1] = np.empty(cells.levels, np.int64)
    into: cython.double[::1] = np.empty(len(state))
    out: cython.double[::1] = np.empty(len(state))
    with cython.nogil:
        passes.fill()
        passes.penalties(could, into, out)
    return np.asarray(into), np.asarray(out)


def climb(
    state,
    multiplier: cython.double[::1],
    kept: cython.double[::1],
    cells: Cells,
    stop_after: cython.Py_ssize_t,
    steps_max: cython.Py_ssize_t,
    must,
    enough: cython.double,
    goal: cython.double,
    over: cython.double,
    patience: cython.int,
    least_step: cython.double,
    rounds: cython.Py_ssize_t,
    reached: cython.double[::1],
):
    """`kernel.climb`."""
    passes = Passes(cells, state, multiplier, stop_after, must)
    ladder = Ladder(steps_max, cells.levels)
    stops: cython.longlong[::1] = np.empty(cells.passes, int)
    subgradient: cython.double[::1] = np.empty(len(multiplier))
    share: cython.double[::1] = np.empty(len(state))
    size: cython.double[::1] = np.empty(len(state))
    step: cython.double = reached[0]
    stale: cython.double = reached[1]
    best: cython.double = reached[2]
    count: cython.Py_ssize_t = multiplier.shape[0]
    number: cython.Py_ssize_t = 0
    ended: cython.bint = False
    back: cython.bint = False
    with cython.nogil:
        while number < rounds and not ended:
            passes.fill()
            passes.fill_steps()
            bound = ladder.find(passes.edge, passes.top, passes.must)
            if not back:
                if bound > best + 1e-9:
                    best, stale = bound, 0.0
                    for c in range(count):
                        kept[c] = multiplier[c]
                else:
                    stale += 1
                if best >= enough:
                    ended = True
                    break
                if stale >= patience:
                    step, stale, back = step / 2, 0.0, True
                    for c in range(count):
                        multiplier[c] = kept[c]
                    ended = step < least_step
                    continue
            back = False
            passes.choose(ladder, subgradient, stops)
            passes.centre(share, size, subgradient)
            length = 0.0
            for c in range(count):
                length += subgradient[c] * subgradient[c]
            if length < 1e-12:
                ended = True
                break
            by = step * max(1e-3 * goal, over * goal - bound) / length
            for c in range(count):
                multiplier[c] += by * subgradient[c]
            number += 1
    reached[0], reached[1], reached[2] = step, stale, best
    return bool(ended)


def fix_by_probing(
    state: cython.longlong[::1],
    some: cython.const[cython.longlong][::1],
    multiplier,
    cells: Cells,
    stop_after: cython.Py_ssize_t,
    steps_max: cython.Py_ssize_t,
    must,
    limit: cython.double,
):
    """`kernel.fix_by_probing`."""
    levels: cython.Py_ssize_t = cells.levels
    passes = Passes(cells, state, multiplier, stop_after, must, cells.passes)
    tried = Passes(cells, state, multiplier, stop_after, must, cells.passes)
    ladder = Ladder(steps_max, levels)
    # by turn and level: edge, top; the last row: total
    sums: cython.double[:, ::1] = np.zeros((2 * levels + 3, levels))
    met: cython.double[:, ::1] = np.empty((2 * levels + 3, levels))
    edge: cython.double[:, ::1] = met[: levels + 1]
    top: cython.double[:, ::1] = met[levels + 1 : 2 * levels + 2]
    total: cython.double[::1] = met[2 * levels + 2]
    begin: cython.longlong[::1] = np.empty(len(state) + 1, int)
    pass_of: cython.longlong[::1] = np.empty(len(cells.klass), int)
    cell_of: cython.longlong[::1] = np.empty(len(cells.klass), int)
    fixed: cython.bint = False
    k: cython.Py_ssize_t
    with cython.nogil:
        where_classes_are(cells, begin, pass_of, cell_of)
        for p in range(cells.passes):
            passes.look_at(p)
            passes.count_in(p, 1.0, sums)
        for place in range(some.shape[0]):
            k = some[place]
            for kind in range(OUT, OPEN):
                for u in range(2 * levels + 3):
                    for t in range(levels):
                        met[u, t] = sums[u, t]
                state[k] = kind
                for i in range(begin[k], begin[k + 1]):
                    p = pass_of[i]
                    tried.fill_tried(p, cell_of[i], kind, passes)
                    tried.fill_turn(p)
                    tried.fill_least(p, p)
                    passes.count_in(p, -1.0, met)
                    tried.count_in(p, 1.0, met)
                add_up(total, edge, top)
                bound = ladder.find(edge, top, passes.must)
                state[k] = OPEN
                if bound >= limit:
                    state[k] = IN if kind == OUT else OUT
                    fixed = True
                    break
            if state[k] != OPEN:
                for i in range(begin[k], begin[k + 1]):
                    p = pass_of[i]
                    passes.count_in(p, -1.0, sums)
                    passes.look_at(p)
                    passes.count_in(p, 1.0, sums)
    return bool(fixed)


@cython.cfunc
@cython.nogil
@cython.exceptval(check=False)
def where_classes_are(
    cells: Cells,
    begin: cython.longlong[::1],
    pass_of: cython.longlong[::1],
    cell_of: cython.longlong[::1],
) -> cython.void:
    """Fills in passes and cells: from `begin[k]` to `begin[k + 1]` stand those of class k."""
    k: cython.Py_ssize_t
    p: cython.Py_ssize_t
    classes: cython.Py_ssize_t = begin.shape[0] - 1
    for k in range(classes + 1):
        begin[k] = 0
    for c in range(cells.klass.shape[0]):
        begin[cells.klass[c]] += 1
    for k in range(classes):
        begin[k + 1] += begin[k]
    for p in range(cells.passes):
        for c in range(cells.start[p], cells.start[p + 1]):
            k = cells.klass[c]
            begin[k] -= 1
            pass_of[begin[k]] = p
            cell_of[begin[k]] = c


def cut_rounds(
    state,
    multiplier: cython.double[::1],
    kept: cython.double[::1],
    cells: Cells,
    stop_after: cython.Py_ssize_t,
    steps_max: cython.Py_ssize_t,
    must,
    limit: cython.double,
    over: cython.double,
    patience: cython.int,
    least_step: cython.double,
    rounds: cython.Py_ssize_t,
    sample: cython.const[cython.uchar][:, ::1],
    alive: cython.longlong[::1],
    few: cython.Py_ssize_t,
    bases: cython.double[::1],
    weights: cython.double[:, ::1],
    reached: cython.double[::1],
):
    """`kernel.cut_rounds`."""
    classes: cython.Py_ssize_t = len(state)
    width: cython.Py_ssize_t = sample.shape[1]
    count: cython.Py_ssize_t = multiplier.shape[0]
    passes = Passes(cells, state, multiplier, stop_after, must)
    ladder = Ladder(steps_max, cells.levels)
    stops: cython.longlong[::1] = np.empty(cells.passes, int)
    subgradient: cython.double[::1] = np.empty(count)
    table: cython.double[:, ::1] = np.empty((width, 256))
    could: cython.longlong[::1] = np.empty(cells.levels, np.int64)
    into: cython.double[::1] = np.empty(classes)
    out: cython.double[::1] = np.empty(classes)
    weight: cython.double[::1] = np.empty(8 * width)
    step: cython.double = reached[0]
    stale: cython.double = reached[1]
    best: cython.double = reached[2]
    left: cython.Py_ssize_t = alive.shape[0]
    number: cython.Py_ssize_t = 0
    ended: cython.bint = False
    k: cython.Py_ssize_t
    i: cython.Py_ssize_t
    place: cython.Py_ssize_t
    kept_rows: cython.Py_ssize_t
    with cython.nogil:
        for _ in range(rounds):
            passes.fill()
            passes.fill_steps()
            base = ladder.find(passes.edge, passes.top, passes.must)
            passes.penalties(could, into, out)
            for k in range(8 * width):
                weight[k] = 0.0
            for c in range(count):
                if passes.state[cells.klass[c]] == OPEN:
                    weight[cells.klass[c]] -= multiplier[c]
            for k in range(classes):
                base += out[k]
                weight[k] += into[k] - out[k]
                weights[number, k] = weight[k]
            bases[number] = base
            room = fixed_room(passes.state, base, weight, limit)
            sums_by_byte(weight, table)
            kept_rows, least, first = 0, INFINITE, 0
            for i in range(left):
                total = 0.0
                for place in range(width):
                    total += table[place, sample[alive[i], place]]
                total -= room
                if total <= 0:
                    alive[kept_rows] = alive[i]
                    if total < least:
                        least, first = total, alive[i]
                    kept_rows += 1
            if kept_rows < left:
                number += 1
                best = -INFINITE
            left = kept_rows
            if left <= few:
                ended = True
                break
            if least > best + 1e-9:
                best, stale = least, 0.0
                for c in range(count):
                    kept[c] = multiplier[c]
            else:
                stale += 1
            if stale >= patience:
                step, stale = step / 2, 0.0
                for c in range(count):
                    multiplier[c] = kept[c]
                if step < least_step:
                    ended = True
                    break
                continue
            passes.choose(ladder, subgradient, stops)
            length = 0.0
            for c in range(count):
                k = cells.klass[c]
                subgradient[c] -= (sample[first, k >> 3] >> (7 - (k & 7))) & 1
                if passes.state[k] != OPEN:
                    subgradient[c] = 0.0
                length += subgradient[c] * subgradient[c]
            if length < 1e-12:
                ended = True
                break
            by = step * max(1e-3 * limit, (over - 1) * limit - least) / length
            for c in range(count):
                multiplier[c] += by * subgradient[c]
    reached[0], reached[1], reached[2] = step, stale, best
    return number, left, bool(ended)


@cython.cfunc
@cython.nogil
@cython.exceptval(check=False)
def fixed_room(
    state: cython.const[cython.longlong][::1],
    base: cython.double,
    weight: cython.double[::1],
    limit: cython.double,
) -> cython.double:
    """As `node.Penalties.room`: fixes weights, and returns the room."""
    over: cython.double = limit - base
    total: cython.double = 0.0
    for k in range(state.shape[0]):
        over += max(0.0, -weight[k])
    over = 2 * max(0.0, over) + 1
    for k in range(state.shape[0]):
        if state[k] == IN:
            weight[k] = -over
            base += over
        elif state[k] == OUT:
            weight[k] = over
        total += abs(weight[k])
    return limit - base + 1e-6 + 1e-9 * max(1.0, abs(limit) + abs(base) + total)


@cython.cfunc
@cython.nogil
@cython.exceptval(check=False)
def sums_by_byte(
    weight: cython.const[cython.double][::1], table: cython.double[:, ::1]
) -> cython.void:
    """Fills in `walks.sums_of_bytes`."""
    place: cython.Py_ssize_t
    value: cython.Py_ssize_t
    low: cython.Py_ssize_t
    for place in range(table.shape[0]):
        table[place, 0] = 0.0
        for value in range(1, 256):
            low = 0
            while not (value >> low) & 1:
                low += 1
            table[place, value] = table[place, value & (value - 1)] + weight[8 * place + 7 - low]
