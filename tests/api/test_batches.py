"""Batches: accepted, solved by workers, read in three forms, cancelled, and never done twice."""

from __future__ import annotations

import csv
import io
import json
import re
import time
from typing import Any

from sqlalchemy import select, update

from api.limits import Limits
from api.service import Service
from api.store.leases import ATTEMPTS_MAX, claim, finish, held, release, sweep, take_back_all
from api.store.tables import jobs
from api.worker import Worker
from strategist import GivenResult, report_document, report_page
from tests.api.given import Client, case_document
from tests.api.live import wait_until


def submitted(client: Client, points: int, **more: Any) -> dict[str, Any]:
    survey = client.post("/v1/surveys", case_document(points)).json["id"]
    made = client.post("/v1/batches", {"items": [{"survey": survey}], **more})
    assert made.status_code == 202
    assert int(made.headers["Retry-After"]) > 0
    assert made.headers["Location"] == f"/v1/batches/{made.json['id']}"
    return dict(made.json)


def test_batch_is_solved(client: Client, worker: Worker) -> None:
    batch = submitted(client, 3, label="all gates")
    path = f"/v1/batches/{batch['id']}"
    assert batch["total"] == 3
    wait_until(lambda: client.get(path).json["state"] == "done")
    assert client.get("/v1/batches").json["items"][0] == client.get(path).json
    first = client.get(f"{path}/results?limit=2").json
    rest = client.get(f"{path}/results?limit=2&cursor={first['next']}").json
    rows = first["items"] + rest["items"]
    assert rest["next"] is None
    assert [row["read_point"] for row in rows] == ["gate-1", "gate-2", "gate-3"]
    assert all(row["result"]["status"] == "optimal" for row in rows)
    alone = client.get(f"/v1/strategies/{rows[0]['strategy']}").json
    assert alone["result"] == rows[0]["result"]
    assert client.delete(f"/v1/strategies/{alone['id']}").status_code == 409


def test_results_as_lines_while_they_come(client: Client, worker: Worker) -> None:
    batch = submitted(client, 3)
    lines = client.get(f"/v1/batches/{batch['id']}/results", Accept="application/x-ndjson")
    assert lines.mimetype == "application/x-ndjson"
    rows = [json.loads(line) for line in lines.data.splitlines()]
    assert sorted(row["position"] for row in rows) == [0, 1, 2]


def test_results_as_csv_hold_no_formula(client: Client, worker: Worker) -> None:
    document = case_document()
    text = json.dumps(document).replace("gate-1", "=1+1")
    survey = client.post("/v1/surveys", text.encode()).json["id"]
    batch = client.post("/v1/batches", {"items": [{"survey": survey}]}).json["id"]
    path = f"/v1/batches/{batch}"
    wait_until(lambda: client.get(path).json["state"] == "done")
    table = list(csv.DictReader(io.StringIO(client.get(f"{path}/results", Accept="text/csv").text)))
    assert table[0]["read_point"] == "'=1+1"
    assert table[0]["status"] == "optimal"


def test_results_as_a_page_are_those_of_report(client: Client, worker: Worker) -> None:
    batch = submitted(client, 2)
    path = f"/v1/batches/{batch['id']}"
    wait_until(lambda: client.get(path).json["state"] == "done")
    rows = client.get(f"{path}/results").json["items"]
    given = [
        GivenResult("", row["survey"], row["read_point"], row["result"], None, "Test")
        for row in rows
    ]
    page = client.get(f"{path}/results", Accept="text/html")
    assert page.mimetype == "text/html"
    (day,) = re.findall(r'data-path="/made_on">([0-9-]{10})<', page.text)
    assert page.text == report_page(report_document(given, made_on=day))


def test_streams_are_bounded(client: Client, service: Service) -> None:
    batch = submitted(client, 1)
    path, lines = f"/v1/batches/{batch['id']}/results", "application/x-ndjson"
    for _ in range(service.limits.streams):
        assert service.streams.take("planner")
    assert client.get(path, Accept=lines).status_code == 429
    service.streams.leave("planner")
    client.delete(f"/v1/batches/{batch['id']}")
    for _ in range(3):  # a stream that ended gives its place back
        assert client.get(path, Accept=lines).status_code == 200


def test_cancel(client: Client, service: Service) -> None:
    """What is solved stays, the rest is cancelled, and the worker at it learns that."""
    batch = submitted(client, 3)
    path = f"/v1/batches/{batch['id']}"
    row = claim(service.database, "w1")
    assert row is not None
    assert finish(service.database, row["id"], "w1", result={"read_point": "gate-1"})
    running = claim(service.database, "w1")
    assert running is not None
    assert held(service.database, ["w1"]) == {"w1": (running["id"], False, False)}
    assert client.delete(path).json["state"] == "cancelled"
    counts = client.get(path).json["counts"]
    assert counts == {"waiting": 0, "running": 0, "done": 1, "failed": 0, "cancelled": 2}
    assert held(service.database, ["w1"]) == {"w1": (running["id"], True, False)}
    assert not finish(service.database, running["id"], "w1", result={})
    assert held(service.database, ["w1"]) == {}, "it has let go"
    assert client.delete(path).status_code == 200


