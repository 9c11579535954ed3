"""The store by a clock of its own: who may ask, whose turn it is, what is put back, forgotten."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import insert, select, update

from api.store import jobs as jobs_module
from api.store import keys as keys_module
from api.store import leases, retention, sessions, sqlite_file, surveys, tokens, turns
from api.store.batches import (
    batch_counts,
    deleted_surveys,
    drop_batch,
    find_batch,
    find_batches,
    finished_after,
    results_after,
    results_of,
    rows_of,
)
from api.store.database import Database, open_database, sqlite_url
from api.store.ids import derived_ids, is_id
from api.store.jobs import Job, Queue, RefusedError
from api.store.pages import cursor_of, page, read_cursor
from api.store.tables import batches, jobs, keys, survey_files
from api.store.tables import surveys as survey_table
from api.store.tables import turns as turn_table

Recorded = Callable[..., None]
ROOM = Queue(100, 1000)


class Clock:
    """Seconds since 1970, as the test says."""

    def __init__(self) -> None:
        self.now = 1_000_000.0

    def __call__(self, _: Any) -> float:
        return self.now


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("store")
    open_database(sqlite_url(folder)).close()
    return folder


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    for module in (jobs_module, keys_module, leases, retention, sessions, surveys, tokens, turns):
        monkeypatch.setattr(module, "moment", clock)
    return clock


@pytest.fixture
def database(made: Path, tmp_path: Path, clock: Clock) -> Iterator[Database]:
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    database = open_database(sqlite_url(tmp_path))
    yield database
    database.close()


def one_of(prefix: str, number: int) -> str:
    return f"{prefix}_{number:032x}"


def job(number: int, **more: Any) -> Job:
    given: dict[str, Any] = {"kind": "strategy", "survey": None, "read_point": "gate"}
    return Job(one_of("st", number), request={"n": number}, **(given | more))


def add(database: Database, client: str, *asked: Job, queue: Queue = ROOM, **more: Any) -> None:
    jobs_module.add_jobs(database, client, asked, queue=queue, **more)


def add_batch(database: Database, client: str, number: int, count: int, **more: Any) -> None:
    asked = [job(1000 * number + n, batch=one_of("ba", number), position=n) for n in range(count)]
    batch = {"id": one_of("ba", number), "label": f"b{number}", "total": count}
    jobs_module.add_jobs(database, client, asked, queue=ROOM, batch=batch, **more)


def rows(database: Database, *columns: str) -> list[list[Any]]:
    """The jobs by id, with the end of it."""
    with database.read() as connection:
        found = connection.execute(select(jobs).order_by(jobs.c.id)).mappings().all()
    return [[row["id"].lstrip("st_0") or "0", *(row[name] for name in columns)] for row in found]


def refused(ask: Callable[[], Any]) -> str:
    try:
        ask()
    except RefusedError as error:
        return f"refused: {error}"
    return "taken"


def test_queues(recorded: Recorded, database: Database, clock: Clock) -> None:
    """Two of a client and three of all; batches have a queue of their own."""
    told = []
    for number, client in enumerate(("a", "a", "a", "b", "c", "d")):
        said = refused(lambda n=number, c=client: add(database, c, job(n), queue=Queue(2, 3)))
        told.append([client, said])
    told.append(["batch", refused(lambda: add_batch(database, "a", 1, 2))])
    found = {"result": {"x": 1}}
    told.append(["found", refused(lambda: add(database, "a", job(50, **found), queue=Queue(0, 0)))])
    told.append(["again", refused(lambda: add(database, "a", job(0), queue=Queue(0, 0)))])
    told.append(["batch again", refused(lambda: add_batch(database, "a", 1, 2))])
    gone = {"id": one_of("su", 7), "digest": "d"}
    told.append(["gone", refused(lambda: add(database, "e", job(60, survey=gone)))])
    recorded(
        {
            "told": told,
            "rows": rows(database, "client", "state", "created", "finished", "size", "attempts"),
            "counts": jobs_module.count_states(database),
            "clients": jobs_module.jobs_by_client(database),
            "turns": turn_rows(database),
        }
    )


def turn_rows(database: Database) -> list[list[Any]]:
    with database.read() as connection:
        found = connection.execute(select(turn_table).order_by(turn_table.c.client))
        return [list(row) for row in found]


def claimed(database: Database, worker: str, **more: Any) -> Any:
    row = leases.claim(database, worker, **more)
    return None if row is None else [row["id"][-4:], row["client"], row["left_s"]]


def test_turns(recorded: Recorded, database: Database, clock: Clock) -> None:
    """Those waited for first; then who has fewest running; one worker is kept free."""
    for number, client in enumerate(("a", "a", "a", "a", "b", "b", "c")):
        clock.now += 0.25
        more = {"waits_s": 10.0} if number in (3, 5) else {}
        add(database, client, job(number), **more)
    told = []
    for n in range(4):
        told.append(claimed(database, f"h-1.any.{n}", places=3))
    told.append(claimed(database, "h-1.interactive.9", interactive_only=True))
    told += [claimed(database, f"h-2.any.{n}", places=1) for n in range(4)]
    clock.now += 59.0
    add(database, "a", *(job(100 + n) for n in range(4)))
    leases.release(database, "h-1.any.0", blamed=False)
    for wait in (0.0, 0.99, 0.02, 2.0):
        clock.now += wait
        told.append([clock.now, claimed(database, f"h-1.any.{clock.now}", places=2)])
    recorded({"told": told, "rows": rows(database, "state", "worker", "lease_until", "ends_by")})


def test_interactive_work_in_time(recorded: Recorded, database: Database, clock: Clock) -> None:
    add(database, "a", job(1), waits_s=5.0)
    add(database, "a", job(2))
    told = [claimed(database, "h.any.1", interactive_only=True)]
    add(database, "b", job(3), waits_s=5.0)
    clock.now += 5.0
    told.append(claimed(database, "h.any.2", interactive_only=True))
    told.append(claimed(database, "h.any.3"))
    told.append(claimed(database, "h.any.4"))
    recorded({"told": told, "turns": turn_rows(database)})


def test_workers_taken_back(recorded: Recorded, database: Database, clock: Clock) -> None:
    """Who has more than its share gives a worker back to whoever waits for 1.5 s."""
    told: dict[str, Any] = {}
    for places in (1, 2, 3, 4):
        with database.write() as connection:
            connection.execute(jobs.delete())
            connection.execute(turn_table.delete())
        add(database, "a", *(job(n) for n in range(places + 2)), limit_s=100.0)
        for n in range(places):
            clock.now += 0.125
            claimed(database, f"h.any.{n}", places=places)
        add(database, "b", job(50))
        add(database, "c", job(60), waits_s=30.0)
        for wait in (0.0, 1.5, 0.01, 30.0):
            clock.now += wait
            told[f"{places} {wait}"] = [
                turns.worker_to_take_back(database, "h", n) for n in range(1, places + 2)
            ]
        claimed(database, "h.interactive.9", interactive_only=True)
        told[f"{places} after"] = turns.worker_to_take_back(database, "h", places)
        told[f"{places} others"] = turns.worker_to_take_back(database, "g", places)
    told["groups"] = [turns.group_of(name) for name in ("h-1.any.5f", "h.x.any.5", "h")]
    recorded(told)


def test_leases(recorded: Recorded, database: Database, clock: Clock) -> None:
    """What becomes of work whose worker renews, ends, is late, or has nobody waiting for it."""
    for n in range(6):
        add(database, "a", job(n), limit_s=None if n % 2 else 50.0)
    add(database, "a", job(7), waits_s=20.0, limit_s=50.0)
    add_batch(database, "b", 1, 3)
    told: dict[str, Any] = {}
    names = [f"h.any.{n}" for n in range(6)]
    told["claimed"] = [claimed(database, name) for name in names]
    clock.now += 20.0
    told["renewed"] = leases.renew(database, names[:2])
    leases.note_progress(database, at_work(database, names[0]), names[0], '{"bound": 1}')
    told["held"] = leases.held(database, names)
    clock.now += 10.0
    leases.sweep(database)
    told["at the end"] = rows(database, "state", "worker", "attempts", "lease_until")
    clock.now += 0.5
    leases.sweep(database)
    told["swept"] = rows(database, "state", "worker", "attempts", "lease_until", "progress")
    clock.now += 19.5
    told["late"] = [leases.end_late(database, at_work(database, n), n) for n in names[:2]]
    clock.now += 0.5
    told["held late"] = leases.held(database, names)
    told["late again"] = [leases.end_late(database, at_work(database, n), n) for n in names[:2]]
    told["errors"] = rows(database, "state", "error", "finished")
    recorded(told)


def at_work(database: Database, worker: str) -> str:
    with database.read() as connection:
        found = select(jobs.c.id).where(jobs.c.worker == worker)
        return str(connection.execute(found).scalar_one_or_none())


def test_attempts(recorded: Recorded, database: Database, clock: Clock) -> None:
    add(database, "a", job(1))
    add_batch(database, "a", 1, 1)
    told = []
    for attempt in range(4):
        for n in (1, 2):
            claimed(database, f"h.any.{n}")
        told.append([leases.release(database, f"h.any.{n}", blamed=attempt != 1) for n in (1, 2)])
        told.append(rows(database, "state", "attempts", "error", "seq"))
    told.append(leases.take_back_all(database))
    recorded(told)


def test_finished_work(recorded: Recorded, database: Database, clock: Clock) -> None:
    add_batch(database, "a", 1, 4)
    add(database, "a", job(1))
    told: dict[str, Any] = {}
    for n in range(5):
        claimed(database, f"h.any.{n}")
    for n, more in ((3, {"result": {"loss": 1}}), (1, {"error": {"problem": "x"}})):
        clock.now += 1.0
        id_of = at_work(database, f"h.any.{n}")
        told[f"done {n}"] = leases.finish(database, id_of, f"h.any.{n}", **more)
        told[f"again {n}"] = leases.finish(database, id_of, f"h.any.{n}", **more)
    jobs_module.cancel(database, jobs.c.batch == one_of("ba", 1), batch=one_of("ba", 1))
    told["cancelled"] = rows(database, "state", "seq", "finished", "worker", "size")
    id_of = at_work(database, "h.any.2")
    told["too late"] = leases.finish(database, id_of, "h.any.2", result={})
    told["let go"] = rows(database, "state", "worker")
    batch = one_of("ba", 1)
    told["counts"] = batch_counts(database, batch)
    told["after"] = [
        [r["position"] for r in results_after(database, batch, p, 2)] for p in (-1, 0, 2)
    ]
    told["in order"] = [
        [r["seq"] for r in finished_after(database, batch, s, 2)] for s in (0, 1, 5)
    ]
    told["rows"] = [[r["position"], r["state"]] for r in rows_of(database, batch)]
    ids = [one_of("st", 1000 + n) for n in range(4)]
    told["results"] = {key[-4:]: text for key, text in results_of(database, batch, ids).items()}
    told["deleted"] = deleted_surveys(database, batch)
    told["found"] = [find_batch(database, c, batch) is not None for c in ("a", "b")]
    told["batches"] = [dict(row) for row in find_batches(database, "a", 3, None)[0]]
    told["dropped at work"] = drop_batch(database, "a", batch)
    leases.release(database, "h.any.0", blamed=False)
    told["dropped"] = [drop_batch(database, c, batch) for c in ("b", "a")]
    told["left"] = rows(database, "state")
    recorded(told)


def test_what_nobody_asks_for_again(recorded: Recorded, database: Database, clock: Clock) -> None:
    for n, kind in enumerate(("check", "strategy", "sheet", "masks")):
        add(database, "a", job(n, kind=kind), waits_s=None if n == 3 else 10.0)
    add(database, "a", job(9), waits_s=10.0)
    for n in range(4):
        claimed(database, f"h.any.{n}")
        leases.finish(database, at_work(database, f"h.any.{n}"), f"h.any.{n}", result={"n": n})
    told = []
    for wait in (10.0, 1.0, 49.0, 1.0, 11.0):
        clock.now += wait
        leases.sweep(database)
        told.append([clock.now, rows(database, "kind", "state")])
    recorded(told)


def test_answers_found_and_dropped(recorded: Recorded, database: Database, clock: Clock) -> None:
    told: dict[str, Any] = {}
    for n in range(5):
        clock.now += 1.0
        add(database, "ab"[n % 2], job(n, result={"n": n} if n < 3 else None))
    add(database, "a", Job(one_of("st", 7), "sheet", None, "", {"batch": one_of("ba", 3)}))
    add_batch(database, "a", 2, 1)
    told["job"] = [
        jobs_module.find_job(database, c, k, one_of("st", 2)) is not None
        for c, k in (("a", "strategy"), ("b", "strategy"), ("a", "sheet"))
    ]
    found, cursor = jobs_module.find_jobs(database, "a", "strategy", 1, None)
    told["pages"] = [[r["id"][-2:] for r in found], cursor]
    assert cursor is not None
    found, more = jobs_module.find_jobs(database, "a", "strategy", 1, read_cursor(cursor))
    told["second"] = [[r["id"][-2:] for r in found], more]
    for unfinished in (False, True):
        at = jobs_module.find_at_point(
            database, "a", "strategy", ("", "gate"), 9, unfinished=unfinished
        )
        told[f"here {unfinished}"] = [[r["id"][-4:], r["state"]] for r in at]
    told["of batch"] = [
        [
            r["id"][-2:]
            for r in jobs_module.find_of_batch(database, "a", "sheet", one_of("ba", n), 5)
        ]
        for n in (2, 3)
    ]
    claimed(database, "h.any.1")
    told["dropped"] = [
        jobs_module.drop_job(database, "a", "strategy", one_of("st", n)) for n in (0, 1, 4, 2000)
    ]
    jobs_module.drop_refused(database, one_of("st", 4))
    told["rows"] = rows(database, "state", "worker", "finished")
    told["tokens"] = tokens.remove_tokens(database, "a")
    told["cancelled"] = rows(database, "client", "state", "seq")
    recorded(told)


def test_idempotency_keys(recorded: Recorded, database: Database, clock: Clock) -> None:
    told: dict[str, Any] = {}

    def begin(key: str, client: str = "a", digest: str = "d") -> str:
        return keys_module.begin(database, client, key, path="/x", digest=digest).state

    told["new"] = [begin("k"), begin("k"), begin("k", digest="e"), begin("k", "b")]
    clock.now += 90.0
    told["cut off"] = [begin("k"), begin("k")]
    keys_module.complete_key(database, "a", "k", status=201, headers={"L": "1"}, body="ü")
    held = keys_module.begin(database, "a", "k", path="/x", digest="d")
    told["done"] = [held.state, held.status, dict(held.headers or {}), held.body]
    keys_module.forget_key(database, "a", "k")
    keys_module.forget_key(database, "b", "k")
    told["forgotten"] = [begin("k"), begin("k", "b")]
    keys_module.free_keys(database)
    told["freed"] = [begin("k"), begin("k", "b")]
    clock.now += 7 * 86_400.0 - 90.0
    told["a week"] = [begin("k"), begin("other")]
    clock.now += 0.5
    told["later"] = begin("k")
    told["bytes"] = [retention.stored_bytes(database, c) for c in ("a", "b", None)]
    recorded(told)


def test_room_for_the_answers_of_keys(
    recorded: Recorded, database: Database, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three keys of a client, or ten bytes: the oldest go, the newest stays."""
    told = {}
    for name, most, size in (("keys", 3, 10**6), ("bytes", 10**6, 10)):
        monkeypatch.setattr(keys_module, "_KEYS", most)
        monkeypatch.setattr(keys_module, "_BYTES", size)
        for n, body in enumerate(("xxxx", "xxx", "xxx", "x", "xxxxxxxxxxxx")):
            clock.now += 1.0
            keys_module.begin(database, name, f"k{n}", path="/", digest="")
            keys_module.complete_key(database, name, f"k{n}", status=200, headers={}, body=body)
            with database.read() as connection:
                mine = select(keys.c.key).where(keys.c.client == name).order_by(keys.c.key)
                told[f"{name} {n}"] = list(connection.execute(mine).scalars())
    recorded(told)


