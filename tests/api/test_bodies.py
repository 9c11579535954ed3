"""What a hostile body costs, counted in work and bytes: the short form of `tests.bench.bodies`."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select, update

import api.views.batches
import api.work
import strategist.survey.case
from api.limits import Limits
from api.service import Service
from api.store.jobs import Job
from api.store.surveys import add_survey, find_survey, find_surveys
from api.store.tables import jobs, survey_files, surveys
from tests.api.given import Client, case_document
from tests.bench.hostile import Attack, attacks, wide_survey

ROOT = Path(__file__).parents[2]
SIZE = 0.03  # of a full attack: some 30 kB of a request, 2 MB of an upload
ATTACKS = {attack.name: attack for attack in attacks("su_" + "0" * 32, SIZE)}
ANSWER_BYTES = 400_000


def posted(client: Client, attack: Attack) -> Any:
    headers = client.headers() | {"Content-Type": attack.kind}
    return client.flask.post(attack.path, data=attack.make(), headers=headers)


@pytest.mark.usefixtures("worker")
@pytest.mark.parametrize("name", ATTACKS)
def test_the_answer_is_short_and_says_how_much_more_is_wrong(client: Client, name: str) -> None:
    survey = client.post("/v1/surveys", wide_survey(20, levels=20)).json["id"]
    (attack,) = [one for one in attacks(survey, SIZE) if one.name == name]
    reply = posted(client, attack)
    assert reply.status_code in (201, 202, 400, 422, 429), reply.json
    assert len(reply.data) < ANSWER_BYTES
    faults = reply.json.get("faults", [])
    assert len(faults) <= 201
    assert len(faults) < 201 or "more fault" in faults[-1]["found"]


def test_faults_are_counted_whole(client: Client) -> None:
    """200 are listed of 5,000, and of 300, which the library lists."""
    for keys in (5000, 300):
        body = {f"levels{number}": 1 for number in range(keys)}
        reply = client.post("/v1/strategies", body)
        total = keys + 2  # survey and read_point are missing
        assert reply.json["detail"].startswith(f"{total:,} faults: ")
        assert reply.json["faults"][-1]["found"] == f"{total - 200:,} more faults"


def test_more_values_than_a_request_may_hold_are_not_looked_at(client: Client) -> None:
    most = Limits().request_values
    body = {"strategy": {"levels_dbm": [15], "masks": [{}] * most}}
    (fault,) = client.post("/v1/settings", body).json["faults"]
    assert fault["found"] == f"more than {most:,} values"


def test_a_survey_named_often_is_read_once(
    client: Client, survey: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its summary was parsed once for each read point named: a megabyte of names took minutes."""
    read, texts = json.loads, []

    def counted(text: Any, **more: Any) -> Any:
        if isinstance(text, str) and '"findings"' in text:
            texts.append(text)
        return read(text, **more)

    monkeypatch.setattr(json, "loads", counted)
    items = [{"survey": survey, "read_points": ["gate-1"] * 20}] * 20
    assert client.post("/v1/batches", {"items": items}).status_code == 202
    assert len(texts) == 1


def test_a_batch_is_counted_before_its_jobs_are_made(
    client: Client, survey: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any, **__: Any) -> Job:
        raise AssertionError("a job was made")

    monkeypatch.setattr(api.views.batches, "Job", refuse)
    reply = client.post(
        "/v1/batches", {"items": [{"survey": survey, "read_points": ["gate-1"]}] * 1001}
    )
    assert reply.status_code == 422
    items = [{"survey": survey, "read_points": ["gate-1"] * 2}] * 501
    (fault,) = client.post("/v1/batches", {"items": items}).json["faults"]
    assert (fault["found"], fault["pointer"]) == ("1,002", "/items")


