r"""The site as one mixed-integer model: a column for each read point, so that all agree.

A column j \in J_p of read point p is a strategy (with an option or without) or silence: its excess
e_j over hard limits and loss l_j, its setting s_j, the value v_j of what its reader r shares, the
seconds t_j of the reader's cycle and the price q_j of its option. With

- x_{pj} \in \{0, 1\}: p uses column j;
- y_s \in \{0, 1\}: setting s is in use;
- w_{rv} \in [0, 1]: reader r has the value v;
- z_r \in \{0, 1\}: somebody goes to reader r,

the model is

\min \sum_p \sum_j e_j x_{pj}, \quad\text{then}\quad \min \sum_p \sum_j l_j x_{pj}

\sum_{j \in J_p} x_{pj} = 1 \qquad\text{for each } p

\sum_{j \in J_p : s_j = s} x_{pj} \le y_s, \quad \sum_s y_s \le K \qquad\text{few settings}

\sum_{j \in J_p : v_j = v} x_{pj} \le w_{rv}, \quad \sum_v w_{rv} = 1
\qquad\text{for each } p \text{ at } r \text{: they agree}

\sum_{p \in r} \sum_j t_j x_{pj} \le T_r \qquad\text{the cycle}

\sum_{j \in J_p : s_j \text{ is a setting}} x_{pj} \le z_r \qquad\text{who is set is visited}

\sum_r c_v z_r + \sum_s c_s y_s + \sum_p \sum_j q_j x_{pj} \le B \qquad\text{the money}

With x whole, w is whole at no loss. Without readers, prices and silence this is the
p-median problem over a table of losses. A column that is nobody's (a read point left without one)
has an excess of 1 and no loss, so that fewest go without. Where the clock stops HiGHS, the better
of its solution and a known one is given, with its bound.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pulp

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.solver import Outcome, Solved, solve_mip

__all__ = ["Chosen", "Column", "Master", "Terms"]

_ROWS = 1_000  # of the model, made between two looks at the clock
_HELD = 1e-6
_SAME = 1e-5  # times the loss, above 1


@dataclass(frozen=True)
class Column:
    """What a read point may use: `setting` and the `value` of what its reader shares are numbers
    (None: it has none, and agrees with all), `cycle_s` is its part of the reader's cycle."""

    point: int
    excess: float
    loss: float
    setting: int | None = None
    value: int | None = None
    cycle_s: float = 0.0
    price: float = 0.0


@dataclass(frozen=True)
class Terms:
    """What holds for the whole site: `reader[p]` is that of each read point, `cycle_s[r]` how long
    each may take (None: any time); at most so many settings and so much money (None: any)."""

    reader: tuple[int, ...]
    cycle_s: tuple[float | None, ...] = ()
    at_most: int | None = None
    budget: float | None = None
    visit: float = 0.0
    setting: float = 0.0

    @staticmethod
    def apart(points: int, at_most: int | None = None) -> Terms:
        """Read points with a reader each and no money."""
        return Terms(tuple(range(points)), (None,) * points, at_most)


@dataclass(frozen=True)
class Chosen:
    """The column of each read point (by number), its summed excess and loss, and a bound of both
    over these columns: proven where it is the same."""

    columns: tuple[int, ...]
    excess: float
    loss: float
    bound: tuple[float, float]
    proven: bool