def test_retention(recorded: Recorded, database: Database, clock: Clock) -> None:
    """By age and by bytes: answers and batches before the survey that they are of."""
    told: dict[str, Any] = {}
    day = 86_400.0
    for n in range(3):
        files = {"reads.csv": b"x" * 50, "site.json": b"{}"}
        row = surveys.add_survey(database, one_of("su", n), "a", label=f"s{n}", files=files)
        surveys.accept_survey(database, one_of("su", n), {"n": n})
        add(database, "a", job(n, survey=row, result={"n": n}))
        clock.now += day
    add_batch(database, "b", 1, 2)
    told["bytes"] = [retention.stored_bytes(database, c) for c in ("a", "b", None)]

    def left() -> list[Any]:
        with database.read() as connection:
            found = [
                len(connection.execute(select(table)).all())
                for table in (survey_table, survey_files, jobs, batches)
            ]
        return [*found, retention.stored_bytes(database)]

    for most in (136, 135, 110):
        count = retention.forget(database, retention.Retention(total_bytes=most))
        told[f"at first {most} bytes"] = [count, *left()]
    for days in (3.0, 2.5, 2.0, 0.5):
        count = retention.forget(database, retention.Retention(days=days))
        told[f"{days} days"] = [count, *left()]
    for most in (22, 0):
        count = retention.forget(database, retention.Retention(total_bytes=most))
        told[f"{most} bytes"] = [count, *left()]
    jobs_module.cancel(database, jobs.c.client == "b")
    clock.now += 1.0
    told["cancelled"] = [retention.forget(database, retention.Retention(total_bytes=0)), *left()]
    told["stopped"] = retention.forget(database, retention.Retention(days=0.0), lambda: True)
    recorded(told)


