"""One hundred faults: each is told with its place, what is wrong and what to do, word for word."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from api.__main__ import main as serve
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


OF_THE_SERVER = {
    "--port many": '--port: "many" is not valid. Give a whole number from 0 to 65,535.',
    "--prot 8000": "there is no option --prot (nearest: --port).",
    "serve": 'there is no command "serve" (nearest: store).',
    "token ad x": 'there is no action "ad" (nearest: add).',
    "token add": "NAME is missing.",
    "token list more": '"more" is one argument too many.',
    "store": "ACTION is missing.",
    "--open --host 0.0.0.0": "--open asks nobody for a token. Leave it out, or give --host",
    "--database nothing": '--database: "nothing" is no kind of database that is known here. Give',
    "token add a/b": 'NAME: "a/b" is not valid. Give 1 to 64 letters, digits, dots, dashes or',
}


@pytest.mark.parametrize("typed", OF_THE_SERVER)
def test_what_is_typed_for_the_server_is_refused_in_words(
    typed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    monkeypatch.chdir(tmp_path)
    try:
        status = serve(typed.split())
    except SystemExit as end:
        status = int(end.code or 0)
    said = capsys.readouterr().err
    assert status == 2 and OF_THE_SERVER[typed] in said and said.endswith(".\n")
