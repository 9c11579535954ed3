"""Acceptance: the plan, the run, and what has moved; the library's own answers."""

from __future__ import annotations

import json
from typing import Any

import pytest

from strategist import Strategy, accept, plan_acceptance, read_case_document
from tests.api.given import STRATEGY, Client, case_document


def test_plan_is_that_of_the_command(client: Client) -> None:
    """59 passes without a miss show 5 % with 95 % confidence: 0.95^59 < 0.05 < 0.95^58."""
    found = client.get("/v1/acceptance-plan?miss_rate_max=0.05")
    assert found.status_code == 200
    assert found.json["passes"] == 59
    assert found.json == plan_acceptance(0.05).to_json()
    other = client.get("/v1/acceptance-plan?miss_rate_max=0.1&confidence=0.9&allowed_failures=1")
    assert other.json == plan_acceptance(0.1, 0.9, 1).to_json()


@pytest.mark.parametrize(
    "query",
    [
        "",
        "?miss_rate_max=0",
        "?miss_rate_max=1",
        "?miss_rate_max=nan",
        "?miss_rate_max=0.1&confidence=0.4",
        "?miss_rate_max=0.1&allowed_failures=1001",
        "?miss_rate_max=0.1&allowed_failures=0.5",
        "?miss_rate_max=0.1&rate=1",
    ],
)
def test_a_plan_out_of_range(client: Client, query: str) -> None:
    refused = client.get(f"/v1/acceptance-plan{query}")
    assert refused.status_code == 422
    assert refused.json["faults"][0]["source"] == "query"


def gate(shift: int, passes: int) -> Any:
    document = json.dumps(case_document(passes=passes, shift=shift)).encode()
    return read_case_document(document).read_points[0]


@pytest.mark.usefixtures("worker")
def test_run_is_what_accept_gives(client: Client) -> None:
    """A new survey in which every wanted tag has become 6 dB weaker than it was."""
    old, new = (
        client.post("/v1/surveys", case_document(passes=8, shift=shift)).json["id"]
        for shift in (0, 6)
    )
    at = {"survey": new, "read_point": "gate-1", "strategy": STRATEGY}
    asked = at | {"against": old, "miss_rate_max": 0.5, "confidence": 0.9}
    made = client.post("/v1/acceptances", asked)
    assert made.status_code == 201, made.text
    strategy = Strategy((15.0,))
    expected = accept(gate(6, 8), strategy, 0.5, 0.9, gate(0, 8)).to_json()
    assert made.json["result"] == expected
    assert expected["verdict"] == "accepted"
    assert expected["drift"]["moved"] > 0
    assert client.get(made.headers["Location"]).json == made.json
    assert client.get("/v1/acceptances").json["items"] == [made.json]
    alone = client.post("/v1/acceptances", at).json["result"]
    assert alone == accept(gate(6, 8), strategy).to_json()
    assert alone["verdict"] == "inconclusive"
    assert alone["drift"] is None
    assert client.delete(made.headers["Location"]).status_code == 204


@pytest.mark.usefixtures("worker")
@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"against": "su_" + 32 * "0"}, "/against"),
        ({"miss_rate_max": 0}, "/miss_rate_max"),
        ({"confidence": 1}, "/confidence"),
        ({"rate": 0.1}, "/rate"),
        ({"strategy": STRATEGY | {"levels_dbm": [9]}}, "/strategy/levels_dbm/0"),
        ({"strategy_id": "st_" + 32 * "0"}, ""),
    ],
)
def test_faults_name_the_place(
    client: Client, survey: str, more: dict[str, Any], pointer: str
) -> None:
    at = {"survey": survey, "read_point": "gate-1", "strategy": STRATEGY}
    refused = client.post("/v1/acceptances", at | more)
    assert refused.status_code == 422
    assert [fault["pointer"] for fault in refused.json["faults"]] == [pointer]


def test_the_older_survey_needs_the_read_point(client: Client, survey: str) -> None:
    document = json.dumps(case_document()).replace("gate-1", "gate-7").encode()
    against = client.post("/v1/surveys", document).json["id"]
    at = {"survey": survey, "read_point": "gate-1", "strategy": STRATEGY, "against": against}
    refused = client.post("/v1/acceptances", at)
    assert refused.status_code == 422
    assert refused.json["faults"][0]["pointer"] == "/against"
