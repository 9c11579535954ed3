"""What antennas may be set to as columns of arrays, and the presentations that tell them apart."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from strategist.optimise.own_powers import OFF, ByAntenna, Own
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Columns", "Cutoffs", "Rows", "columns_of", "cutoffs_of", "merged", "own_of"]

Cutoffs = Mapping[tuple[int, int], Floats]  # by antenna and level


class Rows(NamedTuple):
    """Presentations that reach the same cutoffs: `reached[r, n]` is the highest cutoff of place n
    that row r reaches, by index, −1: none. Rows that reach none are left out."""

    reached: Ints
    weight: Floats
    wanted: Bools
    row_class: Ints


class Columns(NamedTuple):
    """Columns are a place (antenna and level) with a cutoff, ascending; the last ones, one for each
    antenna, are "off".

    `antenna`, `level` (OFF: off), `cutoff` (dBm), `place` (−1: off) and `breadth` (wanted tags
    heard) are those of a column, `of_place` the antenna of a place. Its entries, from
    `begin[place]` on, are the rows that it hears with the highest `column` that keeps each,
    descending. `cost` is what a row costs where it is missed, or stray. At most `most_on` antennas
    may be on.
    """

    antenna: Ints
    level: Ints
    cutoff: Floats
    place: Ints
    breadth: Floats
    of_place: Ints
    begin: Ints
    row: Ints
    column: Ints
    wanted: Bools
    cost: Floats
    most_on: int


def cutoffs_of(problem: ByAntenna) -> dict[tuple[int, int], Floats]:
    """The cutoffs worth a thought at each antenna and level that has any."""
    found = {
        (a, level): problem.columns(a, level, problem.rssi)
        for a, level in np.argwhere(problem.allowed).tolist()
    }
    return {place: cutoffs for place, cutoffs in found.items() if len(cutoffs)}


def merged(problem: ByAntenna, cutoffs: Cutoffs) -> Rows:
    """Rows that are alike as far as these cutoffs tell them apart."""
    reached = np.full((len(problem.wanted), len(cutoffs)), -1)
    for n, ((a, level), values) in enumerate(cutoffs.items()):
        reached[:, n] = np.searchsorted(values, problem.rssi[:, a, level], "right") - 1
        reached[~np.isfinite(problem.rssi[:, a, level]), n] = -1
    alive = (reached >= 0).any(axis=1)
    table = np.column_stack([problem.wanted, problem.row_class, reached])[alive]
    kinds, kind_of = np.unique(table, axis=0, return_inverse=True)
    weight = np.zeros(len(kinds))
    np.add.at(weight, kind_of.reshape(-1), problem.weight[alive])
    return Rows(kinds[:, 2:], weight, kinds[:, 0] > 0, kinds[:, 1])


def columns_of(problem: ByAntenna, cutoffs: Cutoffs, rows: Rows) -> Columns:
    """The columns of these cutoffs over these rows."""
    antennas = np.arange(len(problem.allowed))
    sizes = np.array([len(values) for values in cutoffs.values()], np.int64)
    first = np.append(0, np.cumsum(sizes))
    places = np.array(list(cutoffs), np.int64).reshape(-1, 2)
    row, column, breadth, begin = [], [], [], [0]
    weight = np.where(rows.wanted, rows.weight, 0.0)
    for n, size in enumerate(sizes.tolist()):
        reached = rows.reached[:, n]
        order = np.argsort(-reached, kind="stable")[: int((reached >= 0).sum())]
        row.append(order)
        column.append(first[n] + reached[order])
        begin.append(begin[-1] + len(order))
        heard = np.bincount(reached[order], weight[order], minlength=size)
        breadth.append(np.cumsum(heard[::-1])[::-1])
    none = np.zeros(0, np.int64)
    return Columns(
        antenna=np.append(np.repeat(places[:, 0], sizes), antennas),
        level=np.append(np.repeat(places[:, 1], sizes), np.full(len(antennas), OFF)),
        cutoff=np.concatenate([*cutoffs.values(), np.full(len(antennas), -np.inf)]),
        place=np.append(np.repeat(np.arange(len(sizes)), sizes), np.full(len(antennas), -1)),
        breadth=np.concatenate([*breadth, np.zeros(len(antennas))]),
        of_place=places[:, 0].copy(),
        begin=np.array(begin),
        row=np.concatenate([*row, none]),
        column=np.concatenate([*column, none]),
        wanted=rows.wanted,
        cost=rows.weight * np.where(rows.wanted, problem.loss.missed, problem.loss.stray),
        most_on=problem.most_on,
    )


def own_of(columns: Columns, chosen: Ints, selection: int) -> Own:
    """The choice of one column for each antenna, in order of antennas."""
    return Own(
        tuple(columns.level[chosen].tolist()), tuple(columns.cutoff[chosen].tolist()), selection
    )
