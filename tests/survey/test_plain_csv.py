"""CSV without quotes: in one piece or several, each cell keeps its text; what is compiled splits as
the same lines do as Python."""

from __future__ import annotations

import numpy as np
import pytest

from strategist.survey import plain_csv
from strategist.survey.loops import splits
from strategist.survey.plain_csv import parse_plain
from tests.compiled import as_python

NAMES = ["pass_id", "epc", "rssi_dbm"]
ROWS = [
    ["p1", "3034000000000000000000AA", "-50"],
    ["01", "303400000000000000000011", "-50.0"],
    ["1", "303400000000000000000011", "-50.00"],
    ["epc", "0012", ""],
    ["Tür", "NA", "nan"],
] * 5


def content(header: str = ",".join(NAMES), end: str = "\n") -> bytes:
    return end.join([header, *map(",".join, ROWS)]).encode()


@pytest.mark.parametrize("piece", [1, 100, 10**9])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("header", [",".join(NAMES), '"pass_id","epc","rssi_dbm"'])
def test_every_cell_keeps_its_text(
    piece: int, end: str, header: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plain_csv, "PIECE", piece)
    found = parse_plain(content(header, end), NAMES)
    assert found is not None
    columns, lines = found
    assert [[columns[name][row] for name in NAMES] for row in range(len(ROWS))] == ROWS
    assert lines.tolist() == list(range(2, len(ROWS) + 2))


@pytest.mark.parametrize(
    "data",
    [
        b"pass_id,epc,rssi_dbm\np1,AA\np2,AA,-50,x",  # the totals fit
        b"pass_id,epc,rssi_dbm\np1,AA,-50,x\np2,AA",
        b"pass_id,epc,rssi_dbm\np1,AA,-50\n\np2,AA,-50",
        b'pass_id,epc,rssi_dbm\np1,"AA",-50',
        b"pass_id,epc,rssi_dbm\np1,AA,-50\rp2,AA,-50",
        b"\npass_id,epc,rssi_dbm\np1,AA,-50",
    ],
)
def test_what_is_in_doubt_is_left_to_the_careful_way(data: bytes) -> None:
    assert parse_plain(data, NAMES) is None


@pytest.mark.parametrize("seed", range(30))
def test_drawn_files(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Few values and many, alike and of one hash, in whole rows and in rows that lack a cell."""
    rng = np.random.default_rng(seed)
    names, rows = [f"c{n}" for n in range(rng.integers(1, 5))], int(rng.choice([1, 2, 30, 2000]))
    kinds = [int(rng.choice([1, 3, 10**6])) for _ in names]
    table = [[f"{rng.integers(0, kind):x}" for kind in kinds] for _ in range(rows)]
    if ragged := len(names) > 1 and rng.random() < 0.3:
        table[rng.integers(0, rows)].pop()
    ends = rng.choice(["\n", "\r\n"], rows + 1)
    lines = [",".join(row) for row in [names, *table]]
    data = "".join(map(str.__add__, lines, ends)).rstrip().encode()
    monkeypatch.setattr(plain_csv, "PIECE", int(rng.choice([1, 500, 10**9])))
    for split in (splits.split, as_python(splits).split):
        monkeypatch.setattr(plain_csv, "split", split)
        found = parse_plain(data, names)
        if ragged:
            assert found is None
            continue
        assert found is not None
        for place, name in enumerate(names):
            column = found[0][name]
            assert [column[row] for row in range(rows)] == [row[place] for row in table]
            assert column.values == tuple(dict.fromkeys(row[place] for row in table))
