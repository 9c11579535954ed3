"""Fair shares: what one client asks for takes nothing from another."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest
from sqlalchemy import func, select, update

from api.limits import Limits
from api.service import Places, Service
from api.store.jobs import Job, Queue, RefusedError, add_jobs, drop_job
from api.store.leases import claim, finish, held
from api.store.tables import jobs, turns
from api.store.tokens import remove_tokens
from api.store.turns import worker_to_take_back
from tests.api.given import Client, case_document
from tests.api.live import Live, client_token, command, uploaded, wait_until


def submitted(client: Client, points: int) -> str:
    survey = client.post("/v1/surveys", case_document(points)).json["id"]
    return str(client.post("/v1/batches", {"items": [{"survey": survey}]}).json["id"])


def interactive(number: int) -> Job:
    return Job(f"co_{number:032x}", "cross_reads", None, "", {})


def ask(service: Service, client: str, number: int, of_client: int = 2, of_all: int = 3) -> None:
    queue = Queue(of_client, of_all)
    add_jobs(service.database, client, [interactive(number)], queue=queue, waits_s=60, limit_s=60)


def test_a_queue_for_each_client_and_one_for_all(service: Service) -> None:
    for number in (1, 2):
        ask(service, "greedy", number)
    with pytest.raises(RefusedError, match="client"):
        ask(service, "greedy", 3)
    ask(service, "other", 4)
    with pytest.raises(RefusedError, match="queue"):
        ask(service, "third", 5)


def test_a_deleted_answer_takes_no_other_with_it(service: Service) -> None:
    """Neither of the same client nor of another, and each goes by its client, kind and id alone."""
    for number, client in enumerate(("one", "one", "two"), 1):
        ask(service, client, number)
    first = interactive(1).id
    for client, kind in (("two", "cross_reads"), ("one", "strategy")):
        assert not drop_job(service.database, client, kind, first)
    assert not drop_job(service.database, "one", "cross_reads", interactive(9).id)
    assert count_jobs(service) == 3
    assert drop_job(service.database, "one", "cross_reads", first)
    with service.database.read() as connection:
        left = set(connection.execute(select(jobs.c.id)).scalars())
    assert left == {interactive(2).id, interactive(3).id}


def test_clients_take_turns(client: Client, other: Client, service: Service) -> None:
    """However many read points the first submitted before the second came."""
    submitted(client, 6)
    submitted(other, 2)
    order = []
    for _ in range(5):
        row = claim(service.database, "w")
        assert row is not None
        order.append(row["client"])
        assert finish(service.database, row["id"], "w", result={})
    assert order == ["other", "planner"] * 2 + ["planner"] or order[:4] == ["planner", "other"] * 2


def test_who_has_fewest_running_goes_first(client: Client, other: Client, service: Service) -> None:
    submitted(client, 6)
    for number in range(3):
        assert claim(service.database, f"w{number}") is not None
    submitted(other, 3)
    found = [claim(service.database, f"v{number}") for number in range(3)]
    assert [row["client"] for row in found if row is not None] == ["other"] * 3


def test_one_worker_stays_free_of_each_client_where_there_are_others(
    client: Client, other: Client, service: Service
) -> None:
    """A client alone has all; where another was served lately, one is left for it."""
    submitted(client, 6)
    assert claim(service.database, "g.any.1", places=2) is not None
    assert claim(service.database, "g.any.2", places=2) is not None, "it is alone"
    submitted(other, 1)
    row = claim(service.database, "g.any.3", places=3)
    assert row is not None
    assert row["client"] == "other"
    assert finish(service.database, row["id"], "g.any.3", result={})
    assert claim(service.database, "g.any.3", places=3) is None, "it is kept for the other"
    with service.database.write() as connection:
        long_ago = {"served": turns.c.served - 61, "asked": turns.c.asked - 61}
        connection.execute(update(turns).values(long_ago))
    assert claim(service.database, "g.any.3", places=3) is not None


def test_nothing_is_taken_back_from_who_is_alone(client: Client, service: Service) -> None:
    submitted(client, 6)
    for number in (1, 2):
        assert claim(service.database, f"g.any.{number}", places=2) is not None
    assert worker_to_take_back(service.database, "g", 2) is None


def wait_long(service: Service, seconds: float = 2.0) -> None:
    """As if all jobs had been there for so long already."""
    with service.database.write() as connection:
        connection.execute(update(jobs).values(created=jobs.c.created - seconds))


def test_what_was_taken_up_last_waits_where_a_client_has_more_than_its_share(
    client: Client, other: Client, service: Service
) -> None:
    """Three places and two clients: a share is two. It is taken from who has three, once the other
    has waited for longer than a moment, and only from this group."""
    submitted(client, 6)
    for number in (2, 1, 3):
        assert claim(service.database, f"g.any.{number}", places=3) is not None
        with service.database.write() as connection:  # the earlier, the longer at work
            earlier = {"ends_by": jobs.c.ends_by - 1}
            connection.execute(update(jobs).where(jobs.c.state == "running").values(earlier))
    submitted(other, 1)
    assert worker_to_take_back(service.database, "g", 3) is None, "it came just now"
    wait_long(service)
    assert worker_to_take_back(service.database, "g", 3) == "g.any.3"
    assert worker_to_take_back(service.database, "h", 3) is None
    assert worker_to_take_back(service.database, "g", 4) is None, "one is free"


def test_nothing_is_taken_from_a_share(client: Client, other: Client, service: Service) -> None:
    """Two places: each of two clients has one, and the first waits for more."""
    submitted(client, 4)
    assert claim(service.database, "g.any.1", places=2) is not None
    submitted(other, 1)
    assert claim(service.database, "g.any.2", places=2) is not None
    wait_long(service)
    assert worker_to_take_back(service.database, "g", 2) is None


def test_who_has_just_its_share_keeps_it(client: Client, other: Client, service: Service) -> None:
    """Three places for two clients: one has two, which is a share; the other, with one, waits."""
    submitted(client, 2)
    submitted(other, 3)
    order = ["planner", "planner", "other"]
    with service.database.write() as connection:
        for number, name in enumerate(order):
            mine = (jobs.c.client == name) & (jobs.c.state == "waiting")
            one = select(jobs.c.id).where(mine).limit(1).scalar_subquery()
            taken = {"state": "running", "worker": f"g.any.{number}"}
            connection.execute(update(jobs).where(jobs.c.id == one).values(taken))
    wait_long(service)
    assert worker_to_take_back(service.database, "g", 3) is None


def test_who_has_its_share_gets_no_more_while_a_third_waits_for_a_interactive(
    client: Client, other: Client, service: Service
) -> None:
    """Five places for three clients: one has three and one two, which is a share, and wants more;
    the interactive of the third finds a worker free."""
    submitted(client, 3)
    submitted(other, 4)
    with service.database.write() as connection:
        for number, name in enumerate(["planner"] * 3 + ["other"] * 2):
            mine = (jobs.c.client == name) & (jobs.c.state == "waiting")
            one = select(jobs.c.id).where(mine).limit(1).scalar_subquery()
            taken = {"state": "running", "worker": f"g.any.{number}"}
            connection.execute(update(jobs).where(jobs.c.id == one).values(taken))
    ask(service, "third", 1)
    wait_long(service)
    assert worker_to_take_back(service.database, "g", 5) is None


def test_what_a_worker_is_at_and_whether_it_is_late(client: Client, service: Service) -> None:
    submitted(client, 1)
    row = claim(service.database, "w")
    assert row is not None

    def at_work(**values: object) -> tuple[str, bool, bool]:
        with service.database.write() as connection:
            connection.execute(update(jobs).where(jobs.c.id == row["id"]).values(**values))
        return held(service.database, ["w", "x"])["w"]

    assert at_work(state="running") == (row["id"], False, False)
    assert at_work(ends_by=1.0) == (row["id"], False, True)
    assert at_work(ends_by=None) == (row["id"], False, False)
    assert at_work(ends_by=1.0, state="cancelled") == (row["id"], True, False)


def test_who_waits_finds_the_worker_that_is_for_interactive_work(
    client: Client, service: Service
) -> None:
    """Both places are one client's; another's request takes the interactive worker, which
    is free: only once that is taken, too, something has to wait."""
    submitted(client, 6)
    for number in (1, 2):
        assert claim(service.database, f"g.any.{number}", places=2) is not None
    ask(service, "third", 1)
    wait_long(service)
    assert worker_to_take_back(service.database, "g", 2) is None
    with service.database.write() as connection:
        state = {"state": "running", "worker": "g.interactive.3", "client": "planner"}
        mine = jobs.c.client == "third"
        connection.execute(update(jobs).where(mine).values(state))
    ask(service, "third", 2)
    wait_long(service)
    assert worker_to_take_back(service.database, "g", 2) is not None


def test_places(service: Service) -> None:
    places = Places(2, 3)
    assert [places.take("a") for _ in range(3)] == [True, True, False]
    assert [places.take("b") for _ in range(2)] == [True, False]
    places.leave("a")
    assert places.take("b")


def test_requests_of_a_client_at_once_are_bounded(client: Client, other: Client) -> None:
    extension = client.flask.application.extensions["strategist"]
    extension.requests = Places(1, 10)
    assert extension.requests.take("planner")
    assert client.get("/v1/surveys").status_code == 429
    assert other.get("/v1/surveys").status_code == 200
    extension.requests.leave("planner")
    assert client.get("/v1/surveys").status_code == 200


def count_jobs(service: Service) -> int:
    with service.database.read() as connection:
        return connection.execute(select(func.count()).select_from(jobs)).scalar_one()


def test_who_has_gone_waits_for_nothing(client: Client, service: Service, survey: str) -> None:
    """Neither for an answer nor for lines."""
    batch = client.post("/v1/batches", {"items": [{"survey": survey}]}).json["id"]
    before = count_jobs(service)
    gone = {"waitress.client_disconnected": lambda: True}
    body = {"survey": survey, "read_point": "gate-1"}
    reply = client.flask.post(
        "/v1/strategies", json=body, headers=client.headers(), environ_overrides=gone
    )
    assert reply.status_code == 429
    assert count_jobs(service) == before
    path = f"/v1/batches/{batch}/results"
    headers = client.headers(Accept="application/x-ndjson")
    assert client.flask.get(path, headers=headers, environ_overrides=gone).data == b""
    assert service.streams.take("planner")


def test_a_closed_connection_gives_its_place_back(tmp_path: Path) -> None:
    """Waiting answers and streams of a real server, whose clients hang up."""
    token = client_token(tmp_path / "data")
    survey = uploaded(tmp_path / "data", case_document())
    with Live(tmp_path / "data", "--workers", "0", token=token) as live:
        batch = live.ask("POST", "/v1/batches", {"items": [{"survey": survey}]}).json["id"]
        limits = live.ask("GET", "/v1").json["limits"]
        body = (
            f'{{"survey": "{survey}", "read_point": "gate-1", "options": {{"time_limit_s": 30}}}}'
        )
        waiting = [
            hang_on(live, token, "POST /v1/strategies", body)
            for _ in range(int(limits["waiting_interactive"]))
        ]
        wait_until(lambda: waiting_jobs(live) == 1 + limits["waiting_interactive"])
        assert live.ask("POST", "/v1/strategies", body.encode()).status == 429
        streams = [
            hang_on(live, token, f"GET /v1/batches/{batch}/results", "")
            for _ in range(int(limits["streams"]))
        ]
        lines = {"Accept": "application/x-ndjson"}
        path = f"/v1/batches/{batch}/results"
        wait_until(lambda: is_refused(live, path))
        for connection in (*waiting, *streams):
            connection.close()
        wait_until(lambda: waiting_jobs(live) == 1)
        live.ask("DELETE", f"/v1/batches/{batch}")
        wait_until(lambda: live.ask("GET", path, **lines).status == 200)


def is_refused(live: Live, path: str) -> bool:
    """Whether a further stream is refused; one that is not is given up."""
    try:
        return live.ask("GET", path, Accept="application/x-ndjson", timeout=2).status == 429
    except OSError:
        return False


def waiting_jobs(live: Live) -> int:
    text = live.ask("GET", "/metrics").body.decode()
    (line,) = [line for line in text.splitlines() if '"waiting"' in line]
    return int(line.split()[1])


def hang_on(live: Live, token: str, what: str, body: str) -> socket.socket:
    """A connection whose request is sent, and whose answer is not there yet."""
    host, port = live.url.removeprefix("http://").split(":")
    connection = socket.create_connection((host, int(port)))
    head = [
        f"{what} HTTP/1.1",
        "Host: x",
        f"Authorization: Bearer {token}",
        "Accept: application/x-ndjson, application/json;q=0.1",
        "Content-Type: application/json",
        f"Content-Length: {len(body)}",
    ]
    connection.sendall(("\r\n".join(head) + "\r\n\r\n" + body).encode())
    return connection


def test_jobs_end_with_their_tokens(client: Client, service: Service) -> None:
    submitted(client, 3)
    row = claim(service.database, "w")
    assert row is not None
    assert remove_tokens(service.database, "planner") == 1
    with service.database.read() as connection:
        states = set(connection.execute(select(jobs.c.state)).scalars())
    assert states == {"cancelled"}
    assert not finish(service.database, row["id"], "w", result={})


def test_the_operator_lists_and_cancels(tmp_path: Path) -> None:
    token = client_token(tmp_path / "data")
    survey = uploaded(tmp_path / "data", case_document(3))
    with Live(tmp_path / "data", "--workers", "0", token=token) as live:
        batch = live.ask("POST", "/v1/batches", {"items": [{"survey": survey}]}).json["id"]
        given = ("--data", str(tmp_path / "data"))
        listed = command("jobs", "list", *given).stdout.splitlines()
        assert listed[0].split("\t")[:3] == ["client", "waiting", "running"]
        assert listed[1].split("\t")[:3] == ["planner", "3", "0"]
        assert command("jobs", "cancel", "planner", *given).stdout == "3 cancelled\n"
        assert live.ask("GET", f"/v1/batches/{batch}").json["state"] == "cancelled"
        assert command("jobs", "cancel", "planner", *given).returncode == 1


def test_a_full_share_takes_no_more_and_deletes(client: Client, other: Client) -> None:
    service = client.flask.application.extensions["strategist"]
    survey = client.post("/v1/surveys", case_document(5)).json["id"]
    service.limits = Limits(stored_bytes=100)
    refused = client.post("/v1/surveys", case_document())
    assert refused.status_code == 507
    assert refused.json["type"] == "/docs#problem-full-share"
    assert other.post("/v1/surveys", case_document()).status_code == 201
    assert client.delete(f"/v1/surveys/{survey}").status_code == 204
    assert client.post("/v1/surveys", case_document()).status_code == 201
