"""Strategies, evaluations, comparisons, settings: the library's own answers, stored."""

from __future__ import annotations

import json
import threading
from typing import Any

import pytest

from api.limits import Limits
from api.service import Service
from api.store.leases import claim
from api.worker import Worker
from strategist import (
    PowerTable,
    Side,
    Strategy,
    choose,
    compare,
    evaluate_at,
    read_case_document,
    settings_of,
)
from tests.api.given import STRATEGY, Client, case_document
from tests.api.live import wait_until


def gate() -> Any:
    return read_case_document(json.dumps(case_document()).encode()).read_points[0]


def at_gate(survey: str, **more: Any) -> dict[str, Any]:
    return {"survey": survey, "read_point": "gate-1", **more}


def test_strategy_is_what_choose_gives(client: Client, survey: str, worker: Worker) -> None:
    long = {"time_limit_s": 30}  # the longest: an answer cut short says what was not proven
    made = client.post("/v1/strategies", at_gate(survey, label="a", options=long))
    assert made.status_code == 201
    expected = choose(gate()).to_json()
    assert made.json["result"] | {"seconds": 0} == expected | {"seconds": 0}
    assert client.get(made.headers["Location"]).json == made.json
    assert client.get("/v1/strategies").json["items"] == [made.json]
    assert client.delete(made.headers["Location"]).status_code == 204
    assert client.get(made.headers["Location"]).status_code == 404


def test_a_comparison_of_one_is_its_evaluation(client: Client, survey: str) -> None:
    entries = [{"name": "given", "strategy": STRATEGY}]
    made = client.post("/v1/comparisons", at_gate(survey, entries=entries))
    assert made.status_code == 201
    (row,) = made.json["result"]["rows"]
    expected = evaluate_at(gate(), Strategy((15.0,))).to_json()
    assert {key: row[key] for key in expected if key != "read_point"} == {
        key: value for key, value in expected.items() if key != "read_point"
    }
    assert made.json["result"]["read_point"] == "gate-1"
    assert made.json["result"]["changes"] == []
    assert client.get(made.headers["Location"]).json == made.json


def test_stored_strategy_by_id(client: Client, survey: str, worker: Worker) -> None:
    strategy = client.post("/v1/strategies", at_gate(survey)).json
    entries = [{"name": "stored", "strategy_id": strategy["id"]}]
    made = client.post("/v1/comparisons", at_gate(survey, entries=entries))
    assert made.json["result"]["rows"][0]["strategy"] == strategy["result"]["strategy"]
    gen2 = client.post("/v1/settings", at_gate(survey, strategy_id=strategy["id"], format="gen2"))
    assert gen2.status_code == 200
    assert gen2.json["format"] == "gen2"


def test_settings_are_those_of_export(client: Client, survey: str) -> None:
    asked = at_gate(survey, strategy=STRATEGY, format="llrp")
    refused = client.post("/v1/settings", asked)
    assert refused.status_code == 422
    assert refused.json["faults"][0]["pointer"] == "/power_table"
    table = [{"index": 1, "power_dbm": 15}, {"index": 2, "power_dbm": 16}]
    found = client.post("/v1/settings", asked | {"power_table": table})
    assert found.status_code == 200
    powers = PowerTable(((1, 15.0), (2, 16.0)))
    assert found.json == settings_of(gate(), Strategy((15.0,)), "llrp", powers).to_json()


