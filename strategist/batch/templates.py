"""Few strategies for a whole site: candidates from a batch, priced at every read point of it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np

from strategist.batch.lines import read_lines
from strategist.batch.prices import Prices, Results, prices_from_cases, prices_of, strategy_text
from strategist.errors import InputError
from strategist.optimise.strategy import Strategy, read_strategy
from strategist.optimise.templates import Templates, template_curve
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.order import some
from strategist.survey.records import ReadPoint
from strategist.trust.foreseen import survey_first

__all__ = ["CANDIDATES_MAX", "PricedPoint", "SiteTemplates", "site_templates", "templates_of"]

CANDIDATES_MAX = 200  # strategies that are priced; those that most read points share come first
_CURVE = 10  # numbers of templates that the curve shows at least
_SAME = 1e-6

_Pricing = Callable[[tuple[Strategy, ...]], Mapping[tuple[str, str], Prices]]


@dataclass(frozen=True)
class PricedPoint:
    """A read point: what its own strategy loses, and what a template may cost it on top before it
    is said to need its own. `predicted[c]` are the levels (dBm) of candidate c that were predicted
    there, not surveyed; `lawful_dbm` is the highest lawful one, None where none can be named."""

    case: str
    read_point: str
    own_loss: float
    may_pay: float
    predicted: tuple[tuple[float, ...], ...]
    lawful_dbm: float | None


@dataclass(frozen=True)
class PointTemplate(Declared):
    """What a read point gets: the number of its template, from 1 (null: none may be set there)."""

    case: str
    read_point: str
    template: int | None
    loss: float | None
    own_loss: float
    pays: float | None
    may_pay: float
    needs_own: bool
    lawful_dbm: float | None
    predicted_dbm: tuple[float, ...]


@dataclass(frozen=True)
class OfCurve(Declared):
    """What so many templates lose, and how many read points are left without one."""

    templates: int
    loss: float
    without: int


@dataclass(frozen=True, eq=False)
class SiteTemplates(Declared):
    """The templates of a site, and the loss against their number.

    `loss[p, c]` is what read point p loses with candidate c; inf where it may not be set there or
    exceeds hard limits by more than its own does. `curve[k − 1]` is the best of at most k
    templates; `at_most` says which entry is asked for. `left_out` are the read points without a
    result, and `candidates_of` is how many different strategies the batch found.
    """

    points: Hidden[tuple[PricedPoint, ...]]
    candidates: Hidden[tuple[Strategy, ...]]
    candidates_of: Hidden[int]
    loss: Hidden[np.ndarray]
    curve: Hidden[tuple[Templates, ...]]
    at_most: int
    left_out: tuple[str, ...]

    @property
    def chosen(self) -> Templates:
        return self.curve[min(self.at_most, len(self.curve)) - 1]

    @told(after="at_most")
    def summed(self) -> Annotated[float, "as loss"]:
        return self.chosen.loss

    @told(after="at_most")
    def own_loss(self) -> float:
        """What all read points lose when each has its own strategy."""
        return sum(point.own_loss for point in self.points)

    @told(after="at_most")
    def without(self) -> int:
        return self.chosen.without

    @told(after="at_most")
    def templates(self) -> tuple[Strategy, ...]:
        return tuple(self.candidates[column] for column in self.chosen.chosen)

    @told(after="at_most")
    def read_points(self) -> tuple[PointTemplate, ...]:
        return tuple(map(self._at, range(len(self.points))))

    def _at(self, place: int) -> PointTemplate:
        point, column = self.points[place], self.chosen.use[place]
        return PointTemplate(
            point.case,
            point.read_point,
            None if column is None else self.chosen.chosen.index(column) + 1,
            None if column is None else float(self.loss[place, column]),
            point.own_loss,
            self.pays(place),
            point.may_pay,
            self.needs_own(place),
            point.lawful_dbm,
            self.predicted(place),
        )

    @told(after="at_most")
    def by_number(self) -> Annotated[tuple[OfCurve, ...], "as curve"]:
        return tuple(OfCurve(n, one.loss, one.without) for n, one in enumerate(self.curve, 1))

    @told(after="at_most")
    def searched(self) -> dict[str, int]:
        return {"candidates": len(self.candidates), "of": self.candidates_of}

    def pays(self, place: int) -> float | None:
        """What a read point (by index) loses more than with its own; None without a template."""
        column = self.chosen.use[place]
        return None if column is None else float(self.loss[place, column]) - self._own(place)

    def predicted(self, place: int) -> tuple[float, ...]:
        """Levels (dBm) of a read point's template that were predicted there, not surveyed."""
        column = self.chosen.use[place]
        return () if column is None else self.points[place].predicted[column]

    @told(after="left_out")
    def warnings(self) -> tuple[str, ...]:
        """What must be settled before the templates are set."""
        told = [
            f"{point.read_point} ({point.case}): {text}"
            for place, point in enumerate(self.points)
            for text in survey_first(self.predicted(place))
        ]
        unknown = [point.read_point for point in self.points if point.lawful_dbm is None]
        if unknown:
            told.append(
                "no lawful level can be named, so levels were not checked against the rules (see "
                f"radio in site.json), at {some(unknown)}"
            )
        return tuple(told)

    def _own(self, place: int) -> float:
        return self.points[place].own_loss

    def needs_own(self, place: int) -> bool:
        """Whether a read point has no template or pays more than it may."""
        pays = self.pays(place)
        return pays is None or pays > self.points[place].may_pay + _SAME


