"""Drift between two surveys, worked by hand: guards of 1 dB in power and 2 dB in RSSI."""

from __future__ import annotations

from dataclasses import replace

import pytest

from strategist.survey.policy import Guard, Policy
from strategist.survey.records import ReadPoint, Tag
from strategist.trust.drift import Moved, _Group, _row, drift_between
from tests.optimise.made import survey_of

POLICY = Policy(guard=Guard(power_db=1.0, rssi_db=2.0))
LEVELS = [20.0, 21.0, 22.0, 23.0]
Curve = list[float | None]


def surveyed(curves: list[Curve], kind: str | None = None) -> ReadPoint:
    """One wanted tag a pass, each of its own, with these reads at the four levels."""
    passes = [[(f"30{number:02X}", True, curve)] for number, curve in enumerate(curves)]
    tags = {f"30{n:02X}": Tag(f"30{n:02X}", tag_type=kind) for n in range(len(curves))}
    return ReadPoint(survey_of(LEVELS, passes, tags), POLICY)


def rows(before: list[Curve], now: list[Curve]) -> dict[str, Moved]:
    found = drift_between(surveyed(before, "x"), surveyed(now, "x"))
    return {row.name: row for row in found.rows}


def shifted(start: int, rssi: float) -> Curve:
    """Read from level index `start` on, always at the same RSSI."""
    return [None] * start + [rssi] * (4 - start)


def test_turn_on_exactly_at_the_guard_has_not_moved_and_beyond_it_has() -> None:
    """Every tag needs one level more, 1 dB; then two levels more, 2 dB."""
    before = [shifted(0, -60.0)] * 12
    at_guard = rows(before, [shifted(1, -60.0)] * 12)
    assert at_guard["x, wanted"].turn_on_db == 1.0 and not at_guard["x, wanted"].moved
    beyond = rows(before, [shifted(2, -60.0)] * 12)
    assert beyond["x, wanted"].turn_on_db == 2.0 and beyond["x, wanted"].moved
    assert beyond["3000, wanted"].moved


@pytest.mark.parametrize(("db", "moved"), [(-2.0, False), (2.0, False), (-2.5, True), (2.5, True)])
def test_rssi_exactly_at_the_guard_has_not_moved_and_beyond_it_has(db: float, moved: bool) -> None:
    """RSSI alone: turn-on stays. The type, the level and each tag say the same."""
    found = rows([shifted(0, -60.0)] * 12, [shifted(0, -60.0 + db)] * 12)
    assert found["x, wanted"].rssi_db == db and found["x, wanted"].moved is moved
    assert found["20 dBm"].rssi_db == db and found["20 dBm"].moved is moved
    assert ("3000, wanted" in found) is moved


def test_a_type_moves_only_beyond_chance() -> None:
    """Six tags scattered over 25 dB whose median is 3 dB higher: chance does that, and more. The
    single tags moved all the same, since each is compared with itself."""
    old = [-70.0, -65.0, -60.0, -59.0, -50.0, -45.0]
    found = rows([shifted(0, r) for r in old], [shifted(0, r + 3.0) for r in old])
    assert found["x, wanted"].rssi_db == 3.0 and not found["x, wanted"].moved
    assert found["3000, wanted"].moved


def test_a_turn_on_within_chance_does_not_make_a_type_move() -> None:
    """Turn-ons from 20 to 23 dBm before, mostly 23 now: 2 dB in the median of five, and p = 0.1."""
    before = [shifted(start, -60.0) for start in (0, 0, 1, 2, 3)]
    now = [shifted(start, -60.0) for start in (1, 2, 3, 3, 3)]
    found = rows(before, now)["x, wanted"]
    assert found.turn_on_db == 2.0 and not found.moved


def test_levels_count_by_their_reads() -> None:
    """3 dB weaker at 23 dBm, where ten tags are read; unchanged at 22, where only five are: in the
    mean over levels ten count twice as much as five."""
    before: list[Curve] = [[None, None, -60.0, -60.0]] * 5 + [[None, None, None, -60.0]] * 5
    now: list[Curve] = [[None, None, -60.0, -63.0]] * 5 + [[None, None, None, -63.0]] * 5
    assert rows(before, now)["x, wanted"].rssi_db == -2.0


