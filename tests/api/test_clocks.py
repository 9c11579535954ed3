"""The database's clock decides, a number is the cursor, and a stream that is not whole says so."""

from __future__ import annotations

import json
import time
from typing import Any

import pytest
from sqlalchemy import select, update

from api.service import Service
from api.store.batches import finished_after
from api.store.database import moment
from api.store.jobs import cancel
from api.store.leases import LEASE_S, claim, finish, release, sweep
from api.store.tables import jobs
from tests.api.given import Client, case_document

NDJSON = "application/x-ndjson"


def submitted(client: Client, points: int) -> str:
    survey = client.post("/v1/surveys", case_document(points)).json["id"]
    return str(client.post("/v1/batches", {"items": [{"survey": survey}]}).json["id"])


def lines(client: Client, batch: str) -> list[dict[str, Any]]:
    reply = client.get(f"/v1/batches/{batch}/results", Accept=NDJSON)
    return [json.loads(line) for line in reply.data.splitlines()]


def now_of(service: Service) -> float:
    with service.database.read() as connection:
        return moment(connection)


@pytest.mark.parametrize("shift", [-60.0, 60.0])
def test_a_worker_whose_clock_is_wrong(
    client: Client, service: Service, monkeypatch: pytest.MonkeyPatch, shift: float
) -> None:
    """Its lease is as long as any, it takes what clients wait for, and no line is lost."""
    batch, right = submitted(client, 3), time.time
    before = now_of(service)
    with monkeypatch.context() as wrong:
        wrong.setattr(time, "time", lambda: right() + shift)
        row = claim(service.database, "w")
    assert row is not None
    with service.database.read() as connection:
        until = connection.execute(select(jobs.c.lease_until).where(jobs.c.id == row["id"]))
        taken = until.scalar_one() - LEASE_S
    assert before - 1 <= taken <= now_of(service) + 1
    sweep(service.database)
    with monkeypatch.context() as wrong:
        wrong.setattr(time, "time", lambda: right() + shift)
        assert finish(service.database, row["id"], "w", result={})
    with service.database.write() as connection:
        deadline = {"deadline": moment(connection) + 900}
        connection.execute(update(jobs).where(jobs.c.state == "waiting").values(deadline))
    with monkeypatch.context() as wrong:
        wrong.setattr(time, "time", lambda: right() + shift)
        for _ in range(2):
            row = claim(service.database, "w", interactive_only=True)
            assert row is not None
            assert 0 < row["left_s"] <= 900
            assert finish(service.database, row["id"], "w", result={})
    assert len(lines(client, batch)) == 3


def test_numbers_are_in_the_order_of_commits(client: Client, service: Service) -> None:
    """Whatever ended a read point: an answer, a worker that died three times, or a cancel."""
    batch = submitted(client, 5)
    first = claim(service.database, "a")
    second = claim(service.database, "b")
    assert first is not None
    assert second is not None
    assert finish(service.database, second["id"], "b", result={})
    assert finish(service.database, first["id"], "a", result={})
    for attempt in range(3):
        third = claim(service.database, f"c{attempt}")
        assert third is not None
        release(service.database, f"c{attempt}", blamed=True)
    cancel(service.database, jobs.c.batch == batch, batch=batch)
    rows = finished_after(service.database, batch, 0, 100)
    assert [row["position"] for row in rows] == [1, 0, 2, 3, 4]
    numbers = [row["seq"] for row in rows]
    assert sorted(set(numbers)) == numbers
    assert [row["position"] for row in lines(client, batch)] == [1, 0, 2, 3, 4]
    middle = finished_after(service.database, batch, numbers[1], 2)
    assert [row["position"] for row in middle] == [2, 3]


def test_a_stream_that_is_not_whole_says_so(client: Client, service: Service) -> None:
    """Rows are as ever; the last line is none."""
    batch = submitted(client, 3)
    row = claim(service.database, "w")
    assert row is not None
    assert finish(service.database, row["id"], "w", result={})
    service.stopping.set()
    (last,) = lines(client, batch)
    assert last["incomplete"].startswith("The server is stopping")
    assert (last["told"], last["total"]) == (0, 3)
    service.stopping.clear()
    cancel(service.database, jobs.c.batch == batch, batch=batch)
    whole = lines(client, batch)
    assert len(whole) == 3
    assert all("incomplete" not in row for row in whole)


def test_a_stream_of_what_is_deleted_meanwhile(
    client: Client, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = submitted(client, 2)
    cancel(service.database, jobs.c.batch == batch, batch=batch)
    monkeypatch.setattr("api.results.finished_after", lambda *_: [])
    (last,) = lines(client, batch)
    assert last["told"] == 0
    assert "incomplete" in last
