"""A plan that needs no time: reader after reader, what saves most first, as far as terms allow."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from strategist.optimise.site.master import Chosen, Column, Terms

__all__ = ["quick"]


def quick(columns: Sequence[Column], terms: Terms) -> Chosen:
    """Each reader has the best of the values that its read points can share, where money and
    settings last, and else reports nothing; the model may well find better. No bound is known."""
    by_point: dict[int, list[int]] = defaultdict(list)
    for j, one in enumerate(columns):
        by_point[one.point].append(j)
    chosen = {
        p: min((j for j in some if columns[j].setting is None), key=lambda j: _key(columns[j]))
        for p, some in by_point.items()
    }
    points: dict[int, list[int]] = defaultdict(list)
    for p in by_point:
        points[terms.reader[p]].append(p)
    offers = []
    for reader, some in points.items():
        best = _best(columns, [by_point[p] for p in some], terms, reader)
        if best is not None:
            saves = _summed(columns[chosen[p]] for p in some), _summed(columns[j] for j in best)
            offers.append((saves[1][0] - saves[0][0], saves[1][1] - saves[0][1], best))
    for _, _, best in sorted(offers):
        trial = chosen | {columns[j].point: j for j in best}
        if _allowed(columns, trial.values(), terms) and _summed(
            columns[j] for j in trial.values()
        ) < _summed(columns[j] for j in chosen.values()):
            chosen = trial
    in_order = tuple(chosen[p] for p in sorted(chosen))
    excess, loss = _summed(columns[j] for j in in_order)
    return Chosen(in_order, excess, loss, (0.0, 0.0), proven=False)


def _best(
    columns: Sequence[Column], of_points: Sequence[Sequence[int]], terms: Terms, reader: int
) -> list[int] | None:
    """The best with one value that is shared; None: none fits the cycle."""
    values = {columns[j].value for some in of_points for j in some}
    least: tuple[tuple[float, float], list[int]] | None = None
    for value in sorted(values, key=lambda one: -1 if one is None else one):
        best = [
            min(
                (j for j in some if columns[j].value in (None, value)),
                key=lambda j: _key(columns[j]),
            )
            for some in of_points
        ]
        limit = terms.cycle_s[reader] if terms.cycle_s else None
        if limit is not None and sum(columns[j].cycle_s for j in best) > limit:
            continue
        key = _summed(columns[j] for j in best)
        if least is None or key < least[0]:
            least = key, best
    return None if least is None else least[1]


def _allowed(columns: Sequence[Column], chosen: Iterable[int], terms: Terms) -> bool:
    some = [columns[j] for j in chosen]
    settings = {one.setting for one in some} - {None}
    if terms.at_most is not None and len(settings) > terms.at_most:
        return False
    visited = {terms.reader[one.point] for one in some if one.setting is not None}
    price = terms.visit * len(visited) + terms.setting * len(settings)
    return terms.budget is None or price + sum(one.price for one in some) <= terms.budget


def _key(one: Column) -> tuple[float, float]:
    return one.excess, one.loss


def _summed(some: Iterable[Column]) -> tuple[float, float]:
    keys = [_key(one) for one in some]
    return sum(key[0] for key in keys), sum(key[1] for key in keys)
