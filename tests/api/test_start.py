"""What a server is started with: refused with a word where it makes no sense."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from api.service import Service
from tests.api.given import Client
from tests.api.live import HANG_S, ROOT, Live, client_token, command


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    words = [sys.executable, "-m", "api", *arguments]
    return subprocess.run(
        words, cwd=ROOT, capture_output=True, text=True, check=False, timeout=HANG_S
    )


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--port", "99999"), "a whole number from 0 to 65,535"),
        (("--port", "-1"), "a whole number from 0 to 65,535"),
        (("--workers", "-1"), "a whole number from 0 to 256"),
        (("--keep-days", "0"), "a whole number from 1"),
        (("--memory-mib", "100"), "a whole number from 512"),
        (("--database", "sqlite://"), "an SQLite store is a file"),
        (("--database", "sqlite:///file:x?mode=memory&uri=true"), "an SQLite store is a file"),
        (("work", "--database", "nothing://x"), "nothing"),
        (("work", "--workers", "1"), "there is no option --workers"),
    ],
)
def test_nonsense_is_refused(tmp_path: Path, options: tuple[str, ...], said: str) -> None:
    given = options if "--database" in options else (*options, "--data", str(tmp_path / "d"))
    refused = command(*given)
    assert refused.returncode == 2
    assert said in refused.stderr
    assert "Traceback" not in refused.stderr


def test_a_process_says_so_too(tmp_path: Path) -> None:
    refused = run("--workers", "-1", "--data", str(tmp_path / "d"))
    assert refused.returncode == 2
    assert "a whole number from 0 to 256" in refused.stderr


def test_it_runs_by_the_name_that_it_is_installed_by(tmp_path: Path) -> None:
    """A wheel holds `api` as `strategist_api`: no module of it asks for another by the old name."""
    (tmp_path / "strategist_api").symlink_to(ROOT / "api")
    made = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]
    assert made["package-dir"] == {"strategist_api": "api"}
    code = (
        "import sys, strategist_api.__main__ as front, strategist_api.worker_process\n"
        "assert not [name for name in sys.modules if name.split('.')[0] == 'api']\n"
        "from strategist_api.supervisor import _WORKER\n"
        "assert _WORKER[-1] == 'strategist_api.worker_process'\n"
        "sys.exit(front.main(['token', 'list', '--data', 'data']))"
    )
    words = [sys.executable, "-c", code]
    done = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_server_loads_no_solver() -> None:
    """It solves nothing itself, and is ready sooner with less memory."""
    heavy = "{'scipy', 'pulp', 'highspy', 'matplotlib'}"
    words = [sys.executable, "-c", f"import sys, api.__main__; print({heavy} & set(sys.modules))"]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_it_prints_where_to_sign_in_on_this_machine_alone(tmp_path: Path) -> None:
    """The link works, once; a server for other machines, or without tokens, prints none."""
    with Live(tmp_path / "a", "--workers", "0") as live:
        assert live.process is not None and live.process.stdout is not None
        line = live.process.stdout.readline()
        link = line.split()[1]
        assert line.startswith("pages: ") and link.startswith(f"{live.url}/sign-in?link=")
        assert b"Sign in as planner" in live.ask("GET", link.removeprefix(live.url)).body
        own = {"Origin": live.url, "Content-Type": "application/x-www-form-urlencoded"}
        own |= {"Accept": "text/html"}
        body = f"link={link.partition('=')[2]}&client=planner".encode()
        asked = [live.ask("POST", "/sign-in", body, **own).status for _ in range(2)]
        assert asked == [200, 401]
        assert link.partition("=")[2] not in live.log.read_text()
    for options in (("--host", "0.0.0.0"), ("--open",)):
        with Live(tmp_path / options[0].strip("-"), "--workers", "0", *options) as live:
            live.stop()
            assert live.process is not None
        assert "link=" not in live.said


def test_no_url_goes_round_the_lock(tmp_path: Path) -> None:
    """One server for a file, however it is named."""
    data = tmp_path / "data"
    with Live(data, "--workers", "0", token=client_token(data)):
        (tmp_path / "link").symlink_to(data)
        for folder in (data, tmp_path / "link"):
            second = run("--port", "0", "--database", f"sqlite:///{folder}/strategist.sqlite3")
            assert second.returncode == 2
            assert "another server is using" in second.stderr


def test_ready_when_the_workers_are_warm(client: Client, service: Service) -> None:
    """The first answers of a cold machine are compiled before anybody is told to come."""
    service.warm = lambda: False
    refused = client.get("/readyz")
    assert (refused.status_code, refused.json["type"]) == (503, "/docs#problem-starting")
    assert client.get("/healthz").status_code == 200
    service.warm = lambda: True
    assert client.get("/readyz").status_code == 200


@pytest.mark.parametrize("coding", ["gzip", "identity, gzip", "x"])
def test_an_encoded_body_is_refused(client: Client, coding: str) -> None:
    refused = client.post("/v1/surveys", b"{}", Content_Encoding=coding)
    assert (refused.status_code, refused.json["type"]) == (415, "/docs#problem-media-type")
    plain = client.post("/v1/surveys", b"{}", Content_Encoding="Identity")
    assert plain.status_code == 422
