"""How far a solve is: told by its worker about once a second, and gone when it is done."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from sqlalchemy import select

from api.service import Service
from api.store.leases import claim, finish, note_progress
from api.store.tables import jobs
from api.worker import Teller, Worker
from tests.api.given import Client
from tests.api.live import wait_until
from tests.api.pages.browsing import Browser

FAR = {"elapsed_s": 2.5, "loss": 7.0, "bound": 3.0, "stage": ""}


def asked(client: Client, survey: str) -> str:
    batch = client.post("/v1/batches", {"items": [{"survey": survey}]})
    (row,) = client.get(f"{batch.headers['Location']}/results").json["items"]
    return str(row["strategy"])


def test_it_is_told_while_the_job_is_the_worker_s(
    client: Client, survey: str, service: Service
) -> None:
    answer = asked(client, survey)
    read = f"/v1/strategies/{answer}"
    assert client.get(read).json["progress"] is None
    row = claim(service.database, "w")
    assert row is not None
    note_progress(service.database, answer, "another", FAR)
    assert client.get(read).json["progress"] is None
    note_progress(service.database, answer, "w", FAR)
    assert client.get(read).json["progress"] == FAR
    browser = Browser(client.flask.application).signed_in(client.token)
    page = browser.get(f"/answers/{answer}").text
    assert (
        "loss of the best so far</dt><dd>7<" in page and "no settings are below</dt><dd>3<" in page
    )
    finish(service.database, answer, "w", error={"problem": "no-time", "detail": "late"})
    assert client.get(read).json["progress"] is None
    note_progress(service.database, answer, "w", FAR)
    assert client.get(read).json["progress"] is None, "a late word is not heard"


def test_about_once_a_second(
    client: Client, survey: str, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[Mapping[str, Any]] = []
    monkeypatch.setattr("api.worker.note_progress", lambda *given: told.append(given[-1]))
    clock = iter([0.0, 0.4, 1.1, 1.1, 1.9, 2.2, 2.2])
    tell = Teller(service.database, asked(client, survey), "w", now=lambda: next(clock))
    for number in range(4):
        tell({"elapsed_s": number})
    assert told == [{"elapsed_s": 1}, {"elapsed_s": 3}]


def test_a_worker_tells_what_its_proof_tells(
    client: Client,
    survey: str,
    service: Service,
    worker: Worker,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told: list[Mapping[str, Any]] = []
    monkeypatch.setattr("api.worker._TELL_S", -1.0)
    monkeypatch.setattr("api.worker.note_progress", lambda *given: told.append(given[-1]))
    read = f"/v1/strategies/{asked(client, survey)}"
    wait_until(lambda: client.get(read).json["state"] == "done")
    assert told and told[-1].keys() == FAR.keys()
    assert told[-1]["loss"] == client.get(read).json["result"]["loss"]
    with service.database.read() as connection:
        assert connection.execute(select(jobs.c.progress)).scalars().all() == [None]
