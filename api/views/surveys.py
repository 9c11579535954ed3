"""Surveys: uploaded, listed, read back, deleted."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import RowMapping

from strategist import CaseDocument
from strategist.errors import InputError

from ..answers import Survey, answer, page_of
from ..at_point import cursor, iso, listed, missing, read_points_of
from ..endpoints import JSON, Answer, Ask, Form, endpoint
from ..interactive import answer_of
from ..limits import CHECK_TIME_S, INTERACTIVE_TIME_S
from ..models import MasksQuery, PageQuery, UploadQuery
from ..problems import ProblemError
from ..raw_files import RAW, is_raw
from ..store.ids import random_id
from ..store.jobs import Job
from ..store.surveys import (
    DOCUMENT,
    IMPORTED,
    MAPPING,
    accept_survey,
    add_survey,
    drop_survey,
    find_survey,
    find_surveys,
    survey_file,
)

_BOUNDS = ("site_values", "read_points", "rows", "passes")
_CASE = Form(
    {
        "reads.csv": True,
        "roster.csv": True,
        "site.json": True,
        "tried.csv": False,
        "passes.csv": False,
    }
)
_FILES = (*_CASE.parts, DOCUMENT, MAPPING, IMPORTED)


@endpoint(
    "POST",
    "/v1/surveys",
    gives={201: Survey},
    body=bytes,
    schema=CaseDocument,
    forms=(_CASE, RAW),
    query=UploadQuery,
    problems=("queue-full", "no-time"),
)
def upload(ask: Ask) -> Answer:
    """Store a survey, as one JSON document or as the files of a case, and check it; or make it of
    the raw log of a reader, a run sheet and a tag list, and tell what was assumed."""
    files = ask.files if ask.files is not None else {DOCUMENT: ask.body}
    database, new, limits = ask.service.database, ask.new_id("su"), ask.service.limits
    row = add_survey(database, new, ask.client, label=ask.query.label, files=files)
    if not row["summary"]:
        bounds = {name: getattr(limits, name) for name in _BOUNDS}
        kind = "import" if is_raw(files) else "check"
        job = Job(random_id("ck"), kind, row, "", {"bounds": bounds})
        try:
            summary = {"files": sorted(files)} | answer_of(ask, job, CHECK_TIME_S)
            row = accept_survey(database, new, summary)
        except Exception:
            drop_survey(database, ask.client, new)
            raise
    return Answer(_document(row), 201, {"Location": f"/v1/surveys/{new}"})


@endpoint("GET", "/v1/surveys", gives={200: page_of(Survey)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your surveys, newest first."""
    rows, following = find_surveys(ask.service.database, ask.client, ask.query.limit, cursor(ask))
    return Answer(listed([_document(row) for row in rows], following))


@endpoint("GET", "/v1/surveys/{survey_id}", gives={200: Survey})
def read(ask: Ask) -> Answer:
    """A survey with what check finds in it."""
    return Answer(_document(_mine(ask)))


@endpoint("GET", "/v1/surveys/{survey_id}/files/{name}", gives={200: Any}, media=("text/csv",))
def read_file(ask: Ask) -> Answer:
    """One file of a survey, exactly as it was given."""
    survey, name = _mine(ask), ask.path["name"]
    if name not in _FILES:
        raise missing("file")
    content = survey_file(ask.service.database, survey["id"], name)
    if content is None:
        raise missing("file")
    media = JSON if name.endswith(".json") else "text/csv; charset=utf-8"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Answer(content=content, media=media, headers=headers)


@endpoint(
    "GET",
    "/v1/surveys/{survey_id}/masks",
    gives={200: answer("MaskList")},
    query=MasksQuery,
    problems=("queue-full", "no-time"),
)
def masks(ask: Ask) -> Answer:
    """What the tags of a read point carry, and the masks that a strategy may choose from."""
    survey, name = _mine(ask), ask.query.read_point
    known = read_points_of(survey)
    points = [point for point in known if name in (None, point)]
    if len(points) != 1:
        todo = f"Known read points: {', '.join(known[:20])}."
        wrong = f'the survey has no read point "{name}"' if name else "is missing"
        raise InputError.one("query", name or "", todo, column="read_point", wrong=wrong)
    job = Job(ask.new_id("ma"), "masks", survey, points[0], {})
    return Answer(answer_of(ask, job, INTERACTIVE_TIME_S))


@endpoint("DELETE", "/v1/surveys/{survey_id}", gives={204: None}, problems=("in-use",))
def remove(ask: Ask) -> Answer:
    """Delete a survey. Answers that were drawn from it stay."""
    survey = _mine(ask)
    if not drop_survey(ask.service.database, ask.client, survey["id"]):
        raise ProblemError("in-use", "Jobs that are not finished need this survey.")
    return Answer(status=204)


def _mine(ask: Ask) -> RowMapping:
    row = find_survey(ask.service.database, ask.client, ask.path["survey_id"])
    if row is None:
        raise missing("survey")
    return row


def _document(row: RowMapping) -> dict[str, Any]:
    summary: dict[str, Any] = json.loads(row["summary"])
    found = {"id": row["id"], "label": row["label"], "created": iso(row["created"])}
    found["imported"] = None
    return found | {"digest": row["digest"]} | summary
