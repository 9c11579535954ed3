"""Answers on a whole batch that is done: few strategies for all of it, and who hears whom."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import strategist
from strategist.errors import Fault, InputError

from .store.batches import results_after
from .store.surveys import Cases

_ROWS = 1000


def templates_among(
    cases: Cases, request: Mapping[str, Any], time_limit_s: float | None
) -> dict[str, Any]:
    """The document of `templates` for a batch; `case` is the id of a survey."""
    batch = _solved(cases, request["batch"])
    at_most, max_extra_loss = request["at_most"], request["max_extra_loss"]
    with _faults_of_batch():
        points = batch.points(cases)
        found = strategist.templates_of(
            batch.results,
            points,
            at_most,
            max_extra_loss=max_extra_loss,
            left_out=batch.left_out,
            time_limit_s=time_limit_s,
        )
    return found.to_json()


def cross_reads_in(cases: Cases, request: Mapping[str, Any]) -> dict[str, Any]:
    """The document of cross_reads.json for a batch; `case` is the id of a survey."""
    batch = _solved(cases, request["batch"])
    with _faults_of_batch():
        return strategist.cross_reads_of(batch.tags(cases)).to_json()


@dataclass(frozen=True)
class _Solved:
    """The results of a batch by survey and read point, and the names of those without one."""

    results: dict[tuple[str, str], dict[str, Any]]
    left_out: tuple[str, ...]

    def points(self, cases: Cases) -> Iterator[tuple[str, strategist.ReadPoint]]:
        """Each read point with a result, survey by survey. Raises InputError: one was deleted."""
        for survey in dict.fromkeys(survey for survey, _ in self.results):
            case = cases.get(survey)
            if case is None:
                wrong, todo = "was deleted", "Upload it again and run a new batch."
                raise InputError.one(survey, survey, todo, wrong=wrong)
            for point in case.read_points:
                if (survey, point.name) in self.results:
                    yield survey, point

    def tags(self, cases: Cases) -> Iterator[dict[str, Any]]:
        """A line for each read point: who is wanted there, and what it hears."""
        for survey, point in self.points(cases):
            result = json.dumps(self.results[survey, point.name]).encode()
            strategy = strategist.parse_strategy_file(result, "result").strategy
            place = {"case": survey, "read_point": point.name}
            yield place | strategist.tags_of(strategist.complete(point), strategy)


def _solved(cases: Cases, batch_id: str) -> _Solved:
    """A read point that was asked for twice counts once."""
    results: dict[tuple[str, str], dict[str, Any]] = {}
    without: dict[tuple[str, str], None] = {}
    position = -1
    while rows := results_after(cases.database, batch_id, position, _ROWS):
        for row in rows:
            place = (row["survey"], row["read_point"])
            if row["result"] is None:
                without[place] = None
            else:
                results[place] = json.loads(row["result"])
        position = rows[-1]["position"]
    left_out = tuple(
        f"{name} ({survey})" for survey, name in without if (survey, name) not in results
    )
    return _Solved(results, left_out)


@contextmanager
def _faults_of_batch() -> Iterator[None]:
    """Faults of results and surveys, placed at the key of the body that names their batch."""
    try:
        yield
    except InputError as error:
        raise InputError(
            Fault("body", None, "batch", one.value, one.allowed, ("batch",), wrong=str(one.said))
            for one in error.faults
        ) from None
