"""A real server process with its workers, for tests that kill, starve or load it."""

from __future__ import annotations

import contextlib
import copy
import io
import json
import os
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from api.__main__ import main
from api.app import create_app
from api.service import Service
from api.store.database import open_database, sqlite_url
from api.store.tokens import add_token
from tests.api.reading import read_surveys

ROOT = Path(__file__).parent.parent.parent
HANG_S = 900.0  # what takes longer hangs: a loaded machine may take minutes for seconds


@dataclass(frozen=True)
class Reply:
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


class Live:
    """`python -m api` on a free port of loopback; started and killed as often as a test likes."""

    def __init__(
        self,
        data: Path,
        *options: str,
        token: str = "",
        folder: bool = True,
        root: Path = ROOT,
    ) -> None:
        self._root = root
        self._command = [sys.executable, "-m", "api", "--port", "0", *options]
        if folder:
            self._command += ["--data", str(data)]
        self._token = token
        self.log = data.parent / f"{data.name}.log"
        self.process: subprocess.Popen[str] | None = None
        self.url = ""
        self.said = ""  # what it printed after that

    def start(self) -> Live:
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                self._command,
                cwd=self._root,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
            )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()  # said once the port is bound
        if "http://" not in line:
            self.kill()
            raise AssertionError(f"{line}\n{self.log.read_text()[-2000:]}")
        self.url = line.split()[-1]
        return self

    def ready(self, seconds: float = HANG_S) -> Live:
        """Wait until the workers are warm."""
        wait_until(lambda: self.ask("GET", "/readyz").status == 200, seconds)
        return self

    def of(self, token: str) -> Live:
        """The same server for another client."""
        other = copy.copy(self)
        other._token = token
        return other

    def workers(self) -> list[int]:
        """Process ids of the workers of this server."""
        assert self.process is not None
        found = subprocess.run(
            ["ps", "-o", "pid=", "--ppid", str(self.process.pid)],
            capture_output=True,
            text=True,
            check=False,
        )
        return [int(pid) for pid in found.stdout.split()]

    def kill(self, *, workers: bool = True) -> None:
        """kill -9 of the server and, unless told otherwise, of its workers."""
        assert self.process is not None
        for pid in [self.process.pid, *(self.workers() if workers else [])]:
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        self._reap()

    def stop(self) -> int:
        """SIGTERM, and the exit status."""
        assert self.process is not None
        self.process.terminate()
        return self._reap()

    def _reap(self) -> int:
        assert self.process is not None
        status = self.process.wait(HANG_S)
        assert self.process.stdout is not None
        self.said = self.process.stdout.read()
        self.process.stdout.close()
        return status

    def ask(
        self, method: str, path: str, document: Any = None, timeout: float = HANG_S, **headers: str
    ) -> Reply:
        """One request; a refusal is a reply, a connection that breaks raises OSError."""
        data = document
        given = {name.replace("_", "-"): value for name, value in headers.items()}
        if document is not None and not isinstance(document, bytes):
            data = json.dumps(document).encode()
        if document is not None:
            given.setdefault("Content-Type", "application/json")
        if self._token:
            given["Authorization"] = f"Bearer {self._token}"
        request = urllib.request.Request(self.url + path, data, given, method=method)
        try:
            with urllib.request.urlopen(request, timeout=timeout) as reply:
                return Reply(reply.status, reply.headers, reply.read())
        except urllib.error.HTTPError as error:
            with error:
                return Reply(error.code, error.headers, error.read())

    def made(self, path: str, document: Any) -> Any:
        """What a POST makes; sent again while the server has no time for it, as clients do.

        On a loaded machine an answer may take longer than it lets a client wait.
        """
        while True:
            reply = self.ask("POST", path, document)
            if reply.status in (201, 202):
                return reply.json
            kind = reply.json["type"].rpartition("problem-")[2]
            assert kind in ("no-time", "queue-full"), reply.body
            time.sleep(0.5)

    def __enter__(self) -> Live:
        return self.start()

    def __exit__(self, *_: object) -> None:
        if self.process is not None and self.process.poll() is None:
            self.kill()


def wait_until(what: Any, seconds: float = HANG_S) -> None:
    """Wait for a condition that must come true; the bound only ends a test that hangs."""
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "it did not come true in time"
        time.sleep(0.1)


def uploaded(data: Path, document: Any) -> str:
    """The id of a survey of "planner" in a data folder, for a server without a worker to check it;
    taken and checked in this process."""
    database, stop = open_database(sqlite_url(data)), threading.Event()
    reader = threading.Thread(target=read_surveys, args=(database, stop))
    reader.start()
    try:
        token = add_token(database, "planner")
        headers = {"Authorization": f"Bearer {token}"}
        client = create_app(Service(database)).test_client()
        reply = client.post("/v1/surveys", json=document, headers=headers)
        assert reply.status_code == 201, reply.data
        return str(reply.json["id"])
    finally:
        stop.set()
        reader.join()
        database.close()


def client_token(data: Path, name: str = "planner", root: Path = ROOT) -> str:
    """A token for a client of the server of a data folder, of the tree at `root`."""
    if root == ROOT:
        data.mkdir(parents=True, exist_ok=True, mode=0o700)
        database = open_database(sqlite_url(data))
        token = add_token(database, name)
        database.close()
        return token
    command = [sys.executable, "-m", "api", "token", "add", name, "--data", str(data)]
    made = subprocess.run(command, cwd=root, capture_output=True, text=True, check=True)
    return made.stdout.strip()


def command(*arguments: str) -> subprocess.CompletedProcess[str]:
    """`python -m api` with these arguments, in this process: for what does not go on to serve."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = main(arguments)
        except SystemExit as end:  # argparse
            status = int(end.code or 0)
    return subprocess.CompletedProcess(arguments, status, out.getvalue(), err.getvalue())
