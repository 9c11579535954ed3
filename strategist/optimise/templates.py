"""Few strategies for many read points: the site's model (`site/master`) over a table of losses.

Each row uses one of at most K columns or none, and the fewest that K columns leave without one go
without. Where the clock stops it, the better of what HiGHS has and of a greedy choice is given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.site.master import Chosen, Column, Master, Terms
from strategist.survey.records import Floats

__all__ = ["Templates", "choose_templates", "template_curve"]

_SAME_LOSS = 1e-5  # times the loss, above 1


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
    master, chosen = _by_master(table, at_most, clock)
    if chosen is None:
        return known
    settings = {c for j in chosen.columns if (c := master[j].setting) is not None}
    found = _used(loss, columns[sorted(settings)])
    if not chosen.proven:
        return replace(min(found, known, key=_worth), bound=chosen.bound[1])
    if abs(found.loss - chosen.loss) > _SAME_LOSS * max(1, found.loss):
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


def _by_master(loss: Floats, at_most: int, clock: Clock) -> tuple[list[Column], Chosen | None]:
    """The choice over the columns of a table, with one more for each row that may go without; None
    where the clock ran out before there is one."""
    columns = [
        Column(p, 0.0, float(loss[p, c]), setting=c)
        for p, c in np.argwhere(np.isfinite(loss)).tolist()
    ]
    columns += [Column(int(p), 1.0, 0.0) for p in np.flatnonzero(np.isinf(loss).any(axis=1))]
    try:
        return columns, Master(columns, Terms.apart(len(loss), at_most), clock).solve()
    except OutOfTimeError:
        return columns, None