def test_comparison(client: Client, survey: str, worker: Worker) -> None:
    """Rows side by side, each with its loss under the read point's weights and under its own."""
    entries = [
        {"name": "low", "strategy": STRATEGY},
        {"name": "high", "strategy": STRATEGY | {"levels_dbm": [16]}},
        {"name": "strays matter", "loss": {"missed": 1, "stray": 50}},
    ]
    made = client.post("/v1/comparisons", at_gate(survey, entries=entries))
    assert made.status_code == 201
    rows = {row["name"]: row for row in made.json["result"]["rows"]}
    # By hand: at 15 dBm each wanted tag is read and no stray; at 16 dBm the three strays, too.
    assert (rows["low"]["loss"], rows["high"]["loss"]) == (0, 3)
    assert rows["strays matter"]["chosen"]
    assert rows["strays matter"]["weights"] == {"missed": 1, "stray": 50}
    assert made.json["result"]["least_loss"] == ["low", "strays matter"]
    found = compare(gate(), [Side("low", Strategy((15.0,))), Side("high", Strategy((16.0,)))])
    assert made.json["result"]["rows"][:2] == found.to_json()["rows"]
    assert made.json["result"]["changes"][:1] == found.to_json()["changes"]
    assert client.get(made.headers["Location"]).json == made.json


def razor_document() -> dict[str, Any]:
    """Ten passes with a wanted tag at −60 dBm, four of them with a stray half a dB below."""
    document = case_document(passes=10)
    names = {"levels_dbm": [16], "allow": ["power", "cutoff"], "reader": {"rssi_step_db": 0.1}}
    document["site"]["read_points"] = {"gate-1": names}
    document["reads"] = [
        row | {"rssi_dbm": -60 if row["epc"].startswith("30") else -60.5}
        for row in document["reads"]
        if row["power_dbm"] == 16 and (row["epc"].startswith("30") or row["pass_id"] < "p4")
    ]
    return document


def test_a_comparison_shows_the_sturdier_side_of_a_stored_result(
    client: Client, worker: Worker
) -> None:
    """As the command line does with a result's file: the cutoff half a dB below the wanted tags
    loses nothing, and all of them if they drift; without it four strays (p1, p10, p2, p3)."""
    survey = client.post("/v1/surveys", razor_document()).json["id"]
    stored = client.post("/v1/strategies", at_gate(survey)).json
    assert stored["result"]["sturdier"]["loss"] == 4
    entries = [
        {"name": "best", "strategy_id": stored["id"]},
        {"name": "bare", "strategy": STRATEGY | {"levels_dbm": [16]}},
    ]
    made = client.post("/v1/comparisons", at_gate(survey, entries=entries))
    assert made.status_code == 201, made.text
    rows = [(row["name"], row["loss"]) for row in made.json["result"]["rows"]]
    assert rows == [("best", 0), ("best, sturdier", 4), ("bare", 4)]


def test_fault_in_a_comparison_names_its_entry(client: Client, survey: str, worker: Worker) -> None:
    entries = [{"name": "a", "strategy": STRATEGY}, {"name": "b", "strategy": {"levels_dbm": [9]}}]
    refused = client.post("/v1/comparisons", at_gate(survey, entries=entries))
    assert refused.status_code == 422
    assert refused.json["faults"][0]["pointer"] == "/entries/1/strategy/levels_dbm/0"


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"read_point": "gate-9"}, "/read_point"),
        ({"survey": "su_" + 32 * "0"}, "/survey"),
        ({"survey": "x"}, "/survey"),
        ({"options": {"time_limit_s": 31}}, "/options/time_limit_s"),
        ({"options": {"time_limit_s": 0}}, "/options/time_limit_s"),
        ({"options": {"sed": 1}}, "/options/sed"),
        ({"label": "a\u0000b"}, "/label"),
    ],
)
def test_bad_requests_name_the_place(
    client: Client, survey: str, more: dict[str, Any], pointer: str
) -> None:
    refused = client.post("/v1/strategies", at_gate(survey) | more)
    assert refused.status_code == 422
    assert [fault["pointer"] for fault in refused.json["faults"]] == [pointer]


def test_a_whole_number_may_have_a_point(client: Client, survey: str, worker: Worker) -> None:
    """JSON Schema calls 3.0 an integer."""
    body = json.dumps(at_gate(survey, options={"seed": 3.0})).encode()
    assert client.post("/v1/strategies", body).json["request"]["options"]["seed"] == 3


