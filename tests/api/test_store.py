"""The store: its owner's alone, sound or refused with a word, and able to shrink."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, func, inspect, select, text, update
from sqlalchemy.exc import OperationalError

from api.service import Service
from api.store import database as database_module
from api.store import sqlite_file
from api.store.database import (
    DamagedStoreError,
    Database,
    FullStoreError,
    StoreError,
    open_database,
    sqlite_url,
)
from api.store.leases import claim, finish
from api.store.retention import Retention, forget, stored_bytes
from api.store.schema import VERSION
from api.store.sessions import client_of_session, open_session
from api.store.tables import jobs, metadata, surveys, versions
from api.store.tokens import add_token, digest_of_token
from api.worker import Worker
from tests.api.given import Client, case_document
from tests.api.live import HANG_S, ROOT, command

DAY_S = 86_400


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = open_database(sqlite_url(tmp_path))
    yield database
    database.close()


def file_of(folder: Path) -> Path:
    return folder / "strategist.sqlite3"


def test_only_the_owner_may_read_it(tmp_path: Path) -> None:
    """Even where the folder was there, and open to all."""
    (tmp_path / "d").mkdir(mode=0o755)
    file_of(tmp_path / "d").touch(0o644)
    database = open_database(sqlite_url(tmp_path / "d"))
    add_token(database, "planner")
    modes = {one.name: one.stat().st_mode & 0o777 for one in (tmp_path / "d").iterdir()}
    assert set(modes.values()) == {0o600}, modes
    database.close()


def aged(folder: Path) -> None:
    """Make a store what it was before there were versions: without what came with version 1."""
    with closing(sqlite3.connect(file_of(folder))) as old:
        for (name,) in old.execute(
            "SELECT name FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
        ).fetchall():
            old.execute(f"DROP INDEX {name}")
        for column in ("jobs.seq", "jobs.size", "jobs.limit_s", "jobs.ends_by", "surveys.size"):
            table, name = column.split(".")
            old.execute(f"ALTER TABLE {table} DROP COLUMN {name}")
        old.execute("ALTER TABLE batches DROP COLUMN last_seq")
        old.execute("ALTER TABLE keys DROP COLUMN size")
        for table in ("versions", "turns", "sessions"):
            old.execute(f"DROP TABLE {table}")
        old.commit()


def test_an_older_store_is_brought_up_to_date(client: Client, service: Service) -> None:
    """With what is in it: numbers for what was finished, sizes for what is stored."""
    survey = client.post("/v1/surveys", case_document(3)).json["id"]
    batch = client.post("/v1/batches", {"items": [{"survey": survey}]}).json["id"]
    row = claim(service.database, "w")
    assert row is not None
    finish(service.database, row["id"], "w", result={"a": 1})
    before = stored_bytes(service.database, "planner")
    assert service.database.file is not None
    folder = service.database.file.parent
    service.database.close()
    aged(folder)
    again = open_database(sqlite_url(folder))
    with again.read() as connection:
        assert connection.execute(select(versions.c.version)).scalar_one() == VERSION
        look = inspect(connection)
        for table in metadata.sorted_tables:
            there = {index["name"] for index in look.get_indexes(table.name)}
            assert {index.name for index in table.indexes} <= there
    assert stored_bytes(again, "planner") == before
    again.close()
    reply = client.get(f"/v1/batches/{batch}/results").json["items"]
    assert [one["state"] for one in reply] == ["done", "waiting", "waiting"]


def test_each_table_has_its_key(service: Service) -> None:
    """No row is there twice, whatever writes it."""
    keys = {
        "batches": ["id"],
        "sessions": ["digest"],
        "jobs": ["id"],
        "surveys": ["id"],
        "survey_files": ["survey", "name"],
        "tokens": ["digest"],
        "turns": ["client"],
        "versions": ["id"],
    }
    with service.database.read() as connection:
        look = inspect(connection)
        for table, columns in keys.items():
            assert look.get_pk_constraint(table)["constrained_columns"] == columns, table


def test_a_store_that_may_not_grow_is_full(database: Database) -> None:
    with pytest.raises(FullStoreError), database.write() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 1")
        connection.exec_driver_sql("CREATE TABLE large AS SELECT zeroblob(10000000) AS content")


def test_room_is_kept_until_it_is_needed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sqlite_file, "_RESERVE", 8_192)
    path = tmp_path / "reserve"
    reserve = sqlite_file.Reserve(path)
    assert not reserve.release()
    for again in (False, True):
        reserve.fill(again=again)
        assert path.stat().st_size == 8_192 and path.stat().st_mode & 0o777 == 0o600
        assert reserve.release()
        assert path.stat().st_size == 0 and not reserve.release()


@pytest.mark.parametrize("kept", [True, False])
def test_what_frees_room_gets_the_room_that_is_kept(
    database: Database, kept: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once; it is taken back after that."""
    monkeypatch.setattr(sqlite_file, "_RESERVE", 8_192)
    database.let_go_of_room()
    if kept:
        database.give_back()
    calls = []

    def work(connection: Connection) -> int:
        calls.append(1)
        if len(calls) == 1:
            full = sqlite3.OperationalError("database or disk is full")
            raise OperationalError("DELETE", {}, full)
        return 7

    if kept:
        assert database.make_room(work) == 7
    else:
        with pytest.raises(FullStoreError):
            database.make_room(work)
    assert len(calls) == 1 + kept
    assert database.let_go_of_room() is kept


