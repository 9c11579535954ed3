"""Bounds on own powers and cutoffs from prices on presentations.

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

from strategist.optimise.loops import prices
from strategist.optimise.own_columns import Columns
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["first_prices", "raised"]


def first_prices(columns: Columns) -> Floats:
    """Prices to begin with: (antennas, rows); λ with its sign turned, as `raised` takes them."""
    antennas = len(columns.antenna) - int((columns.place >= 0).sum())
    each: Floats = np.where(columns.wanted, -0.7, 1.0 / antennas) * columns.cost
    return np.tile(each, (antennas, 1))


def raised(
    columns: Columns, alive: Bools, price: Floats, target: float, rounds: int
) -> tuple[float, Floats, float, Ints]:
    """Raises the bound of the choices whose columns are `alive`, until it comes up to the target.

    Changes in place: `price` (those of the highest bound), and `alive`, less what is in no choice
    below the target. Returns the bound, how much each column was chosen of late, and the cheapest
    choice met, with its cost.
    """
    found: tuple[float, Floats, float, Ints]
    found = prices.raised(columns, alive, price, target, rounds)
    return found
