"""One hundred faults: each is told with its place, what is wrong and what to do, word for word."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from strategist.__main__ import main
from tests.faults import asked, commands, files, raw, site
from tests.faults.provoked import Fault, write

TYPED = (*files.ALL, *commands.ALL, *raw.ALL, *site.ALL)


def test_there_are_hundreds_and_each_says_what_to_do() -> None:
    """A sentence on what is wrong, and one on what to do, of each fault of each kind."""
    said = {one.said for one in TYPED}
    assert len(said) + len({one.detail for one in asked.ALL}) >= 250
    for line in (line for text in said for line in text.splitlines()):
        assert line.endswith((".", ". See strategist --help.")), line
        assert ". " in line or line.startswith("Unusable: "), line
        assert "??" not in line and "?." not in line and "()" not in line, line


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
