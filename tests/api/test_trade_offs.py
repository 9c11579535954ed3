"""Trade-offs in their three views: the library's own answers, made by a worker and stored."""

from __future__ import annotations

import json
from typing import Any

import pytest

from strategist import (
    Options,
    ReadPoint,
    compare_techniques,
    read_case_document,
    trace_frontier,
    usual_what_ifs,
    what_if,
)
from tests.api.given import Client, case_document
from tests.api.live import wait_until

QUICK = Options(unseen=False)
CHANGES = {"reader.mask_slots": 1, "loss": {"missed": 2, "stray": 3}}


def gate() -> ReadPoint:
    return read_case_document(json.dumps(case_document()).encode()).read_points[0]


def at_gate(survey: str, **more: Any) -> dict[str, Any]:
    return {"survey": survey, "read_point": "gate-1", **more}


def timeless(document: Any) -> Any:
    """The document without what a clock says: seconds, and the request with its time limit."""
    if isinstance(document, dict):
        return {key: timeless(value) for key, value in document.items() if key != "seconds"}
    return [timeless(one) for one in document] if isinstance(document, list) else document


@pytest.mark.usefixtures("worker")
@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, lambda: trace_frontier(gate())),
        ({"view": "counts"}, lambda: trace_frontier(gate())),
        (
            {"view": "techniques", "options": {"seed": 1}},
            lambda: compare_techniques(gate()),
        ),
        ({"set": CHANGES}, lambda: what_if(gate(), CHANGES, options=QUICK)),
        (
            {"added_cable_loss_db": 1},
            lambda: what_if(gate(), {}, added_cable_loss_db=1.0, options=QUICK),
        ),
        (
            {"view": "counts", "set": {"allow": ["cutoff"]}},
            lambda: trace_frontier(gate(), sets={"allow": ["cutoff"]}),
        ),
        ({"view": "changes"}, lambda: usual_what_ifs(gate(), QUICK)),
    ],
)
def test_same_as_the_library(
    client: Client, survey: str, more: dict[str, Any], expected: Any
) -> None:
    made = client.post("/v1/trade-offs", at_gate(survey, label="a", **more))
    assert made.status_code == 201, made.text
    assert timeless(made.json["result"]) == timeless(expected().to_json())
    assert made.json["label"] == "a" and made.json["survey"] == survey
    asked = made.json["request"]
    assert {key: asked[key] for key in more if key != "options"} == {
        key: value for key, value in more.items() if key != "options"
    }
    assert client.get(made.headers["Location"]).json == made.json
    assert client.get("/v1/trade-offs").json["items"] == [made.json]
    assert client.delete(made.headers["Location"]).status_code == 204
    assert client.get(made.headers["Location"]).status_code == 404


@pytest.mark.usefixtures("worker")
@pytest.mark.parametrize(
    ("more", "pointer", "said"),
    [
        ({"set": {"reader.mask_slot": 1}}, "/set/reader.mask_slot", 'nearest: "mask_slots"'),
        ({"set": {"reader": {"mask_slot": 1}}}, "/set/reader/mask_slot", 'nearest: "mask_slots"'),
        ({"set": {"stop_after": 2, "loss.missed": -1}}, "/set/loss.missed", "from 0.001"),
        ({"set": {"loss.missed.most": 3}}, "/set/loss.missed.most", "holds a value"),
        ({"set": {"loss": 3}}, "/set/loss", "object"),
        ({"set": {"unlisted": "ignore"}}, "/set/unlisted", "site.json"),
        ({"set": {"levels_dbm": [9]}}, "/set/levels_dbm", "surveyed levels: 15, 16"),
        ({"set": {"reader.mask_slots": 3}}, "/set", "no key differs"),
        ({"added_cable_loss_db": 40.25}, "/added_cable_loss_db", "surveyed level"),
        ({"added_cable_loss_db": 61}, "/added_cable_loss_db", "from -60 to 60"),
        ({"set": {"": 1}}, "/set", "1 to 100 characters"),
        ({"set": {f"k{n}": n for n in range(51)}}, "/set", "at most 50"),
        ({"options": {"unseen": True}}, "/options/unseen", "method"),
        ({"view": "techniques", "set": {"stop_after": 2}}, "/view", "changes"),
        ({"view": "all"}, "/view", "counts"),
    ],
)
def test_a_change_that_is_none_names_its_place(
    client: Client, survey: str, more: dict[str, Any], pointer: str, said: str
) -> None:
    refused = client.post("/v1/trade-offs", at_gate(survey, **more))
    assert refused.status_code == 422, refused.text
    (fault,) = refused.json["faults"]
    assert fault["pointer"].startswith(pointer)
    assert said in fault["detail"]


@pytest.mark.parametrize("value", [b"1e999", b'"\\ud800"', b"NaN"])
def test_a_value_that_json_cannot_hold(client: Client, survey: str, value: bytes) -> None:
    body = json.dumps(at_gate(survey, set={"loss.missed": 0})).encode()
    refused = client.post("/v1/trade-offs", body.replace(b": 0", b": " + value))
    assert refused.status_code in (400, 422), refused.text


@pytest.mark.usefixtures("worker")
def test_the_limit_is_for_the_whole_answer(
    client: Client, survey: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[Options] = []

    def note(point: ReadPoint, options: Options) -> Any:
        given.append(options)
        return compare_techniques(point, options)

    monkeypatch.setattr("strategist.compare_techniques", note)
    asked = at_gate(survey, options={"time_limit_s": 2.5, "seed": 4, "method": "search"})
    assert client.post("/v1/trade-offs", asked | {"view": "techniques"}).status_code == 201
    assert given == [Options(seed=4, method="search", total_limit_s=2.5, unseen=False)]


@pytest.mark.usefixtures("worker")
def test_an_answer_can_be_asked_for_later(client: Client, survey: str) -> None:
    """202 at once with the place of the answer, which is how far it is until it is there."""
    asked = at_gate(survey, view="techniques")
    begun = client.post("/v1/trade-offs", asked, Prefer="wait=1, respond-async")
    assert begun.status_code == 202 and begun.json.keys() == {"id", "state", "progress"}
    assert begun.headers["Preference-Applied"] == "respond-async"
    place = begun.headers["Location"]
    wait_until(lambda: client.get(place).status_code != 202)
    assert timeless(client.get(place).json["result"]) == timeless(
        compare_techniques(gate()).to_json()
    )
    wrong = client.post(
        "/v1/trade-offs", at_gate(survey, set={"stop_after": 0}), Prefer="respond-async"
    )
    refused = wrong.headers["Location"]
    wait_until(lambda: client.get(refused).status_code != 202)
    assert client.get(refused).status_code == 422 and client.get(refused).json["faults"]
    assert [one["id"] for one in client.get("/v1/trade-offs").json["items"]] == [begun.json["id"]]
