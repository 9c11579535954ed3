"""One form for every error, idempotency keys, headers, and what never leaves the server."""

from __future__ import annotations

import json
import logging
import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.app import ENDPOINTS
from api.endpoints import Endpoint
from api.problems import KINDS
from api.service import Service
from api.store.database import FullStoreError, StoreError
from api.store.keys import begin, free_keys
from api.worker import Worker
from tests.api.given import Client, case_document, form

POSTS = [one for one in ENDPOINTS if one.method == "POST"]
NOWHERE = "su_" + 32 * "0"


def is_problem(reply: Any, status: int, kind: str) -> None:
    assert reply.status_code == status, reply.text
    assert reply.mimetype == "application/problem+json"
    found = reply.json
    assert found["type"] == f"/docs#problem-{kind}"
    assert (found["status"], found["title"]) == (status, KINDS[kind].title)
    assert found["request_id"] == reply.headers["X-Request-Id"]
    assert found["detail"]
    for fault in found.get("faults", ()):
        assert re.fullmatch(r"(/([^~/]|~[01])*)*", fault["pointer"])
        assert {"source", "line", "column", "found", "allowed", "detail"} < set(fault)


@pytest.mark.parametrize("endpoint", POSTS, ids=lambda one: one.name)
def test_bodies_of_every_post(client: Client, endpoint: Endpoint) -> None:
    """Malformed is 400, another type 415, too large 413, anything else 422."""
    path = endpoint.path
    is_problem(client.post(path, b"{"), 400, "malformed")
    is_problem(client.post(path, b'{"a":1,"a":2}'), 400, "malformed")
    is_problem(client.post(path, b"\xff"), 400, "malformed")
    is_problem(client.post(path, 100_000 * b"["), 400, "malformed")
    is_problem(client.post(path, b"{}", Content_Type="text/plain"), 415, "media-type")
    is_problem(client.post(path, b"{}"), 422, "invalid")
    is_problem(client.post(path, b"[]"), 422, "invalid")
    is_problem(client.post(path, b'{"\\ud800":1}'), 422, "invalid")
    is_problem(client.post(path + "?a=1", b"{}"), 422, "invalid")
    if not endpoint.forms:
        is_problem(client.post(path, b" " * (2**20 + 1)), 413, "too-large")


@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda one: one.name)
def test_wrong_method_and_unknown_thing(client: Client, endpoint: Endpoint) -> None:
    path = re.sub(r"{(\w+)}", NOWHERE, endpoint.path)
    refused = client.flask.put(path, headers=client.headers())
    is_problem(refused, 405, "method")
    assert endpoint.method in refused.headers["Allow"]
    if "{" in endpoint.path:
        known = client.flask.open(path, method=endpoint.method, headers=client.headers())
        is_problem(known, 404, "not-found")
        odd = endpoint.path.replace("{", "").replace("}", "%00'")
        is_problem(
            client.flask.open(odd, method=endpoint.method, headers=client.headers()),
            404,
            "not-found",
        )


def test_unknown_path(client: Client) -> None:
    is_problem(client.get("/v1/nothing"), 404, "not-found")
    is_problem(client.get("/v1/surveys/"), 404, "not-found")


def test_query_is_judged(client: Client) -> None:
    for query in ("limit=0", "limit=101", "limit=x", "limt=1", "limit=1&limit=2"):
        is_problem(client.get(f"/v1/surveys?{query}"), 422, "invalid")


def test_a_key_makes_one_thing(client: Client) -> None:
    given = case_document()
    first = client.post("/v1/surveys", given, Idempotency_Key="k1")
    again = client.post("/v1/surveys", given, Idempotency_Key="k1")
    assert (again.status_code, again.data) == (201, first.data)
    assert again.headers["Location"] == first.headers["Location"]
    assert again.headers["Idempotency-Replayed"] == "true"
    assert len(client.get("/v1/surveys").json["items"]) == 1
    other = client.post("/v1/surveys", case_document(shift=1), Idempotency_Key="k1")
    is_problem(other, 422, "other-key")
    path = client.post("/v1/batches", {"items": [{"survey": NOWHERE}]}, Idempotency_Key="k1")
    is_problem(path, 422, "other-key")
    is_problem(client.post("/v1/surveys", given, Idempotency_Key="é"), 422, "invalid")


def test_a_form_sent_again_has_another_boundary(client: Client) -> None:
    headers = client.headers(Idempotency_Key="f")
    ids = {
        client.flask.post("/v1/surveys", data=form(), headers=headers).json["id"] for _ in range(2)
    }
    assert len(ids) == 1


