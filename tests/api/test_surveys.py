"""Surveys: both forms of upload, reading back, faults with their places, deletion."""

from __future__ import annotations

import json
from typing import Any

import pytest

from api.limits import Limits
from api.service import Service
from strategist import check, list_masks, read_case_document
from tests.api.given import Client, case_document, form
from tests.survey.cases import READS, ROSTER, SITE


def test_document_is_stored_and_checked(client: Client) -> None:
    given = json.dumps(case_document(points=2)).encode()
    made = client.post("/v1/surveys?label=first", given)
    assert made.status_code == 201
    assert made.json["label"] == "first"
    assert made.headers["Location"] == f"/v1/surveys/{made.json['id']}"
    case = read_case_document(given)
    assert made.json["read_points"] == check(case).to_json()["read_points"]
    assert client.get(made.headers["Location"]).json == made.json
    assert client.get(f"{made.headers['Location']}/files/survey.json").data == given


def test_files_of_a_case_come_back_as_given(client: Client) -> None:
    made = client.flask.post("/v1/surveys", data=form(), headers=client.headers())
    assert made.status_code == 201
    assert made.json["files"] == ["reads.csv", "roster.csv", "site.json"]
    back = client.get(f"/v1/surveys/{made.json['id']}/files/reads.csv")
    assert back.data == READS.encode()
    assert back.headers["Content-Disposition"].startswith("attachment")


def test_both_forms_say_the_same(client: Client) -> None:
    """The same survey has the same findings, whichever way it came."""
    read_point = json.loads(SITE)["read_points"]["gate"]
    document = {
        "site": {"site": "Test", "read_points": {"gate": read_point}},
        "reads": rows(READS),
        "roster": rows(ROSTER),
    }
    as_json = client.post("/v1/surveys", document).json
    as_files = client.flask.post("/v1/surveys", data=form(), headers=client.headers()).json
    assert as_json["read_points"] == as_files["read_points"]


def test_what_is_said_of_passes_goes_in_by_both_forms(client: Client) -> None:
    passes = "read_point,pass_id,condition,weight\ngate,p1,door open,2\ngate,p2,door shut,1\n"
    as_files = form(passes_csv=passes)
    made = client.flask.post("/v1/surveys", data=as_files, headers=client.headers())
    assert made.status_code == 201
    assert "passes.csv" in made.json["files"]
    back = client.get(f"/v1/surveys/{made.json['id']}/files/passes.csv")
    assert back.data == passes.encode()
    document = {"site": json.loads(SITE), "reads": rows(READS), "roster": rows(ROSTER)}
    as_json = client.post("/v1/surveys", document | {"passes": rows(passes)})
    assert as_json.status_code == 201
    wrong = client.post("/v1/surveys", document | {"passes": [{"pass_id": "p1", "weight": 0}]})
    assert wrong.status_code == 422


def rows(text: str) -> list[dict[str, Any]]:
    head, *lines = (line.split(",") for line in text.splitlines())
    return [dict(zip(head, line, strict=True)) for line in lines]


@pytest.mark.parametrize(
    ("place", "value", "pointer"),
    [
        (("reads", 1, "epc"), "30X", "/reads/1/epc"),
        (("reads", 0, "rssi_dbm"), 7, "/reads/0/rssi_dbm"),
        (("roster", 1, "role"), "foe", "/roster/1/role"),
        (("reads", 0, "power_dbm"), 17, "/reads/0/power_dbm"),
        (("reads", 0, "epc"), 3001, "/reads/0/epc"),
        (
            ("site", "read_points", "gate-1", "levels_dbm"),
            [99],
            "/site/read_points/gate-1/levels_dbm/0",
        ),
        (("site", "read_points", "gate-1", "stop"), 1, "/site/read_points/gate-1/stop"),
        (("extra",), 1, "/extra"),
        (("roster",), [], "/roster"),
    ],
)
def test_a_fault_names_its_place(
    client: Client, place: tuple[Any, ...], value: Any, pointer: str
) -> None:
    document: Any = case_document()
    within = document
    for part in place[:-1]:
        within = within[part]
    within[place[-1]] = value
    refused = client.post("/v1/surveys", document)
    assert refused.status_code == 422
    assert refused.json["faults"][0]["pointer"] == pointer


