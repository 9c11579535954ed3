"""Lower bounds of ladders for one cutoff and selections of tag classes.

A *cell* is a class in a pass group; cells are sorted by pass group. A class is out of a selection,
in it, or open: an open class may be let through in one pass and not in the next, whichever suits
the pass. Multipliers price what an open class changes in its passes: those that add up to zero over
the passes change nothing for selections that treat all passes alike, and raise the bound.

Each pass has a cost at each level, if that is the last level it walks, and a *turn*: the lowest
level by which it could have stopped. A ladder …, u, t, … meets the turn on one step (u < turn ≤ t),
or on none. Met on a lower step t the pass stops there, for sure or if that suits it, or walks on,
and then without the open classes that would have stopped it at t. Met on the top step, or not at
all, it ends at the top. So a bound of a ladder is a sum over its steps.

The loops are compiled (`loops.bounds`).
"""

from __future__ import annotations

import numpy as np

from strategist.optimise.loops import bounds
from strategist.survey.records import Bools, Bytes, Floats, Ints

__all__ = [
    "IN",
    "OPEN",
    "OUT",
    "Cells",
    "best_ladder",
    "bounds_of",
    "by_step",
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
_STEPS, _BOUND, _CHOICES, _SUBGRADIENT = range(4)  # how far `bounds.of_states` goes

Cells = bounds.Cells


def best_ladder(edge: Floats, top: Floats, steps_max: int, must: Bools) -> tuple[float, Ints]:
    """The least bound of a ladder of up to `steps_max` steps, and that ladder, ascending.

    Levels that `must` be are steps of it. Without any ladder the bound is inf.
    """
    found: tuple[float, Ints] = bounds.best_ladder(edge, top, steps_max, must)
    return found


def by_step(
    edge: Floats, top: Floats, steps_max: int, must: Bools, some: Ints
) -> tuple[Floats, Floats]:
    """The least bounds of ladders without each of `some` levels as a step, and with it."""
    found: tuple[Floats, Floats] = bounds.by_step(edge, top, steps_max, must, some)
    return found


def step_costs(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, must: Bools
) -> tuple[Floats, Floats, float]:
    """(edge, top, free): costs by step as in `ladders.Steps`, and with each pass at its best level.

    `edge[u, t]` (u = 0: no lower step, u = i + 1: level i) is the cost of the passes whose turn is
    above u and at or below t, when t is not the top; `top[u, t]` of these and all later ones, when
    it is. Levels that `must` be are steps of every ladder.
    """
    asked = state[None], multiplier, cells, stop_after, 1, must, np.inf, _STEPS
    _, edge, top, free, _, _ = bounds.of_states(*asked)
    return edge, top, free


def ladder_bound(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, steps_max: int, must: Bools
) -> float:
    """The least bound of a ladder."""
    asked = multiplier, cells, stop_after, steps_max, must, np.inf, _BOUND
    return float(bounds.of_states(state[None], *asked)[0][0])


def relaxed(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, steps_max: int, must: Bools
) -> tuple[float, Floats, Ints]:
    """The least bound of a ladder, and what it makes of the passes.

    For each cell of an open class 1 where it is let through, else 0; for each pass where it ends.
    """
    asked = multiplier, cells, stop_after, steps_max, must, np.inf, _CHOICES
    found, _, _, _, chosen, stops = bounds.of_states(state[None], *asked)
    return float(found[0]), chosen, stops


def subgradient_of(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, steps_max: int, must: Bools
) -> tuple[float, Floats]:
    """The least bound of a ladder, and its subgradient by the multipliers of open classes, where
    these add up to zero for each class."""
    asked = multiplier, cells, stop_after, steps_max, must, np.inf, _SUBGRADIENT
    found, _, _, _, chosen, _ = bounds.of_states(state[None], *asked)
    return float(found[0]), chosen


def bounds_of(
    through: Ints, cells: Cells, stop_after: int, steps_max: int, must: Bools, limit: float
) -> Floats:
    """The least bound of each selection (row of class states); one above `limit` may be too low,
    but is above it."""
    nothing = np.zeros(len(cells.klass))
    asked = nothing, cells, stop_after, steps_max, must, limit, _BOUND
    found: Floats = bounds.of_states(through, *asked)[0]
    return found


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
    way = multiplier, kept, cells, stop_after, steps_max, must, enough, goal
    ended: bool = bounds.climb(state, *way, over, patience, least_step, rounds, reached)
    return ended


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
    asked = multiplier, cells, stop_after, steps_max, must, limit
    fixed: bool = bounds.fix_by_probing(state, some, *asked)
    return fixed


def penalties_of(
    state: Ints, multiplier: Floats, cells: Cells, stop_after: int, must: Bools
) -> tuple[Floats, Floats]:
    """What each open class adds to the bound at least: when it is let through, and when not.

    A pass ends at a level that may be the top, or where something could stop it, and not past a
    step that must be where it stops for sure. A class without which a pass walks on may cost
    nothing when it is kept out.
    """
    found: tuple[Floats, Floats] = bounds.penalties_of(state, multiplier, cells, stop_after, must)
    return found


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
    way = multiplier, kept, cells, stop_after, steps_max, must, limit, over
    taken = patience, least_step, rounds, sample, alive, few, bases, weights, reached
    found: tuple[int, int, bool] = bounds.cut_rounds(state, *way, *taken)
    return found
