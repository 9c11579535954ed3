"""Assessments: what `assess_fully` gives, in a worker, under one limit of time."""

from __future__ import annotations

import json
from typing import Any

import pytest

from strategist import assess_fully, read_case_document
from tests.api.given import Client, case_document


def without_seconds(result: dict[str, Any]) -> dict[str, Any]:
    return result | {"seconds": 0, "assessed_seconds": 0}


@pytest.mark.usefixtures("worker")
def test_assessment_is_what_the_library_gives(client: Client) -> None:
    """Twelve passes, so that some can be left out."""
    document = case_document(passes=12)
    survey = client.post("/v1/surveys", document).json["id"]
    made = client.post("/v1/assessments", {"survey": survey, "read_point": "gate-1", "label": "a"})
    assert made.status_code == 201, made.text
    (point,) = read_case_document(json.dumps(document).encode()).read_points
    expected = assess_fully(point).to_json()
    assert expected["cross_validation"]["folds"] == 5
    assert without_seconds(made.json["result"]) == without_seconds(expected)
    assert client.get(made.headers["Location"]).json == made.json
    assert client.get("/v1/assessments").json["items"] == [made.json]
    assert client.delete(made.headers["Location"]).status_code == 204
    assert client.get(made.headers["Location"]).status_code == 404


@pytest.mark.usefixtures("worker")
def test_without_unseen_tags(client: Client, survey: str) -> None:
    asked = {"survey": survey, "read_point": "gate-1", "options": {"unseen": False}}
    assert client.post("/v1/assessments", asked).json["result"]["unseen"] is None


def test_no_worker_no_assessment(
    client: Client, survey: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No assessment is made in the server; who waits in vain is told so in time."""
    monkeypatch.setattr("api.interactive.INTERACTIVE_GRACE_S", 0.1)
    asked = {"survey": survey, "read_point": "gate-1", "options": {"time_limit_s": 0.1}}
    refused = client.post("/v1/assessments", asked)
    assert refused.status_code == 429
    too_long = client.post("/v1/assessments", asked | {"options": {"time_limit_s": 31}})
    assert too_long.status_code == 422