def test_faults_of_files_have_line_and_column(client: Client) -> None:
    bad = form(reads_csv=READS.replace("-60.5", "+60.5"), roster_csv=ROSTER.replace("stray", "foe"))
    refused = client.flask.post("/v1/surveys", data=bad, headers=client.headers())
    assert refused.status_code == 422
    found = {(fault["source"], fault["line"], fault["column"]) for fault in refused.json["faults"]}
    assert found == {("reads.csv", 4, "rssi_dbm"), ("roster.csv", 3, "role")}


def test_parts_of_the_form_are_judged(client: Client) -> None:
    bad = form(else_csv="x")
    del bad["site.json"]
    refused = client.flask.post("/v1/surveys", data=bad, headers=client.headers())
    assert refused.status_code == 422
    assert {fault["column"] for fault in refused.json["faults"]} == {"else.csv", "site.json"}


def test_masks_are_those_of_the_command(client: Client) -> None:
    """One read point: the only one, or the one that is named."""
    document = case_document(points=2)
    case = read_case_document(json.dumps(document).encode())
    path = f"/v1/surveys/{client.post('/v1/surveys', document).json['id']}/masks"
    found = client.get(f"{path}?read_point=gate-2")
    assert found.status_code == 200
    assert found.json == list_masks(case.read_points[1]).to_json()
    assert found.json["candidates"]
    assert client.get(f"{path}?read_point=gate-2", If_None_Match=found.headers["ETag"]).data == b""
    for query in ("", "?read_point=gate-3", "?read_point=", "?point=gate-1"):
        assert client.get(path + query).status_code == 422
    alone = client.post("/v1/surveys", case_document()).json["id"]
    assert client.get(f"/v1/surveys/{alone}/masks").json["read_point"] == "gate-1"


def test_limits(client: Client, service: Service) -> None:
    """Too large a body is 413, too many read points or passes 422."""
    service.limits = Limits(upload_bytes=20_000, read_points=2, passes=4)
    assert client.post("/v1/surveys", case_document(points=3)).status_code == 422
    assert client.post("/v1/surveys", case_document(passes=5)).status_code == 422
    too_large = client.post("/v1/surveys", b" " * 20_001)
    assert too_large.status_code == 413
    assert too_large.json["type"] == "/docs#problem-too-large"
    big = form(reads_csv=READS + " " * 20_000)
    refused = client.flask.post("/v1/surveys", data=big, headers=client.headers())
    assert refused.status_code == 413


def test_deletion(client: Client, survey: str) -> None:
    """A survey goes, unless a batch still needs it."""
    batch = client.post("/v1/batches", {"items": [{"survey": survey}]}).json["id"]
    assert client.delete(f"/v1/surveys/{survey}").status_code == 409
    client.delete(f"/v1/batches/{batch}")
    assert client.delete(f"/v1/surveys/{survey}").status_code == 204
    assert client.get(f"/v1/surveys/{survey}").status_code == 404


def test_pages(client: Client) -> None:
    """Pages hold each survey once, newest first, also when one is added meanwhile."""
    made = [client.post("/v1/surveys", case_document(shift=n)).json["id"] for n in range(5)]
    first = client.get("/v1/surveys?limit=2").json
    client.post("/v1/surveys", case_document(shift=9))
    second = client.get(f"/v1/surveys?limit=2&cursor={first['next']}").json
    third = client.get(f"/v1/surveys?limit=2&cursor={second['next']}").json
    assert [item["id"] for page in (first, second, third) for item in page["items"]] == made[::-1]
    assert third["next"] is None


@pytest.mark.parametrize("cursor", ["x", "MS4w", "é", "%00", "a" * 200])
def test_bad_cursor(client: Client, cursor: str) -> None:
    assert client.get(f"/v1/surveys?cursor={cursor}").status_code == 422
