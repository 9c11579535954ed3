"""Few strategies for a whole site: candidates from a batch, priced at every read point of it."""

from __future__ import annotations

import functools
import json
import math
import sqlite3
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from strategist.batch.engine import carry_out, engine_for
from strategist.batch.lines import read_lines
from strategist.errors import InputError, StrategistError
from strategist.optimise.installable import installable
from strategist.optimise.strategy import Strategy, read_strategy
from strategist.optimise.templates import Templates, template_curve
from strategist.radio.complete import complete
from strategist.survey.parts import Part, open_case
from strategist.trust.evaluate import evaluate

__all__ = ["CANDIDATES_MAX", "PricedPoint", "SiteTemplates", "site_templates"]

CANDIDATES_MAX = 200  # strategies that are priced; those that most read points share come first
_CURVE = 10  # numbers of templates that the curve shows at least
_SAME = 1e-6


@dataclass(frozen=True)
class PricedPoint:
    """A read point: what its own strategy loses, and what a template may cost it on top before it
    is said to need its own."""

    case: str
    read_point: str
    own_loss: float
    may_pay: float


@dataclass(frozen=True, eq=False)
class SiteTemplates:
    """The templates of a site, and the loss against their number.

    `loss[p, c]` is what read point p loses with candidate c; inf where it may not be set there or
    exceeds hard limits by more than its own does. `curve[k − 1]` is the best of at most k
    templates; `at_most` says which entry is asked for. `left_out` are the read points without a
    result, and `candidates_of` is how many different strategies the batch found.
    """

    points: tuple[PricedPoint, ...]
    candidates: tuple[Strategy, ...]
    candidates_of: int
    loss: np.ndarray
    curve: tuple[Templates, ...]
    at_most: int
    left_out: tuple[str, ...]

    @property
    def chosen(self) -> Templates:
        return self.curve[min(self.at_most, len(self.curve)) - 1]

    @property
    def own_loss(self) -> float:
        """What all read points lose when each has its own strategy."""
        return sum(point.own_loss for point in self.points)

    def pays(self, place: int) -> float | None:
        """What a read point (by index) loses more than with its own; None without a template."""
        column = self.chosen.use[place]
        return None if column is None else float(self.loss[place, column]) - self._own(place)

    def _own(self, place: int) -> float:
        return self.points[place].own_loss

    def needs_own(self, place: int) -> bool:
        """Whether a read point has no template or pays more than it may."""
        pays = self.pays(place)
        return pays is None or pays > self.points[place].may_pay + _SAME

    def to_json(self) -> dict[str, Any]:
        """`template` is the number of a template, from 1; null where none may be set there."""
        chosen, points = self.chosen, []
        number = {column: n for n, column in enumerate(chosen.chosen, 1)}
        for place, (point, column) in enumerate(zip(self.points, chosen.use, strict=True)):
            points.append(
                {
                    "case": point.case,
                    "read_point": point.read_point,
                    "template": None if column is None else number[column],
                    "loss": None if column is None else float(self.loss[place, column]),
                    "own_loss": point.own_loss,
                    "pays": self.pays(place),
                    "may_pay": point.may_pay,
                    "needs_own": self.needs_own(place),
                }
            )
        return {
            "at_most": self.at_most,
            "loss": chosen.loss,
            "own_loss": self.own_loss,
            "without": chosen.without,
            "templates": [self.candidates[column].to_json() for column in chosen.chosen],
            "read_points": points,
            "curve": [
                {"templates": n, "loss": one.loss, "without": one.without}
                for n, one in enumerate(self.curve, 1)
            ],
            "searched": {"candidates": len(self.candidates), "of": self.candidates_of},
            "left_out": list(self.left_out),
        }


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
    rows = [line for _, line in read_lines(path)]
    own = {(row["case"], row["read_point"]): row["result"] for row in rows if "result" in row}
    left_out = [f"{r['read_point'] or ''} ({r['case']})".strip() for r in rows if "result" not in r]
    if not own:
        raise InputError.one(str(path), "no result", "the results of at least one read point")
    common = Counter(_text(result) for result in own.values())
    texts = [text for text, _ in common.most_common(CANDIDATES_MAX)]
    candidates = tuple(read_strategy(text.encode(), str(path)) for text in texts)
    priced = _priced(own, candidates, workers, scheduler)
    points, loss = [], np.full((len(own), len(candidates)), math.inf)
    for place, (of_case, name) in enumerate(own):
        found = priced[of_case, name]
        points.append(PricedPoint(of_case, name, found.own, _may_pay(may_pay, found)))
        loss[place] = found.loss
    curve = template_curve(loss, max(at_most, _CURVE))
    return SiteTemplates(
        tuple(points), candidates, len(common), loss, curve, at_most, tuple(left_out)
    )