def test_full_queue(client: Client, service: Service, survey: str) -> None:
    service.limits = Limits(waiting_batch=1)
    items = {"items": [{"survey": survey}]}
    assert client.post("/v1/batches", items).status_code == 202
    refused = client.post("/v1/batches", items)
    assert refused.status_code == 429
    assert len(client.get("/v1/batches").json["items"]) == 1


def test_faults_name_the_item(client: Client, survey: str) -> None:
    items = [{"survey": survey}, {"survey": survey, "read_points": ["gate-1", "gate-7"]}]
    refused = client.post("/v1/batches", {"items": items})
    assert refused.status_code == 422
    assert refused.json["faults"][0]["pointer"] == "/items/1/read_points/1"


def test_a_bad_read_point_does_not_end_the_batch(client: Client, worker: Worker) -> None:
    """The search alone cannot list the chains of some; here a pair was not surveyed."""
    document = case_document(2)
    document["tried"] = [
        {"read_point": f"gate-{gate}", "pass_id": f"p{n}", "power_dbm": level}
        for gate in (1, 2)
        for n in (1, 2, 3)
        for level in (15, 16)
        if (gate, n, level) != (1, 3, 15)
    ]
    document["reads"] = [
        row
        for row in document["reads"]
        if (row["read_point"], row["pass_id"], row["power_dbm"]) != ("gate-1", "p3", 15)
    ]
    survey = client.post("/v1/surveys", document).json["id"]
    path = f"/v1/batches/{client.post('/v1/batches', {'items': [{'survey': survey}]}).json['id']}"
    wait_until(lambda: client.get(path).json["state"] == "done")
    rows = client.get(f"{path}/results").json["items"]
    assert [row["state"] for row in rows] == ["failed", "done"]
    assert rows[0]["error"]["faults"][0]["column"] == "read_points.gate-1.untried"


def state_of(service: Service, job_id: str) -> tuple[str, int]:
    with service.database.read() as connection:
        found = select(jobs.c.state, jobs.c.attempts).where(jobs.c.id == job_id)
        row = connection.execute(found).one()
        return row[0], row[1]


def test_a_job_that_ends_its_workers_is_given_up(client: Client, service: Service) -> None:
    submitted(client, 1)
    for attempt in range(1, ATTEMPTS_MAX + 1):
        row = claim(service.database, f"w{attempt}")
        assert row is not None
        assert release(service.database, f"w{attempt}", blamed=True) == 1
        expected = "failed" if attempt == ATTEMPTS_MAX else "waiting"
        assert state_of(service, row["id"]) == (expected, attempt)
    assert claim(service.database, "w") is None


def test_a_lease_that_ran_out_goes_to_another(client: Client, service: Service) -> None:
    """The first worker, should it still live, brings its result in vain."""
    submitted(client, 1)
    row = claim(service.database, "slow")
    assert row is not None
    assert claim(service.database, "quick") is None
    with service.database.write() as connection:
        connection.execute(update(jobs).values(lease_until=time.time() - 1))
    sweep(service.database)
    again = claim(service.database, "quick")
    assert again is not None
    assert again["id"] == row["id"]
    assert not finish(service.database, row["id"], "slow", result={"by": "slow"})
    assert finish(service.database, row["id"], "quick", result={"by": "quick"})
    assert not finish(service.database, row["id"], "quick", result={"by": "twice"})
    assert client.get(f"/v1/strategies/{row['id']}").json["result"] == {"by": "quick"}


def test_a_server_takes_up_what_ran_before(client: Client, service: Service) -> None:
    """Its own end is not the jobs' doing."""
    submitted(client, 2)
    row = claim(service.database, "w")
    assert row is not None
    assert take_back_all(service.database) == 1
    assert state_of(service, row["id"]) == ("waiting", 0)


def test_who_waits_goes_first(client: Client, service: Service, survey: str) -> None:
    """And a worker for interactive answers leaves batches alone."""
    client.post("/v1/batches", {"items": [{"survey": survey}]})
    with service.database.write() as connection:
        connection.execute(update(jobs).values(label="batch"))
        row = dict(connection.execute(select(jobs)).mappings().one())
        interactive = row | {
            "id": "st_" + 32 * "a",
            "deadline": time.time() + 60,
            "label": "interactive",
        }
        connection.execute(jobs.insert().values(interactive | {"created": row["created"] + 9}))
    first = claim(service.database, "w", interactive_only=True)
    assert first is not None
    assert first["label"] == "interactive"
    assert claim(service.database, "w", interactive_only=True) is None
    second = claim(service.database, "w")
    assert second is not None
    assert second["label"] == "batch"
