"""Own powers and cutoffs by splitting: what each antenna may be set to, bounded by prices.

A part of the choice is a selection of the mask chains and, for each antenna, the columns that are
still alive. Its bound (`own_prices`) gives up columns on the way; what is left is split, by level
or by how many wanted tags are heard, where both halves rise the most. A half that comes up to the
best choice leaves the other one alone. Nothing here is a guess: where all parts are done with, the
best choice is proven.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.measures import Measure, spacing
from strategist.optimise.own_columns import Columns, columns_of, cutoffs_of, merged, own_of
from strategist.optimise.own_powers import ByAntenna, Own, improved
from strategist.optimise.own_prices import first_prices, raised
from strategist.optimise.problem import value
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Searched", "search_own_powers"]

_FIRST, _LOOK, _ROUNDS = 1_000, 60, 200  # rounds of prices: at the root, to look at a half, after
_PARTS_MAX = 3_000  # open at a time, so that they stay within some hundred megabytes
_SAME = 1e-6  # losses are compared to this


class Searched(NamedTuple):
    """The best choice, a loss that none is below, and what may still hold a better one: selections
    and, in order of `columns`, those alive. `parts` were split, `bounds` raised."""

    own: Own
    bound: float
    selections: Bools
    alive: Bools
    columns: Columns
    parts: int
    bounds: int

    def cutoffs(self) -> dict[tuple[int, int], Floats]:
        """The cutoffs alive, by antenna and level."""
        columns, found = self.columns, {}
        for place in np.unique(columns.place[self.alive & (columns.place >= 0)]).tolist():
            own = self.alive & (columns.place == place)
            at = int(columns.antenna[own][0]), int(columns.level[own][0])
            found[at] = columns.cutoff[own]
        return found


class _Part(NamedTuple):
    selection: int
    bound: float
    alive: Bools
    price: Floats
    lately: Floats


def search_own_powers(problem: ByAntenna, best: Own, clock: Clock) -> Searched:
    """The least loss of any powers, cutoffs and selection, from a choice that keeps the limits.

    When the clock runs out, or too many parts are open, the best so far with the true bound.
    """
    return _Search(problem, best, clock).run()


class _Search:
    def __init__(self, problem: ByAntenna, best: Own, clock: Clock) -> None:
        self.problem, self.best, self.clock = problem, best, clock
        self.least = problem.key(best)[1]
        cutoffs = cutoffs_of(problem)
        self.rows = merged(problem, cutoffs)
        self.columns = columns_of(problem, cutoffs, self.rows)
        loss = problem.loss
        whole = bool((problem.weight % 1 == 0).all())
        self.step = spacing(Measure(loss.missed, loss.stray)) if whole else 0.0
        self.heap: list[tuple[float, int, _Part]] = []
        self.number = itertools.count()
        self.parts = self.bounds = 0

    def run(self) -> Searched:
        waiting = self._begin()
        while self.heap and not self._stops():
            _, _, part = heapq.heappop(self.heap)
            self.parts += 1
            halves = self._halves(part)
            for half in halves or ():
                self._keep(half, _ROUNDS)
            if halves is None:
                self._push(part)
                break
        return self._found(waiting)

    def _begin(self) -> list[int]:
        """Bounds each selection as a whole; returns those that the clock left no time for."""
        price = first_prices(self.columns)
        order = [
            self.best.selection,
            *(j for j in range(len(self.problem.through)) if j != self.best.selection),
        ]
        for place, j in enumerate(order):
            if self.clock.expired() or len(self.heap) >= _PARTS_MAX:
                return order[place:]
            alive = np.ones(len(self.columns.antenna), bool)
            part = self._raised(_Part(j, 0.0, alive, price, np.zeros(len(alive))), _FIRST)
            if place == 0:
                price = part.price
            self._push(part)
        return []

    def _stops(self) -> bool:
        return self.clock.expired() or len(self.heap) >= _PARTS_MAX

    def _cost(self, selection: int) -> tuple[Floats, float]:
        """What each row costs under a selection, and all that is lost whatever is set."""
        problem, rows = self.problem, self.rows
        let = problem.through[selection, rows.row_class]
        cost = np.where(let, self.columns.cost, 0.0)
        presented = problem.loss.missed * problem.wanted_presented
        return cost, presented - float(cost[rows.wanted].sum())

    @property
    def target(self) -> float:
        """What a bound must come up to, so that no choice is better than the best."""
        return self.least - self.step + _SAME * (1 if self.step else -1)

    def _raised(self, part: _Part, rounds: int) -> _Part:
        """A part with its bound raised; the cheapest choice met is taken where it is better."""
        self.bounds += 1
        cost, lost = self._cost(part.selection)
        alive, wanted = part.alive.copy(), self.rows.wanted
        price = np.where(wanted, np.maximum(part.price, -cost), part.price * (cost > 0))
        bound, lately, least, choice = raised(
            self.columns._replace(cost=cost), alive, price, self.target - lost, rounds
        )
        if least + lost < self.least - _SAME:
            self._take(own_of(self.columns, choice, part.selection))
        return _Part(part.selection, max(part.bound, bound + lost), alive, price, lately)

    def _take(self, own: Own) -> None:
        better = improved(self.problem, own, self.clock)
        self.best = min(self.best, better, key=self.problem.key)
        self.least = self.problem.key(self.best)[1]

    def _push(self, part: _Part) -> None:
        if part.bound < self.target:
            heapq.heappush(self.heap, (part.bound, next(self.number), part))

    def _keep(self, part: _Part, rounds: int) -> None:
        self._push(self._raised(part, rounds))

    def _halves(self, part: _Part) -> tuple[_Part, ...] | None:
        """What a part is split into: nothing where it is done with; None where the clock stops."""
        while part.bound < self.target:
            best: tuple[float, tuple[_Part, ...]] | None = None
            for sides in self._ways(part):
                if self.clock.expired():
                    return None
                halves = tuple(self._raised(self._without(part, side), _LOOK) for side in sides)
                still = [half for half in halves if half.bound < self.target]
                if len(still) < 2:
                    part = still[0] if still else part._replace(bound=math.inf)
                    break
                rise = sorted(half.bound - part.bound for half in halves)
                if best is None or rise[0] + 0.1 * rise[1] > best[0]:
                    best = rise[0] + 0.1 * rise[1], halves
            else:
                if best is None:
                    return self._done(part)
                return best[1]
        return ()

    def _done(self, part: _Part) -> tuple[_Part, ...]:
        """Nothing: a part with one column for each antenna is one choice, and looked at."""
        alive = np.flatnonzero(part.alive)
        chosen = alive[np.argsort(self.columns.antenna[alive], kind="stable")]
        self._take(own_of(self.columns, chosen, part.selection))
        return ()

    def _ways(self, part: _Part) -> Iterator[tuple[Ints, Ints]]:
        """Ways to halve the columns of an antenna, about where they were chosen of late."""
        for antenna in range(len(self.problem.allowed)):
            own = np.flatnonzero(part.alive & (self.columns.antenna == antenna))
            for by in (self.columns.level, self.columns.breadth):
                order = own[np.argsort(by[own], kind="stable")]
                edges = np.flatnonzero(np.diff(by[order]) > 0)
                if not len(edges):
                    continue
                share = np.cumsum(part.lately[order] + 1e-4)
                at = edges[np.abs(share[edges] - share[-1] / 2).argmin()]
                yield order[: at + 1], order[at + 1 :]

    def _without(self, part: _Part, columns: Ints) -> _Part:
        alive = part.alive.copy()
        alive[columns] = False
        return part._replace(alive=alive)

    def _found(self, waiting: list[int]) -> Searched:
        selections = np.zeros(len(self.problem.through), bool)
        alive = np.zeros(len(self.columns.antenna), bool)
        for bound, _, part in self.heap:
            if bound < self.target:
                selections[part.selection] = True
                alive |= part.alive
        selections[waiting] = True
        alive |= bool(waiting)
        bounds = [bound for bound, _, _ in self.heap if bound < self.target]
        bounds += [self._cost(j)[1] for j in waiting]
        least = min([self.least, *map(self._up, bounds)])
        return Searched(
            *(self.best, least, selections, alive, self.columns, self.parts, self.bounds)
        )

    def _up(self, bound: float) -> float:
        """The least loss that can be from a bound on."""
        if not self.step:
            return value(max(0.0, bound - _SAME))
        return value(self.step * max(0, math.ceil((bound - _SAME) / self.step)))
