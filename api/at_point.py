"""What requests name: a survey, a read point of it, a strategy given or stored, a batch."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import RowMapping

from strategist import Strategy, StrategyFile, parse_strategy_file
from strategist.errors import Fault, InputError

from .endpoints import Ask
from .models import AtPoint, GivenStrategy
from .problems import ProblemError
from .store.batches import batch_counts, deleted_surveys, find_batch
from .store.jobs import find_job
from .store.pages import Place, read_cursor
from .store.surveys import find_survey


def iso(moment: float) -> str:
    """A time as RFC 3339 text in UTC, to the millisecond."""
    return datetime.fromtimestamp(moment, UTC).isoformat(timespec="milliseconds")


def missing(what: str) -> ProblemError:
    """Not there, or another client's: nobody learns which."""
    return ProblemError("not-found", f"There is no {what} of this id.")


def survey_row(ask: Ask, survey_id: str, *path: str | int) -> RowMapping:
    """The survey that the body names at `path`; raises InputError where the client has none."""
    row = find_survey(ask.service.database, ask.client, survey_id)
    if row is None:
        column = ".".join(map(str, path))
        wrong, todo = f"you have no survey {survey_id}", "Give an id that /v1/surveys lists."
        raise InputError.one("body", survey_id, todo, column=column, path=path, wrong=wrong)
    return row


def read_points_of(survey: RowMapping) -> tuple[str, ...]:
    """The names of a survey's read points, which its whole summary has to be read for."""
    points = json.loads(survey["summary"])["read_points"]
    return tuple(point["read_point"] for point in points)


def refuse_unknown_point(known: Sequence[str], name: str, *path: str | int) -> None:
    """Raise InputError where the read points `known` of a survey lack this name."""
    if name not in known:
        wrong = f'the survey has no read point "{name}"'
        todo = f"Known read points: {', '.join(known[:20])}."
        column = ".".join(map(str, path))
        raise InputError.one("body", name, todo, column=column, path=path, wrong=wrong)


def at_point(ask: Ask, body: AtPoint) -> RowMapping:
    """The survey that a request names, after making sure of its read point."""
    survey = survey_row(ask, body.survey, "survey")
    refuse_unknown_point(read_points_of(survey), body.read_point, "read_point")
    return survey


def strategy_of(ask: Ask, given: GivenStrategy, *path: str | int) -> Strategy:
    """The strategy in a request, or the stored one that it names."""
    return strategy_file(ask, given, *path).strategy


def strategy_file(ask: Ask, given: GivenStrategy, *path: str | int) -> StrategyFile:
    """`strategy_of`, with the sturdier one that a stored result may show."""
    if given.strategy is not None:
        return StrategyFile(given.strategy)
    assert given.strategy_id is not None
    row = find_job(ask.service.database, ask.client, "strategy", given.strategy_id)
    if row is None or row["result"] is None:
        place = (*path, "strategy_id")
        column = ".".join(map(str, place))
        wrong = f"you have no strategy {given.strategy_id} that is done"
        todo = "Give an id that /v1/strategies lists, or wait until it is done."
        raise InputError.one(
            "body", given.strategy_id, todo, column=column, path=place, wrong=wrong
        )
    return parse_strategy_file(row["result"].encode(), "strategy")


def finished_batch(ask: Ask, batch_id: str) -> None:
    """Make sure that the batch that the body names is the client's, done, and has its surveys.

    Raises InputError where the client has none of this id, or a survey was deleted; ProblemError
    where read points are not solved yet.
    """
    database, path = ask.service.database, ("batch",)
    if find_batch(database, ask.client, batch_id) is None:
        wrong, todo = f"you have no batch {batch_id}", "Give an id that /v1/batches lists."
        raise InputError.one("body", batch_id, todo, column="batch", path=path, wrong=wrong)
    gone = deleted_surveys(database, batch_id)
    if gone:
        raise InputError([_deleted(one, path) for one in gone])
    counts = batch_counts(database, batch_id)
    still_open = counts["waiting"] + counts["running"]
    if still_open:
        detail = f"{still_open:,} read points are not solved yet."
        raise ProblemError("not-done", detail, headers={"Retry-After": "5"})


def _deleted(survey: str, path: tuple[str, ...]) -> Fault:
    wrong, todo = f"its survey {survey} was deleted", "Upload it again and run a new batch."
    return Fault("body", None, "batch", survey, todo, path, wrong=wrong)


def cursor(ask: Ask) -> Place | None:
    """The place that the query's cursor stands for."""
    if ask.query.cursor is None:
        return None
    place = read_cursor(ask.query.cursor)
    if place is None:
        todo = "Give what the page before has under next, or leave it out."
        raise InputError.one("query", ask.query.cursor, todo, column="cursor")
    return place


def listed(items: list[dict[str, Any]], following: str | None) -> dict[str, Any]:
    """A page as a document."""
    return {"items": items, "next": following}
