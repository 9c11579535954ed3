"""The picture of a survey round a strategy, by hand."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from strategist import Case, Mask, Policy, ReadPoint, Strategy, read_case
from strategist.errors import InputError
from strategist.survey.score import Difference, Peak
from strategist.trust.picture import picture_of
from tests.optimise.made import survey_of
from tests.test_commands import case


@pytest.fixture
def point(tmp_path: Path) -> ReadPoint:
    """W1 is read at 20 (−55 dBm) and 23 (−50) in p1; in p2 W2 (−50) and stray S (−60) at 23."""
    return read_case(case(tmp_path / "one", {"door": {}})).read_points[0]


def test_read_rates_by_level(point: ReadPoint) -> None:
    found = picture_of(point, Strategy((23.0,))).to_json()
    assert (found["levels_dbm"], found["wanted"], found["stray"]) == ([20.0, 23.0], 2, 1)
    assert (found["wanted_read"], found["stray_read"]) == ([1, 2], [0, 1])
    assert (found["wanted_read_rate"], found["stray_read_rate"]) == ([0.5, 1.0], [0.0, 1.0])


def test_rssi_is_that_of_the_steps_walked(point: ReadPoint) -> None:
    """The ladder stops in p1 at 20 dBm, where W1 came in at −55; p2 goes on to 23."""
    bins = picture_of(point, Strategy((20.0, 23.0), 1, -54.0)).rssi
    assert bins.low_dbm[0] <= -60 < -50 < bins.low_dbm[-1] + bins.width_db
    at = {low: (w, s) for low, w, s in zip(bins.low_dbm, bins.wanted, bins.stray, strict=True)}
    assert {low: counts for low, counts in at.items() if any(counts)} == {
        -60.0: (0, 1),
        -50.0: (2, 0),
    }
    # With the cutoff at -54 the read of W1 at 20 dBm does not count, so p1 goes on to 23 too.
    assert (bins.wanted_read, bins.wanted_below) == (2, 0)
    assert (bins.stray_read, bins.stray_below) == (1, 1)
    stopped = picture_of(point, Strategy((20.0, 23.0), 1, -56.0)).rssi
    assert stopped.weakest_wanted_dbm == -55.0
    assert (stopped.strongest_stray_dbm, stopped.wanted_below) == (-60.0, 0)
    strays = [
        picture_of(point, Strategy((20.0, 23.0), 1, cutoff)).rssi.stray_below
        for cutoff in (-60.0, -59.9)
    ]
    assert strays == [0, 1], "what is read at the cutoff counts"
    assert picture_of(point, Strategy((20.0, 23.0), 1, -55.0)).rssi.wanted_below == 0


def test_tags_stand_where_their_score_does() -> None:
    """Antenna 1 hears the wanted tag at −50 and antenna 2 at −60, the stray at −55 and −50: as
    strongest reads they are alike, as differences they stand at 10 and −5 dB."""
    common = {"read_point": "door", "pass_id": "p1"}
    heard = [("AA01", 1, -50.0), ("AA01", 2, -60.0), ("AA02", 1, -55.0), ("AA02", 2, -50.0)]
    reads = pd.DataFrame(
        [
            {**common, "power_dbm": 20.0, "epc": epc, "rssi_dbm": dbm, "antenna": antenna}
            for epc, antenna, dbm in heard
        ]
    )
    roles = [("AA01", "wanted"), ("AA02", "stray")]
    roster = pd.DataFrame([{**common, "epc": epc, "role": role} for epc, role in roles])
    door = Case.from_frames(reads, roster)["door"]
    facing = Strategy((20.0,), score=Difference("difference", (1,), (2,)), cutoff_db=0.0)
    bins = picture_of(door, facing).rssi
    assert (bins.weakest_wanted_dbm, bins.strongest_stray_dbm) == (10.0, -5.0)
    assert (bins.wanted_below, bins.stray_below) == (0, 1)
    (compared,) = picture_of(door, facing).techniques  # its cutoff is part of it
    assert (compared.name, compared.silences, compared.misses) == ("antennas", 1, 0)
    alone = picture_of(door, Strategy((20.0,), score=Peak(antennas=(2,)))).rssi
    assert (alone.weakest_wanted_dbm, alone.strongest_stray_dbm) == (-60.0, -50.0)
    plain = picture_of(door, Strategy((20.0,), 1, -52.0)).rssi
    assert (plain.weakest_wanted_dbm, plain.strongest_stray_dbm) == (-50.0, -50.0)


@pytest.mark.parametrize(("span_db", "width_db"), [(38.5, 1.0), (39.0, 2.0), (77.5, 2.0)])
def test_bins_are_as_narrow_as_forty_of_them_allow(span_db: float, width_db: float) -> None:
    passes = [[("30", True, [-100.0])], [("31", True, [-100.0 + span_db])]]
    made = ReadPoint(survey_of([20.0], passes), Policy())  # type: ignore[arg-type]
    bins = picture_of(made, Strategy((20.0,))).rssi
    assert bins.width_db == width_db and len(bins.low_dbm) <= 40
    assert sum(bins.wanted) == 2 == bins.wanted[0] + bins.wanted[-1]


def test_scores_further_apart_than_forty_bins_have_the_widest() -> None:
    """Two antennas hear a wanted tag 119 dB apart, and a stray as much the other way."""
    common = {"read_point": "door", "pass_id": "p1", "power_dbm": 20.0}
    heard = [("AA01", 1, -1.0), ("AA01", 2, -120.0), ("AA02", 1, -120.0), ("AA02", 2, -1.0)]
    reads = [
        {**common, "epc": epc, "rssi_dbm": dbm, "antenna": antenna} for epc, antenna, dbm in heard
    ]
    roles = [("AA01", "wanted"), ("AA02", "stray")]
    roster = [{"read_point": "door", "pass_id": "p1", "epc": e, "role": role} for e, role in roles]
    door = Case.from_frames(pd.DataFrame(reads), pd.DataFrame(roster))["door"]
    facing = Strategy((20.0,), score=Difference("difference", (1,), (2,)), cutoff_db=0.0)
    bins = picture_of(door, facing).rssi
    assert (bins.width_db, bins.low_dbm[0], bins.low_dbm[-1]) == (5.0, -120.0, 115.0)
    assert (len(bins.low_dbm), bins.stray[0], bins.wanted[-1]) == (48, 1, 1)


def test_strays_that_masks_reject_are_counted_apart(point: ReadPoint) -> None:
    bins = picture_of(point, Strategy((23.0,), masks=(Mask("epc", 48, 8, "AA"),))).rssi
    assert (sum(bins.stray), sum(bins.stray_masked), bins.strongest_stray_dbm) == (0, 1, None)
    assert (bins.stray_below, bins.wanted_below) == (None, None)


def test_techniques_alone_and_left_out(point: ReadPoint) -> None:
    """23 dBm alone reports S. A ladder from 20 up stops p1 early and p2 not; the cutoff rejects S;
    the mask too."""
    mask = Mask("epc", 48, 8, "AA")
    found = picture_of(point, Strategy((20.0, 23.0), 1, -58.0, (mask,)))
    assert (found.stray_at_top, found.missed_at_top) == (1, 0)
    assert (found.silenced, found.missed) == (1, 0)
    counts = {
        one.name: (one.silences, one.misses, one.silences_without, one.misses_without)
        for one in found.techniques
    }
    assert counts == {
        "ladder": (0, 0, 1, 0),
        "cutoff": (1, 0, 1, 0),
        "masks": (1, 0, 1, 0),
    }
    low = picture_of(point, Strategy((20.0,)))
    assert [(one.name, one.silences, one.misses) for one in low.techniques] == [("power", 1, 1)]
    assert [one.silences_without for one in low.techniques] == [0]
    assert picture_of(point, Strategy((23.0,))).techniques == ()


def test_nothing_read_has_no_bins(tmp_path: Path) -> None:
    folder = case(tmp_path / "none", {"door": {"levels_dbm": [20, 23, 26]}})
    tried = [("p1", 20), ("p1", 23), ("p1", 26), ("p2", 20), ("p2", 23), ("p2", 26)]
    lines = ["read_point,pass_id,power_dbm", *(f"door,{p},{dbm}" for p, dbm in tried)]
    (folder / "tried.csv").write_text("\n".join(lines) + "\n")
    reads = (folder / "reads.csv").read_text().splitlines()
    kept = [reads[0], *(line for line in reads[1:] if ",23," in line)]
    (folder / "reads.csv").write_text("\n".join(kept) + "\n")
    point = read_case(folder).read_points[0]
    assert picture_of(point, Strategy((20.0,))).rssi.low_dbm == ()
    with pytest.raises(InputError, match="levels_dbm"):
        picture_of(point, Strategy((21.0,)))
