"""Few strategies for many read points: a mixed-integer model over a table of losses.

Minimise Σ_pc loss[p, c]·x[p, c] where x[p, c] says that read point p uses candidate c, y[c] that
the candidate is a template, and u[p] that none of them may be installed at p:
    Σ_c x[p, c] + u[p] = 1      each read point uses one template or none
    x[p, c] ≤ y[c]              that is one
    Σ_c y[c] ≤ K                at most K templates
    Σ_p u[p] = the fewest that K templates leave without one (minimised first)
Where the clock stops it, the better of what HiGHS has and of a greedy choice is given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pulp

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.solver import Outcome, solve_mip
from strategist.survey.records import Floats

__all__ = ["Templates", "choose_templates", "template_curve"]

_SAME_LOSS = 1e-5  # times the loss, above 1
_ROWS = 1_000  # of the model, made between two looks at the clock


@dataclass(frozen=True)
class Templates:
    """The chosen candidates (column indices, ascending) and the one that each read point uses.

    `use[p]` is None where none of the chosen may be installed at p; `loss` is summed over the rest.
    No choice that leaves the fewest without loses less than `bound`, which is the loss where the
    choice is proven.
    """

    chosen: tuple[int, ...]
    use: tuple[int | None, ...]
    loss: float
    bound: float = 0.0
    proven: bool = False

    @property
    def without(self) -> int:
        """Read points for which there is no template."""
        return self.use.count(None)


def choose_templates(loss: Floats, at_most: int, clock: Clock | None = None) -> Templates:
    """At most `at_most` columns so that fewest rows go without, and then the summed loss is least.

    `loss[p, c]` ≥ 0 is what read point p loses with candidate c; +inf: it may not be installed
    there. Each row uses the cheapest chosen column, of equals the first. Where the clock runs out
    the answer is a good one without proof. Raises ValueError for another table, SolveError where
    the solver finds no proof though there is time.
    """
    if loss.ndim != 2 or not loss.size or np.isnan(loss).any() or loss.min() < 0 or at_most < 1:
        raise ValueError("a table of losses ≥ 0 with rows and columns, and at least one template")
    clock = clock or Clock()
    _, first = np.unique(loss, axis=1, return_index=True)
    columns = np.sort(first)
    table = loss[:, columns]
    known = _used(loss, columns[_greedy(table, at_most)])
    try:
        model = _Model(table, at_most, clock)
        without = model.fewest_without() if np.isinf(table).any() else 0
        found = _used(loss, columns[model.least_loss(without)])
    except OutOfTimeError:
        return known
    bound = max(0.0, model.bound)
    if not model.proven:
        return replace(min(found, known, key=_worth), bound=bound)
    if found.without != without or abs(found.loss - bound) > _SAME_LOSS * max(1, found.loss):
        raise SolveError("the templates' loss is not that of the model")
    return replace(found, bound=found.loss, proven=True)


def template_curve(loss: Floats, at_most: int, clock: Clock | None = None) -> tuple[Templates, ...]:
    """`choose_templates` for 1, 2, … `at_most`, up to the first that no more templates better.

    The solves still to come share evenly the time that the clock has left; what fewer templates do
    is never lost.
    """
    best = loss.min(axis=1)
    least = (int(np.isinf(best).sum()), float(best[np.isfinite(best)].sum()))
    clock = clock or Clock()
    curve: list[Templates] = []
    while len(curve) < at_most:
        left = clock.left
        share = Clock() if left is None else Clock(left / (at_most - len(curve)))
        now = choose_templates(loss, len(curve) + 1, share)
        if curve and not now.proven and _worth(curve[-1]) < _worth(now):
            now = replace(curve[-1], bound=now.bound, proven=False)
        curve.append(now)
        if now.without == least[0] and now.loss <= least[1] + _SAME_LOSS:
            curve[-1] = replace(now, bound=now.loss, proven=True)
            break
    return tuple(curve)


def _worth(one: Templates) -> tuple[int, float]:
    return one.without, one.loss


def _greedy(loss: Floats, at_most: int) -> list[int]:
    """One column after the other, each the one that leaves fewest rows without and then least."""
    chosen: list[int] = []
    served = np.full(len(loss), np.inf)
    while len(chosen) < min(at_most, loss.shape[1]):
        after = np.minimum(loss, served[:, None])
        without = np.isinf(after).sum(axis=0)
        lost = np.where(np.isinf(after), 0.0, after).sum(axis=0)
        chosen.append(int(np.lexsort((lost, without))[0]))
        served = after[:, chosen[-1]]
    return chosen


def _used(loss: Floats, chosen: np.ndarray) -> Templates:
    """Who uses which of the chosen columns; those that nobody uses are dropped."""
    if not len(chosen):
        return Templates((), (None,) * len(loss), 0.0)
    best = loss[:, chosen].argmin(axis=1)
    paid = loss[np.arange(len(loss)), chosen[best]]
    served = np.isfinite(paid)
    use = tuple(int(chosen[b]) if ok else None for b, ok in zip(best, served, strict=True))
    kept = tuple(sorted({column for column in use if column is not None}))
    return Templates(kept, use, float(paid[served].sum()))


class _Model:
    """The model of the module's docstring for one table."""

    proven = True

    def __init__(self, loss: Floats, at_most: int, clock: Clock) -> None:
        self._clock, self.bound = clock, 0.0
        self._problem = pulp.LpProblem("templates", pulp.LpMinimize)
        rows, columns = loss.shape
        self._y = [pulp.LpVariable(f"y{c:05d}", cat="Binary") for c in range(columns)]
        self._u = [pulp.LpVariable(f"u{p:05d}", 0, 1) for p in range(rows)]
        x = {
            (p, c): pulp.LpVariable(f"x{p:05d}_{c:05d}", 0, 1)
            for p, c in np.argwhere(np.isfinite(loss)).tolist()
        }
        self._loss = pulp.LpAffineExpression([(v, float(loss[pc])) for pc, v in x.items()])
        used: list[list[tuple[pulp.LpVariable, int]]] = [[(u, 1)] for u in self._u]
        for number, ((p, c), variable) in enumerate(x.items()):
            if number % _ROWS == 0:
                clock.check()
            used[p].append((variable, 1))
            self._problem += variable <= self._y[c]
        for one in used:
            self._problem += pulp.LpAffineExpression(one) == 1
        self._problem += pulp.lpSum(self._y) <= at_most

    def fewest_without(self) -> int:
        """The least Σ u. Raises OutOfTimeError where the clock ran out before its proof."""
        self._problem.setObjective(pulp.lpSum(self._u))
        self._solve()
        if not self.proven:
            raise OutOfTimeError
        return round(float(pulp.value(self._problem.objective) or 0.0))

    def least_loss(self, without: int) -> list[int]:
        """The columns of least loss found where Σ u is at most `without`."""
        self._problem += pulp.lpSum(self._u) <= without
        self._problem.setObjective(self._loss)
        self._solve()
        return [c for c, y in enumerate(self._y) if pulp.value(y) > 0.5]

    def _solve(self) -> None:
        """Solve; `proven`, `bound` are of the last solve."""
        solved = solve_mip(self._problem, clock=self._clock)
        if solved.outcome is Outcome.STOPPED_EMPTY:
            raise OutOfTimeError
        if solved.objective is None or solved.bound is None:
            raise SolveError("HiGHS found no proof for the templates")
        self.proven = solved.outcome is Outcome.OPTIMAL
        self.bound = solved.objective if self.proven else solved.bound
