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

Of two read points p, p' that hear the same tags (a pair g) the host may discard one of two reports
of a tag, by a rule with a threshold. Which threshold is best, and how far it changes excess and
loss (by e_{gmn} and l_{gmn}), depends on what p and p' report alone: on the kind m of the column of
p and the kind n of that of p', columns of a kind reporting the same. It is worked out for each two
kinds (see `contested`); A_g holds those for which some rule is better than none. With

- u_{gmn} \in \{0, 1\}, (m, n) \in A_g: p uses a column of m, p' one of n, and their best rule is in
  force;

the objectives have \sum_g \sum_{(m,n) \in A_g} e_{gmn} u_{gmn} and l_{gmn} u_{gmn} more, the money
q_g u_{gmn} more, and

\sum_{n : (m,n) \in A_g} u_{gmn} \le \sum_{j \in m} x_{pj}, \quad
\sum_{m : (m,n) \in A_g} u_{gmn} \le \sum_{j \in n} x_{p'j} \qquad\text{for each } g, m, n

This is the tight form of a product of two choices: for a pair alone the relaxation is whole.
u = 0 is the plan without rules, so that the least is never above that of a site without pairs.

With x whole, w is whole at no loss. Without readers, prices and silence this is the
p-median problem over a table of losses. A column that is nobody's (a read point left without one)
has an excess of 1 and no loss, so that fewest go without. Where the clock stops HiGHS, the better
of its solution and a known one is given, with its bound.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.pulp_late import pulp
from strategist.optimise.solver import Outcome, Solved, solve_mip

__all__ = ["Chosen", "Column", "Joint", "Master", "Terms"]

_ROWS = 1_000  # of the model, made between two looks at the clock
_HELD = 1e-6
_SAME = 1e-5  # times the loss, above 1

_Used = tuple[tuple[int, ...], ...]  # columns, and joints


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
class Joint:
    """What the best rule of a pair of read points changes where they use one of the columns `first`
    and one of `second`, by number (those of a kind report the same); and its price."""

    pair: int
    first: tuple[int, ...]
    second: tuple[int, ...]
    excess: float
    loss: float
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
    over these columns: proven where it is the same. `joints` are those in force, by number."""

    columns: tuple[int, ...]
    excess: float
    loss: float
    bound: tuple[float, float]
    proven: bool
    joints: tuple[int, ...] = ()


class Master:
    """The model over some columns; each read point needs one that costs nothing (silence).

    Building it raises OutOfTimeError where the clock runs out.
    """

    def __init__(
        self, columns: Sequence[Column], terms: Terms, clock: Clock, joints: Sequence[Joint] = ()
    ) -> None:
        self.columns, self.terms, self.clock, self.joints = columns, terms, clock, joints
        self.mip = pulp.LpProblem("site", pulp.LpMinimize)
        self.x = [pulp.LpVariable(f"x{j:07d}", cat="Binary") for j in range(len(columns))]
        self.u = [pulp.LpVariable(f"u{j:07d}", cat="Binary") for j in range(len(joints))]
        self._price: list[tuple[pulp.LpVariable, float]] = []
        self._one_each()
        self._few_settings()
        self._agree()
        self._cycles()
        self._visits()
        self._together()
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

    def _together(self) -> None:
        r"""\sum_n u_{gmn} \le \sum_{j \in m} x_{pj}, and for the other side."""
        for side in ("first", "second"):
            kinds: dict[tuple[int, ...], tuple[int, ...]] = {
                (one.pair, *getattr(one, side)[:1]): getattr(one, side) for one in self.joints
            }
            of_kind = self._grouped((one.pair, *getattr(one, side)[:1]) for one in self.joints)
            for key, joints in of_kind.items():
                terms = pulp.LpAffineExpression([(self.u[j], 1) for j in joints])
                self.mip += terms <= self._sum(kinds[key])
        self._price += [(self.u[j], one.price) for j, one in enumerate(self.joints) if one.price]

    @staticmethod
    def _named(name: str, numbers: Iterable[int]) -> dict[int, pulp.LpVariable]:
        return {n: pulp.LpVariable(f"{name}{n:06d}", cat="Binary") for n in sorted(numbers)}

    def solve(self, seed: int = 0) -> Chosen | None:
        """The least excess, then the least loss; None where the clock ran out before a solution.

        Raises SolveError where the solver finds no proof though there is time.
        """
        every: list[Column | Joint] = [*self.columns, *self.joints]
        excess = self._weighed(one.excess for one in every)
        loss = self._weighed(one.loss for one in every)
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
            [(x, weight) for x, weight in zip((*self.x, *self.u), weights, strict=True) if weight]
        )

    def _least(self, objective: pulp.LpAffineExpression, seed: int) -> tuple[float, _Used, bool]:
        """(bound, columns and joints, proven) of an objective."""
        self.mip.setObjective(objective + 0 * self.x[0])
        solved: Solved = solve_mip(self.mip, clock=self.clock, seed=seed)
        if solved.outcome is Outcome.STOPPED_EMPTY:
            raise OutOfTimeError
        if solved.objective is None or solved.bound is None:
            raise SolveError("HiGHS found no proof for the site")
        proven = solved.outcome is Outcome.OPTIMAL
        used = (
            tuple(j for j, x in enumerate(some) if (x.value() or 0.0) > 0.5)
            for some in (self.x, self.u)
        )
        return max(0.0, solved.objective if proven else solved.bound), (*used,), proven

    def _chosen(self, used: _Used, bound: tuple[float, float], proven: bool) -> Chosen:
        columns, joints = used
        in_order = tuple(sorted(columns, key=lambda j: self.columns[j].point))
        every: list[Column | Joint] = [self.columns[j] for j in in_order]
        every += [self.joints[j] for j in joints]
        excess = sum(one.excess for one in every)
        loss = sum(one.loss for one in every)
        if proven and abs(loss - bound[1]) > _SAME * max(1.0, loss):
            raise SolveError("the loss of the columns is not that of the model")
        return Chosen(in_order, excess, loss, (excess, loss) if proven else bound, proven, joints)
