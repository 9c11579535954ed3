"""Read points that hear each other's tags, worked by hand."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

from strategist import Mask, Options, Policy, ReadPoint, Strategy, run_batch
from strategist.batch.cross_reads import CrossRead, Hearings, cross_reads_between, hearings
from tests.batch.sites import epc_of, rows, write_site
from tests.optimise.made import survey_of

MASK = Mask("epc", 32, 8, "30")
STRAYS: dict[str, tuple[list[float | None], Hearings | None]] = {
    "3001": ([None, None, -50], Hearings(heard=1, by_power=1)),
    "3002": ([None, -65, -63], Hearings(heard=1, by_cutoff=1)),
    "3502": ([None, -50, -48], Hearings(heard=1, by_masks=1)),
    "3503": ([None, -65, -63], Hearings(heard=1, by_several=1)),
    "3003": ([None, -50, -48], Hearings(heard=1, reported=1)),
    "3004": ([None, None, None], None),
}


def test_each_means_is_told_from_the_others() -> None:
    """One level of 18 dBm, a cutoff of −60, tags that begin with 30; one stray tag a pass."""
    passes = [[("3099", True, [None, -50.0, -48.0]), (e, False, c)] for e, (c, _) in STRAYS.items()]
    survey = survey_of([15.0, 18.0, 21.0], passes)  # type: ignore[arg-type]
    point = ReadPoint(survey, Policy(stop_after=5))
    found = hearings(point, Strategy((18.0,), 5, -60.0, (MASK,)))
    assert found == {epc: one for epc, (_, one) in STRAYS.items() if one is not None}
    assert all(one.silenced == one.heard - one.reported for one in found.values())


def test_a_tag_wanted_at_both_is_counted_where_it_is_stray() -> None:
    survey = survey_of([15.0], [[("3001", True, [-50.0])], [("3001", False, [-50.0])]])
    point = ReadPoint(survey, Policy())
    assert hearings(point, Strategy((15.0,))) == {"3001": Hearings(heard=1, reported=1)}


def test_pairs_are_joined_within_a_case() -> None:
    lines = [
        {"case": "a", "read_point": "x", "wanted": ["01", "02"], "heard": {}},
        {"case": "a", "read_point": "y", "wanted": ["02"], "heard": {"01": [3, 1, 2, 0, 0, 0]}},
        {"case": "a", "read_point": "z", "wanted": [], "heard": {"02": [4, 0, 0, 1, 1, 2]}},
        {"case": "b", "read_point": "y", "wanted": [], "heard": {"01": [9, 9, 0, 0, 0, 0]}},
    ]
    assert list(cross_reads_between(lines, sqlite3.connect(""))) == [
        CrossRead("a", "x", "z", 1, Hearings(4, 0, 0, 1, 1, 2)),
        CrossRead("a", "y", "z", 1, Hearings(4, 0, 0, 1, 1, 2)),
        CrossRead("a", "x", "y", 1, Hearings(3, 1, 2)),
    ]


def test_a_point_is_not_paired_with_itself() -> None:
    """It may hear a tag of its own where that tag is stray; no other point is to blame."""
    lines = [
        {"case": "a", "read_point": "x", "wanted": ["01"], "heard": {"01": [5, 5, 0, 0, 0, 0]}},
        {"case": "a", "read_point": "y", "wanted": [], "heard": {"01": [2, 0, 2, 0, 0, 0]}},
    ]
    assert [(p.wanted_at, p.heard_at) for p in cross_reads_between(lines, sqlite3.connect(""))] == [
        ("x", "y")
    ]


def test_the_batch_lists_the_pairs_of_a_site(tmp_path: Path) -> None:
    """Each read point of the made site hears six tags of the one before it (five where the
    first level of a tag lay above the last)."""
    folder = write_site(tmp_path / "site", 4)
    summary = run_batch([folder], tmp_path / "out", Options(unseen=False, sturdier=False))
    pairs = json.loads((tmp_path / "out/cross_reads.json").read_text())["pairs"]
    assert {(p["wanted_at"], p["heard_at"]) for p in pairs} == {
        ("d00", "d01"),
        ("d01", "d02"),
        ("d02", "d03"),
        ("d03", "d00"),
    }
    reads = (folder / "reads.csv").read_text().splitlines()
    for pair in pairs:
        its = {epc_of(pair["wanted_at"], load) for load in range(6)}
        fields = [line.split(",") for line in reads]
        heard = {(f[1], f[3]) for f in fields if f[0] == pair["heard_at"] and f[3] in its}
        assert pair["heard"] == len(heard) == pair["silenced"] + pair["reported"]
        assert pair["tags"] == len({epc for _, epc in heard})
    assert "times as stray: 5 silenced" in " ".join(summary.text.split())
    stray = {r["read_point"]: r["result"]["outcome"]["stray"] for r in rows(tmp_path / "out")}
    assert all(pair["reported"] <= stray[pair["heard_at"]] for pair in pairs)