def _text(result: dict[str, Any]) -> str:
    return json.dumps(result["strategy"], sort_keys=True)


@dataclass(frozen=True)
class _Task:
    part: Part
    own: Strategy
    loss: float

    @property
    def size(self) -> int:
        return self.part.size


@dataclass(frozen=True)
class _Priced:
    own: float
    missed_weight: float
    loss: tuple[float, ...]


def _may_pay(given: float | None, priced: _Priced) -> float:
    return priced.missed_weight if given is None else given


def _priced(
    own: dict[tuple[str, str], dict[str, Any]],
    candidates: tuple[Strategy, ...],
    workers: int,
    scheduler: str | None,
) -> dict[tuple[str, str], _Priced]:
    """What each read point loses with each candidate; raises InputError where one cannot say."""
    found: dict[tuple[str, str], _Priced] = {}
    run = functools.partial(_price, candidates=candidates)
    engine = engine_for(workers, scheduler)
    for task, answer in carry_out(_tasks(own), run, engine, _died, len(own)):
        if isinstance(answer, str):
            allowed = "a read point that does what it did in the batch: run that again"
            where = f"{task.part.case}, {task.part.read_point}"
            raise InputError.one(where, answer, allowed)
        found[task.part.case, task.part.read_point] = answer
    for case, name in own:
        if (case, name) not in found:
            raise InputError.one(case, f"no read point {name}", "the case of the batch's results")
    return found


def _died(task: _Task) -> _Priced | str:
    return "its worker died"


def _tasks(own: dict[tuple[str, str], dict[str, Any]]) -> Iterator[_Task]:
    index = sqlite3.connect("")
    try:
        for case in dict.fromkeys(case for case, _ in own):
            for part in open_case(case, case, index):
                result = own.get((case, part.read_point))
                if result is not None:
                    strategy = read_strategy(_text(result).encode(), "results.jsonl")
                    yield _Task(part, strategy, float(result["loss"]))
    finally:
        index.close()


def _price(tasks: Sequence[_Task], candidates: tuple[Strategy, ...]) -> list[_Priced | str]:
    return [_price_one(task, candidates) for task in tasks]


def _price_one(task: _Task, candidates: tuple[Strategy, ...]) -> _Priced | str:
    """The prices at a read point, or what is wrong with it in words."""
    try:
        point = complete(task.part.read())
        survey, policy = point.survey, point.policy
        own = evaluate(survey, policy, task.own)
    except (StrategistError, MemoryError) as error:
        return str(error) or "not enough memory"
    if abs(own.loss - task.loss) > _SAME * max(1.0, own.loss):
        return f"a loss of {own.loss:g} for a result of {task.loss:g}"
    excess = policy.limits.excess(own.missed_rate, own.stray_rate) + _SAME
    losses = []
    for candidate in candidates:
        loss = math.inf
        if candidate == task.own:
            loss = own.loss
        elif installable(candidate, policy, survey):
            outcome = evaluate(survey, policy, candidate)
            if policy.limits.excess(outcome.missed_rate, outcome.stray_rate) <= excess:
                loss = outcome.loss
        losses.append(loss)
    return _Priced(own.loss, policy.loss.missed, tuple(losses))
