"""While an answer takes long a line says how far it is: at a terminal, and nowhere else."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist.commands import waiting
from tests.optimise.made import random_read_point
from tests.test_commands import case, run


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_search_tells_its_incumbent_and_a_bound() -> None:
    """The bound never falls, no loss is below it, and the last loss is the answer's."""
    told: list[tuple[float, float]] = []
    with strategist.watched_by(lambda it: told.append((it.loss or 0.0, it.bound or 0.0))):
        found = strategist.solve(random_read_point(8, 1))
    assert told and told[-1][0] == found.loss
    assert all(bound <= loss for loss, bound in told)
    bounds = [bound for _, bound in told]
    assert bounds == sorted(bounds)
    told.clear()
    strategist.solve(random_read_point(8, 1))
    assert told == [], "nobody watches any more"


def test_a_terminal_gets_a_line_that_is_gone_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(waiting, "_QUIET_S", 0.0)
    monkeypatch.setattr(waiting, "_EVERY_S", 0.001)
    with waiting.waiting_for("door"):
        strategist.solve(random_read_point(8, 1))
        while " found, none below " not in terminal.getvalue():
            pass  # until the line was drawn once more
    said = terminal.getvalue()
    assert said.startswith("\rdoor: 0 s") and said.endswith("\r\x1b[K")
    assert all(len(line) <= 80 for line in said.replace("\x1b[K", "").split("\r"))


def test_nothing_is_said_where_it_is_short_or_no_terminal(
    capsys: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = case(tmp_path / "c", {"door": {}})
    monkeypatch.setattr(waiting, "_QUIET_S", 0.0)
    assert run(capsys, "solve", folder)[2] == ""
    monkeypatch.setattr(waiting, "_QUIET_S", 60.0)
    monkeypatch.setattr(sys, "stderr", Terminal())
    assert run(capsys, "solve", folder)[0] == 0
    assert isinstance(sys.stderr, Terminal) and sys.stderr.getvalue() == ""
