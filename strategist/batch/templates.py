"""Few strategies for a whole site: candidates from a batch, priced at every read point of it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from pydantic import Field

from strategist.batch.lines import read_lines
from strategist.batch.prices import Prices, Results, prices_from_cases, prices_of, strategy_text
from strategist.errors import InputError
from strategist.optimise.clock import Clock
from strategist.optimise.strategy import Strategy, read_strategy
from strategist.optimise.templates import Templates, template_curve
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.order import figure, some
from strategist.survey.records import ReadPoint
from strategist.trust.foreseen import survey_first

CANDIDATES_MAX = 200  # strategies that are priced; those that most read points share come first
_CURVE = 10  # numbers of templates that the curve shows at least
_CHOICE_PART = 0.3  # of a time limit, for choosing among what was priced
_SAME = 1e-6

_Pricing = Callable[[tuple[Strategy, ...]], Mapping[tuple[str, str], Prices]]


@dataclass(frozen=True)
class PricedPoint:
    """A read point: what its own strategy loses, and what a template may cost it on top before it
    is said to need its own. Where it is `silent`, no candidate loses less than to report nothing,
    which loses `silence`. `predicted[c]` are the levels (dBm) of candidate c that were predicted
    there, not surveyed; `lawful_dbm` is the highest lawful one, None where none can be named."""

    case: str
    read_point: str
    own_loss: float
    max_extra_loss: float
    predicted: tuple[tuple[float, ...], ...]
    lawful_dbm: float | None
    silence: float = math.inf
    silent: bool = False


@dataclass(frozen=True)
class PointTemplate(Declared):
    """What a read point gets: the number of its template, from 1 (null: none may be set there)."""

    case: str
    read_point: str
    template: int | None
    loss: float | None
    silent: bool
    silence_loss: float
    own_loss: float
    pays: float | None
    max_extra_loss: float
    needs_own: bool
    lawful_dbm: float | None
    predicted_dbm: tuple[float, ...]


@dataclass(frozen=True)
class OfCurve(Declared):
    """What so many templates lose, and how many read points are left without one."""

    templates: int
    loss: float
    bound: float
    proven: bool
    without: int


@dataclass(frozen=True, eq=False)
class SiteTemplates(Declared):
    """The templates of a site, and the loss against their number.

    `loss[p, c]` is what read point p loses with candidate c; inf where it may not be set there,
    exceeds hard limits by more than its own does, or is no better than silence. `curve[k − 1]` is
    the best of at most k templates; `at_most` says which entry is asked for. `left_out` are the
    read points without a result, `late` those that there was no time for, `hurried` those where
    some candidates were not looked at, and `candidates_of` is how many different strategies the
    batch found.
    """

    points: Hidden[tuple[PricedPoint, ...]]
    candidates: Hidden[tuple[Strategy, ...]]
    candidates_of: Hidden[int]
    loss: Hidden[np.ndarray]
    curve: Hidden[tuple[Templates, ...]]
    at_most: int
    left_out: tuple[str, ...]
    late: tuple[str, ...] = ()
    hurried: tuple[str, ...] = ()

    @property
    def chosen(self) -> Templates:
        return self.curve[min(self.at_most, len(self.curve)) - 1]

    @told(after="at_most")
    def summed(self) -> Annotated[float, "as loss"]:
        return self.chosen.loss

    @told(after="at_most")
    def bound(
        self,
    ) -> Annotated[
        float, Field(description="No choice of so many templates loses less; 0 where unknown")
    ]:
        return self.chosen.bound

    @told(after="at_most")
    def proven(self) -> bool:
        return self.chosen.proven

    @told(after="at_most")
    def own_loss(self) -> float:
        """What all read points but the silent ones lose when each has its own strategy."""
        return sum(point.own_loss for point in self.points if not point.silent)

    @property
    def silent(self) -> tuple[PricedPoint, ...]:
        """Read points where nothing is better than to report nothing."""
        return tuple(point for point in self.points if point.silent)

    def without(self, one: Templates) -> int:
        """Read points, but the silent ones, for which there is no template."""
        return one.without - len(self.silent)

    @told(after="at_most")
    def lacking(self) -> Annotated[int, "as without"]:
        return self.without(self.chosen)

    @told(after="at_most")
    def templates(self) -> tuple[Strategy, ...]:
        return tuple(self.candidates[column] for column in self.chosen.chosen)

    @told(after="at_most")
    def read_points(self) -> tuple[PointTemplate, ...]:
        return tuple(map(self._at, range(len(self.points))))

    def _at(self, place: int) -> PointTemplate:
        point, column = self.points[place], self.chosen.use[place]
        silence = point.silence if point.silent else None
        return PointTemplate(
            point.case,
            point.read_point,
            None if column is None else self.chosen.chosen.index(column) + 1,
            silence if column is None else float(self.loss[place, column]),
            point.silent,
            point.silence,
            point.own_loss,
            self.pays(place),
            point.max_extra_loss,
            self.needs_own(place),
            point.lawful_dbm,
            self.predicted(place),
        )

    @told(after="at_most")
    def by_number(self) -> Annotated[tuple[OfCurve, ...], "as curve"]:
        return tuple(
            OfCurve(n, one.loss, one.bound, one.proven, self.without(one))
            for n, one in enumerate(self.curve, 1)
        )

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

    @told(after="hurried")
    def warnings(self) -> tuple[str, ...]:
        """What must be settled before the templates are set."""
        told = []
        if self.silent:
            names = some([point.read_point for point in self.silent])
            told.append(f"no strategy is better than silence, so install none, at {names}")
        if self.late or self.hurried:
            told.append(
                f"the time limit ended: {_many(self.late)} left out, and {_many(self.hurried)} "
                "compared with some of the candidates only; give it more time"
            )
        if not self.chosen.proven:
            told.append(
                "not proven in the time given: with so many templates fewer read points may be "
                f"without, or the loss lower, down to {figure(self.chosen.bound)}"
            )
        told += [
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
        """Whether a read point has no template or pays more than it may; a silent one does not."""
        if self.points[place].silent:
            return False
        pays = self.pays(place)
        return pays is None or pays > self.points[place].max_extra_loss + _SAME


def site_templates(
    folder: str | Path,
    at_most: int,
    *,
    max_extra_loss: float | None = None,
    workers: int = 0,
    scheduler: str | None = None,
    time_limit_s: float | None = None,
) -> SiteTemplates:
    """At most `at_most` strategies for all read points of a finished batch, of least summed loss.

    `folder` is that of `run_batch`; the candidates are the strategies that it found, each evaluated
    at each read point. `max_extra_loss` is the loss that a read point may have on top of its own
    before it is said to need its own strategy; None: the weight of one missed tag there. `workers`
    and `scheduler` are those of `run_batch`. After `time_limit_s` the answer says what it did not
    look at, and how good its templates are at least. Raises InputError where the folder holds no
    results, or where the cases are not those of its results any more.
    """
    clock = Clock(time_limit_s)
    path = Path(folder) / "results.jsonl"
    if not path.is_file():
        wrong = "holds no results.jsonl"
        raise InputError.one(str(folder), "", "the folder of a batch", wrong=wrong)
    rows = list(read_lines(path))
    own = {(row["case"], row["read_point"]): row["result"] for row in rows if "result" in row}
    left_out = [f"{r['read_point'] or ''} ({r['case']})".strip() for r in rows if "result" not in r]
    if not own:
        wrong, todo = "has no result of any read point", "Run the batch again and see its errors."
        raise InputError.one(str(path), "", todo, wrong=wrong)

    def pricing(candidates: tuple[Strategy, ...]) -> Mapping[tuple[str, str], Prices]:
        return prices_from_cases(own, candidates, workers, scheduler, _part_of(clock))

    return _chosen(own, pricing, _Asked(at_most, max_extra_loss), left_out, clock)


def templates_of(
    own: Results,
    read_points: Iterable[tuple[str, ReadPoint]],
    at_most: int,
    *,
    max_extra_loss: float | None = None,
    left_out: Sequence[str] = (),
    time_limit_s: float | None = None,
) -> SiteTemplates:
    """`site_templates` of results at hand: `own` holds that of each (case, read point), as JSON.

    `read_points` gives the case and the survey of each, in any order; `left_out` names read points
    that had no result. Raises InputError where there are no results, or where one is not that of
    its survey.
    """
    clock = Clock(time_limit_s)
    if not own:
        raise InputError.one("results", "", "those of at least one read point")

    def pricing(candidates: tuple[Strategy, ...]) -> Mapping[tuple[str, str], Prices]:
        return prices_of(own, read_points, candidates, _part_of(clock))

    return _chosen(own, pricing, _Asked(at_most, max_extra_loss), left_out, clock)


@dataclass(frozen=True)
class _Asked:
    at_most: int
    max_extra_loss: float | None


def _part_of(clock: Clock) -> Clock:
    """What pricing may take: the rest is for the choice."""
    return clock.less(_CHOICE_PART * (clock.left or 0.0))


def _chosen(
    own: Results,
    pricing: _Pricing,
    asked: _Asked,
    left_out: Sequence[str],
    clock: Clock,
) -> SiteTemplates:
    """The strategies that most read points share first, priced, and the templates among them.

    Those of read points that are silent are no candidates."""
    common = Counter(strategy_text(result) for result in own.values() if _worth_it(result))
    texts = [text for text, _ in common.most_common(CANDIDATES_MAX)]
    candidates = tuple(read_strategy(text.encode(), "results") for text in texts)
    priced = pricing(candidates)
    points, rows = [], []
    for place in own:
        if (found := priced.get(place)) is not None:
            points.append(_point(place, found, asked.max_extra_loss))
            rows.append(found.loss)
    loss = np.array(rows, float).reshape(len(points), len(candidates))
    if candidates:
        curve = template_curve(loss, max(asked.at_most, _CURVE), clock)
    else:
        curve = (Templates((), (None,) * len(points), 0.0, proven=True),)
    hurried = [name for (_, name), found in priced.items() if found.tried < len(candidates)]
    return SiteTemplates(
        points=tuple(points),
        candidates=candidates,
        candidates_of=len(common),
        loss=loss,
        curve=curve,
        at_most=asked.at_most,
        left_out=tuple(left_out),
        late=tuple(f"{name} ({case})" for case, name in own if (case, name) not in priced),
        hurried=tuple(hurried),
    )


def _point(place: tuple[str, str], found: Prices, max_extra_loss: float | None) -> PricedPoint:
    most = found.missed_weight if max_extra_loss is None else max_extra_loss
    return PricedPoint(
        *place, found.own, most, found.predicted, found.lawful_dbm, found.silence, found.silent
    )


def _worth_it(result: Mapping[str, Any]) -> bool:
    return bool(result.get("status") != "silent")


def _many(names: Sequence[str]) -> str:
    return f"{len(names)} read point{'' if len(names) == 1 else 's'}"
