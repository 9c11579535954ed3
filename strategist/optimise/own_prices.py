"""Bounds on own powers and cutoffs from prices on presentations: compiled loops.

The rows of the model (`own_model`) that join antennas are priced (Lagrangian relaxation): with c_r
what row r costs where it is missed or stray, 0 ≤ λ[r] ≤ c_r for wanted r, and for stray r
μ[r, a] ≥ 0 with Σ_a μ[r, a] ≤ c_r,

    D = Σ_wanted λ[r] + Σ_a min over the columns of a of
        (Σ μ[r, a] over strays that the column counts − Σ λ[r] over wanted that it counts)

is a bound, the highest of them that of the model's relaxation. A column whose term is above the
least of its antenna by at least as much as D lacks to a target is in no choice below the target.
The prices climb along deflected subgradients with Polyak's step; both are textbook.
"""

from __future__ import annotations

import numpy as np

from strategist.optimise.cached_numba import Bools2, Floats2, compiled
from strategist.optimise.own_columns import Columns
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["first_prices", "raised"]

_DEFLECTED = 0.7  # of the direction before that each direction keeps
_PATIENCE = 20  # rounds without a higher bound, then the step is shortened
_SHORTER, _SHORTEST = 0.6, 0.01
_BEYOND = 0.02  # by how much the step aims above the target
_RECENT = 0.05  # share of a round in what the columns are remembered by


def first_prices(columns: Columns) -> Floats:
    """Prices to begin with: (antennas, rows); λ with its sign turned, as `raised` takes them."""
    antennas = len(columns.antenna) - int((columns.place >= 0).sum())
    prices: Floats = np.where(columns.wanted, -0.7, 1.0 / antennas) * columns.cost
    return np.tile(prices, (antennas, 1))


def raised(
    columns: Columns, alive: Bools, price: Floats, target: float, rounds: int
) -> tuple[float, Floats, float, Ints]:
    """Raises the bound of the choices whose columns are `alive`, until it comes up to the target.

    Changes in place: `price` (those of the highest bound), and `alive`, less what is in no choice
    below the target. Returns the bound, how much each column was chosen of late, and the cheapest
    choice met, with its cost.
    """
    lately, choice = np.zeros(len(alive)), np.zeros(len(price), np.int64)
    way, counted = np.zeros(price.shape), np.zeros(price.shape, bool)
    asked = columns, alive, price, target, rounds
    highest, cheapest = _raised(*asked, lately, choice, way, counted)
    return highest, lately, cheapest, choice


@compiled
def _raised(
    columns: Columns,
    alive: Bools,
    price: Floats2,
    target: float,
    rounds: int,
    lately: Floats,
    choice: Ints,
    way: Floats2,
    counted: Bools2,
) -> tuple[float, float]:
    """(bound, cost of the cheapest choice) of `raised`."""
    antennas, count = price.shape
    term, best = np.empty(len(alive)), np.empty((antennas, count))
    lowest, chosen = np.empty(len(columns.of_place), np.int64), np.empty(antennas, np.int64)
    for c in range(len(alive)):
        term[c] = 0.0
    _copy(price, best)
    _fill_lowest(columns, alive, lowest)
    highest, cheapest, scale, idle, kept = -np.inf, np.inf, 1.0, 0, 0.0
    for _ in range(rounds):
        bound = _fill_terms(columns, alive, lowest, price, term, chosen)
        for r in range(count):
            if columns.wanted[r]:
                bound -= price[0, r]
        idle += 1
        if bound > highest + 1e-9:
            if bound > highest + 1e-3 * (target - highest):
                idle = 0
            highest = bound
            _copy(price, best)
            if highest >= target:
                break
            if _give_up(columns, alive, term, chosen, target - bound):
                _fill_lowest(columns, alive, lowest)
        _count(columns, chosen, counted)
        for c in range(len(alive)):
            lately[c] *= 1 - _RECENT
        for a in range(antennas):
            lately[chosen[a]] += _RECENT
        spent = _cost_of(columns, counted)
        if spent < cheapest:
            cheapest = spent
            for a in range(antennas):
                choice[a] = chosen[a]
        if idle >= _PATIENCE:
            scale, idle = scale * _SHORTER, 0
            _copy(best, price)
        length = _turn(columns, counted, kept, price, way)
        if length < 1e-12 or scale < _SHORTEST:
            break
        kept = _DEFLECTED
        step = scale * (target + _BEYOND * abs(target) - bound) / length
        _move(columns, price, way, step)
    _copy(best, price)
    return highest, cheapest


