"""The batch on a Dask cluster of this machine, started as README.md says, with a worker killed."""

from __future__ import annotations

import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest

from strategist import Options, plan_site, run_batch
from tests.batch.sites import rows, write_site
from tests.batch.test_site_rules import case_of

pytest.importorskip("distributed")

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
(BLOCK,) = re.findall(r"```console\n(.*?)```", README, re.S)
SCHEDULER, WORKER, BATCH = BLOCK.splitlines()


def started(line: str, **ways: object) -> subprocess.Popen[bytes]:
    """A command of the README, with this Python's own programs."""
    words = shlex.split(line.replace("tcp://10.0.0.1:8786", str(ways.pop("address", ""))))
    words = [sys.executable, "-m", words[0].rpartition("/")[2], *words[1:]]
    return subprocess.Popen([*words, *map(str, ways.pop("more", ()))], **ways)  # type: ignore


@pytest.fixture
def port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def cluster(port: int, tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """The address of a scheduler, and its two workers."""
    address = f"tcp://127.0.0.1:{port}"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": tmp_path}
    more = ("--host", "127.0.0.1", "--port", port, "--no-dashboard")
    with ExitStack() as stack:
        processes = [started(SCHEDULER, more=more, **quiet)]
        one = WORKER.replace("--nworkers 2", "--nworkers 1")
        workers = [
            started(one, address=address, more=("--no-dashboard",), **quiet) for _ in range(2)
        ]
        for process in [*processes, *workers]:
            stack.callback(process.wait)
            stack.callback(process.terminate)
        yield address, workers


def test_a_killed_worker_changes_nothing(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    address, workers = cluster
    folder = write_site(tmp_path / "site", 24, bad=(7,))
    words = BATCH.replace("cases/linen-service", str(folder)).replace("batch-out", "out")
    batch = started(words, address=address, cwd=tmp_path, stderr=subprocess.PIPE)
    out = tmp_path / "out/results.jsonl"
    while not (out.exists() and out.stat().st_size):
        assert batch.poll() is None, batch.communicate()
        time.sleep(0.02)
    for process in children(workers[0].pid):  # the worker itself, under its nanny
        os.kill(process, signal.SIGKILL)
    workers[0].kill()
    _, err = batch.communicate(timeout=600)
    assert batch.returncode == 1, err  # one read point is bad
    run_batch([folder], tmp_path / "whole", Options(unseen=False, sturdier=False))
    assert rows(tmp_path / "out") == rows(tmp_path / "whole")
    docks = replace(case_of(2), readers={})  # a reader each
    planned, here = (plan_site(docks, scheduler=one) for one in (address, None))
    assert replace(planned, seconds=0.0) == replace(here, seconds=0.0)


def children(parent: int) -> list[int]:
    """The processes that a process has started."""
    text = Path(f"/proc/{parent}/task/{parent}/children").read_text()
    return [int(pid) for pid in text.split()]
