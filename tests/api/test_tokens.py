"""Tokens: needed, hashed at rest, taken back; and no client ever sees what is another's."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select

from api.app import ENDPOINTS, create_app
from api.endpoints import Endpoint
from api.service import Service
from api.store.database import open_database, sqlite_url
from api.store.tables import tokens
from api.store.tokens import client_of, list_clients, remove_tokens
from api.worker import Worker
from tests.api.given import STRATEGY, Client, case_document
from tests.api.live import command, wait_until

CLOSED = [one for one in ENDPOINTS if one.needs_token]


@pytest.mark.parametrize("endpoint", CLOSED, ids=lambda one: one.name)
@pytest.mark.parametrize("given", [None, "Bearer x", "Basic eDp5", "Bearer", "Bearer \ud7ff"])
def test_no_token_no_answer(flask_client: FlaskClient, endpoint: Endpoint, given: str) -> None:
    path = re.sub(r"{(\w+)}", "su_" + 32 * "0", endpoint.path)
    headers = {} if given is None else {"Authorization": given.encode("utf-8").decode("latin-1")}
    refused = flask_client.open(path, method=endpoint.method, headers=headers)
    assert refused.status_code == 401
    assert refused.headers["WWW-Authenticate"].startswith("Bearer")


def test_token_is_hashed_at_rest_and_can_be_taken_back(client: Client, service: Service) -> None:
    with service.database.read() as connection:
        kept = list(connection.execute(select(tokens)).mappings())
    assert all(client.token not in str(row) for row in kept)
    assert client_of(service.database, client.token) == "planner"
    assert remove_tokens(service.database, "planner") == 1
    assert client.get("/v1/surveys").status_code == 401


def test_taking_back_one_clients_tokens_leaves_the_others(
    client: Client, other: Client, service: Service
) -> None:
    assert remove_tokens(service.database, "planner") == 1
    assert client.get("/v1/surveys").status_code == 401
    assert other.get("/v1/surveys").status_code == 200
    assert list_clients(service.database) == [("other", 1)]
    assert remove_tokens(service.database, "nobody") == 0


@pytest.fixture
def things(client: Client, survey: str, worker: Worker) -> dict[str, Any]:
    """One of each thing, all the first client's."""
    at = {"survey": survey, "read_point": "gate-1"}
    entries = [{"name": name, "strategy": STRATEGY} for name in "ab"]
    batch = client.post("/v1/batches", {"items": [{"survey": survey}]}).json["id"]
    wait_until(lambda: client.get(f"/v1/batches/{batch}").json["state"] == "done")
    asked = {
        "strategy_id": ("strategies", at),
        "assessment_id": ("assessments", at),
        "trade_offs_id": ("trade-offs", at | {"set": {"reader.mask_slots": 1}}),
        "plan_id": ("plans", at),
        "site_plan_id": ("site-plans", {"survey": survey}),
        "comparison_id": ("comparisons", at | {"entries": entries}),
        "acceptance_id": ("acceptances", at | {"strategy": STRATEGY}),
        "templates_id": ("templates", {"batch": batch}),
        "cross_reads_id": ("cross-reads", {"batch": batch}),
    }
    made = {
        name: client.post(f"/v1/{path}", body).json["id"] for name, (path, body) in asked.items()
    }
    return made | {"survey_id": survey, "batch_id": batch, "name": "survey.json"}