def test_survey_that_cannot_be_solved(client: Client, worker: Worker) -> None:
    """What the policy refuses is said, with the key that names the survey."""
    document = case_document()
    document["tried"] = [
        {"read_point": "gate-1", "pass_id": f"p{n}", "power_dbm": level}
        for n in (1, 2, 3)
        for level in (15, 16)
        if (n, level) != (3, 15)
    ]
    document["reads"] = [
        row for row in document["reads"] if (row["pass_id"], row["power_dbm"]) != ("p3", 15)
    ]
    survey = client.post("/v1/surveys", document).json
    assert not survey["read_points"][0]["usable"]
    for path, body in (
        ("/v1/strategies", at_gate(survey["id"])),
        ("/v1/comparisons", at_gate(survey["id"], entries=[{"name": "a", "strategy": STRATEGY}])),
    ):
        refused = client.post(path, body)
        assert refused.status_code == 422
        assert refused.json["faults"][0]["pointer"] == "/survey"
        assert "p3 at 15 dBm" in refused.json["faults"][0]["allowed"]


def test_predicted_levels_reach_the_client(client: Client) -> None:
    """`predict_levels` in the site: a level between is evaluated, marked, and asked to survey."""
    document = case_document()
    policy = {"levels_dbm": [15, 15.5, 16], "predict_levels": True}
    document["site"]["read_points"]["gate-1"] = policy
    survey = client.post("/v1/surveys", document).json
    (checked,) = survey["read_points"]
    assert checked["usable"]
    assert "15.5 dBm" in checked["warnings"][0] and "predicted" in checked["warnings"][-1]
    given = STRATEGY | {"levels_dbm": [15.5]}
    entries = [{"name": "between", "strategy": given}]
    compared = client.post("/v1/comparisons", at_gate(survey["id"], entries=entries)).json
    (made,) = compared["result"]["rows"]
    point = read_case_document(json.dumps(document).encode()).read_points[0]
    expected = evaluate_at(point, Strategy((15.5,))).to_json()
    assert made["outcome"] == expected["outcome"] and made["warnings"] == expected["warnings"]
    assert made["predicted"]["steps_dbm"] == [15.5]
    assert made["outcome"]["predicted"]["wanted"] == 3
    settings = client.post(
        "/v1/settings", at_gate(survey["id"], strategy=given, format="gen2")
    ).json
    assert settings == settings_of(point, Strategy((15.5,)), "gen2").to_json()
    assert settings["levels"] == [{"power_dbm": 15.5, "lawful": None, "known": "predicted"}]
    assert "15.5 dBm was predicted" in settings["warnings"][0]


def test_too_many_who_wait(client: Client, survey: str, service: Service) -> None:
    service.limits = Limits(waiting_interactive=0)
    refused = client.post("/v1/strategies", at_gate(survey))
    assert refused.status_code == 429
    assert int(refused.headers["Retry-After"]) > 0


def test_no_worker_no_answer(client: Client, survey: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A client never waits longer than its limit and the grace; the job is cancelled then."""
    monkeypatch.setattr("api.interactive.INTERACTIVE_GRACE_S", 0.1)
    refused = client.post("/v1/strategies", at_gate(survey, options={"time_limit_s": 0.1}))
    assert refused.status_code == 429


def test_a_worker_that_is_too_slow(
    client: Client, survey: str, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It has the job, but brings nothing in time."""
    monkeypatch.setattr("api.interactive.INTERACTIVE_GRACE_S", 0.5)

    def take() -> None:
        wait_until(lambda: claim(service.database, "slow") is not None)

    thread = threading.Thread(target=take)
    thread.start()
    refused = client.post("/v1/strategies", at_gate(survey, options={"time_limit_s": 1}))
    thread.join()
    assert refused.status_code == 503
    assert refused.json["type"] == "/docs#problem-no-time"


def test_etag(client: Client, survey: str) -> None:
    first = client.get(f"/v1/surveys/{survey}")
    again = client.get(f"/v1/surveys/{survey}", If_None_Match=first.headers["ETag"])
    assert again.status_code == 304
    assert again.data == b""
    assert client.get(f"/v1/surveys/{survey}", If_None_Match='"x"').status_code == 200
