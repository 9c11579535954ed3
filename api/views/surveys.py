"""Surveys: uploaded, listed, read back, deleted."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import RowMapping

from api.answers import Survey, page_of
from api.at_point import cursor, iso, listed, missing
from api.endpoints import JSON, Answer, Ask, endpoint
from api.library import MaskListJson
from api.models import MasksQuery, PageQuery, UploadQuery
from api.problems import ProblemError
from api.store.surveys import (
    DOCUMENT,
    add_survey,
    drop_survey,
    find_survey,
    find_surveys,
    read_survey,
    survey_file,
)
from strategist import Case, CaseDocument, check, check_document, list_masks
from strategist.errors import Fault, InputError

_FORMS = {"reads.csv": True, "roster.csv": True, "site.json": True, "tried.csv": False}


@endpoint(
    "POST",
    "/v1/surveys",
    gives={201: Survey},
    body=bytes,
    schema=CaseDocument,
    forms=_FORMS,
    query=UploadQuery,
)
def upload(ask: Ask) -> Answer:
    """Store a survey, as one JSON document or as the files of a case, and check it."""
    files = ask.files if ask.files is not None else {DOCUMENT: ask.body}
    case = read_survey(files)
    _refuse_large(ask, case)
    summary = check_document(case, check(case)) | {"files": sorted(files)}
    label, new = ask.query.label, ask.new_id("su")
    row = add_survey(
        ask.service.database, new, ask.client, label=label, files=files, summary=summary
    )
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
    if name not in (*_FORMS, DOCUMENT):
        raise missing("file")
    content = survey_file(ask.service.database, survey["id"], name)
    if content is None:
        raise missing("file")
    media = JSON if name.endswith(".json") else "text/csv; charset=utf-8"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Answer(content=content, media=media, headers=headers)


@endpoint("GET", "/v1/surveys/{survey_id}/masks", gives={200: MaskListJson}, query=MasksQuery)
def masks(ask: Ask) -> Answer:
    """What the tags of a read point carry, and the masks that a strategy may choose from."""
    name = ask.query.read_point
    case = ask.service.cases.get(_mine(ask)["id"])
    if case is None:  # deleted since
        raise missing("survey")
    points = [point for point in case.read_points if name in (None, point.name)]
    if len(points) != 1:
        names = ", ".join(point.name for point in case.read_points[:20])
        allowed = f"one read point of the survey: {names}"
        raise InputError.one("query", name or "", allowed, column="read_point")
    return Answer(list_masks(points[0]).to_json())


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
    return found | {"digest": row["digest"]} | summary


def _refuse_large(ask: Ask, case: Case) -> None:
    limits, faults = ask.service.limits, []
    points = len(case.read_points)
    if points > limits.read_points:
        allowed = f"at most {limits.read_points:,} read points"
        faults.append(Fault("survey", None, "read_points", f"{points:,}", allowed))
    for point in case.read_points:
        passes = len(point.survey.pass_ids)
        if passes > limits.passes:
            allowed = f"at most {limits.passes:,} passes at a read point"
            faults.append(Fault("survey", None, point.name, f"{passes:,}", allowed))
    if faults:
        raise InputError(faults)
