"""Few strategies for many read points: a mixed-integer model over a table of losses.

Minimise Σ_pc loss[p, c]·x[p, c] where x[p, c] says that read point p uses candidate c, y[c] that
the candidate is a template, and u[p] that none of them may be installed at p:
    Σ_c x[p, c] + u[p] = 1      each read point uses one template or none
    x[p, c] ≤ y[c]              that is one
    Σ_c y[c] ≤ K                at most K templates
    Σ_p u[p] = the fewest that K templates leave without one (minimised first)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pulp

from strategist.errors import SolveError
from strategist.optimise.clock import Clock
from strategist.optimise.solver import Outcome, solve_mip
from strategist.survey.records import Floats

__all__ = ["Templates", "choose_templates", "template_curve"]

_SAME_LOSS = 1e-5  # times the loss, above 1


@dataclass(frozen=True)
class Templates:
    """The chosen candidates (column indices, ascending) and the one that each read point uses.

    `use[p]` is None where none of the chosen may be installed at p; `loss` is summed over the rest.
    """

    chosen: tuple[int, ...]
    use: tuple[int | None, ...]
    loss: float

    @property
    def without(self) -> int:
        """Read points for which there is no template."""
        return self.use.count(None)


def choose_templates(loss: Floats, at_most: int) -> Templates:
    """At most `at_most` columns so that fewest rows go without, and then the summed loss is least.

    `loss[p, c]` ≥ 0 is what read point p loses with candidate c; +inf: it may not be installed
    there. Each row uses the cheapest chosen column, of equals the first. Raises ValueError for
    another table, SolveError where the solver finds no proof.
    """
    if loss.ndim != 2 or not loss.size or np.isnan(loss).any() or loss.min() < 0 or at_most < 1:
        raise ValueError("a table of losses ≥ 0 with rows and columns, and at least one template")
    _, first = np.unique(loss, axis=1, return_index=True)
    columns = np.sort(first)
    table = loss[:, columns]
    model = _Model(table, at_most)
    without = model.fewest_without() if np.isinf(table).any() else 0
    chosen = columns[model.least_loss(without)]
    found = _used(loss, chosen)
    if found.without != without or abs(found.loss - model.value()) > _SAME_LOSS * max(
        1, found.loss
    ):
        raise SolveError("the templates' loss is not that of the model")
    return found


def template_curve(loss: Floats, at_most: int) -> tuple[Templates, ...]:
    """`choose_templates` for 1, 2, … `at_most`, up to the first that no more templates better."""
    best = loss.min(axis=1)
    least = (int(np.isinf(best).sum()), float(best[np.isfinite(best)].sum()))
    curve: list[Templates] = []
    while len(curve) < at_most:
        curve.append(choose_templates(loss, len(curve) + 1))
        now = curve[-1]
        if now.without == least[0] and now.loss <= least[1] + _SAME_LOSS:
            break
    return tuple(curve)


def _used(loss: Floats, chosen: np.ndarray) -> Templates:
    """Who uses which of the chosen columns; those that nobody uses are dropped."""
    best = loss[:, chosen].argmin(axis=1)
    paid = loss[np.arange(len(loss)), chosen[best]]
    served = np.isfinite(paid)
    use = tuple(int(chosen[b]) if ok else None for b, ok in zip(best, served, strict=True))
    kept = tuple(sorted({column for column in use if column is not None}))
    return Templates(kept, use, float(paid[served].sum()))


class _Model:
    """The model of the module's docstring for one table."""

    def __init__(self, loss: Floats, at_most: int) -> None:
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
        for (p, c), variable in x.items():
            used[p].append((variable, 1))
            self._problem += variable <= self._y[c]
        for one in used:
            self._problem += pulp.LpAffineExpression(one) == 1
        self._problem += pulp.lpSum(self._y) <= at_most

    def fewest_without(self) -> int:
        """The least Σ u."""
        self._problem.setObjective(pulp.lpSum(self._u))
        self._solve()
        return round(self.value())

    def least_loss(self, without: int) -> list[int]:
        """The columns of least loss where Σ u is at most `without`."""
        self._problem += pulp.lpSum(self._u) <= without
        self._problem.setObjective(self._loss)
        self._solve()
        return [c for c, y in enumerate(self._y) if pulp.value(y) > 0.5]

    def value(self) -> float:
        """The objective of the last solve."""
        return float(pulp.value(self._problem.objective) or 0.0)

    def _solve(self) -> None:
        if solve_mip(self._problem, clock=Clock()).outcome is not Outcome.OPTIMAL:
            raise SolveError("HiGHS found no proof for the templates")
