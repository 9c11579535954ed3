"""What a job asks for, done by the library's own verbs; what a client did wrong is data here."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

from sqlalchemy import RowMapping

import strategist
from strategist import QUESTIONS, Asked, Parameter, Question
from strategist.errors import Fault, InputError, MalformedError, StrategistError

from .limits import ANSWER_BYTES
from .of_batch import cross_reads_in, templates_among
from .problems import detail_of, faults_json, in_body
from .raw_files import import_raw
from .store.surveys import Cases

Outcome = tuple[Mapping[str, Any] | None, Mapping[str, Any] | None]  # result, error: one is None
_ENTRY_SHARE_MIN_S = 0.05
_KEYS = {"cable": "added_cable_loss_db", "view": "view"}
_OF_FILES = ("check", "import")
_ENTRY = "entry "  # and its number: the source of faults of its strategy


@dataclass(frozen=True)
class Task:
    """A job in hand: its row, what it asks for, the surveys that it may name.

    `seconds` are left until nobody waits any more (None: nobody does). `tell` takes how far it is:
    seconds, the loss of the best strategy so far, the loss that none is below, and the stage.
    """

    cases: Cases
    row: RowMapping
    request: Mapping[str, Any]
    seconds: float | None
    tell: Callable[[Mapping[str, Any]], None] = lambda _: None

    def point(self, key: str = "survey") -> strategist.ReadPoint:
        """The read point in the survey named under a key of the request; InputError: none."""
        survey = self.row["survey"] if key == "survey" else self.request[key]
        case = self.case(survey, key)
        return next(point for point in case.read_points if point.name == self.row["read_point"])

    def case(self, survey: str, key: str = "survey") -> strategist.Case:
        """The survey of this id, named under a key of the request; InputError: none."""
        case = self.cases.get(survey)
        if case is None:
            wrong, todo = "was deleted meanwhile", "Upload the survey again."
            raise InputError.one("body", survey, todo, column=key, path=(key,), wrong=wrong)
        return case

    def options(self, share: float | None = None) -> strategist.Options:
        """Those of the request, with at most `share` seconds, or what is left."""
        given = dict(self.request["options"])
        limits = (given.pop("time_limit_s"), self.seconds if share is None else share)
        total = max(0.0, min(limit for limit in limits if limit is not None))
        return strategist.Options(**given, total_limit_s=total)


def perform(task: Task) -> Outcome:
    """The result of a job, or why there is none."""
    try:
        return _short_enough(_with_room(task)), None
    except InputError as error:
        return None, _misread(error) if task.row["kind"] in _OF_FILES else _refused(error)
    except StrategistError as error:
        return None, _internal(f"No answer to stand by: {error}.")
    except _LongAnswerError as error:
        return None, {"problem": "long-answer", "detail": str(error)}
    except MemoryError:
        return None, {"problem": "no-memory", "detail": "Not enough memory for this."}


def _with_room(task: Task) -> dict[str, Any]:
    """The answer; where memory is short, once more without what was kept of earlier answers."""
    verb = _VERBS[task.row["kind"]]
    with strategist.watched_by(_told(task)):
        try:
            return verb(task)
        except MemoryError:
            pass  # outside of this block nothing holds on to what the first try had built
        task.cases.forget()
        strategist.forget_candidates()
        return verb(task)


def _told(task: Task) -> Callable[[strategist.Reached], None]:
    """Tells whoever waits for a job how far it is."""
    started = time.monotonic()

    def tell(reached: strategist.Reached) -> None:
        task.tell({"elapsed_s": round(time.monotonic() - started, 1), **asdict(reached)})

    return tell


def _short_enough(answer: dict[str, Any]) -> dict[str, Any]:
    """The answer, unless it is longer than an answer may be."""
    size = len(json.dumps(answer, ensure_ascii=False, allow_nan=False).encode())
    if size > ANSWER_BYTES:
        detail = f"It would have {size:,} bytes; at most {ANSWER_BYTES:,} are given."
        raise _LongAnswerError(detail)
    return answer


class _LongAnswerError(Exception):
    pass


def _misread(error: InputError) -> dict[str, Any]:
    """Why a survey is refused: its faults lie in the body itself."""
    kind = "malformed" if isinstance(error, MalformedError) else "invalid"
    return {"problem": kind, "detail": detail_of(error), "faults": faults_json(error.faults)}


def _internal(detail: str) -> dict[str, Any]:
    return {"problem": "internal", "detail": detail}


def _refused(error: InputError) -> dict[str, Any]:
    faults = faults_json([in_body(fault) for fault in error.faults])
    return {"problem": "invalid", "detail": str(error.faults[0])[:500], "faults": faults}


def _check(task: Task) -> dict[str, Any]:
    """The summary of a survey that is not accepted yet."""
    survey = task.row["survey"]
    case = task.cases.get(survey, strategist.Bounds(**task.request["bounds"]))
    if case is None:
        todo = "Upload the survey again."
        raise InputError.one("survey", survey, todo, wrong="was deleted meanwhile")
    return strategist.check(case).to_json()


def _import(task: Task) -> dict[str, Any]:
    """The same of one that came as raw files."""
    bounds = strategist.Bounds(**task.request["bounds"])
    return import_raw(task.cases.database, task.row["survey"], bounds)


def _masks(task: Task) -> dict[str, Any]:
    return strategist.list_masks(task.point()).to_json()


def _settings(task: Task) -> dict[str, Any]:
    asked = task.request
    given = asked["power_table"]
    table = (
        None
        if given is None
        else strategist.PowerTable(tuple((index, dbm) for index, dbm in given))
    )
    return strategist.settings_of(
        task.point(), _strategy(asked["strategy"]), asked["format"], table
    ).to_json()


def _sheet(task: Task) -> dict[str, Any]:
    """The page of a result, with plots of the survey that it was made from."""
    asked, point = task.request, task.point()
    given = strategist.GivenResult("answer", "", point.name, asked["result"], None, asked["site"])
    backing = strategist.Backing(points=[("", point)], frontiers=asked["frontiers"])
    document = strategist.report_document([given], backing, made_on=asked["made_on"])
    drawn = strategist.report_sections if asked.get("alone") else strategist.report_page
    return {"page": drawn(document)}


def _answer(question: Question, task: Task) -> dict[str, Any]:
    """The answer to a question at a read point."""
    asked = Asked(
        None if question.solves is None else task.options(),
        _strategy(task.request["strategy"]) if question.takes_strategy else None,
        {one.key: _value(one, task) for one in question.parameters},
    )
    try:
        return question.answer(task.point(), asked).to_json()
    except InputError as error:
        raise InputError(_of_key(question, fault, task.request) for fault in error.faults) from None


def _value(parameter: Parameter, task: Task) -> Any:
    value = task.request[parameter.key]
    return task.point(parameter.key) if parameter.names_case and value is not None else value


def _of_key(question: Question, fault: Fault, request: Mapping[str, Any]) -> Fault:
    """A fault of an answer, placed at the key of the request that brings it about."""
    if fault.source in ("cable", "view"):
        return replace(fault, source="body", path=(_KEYS[fault.source],))
    maps = [one.key for one in question.parameters if one.is_map]
    if not maps or fault.source not in maps:
        return fault
    for key in request[maps[0]]:
        parts = tuple(key.split("."))
        inside = fault.path[: len(parts)]
        if inside and inside == parts[: len(inside)]:
            path = (maps[0], key, *fault.path[len(parts) :])
            return replace(fault, source="body", path=path)
    return replace(fault, source="body", path=(maps[0],))


def _templates(task: Task) -> dict[str, Any]:
    return templates_among(task.cases, task.request, task.options().total_limit_s)


def _site_plan(task: Task) -> dict[str, Any]:
    """The plan of a whole survey, with the surveys of its options."""
    asked = task.request
    options = {case: task.case(survey) for case, survey in asked["option_surveys"].items()}
    return strategist.plan_site(
        task.case(task.row["survey"]),
        asked["at_most"],
        asked["budget"],
        options=options,
        time_limit_s=task.options().total_limit_s,
    ).to_json()


def _cross_reads(task: Task) -> dict[str, Any]:
    return cross_reads_in(task.cases, task.request)


def _compare(task: Task) -> dict[str, Any]:
    """One side an entry; those that must be solved for share evenly what time is left."""
    started = time.monotonic()
    point, entries = task.point(), task.request["entries"]
    solves = sum(entry["loss"] is not None for entry in entries)
    total = task.options().total_limit_s or 0.0
    sides = []
    for number, entry in enumerate(entries):
        left = total - (time.monotonic() - started)
        share = max(_ENTRY_SHARE_MIN_S, left / max(1, solves))
        sides += _sides(point, entry, f"{_ENTRY}{number}", task.options(share))
        solves -= entry["loss"] is not None
    try:
        return strategist.compare(point, sides).to_json()
    except InputError as error:
        raise InputError(map(_of_entry, error.faults)) from None


def _of_entry(fault: Fault) -> Fault:
    """A fault of a side, placed at the entry that gave it."""
    if not fault.source.startswith(_ENTRY):
        return in_body(fault)
    number = int(fault.source.removeprefix(_ENTRY))
    path = ("entries", number, "strategy", *fault.path)
    return replace(fault, source="body", path=path)


def _sides(
    point: strategist.ReadPoint, entry: Mapping[str, Any], source: str, options: strategist.Options
) -> list[strategist.Side]:
    """The side of an entry and, where it is a stored result that shows one, the sturdier one."""
    name = entry["name"]
    if entry["loss"] is None:
        sides = [strategist.Side(name, _strategy(entry["strategy"]), source)]
        if entry.get("sturdier") is not None:
            sturdier = _strategy(entry["sturdier"])
            sides.append(strategist.Side(f"{name}, sturdier", sturdier, source))
        return sides
    weights = strategist.Loss(**entry["loss"])
    own = replace(point, policy=replace(point.policy, loss=weights))
    found = strategist.choose(own, options)
    return [strategist.Side(name, found.strategy, source, weights, found.status, found.warnings)]


def _strategy(given: Mapping[str, Any]) -> strategist.Strategy:
    return strategist.parse_strategy_file(json.dumps(given).encode(), "strategy").strategy


_VERBS: Mapping[str, Callable[[Task], dict[str, Any]]] = {
    "check": _check,
    "import": _import,
    "masks": _masks,
    "settings": _settings,
    "sheet": _sheet,
    "comparison": _compare,
    "templates": _templates,
    "cross_reads": _cross_reads,
    "site_plan": _site_plan,
} | {one.kept.kind: partial(_answer, one) for one in QUESTIONS if one.kept is not None}
