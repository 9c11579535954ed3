"""Each program that is run by hand explains itself: `--help` prints its use and does nothing."""

from __future__ import annotations

import runpy
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PROGRAMS = ["cases.generate", "cases.raw_log", "tests.bench", "tests.survey.test_numbering"] + [
    f"tests.bench.{file.stem}"
    for file in sorted((ROOT / "tests/bench").glob("*.py"))
    if file.stem != "__main__" and 'if __name__ == "__main__"' in file.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("program", PROGRAMS)
def test_help_prints_the_use(
    program: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = ROOT / program.replace(".", "/")
    file = file / "__main__.py" if file.is_dir() else file.with_suffix(".py")
    monkeypatch.setattr(sys, "argv", [str(file), "--help"])
    with pytest.raises(SystemExit) as end:
        runpy.run_path(str(file), run_name="__main__")
    assert not end.value.code
    assert capsys.readouterr().out.startswith("usage: ")


def test_a_read_point_that_is_none_is_refused_by_name() -> None:
    command = [sys.executable, "-m", "tests.bench.coverage", "10", "nowhere"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert 'found "nowhere"; allowed: a count, or one of soiled-chute' in done.stderr
