"""Who started a worker keeps its lease, and ends it: late, cancelled, or in another's way."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import func, select, update

import api.supervisor
from api.app import create_app
from api.limits import CHECK_TIME_S, Limits
from api.service import Service
from api.store.jobs import Job, Queue, add_jobs, cancel, drop_job
from api.store.leases import claim, end_late, finish, renew, sweep
from api.store.tables import jobs, surveys
from api.store.tokens import add_token
from api.supervisor import Supervisor
from tests.api.given import Client, case_document
from tests.api.live import HANG_S, wait_until

SLEEPER = "import os, time; os.write(1, b'ready\\n'); time.sleep(1000)"


@pytest.fixture
def supervisor(service: Service, monkeypatch: pytest.MonkeyPatch) -> Iterator[Supervisor]:
    """Two places for any work and one for interactive, whose processes are alive and do nothing."""
    monkeypatch.setattr(api.supervisor, "_WORKER", (sys.executable, "-c", SLEEPER))
    supervisor = Supervisor(service.database, "", 2, interactive=1)
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
    wait_until(lambda: row_of(service, job)["state"] == "failed")
    wait_until(lambda: ended(supervisor, pid))
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
    soon = float(str(row_of(service, job)["lease_until"])) - 5
    set_row(service, job, lease_until=soon)
    wait_until(lambda: float(str(row_of(service, job)["lease_until"])) > soon)
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
    wait_until(lambda: ended(supervisor, pid))
    wait_until(lambda: row_of(service, job)["worker"] is None)
    assert row_of(service, job)["state"] == "cancelled"


def uploading(service: Service, replies: list[Any], **environment: Any) -> threading.Thread:
    """An upload that waits for its check; no worker is there but those that a test plays."""
    flask = create_app(service).test_client()
    headers = {"Authorization": f"Bearer {add_token(service.database, 'planner')}"}

    def post() -> None:
        replies.append(
            flask.post(
                "/v1/surveys", json=case_document(), headers=headers, environ_overrides=environment
            )
        )

    thread = threading.Thread(target=post)
    thread.start()
    return thread


def count(service: Service, table: Any) -> int:
    with service.database.read() as connection:
        return int(connection.execute(select(func.count()).select_from(table)).scalar_one())


def claimed_check(service: Service, supervisor: Supervisor) -> tuple[str, int]:
    wait_until(lambda: count(service, jobs) == 1)
    job, pid = taken(service, supervisor)
    assert row_of(service, job)["kind"] == "check"
    return job, pid


def test_a_check_past_its_limit_ends_its_worker(service: Service, supervisor: Supervisor) -> None:
    """An upload is work like any other; nothing of it stays."""
    replies: list[Any] = []
    thread = uploading(service, replies)
    job, pid = claimed_check(service, supervisor)
    assert row_of(service, job)["limit_s"] == CHECK_TIME_S + HANG_S, "the grace of the tests"
    set_row(service, job, ends_by=1.0)
    wait_until(lambda: ended(supervisor, pid))
    thread.join()
    assert (replies[0].status_code, replies[0].json["type"]) == (503, "/docs#problem-no-time")
    assert (count(service, jobs), count(service, surveys)) == (0, 0)


def test_a_check_that_nobody_waits_for_ends_its_worker(
    service: Service, supervisor: Supervisor
) -> None:
    """Its row was deleted at once, so that nobody saw that a worker was still at it."""
    replies: list[Any] = []
    gone = threading.Event()
    thread = uploading(service, replies, **{"waitress.client_disconnected": gone.is_set})
    job, pid = claimed_check(service, supervisor)
    gone.set()
    thread.join()
    wait_until(lambda: ended(supervisor, pid))
    assert row_of(service, job)["state"] == "cancelled"
    set_row(service, job, finished=1.0)
    sweep(service.database)
    assert (count(service, jobs), count(service, surveys)) == (0, 0)


def test_an_answer_deleted_while_it_is_found_ends_its_worker(
    client: Client, service: Service, supervisor: Supervisor
) -> None:
    batch_of(client, 1)
    job, pid = taken(service, supervisor)
    set_row(service, job, batch=None, deadline=2e9)
    assert drop_job(service.database, "planner", "strategy", job)
    wait_until(lambda: ended(supervisor, pid))
    wait_until(lambda: row_of(service, job)["worker"] is None)
    set_row(service, job, finished=1.0)
    sweep(service.database)
    assert count(service, jobs) == 0


def test_uploads_count_in_the_share_of_their_client(client: Client, service: Service) -> None:
    service.limits = Limits(waiting_interactive=0)
    reply = client.post("/v1/surveys", case_document())
    assert (reply.status_code, reply.json["type"]) == (429, "/docs#problem-queue-full")
    assert (count(service, jobs), count(service, surveys)) == (0, 0)


def test_answers_that_nobody_came_back_for_are_forgotten(service: Service) -> None:
    """A server was killed while a client waited; the worker brought the answer later."""
    job = Job("se_1", "settings", None, "", {})
    add_jobs(service.database, "planner", [job], queue=Queue(1, 1), waits_s=60, limit_s=60)
    assert claim(service.database, "w") is not None
    assert finish(service.database, "se_1", "w", result={})
    sweep(service.database)
    assert count(service, jobs) == 1, "who waits has a minute to fetch it"
    set_row(service, "se_1", finished=1.0)
    sweep(service.database)
    assert count(service, jobs) == 0


def test_workers_are_told_their_memory(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    """As `--memory-mib` says, here and for a worker elsewhere."""
    told: list[list[str]] = []
    started = subprocess.Popen

    def start(command: list[str], **more: Any) -> Any:
        told.append(command)
        return started([sys.executable, "-c", SLEEPER], **more)

    monkeypatch.setattr(subprocess, "Popen", start)
    supervisor = Supervisor(service.database, "", 1, interactive=1, memory_mib=777)
    supervisor.start()
    supervisor.stop()
    assert [command[command.index("--memory-mib") + 1] for command in told] == ["777"] * 2


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
    wait_until(lambda: all(place.ready for place in supervisor._places))
    batch_of(other, 1)
    wait_until(lambda: ended(supervisor, pid_of_second))
    wait_until(lambda: row_of(service, second)["state"] == "waiting")
    assert row_of(service, second)["attempts"] == 0
    assert row_of(service, first)["state"] == "running"
    assert not ended(supervisor, pid_of_first)
    row = claim(service.database, supervisor._places[1].name, places=2)
    assert row is not None
    assert row["client"] == "other", "whose turn it is"


def test_a_worker_without_a_store_says_so_in_a_line() -> None:
    """And no traceback, whose text could quote a survey."""
    command = [sys.executable, "-m", "api.worker_process", "--name", "g.any.1", "--parent", "1"]
    command += ["--memory-mib", "2048"]
    done = subprocess.run(
        [*command, "--database", "sqlite:////proc/x/y"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert json.loads(done.stderr.splitlines()[-1])["level"] == "error"