def site_templates(
    folder: str | Path,
    at_most: int,
    *,
    may_pay: float | None = None,
    workers: int = 0,
    scheduler: str | None = None,
) -> SiteTemplates:
    """At most `at_most` strategies for all read points of a finished batch, of least summed loss.

    `folder` is that of `run_batch`; the candidates are the strategies that it found, each evaluated
    at each read point. `may_pay` is the loss that a read point may have on top of its own before it
    is said to need its own strategy; None: the weight of one missed tag there. `workers` and
    `scheduler` are those of `run_batch`. Raises InputError where the folder holds no results, or
    where the cases are not those of its results any more.
    """
    path = Path(folder) / "results.jsonl"
    if not path.is_file():
        raise InputError.one(str(folder), "no results.jsonl", "the folder of a batch")
    rows = list(read_lines(path))
    own = {(row["case"], row["read_point"]): row["result"] for row in rows if "result" in row}
    left_out = [f"{r['read_point'] or ''} ({r['case']})".strip() for r in rows if "result" not in r]
    if not own:
        raise InputError.one(str(path), "no result", "the results of at least one read point")

    def pricing(candidates: tuple[Strategy, ...]) -> Mapping[tuple[str, str], Prices]:
        return prices_from_cases(own, candidates, workers, scheduler)

    return _chosen(own, pricing, at_most, may_pay, left_out)


def templates_of(
    own: Results,
    read_points: Iterable[tuple[str, ReadPoint]],
    at_most: int,
    *,
    may_pay: float | None = None,
    left_out: Sequence[str] = (),
) -> SiteTemplates:
    """`site_templates` of results at hand: `own` holds that of each (case, read point), as JSON.

    `read_points` gives the case and the survey of each, in any order; `left_out` names read points
    that had no result. Raises InputError where there are no results, or where one is not that of
    its survey.
    """
    if not own:
        raise InputError.one("results", "none", "the results of at least one read point")

    def pricing(candidates: tuple[Strategy, ...]) -> Mapping[tuple[str, str], Prices]:
        return prices_of(own, read_points, candidates)

    return _chosen(own, pricing, at_most, may_pay, left_out)


def _chosen(
    own: Results,
    pricing: _Pricing,
    at_most: int,
    may_pay: float | None,
    left_out: Sequence[str],
) -> SiteTemplates:
    """The strategies that most read points share first, priced, and the templates among them."""
    common = Counter(strategy_text(result) for result in own.values())
    texts = [text for text, _ in common.most_common(CANDIDATES_MAX)]
    candidates = tuple(read_strategy(text.encode(), "results") for text in texts)
    priced = pricing(candidates)
    points, loss = [], np.full((len(own), len(candidates)), math.inf)
    for place, (case, name) in enumerate(own):
        found = priced[case, name]
        most = found.missed_weight if may_pay is None else may_pay
        points.append(PricedPoint(case, name, found.own, most, found.predicted, found.lawful_dbm))
        loss[place] = found.loss
    curve = template_curve(loss, max(at_most, _CURVE))
    return SiteTemplates(
        tuple(points), candidates, len(common), loss, curve, at_most, tuple(left_out)
    )
