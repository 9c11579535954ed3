"""CSV without quotes: split or by pandas, in one piece or several, the cells are the same texts."""

from __future__ import annotations

import pytest

from strategist.survey import plain_csv
from strategist.survey.plain_csv import parse_plain

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


@pytest.mark.parametrize("small", [0, 10**9], ids=["pandas", "split"])
@pytest.mark.parametrize("piece", [1, 100, 10**9])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("header", [",".join(NAMES), '"pass_id","epc","rssi_dbm"'])
def test_every_cell_keeps_its_text(
    small: int, piece: int, end: str, header: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plain_csv, "SMALL", small)
    monkeypatch.setattr(plain_csv, "PIECE", piece)
    found = parse_plain(content(header, end), NAMES)
    assert found is not None
    columns, lines = found
    assert [[columns[name][row] for name in NAMES] for row in range(len(ROWS))] == ROWS
    assert lines.tolist() == list(range(2, len(ROWS) + 2))


@pytest.mark.parametrize("small", [0, 10**9], ids=["pandas", "split"])
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
def test_what_is_in_doubt_is_left_to_the_careful_way(
    data: bytes, small: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plain_csv, "SMALL", small)
    assert parse_plain(data, NAMES) is None