@pytest.mark.parametrize("times", [1, 2, 3])
def test_tables_are_tried_for_three_times(
    tmp_path: Path, times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two processes may make them at the same moment."""
    calls = []
    real = database_module.prepare

    def prepare(engine: Engine) -> None:
        calls.append(1)
        if len(calls) <= times:
            raise OperationalError("CREATE", {}, sqlite3.OperationalError("database is locked"))
        real(engine)

    monkeypatch.setattr(database_module, "prepare", prepare)
    monkeypatch.setattr(database_module.time, "sleep", lambda seconds: None)
    if times == 3:
        with pytest.raises(StoreError, match="locked"):
            open_database(sqlite_url(tmp_path))
    else:
        open_database(sqlite_url(tmp_path)).close()
    assert len(calls) == min(3, times + 1)


@pytest.mark.parametrize("without", ["DROP TABLE versions", "DELETE FROM versions"])
def test_a_store_of_before_versions_that_lacks_nothing_else(
    client: Client, service: Service, without: str
) -> None:
    """Its indexes are there, what is in it stays, and sizes are counted."""
    client.post("/v1/surveys", case_document())
    assert service.database.file is not None
    folder = service.database.file.parent
    before = stored_bytes(service.database, "planner")
    service.database.close()
    with closing(sqlite3.connect(file_of(folder))) as old:
        old.execute(without)
        old.execute("UPDATE surveys SET size = 0")
        old.commit()
    again = open_database(sqlite_url(folder))
    with again.read() as connection:
        assert connection.execute(select(versions.c.version)).scalar_one() == VERSION
    assert stored_bytes(again, "planner") == before > 0
    again.close()


def test_a_store_of_version_1_gets_its_sessions(tmp_path: Path) -> None:
    """And nothing that is filled in for older ones happens to it again."""
    database = open_database(sqlite_url(tmp_path))
    token = digest_of_token(add_token(database, "planner"))
    database.close()
    with closing(sqlite3.connect(file_of(tmp_path))) as old:
        old.execute("DROP TABLE sessions")
        old.execute("UPDATE versions SET version = 1")
        old.commit()
    again = open_database(sqlite_url(tmp_path))
    secret = open_session(again, token)
    assert secret is not None and client_of_session(again, secret) == "planner"
    with again.read() as connection:
        assert connection.execute(select(versions.c.version)).scalar_one() == VERSION
    again.close()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (f"UPDATE versions SET version = {VERSION + 1}", "a newer strategist made this store"),
        ("ALTER TABLE jobs RENAME COLUMN seq TO other", "the table jobs lacks seq"),
        ("DROP TABLE tokens", "the table tokens lacks"),
    ],
)
def test_a_store_that_is_not_ours_is_refused(tmp_path: Path, change: str, said: str) -> None:
    """At the start and with a sentence, not at a request and with a number."""
    open_database(sqlite_url(tmp_path)).close()
    with closing(sqlite3.connect(file_of(tmp_path))) as changed:
        changed.execute(change)
        changed.commit()
    with pytest.raises(StoreError, match=said):
        open_database(sqlite_url(tmp_path))
    refused = serve(tmp_path)
    assert refused.returncode == 2
    assert said in refused.stderr
    assert "Traceback" not in refused.stderr


def serve(data: Path, *options: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "api", "--data", str(data), "--port", "0", *options]
    return subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=HANG_S
    )


def test_a_damaged_file_is_refused_with_what_to_do(tmp_path: Path) -> None:
    database = open_database(sqlite_url(tmp_path))
    with database.write() as connection:
        for number in range(2000):
            row = {"digest": f"{number:064x}", "client": "planner", "created": 0.0}
            connection.execute(text("INSERT INTO tokens VALUES (:digest, :client, :created)"), row)
    database.close()
    file = file_of(tmp_path)
    content = bytearray(file.read_bytes())
    content[len(content) // 2 : len(content) // 2 + 8192] = bytes(8192)
    file.write_bytes(content)
    refused = serve(tmp_path)
    assert refused.returncode == 2
    assert "is damaged" in refused.stderr
    assert "put a backup in its place" in refused.stderr
    assert "Traceback" not in refused.stderr
    file.write_bytes(b"no database" * 1000)
    with pytest.raises(DamagedStoreError, match="put a backup"):
        open_database(sqlite_url(tmp_path))


def test_deleted_pages_are_given_back(client: Client, service: Service) -> None:
    ids = [
        client.post(f"/v1/surveys?label={n}", case_document(60, passes=9, shift=n)).json["id"]
        for n in range(20)
    ]
    full = size_of(service)
    for survey in ids:
        assert client.delete(f"/v1/surveys/{survey}").status_code == 204
    service.database.give_back()
    assert size_of(service) < full / 2


def size_of(service: Service) -> int:
    """Bytes of the file and its log."""
    assert service.database.file is not None
    return sum(one.stat().st_size for one in service.database.file.parent.glob("*.sqlite3*"))


def count_of(service: Service, table: Any) -> int:
    with service.database.read() as connection:
        return connection.execute(select(func.count()).select_from(table)).scalar_one()


def test_refused_answers_leave_nothing(
    client: Client, service: Service, survey: str, worker: Worker
) -> None:
    """No list shows them, so nobody could delete them."""
    at = {"survey": survey, "read_point": "gate-1"}
    refused = client.post("/v1/trade-offs", at | {"set": {"levels_dbm": [99]}})
    assert refused.status_code == 422
    assert count_of(service, jobs) == 0
    made = client.post("/v1/strategies", at)
    assert made.status_code == 201
    assert count_of(service, jobs) == 1


def test_a_batch_is_deleted_with_its_results(
    client: Client, other: Client, service: Service
) -> None:
    """Once nothing of it is worked at; without the word it is only cancelled, as ever."""
    survey = client.post("/v1/surveys", case_document(2)).json["id"]
    path = f"/v1/batches/{client.post('/v1/batches', {'items': [{'survey': survey}]}).json['id']}"
    row = claim(service.database, "w")
    assert row is not None
    assert client.delete(f"{path}?results=delete").status_code == 409
    assert client.delete(path).json["state"] == "cancelled"
    assert client.delete(path).status_code == 200
    assert client.delete(f"{path}?results=delete").status_code == 409, "its worker is still at it"
    assert not finish(service.database, row["id"], "w", result={})
    assert other.delete(f"{path}?results=delete").status_code == 404
    assert client.delete(f"{path}?results=gone").status_code == 422
    assert client.delete(f"{path}?results=delete").status_code == 204
    assert client.get(path).status_code == 404
    assert count_of(service, jobs) == 0
    assert client.delete(f"/v1/surveys/{survey}").status_code == 204


def things_of_different_age(client: Client, service: Service) -> dict[str, str]:
    """An old survey with an open batch, an old one without anything, and a new one."""
    made = {
        name: client.post("/v1/surveys", case_document(2)).json["id"]
        for name in ("in use", "unused", "new")
    }
    items = {"items": [{"survey": made["in use"]}]}
    made["batch"] = client.post("/v1/batches", items).json["id"]
    with service.database.write() as connection:
        old = surveys.c.id.in_((made["in use"], made["unused"]))
        connection.execute(update(surveys).where(old).values(created=surveys.c.created - 9 * DAY_S))
        for table in (jobs, metadata.tables["batches"]):
            connection.execute(update(table).values(created=table.c.created - 9 * DAY_S))
    return made


def listed(client: Client) -> set[str]:
    return {
        one["id"]
        for path in ("surveys", "batches")
        for one in client.get(f"/v1/{path}").json["items"]
    }


def test_what_is_old_is_forgotten_if_the_server_was_told_so(
    client: Client, service: Service
) -> None:
    made = things_of_different_age(client, service)
    assert forget(service.database, Retention()) == 0
    forget(service.database, Retention(days=7))
    assert listed(client) == {made["in use"], made["new"], made["batch"]}, "what is open stays"
    client.delete(f"/v1/batches/{made['batch']}")
    forget(service.database, Retention(days=7))
    assert listed(client) == {made["new"]}


def test_the_oldest_goes_where_all_together_are_too_large(client: Client, service: Service) -> None:
    made = things_of_different_age(client, service)
    total = stored_bytes(service.database)
    assert forget(service.database, Retention(total_bytes=total)) == 0
    assert forget(service.database, Retention(total_bytes=total - 1)) == 1
    assert made["unused"] not in listed(client)
    forget(service.database, Retention(total_bytes=0))
    assert listed(client) == {made["in use"], made["batch"]}, "what is open stays"


def test_answers_of_keys_have_room_of_their_own(
    client: Client, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The oldest are forgotten; what they made stays."""
    monkeypatch.setattr("api.store.keys._KEYS", 2)
    keys = metadata.tables["keys"]
    for number in range(4):
        client.post("/v1/surveys", case_document(), Idempotency_Key=f"k{number}")
        with service.database.write() as connection:
            connection.execute(update(keys).values(created=keys.c.created - 1))
    assert count_of(service, keys) == 2
    assert len(client.get("/v1/surveys").json["items"]) == 4
    again = client.post("/v1/surveys", case_document(), Idempotency_Key="k3")
    assert again.headers["Idempotency-Replayed"] == "true"


def run(data: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return command(*arguments, "--data", str(data))


def test_backup_and_check(tmp_path: Path) -> None:
    """A copy made while the store is in use is a store."""
    token = run(tmp_path / "d", "token", "add", "planner").stdout.strip()
    assert run(tmp_path / "d", "store", "check").stdout == "sound\n"
    (tmp_path / "copy").mkdir()
    copy = str(file_of(tmp_path / "copy"))
    with closing(sqlite3.connect(file_of(tmp_path / "d"))) as in_use:
        in_use.execute("BEGIN")
        assert run(tmp_path / "d", "store", "backup", copy).returncode == 0
    assert Path(copy).stat().st_mode & 0o777 == 0o600
    assert run(tmp_path / "copy", "token", "list").stdout == "planner\t1\n"
    assert token
    refused = run(tmp_path / "d", "store", "backup", copy)
    assert refused.returncode == 2
    assert "exists" in refused.stderr


def test_a_full_disk_has_room_for_an_error_and_none_for_a_result(
    client: Client, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    survey = client.post("/v1/surveys", case_document(2)).json["id"]
    client.post("/v1/batches", {"items": [{"survey": survey}]})
    first, second = (claim(service.database, worker) for worker in ("a", "b"))
    assert first is not None and second is not None
    write = Database.write
    full = [True]

    @contextmanager
    def no_room(database: Database) -> Iterator[Connection]:
        if full and full.pop():
            raise FullStoreError("no room")
        with write(database) as connection:
            yield connection

    monkeypatch.setattr(Database, "write", no_room)
    monkeypatch.setattr(Database, "let_go_of_room", lambda _: True)
    with pytest.raises(FullStoreError):
        finish(service.database, first["id"], "a", result={"a": 1})
    full.append(True)
    assert finish(service.database, second["id"], "b", error={"title": "failed"})
    assert not full
