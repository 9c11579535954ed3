"""What a job asks for, done by the library's own verbs; what a client did wrong is data here."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from api.problems import fault_json, in_body
from strategist import (
    Case,
    Loss,
    Options,
    ReadPoint,
    Side,
    Strategy,
    TooManySelectionsError,
    choose,
    compare,
    parse_strategy_file,
)
from strategist.errors import Fault, InputError, StrategistError

__all__ = ["Outcome", "perform"]

Outcome = tuple[Mapping[str, Any] | None, Mapping[str, Any] | None]  # result, error: one is None
_ENTRY_SHARE_MIN_S = 0.05
_ENTRY = "entry "  # and its number: the source of faults of its strategy


def perform(
    kind: str, case: Case | None, read_point: str, request: Mapping[str, Any], seconds: float | None
) -> Outcome:
    """The result of a job, or why there is none. `seconds` are left until nobody waits any more."""
    if case is None:
        return None, {"problem": "not-found", "detail": "The survey was deleted."}
    point = next(point for point in case.read_points if point.name == read_point)
    try:
        return _VERBS[kind](point, request, seconds), None
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


def _choose(point: ReadPoint, request: Mapping[str, Any], seconds: float | None) -> dict[str, Any]:
    return choose(point, _options(request["options"], seconds)).to_json()


def _options(given: Mapping[str, Any], seconds: float | None) -> Options:
    limit = given["time_limit_s"]
    return Options(
        seed=given["seed"],
        prover=given["prover"],
        unseen=given["unseen"],
        total_limit_s=limit if seconds is None else max(0.0, min(limit, seconds)),
    )


def _compare(point: ReadPoint, request: Mapping[str, Any], seconds: float | None) -> dict[str, Any]:
    """One side an entry; those that must be solved for share the time evenly."""
    entries = request["entries"]
    solves = sum(entry["loss"] is not None for entry in entries)
    limit = request["options"]["time_limit_s"]
    total = limit if seconds is None else min(limit, seconds)
    share = max(_ENTRY_SHARE_MIN_S, total / max(1, solves))
    sides = [
        _side(point, entry, f"{_ENTRY}{number}", request["options"], share)
        for number, entry in enumerate(entries)
    ]
    try:
        return compare(point, sides).to_json()
    except InputError as error:
        raise InputError(map(_of_entry, error.faults)) from None


def _of_entry(fault: Fault) -> Fault:
    """A fault of a side, placed at the entry that gave it."""
    if not fault.source.startswith(_ENTRY):
        return in_body(fault)
    number = int(fault.source.removeprefix(_ENTRY))
    path = ("entries", number, "strategy", *fault.path)
    return replace(fault, source="body", path=path)


def _side(
    point: ReadPoint,
    entry: Mapping[str, Any],
    source: str,
    options: Mapping[str, Any],
    share: float,
) -> Side:
    if entry["loss"] is None:
        return Side(entry["name"], _strategy(entry["strategy"]), source)
    weights = Loss(**entry["loss"])
    own = replace(point, policy=replace(point.policy, loss=weights))
    found = choose(own, _options(options, share))
    return Side(entry["name"], found.strategy, source, weights, found.status, found.warnings)


def _strategy(given: Mapping[str, Any]) -> Strategy:
    return parse_strategy_file(json.dumps(given).encode(), "strategy").strategy


_VERBS = {"strategy": _choose, "comparison": _compare}
