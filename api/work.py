"""What a job asks for, done by the library's own verbs; what a client did wrong is data here."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import RowMapping

from api.of_batch import coupling_in, templates_among
from api.problems import fault_json, in_body
from api.store.surveys import Cases
from strategist import (
    Loss,
    Options,
    ReadPoint,
    Strategy,
    TooManySelectionsError,
    accept,
    choose,
    evaluate_at,
    judge,
    parse_strategy_file,
)
from strategist.errors import Fault, InputError, StrategistError

__all__ = ["Outcome", "Task", "perform"]

Outcome = tuple[Mapping[str, Any] | None, Mapping[str, Any] | None]  # result, error: one is None
_ENTRY_SHARE_MIN_S = 0.05


@dataclass(frozen=True)
class Task:
    """A job in hand: its row, what it asks for, the surveys that it may name.

    `seconds` are left until nobody waits any more (None: nobody does).
    """

    cases: Cases
    row: RowMapping
    request: Mapping[str, Any]
    seconds: float | None

    def point(self, key: str = "survey") -> ReadPoint:
        """The read point in the survey named under a key of the request; InputError: none."""
        survey = self.row["survey"] if key == "survey" else self.request[key]
        case = self.cases.get(survey)
        if case is None:
            raise InputError.one("body", survey, "a survey that is there", column=key, path=(key,))
        return next(point for point in case.read_points if point.name == self.row["read_point"])

    def options(self, share: float | None = None) -> Options:
        """Those of the request, with at most `share` seconds, or what is left."""
        given = self.request["options"]
        limits = (given["time_limit_s"], self.seconds if share is None else share)
        return Options(
            seed=given["seed"],
            prover=given["prover"],
            unseen=given["unseen"],
            total_limit_s=max(0.0, min(limit for limit in limits if limit is not None)),
        )


def perform(task: Task) -> Outcome:
    """The result of a job, or why there is none."""
    try:
        return _VERBS[task.row["kind"]](task), None
    except TooManySelectionsError:
        allowed = "auto or model: this read point has too many mask chains for the search"
        path = ("options", "prover")
        return None, _refused(InputError.one("body", "search", allowed, path=path))
    except InputError as error:
        return None, _refused(error)
    except StrategistError as error:
        return None, _internal(f"No answer to stand by: {error}.")
    except MemoryError:
        return None, _internal("Not enough memory for this read point.")


def _internal(detail: str) -> dict[str, Any]:
    return {"problem": "internal", "detail": detail}


def _refused(error: InputError) -> dict[str, Any]:
    faults = [fault_json(in_body(fault)) for fault in error.faults]
    return {"problem": "invalid", "detail": str(error.faults[0])[:500], "faults": faults}


def _choose(task: Task) -> dict[str, Any]:
    return choose(task.point(), task.options()).to_json()


def _judge(task: Task) -> dict[str, Any]:
    return judge(task.point(), task.options()).to_json()


def _accept(task: Task) -> dict[str, Any]:
    asked = task.request
    against = None if asked["against"] is None else task.point("against")
    strategy, limit = _strategy(asked["strategy"]), asked["rate_limit"]
    return accept(task.point(), strategy, limit, asked["confidence"], against).to_json()


def _templates(task: Task) -> dict[str, Any]:
    return templates_among(task.cases, task.request)


def _coupling(task: Task) -> dict[str, Any]:
    return coupling_in(task.cases, task.request)


def _compare(task: Task) -> dict[str, Any]:
    """One row an entry; those that must be solved for share the time evenly."""
    point, entries = task.point(), task.request["entries"]
    solves = sum(entry["loss"] is not None for entry in entries)
    total = task.options().total_limit_s or 0.0
    share = max(_ENTRY_SHARE_MIN_S, total / max(1, solves))
    rows = []
    for number, entry in enumerate(entries):
        try:
            rows.append(_row(point, entry, task.options(share)))
        except InputError as error:
            raise InputError(_of_entry(fault, number) for fault in error.faults) from None
    least = min(row["loss"] for row in rows)
    return {
        "read_point": point.name,
        "weights": _weights(point.policy.loss),
        "rows": rows,
        "least_loss": [row["name"] for row in rows if row["loss"] <= least + 1e-6],
    }


def _of_entry(fault: Fault, number: int) -> Fault:
    placed = in_body(fault)
    if fault.source != "strategy":
        return placed
    return replace(placed, source="body", path=("entries", number, *placed.path))


def _row(point: ReadPoint, entry: Mapping[str, Any], options: Options) -> dict[str, Any]:
    if entry["loss"] is None:
        weights, status, strategy = point.policy.loss, None, _strategy(entry["strategy"])
        warnings: tuple[str, ...] = ()
    else:
        weights = Loss(**entry["loss"])
        own = replace(point, policy=replace(point.policy, loss=weights))
        result = choose(own, options)
        status, strategy, warnings = result.status, result.strategy, result.warnings
    found = evaluate_at(point, strategy)
    outcome = found.outcome
    return {
        "name": entry["name"],
        "chosen": status is not None,
        "weights": _weights(weights),
        "status": status,
        "loss": outcome.loss,
        "loss_own_weights": weights.missed * outcome.missed + weights.stray * outcome.stray,
        "strategy": strategy.to_json(),
        "outcome": outcome.to_json(),
        "warnings": list(warnings or found.warnings),
    }


def _strategy(given: Mapping[str, Any]) -> Strategy:
    return parse_strategy_file(json.dumps(given).encode(), "strategy").strategy


def _weights(loss: Loss) -> dict[str, float]:
    return {"missed": loss.missed, "stray": loss.stray}


_VERBS: Mapping[str, Callable[[Task], dict[str, Any]]] = {
    "strategy": _choose,
    "judgement": _judge,
    "comparison": _compare,
    "acceptance": _accept,
    "templates": _templates,
    "coupling": _coupling,
}
