"""The first page for programs: short, complete, and its example is run."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.app import ENDPOINTS
from api.pages.docs import by_task
from api.problems import KINDS, type_of
from tests.api.live import ROOT, Live, client_token


def test_every_endpoint_has_one_task() -> None:
    tasks = by_task(ENDPOINTS)
    assert "More" not in tasks, "a new resource belongs to a task"
    listed = [one.name for of_task in tasks.values() for one in of_task]
    assert sorted(listed) == sorted(one.name for one in ENDPOINTS)


def test_it_is_short_and_leads_to_the_rest(flask_client: FlaskClient) -> None:
    page = flask_client.get("/docs").text
    assert len(re.findall(r"<li>", re.findall(r"<ol.*?</ol>", page, re.S)[0])) == 10
    reference = flask_client.get("/docs/reference").text
    targets = re.findall(r'href="/docs/reference#([^"]+)"', page)
    assert len(targets) == len(ENDPOINTS)
    assert all(f'id="{one}"' in reference for one in targets)
    for kind in KINDS:
        path, _, place = type_of(kind).partition("#")
        assert path == "/docs" and f'id="{place}"' in page, "where problems point to"


def test_the_example_is_run(tmp_path: Path) -> None:
    """As it is copied, with a token in its place: to the Select commands."""
    if shutil.which("curl") is None:
        pytest.skip("no curl here")
    data = tmp_path / "data"
    token = client_token(data)
    with Live(data, "--workers", "1", token=token) as live:
        live.ready()
        page = live.ask("GET", "/docs").body.decode()
        lines = html.unescape(re.findall(r"<pre[^>]*>(.*?)</pre>", page, re.S)[0])
        assert f"A={live.url} " in lines
        script = lines.replace("Bearer TOKEN", f"Bearer {token}")
        done = subprocess.run(
            ["bash", "-ec", script.replace("$P\n", "$P; echo\n")],
            cwd=ROOT / "cases/linen-service",
            capture_output=True,
            text=True,
            check=True,
        )
    strategy, settings = map(json.loads, done.stdout.splitlines())
    assert strategy["result"]["read_point"] == "soiled-chute"
    assert settings["format"] == "gen2" and settings["replay"]["same"] is True
