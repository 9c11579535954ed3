"""Documents are run: every command of README.md."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
BLOCKS = re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)
LINES = [line for block in BLOCKS for line in block.splitlines() if line.strip()]
SET_UP = [line for line in LINES if "pip install" in line]


def test_ci_calls_the_set_up_lines() -> None:
    """The two set-up commands are what .ci/run runs, letter for letter."""
    script = (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()
    assert len(SET_UP) == 2
    assert all(line in script for line in SET_UP)


def test_the_other_commands_run(tmp_path: Path) -> None:
    """Every other command works, in order, in a folder that holds only the demo case."""
    shutil.copytree(ROOT / "cases/linen-service", tmp_path / "cases/linen-service")
    others = [line for line in LINES if line not in SET_UP]
    assert len(others) >= 5
    for line in others:
        strategist = "PY -m strategist"
        here = line.replace(".venv/bin/strategist", strategist).replace(".venv/bin/python", "PY")
        here = here.replace("PY", sys.executable)
        done = subprocess.run(
            here, shell=True, cwd=tmp_path, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, f"{line}\n{done.stderr}"
        assert done.stdout.strip() or "json.dump" in line or "--out" in line