@compiled
def _copy(source: Floats2, target: Floats2) -> None:
    for a in range(len(source)):
        for r in range(source.shape[1]):
            target[a, r] = source[a, r]


@compiled
def _fill_lowest(columns: Columns, alive: Bools, lowest: Ints) -> None:
    """The lowest column of each place that is alive; −1 where none is."""
    for p in range(len(lowest)):
        lowest[p] = -1
    for c in range(len(alive) - 1, -1, -1):
        if alive[c] and columns.place[c] >= 0:
            lowest[columns.place[c]] = c


@compiled
def _fill_terms(
    columns: Columns, alive: Bools, lowest: Ints, price: Floats2, term: Floats, chosen: Ints
) -> float:
    """Fills `term[c]`, and the columns of the least ones of antennas; returns the sum of these."""
    antennas = len(price)
    least, off, sum_of_least = np.empty(antennas), len(alive) - antennas, 0.0
    for a in range(antennas):
        least[a] = np.inf
        chosen[a] = 0
        if alive[off + a]:
            least[a] = 0.0
            chosen[a] = off + a
    for p in range(len(lowest)):
        a, k, end = columns.of_place[p], columns.begin[p], columns.begin[p + 1]
        total = 0.0
        while lowest[p] >= 0 and k < end and columns.column[k] >= lowest[p]:
            c = columns.column[k]
            while k < end and columns.column[k] == c:
                total += price[a, columns.row[k]]
                k += 1
            term[c] = total
            if alive[c] and total < least[a]:
                least[a] = total
                chosen[a] = c
    for a in range(antennas):
        sum_of_least += least[a]
    return sum_of_least


@compiled
def _count(columns: Columns, chosen: Ints, counted: Bools2) -> None:
    """Fills which rows each antenna counts."""
    for a in range(len(chosen)):
        for r in range(counted.shape[1]):
            counted[a, r] = False
    for a in range(len(chosen)):
        p = columns.place[chosen[a]]
        if p >= 0:
            for k in range(columns.begin[p], columns.begin[p + 1]):
                if columns.column[k] < chosen[a]:
                    break
                counted[a, columns.row[k]] = True


@compiled
def _times(counted: Bools2, r: int) -> int:
    """How many antennas count a row."""
    found = 0
    for a in range(len(counted)):
        found += counted[a, r]
    return found


@compiled
def _cost_of(columns: Columns, counted: Bools2) -> float:
    total = 0.0
    for r in range(len(columns.cost)):
        if columns.wanted[r] != (_times(counted, r) > 0):
            total += columns.cost[r]
    return total


@compiled
def _turn(columns: Columns, counted: Bools2, kept: float, price: Floats2, way: Floats2) -> float:
    """Turns the direction `way` towards the subgradient; returns its squared length, without
    wanted rows whose price cannot go that way."""
    length = 0.0
    for r in range(len(columns.cost)):
        if columns.wanted[r]:
            slope = (1 - kept) * (_times(counted, r) - 1.0) + kept * way[0, r]
            for a in range(len(counted)):
                way[a, r] = slope
            if price[0, r] > -columns.cost[r] if slope < 0 else price[0, r] < 0:
                length += slope * slope
        else:
            for a in range(len(counted)):
                way[a, r] = (1 - kept) * counted[a, r] + kept * way[a, r]
                length += way[a, r] * way[a, r]
    return length


@compiled
def _move(columns: Columns, price: Floats2, way: Floats2, step: float) -> None:
    """A step along the direction, then the nearest prices that are allowed."""
    antennas, cost = len(price), columns.cost
    for r in range(len(cost)):
        if columns.wanted[r]:
            moved = min(0.0, max(-cost[r], price[0, r] + step * way[0, r]))
            for a in range(antennas):
                price[a, r] = moved
            continue
        total = 0.0
        for a in range(antennas):
            price[a, r] = max(0.0, price[a, r] + step * way[a, r])
            total += price[a, r]
        while total > cost[r] + 1e-12:  # as often as there are antennas, at most
            above = 0
            for a in range(antennas):
                above += price[a, r] > 0
            less, total = (total - cost[r]) / above, 0.0
            for a in range(antennas):
                price[a, r] = max(0.0, price[a, r] - less) if price[a, r] > 0 else 0.0
                total += price[a, r]


@compiled
def _give_up(columns: Columns, alive: Bools, term: Floats, chosen: Ints, room: float) -> bool:
    """Marks the columns that are in no choice below the target; whether there was one."""
    some = False
    for c in range(len(alive)):
        if alive[c] and term[c] - term[chosen[columns.antenna[c]]] >= room:
            alive[c] = False
            some = True
    return some
