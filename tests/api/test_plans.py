"""Plans of measurements at the API: first and next, and the run sheet."""

from __future__ import annotations

import json
from typing import Any

import strategist
from api.worker import Worker
from strategist.survey.policy import Limits
from tests.api.given import Client, case_document


def in_part() -> dict[str, Any]:
    """A survey one of whose passes was not tried at any level."""
    document = case_document()
    tried = [
        {"read_point": "gate-1", "pass_id": f"p{number}", "power_dbm": level}
        for number in (1, 2)
        for level in (15, 16)
    ]
    document["reads"] = [row for row in document["reads"] if row["pass_id"] != "p3"]
    return document | {"tried": tried}


def test_a_plan_is_that_of_the_library_and_has_its_sheet(client: Client, worker: Worker) -> None:
    document = in_part()
    survey = client.post("/v1/surveys", document).json["id"]
    asked = {"survey": survey, "read_point": "gate-1", "minutes_a_pass": 2}
    made = client.post("/v1/plans", asked)
    assert made.status_code == 201, made.text
    (point,) = strategist.read_case_document(json.dumps(document).encode()).read_points
    plan = strategist.plan_survey(point, effort=strategist.Effort(2.0, 5.0))
    assert made.json["result"] == plan.to_json()
    assert [row["pass_id"] for row in made.json["result"]["run_sheet"]] == ["p3"]
    sheet = client.get(f"/v1/plans/{made.json['id']}/sheet", Accept="text/html")
    assert sheet.mimetype == "text/html" and sheet.text.count('class="box"') == 2
    assert client.get("/v1/plans").json["items"][0]["id"] == made.json["id"]
    refused = client.post("/v1/plans", asked | {"within": -1})
    assert refused.status_code == 422
    assert refused.json["faults"][0]["pointer"] == "/within"


def test_a_first_plan_needs_no_survey(client: Client) -> None:
    policy = {"levels_dbm": [15, 20, 25, 30], "limits": {"missed_rate_max": 0.1}}
    given = {"read_point": "bay-1", "policy": policy}
    found = client.post("/v1/first-plans", given)
    assert found.status_code == 200, found.text
    known = strategist.plan_first_survey(
        strategist.Policy(levels_dbm=(15.0, 20.0, 25.0, 30.0), limits=Limits(missed_rate_max=0.1)),
        "bay-1",
    )
    assert found.json == known.to_json()
    refused = client.post("/v1/first-plans", {"read_point": "bay-1", "policy": {}})
    assert refused.status_code == 422
    assert refused.json["faults"][0]["pointer"] == "/policy/levels_dbm"
