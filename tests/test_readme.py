"""Documents are run: every command of README.md."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import strategist
from strategist.__main__ import main
from strategist.survey.json_text import parse_json
from strategist.survey.policy import POLICY

ROOT = Path(__file__).parent.parent
BLOCKS = re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)
LINES = [line for block in BLOCKS for line in block.splitlines() if line.strip()]
PROGRAM = ".venv/bin/strategist "
SET_UP = [line for line in LINES if "pip install" in line]


def test_ci_calls_the_set_up_lines() -> None:
    """The two set-up commands are what .ci/run runs, letter for letter."""
    script = (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()
    assert len(SET_UP) == 2
    assert all(line in script for line in SET_UP)


def test_the_other_commands_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Every other command works, in order, in a folder that holds only the demo's files.

    Lines that need a shell have one; the others are run in this process, whose libraries are
    loaded already.
    """
    for name in ("linen-service", "raw-log", "two-doors"):
        shutil.copytree(ROOT / "cases" / name, tmp_path / "cases" / name)
    others = [line for line in LINES if line not in SET_UP]
    assert len(others) >= 4
    monkeypatch.chdir(tmp_path)
    for line in others:
        if line.startswith(PROGRAM) and not re.search(r"[&|;<>$`]", line):
            status = main(shlex.split(line)[1:])
        else:
            here = line.replace(PROGRAM.strip(), f"{sys.executable} -m strategist")
            status = subprocess.run(here, shell=True, check=False).returncode
        out, err = capfd.readouterr()
        assert status == 0, f"{line}\n{err}"
        assert out.strip()


def test_every_command_is_shown() -> None:
    """The README shows each command of the command line at least once."""
    usage = subprocess.run(
        [sys.executable, "-m", "strategist", "--help"], capture_output=True, text=True, check=True
    ).stdout
    names = re.findall(r"^    ([a-z-]+)(?: +\S|$)", usage, re.M)
    assert {"check", "solve", "compare", "trade-offs"} <= set(names)
    shown = {
        name for line in LINES for name in re.findall(r"\.venv/bin/strategist ([a-z-]+)", line)
    }
    assert set(names) <= shown


def test_the_strategy_shown_is_one() -> None:
    """The JSON of the README is a strategy that the program takes."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"```json\n(.*?)```", text, re.S)
    strategy = strategist.read_strategy(block.encode(), "README.md")
    assert strategy.levels_dbm == (17.0, 20.0)


def test_the_keys_of_site_json_that_are_shown_are_taken() -> None:
    """Each fragment such as "time": {…}, alone in the policy of a read point."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    fragments = re.findall(r'`("(?:radio|time|limit)": \{.*?\})`', text)
    assert len(fragments) >= 3
    for fragment in fragments:
        given = f'"radio": {{{fragment}}}' if fragment.startswith('"limit"') else fragment
        policy = parse_json(f"{{{given}}}".encode(), POLICY, "README.md")
        assert policy != strategist.Policy()


def test_the_table_of_keys_is_the_reference() -> None:
    """Regenerate it with what is printed here where it fails."""
    rows = ["| key | meaning | allowed | default |", "| --- | --- | --- | --- |"]
    for one in strategist.site_keys().keys:
        default = "" if one.holds else f"`{json.dumps(one.default)}`"
        default = "required" if one.required else default
        allowed = "" if one.holds else one.allowed
        rows.append(f"| `{one.name}` | {one.means} | {allowed} | {default} |")
    table = "\n".join(rows)
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert table in text, f"\n{table}"


def test_the_lines_of_python_print_what_is_shown() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", text, re.S)
    (printed,) = re.findall(r"```text\n(.*?)```", text, re.S)
    words = [sys.executable, "-c", code]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert len(code.split("\n\n")) == 2 and len(code.replace("\n\n", "\n").splitlines()) <= 10
    assert done.stdout == printed
