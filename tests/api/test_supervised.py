"""Who started a worker keeps its lease, and ends it: late, cancelled, or in another's way."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator

import pytest
from sqlalchemy import select, update

import api.supervisor
from api.service import Service
from api.store.jobs import cancel
from api.store.leases import LEASE_S, claim, end_late, finish, renew, sweep
from api.store.tables import jobs
from api.supervisor import Supervisor
from tests.api.given import Client, case_document
from tests.api.live import wait_until

SLEEPER = "import os, time; os.write(1, b'ready\\n'); time.sleep(1000)"


@pytest.fixture
def supervisor(service: Service, monkeypatch: pytest.MonkeyPatch) -> Iterator[Supervisor]:
    """Two places for any work and one for prompts, whose processes are alive and do nothing."""
    monkeypatch.setattr(api.supervisor, "_WORKER", (sys.executable, "-c", SLEEPER))
    supervisor = Supervisor(service.database, "", 2, prompts=1)
    supervisor.start()
    yield supervisor
    supervisor.stop()


def batch_of(client: Client, points: int, **options: float) -> str:
    survey = client.post("/v1/surveys", case_document(points)).json["id"]
    body = {"items": [{"survey": survey}], "options": options}
    return str(client.post("/v1/batches", body).json["id"])


def row_of(service: Service, job_id: str) -> dict[str, object]:
    with service.database.read() as connection:
        found = connection.execute(select(jobs).where(jobs.c.id == job_id))
        return dict(found.mappings().one())


def set_row(service: Service, job_id: str, **values: object) -> None:
    with service.database.write() as connection:
        connection.execute(update(jobs).where(jobs.c.id == job_id).values(**values))


def taken(service: Service, supervisor: Supervisor, place: int = 0) -> tuple[str, int]:
    """A job as if the worker of a place had claimed it; its id, and the worker's process id."""
    worker = supervisor._places[place]
    assert worker.process is not None
    row = claim(service.database, worker.name, places=2)
    assert row is not None
    return row["id"], worker.process.pid


def ended(supervisor: Supervisor, pid: int) -> bool:
    return all(place.process is None or place.process.pid != pid for place in supervisor._places)


def test_a_late_worker_is_ended_and_its_job_failed(
    client: Client, service: Service, supervisor: Supervisor
) -> None:
    """A word says why, and nobody is blamed so often that others would be given up."""
    path = f"/v1/batches/{batch_of(client, 1, time_limit_s=1)}"
    job, pid = taken(service, supervisor)
    row = row_of(service, job)
    assert row["limit_s"] == 16, "the limit, and what goes with it"
    set_row(service, job, ends_by=1.0)
    wait_until(lambda: row_of(service, job)["state"] == "failed", 20)
    wait_until(lambda: ended(supervisor, pid), 20)
    error = client.get(f"{path}/results").json["items"][0]["error"]
    assert error["problem"] == "no-time"
    assert "16 s" in error["detail"]
    assert client.get(path).json["state"] == "done"


def test_a_worker_in_time_is_not_ended(client: Client, service: Service) -> None:
    batch_of(client, 1, time_limit_s=600)
    row = claim(service.database, "w")
    assert row is not None
    assert not end_late(service.database, row["id"], "w")
    assert row_of(service, row["id"])["state"] == "running"


def test_the_lease_of_a_busy_worker_is_renewed(
    client: Client, service: Service, supervisor: Supervisor
) -> None:
    """The worker itself need not say a word: whoever started it sees that it lives."""
    batch_of(client, 1)
    job, _ = taken(service, supervisor)
    soon = float(str(row_of(service, job)["lease_until"])) - LEASE_S + 5
    set_row(service, job, lease_until=soon)
    wait_until(lambda: float(str(row_of(service, job)["lease_until"])) > soon, 30)
    sweep(service.database)
    assert row_of(service, job)["attempts"] == 0
    assert renew(service.database, ["nobody"]) == 0


def test_a_cancelled_job_ends_its_worker(
    client: Client, service: Service, supervisor: Supervisor
) -> None:
    """A solve cannot be asked to stop."""
    batch = batch_of(client, 1)
    job, pid = taken(service, supervisor)
    client.delete(f"/v1/batches/{batch}")
    wait_until(lambda: ended(supervisor, pid), 20)
    wait_until(lambda: row_of(service, job)["worker"] is None, 20)
    assert row_of(service, job)["state"] == "cancelled"


def test_a_worker_that_has_let_go_of_a_cancelled_job_is_left_alone(
    client: Client, service: Service
) -> None:
    batch_of(client, 1)
    row = claim(service.database, "w")
    assert row is not None
    cancel(service.database, jobs.c.id == row["id"])
    assert not finish(service.database, row["id"], "w", result={})
    assert row_of(service, row["id"])["worker"] is None


def test_a_worker_is_taken_back_for_a_client_who_waits(
    client: Client, other: Client, service: Service, supervisor: Supervisor
) -> None:
    """One has both places for any work; when another comes, the job taken up last goes back."""
    batch_of(client, 4, time_limit_s=600)
    first, pid_of_first = taken(service, supervisor, 0)
    second, pid_of_second = taken(service, supervisor, 1)
    wait_until(lambda: all(place.ready for place in supervisor._places), 30)
    batch_of(other, 1)
    wait_until(lambda: ended(supervisor, pid_of_second), 30)
    wait_until(lambda: row_of(service, second)["state"] == "waiting", 20)
    assert row_of(service, second)["attempts"] == 0
    assert row_of(service, first)["state"] == "running"
    assert not ended(supervisor, pid_of_first)
    row = claim(service.database, supervisor._places[1].name, places=2)
    assert row is not None
    assert row["client"] == "other", "whose turn it is"


def test_a_worker_without_a_store_says_so_in_a_line() -> None:
    """And no traceback, whose text could quote a survey."""
    command = [sys.executable, "-m", "api.worker_process", "--name", "g.any.1", "--parent", "1"]
    done = subprocess.run(
        [*command, "--database", "sqlite:////proc/x/y"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert json.loads(done.stderr.splitlines()[-1])["level"] == "error"
