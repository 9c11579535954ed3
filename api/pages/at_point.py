"""What is asked at the read point of an answer: earlier questions, and which techniques it has."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from flask import Response
from sqlalchemy import RowMapping

from ..problems import ProblemError
from ..store.jobs import find_at_point
from .answers import finished
from .ask import Asker, at
from .later import ask_for, look_at, watch
from .visiting import Visit, nothing

RESOURCE, KIND = "trade-offs", "trade_offs"
_SECONDS = 30.0  # the time limit of each question
_TECHNIQUES = ("power", "ladder", "cutoff", "masks", "antennas")


def ask_at(visit: Visit, found: Mapping[str, Any], question: Mapping[str, Any]) -> str:
    """The id of the answer to a question. Raises ProblemError where it is refused."""
    where = {"survey": found["survey"], "read_point": found["read_point"]}
    options = {"time_limit_s": _SECONDS}
    return ask_for(visit, RESOURCE, {**where, **question, "options": options})


def shown_at(
    visit: Visit, answer_id: str, asked_id: str, tab: str
) -> tuple[dict[str, Any], dict[str, Any]] | Response:
    """An answer, and a question that was asked at its read point; the page of how far it is where
    it is not answered yet."""
    found = finished(visit.ask, answer_id)
    looked = look_at(visit, RESOURCE, asked_id)
    asked: dict[str, Any] = looked.document
    if looked.status == 202:
        stop = at("answers", answer_id, RESOURCE, asked_id, "delete")
        return watch(visit, asked, stop, answer=found, tab=tab)
    if (asked["survey"], asked["read_point"]) != (found["survey"], found["read_point"]):
        raise nothing("such answer")
    return found, asked


def earlier_at(ask: Asker, found: Mapping[str, Any], limit: int) -> list[dict[str, Any]]:
    """The newest questions at the read point of an answer, those to be answered among them."""
    where = (found["survey"], found["read_point"])
    rows = find_at_point(ask.service.database, ask.client, KIND, where, limit, unfinished=True)
    return [_row(row) for row in rows]


def _row(row: RowMapping) -> dict[str, Any]:
    request = json.loads(row["request"])
    changed = request.get("set") or request.get("added_cable_loss_db")
    view = request.get("view") or ("changes" if changed else "counts")
    return {
        "id": row["id"],
        "label": row["label"] or view,
        "view": view,
        "state": row["state"],
        "set": request.get("set") or {},
        "cable": request.get("added_cable_loss_db") or 0.0,
    }


def allowed_at(ask: Asker, found: Mapping[str, Any]) -> tuple[str, ...]:
    """The techniques that the policy of the read point allows; none where its survey is gone."""
    try:
        survey = ask.get(at("v1", "surveys", found["survey"]))
    except ProblemError:
        return ()
    for one in survey["read_points"]:
        if one["read_point"] == found["read_point"]:
            return tuple(one.get("allow", _TECHNIQUES))
    return ()


def switches(found: Mapping[str, Any], allowed: Sequence[str]) -> list[str]:
    """The techniques that can be switched off: antennas only where scores were chosen from."""
    several = "scores" in found["result"].get("searched", {})
    return [one for one in _TECHNIQUES if one in allowed and (one != "antennas" or several)]


def left_on(visit: Visit, allowed: Sequence[str]) -> list[str]:
    """The techniques that a form leaves on: its switches, and what it has no switch for."""
    return [one for one in allowed if visit.text(f"allow_{one}") or not visit.text(f"has_{one}")]
