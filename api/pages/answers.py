"""An answer: how far it is, the sheet of what to set, and the files to hand over."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from datetime import date
from typing import Any

from flask import Response
from markupsafe import Markup

import strategist
from strategist.errors import InputError

from ..problems import KINDS, ProblemError
from ..requests import invalid
from ..results import HTML
from .ask import Asker, at
from .drawn import Drawn
from .visiting import Page, Visit, download, nothing, to

_OPEN = ("waiting", "running")
_DRAWN = Drawn()


def answer_of(ask: Asker, answer_id: str) -> dict[str, Any]:
    """A strategy with its state. Raises ProblemError where the client has none of this id."""
    found: dict[str, Any] = ask.get(at("v1", "strategies", answer_id))
    return found


def finished(ask: Asker, answer_id: str) -> dict[str, Any]:
    """One that is there. Raises ProblemError where it is not yet, or never will be."""
    found = answer_of(ask, answer_id)
    if found["result"] is None:
        raise nothing("finished answer")
    return found


def answer(visit: Visit, answer_id: str) -> Response:
    """The sheet, with its plots as soon as they are drawn; until it is there, how far the solve
    is."""
    found = answer_of(visit.ask, answer_id)
    if found["result"] is None:
        waits, alone = found["state"] in _OPEN, _alone(visit.ask, found)
        refresh = 2 if waits else 0
        return visit.show("waiting.html", answer=found, waits=waits, alone=alone, refresh=refresh)
    drawn, coming = _DRAWN.look(visit.ask, found)
    return visit.show(
        "sheet.html",
        answer=found,
        sheet=Markup(drawn or strategist.report_sections(_document(visit.ask, found))),
        alone=_alone(visit.ask, found),
        coming=coming,
        refresh=2 if coming else 0,
    )


def _document(ask: Asker, found: Mapping[str, Any]) -> dict[str, Any]:
    given = strategist.GivenResult(
        "answer", None, found["read_point"], found["result"], None, _site(ask, found["survey"])
    )
    return strategist.report_document([given], made_on=date.today().isoformat())


def _site(ask: Asker, survey_id: str) -> str | None:
    """The name of the site, where its survey is still there."""
    try:
        return str(ask.get(at("v1", "surveys", survey_id))["site"]) or None
    except ProblemError:
        return None


def sheet_file(visit: Visit, answer_id: str) -> Response:
    """The sheet as one file that needs no network, with plots while the survey is there."""
    found = finished(visit.ask, answer_id)
    page = visit.ask.content(at("v1", "strategies", answer_id, "sheet"), HTML).payload()
    assert isinstance(page, bytes | str)
    return download(page, f"{HTML}; charset=utf-8", f"{found['read_point']}.html")


def json_file(visit: Visit, answer_id: str) -> Response:
    """The result as `solve --out` writes it."""
    found = finished(visit.ask, answer_id)
    text = json.dumps(found["result"], ensure_ascii=False, indent=2) + "\n"
    return download(text, "application/json", f"{found['read_point']}.json")


def hand_over(visit: Visit, answer_id: str) -> Response:
    """What can be taken away."""
    return _hand_over(visit, finished(visit.ask, answer_id))


def _hand_over(
    visit: Visit, found: Mapping[str, Any], problem: ProblemError | None = None
) -> Response:
    status = 200 if problem is None else KINDS[problem.kind].status
    shown = None if problem is None else {"kind": KINDS[problem.kind], "error": problem}
    return visit.show("hand-over.html", status=status, answer=found, problem=shown)


def settings_file(visit: Visit, answer_id: str) -> Response:
    """Gen2 commands, or LLRP parameters by the reader's own table of powers."""
    found = finished(visit.ask, answer_id)
    form = visit.text("form_of")
    asked: dict[str, Any] = {
        "survey": found["survey"],
        "read_point": found["read_point"],
        "format": form,
    }
    try:
        asked |= _strategy(visit, answer_id)
        if form == "llrp":
            asked["power_table"] = power_table(visit)
        made = visit.ask.post("/v1/settings", asked)
    except ProblemError as error:
        return _hand_over(visit, found, error)
    text = json.dumps(made, ensure_ascii=False, indent=2) + "\n"
    return download(text, "application/json", f"{found['read_point']}-{form}.json")


def _strategy(visit: Visit, answer_id: str) -> dict[str, Any]:
    """That of the answer, or the one of the form (a point of the trade-offs)."""
    text = visit.text("strategy")
    if not text:
        return {"strategy_id": answer_id}
    try:
        given = strategist.parse_strategy_file(text.encode(), "strategy")
    except InputError as error:
        raise invalid(error) from None
    return {"strategy": given.strategy.to_json()}


def power_table(visit: Visit) -> list[dict[str, Any]]:
    """The rows of the table that was pasted or uploaded (`index,power_dbm`)."""
    given = visit.request.files.get("table_file")
    text = visit.text("table")
    if given is not None and given.filename:
        text = given.read().decode("utf-8-sig", "replace")
    rows = [row for row in csv.reader(io.StringIO(text)) if any(one.strip() for one in row)]
    if rows and [one.strip() for one in rows[0]] == ["index", "power_dbm"]:
        rows = rows[1:]
    if not rows:
        raise ProblemError("invalid", "LLRP settings need the reader's power table.")
    try:
        return [{"index": int(index), "power_dbm": float(power)} for index, power in rows]
    except ValueError:
        allowed = "Each line of the power table is a whole number, a comma and a power in dBm."
        raise ProblemError("invalid", allowed) from None


def stop(visit: Visit, answer_id: str) -> Response:
    """Cancel the solve of this read point alone."""
    found = answer_of(visit.ask, answer_id)
    _refuse_part(visit.ask, found)
    visit.ask.delete(at("v1", "batches", found["batch"]))
    return to(at("answers", answer_id))


def remove(visit: Visit, answer_id: str) -> Response:
    """Delete an answer; a batch of this one alone goes with it."""
    found = answer_of(visit.ask, answer_id)
    if found["batch"] is None:
        visit.ask.delete(at("v1", "strategies", answer_id))
    else:
        _refuse_part(visit.ask, found)
        visit.ask.delete(at("v1", "batches", found["batch"]), results="delete")
    return to("/answers")


def _alone(ask: Asker, found: Mapping[str, Any]) -> bool:
    """Whether no other read point is solved with this one."""
    return found["batch"] is None or ask.get(at("v1", "batches", found["batch"]))["total"] == 1


def _refuse_part(ask: Asker, found: Mapping[str, Any]) -> None:
    """Raise ProblemError where others would go with this one."""
    if found["batch"] is None:
        raise nothing("solve to stop")
    if not _alone(ask, found):
        raise ProblemError("in-use", "It is a part of a batch: cancel or delete the batch.")


PAGES = (
    Page("GET", "/answers/<answer_id>", answer),
    Page("GET", "/answers/<answer_id>/sheet.html", sheet_file),
    Page("GET", "/answers/<answer_id>/result.json", json_file),
    Page("GET", "/answers/<answer_id>/hand-over", hand_over),
    Page("POST", "/answers/<answer_id>/hand-over", settings_file),
    Page("POST", "/answers/<answer_id>/stop", stop),
    Page("POST", "/answers/<answer_id>/delete", remove),
)