def test_a_refused_request_gives_its_key_back(client: Client) -> None:
    bad = {"items": [{"survey": NOWHERE}]}
    is_problem(client.post("/v1/batches", bad, Idempotency_Key="r"), 422, "invalid")
    assert client.post("/v1/surveys", case_document(), Idempotency_Key="r").status_code == 201


def test_a_key_in_progress_is_busy(
    client: Client, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Until the server that took it is known to be gone; then the same things are made again."""
    monkeypatch.setattr("api.app.digest_of_request", lambda *_: "d")
    held = begin(service.database, "planner", "p", path="/v1/surveys", digest="d")
    assert held.state == "new"
    busy = client.post("/v1/surveys", case_document(), Idempotency_Key="p")
    is_problem(busy, 409, "busy-key")
    free_keys(service.database)
    made = client.post("/v1/surveys", case_document(), Idempotency_Key="p")
    assert made.status_code == 201


def test_work_cut_off_before_its_key_was_completed_is_found(
    client: Client, service: Service, survey: str, worker: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if the server had been killed between storing a batch and answering."""
    body = {"items": [{"survey": survey}]}
    at = {"survey": survey, "read_point": "gate-1"}
    with monkeypatch.context() as cut:
        cut.setattr("api.app.complete_key", lambda *_, **__: None)
        cut_off = client.post("/v1/batches", body, Idempotency_Key="c").json["id"]
        solved = client.post("/v1/strategies", at, Idempotency_Key="s").json["id"]
        stored = client.post("/v1/surveys", case_document(), Idempotency_Key="u").json["id"]
    free_keys(service.database)
    assert client.post("/v1/batches", body, Idempotency_Key="c").json["id"] == cut_off
    assert client.post("/v1/strategies", at, Idempotency_Key="s").json["id"] == solved
    again = client.post("/v1/surveys", case_document(), Idempotency_Key="u")
    assert again.json["id"] == stored
    assert len(client.get("/v1/batches").json["items"]) == 1
    assert len(client.get("/v1/surveys").json["items"]) == 2


def test_headers(client: Client) -> None:
    reply = client.get("/v1", X_Request_Id="mine-1")
    assert reply.headers["X-Request-Id"] == "mine-1"
    assert client.get("/v1", X_Request_Id="a b\tc").headers["X-Request-Id"] != "a b\tc"
    for name in ("X-Content-Type-Options", "X-Frame-Options", "Content-Security-Policy"):
        assert name in reply.headers
    assert "default-src 'none'" in reply.headers["Content-Security-Policy"]


@pytest.mark.parametrize(
    ("error", "status", "kind"),
    [
        (StoreError("locked"), 503, "unavailable"),
        (FullStoreError("disk is full"), 507, "full-store"),
        (OSError(28, "No space left on device"), 507, "full-store"),
        (ZeroDivisionError("secret 3034"), 500, "internal"),
    ],
)
def test_trouble_inside(
    client: Client,
    monkeypatch: pytest.MonkeyPatch,
    error: Exception,
    status: int,
    kind: str,
) -> None:
    """The client learns a fixed text and the id under which the log has the place."""

    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr("api.views.surveys.add_survey", fail)
    refused = client.post("/v1/surveys", case_document(), Idempotency_Key="t")
    is_problem(refused, status, kind)
    assert "secret" not in refused.text
    monkeypatch.undo()
    assert client.post("/v1/surveys", case_document(), Idempotency_Key="t").status_code == 201


def test_logs_name_the_request_and_nothing_of_a_survey(
    client: Client, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, logger="api"):
        client.post("/v1/surveys?label=secret", case_document(), X_Request_Id="r-7")
    (record,) = [record for record in caplog.records if record.getMessage() == "request"]
    said = json.dumps({k: str(v) for k, v in vars(record).items()})
    assert vars(record)["request_id"] == "r-7"
    assert vars(record)["client"] == "planner"
    assert "gate-1" not in said
    assert "secret" not in said


def test_metrics_and_health(client: Client, flask_client: FlaskClient, service: Service) -> None:
    assert flask_client.get("/healthz").json == {"status": "ok"}
    assert flask_client.get("/readyz").status_code == 200
    text = client.get("/metrics").text
    assert 'strategist_requests_total{endpoint="documents.ready",status="200"} 1' in text
    assert 'strategist_jobs{state="waiting"} 0' in text
    service.stopping.set()
    assert flask_client.get("/readyz").status_code == 503
    is_problem(client.post("/v1/surveys", case_document()), 503, "stopping")
    assert client.get("/v1/surveys").status_code == 200