def test_many_things_forgotten(recorded: Recorded, database: Database, clock: Clock) -> None:
    add(database, "a", *(job(n, result={}) for n in range(45)))
    clock.now += 1.0
    steps = iter((False, True))
    keep = retention.Retention(days=0.0)
    recorded([retention.forget(database, keep, lambda: next(steps)), len(rows(database))])


def test_surveys_kept(recorded: Recorded, database: Database, clock: Clock) -> None:
    files = {"survey.json": b'{"site": {}}'}
    told: dict[str, Any] = {"digest": surveys.digest_of(files)}

    def listed(client: str = "a") -> list[str]:
        return [row["label"] for row in surveys.find_surveys(database, client, 9, None)[0]]

    for n in range(3):
        surveys.add_survey(database, one_of("su", n), "a", label=f"s{n}", files=files)
        clock.now += 300.0
        if n == 1:
            surveys.accept_survey(database, one_of("su", 1), {"ok": True})
    told["listed"] = [listed(), listed("b")]
    told["there"] = [len(surveys.files_of(database, one_of("su", n))) for n in range(3)]
    surveys.replace_files(database, one_of("su", 2), {"reads.csv": b"1", "site.json": b"2"})
    surveys.replace_files(database, one_of("su", 1), {"reads.csv": b"1"})
    told["replaced"] = [sorted(surveys.files_of(database, one_of("su", n))) for n in range(3)]
    told["file"] = [
        str(surveys.survey_file(database, one_of("su", 2), name)) for name in ("reads.csv", "x")
    ]
    clock.now += 1.0
    surveys.add_survey(database, one_of("su", 5), "a", label="s5", files=files)
    told["left behind"] = [len(surveys.files_of(database, one_of("su", n))) for n in range(3)]
    told["found"] = [
        surveys.find_survey(database, c, one_of("su", n)) is not None
        for c, n in (("a", 1), ("b", 1), ("a", 2))
    ]
    row = surveys.find_survey(database, "a", one_of("su", 1))
    add(database, "a", job(1, survey=row))
    told["needed"] = surveys.drop_survey(database, "a", one_of("su", 1))
    with database.write() as connection:
        connection.execute(update(jobs).values(kind="sheet"))
    told["a sheet"] = [surveys.drop_survey(database, c, one_of("su", 1)) for c in ("b", "a")]
    told["gone"] = listed()
    recorded(told)


