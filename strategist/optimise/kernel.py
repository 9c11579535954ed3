"""Compiled loops: lower bounds of ladders for one cutoff and selections of tag classes.

A *cell* is a class in a pass group; cells are sorted by pass group. A class is out of a selection,
in it, or open: an open class may be let through in one pass and not in the next, whichever suits
the pass. Multipliers price what an open class changes in its passes: those that add up to zero over
the passes change nothing for selections that treat all passes alike, and raise the bound.

Each pass has a cost at each level, if that is the last level it walks, and a *turn*: the lowest
level by which it could have stopped. A ladder …, u, t, … meets the turn on one step (u < turn ≤ t),
or on none. Met on a lower step t the pass stops there, for sure or if that suits it, or walks on,
and then without the open classes that would have stopped it at t. Met on the top step, or not at
all, it ends at the top. So a bound of a ladder is a sum over its steps.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from strategist.optimise.cached_numba import compiled
from strategist.survey.records import Bools, Bytes, Floats, Ints

__all__ = [
    "IN",
    "OPEN",
    "OUT",
    "Cells",
    "best_ladder",
    "bounds_of",
    "climb",
    "cut_rounds",
    "fix_by_probing",
    "ladder_bound",
    "penalties_of",
    "relaxed",
    "step_costs",
    "subgradient_of",
]

OUT, IN, OPEN = 0, 1, 2  # states of a class


class Cells(NamedTuple):
    """What classes do in passes under one cutoff; c is a cell, r a row, p a pass group, l a level.

    Cells `start[p] … start[p + 1]` are those of pass p. `gain[c, l]` changes the cost of the pass
    when the class is let through, `hold[c, l]` counts its tags accepted at l; `base[p]` is the cost
    when nothing is. Rows `row_start[p] …` are (class, first level accepted, tags), by first level.
    `flip[flip_start[p * levels + l] …]` are the cells whose tags begin or cease to be accepted at
    l, going up.
    """

    start: Ints
    klass: Ints
    gain: Floats
    hold: Floats
    base: Floats
    row_start: Ints
    row_class: Ints
    row_first: Ints
    row_count: Floats
    flip_start: Ints
    flip: Ints


class Costs(NamedTuple):
    """What each pass p costs if it ends at level l, and what could stop it.

    `cost[p, l]`; `sure[p, l]` tags stop it there for sure; `open[p]`: a class of it is open;
    `turn[p]` is the lowest level by which it could have stopped.
    """

    cost: Floats
    sure: Floats
    open: Bools
    turn: Ints


@compiled
def _empty_costs(passes: int, levels: int) -> Costs:
    """To be filled in."""
    cost, sure = np.empty((passes, levels)), np.empty((passes, levels))
    return Costs(cost, sure, np.empty(passes, np.bool_), np.empty(passes, np.int64))


@compiled
def _cost_of_pass(
    p: int, state: Ints, multiplier: Floats, cells: Cells, cost: Floats, sure: Floats
) -> bool:
    """Fill in the cost of pass p at each level, and how many tags stop it there for sure.

    Returns whether a class of the pass is open.
    """
    klass, gain, hold = cells.klass, cells.gain, cells.hold
    levels = len(cost)
    anything_open = False
    for level in range(levels):
        cost[level] = cells.base[p]
        sure[level] = 0.0
    for c in range(cells.start[p], cells.start[p + 1]):
        kind = state[klass[c]]
        if kind == IN:
            for level in range(levels):
                cost[level] += gain[c, level]
                sure[level] += hold[c, level]
        elif kind == OPEN:
            anything_open = True
            by = multiplier[c]
            for level in range(levels):
                cost[level] += min(0.0, gain[c, level] + by)
    return anything_open


@compiled
def _fill_costs(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, costs: Costs
) -> float:
    """Fill in the `Costs` of the passes; what these cost, each at its best level."""
    levels, free = cells.gain.shape[1], 0.0
    for p in range(len(cells.base)):
        cost = costs.cost[p]
        costs.open[p] = _cost_of_pass(p, state, multiplier, cells, cost, costs.sure[p])
        costs.turn[p] = _turn(p, state, cells, stop_after, levels)
        least = cost[0]
        for t in range(levels):
            least = min(least, cost[t])
        free += least
    return free


@compiled
def _turn(p: int, state: Ints, cells: Cells, stop_after: int, levels: int) -> int:
    """The lowest level by which pass p could have stopped; `levels` if there is none."""
    found = 0.0
    for r in range(cells.row_start[p], cells.row_start[p + 1]):
        if state[cells.row_class[r]] != OUT:
            found += cells.row_count[r]
            if found >= stop_after:
                return int(cells.row_first[r])
    return levels


@compiled
def _end(sure: Floats, stop_after: int, must: Bools) -> int:
    """The place of the step that a pass does not walk past: one where it stops for sure, or top."""
    for place in range(len(sure)):
        if must[place] and sure[place] >= stop_after:
            return place
    return len(sure) - 1


@compiled
def _fill_steps(
    costs: Costs,
    state: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    must: Bools,
    edge: Floats,
    top: Floats,
) -> None:
    """Fill in (edge, top) of `step_costs`, given the `Costs` of the passes."""
    levels = cells.gain.shape[1]
    total, least = np.empty(levels), np.empty(levels)
    for t in range(levels):
        total[t] = 0.0
        for u in range(levels + 1):
            edge[u, t] = top[u, t] = 0.0
    for p in range(len(cells.base)):
        cost, turn = costs.cost[p], costs.turn[p]
        _least_past(p, costs, state, multiplier, cells, stop_after, must, least)
        for t in range(levels):
            total[t] += cost[t]
        for t in range(turn, levels):
            edge[turn, t] += least[t]
            top[turn, t] += cost[t]
    _add_up(total, edge, top)


@compiled
def _least_past(
    p: int,
    costs: Costs,
    state: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    must: Bools,
    least: Floats,
) -> None:
    """Fill in, for each level from the turn of pass p on, the least it costs if that is a step
    below the top: it ends there, or walks past."""
    klass, gain, hold = cells.klass, cells.gain, cells.hold
    flip_start, flip = cells.flip_start, cells.flip
    cost, sure, turn = costs.cost[p], costs.sure[p], costs.turn[p]
    levels = len(cost)
    end = _end(sure, stop_after, must)
    walk = np.empty(levels)
    for t in range(levels):
        walk[t] = cost[t]
    for t in range(levels):
        if costs.open[p] and stop_after == 1:
            # from walking past t − 1 to walking past t: open classes accepted at t are missing
            for f in range(flip_start[p * levels + t], flip_start[p * levels + t + 1]):
                c = flip[f]
                if state[klass[c]] == OPEN:
                    sign = -1.0 if hold[c, t] > 0 else 1.0
                    by = multiplier[c]
                    for other in range(t + 1, end + 1):
                        walk[other] += sign * min(0.0, gain[c, other] + by)
        if t < turn:
            continue
        least[t] = cost[t]
        if sure[t] < stop_after:
            for other in range(t + 1, end + 1):
                least[t] = min(least[t], walk[other])


@compiled
def _add_up(total: Floats, edge: Floats, top: Floats) -> None:
    """From what passes cost by turn and level to what steps do (see `step_costs`), in place."""
    levels = len(total)
    for t in range(levels):
        met, ended = 0.0, 0.0
        for u in range(t, -1, -1):
            met += edge[u, t]
            edge[u, t] = met
        for u in range(t + 1):
            turned = top[u, t]
            top[u, t] = total[t] - ended
            ended += turned


@compiled
def _best_ladder(
    edge: Floats, top: Floats, steps_max: int, must: Bools, ladder: Ints
) -> tuple[float, int]:
    """(bound, steps) of `best_ladder`; fills in the ladder."""
    levels = edge.shape[1]
    least = np.empty((steps_max, levels))  # with n + 1 steps, the last of them at t
    came = np.empty((steps_max, levels), np.int64)
    met_at, top_at = np.empty(levels + 1), np.empty(levels + 1)  # a column, read once
    for n in range(steps_max):
        for t in range(levels):
            least[n, t] = np.inf
            came[n, t] = -1
    best, count, under, last = np.inf, 0, -1, levels - 1
    lowest, passed = 0, False  # the level that a step at t must not pass over, where there is one
    final = 0
    for t in range(levels):
        final = t if must[t] else final
    for t in range(levels):
        is_top = t >= final
        for u in range(t + 1):
            met_at[u] = edge[u, t]
            top_at[u] = top[u, t]
        if not passed:
            least[0, t] = edge[0, t]
            if is_top and top[0, t] < best:
                best, count, last = top[0, t], 0, t
        for n in range(1, steps_max):
            for u in range(lowest, t):
                met = least[n - 1, u] + met_at[u + 1]
                if met < least[n, t]:
                    least[n, t] = met
                    came[n, t] = u
                whole = least[n - 1, u] + top_at[u + 1]
                if is_top and whole < best:
                    best, count, under, last = whole, n, u, t
        if must[t]:
            lowest, passed = t, True
    ladder[count] = last
    for n in range(count - 1, -1, -1):
        ladder[n] = under
        under = came[n, under]
    return best, count + 1


def best_ladder(edge: Floats, top: Floats, steps_max: int, must: Bools) -> tuple[float, Ints]:
    """The least bound of a ladder of up to `steps_max` steps, and that ladder, ascending.

    Levels that `must` be are steps of it. Without any ladder the bound is inf.
    """
    ladder = np.empty(max(1, steps_max), np.int64)
    best, count = _best_ladder(edge, top, steps_max, must, ladder)
    return best, ladder[:count]


@compiled
def _choose(
    costs: Costs,
    state: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    must: Bools,
    ladder: Ints,
    steps: int,
    chosen: Floats,
    stops: Ints,
) -> None:
    """What the bound of a ladder makes of the passes, given their `Costs`.

    Fills in, for each cell, 1 where it is of an open class and let through, else 0; for each pass
    where it ends.
    """
    levels = cells.gain.shape[1]
    walk = np.empty(levels)
    for p in range(len(cells.base)):
        cost, sure, turn = costs.cost[p], costs.sure[p], costs.turn[p]
        stop, passed = ladder[steps - 1], -1
        for n in range(steps - 1):
            if ladder[n] >= turn:
                stop = ladder[n]
                break
        if stop != ladder[steps - 1] and sure[stop] < stop_after:
            for other in range(levels):
                walk[other] = cost[other]
            least, t = cost[stop], stop
            if stop_after == 1:
                for c in range(cells.start[p], cells.start[p + 1]):
                    if state[cells.klass[c]] == OPEN and cells.hold[c, t] > 0:
                        for other in range(t + 1, levels):
                            walk[other] -= min(0.0, cells.gain[c, other] + multiplier[c])
            for other in range(t + 1, _end(sure, stop_after, must) + 1):
                if walk[other] < least:
                    least, stop, passed = walk[other], other, t
        stops[p] = stop
        for c in range(cells.start[p], cells.start[p + 1]):
            blocked = passed >= 0 and stop_after == 1 and cells.hold[c, passed] > 0
            lets = state[cells.klass[c]] == OPEN and cells.gain[c, stop] + multiplier[c] < 0
            chosen[c] = 1.0 if lets and not blocked else 0.0


@compiled
def _centre(state: Ints, cells: Cells, chosen: Floats) -> None:
    """Take from each cell of an open class the mean of the class; 0 for the cells of others."""
    share, size = np.empty(len(state)), np.empty(len(state))
    for k in range(len(state)):
        share[k] = size[k] = 0.0
    for c in range(len(chosen)):
        share[cells.klass[c]] += chosen[c]
        size[cells.klass[c]] += 1.0
    for c in range(len(chosen)):
        k = cells.klass[c]
        chosen[c] = chosen[c] - share[k] / size[k] if state[k] == OPEN else 0.0


_STEPS, _BOUND, _CHOICES, _SUBGRADIENT = range(4)  # how far `_bounded` goes


@compiled
def _bounded(
    states: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    steps_max: int,
    must: Bools,
    limit: float,
    far: int,
    bounds: Floats,
    edge: Floats,
    top: Floats,
    chosen: Floats,
    stops: Ints,
) -> float:
    """Fills in bounds of each row of class states, no further where the cost without a ladder, of
    which the last is returned, is above the limit; the others are of the last row."""
    passes, levels = len(cells.base), cells.gain.shape[1]
    costs = _empty_costs(passes, levels)
    ladder, free = np.empty(steps_max, np.int64), 0.0
    for i in range(len(states)):
        state = states[i]
        free = _fill_costs(state, multiplier, cells, stop_after, costs)
        bounds[i] = free
        if free > limit:
            continue
        _fill_steps(costs, state, multiplier, cells, stop_after, must, edge, top)
        if far == _STEPS:
            continue
        bounds[i], steps = _best_ladder(edge, top, steps_max, must, ladder)
        if far >= _CHOICES:
            _choose(costs, state, multiplier, cells, stop_after, must, ladder, steps, chosen, stops)
        if far == _SUBGRADIENT:
            _centre(state, cells, chosen)
    return free


def _of_states(
    states: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    steps_max: int,
    must: Bools,
    limit: float,
    far: int,
) -> tuple[Floats, Floats, Floats, float, Floats, Ints]:
    """(bounds, edge, top, free, chosen, stops) of `_bounded`."""
    passes, levels = len(cells.base), cells.gain.shape[1]
    edge, top = np.empty((levels + 1, levels)), np.empty((levels + 1, levels))
    reached = far >= _CHOICES
    chosen = np.empty(len(cells.klass) if reached else 0)
    stops = np.empty(passes if reached else 0, np.int64)
    bounds = np.empty(len(states))
    asked = states, multiplier, cells, stop_after, steps_max, must, limit, far
    free = _bounded(*asked, bounds, edge, top, chosen, stops)
    return bounds, edge, top, free, chosen, stops


def step_costs(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, must: Bools
) -> tuple[Floats, Floats, float]:
    """(edge, top, free): costs by step as in `ladders.Steps`, and with each pass at its best level.

    `edge[u, t]` (u = 0: no lower step, u = i + 1: level i) is the cost of the passes whose turn is
    above u and at or below t, when t is not the top; `top[u, t]` of these and all later ones, when
    it is. Levels that `must` be are steps of every ladder.
    """
    _, edge, top, free, _, _ = _of_states(
        state[None], multiplier, cells, stop_after, 1, must, np.inf, _STEPS
    )
    return edge, top, free


def ladder_bound(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, steps_max: int, must: Bools
) -> float:
    """The least bound of a ladder (one call for two: to enter compiled code has its price)."""
    asked = multiplier, cells, stop_after, steps_max, must, np.inf, _BOUND
    return float(_of_states(state[None], *asked)[0][0])


def relaxed(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, steps_max: int, must: Bools
) -> tuple[float, Floats, Ints]:
    """The least bound of a ladder, and what it makes of the passes.

    For each cell of an open class 1 where it is let through, else 0; for each pass where it ends.
    """
    bounds, _, _, _, chosen, stops = _of_states(
        state[None], multiplier, cells, stop_after, steps_max, must, np.inf, _CHOICES
    )
    return float(bounds[0]), chosen, stops


def subgradient_of(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, steps_max: int, must: Bools
) -> tuple[float, Floats]:
    """The least bound of a ladder, and its subgradient by the multipliers of open classes, where
    these add up to zero for each class."""
    bounds, _, _, _, chosen, _ = _of_states(
        state[None], multiplier, cells, stop_after, steps_max, must, np.inf, _SUBGRADIENT
    )
    return float(bounds[0]), chosen


@compiled
def climb(
    state: Ints,
    multiplier: Floats,
    kept: Floats,
    cells: Cells,
    stop_after: int,
    steps_max: int,
    must: Bools,
    enough: float,
    goal: float,
    over: float,
    patience: int,
    least_step: float,
    rounds: int,
    reached: Floats,
) -> bool:
    """So many rounds along the subgradient, or until the bound comes to `enough` or rises no more;
    whether that was the end.

    `multiplier` moves on; `kept` is that of the best bound. `reached` holds the step, the rounds
    without a better bound, and the best bound, from one call to the next.
    """
    passes, levels, count = len(cells.base), cells.gain.shape[1], len(multiplier)
    costs = _empty_costs(passes, levels)
    edge, top = np.empty((levels + 1, levels)), np.empty((levels + 1, levels))
    ladder, stops = np.empty(steps_max, np.int64), np.empty(passes, np.int64)
    subgradient = np.empty(count)
    step, stale, best = reached[0], reached[1], reached[2]
    ended, number, back = False, 0, False
    while number < rounds and not ended:
        _fill_costs(state, multiplier, cells, stop_after, costs)
        _fill_steps(costs, state, multiplier, cells, stop_after, must, edge, top)
        bound, steps = _best_ladder(edge, top, steps_max, must, ladder)
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
        _choose(
            costs, state, multiplier, cells, stop_after, must, ladder, steps, subgradient, stops
        )
        _centre(state, cells, subgradient)
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
    reached[0] = step
    reached[1] = stale
    reached[2] = best
    return ended


def bounds_of(
    through: Ints, cells: Cells, stop_after: int, steps_max: int, must: Bools, limit: float
) -> Floats:
    """The least bound of each selection (row of class states); one above `limit` may be too low,
    but is above it."""
    nothing = np.zeros(len(cells.klass))
    return _of_states(through, nothing, cells, stop_after, steps_max, must, limit, _BOUND)[0]


@compiled
def fix_by_probing(
    state: Ints,
    some: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    steps_max: int,
    must: Bools,
    limit: float,
) -> bool:
    """Try each of some open classes out, then in: where the bound comes to the limit or above, the
    class is fixed the other way, in `state`. Returns whether any was.

    A class changes the cost of the passes that it is in: these alone are looked at again.
    """
    passes, levels = len(cells.base), cells.gain.shape[1]
    costs = _empty_costs(passes, levels)
    tried = _empty_costs(passes, levels)
    least, other = np.empty((passes, levels)), np.empty((passes, levels))
    ladder = np.empty(steps_max, np.int64)
    sums = np.empty((2 * levels + 3, levels))  # by turn and level: edge, top; the last row: total
    met, fixed = np.empty((2 * levels + 3, levels)), False
    begin, pass_of = np.empty(len(state) + 1, np.int64), np.empty(len(cells.klass), np.int64)
    cell_of = np.empty(len(cells.klass), np.int64)
    _where_classes_are(cells, begin, pass_of, cell_of)
    for u in range(len(sums)):
        for t in range(levels):
            sums[u, t] = 0.0
    for p in range(passes):
        _look_at(p, costs, least, state, multiplier, cells, stop_after, must)
        _count(p, 1.0, costs, least, sums)
    for place in range(len(some)):
        k = some[place]
        for kind in range(OUT, OPEN):
            for u in range(len(sums)):
                for t in range(levels):
                    met[u, t] = sums[u, t]
            state[k] = kind
            for i in range(begin[k], begin[k + 1]):
                p = pass_of[i]
                _try(p, cell_of[i], kind, costs, tried, multiplier, cells)
                tried.turn[p] = _turn(p, state, cells, stop_after, levels)
                _least_past(p, tried, state, multiplier, cells, stop_after, must, other[p])
                _count(p, -1.0, costs, least, met)
                _count(p, 1.0, tried, other, met)
            edge, top = met[: levels + 1], met[levels + 1 : 2 * levels + 2]
            _add_up(met[2 * levels + 2], edge, top)
            bound, _ = _best_ladder(edge, top, steps_max, must, ladder)
            state[k] = OPEN
            if bound >= limit:
                state[k] = IN if kind == OUT else OUT
                fixed = True
                break
        if state[k] != OPEN:
            for i in range(begin[k], begin[k + 1]):
                p = pass_of[i]
                _count(p, -1.0, costs, least, sums)
                _look_at(p, costs, least, state, multiplier, cells, stop_after, must)
                _count(p, 1.0, costs, least, sums)
    return fixed


@compiled
def _look_at(
    p: int,
    costs: Costs,
    least: Floats,
    state: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    must: Bools,
) -> None:
    """Fill in the `Costs` of pass p, and the least it costs by level."""
    levels = cells.gain.shape[1]
    costs.open[p] = _cost_of_pass(p, state, multiplier, cells, costs.cost[p], costs.sure[p])
    costs.turn[p] = _turn(p, state, cells, stop_after, levels)
    _least_past(p, costs, state, multiplier, cells, stop_after, must, least[p])


@compiled
def _try(
    p: int, c: int, kind: int, costs: Costs, tried: Costs, multiplier: Floats, cells: Cells
) -> None:
    """Fill in what pass p costs once an open cell of it is out or in, given what it costs."""
    for t in range(cells.gain.shape[1]):
        gain = cells.gain[c, t]
        cost = costs.cost[p, t] - min(0.0, gain + multiplier[c])
        tried.cost[p, t] = cost + gain if kind == IN else cost
        tried.sure[p, t] = costs.sure[p, t] + (cells.hold[c, t] if kind == IN else 0.0)
    tried.open[p] = costs.open[p]


@compiled
def _count(p: int, sign: float, costs: Costs, least: Floats, sums: Floats) -> None:
    """Count pass p in, or out again, by its turn."""
    levels, turn = least.shape[1], costs.turn[p]
    for t in range(levels):
        sums[2 * levels + 2, t] += sign * costs.cost[p, t]
    for t in range(turn, levels):
        sums[turn, t] += sign * least[p, t]
        sums[levels + 1 + turn, t] += sign * costs.cost[p, t]


@compiled
def _where_classes_are(cells: Cells, begin: Ints, passes: Ints, cell_of: Ints) -> None:
    """Fills in passes and cells: from `begin[k]` to `begin[k + 1]` stand those of class k."""
    classes = len(begin) - 1
    for k in range(classes + 1):
        begin[k] = 0
    for c in range(len(cells.klass)):
        begin[cells.klass[c]] += 1
    for k in range(classes):
        begin[k + 1] += begin[k]
    for p in range(len(cells.base)):
        for c in range(cells.start[p], cells.start[p + 1]):
            begin[cells.klass[c]] -= 1
            passes[begin[cells.klass[c]]] = p
            cell_of[begin[cells.klass[c]]] = c


def penalties_of(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, must: Bools
) -> tuple[Floats, Floats]:
    """What each open class adds to the bound at least: when it is let through, and when not.

    A pass ends at a level that may be the top, or where something could stop it, and not past a
    step that must be where it stops for sure. A class without which a pass walks on may cost
    nothing when it is kept out.
    """
    into, out = np.zeros(len(state)), np.zeros(len(state))
    _penalties(state, multiplier, cells, stop_after, must, into, out)
    return into, out


@compiled
def _penalties(
    state: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    must: Bools,
    into: Floats,
    out: Floats,
) -> None:
    passes, levels = len(cells.base), cells.gain.shape[1]
    costs = _empty_costs(passes, levels)
    _fill_costs(state, multiplier, cells, stop_after, costs)
    _fill_penalties(costs, state, multiplier, cells, stop_after, must, into, out)


@compiled
def _fill_penalties(
    costs: Costs,
    state: Ints,
    multiplier: Floats,
    cells: Cells,
    stop_after: int,
    must: Bools,
    into: Floats,
    out: Floats,
) -> None:
    """Fills in `penalties_of`, given the `Costs` of the passes."""
    klass, gain, hold = cells.klass, cells.gain, cells.hold
    levels = gain.shape[1]
    could, final = np.empty(levels, np.bool_), 0
    for k in range(len(state)):
        into[k] = 0.0
        out[k] = 0.0
    for place in range(levels):
        final = place if must[place] else final
    for p in range(len(cells.base)):
        turn, end = costs.turn[p], _end(costs.sure[p], stop_after, must)
        for place in range(levels):
            could[place] = place >= turn and stop_after > 1
        for c in range(cells.start[p], cells.start[p + 1]):
            if state[klass[c]] != OUT and stop_after == 1:
                for place in range(levels):
                    could[place] = could[place] or hold[c, place] > 0
        for place in range(final, levels):
            could[place] = True
        for c in range(cells.start[p], cells.start[p + 1]):
            if state[klass[c]] != OPEN:
                continue
            least_in, least_out, blocks = np.inf, np.inf, False
            for place in range(end + 1):
                if could[place]:
                    changed = gain[c, place] + multiplier[c]
                    least_in = min(least_in, max(0.0, changed))
                    least_out = min(least_out, 0.0 if blocks else max(0.0, -changed))
                blocks = blocks or (stop_after == 1 and hold[c, place] > 0)
            into[klass[c]] += least_in
            out[klass[c]] += least_out


@compiled
def cut_rounds(
    state: Ints,
    multiplier: Floats,
    kept: Floats,
    cells: Cells,
    stop_after: int,
    steps_max: int,
    must: Bools,
    limit: float,
    over: float,
    patience: int,
    least_step: float,
    rounds: int,
    sample: Bytes,
    alive: Ints,
    few: int,
    bases: Floats,
    weights: Floats,
    reached: Floats,
) -> tuple[int, int, bool]:
    """So many rounds of `node.Node.cuts`: (cuts found, rows of the sample left, whether to end).

    `alive` are the rows of the sample that are left; those that a cut takes above the limit leave.
    `bases` and `weights` are filled with the cuts that took some; `kept` is the multiplier of the
    best bound of the rest. `reached` is as in `climb`.
    """
    passes, levels, count = len(cells.base), cells.gain.shape[1], len(multiplier)
    classes, width = len(state), sample.shape[1]
    costs = _empty_costs(passes, levels)
    edge, top = np.empty((levels + 1, levels)), np.empty((levels + 1, levels))
    ladder, stops = np.empty(steps_max, np.int64), np.empty(passes, np.int64)
    subgradient, table = np.empty(count), np.empty((width, 256))
    into, out, weight = np.empty(classes), np.empty(classes), np.empty(8 * width)
    step, stale, best = reached[0], reached[1], reached[2]
    left, number, ended = len(alive), 0, False
    for _ in range(rounds):
        _fill_costs(state, multiplier, cells, stop_after, costs)
        _fill_steps(costs, state, multiplier, cells, stop_after, must, edge, top)
        base, steps = _best_ladder(edge, top, steps_max, must, ladder)
        _fill_penalties(costs, state, multiplier, cells, stop_after, must, into, out)
        for k in range(8 * width):
            weight[k] = 0.0
        for c in range(count):
            if state[cells.klass[c]] == OPEN:
                weight[cells.klass[c]] -= multiplier[c]
        for k in range(classes):
            base += out[k]
            weight[k] += into[k] - out[k]
            weights[number, k] = weight[k]
        bases[number] = base
        room = _room(state, base, weight, limit)
        for place in range(width):
            table[place, 0] = 0.0
            for value in range(1, 256):
                low = 0
                while not (value >> low) & 1:
                    low += 1
                added = weight[8 * place + 7 - low]
                table[place, value] = table[place, value & (value - 1)] + added
        kept_rows, least, first = 0, np.inf, 0
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
            best = -np.inf
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
        _choose(
            costs, state, multiplier, cells, stop_after, must, ladder, steps, subgradient, stops
        )
        length = 0.0
        for c in range(count):
            k = cells.klass[c]
            subgradient[c] -= (sample[first, k >> 3] >> (7 - (k & 7))) & 1
            if state[k] != OPEN:
                subgradient[c] = 0.0
            length += subgradient[c] * subgradient[c]
        if length < 1e-12:
            ended = True
            break
        by = step * max(1e-3 * limit, (over - 1) * limit - least) / length
        for c in range(count):
            multiplier[c] += by * subgradient[c]
    reached[0] = step
    reached[1] = stale
    reached[2] = best
    return number, left, ended


@compiled
def _room(state: Ints, base: float, weight: Floats, limit: float) -> float:
    """As `node.Penalties.room`: fixes weights, and returns the room."""
    over, total = limit - base, 0.0
    for k in range(len(state)):
        over += max(0.0, -weight[k])
    over = 2 * max(0.0, over) + 1
    for k in range(len(state)):
        if state[k] == IN:
            weight[k] = -over
            base += over
        elif state[k] == OUT:
            weight[k] = over
        total += abs(weight[k])
    return limit - base + 1e-6 + 1e-9 * max(1.0, abs(limit) + abs(base) + total)
