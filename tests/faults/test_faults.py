"""One hundred faults: each is told with its place, what is wrong and what to do, word for word."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from strategist.__main__ import main
from tests.faults import asked, commands, files
from tests.faults.provoked import Fault, write

TYPED = (*files.ALL, *commands.ALL)


def test_there_are_a_hundred() -> None:
    assert len({one.said for one in TYPED}) + len({one.detail for one in asked.ALL}) >= 100


@pytest.mark.parametrize("fault", TYPED, ids=lambda one: one.name)
def test_a_fault_is_told_in_words(
    fault: Fault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    write(tmp_path, fault.files)
    monkeypatch.chdir(tmp_path)
    try:
        status = main(fault.argv.split())
    except SystemExit as end:
        status = int(end.code or 0)
    told = capsys.readouterr()
    assert (status, told.out, told.err) == (fault.status, "", f"{fault.said}\n")