def test_sessions(recorded: Recorded, database: Database, clock: Clock) -> None:
    token = tokens.add_token(database, "a")
    clock.now += 1.0
    newer = tokens.add_token(database, "a")
    digests = [tokens.digest_of_token(one) for one in (token, newer)]
    secret = sessions.open_session(database, digests[0])
    assert secret is not None
    told: dict[str, Any] = {
        "newest": tokens.newest_token(database, "a") == digests[1],
        "clients": tokens.list_clients(database),
        "no token": sessions.open_session(database, "none"),
        "names": [tokens.is_client_name(n) for n in ("a", "", "a b", "a" * 64, "a" * 65)],
    }
    for wait in (0.0, 43_199.0, 1.0):
        clock.now += wait
        told[f"after {clock.now:.0f}"] = sessions.client_of_session(database, secret)
    other = sessions.open_session(database, digests[1])
    assert other is not None
    told["closed"] = [sessions.client_of_session(database, other)]
    sessions.close_session(database, other)
    told["closed"] += [sessions.client_of_session(database, other)]
    told["removed"] = [tokens.remove_tokens(database, c) for c in ("b", "a")]
    told["none"] = tokens.client_of(database, token)
    recorded(told)


def test_pages(recorded: Recorded, database: Database, clock: Clock) -> None:
    with database.write() as connection:
        for n in range(5):
            row = {"id": one_of("ba", n), "client": "a", "created": 10.0 + n // 2, "label": ""}
            connection.execute(insert(batches).values(**row, total=1))
        after, told = None, []
        for _ in range(4):
            found, cursor = page(connection, batches, batches.c.client == "a", 2, after)
            told.append([[row["id"][-1] for row in found], cursor])
            if cursor is None:
                break
            after = read_cursor(cursor)
        whole = [page(connection, batches, batches.c.client == "a", n, None)[1] for n in (4, 5, 6)]
        first = connection.execute(select(batches)).mappings().first()
        assert first is not None
    cursors = ("", "x", cursor_of(first), cursor_of(first)[:-1], "MTAuMCBiYV8x", "ü")
    ids = [one_of("su", 1), "su_1", one_of("SU", 1), one_of("su", 1) + "\n", f"x{one_of('su', 1)}"]
    recorded(
        {
            "pages": told,
            "whole": whole,
            "cursors": [read_cursor(cursor) for cursor in cursors],
            "ids": [is_id(one) for one in ids],
            "derived": derived_ids("n")("su"),
        }
    )


def test_a_worker_kept_free(recorded: Recorded, database: Database, clock: Clock) -> None:
    """Who alone waits has all workers but one while others asked or were served in the last
    minute; names of groups are taken as they are."""
    told: dict[str, Any] = {}
    add(database, "b", job(1, result={}))
    add(database, "b", job(2))
    claimed(database, "g.any.1")
    for names in ("h_1", "hx1"):
        told[names] = []
        with database.write() as connection:
            connection.execute(jobs.delete().where(jobs.c.client == "a"))
        add(database, "a", *(job(100 + n) for n in range(6)))
        add(database, "a", job(200), waits_s=100.0)
        for places in (1, 2, 3, 3, 3):
            told[names].append(claimed(database, f"{names}.any.{len(told[names])}", places=places))
        told[names].append(claimed(database, f"{names}.x.9", interactive_only=True, places=2))
    for wait in (59.0, 1.0, 0.5):
        clock.now += wait
        told[f"after {wait}"] = claimed(database, f"hx1.any.{clock.now}", places=2)
    told["taken back"] = turns.worker_to_take_back(database, "h_1", 1)
    recorded(told)


def test_who_gives_a_worker_back(recorded: Recorded, database: Database, clock: Clock) -> None:
    """The job that was taken up last, whatever its limit; not where workers are free or shares
    are alike, and not for who waits no longer."""
    for n, limit in enumerate((500.0, 10.0, 100.0)):
        clock.now += 1.0
        add(database, "a", job(n), limit_s=limit)
        claimed(database, f"h.any.{n}", places=3)
    told = [turns.worker_to_take_back(database, "h", places) for places in (2, 3, 4)]
    add(database, "b", job(10), waits_s=5.0)
    add(database, "b", job(11))
    clock.now += 2.0
    told += [turns.worker_to_take_back(database, "h", places) for places in (2, 3, 4)]
    claimed(database, "h.interactive.1", interactive_only=True)
    told.append(turns.worker_to_take_back(database, "h", 3))
    add(database, "c", job(20), waits_s=3.0)
    for wait in (2.0, 1.0, 0.5):
        clock.now += wait
        told.append(turns.worker_to_take_back(database, "h", 3))
    recorded(told)


def test_whose_work_it_is(recorded: Recorded, database: Database, clock: Clock) -> None:
    told: dict[str, Any] = {}
    add(database, "a", job(1), job(2), job(3), limit_s=50.0)
    for n in (1, 2):
        claimed(database, f"h.any.{n}")
    told["another's"] = [
        leases.finish(database, at_work(database, "h.any.1"), "h.any.2", result={}),
        leases.finish(database, "none", "h.any.2", result={}),
    ]
    told["rows"] = rows(database, "state", "worker")
    clock.now += 50.0
    told["at the end"] = leases.held(database, ["h.any.1"])
    told["taken back"] = leases.take_back_all(database)
    told["waiting"] = rows(database, "state", "worker", "attempts")
    claimed(database, "h.any.1")
    told["done"] = leases.finish(database, at_work(database, "h.any.1"), "h.any.1", result={"ü": 1})
    for value in (float("nan"), float("inf")):
        with pytest.raises(ValueError, match="JSON"):
            leases.finish(database, "x", "h.any.1", result={"x": value})
        with pytest.raises(ValueError, match="JSON"):
            add(database, "a", Job("st_x", "strategy", None, "", {"x": value}))
    add(database, "a", Job(one_of("st", 9), "strategy", None, "", {"x": "ü"}))
    add(database, "a", job(10), waits_s=5.0)
    told["sizes"] = rows(database, "size", "result", "request")
    for wait in (5.0, 0.5):
        clock.now += wait
        leases.sweep(database)
        told[f"waits {wait}"] = rows(database, "state")
    told["a new client"] = refused(lambda: add(database, "n", job(30), queue=Queue(1, 99)))
    told["its second"] = refused(lambda: add(database, "n", job(31), queue=Queue(1, 99)))
    recorded(told)


def test_what_is_dropped_and_cancelled(
    recorded: Recorded, database: Database, clock: Clock
) -> None:
    told: dict[str, Any] = {}
    for number, client in ((1, "a"), (2, "a"), (3, "b")):
        add_batch(database, client, number, 2)
    add(database, "a", job(1), job(2))
    add(database, "b", Job(one_of("st", 7), "sheet", None, "", {"batch": one_of("ba", 1)}))
    add(database, "a", Job(one_of("st", 8), "plan", None, "", {"batch": one_of("ba", 1)}))
    add(database, "a", Job(one_of("st", 6), "sheet", None, "", {"batch": one_of("ba", 1)}))
    told["of batch"] = [
        [row["id"][-1] for row in jobs_module.find_of_batch(database, c, k, one_of("ba", 1), 9)]
        for c, k in (("a", "sheet"), ("b", "sheet"), ("a", "plan"), ("b", "plan"))
    ]
    told["here"] = len(jobs_module.find_at_point(database, "a", "strategy", ("", "gate"), 9))
    jobs_module.cancel(database, jobs.c.batch == one_of("ba", 1), batch=one_of("ba", 1))
    with database.read() as connection:
        found = connection.execute(select(batches.c.cancelled).order_by(batches.c.id))
        told["batches"] = list(found.scalars())
    jobs_module.cancel(database, jobs.c.id.in_([one_of("st", 1), one_of("st", 7)]))
    jobs_module.drop_refused(database, one_of("st", 1))
    told["rows"] = rows(database, "client", "state")
    with database.write() as connection:
        told["all"] = [jobs_module.cancel_all(connection, client) for client in ("a", "a", "b")]
    recorded(told)


def test_keys_of_others(
    recorded: Recorded, database: Database, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: dict[str, Any] = {}

    def begin(client: str, key: str) -> Any:
        return keys_module.begin(database, client, key, path="/x", digest="d")

    told["nonce"] = len(begin("a", "k").nonce)
    for client, key in (("a", "l"), ("b", "k")):
        begin(client, key)
    keys_module.forget_key(database, "a", "k")
    told["left"] = [begin(c, k).state for c, k in (("a", "l"), ("b", "k"), ("a", "k"))]
    for n, body in enumerate(("xxxx", "xxx", "xxx", "xx", "x", "")):
        clock.now += 1.0
        begin("c", f"k{n}")
        keys_module.complete_key(database, "c", f"k{n}", status=200, headers={}, body=body)
    for name, most, size in (("bytes", 99, 9), ("fewer", 4, 99), ("two", 2, 99)):
        monkeypatch.setattr(keys_module, "_KEYS", most)
        monkeypatch.setattr(keys_module, "_BYTES", size)
        keys_module.complete_key(database, "c", "k5", status=200, headers={}, body="")
        with database.read() as connection:
            mine = select(keys.c.key).where(keys.c.client == "c").order_by(keys.c.key)
            told[name] = list(connection.execute(mine).scalars())
    recorded(told)


def test_what_is_old_enough(recorded: Recorded, database: Database, clock: Clock) -> None:
    """Just a day old is not older; a batch stays while any of it is open, and what a worker is
    at."""
    add(database, "a", job(1, result={}), job(2))
    claimed(database, "h.any.1")
    jobs_module.cancel(database, jobs.c.id == one_of("st", 2))
    for number in (1, 2):
        add_batch(database, "a", number, 1)
    jobs_module.cancel(database, jobs.c.batch == one_of("ba", 1), batch=one_of("ba", 1))
    surveys.add_survey(database, one_of("su", 1), "a", label="", files={"reads.csv": b""})
    told = []
    for wait in (86_400.0, 0.5):
        clock.now += wait
        count = retention.forget(database, retention.Retention(days=1.0))
        with database.read() as connection:
            left = [len(connection.execute(select(t)).all()) for t in (batches, survey_table)]
        told.append([count, left, rows(database, "state", "worker")])
    recorded(told)


def test_limits_of_time_and_room(recorded: Recorded) -> None:
    """As they are written where no test has the time or the room to come to them."""
    recorded(
        {
            "keys": [keys_module.KEPT_S, keys_module._BYTES, keys_module._KEYS],
            "in progress": keys_module._PROGRESS_S,
            "leases": [leases.LEASE_S, leases.ATTEMPTS_MAX, leases._LIMIT_S, leases._FORGET_S],
            "turns": [turns._LATELY_S, turns._PATIENCE_S],
            "sessions": sessions.SESSION_S,
            "surveys": [surveys._CHECKED_IN_S, surveys._CASES_KEPT],
            "retention": [retention._DAY_S, retention._STEP],
        }
    )


@pytest.mark.parametrize("kept", [1, 400, 10_000])
def test_the_log_is_bounded_by_the_room_beside_the_store(
    recorded: Recorded, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kept: int
) -> None:
    """A quarter of what is kept there, in pages, within 16 and 1,000."""
    asked: list[Path] = []

    def room(folder: Path) -> int:
        asked.append(folder)
        return kept * sqlite_file._PAGE

    monkeypatch.setattr(sqlite_file, "_kept_bytes", room)
    engine = sqlite_file.sqlite_engine(sqlite_url(tmp_path), 1)
    with engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA wal_autocheckpoint").scalar_one()
    engine.dispose()
    assert asked == [tmp_path]
    recorded(pages)
