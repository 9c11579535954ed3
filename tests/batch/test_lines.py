"""A file of lines after a death: what was torn off is gone before anything is added."""

from __future__ import annotations

from pathlib import Path

import pytest

from strategist.batch.lines import Lines, read_lines

WHOLE = '{"case": "a"}\n{"case": "b"}\n'


@pytest.mark.parametrize("torn", ["", "{", '{"case": "c"', 40 * "x"])
def test_a_torn_line_is_cut_off_before_appending(tmp_path: Path, torn: str) -> None:
    path = tmp_path / "results.jsonl"
    path.write_text(WHOLE + torn)
    lines = Lines(path)
    assert path.read_text() == WHOLE
    assert lines.append(['{"case": "d"}']) == [len(WHOLE)]
    lines.close()
    assert [found["case"] for _, found in read_lines(path)] == ["a", "b", "d"]


def test_a_file_of_one_torn_line_starts_anew(tmp_path: Path) -> None:
    path = tmp_path / "results.jsonl"
    path.write_text('{"case": "a"')
    lines = Lines(path)
    assert lines.append(['{"case": "d"}', '{"case": "e"}']) == [0, 14]
    lines.close()
    assert path.read_text() == '{"case": "d"}\n{"case": "e"}\n'
