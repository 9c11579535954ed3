"""Bounds on own powers and cutoffs from prices on presentations: compiled loops.

The rows of the model (`own_model`) that join antennas are priced (Lagrangian relaxation): with c_r
what row r costs where it is missed or stray, 0 ≤ λ[r] ≤ c_r for wanted r, and for stray r
μ[r, a] ≥ 0 with Σ_a μ[r, a] ≤ c_r,

    D = Σ_wanted λ[r] + Σ_a min over the columns of a of
        (Σ μ[r, a] over strays that the column counts − Σ λ[r] over wanted that it counts)

is a bound, the highest of them that of the model's relaxation. Where only so many antennas may be
on, those whose least is the highest are off instead. A column whose term is above that of what its
antenna was given by at least as much as D lacks to a target is in no choice below the target; to
switch one off may let in another that was off for lack of turns, which is allowed for.
The prices climb along deflected subgradients with Polyak's step; both are textbook.
"""

from __future__ import annotations

import numpy as np

from strategist.optimise.cached_numba import compiled
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


@compiled
def _lowest(columns: Columns, alive: Bools) -> Ints:
    """The lowest column of each place that is alive; −1 where none is."""
    lowest = np.full(len(columns.of_place), -1)
    for c in range(len(alive) - 1, -1, -1):
        if alive[c] and columns.place[c] >= 0:
            lowest[columns.place[c]] = c
    return lowest


@compiled
def _terms(
    columns: Columns, alive: Bools, lowest: Ints, price: Floats, term: Floats
) -> tuple[float, Ints]:
    """Fills `term[c]`; returns the sum of the least ones of antennas, and their columns. The term
    of "off" where an antenna is on is the least of those that are off for lack of turns."""
    least, chosen = np.full(len(price), np.inf), np.zeros(len(price), np.int64)
    off = len(alive) - len(chosen)
    for a in range(len(chosen)):
        if alive[off + a]:
            least[a], chosen[a] = 0.0, off + a
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
                least[a], chosen[a] = total, c
    spare = 0.0
    while (columns.place[chosen] >= 0).sum() > columns.most_on:
        last = -1
        for a in range(len(chosen)):
            off_too = columns.place[chosen[a]] >= 0 and alive[off + a]
            if off_too and (last < 0 or least[a] > least[last]):
                last = a
        if last < 0:
            return np.inf, chosen
        spare, least[last], chosen[last] = least[last], 0.0, off + last
    for a in range(len(chosen)):
        term[off + a] = spare if columns.place[chosen[a]] >= 0 else 0.0
    return least.sum(), chosen


@compiled
def _counted(columns: Columns, chosen: Ints, counted: Bools) -> None:
    """Fills which rows each antenna counts."""
    counted[:] = False
    for a in range(len(chosen)):
        p = columns.place[chosen[a]]
        if p >= 0:
            for k in range(columns.begin[p], columns.begin[p + 1]):
                if columns.column[k] < chosen[a]:
                    break
                counted[a, columns.row[k]] = True


@compiled
def _cost_of(columns: Columns, counted: Bools) -> float:
    total = 0.0
    for r in range(len(columns.cost)):
        if columns.wanted[r] != counted[:, r].any():
            total += columns.cost[r]
    return total


@compiled
def _turn(columns: Columns, counted: Bools, kept: float, price: Floats, way: Floats) -> float:
    """Turns the direction `way` towards the subgradient; returns its squared length, without
    wanted rows whose price cannot go that way."""
    length = 0.0
    for r in range(len(columns.cost)):
        if columns.wanted[r]:
            slope = (1 - kept) * (counted[:, r].sum() - 1.0) + kept * way[0, r]
            way[:, r] = slope
            if price[0, r] > -columns.cost[r] if slope < 0 else price[0, r] < 0:
                length += slope**2
        else:
            for a in range(len(counted)):
                way[a, r] = (1 - kept) * counted[a, r] + kept * way[a, r]
                length += way[a, r] ** 2
    return length


@compiled
def _move(columns: Columns, price: Floats, way: Floats, step: float) -> None:
    """A step along the direction, then the nearest prices that are allowed."""
    antennas, cost = len(price), columns.cost
    for r in range(len(cost)):
        if columns.wanted[r]:
            price[:, r] = min(0.0, max(-cost[r], price[0, r] + step * way[0, r]))
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
def _given_up(columns: Columns, alive: Bools, term: Floats, chosen: Ints, room: float) -> bool:
    """Marks the columns that are in no choice below the target; whether there was one."""
    some = False
    for c in range(len(alive)):
        if alive[c] and term[c] - term[chosen[columns.antenna[c]]] >= room:
            alive[c], some = False, True
    return some


@compiled
def raised(
    columns: Columns, alive: Bools, price: Floats, target: float, rounds: int
) -> tuple[float, Floats, float, Ints]:
    """Raises the bound of the choices whose columns are `alive`, until it comes up to the target.

    Changes in place: `price` (those of the highest bound), and `alive`, less what is in no choice
    below the target. Returns the bound, how much each column was chosen of late, and the cheapest
    choice met, with its cost.
    """
    antennas, count = price.shape
    term = np.zeros(len(alive))
    counted, way = np.zeros((antennas, count), np.bool_), np.zeros((antennas, count))
    lately, highest, best = np.zeros(len(alive)), -np.inf, price.copy()
    cheapest, choice = np.inf, np.zeros(antennas, np.int64)
    lowest, scale, idle, kept = _lowest(columns, alive), 1.0, 0, 0.0
    for _ in range(rounds):
        bound, chosen = _terms(columns, alive, lowest, price, term)
        for r in range(count):
            if columns.wanted[r]:
                bound -= price[0, r]
        idle += 1
        if bound > highest + 1e-9:
            if bound > highest + 1e-3 * (target - highest):
                idle = 0
            highest, best[:] = bound, price
            if highest >= target:
                break
            if _given_up(columns, alive, term, chosen, target - bound):
                lowest = _lowest(columns, alive)
        _counted(columns, chosen, counted)
        lately *= 1 - _RECENT
        lately[chosen] += _RECENT
        spent = _cost_of(columns, counted)
        if spent < cheapest:
            cheapest, choice[:] = spent, chosen
        if idle >= _PATIENCE:
            scale, idle, price[:] = scale * _SHORTER, 0, best
        length = _turn(columns, counted, kept, price, way)
        if length < 1e-12 or scale < _SHORTEST:
            break
        kept = _DEFLECTED
        step = scale * (target + _BEYOND * abs(target) - bound) / length
        _move(columns, price, way, step)
    price[:] = best
    return highest, lately, cheapest, choice
