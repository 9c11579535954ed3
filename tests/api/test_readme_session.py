"""The curl session of README.md is run, line by line, against a server of its own."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.api.given import case_document
from tests.api.live import ROOT, Live, client_token, uploaded

# as in the project's folder, where `api` is found: what is installed has it by its long name
IN_THE_FOLDER = os.environ | {"PYTHONPATH": str(ROOT)}


def test_curl_session(tmp_path: Path) -> None:
    """From upload to strategy to comparison to batch; each answer is what it should be.

    The batch is read once it is done: no read point of its results lacks an answer.
    """
    if shutil.which("curl") is None:
        pytest.skip("no curl here")
    (session,) = re.findall(r"```sh api\n(.*?)```", (ROOT / "README.md").read_text(), re.S)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    session = session.replace(".venv/bin/python -m api &", f"python -m api --port {port} &")
    session = session.replace(".venv/bin/python", "python").replace("8420", str(port))
    assert session.count(f":{port}") == 1
    session = re.sub(r"^curl (?!.*readyz)(.*)$", r"curl -w '\\n' \1", session, flags=re.M)
    session = session.replace("python -m", f"{sys.executable} -m").replace(
        "/readyz", "/readyz; echo"
    )
    shutil.copytree(ROOT / "cases/linen-service", tmp_path / "cases/linen-service")
    done = subprocess.run(
        ["bash", "-em", "-c", session + "\nwait"],
        cwd=tmp_path,
        env=IN_THE_FOLDER,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    lines = [line for line in done.stdout.splitlines() if line.startswith("{")]
    assert len(lines) == 4, done.stdout + done.stderr[-3000:]
    ready, strategy, comparison, batch = map(json.loads, lines)
    assert ready == {"status": "ok"}
    assert strategy["result"]["status"] == "optimal"
    rows = {row["name"]: row for row in comparison["result"]["rows"]}
    best, other = rows["best"], rows["strays matter"]
    assert best["per_pass"]["loss"] == strategy["result"]["per_pass"]["loss"]
    assert other["weights"] == {"missed": 1, "stray": 20}
    assert other["per_pass"]["loss"] >= best["per_pass"]["loss"]
    assert batch["next"] is None and len(batch["items"]) == 5
    assert {row["state"] for row in batch["items"]} == {"done"}
    page = (tmp_path / "cases/linen-service/batch.html").read_text(encoding="utf-8")
    assert "no answer yet" not in page and page.count("<section") == 5


def test_no_results_of_a_batch_are_read_before_it_is_done() -> None:
    """Each line that asks for results stands behind one that waits for the batch."""
    (session,) = re.findall(r"```sh api\n(.*?)```", (ROOT / "README.md").read_text(), re.S)
    lines = session.splitlines()
    waits = [n for n, line in enumerate(lines) if line.startswith("until ") and "done" in line]
    reads = [n for n, line in enumerate(lines) if "/results" in line]
    assert waits and reads and min(waits) < min(reads)


def test_what_an_operator_does(tmp_path: Path) -> None:
    """Each line beside a server that has something open."""
    (block,) = re.findall(r"```sh operator\n(.*?)```", (ROOT / "README.md").read_text(), re.S)
    data = tmp_path / "strategist-data"
    token = client_token(data)
    survey = uploaded(data, case_document())
    with Live(data, "--workers", "0", token=token) as live:
        assert live.ask("POST", "/v1/batches", {"items": [{"survey": survey}]}).status == 202
        for line in block.splitlines():
            command = [sys.executable, *line.split()[1:]]
            done = subprocess.run(
                command,
                cwd=tmp_path,
                env=IN_THE_FOLDER,
                capture_output=True,
                text=True,
                check=False,
            )
            assert done.returncode == 0, f"{line}\n{done.stderr}"
            assert done.stdout.strip()
        assert live.ask("GET", "/v1/surveys").status == 401
    assert (tmp_path / "copy.sqlite3").stat().st_size > 0
