"""Attacks on a server by one clock, one full disk, or by who has no token at all.

Each function starts a server of its own (of the tree at `root`), attacks it, and gives what it saw.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.api.given import case_document
from tests.api.live import HANG_S, ROOT, Live, client_token
from tests.bench.greedy import HARD, upload_case

_TAKEN_BACK_S = 60.0  # the server looks every few seconds whether there is room again
SHIFT = "import time\n_real = time.time\ntime.time = lambda: _real() + ({shift})\n"


@dataclass
class Shifted:
    """What came of work done by a worker whose clock is wrong."""

    points: int
    done: int
    rows: int
    interactive: int
    answered: int


def by_a_worker_with_another_clock(
    folder: Path, shift_s: float, *, points: int, interactive: int, root: Path = ROOT
) -> Shifted:
    """A server without workers, and one worker elsewhere whose `time.time` is off."""
    data, site = folder / "data", folder / "site"
    site.mkdir(parents=True)
    (site / "sitecustomize.py").write_text(SHIFT.format(shift=shift_s))
    token = client_token(data, root=root)
    environment = os.environ | {"PYTHONPATH": str(site)}
    with Live(data, "--workers", "0", token=token, root=root) as live:
        command = [sys.executable, "-m", "api", "work", "--data", str(data)]
        with (folder / "work.log").open("w") as log:
            work = subprocess.Popen(command, cwd=root, env=environment, stderr=log)
        try:
            return _work_for(live, points, interactive)
        finally:
            work.terminate()
            work.wait(HANG_S)


def _work_for(live: Live, points: int, interactive: int) -> Shifted:
    survey = live.made("/v1/surveys", case_document(points))["id"]
    hard = upload_case(live)
    items = [{"survey": hard, "read_points": [HARD["read_point"]]}, {"survey": survey}]
    batch = live.ask("POST", "/v1/batches", {"items": items}).json["id"]
    path = f"/v1/batches/{batch}"
    lines = live.ask("GET", f"{path}/results", Accept="application/x-ndjson", timeout=300)
    rows = [json.loads(line) for line in lines.body.splitlines()]
    body = {"survey": survey, "read_point": "gate-1", "options": {"time_limit_s": 20}}
    answers = [live.ask("POST", "/v1/strategies", body).status for _ in range(interactive)]
    counts = live.ask("GET", path).json["counts"]
    whole = sum("position" in row for row in rows)
    return Shifted(points + 1, counts["done"], whole, interactive, answers.count(201))


@contextlib.contextmanager
def small_disk(folder: Path, size: str) -> Iterator[bool]:
    """A file system of so much; False where there is no right to mount one."""
    folder.mkdir(parents=True)
    command = ["mount", "-t", "tmpfs", "-o", f"size={size},mode=700", "none", str(folder)]
    mounted = subprocess.run(command, capture_output=True, check=False).returncode == 0
    try:
        yield mounted
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)


@dataclass
class Full:
    """What a store on a full disk did."""

    uploads: int
    deletes: dict[int, int]
    ready_after: int
    ready_after_restart: int
    bytes_full: int
    bytes_after: int


def on_a_full_disk(data: Path, *, root: Path = ROOT) -> Full:
    """Upload until there is no room, restart, and delete everything."""
    token = client_token(data, root=root)
    file = data / "strategist.sqlite3"
    deletes: dict[int, int] = {}
    live = Live(data, "--workers", "1", token=token, root=root)
    with live:
        live.ready()
        made = []
        for number in range(10_000):
            document = case_document(30, passes=12, shift=number % 9)
            reply = live.ask("POST", f"/v1/surveys?label={number}", document)
            if reply.status != 201:
                break
            made.append(reply.json["id"])
        _take_the_rest(data)
        full = file.stat().st_size
        live.stop()
    with contextlib.suppress(AssertionError), live:
        restarted = live.ask("GET", "/readyz").status
        for survey in made:
            status = live.ask("DELETE", f"/v1/surveys/{survey}").status
            deletes[status] = deletes.get(status, 0) + 1
        end = time.monotonic() + HANG_S
        while live.ask("GET", "/readyz").status != 200 and time.monotonic() < end:
            time.sleep(0.5)
        end = time.monotonic() + HANG_S
        while file.stat().st_size >= full / 2 and time.monotonic() < end:
            time.sleep(0.5)  # deleted pages are given back a few at a time
        after = live.ask("GET", "/readyz").status
        return Full(len(made), deletes, after, restarted, full, file.stat().st_size)
    return Full(len(made), deletes, 0, 0, full, file.stat().st_size)


def _take_the_rest(data: Path) -> None:
    """Another program takes all room but the reserve: what the last upload let go of is taken back
    before, and where work that was still under way lets go of it just then, all begins anew."""
    reserve, filler = data / "reserve", data / "filler"
    end = time.monotonic() + _TAKEN_BACK_S
    while reserve.exists() and time.monotonic() < end:
        if reserve.stat().st_size:
            fill(filler)
            if reserve.stat().st_size:
                return
            filler.unlink()
        time.sleep(0.2)
    fill(filler)


def fill(path: Path) -> None:
    """Write until there is no room left."""
    file = os.open(path, os.O_WRONLY | os.O_CREAT)
    with contextlib.suppress(OSError):
        while True:
            os.write(file, 4096 * b"x")
    os.close(file)


@dataclass
class AtTheDoor:
    """What came of requests of who has no token, or never ends one."""

    spooled_bytes: int
    refused: list[int]
    let_in: int
    slowest_s: float


def without_a_token(folder: Path, *, bodies: int, halves: int, root: Path = ROOT) -> AtTheDoor:
    """Long bodies without a token, then connections whose requests never end."""
    data = folder / "data"
    with Live(data, "--workers", "0", token=client_token(data, root=root), root=root) as live:
        assert live.process is not None
        place = live.url.removeprefix("http://").split(":")
        address = (place[0], int(place[1]))
        sent = [_long_body(address) for _ in range(bodies)]
        time.sleep(1)
        spooled = spooled_bytes(live.process.pid)
        refused = [_status(connection) for connection in sent]
        held = []
        for _ in range(halves):
            with contextlib.suppress(OSError):
                connection = socket.create_connection(address, timeout=2)
                connection.sendall(b"POST /v1/surveys HTTP/1.1\r\nHost: x\r\n")
                held.append(connection)
        let_in, slowest = 0, 0.0
        for _ in range(5):
            began = time.monotonic()
            with contextlib.suppress(OSError):
                let_in += live.ask("GET", "/v1", timeout=60).status == 200
            slowest = max(slowest, time.monotonic() - began)
        for connection in held:
            connection.close()
        return AtTheDoor(spooled, refused, let_in, slowest)


def _long_body(address: tuple[str, int]) -> socket.socket:
    """A connection that has sent 60 MB of a body to where 1 MB is the limit, or was stopped."""
    connection = socket.create_connection(address, timeout=60)
    size = 60 * 2**20
    head = f"POST /v1/strategies HTTP/1.1\r\nHost: x\r\nContent-Length: {size + 1}\r\n\r\n"
    with contextlib.suppress(OSError):
        connection.sendall(head.encode())
        for _ in range(60):
            connection.sendall(2**20 * b"x")
    return connection


def _status(connection: socket.socket) -> int:
    """The status that came, 0: none within a minute."""
    connection.settimeout(60)
    try:
        said = connection.recv(4096)
    except OSError:
        said = b""
    connection.close()
    return int(said.split()[1]) if said.startswith(b"HTTP/") else 0


def spooled_bytes(pid: int) -> int:
    """Bytes of unnamed files that a process has open."""
    total = 0
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        with contextlib.suppress(OSError):
            if os.readlink(entry).endswith("(deleted)"):
                total += entry.stat().st_size
    return total
