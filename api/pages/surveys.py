"""A survey: taken in, what was understood of it, what was found in it; and solving it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from flask import Response
from werkzeug.datastructures import FileStorage

from ..problems import KINDS, ProblemError
from ..raw_files import RAW
from .ask import at, find
from .first_plans import ALONE, show_first_plans
from .home import show_home
from .visiting import Page, Visit, download, nothing, to

_A_PAGE = 50  # read points
_COPY = re.compile(r" ?\(\d+\)(?=\.\w+$)")  # what browsers add to the name of a second download
_SOLVE_S = 60.0


def upload(visit: Visit) -> Response:
    """Take the files of a case, one JSON document or raw files, and show what was understood; of a
    site.json alone, what to measure first."""
    try:
        alone = _chosen(visit, "files")
        if [_COPY.sub("", one.filename or "") for one in alone] == [ALONE]:
            return show_first_plans(visit, alone[0].read())
        made = _taken(visit)
    except ProblemError as error:
        kind = KINDS[error.kind]
        return show_home(visit, status=kind.status, problem={"kind": kind, "error": error})
    return to(at("surveys", made["id"]))


def _taken(visit: Visit) -> dict[str, Any]:
    label = visit.text("label")
    raw = [(name, one.read()) for name in RAW.parts for one in _chosen(visit, name)]
    if raw:
        return _made(visit.ask.upload("/v1/surveys", _with_name(visit, raw), label=label))
    case = find(visit.ask.endpoints, "POST", "/v1/surveys")[0].forms[0]
    given = _chosen(visit, "files")
    if len(given) == 1 and (given[0].filename or "").lower().endswith(".json"):
        return _made(visit.ask.document("/v1/surveys", given[0].read(), label=label))
    files: dict[str, bytes] = {}
    for one in given:
        name = _name(one.filename or "", case.parts)
        if name in files:
            detail = f"Two of the files are called {name}."
            raise ProblemError("invalid", detail)
        files[name] = one.read()
    if not files:
        needed = ", ".join(case.needed)
        raise ProblemError("invalid", f"No file was chosen. Needed: {needed}; or a log.")
    return _made(visit.ask.upload("/v1/surveys", list(files.items()), label=label))


def _chosen(visit: Visit, name: str) -> list[FileStorage]:
    return [one for one in visit.request.files.getlist(name) if one.filename]


def _with_name(visit: Visit, raw: list[tuple[str, bytes]]) -> list[tuple[str, bytes]]:
    """Raw files with the name of the read point, where one is given, in their mapping."""
    read_point, mapping = visit.text("read_point"), dict(raw).get("mapping", b"{}")
    if not read_point:
        return raw
    try:
        known = json.loads(mapping)
    except ValueError:
        return raw
    if not isinstance(known, dict):
        return raw
    named = json.dumps(known | {"read_point": read_point}).encode()
    return [*(one for one in raw if one[0] != "mapping"), ("mapping", named)]


def _made(document: Any) -> dict[str, Any]:
    found: dict[str, Any] = document
    return found


def _name(given: str, known: Mapping[str, bool]) -> str:
    """The name of a file as the API knows it; one that it does not know stays as it is."""
    plain = _COPY.sub("", given.replace("\\", "/").rsplit("/", 1)[-1]).strip()
    return plain.lower() if plain.lower() in known else plain


def survey(visit: Visit, survey_id: str) -> Response:
    """What was understood: each read point with its passes, levels, tags, and findings."""
    document = visit.ask.get(at("v1", "surveys", survey_id))
    asked = visit.text("q").lower()
    points = [
        (number, point)
        for number, point in enumerate(document["read_points"])
        if asked in point["read_point"].lower()
    ]
    pages = max(1, -(-len(points) // _A_PAGE))
    page = visit.whole("page", 1, 1, pages)
    shown = points[(page - 1) * _A_PAGE : page * _A_PAGE]
    return visit.show(
        "survey.html",
        survey=document,
        points=shown,
        found=len(points),
        asked=visit.text("q"),
        page=page,
        pages=pages,
        seconds=_SOLVE_S,
    )


def file(visit: Visit, survey_id: str, name: str) -> Response:
    """One file, exactly as it was given."""
    found = visit.ask.content(at("v1", "surveys", survey_id, "files", name))
    payload = found.payload()
    assert isinstance(payload, bytes | str)
    return download(payload, found.media, name)


def solve(visit: Visit, survey_id: str) -> Response:
    """Have the workers solve one read point, or all that can be; go on to the answer."""
    document = visit.ask.get(at("v1", "surveys", survey_id))
    points = [one["read_point"] for one in document["read_points"] if one["usable"]]
    if visit.text("point"):
        points = [point_of(document, visit.text("point"))["read_point"]]
    label = document["label"] or document["site"]
    item = {"survey": survey_id, "read_points": points}
    options = {"time_limit_s": _seconds(visit), "sturdier": True}
    asked = {"items": [item], "label": label[:200], "options": options}
    batch = visit.ask.post("/v1/batches", asked)["id"]
    if len(points) > 1:
        return to(at("batches", batch))
    (row,) = visit.ask.get(at("v1", "batches", batch, "results"), limit=1)["items"]
    return to(at("answers", row["strategy"]))


def point_of(document: Mapping[str, Any], number: str) -> Mapping[str, Any]:
    """The read point of a survey that a form names by its number."""
    points = document["read_points"]
    if not (number.isascii() and number.isdigit() and int(number) < len(points)):
        raise nothing("read point")
    found: Mapping[str, Any] = points[int(number)]
    return found


def _seconds(visit: Visit) -> float:
    """The time limit of each read point; what is no number goes to the API, which says so."""
    try:
        return float(visit.text("seconds") or _SOLVE_S)
    except ValueError:
        raise ProblemError("invalid", "The time limit is a number of seconds.") from None


def remove(visit: Visit, survey_id: str) -> Response:
    visit.ask.delete(at("v1", "surveys", survey_id))
    return to("/")


PAGES = (
    Page("POST", "/surveys", upload, files=True),
    Page("GET", "/surveys/<survey_id>", survey),
    Page("GET", "/surveys/<survey_id>/files/<name>", file),
    Page("POST", "/surveys/<survey_id>/solve", solve),
    Page("POST", "/surveys/<survey_id>/delete", remove),
)