def test_surveys_are_built_by_workers_alone(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Checked, listed by their masks, evaluated and exported: never where requests are answered."""
    built, threads = strategist.survey.case.build, set()

    def noted(*given: Any) -> Any:
        threads.add(threading.current_thread())
        return built(*given)

    monkeypatch.setattr(strategist.survey.case, "build", noted)
    found = client.post("/v1/surveys", case_document()).json["id"]
    at = {"survey": found, "read_point": "gate-1"}
    strategy = {"levels_dbm": [15], "stop_after": 1, "cutoff_dbm": None, "masks": []}
    entries = [{"name": "a", "strategy": strategy}]
    assert client.get(f"/v1/surveys/{found}/masks").status_code == 200
    assert client.post("/v1/comparisons", at | {"entries": entries}).status_code == 201
    asked = at | {"strategy": strategy, "format": "gen2"}
    assert client.post("/v1/settings", asked).status_code == 200
    assert threads and threading.current_thread() not in threads


@pytest.mark.parametrize(
    ("limits", "found"),
    [
        (Limits(read_points=2), "3"),
        (Limits(rows=26), "27 rows"),
        (Limits(passes=2), "3"),
    ],
)
def test_limits_are_asked_before_anything_is_built(
    service: Service,
    client: Client,
    limits: Limits,
    found: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refuse(*_: Any) -> Any:
        raise AssertionError("a read point was built")

    monkeypatch.setattr(strategist.survey.case, "build", refuse)
    service.limits = limits
    reply = client.post("/v1/surveys", case_document(3 if limits.passes > 2 else 1))
    assert reply.status_code == 422
    assert reply.json["faults"][0]["found"] == found


def rows_in(service: Service) -> list[int]:
    with service.database.read() as connection:
        tables = (surveys, survey_files, jobs)
        return [
            connection.execute(select(func.count()).select_from(t)).scalar_one() for t in tables
        ]


def test_a_survey_that_is_refused_leaves_nothing(service: Service, client: Client) -> None:
    bad = case_document()
    bad["reads"][0]["rssi_dbm"] = 5
    for body, kind in ((bad, "invalid"), (b"{", "malformed")):
        reply = client.post("/v1/surveys", body)
        assert reply.json["type"].endswith(kind)
        assert rows_in(service) == [0, 0, 0]


def test_an_answer_that_is_too_long_is_refused(
    service: Service, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(api.work, "ANSWER_BYTES", 1000)
    reply = client.post("/v1/surveys", wide_survey(20))
    assert reply.status_code == 422 and reply.json["type"].endswith("long-answer")
    assert rows_in(service) == [0, 0, 0]


def test_a_survey_shows_once_it_is_checked(service: Service, client: Client) -> None:
    """One whose server died before is deleted when its time is over."""
    files = {"survey.json": b"{}"}
    database, owner = service.database, "planner"
    add_survey(database, "su_1", owner, label="", files=files)
    assert find_survey(database, owner, "su_1") is None
    assert find_surveys(database, owner, 10, None)[0] == []
    assert client.get("/v1/surveys").json["items"] == []
    with database.write() as connection:
        connection.execute(update(surveys).values(created=surveys.c.created - 1000))
    add_survey(database, "su_2", owner, label="", files=files)
    with database.read() as connection:
        assert connection.execute(select(surveys.c.id)).scalars().all() == ["su_2"]


def given_memory_error(times: int) -> Any:
    left = [times]

    def verb(_: Any) -> Mapping[str, Any]:
        left[0] -= 1
        if left[0] >= 0:
            raise MemoryError
        return {"read_points": []}

    return verb


@pytest.mark.parametrize(("times", "status"), [(1, 201), (9, 422)])
def test_memory_that_is_short(
    client: Client, times: int, status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once more without what was kept; then the client is told."""
    monkeypatch.setitem(api.work._VERBS, "check", given_memory_error(times))  # type: ignore[index]
    reply = client.post("/v1/surveys", case_document())
    assert reply.status_code == status
    if status == 422:
        assert reply.json["title"] == "The request needs more memory than a worker may use"


def test_a_job_that_ends_its_workers_is_told_as_such(service: Service, client: Client) -> None:
    """What breaks inside a solver at the limit of memory ends the process, three times over."""

    def die() -> None:
        while not stop.wait(0.005):
            with service.database.write() as connection:
                failed = {"state": "failed", "error": '{"problem": "worker-ended", "attempts": 3}'}
                connection.execute(update(jobs).where(jobs.c.kind == "strategy").values(failed))

    survey = client.post("/v1/surveys", case_document()).json["id"]
    stop = threading.Event()
    thread = threading.Thread(target=die)
    thread.start()
    reply = client.post("/v1/strategies", {"survey": survey, "read_point": "gate-1"})
    stop.set()
    thread.join()
    assert reply.status_code == 422 and reply.json["type"].endswith("no-memory")


BOUNDED = """
import json, sys
from api.memory import limit_memory
from api.work import Task, perform
from strategist import read_case_document
import strategist
strategist.choose, strategist.check
limit_memory(700)
class Cases:
    def get(self, *_):
        levels = [n / 1000 for n in range(40000)]
        site = {"site": "x", "read_points": {"gate-1": {"levels_dbm": levels}}}
        rows = [{"read_point": "gate-1", "pass_id": f"p{n}", "epc": "AA", "role": "wanted"}
                for n in range(30000)]
        text = json.dumps({"site": site, "reads": [], "roster": rows})
        return read_case_document(text.encode())
    def forget(self):
        pass
row = {"kind": "check", "survey": "su_1", "read_point": ""}
print(json.dumps(perform(Task(Cases(), row, {"bounds": {}}, None))))
"""


def test_a_worker_keeps_to_its_memory() -> None:
    """30,000 passes at 40,000 levels are a table of 1.2 GB, from 3 MB of survey."""
    done = subprocess.run(
        [sys.executable, "-c", BOUNDED], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert json.loads(done.stdout)[1]["problem"] == "no-memory"