class Master:
    """The model over some columns; each read point needs one that costs nothing (silence).

    Building it raises OutOfTimeError where the clock runs out.
    """

    def __init__(self, columns: Sequence[Column], terms: Terms, clock: Clock) -> None:
        self.columns, self.terms, self.clock = columns, terms, clock
        self.mip = pulp.LpProblem("site", pulp.LpMinimize)
        self.x = [pulp.LpVariable(f"x{j:07d}", cat="Binary") for j in range(len(columns))]
        self._price: list[tuple[pulp.LpVariable, float]] = []
        self._one_each()
        self._few_settings()
        self._agree()
        self._cycles()
        self._visits()
        if terms.budget is not None:
            self.mip += pulp.LpAffineExpression(self._price) <= terms.budget + _HELD

    def _grouped(self, keys: Iterable[tuple[int, ...] | None]) -> dict[tuple[int, ...], list[int]]:
        """The columns by a key; None: they stand aside."""
        found: dict[tuple[int, ...], list[int]] = defaultdict(list)
        for number, key in enumerate(keys):
            if number % _ROWS == 0:
                self.clock.check()
            if key is not None:
                found[key].append(number)
        return found

    def _sum(self, columns: Sequence[int]) -> pulp.LpAffineExpression:
        return pulp.LpAffineExpression([(self.x[j], 1) for j in columns])

    def _one_each(self) -> None:
        r"""\sum_j x_{pj} = 1; what a column costs."""
        for of_point in self._grouped((one.point,) for one in self.columns).values():
            self.mip += self._sum(of_point) == 1
        self._price += [(self.x[j], one.price) for j, one in enumerate(self.columns) if one.price]

    def _few_settings(self) -> None:
        r"""\sum_{j : s_j = s} x_{pj} \le y_s, \sum_s y_s \le K."""
        if self.terms.at_most is None and not self.terms.setting:
            return
        y = self._named("y", {one.setting for one in self.columns if one.setting is not None})
        users = self._grouped(
            None if one.setting is None else (one.point, one.setting) for one in self.columns
        )
        for (_, setting), columns in users.items():
            self.mip += self._sum(columns) <= y[setting]
        if self.terms.at_most is not None:
            self.mip += pulp.lpSum(y.values()) <= self.terms.at_most
        self._price += [(one, self.terms.setting) for one in y.values()]

    def _agree(self) -> None:
        r"""\sum_{j : v_j = v} x_{pj} \le w_{rv}, \sum_v w_{rv} = 1."""
        reader = self.terms.reader
        users = self._grouped(
            None if one.value is None else (one.point, one.value) for one in self.columns
        )
        values: dict[int, dict[int, pulp.LpVariable]] = defaultdict(dict)
        for (point, value), columns in users.items():
            of_reader = values[reader[point]]
            if value not in of_reader:
                of_reader[value] = pulp.LpVariable(f"w{reader[point]:06d}_{value:06d}", 0, 1)
            self.mip += self._sum(columns) <= of_reader[value]
        for of_reader in values.values():
            self.mip += pulp.lpSum(of_reader.values()) == 1

    def _cycles(self) -> None:
        r"""\sum_{p \in r} \sum_j t_j x_{pj} \le T_r."""
        timed = self._grouped(
            (self.terms.reader[one.point],) if one.cycle_s else None for one in self.columns
        )
        for (reader,), columns in timed.items():
            most = self.terms.cycle_s[reader]
            if most is not None:
                terms = [(self.x[j], self.columns[j].cycle_s) for j in columns]
                self.mip += pulp.LpAffineExpression(terms) <= most + _HELD

    def _visits(self) -> None:
        r"""\sum_{j \text{ with a setting}} x_{pj} \le z_r."""
        if not self.terms.visit or self.terms.budget is None:
            return
        reader = self.terms.reader
        z = self._named("z", set(reader))
        of_point = self._grouped(
            None if one.setting is None else (one.point,) for one in self.columns
        )
        for (point,), columns in of_point.items():
            self.mip += self._sum(columns) <= z[reader[point]]
        self._price += [(one, self.terms.visit) for one in z.values()]

    @staticmethod
    def _named(name: str, numbers: Iterable[int]) -> dict[int, pulp.LpVariable]:
        return {n: pulp.LpVariable(f"{name}{n:06d}", cat="Binary") for n in sorted(numbers)}

    def solve(self, seed: int = 0) -> Chosen | None:
        """The least excess, then the least loss; None where the clock ran out before a solution.

        Raises SolveError where the solver finds no proof though there is time.
        """
        excess = self._weighed(one.excess for one in self.columns)
        loss = self._weighed(one.loss for one in self.columns)
        floor, found = 0.0, None
        try:
            if len(excess):
                floor, found, proven = self._least(excess, seed)
                if not proven:
                    return self._chosen(found, (floor, 0.0), proven=False)
                self.mip += excess <= floor + _HELD
            bound, found, proven = self._least(loss, seed)
        except OutOfTimeError:
            return None if found is None else self._chosen(found, (floor, 0.0), proven=False)
        return self._chosen(found, (floor, bound), proven)

    def _weighed(self, weights: Iterable[float]) -> pulp.LpAffineExpression:
        return pulp.LpAffineExpression(
            [(x, weight) for x, weight in zip(self.x, weights, strict=True) if weight]
        )

    def _least(
        self, objective: pulp.LpAffineExpression, seed: int
    ) -> tuple[float, tuple[int, ...], bool]:
        """(bound, columns, proven) of an objective."""
        self.mip.setObjective(objective + 0 * self.x[0])
        solved: Solved = solve_mip(self.mip, clock=self.clock, seed=seed)
        if solved.outcome is Outcome.STOPPED_EMPTY:
            raise OutOfTimeError
        if solved.objective is None or solved.bound is None:
            raise SolveError("HiGHS found no proof for the site")
        proven = solved.outcome is Outcome.OPTIMAL
        chosen = tuple(j for j, x in enumerate(self.x) if (x.value() or 0.0) > 0.5)
        return max(0.0, solved.objective if proven else solved.bound), chosen, proven

    def _chosen(self, columns: tuple[int, ...], bound: tuple[float, float], proven: bool) -> Chosen:
        in_order = tuple(sorted(columns, key=lambda j: self.columns[j].point))
        excess = sum(self.columns[j].excess for j in in_order)
        loss = sum(self.columns[j].loss for j in in_order)
        if proven and abs(loss - bound[1]) > _SAME * max(1.0, loss):
            raise SolveError("the loss of the columns is not that of the model")
        return Chosen(in_order, excess, loss, (excess, loss) if proven else bound, proven)