def test_few_values_are_not_compared() -> None:
    """Four tags of a type are too few; five are enough."""
    assert "x, wanted" not in rows([shifted(0, -60.0)] * 4, [shifted(3, -60.0)] * 4)
    assert "x, wanted" in rows([shifted(0, -60.0)] * 5, [shifted(3, -60.0)] * 5)


def test_the_furthest_moved_tags_come_first_and_twenty_are_listed() -> None:
    before = [shifted(0, -60.0)] * 25
    now = [shifted(0, -60.0 - 3.0 - number) for number in range(25)]
    found = drift_between(surveyed(before), surveyed(now))
    tags = [row for row in found.rows if row.kind == "tag"]
    assert [row.rssi_db for row in tags] == [-27.0 + n for n in range(20)]
    assert found.tags_in_both == 25


def test_tags_come_by_what_moved_the_most_turn_on_or_rssi() -> None:
    """By 0.5 dB in RSSI, by 2 dB in turn-on, by 0.7 dB in RSSI; and by 0.6 dB upward in RSSI."""
    still = surveyed([shifted(0, -60.0)] * 4)
    now = surveyed([shifted(0, -60.5), shifted(2, -60.0), shifted(0, -60.7), shifted(0, -59.4)])
    now = replace(now, policy=Policy(guard=Guard(power_db=0.2, rssi_db=0.2)))
    tags = [row.name for row in drift_between(still, now).rows if row.kind == "tag"]
    assert tags == [f"30{n:02X}, wanted" for n in (1, 2, 3, 0)]


@pytest.mark.parametrize(("old", "new"), [(9, 4), (4, 9)])
def test_a_type_that_is_rare_in_one_of_the_surveys_is_not_compared(old: int, new: int) -> None:
    assert "x, wanted" not in rows([shifted(0, -60.0)] * old, [shifted(3, -60.0)] * new)


def test_without_a_level_in_common_nothing_is_compared() -> None:
    before, now = (
        ReadPoint(survey_of([level], [[("30", True, [-50.0])]]), Policy()) for level in (20.0, 21.0)
    )
    found = drift_between(before, now)
    assert (found.rows, found.tags_in_both) == ((), 0)


def test_the_tag_that_moved_furthest_is_named_first() -> None:
    """Half a dB and three quarters, with no level at which either was read both times."""
    policy = Policy(guard=Guard(power_db=0.25, rssi_db=2.0))
    levels = [20.0, 20.5, 20.75, 21.25]
    curves = {
        "before": [[-60.0, None, None, None], [-60.0, None, None, None]],
        "now": [[None, -60.0, None, None], [None, None, -60.0, None]],
    }
    points = {
        name: ReadPoint(
            survey_of(levels, [[(f"30{n:02X}", True, curve)] for n, curve in enumerate(some)]),
            policy,
        )
        for name, some in curves.items()
    }
    found = drift_between(points["before"], points["now"])
    tags = [(row.name, row.turn_on_db, row.rssi_db) for row in found.moved if row.kind == "tag"]
    assert tags == [("3001, wanted", 0.75, None), ("3000, wanted", 0.5, None)]


def test_chance_is_judged_at_the_level_that_both_surveys_read_most() -> None:
    """Many reads at 20 dBm before and few now, which stayed; at 21 dBm both have eight, 5 dB up."""
    old, new = _Group(), _Group()
    old.turn_on, new.turn_on = [20.0] * 13, [20.0] * 13
    old.rssi[0], new.rssi[0] = [-60.0 - n % 3 for n in range(12)], [-60.0, -61.0, -62.0] * 2
    old.rssi[1] = [-60.0 - n % 3 for n in range(8)]
    new.rssi[1] = [db + 5.0 for db in old.rssi[1]]
    row = _row("type", "x", old, new, Guard(power_db=1.0, rssi_db=2.0))
    assert row.turn_on_db == 0.0 and row.rssi_db == pytest.approx(40 / 14, abs=0.01)
    assert row.moved