def bodies(things: dict[str, Any], strategy: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Every request that names things: the first client's survey, or its strategy."""
    at = {"survey": things["survey_id"], "read_point": "gate-1"}
    entries = [{"name": name} | strategy for name in "ab"]
    return {
        "/v1/strategies": at,
        "/v1/comparisons": at | {"entries": entries},
        "/v1/batches": {"items": [{"survey": things["survey_id"]}]},
        "/v1/settings": at | strategy | {"format": "gen2"},
        "/v1/assessments": at,
        "/v1/trade-offs": at,
        "/v1/plans": at,
        "/v1/site-plans": {"survey": things["survey_id"]},
        "/v1/acceptances": at | strategy,
        "/v1/templates": {"batch": things["batch_id"]},
        "/v1/cross-reads": {"batch": things["batch_id"]},
    }


def test_one_client_never_reads_anothers_data(
    client: Client, other: Client, things: dict[str, Any]
) -> None:
    """Every endpoint is walked with the other client's token and the first one's ids."""
    walked = set()
    for one in CLOSED:
        path = re.sub(r"{(\w+)}", lambda part: things[part[1]], one.path)
        if one.method == "POST":
            continue
        reply = other.flask.open(path, method=one.method, headers=other.headers())
        if "{" in one.path:
            assert reply.status_code == 404, path
        elif one.path in ("/v1/acceptance-plan", "/v1/lawful"):
            assert reply.status_code == 422, "it names nothing, and lacks its parameters"
        elif path.startswith("/v1/"):
            assert reply.json == {"items": [], "next": None}, path
        assert not any(thing in reply.text for key, thing in things.items() if key != "name")
        walked.add(one.name)
    for path, body in bodies(things, {"strategy": STRATEGY}).items():
        refused = other.post(path, body)
        assert refused.status_code == 422, path
        none = {"survey_id": "su_" + 32 * "0", "batch_id": "ba_" + 32 * "0"}
        nobodys = bodies(things | none, {"strategy": STRATEGY})
        unknown = other.post(path, nobodys[path])
        assert without_ids(refused.json) == without_ids(unknown.json), "tells what is not there"
        walked |= {one.name for one in CLOSED if (one.method, one.path) == ("POST", path)}
    walked |= {"surveys.upload", "figures.first_plan"}  # name nothing
    assert walked == {one.name for one in CLOSED}
    for one in CLOSED:
        if one.method == "GET" and "{" in one.path:
            path = re.sub(r"{(\w+)}", lambda part: things[part[1]], one.path)
            assert client.get(path).status_code == 200, f"{path}: it is still there"
    assert client.get(f"/v1/batches/{things['batch_id']}").json["state"] != "cancelled"


def test_anothers_strategy_cannot_be_named(other: Client, things: dict[str, Any]) -> None:
    """Not even with a survey of one's own."""
    own = other.post("/v1/surveys", case_document()).json["id"]
    given = bodies(things | {"survey_id": own}, {"strategy_id": things["strategy_id"]})
    for path in ("/v1/comparisons", "/v1/settings", "/v1/acceptances"):
        assert other.post(path, given[path]).status_code == 422
    against = {"survey": own, "read_point": "gate-1", "strategy": STRATEGY}
    refused = other.post("/v1/acceptances", against | {"against": things["survey_id"]})
    assert refused.status_code == 422, "nor is another's survey compared with"


def without_ids(problem: dict[str, Any]) -> str:
    return re.sub(r"[a-z]{2}_[0-9a-f]{32}|[0-9a-f]{16}", "…", str(problem))


def test_keys_of_one_client_are_not_anothers(client: Client, other: Client) -> None:
    mine = client.post("/v1/surveys", case_document(), Idempotency_Key="k")
    theirs = other.post("/v1/surveys", case_document(), Idempotency_Key="k")
    assert mine.json["id"] != theirs.json["id"]


def test_open_server_refuses_pages_of_other_origins(service: Service) -> None:
    """Without tokens, a web page must not reach the server through its visitor's browser."""
    service.open_to_all = True
    flask = create_app(service).test_client()
    assert flask.get("/v1/surveys").status_code == 200
    foreign = {"Origin": "http://evil.example"}
    assert flask.get("/v1/surveys", headers=foreign).status_code == 403
    assert flask.post("/v1/surveys", data={"a": "b"}, headers=foreign).status_code == 403
    assert flask.get("/v1/surveys", headers={"Host": "evil.example:8420"}).status_code == 403
    assert flask.get("/v1/surveys", headers={"Host": "[::1]:8420"}).status_code == 200


def run(data: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return command(*arguments, "--data", str(data))


def test_token_commands(tmp_path: Path) -> None:
    token = run(tmp_path / "d", "token", "add", "planner").stdout.strip()
    database = open_database(sqlite_url(tmp_path / "d"))
    assert client_of(database, token) == "planner"
    database.close()
    assert (tmp_path / "d").stat().st_mode & 0o077 == 0
    assert run(tmp_path / "d", "token", "list").stdout == "planner\t1\n"
    assert run(tmp_path / "d", "token", "remove", "planner").returncode == 0
    refused = run(tmp_path / "d", "token", "add", "a b")
    assert refused.returncode == 2
    assert '"a b" is not valid' in refused.stderr


def test_open_only_on_loopback(tmp_path: Path) -> None:
    refused = run(tmp_path, "--open", "--host", "0.0.0.0", "--port", "0")
    assert refused.returncode == 2
    assert "loopback" in refused.stderr
