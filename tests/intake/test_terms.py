"""Headers are recognised by their words, and none by a word that only says of what kind it is."""

from __future__ import annotations

import pytest

from strategist.intake.terms import ROLES, Role, likeness
from tests.intake.given import imported


@pytest.mark.parametrize(
    ("header", "role", "sure"),
    [
        ("EPC", "epc", 3),
        ("PeakRSSI", "rssi", 3),
        ("peak_rssi_dbm", "rssi", 2),
        ("RSSI (dBm)", "rssi", 2),
        ("FirstSeenTimestampUTC", "time", 3),
        ("LastSeenTimestampUTC", "time", 1),
        ("AntennaID", "antenna", 3),
        ("TagSeenCount", "reads", 3),
        ("ROSpecID", "rospec", 3),
        ("Tx Power [mW]", "power", 2),
        ("Reader RSSI", "rssi", 1),
        ("Reader RSSI", "read_point", 0),
        ("Tag RSSI max", "rssi", 1),
        ("Tag RSSI max", "epc", 0),
        ("Tag type", "epc", 0),
        ("RSSI level", "rssi", 0),
        ("phase", "rssi", 0),
        ("", "rssi", 0),
        ("dBm", "rssi", 0),
    ],
)
def test_how_surely_a_header_names_a_role(header: str, role: Role, sure: int) -> None:
    assert likeness(header, role) == sure


def test_no_header_is_exactly_two_roles_of_a_file() -> None:
    for roles in ROLES.values():
        for role in roles:
            assert likeness(role.replace("_", " "), role) == 3 or role == "rospec"
            others = [one for one in roles if one != role and likeness(role, one) == 3]
            assert others == []


def test_columns_parted_by_blanks() -> None:
    log = "time epc rssi power pass\n" + "".join(
        f"2026-03-09T08:00:0{i} 3066C440{i:02d} -{60 - i} 20 p1\n" for i in range(5)
    )
    found = imported(log, None, "epc,role\n3066C44001,wanted\n")
    assert found.tally.reads == 5
