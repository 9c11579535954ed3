"""The one command of the README's section on pages."""

from __future__ import annotations

import re
from pathlib import Path

from tests.api.live import ROOT, Live


def test_the_command_prints_a_link_to_the_pages(tmp_path: Path) -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (command,) = re.findall(r"```sh pages\n(.*?)\n```", text, re.S)
    with Live(tmp_path / "data", "--workers", "0") as live:
        assert command.split()[1:] == live._command[1:3]
        assert live.process is not None and live.process.stdout is not None
        link = live.process.stdout.readline().split()[1]
        assert b"Sign in as planner" in live.ask("GET", link.removeprefix(live.url)).body
