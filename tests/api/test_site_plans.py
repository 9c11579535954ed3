"""The plan of a site by the API: that of the library, with the surveys of options by their ids."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from strategist import plan_site, read_case, read_options
from tests.api.given import Client
from tests.api.test_of_batch import upload

DOORS = Path(__file__).parent.parent.parent / "cases/two-doors"


@pytest.mark.usefixtures("worker")
def test_same_as_the_library(client: Client) -> None:
    site, screen = upload(client, DOORS), upload(client, DOORS / "with-screen")
    body = {"survey": site, "at_most": 2, "option_surveys": {"with-screen": screen}}
    made = client.post("/v1/site-plans", body | {"options": {"time_limit_s": 30}})
    assert made.status_code == 201, made.text
    case = read_case(DOORS)
    expected = plan_site(case, 2, options=read_options(DOORS, case)).to_json()
    expected = json.loads(json.dumps(expected))
    found = made.json["result"]
    assert set(found) == set(expected)
    for key in ("loss", "alone", "price", "settings", "read_points", "order", "notes"):
        assert found[key] == expected[key], key
    assert client.get(made.headers["Location"]).json == made.json
    assert client.get("/v1/site-plans").json["items"] == [made.json]
    assert client.delete(made.headers["Location"]).status_code == 204
    other = client.post("/v1/site-plans", body | {"option_surveys": {"with-screen": "su_0"}})
    assert other.status_code == 422, other.text
    assert other.json["faults"][0]["pointer"] == "/option_surveys/with-screen"
    assert client.post("/v1/site-plans", body | {"at_most": 0}).status_code == 422
