"""kill -9, a stop in good order, and a store without room or without leave to write."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.api.given import case_document
from tests.api.live import ROOT, Live, Reply, client_token, wait_until
from tests.bench.api_kill import kill_test
from tests.bench.attacks import fill, on_a_full_disk
from tests.bench.attacks import small_disk as small_disk_of


def test_nothing_is_lost_or_done_twice(tmp_path: Path) -> None:
    """Server and workers are killed in the middle, twice; the bench does it 20 times."""
    report = kill_test(tmp_path, kills=2, read_points=12, workers=1, pause_s=15.0)
    assert report.sound, report


def test_killed_worker_then_a_stop_in_good_order(tmp_path: Path) -> None:
    """At SIGTERM what is in flight is answered, and the batch goes on at the next start."""
    token = client_token(tmp_path / "data")
    with Live(tmp_path / "data", "--workers", "1", token=token) as live:
        survey = live.ask("POST", "/v1/surveys", case_document(40)).json["id"]
        batch = live.ask("POST", "/v1/batches", {"items": [{"survey": survey}]}).json["id"]
        wait_until(lambda: counts(live, batch)["done"] > 0)
        before = set(live.workers())
        assert len(before) == 2
        for pid in before:
            os.kill(pid, signal.SIGKILL)
        done = counts(live, batch)["done"]
        wait_until(lambda: counts(live, batch)["done"] > done or done == 40)
        after = set(live.workers())
        assert not before & after
        replies: list[Reply] = []
        body = {"survey": survey, "read_point": "gate-1", "options": {"time_limit_s": 30}}
        thread = threading.Thread(
            target=lambda: replies.append(live.ask("POST", "/v1/strategies", body))
        )
        thread.start()
        time.sleep(0.2)
        assert live.stop() == 0
        thread.join()
        assert replies[0].status == 201
        assert not any(Path(f"/proc/{pid}").exists() for pid in after)
        live.start()
        second = Live(tmp_path / "data")
        with pytest.raises(AssertionError, match="another server is using"):
            second.start()
        wait_until(lambda: counts(live, batch)["done"] == 40)


def counts(live: Live, batch: str) -> dict[str, int]:
    return dict(live.ask("GET", f"/v1/batches/{batch}").json["counts"])


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 3 MB."""
    folder = tmp_path / "small"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=3m,mode=700", "none", str(folder)]
    mounted = subprocess.run(command, capture_output=True, check=False)
    if mounted.returncode:
        pytest.skip("no right to mount a small file system")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def is_sound(database: Path) -> bool:
    with closing(sqlite3.connect(database)) as connection:
        return bool(connection.execute("PRAGMA integrity_check").fetchone() == ("ok",))


def test_full_disk(small_disk: Path) -> None:
    """507 while it is full, nothing half stored, and as before once there is room."""
    data = small_disk / "data"
    token = client_token(data)
    with Live(data, "--workers", "1", token=token) as live:
        survey = live.ask("POST", "/v1/surveys", case_document()).json["id"]
        filler = small_disk / "filler"
        fill(filler)
        assert filler.stat().st_size > 0
        documents = [case_document(40, shift=n) for n in range(8)]
        replies = [live.ask("POST", "/v1/surveys", document) for document in documents]
        refused = [reply for reply in replies if reply.status != 201]
        assert refused, "the disk is full"
        assert {reply.status for reply in refused} == {507}
        assert {reply.json["type"] for reply in refused} == {"/docs#problem-full-store"}
        assert live.ask("GET", f"/v1/surveys/{survey}").status == 200
        stored = live.ask("GET", "/v1/surveys").json["items"]
        assert len(stored) == 1 + len(replies) - len(refused)
        filler.unlink()
        assert live.ask("POST", "/v1/surveys", documents[0]).status == 201
        live.stop()
    assert is_sound(data / "strategist.sqlite3")


def test_deletes_work_on_a_full_disk(tmp_path: Path) -> None:
    """The short form of `python -m tests.bench.api_attack --only full`."""
    with small_disk_of(tmp_path / "small", "3m") as mounted:
        if not mounted:
            pytest.skip("no right to mount a small file system")
        seen = on_a_full_disk(tmp_path / "small" / "data")
        assert is_sound(tmp_path / "small" / "data" / "strategist.sqlite3")
    assert seen.uploads > 10
    assert seen.deletes == {204: seen.uploads}
    assert seen.ready_after == 200
    assert seen.bytes_after < seen.bytes_full / 2


@pytest.fixture
def immutable() -> Iterator[Callable[[str, Path], bool]]:
    """Takes from files, or gives back, the leave to be written: even root's."""
    marked = []

    def mark(flag: str, folder: Path) -> bool:
        files = [str(file) for file in folder.iterdir() if not file.name.endswith("-shm")]
        marked.extend(files)
        command = ["chattr", flag, *files]
        return subprocess.run(command, capture_output=True, check=False).returncode == 0

    yield mark
    subprocess.run(["chattr", "-i", *marked], capture_output=True, check=False)


def test_store_that_cannot_be_written(
    tmp_path: Path, immutable: Callable[[str, Path], bool]
) -> None:
    """503 and not ready while it lasts; reading goes on; as before when it is over."""
    data = tmp_path / "data"
    token = client_token(data)
    with Live(data, "--workers", "1", token=token) as live:
        survey = live.ask("POST", "/v1/surveys", case_document()).json["id"]
        if not immutable("+i", data):
            pytest.skip("no leave to mark files as immutable here")
        refused = live.ask("POST", "/v1/surveys", case_document())
        assert (refused.status, refused.json["type"]) == (503, "/docs#problem-unavailable")
        assert live.ask("GET", "/readyz").status == 503
        assert live.ask("GET", "/healthz").status == 200
        assert live.ask("GET", f"/v1/surveys/{survey}").status == 200
        immutable("-i", data)
        assert live.ask("POST", "/v1/surveys", case_document()).status == 201
        live.stop()
    assert is_sound(data / "strategist.sqlite3")


def test_folder_that_cannot_be_written_is_refused_at_the_start(small_disk: Path) -> None:
    remount = ["mount", "-o", "remount,ro", str(small_disk)]
    subprocess.run(remount, check=True)
    command = [sys.executable, "-m", "api", "--data", str(small_disk / "data")]
    refused = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    assert refused.returncode == 2
    assert "read-only file system" in refused.stderr
    assert "Traceback" not in refused.stderr
