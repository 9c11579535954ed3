"""A file of lines after a death: what was torn off is gone before anything is added."""

from __future__ import annotations

from pathlib import Path

import pytest

from strategist.batch.lines import Lines, read_lines


def row(case: str) -> str:
    return f'{{"case": "{case}", "error": {{}}}}'


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "results.jsonl"


@pytest.mark.parametrize("torn", ["", "{", '{"case": "c"', 40 * "x"])
def test_a_torn_line_is_cut_off_before_appending(path: Path, torn: str) -> None:
    lines = Lines(path)
    lines.append([row("a"), row("b")])
    lines.close()
    whole = path.read_text()
    path.write_text(whole + torn)
    lines = Lines(path)
    assert path.read_text() == whole
    assert lines.append([row("d")]) == [len(whole)]
    lines.close()
    assert [found["case"] for found in read_lines(path)] == ["a", "b", "d"]


def test_a_file_of_one_torn_line_starts_anew(path: Path) -> None:
    path.write_text('{"case": "a"')
    lines = Lines(path)
    first, second = lines.append([row("d"), row("e")])
    lines.close()
    text = path.read_text()
    assert text.startswith('{"case": "d"') and text[second:].startswith('{"case": "e"')
    assert (first, text.count("\n"), text[-1]) == (0, 2, "\n")
