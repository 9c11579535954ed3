"""The reader's power table: exact entries only, and files that are refused."""

from __future__ import annotations

import pytest

from strategist.errors import InputError
from strategist.tags.power_table import PowerTable, read_power_table


def test_a_power_is_found_to_the_hundredth_and_never_rounded() -> None:
    table = PowerTable(((7, 20.25), (3, 20.5), (9, 20.5)))
    assert table.index_of(20.25) == 7
    assert table.index_of(20.254) == 7
    assert table.index_of(20.5) == 3
    with pytest.raises(InputError, match=r"20.25 dBm \(index 7\) or 20.5 dBm \(index 3\)"):
        table.index_of(20.26)


def test_the_neighbours_of_a_table_of_one() -> None:
    with pytest.raises(InputError, match=r"nearest: 31 dBm \(index 1\)\. Or list"):
        PowerTable(((1, 31.0),)).index_of(30)


def test_a_csv_text_is_read() -> None:
    table = read_power_table("\ufeffindex,power_dbm\r\n1,10\r\n\r\n2, 10.25\r\n", "table.csv")
    assert table.entries == ((1, 10.0), (2, 10.25))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "line 1"),
        ("index,power\n1,10\n", "line 1"),
        ("index,power_dbm\n", "Give at least one"),
        ("index,power_dbm\n1,10\n1,11\n", "line 3, index"),
        ("index,power_dbm\n70000,10\n", "line 2, index"),
        ("index,power_dbm\n1\n", "line 2"),
        ("index,power_dbm\n1,nan\n", "line 2"),
        ("index,power_dbm\n1.5,10\n", "line 2"),
        ("index,power_dbm\n1_0,10\n", "line 2"),
        ("index,power_dbm\n1," + "9" * 200_000, "without quotes"),
    ],
)
def test_a_bad_table_is_refused_with_its_line(text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_power_table(text, "table.csv")


def test_all_faults_of_a_table_are_named_at_once() -> None:
    with pytest.raises(InputError) as caught:
        read_power_table("index,power_dbm\nx,1\n2,y\n3,3\n", "table.csv")
    assert [fault.line for fault in caught.value.faults] == [2, 3]


def test_a_table_object_is_valid_or_is_not() -> None:
    for entries in ((), ((1, float("inf")),), ((-1, 10.0),), ((1, 1.0), (1, 2.0))):
        with pytest.raises(InputError):
            PowerTable(entries)
