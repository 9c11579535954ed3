"""Each weakness of a survey is found with its figure, and a sound survey has none."""

from __future__ import annotations

from pathlib import Path

import pytest

from strategist.survey.findings import Finding
from strategist.survey.reading import read_case
from strategist.survey.soundness import zero_event_bound
from strategist.trust.diagnosis import diagnose
from tests.survey.cases import READS, ROSTER, SITE, write_case


def findings(folder: Path, **files: str) -> dict[str, Finding]:
    (point,) = read_case(write_case(folder, **files)).read_points
    found = diagnose(point)
    assert [f.severity for f in found] == sorted((f.severity for f in found), reverse=True)
    return {finding.kind: finding for finding in found}


def test_a_sound_survey_has_no_weak_findings(tmp_path: Path) -> None:
    header, head = READS.splitlines()[0], ROSTER.splitlines()[0]
    reads = [f"gate,p{p},{15 + p % 2},3001,{-50 - p}" for p in range(30)]
    roster = [f"gate,p{p},{epc}" for p in range(30) for epc in ("3001,wanted", "3002,stray")]
    found = findings(
        tmp_path,
        reads="\n".join([header, *reads]),
        roster="\n".join([head, *roster]),
        site=SITE.replace("[15, 16]", "[15, 16, 17]"),
    )
    assert not {kind for kind, finding in found.items() if finding.severity == "weak"}


def test_few_passes_give_the_bound_of_the_rule_of_three(tmp_path: Path) -> None:
    # Hanley & Lippman-Hand 1983, 1 − 0.05^(1/n): n = 30 → 0.09503, n = 2 → 1 − √0.05 = 0.7764
    assert zero_event_bound(30) == pytest.approx(0.09503, abs=5e-6)
    assert "77.6 %" in findings(tmp_path)["few_passes"].text


def test_untried_pairs_and_silent_levels(tmp_path: Path) -> None:
    tried = "read_point,pass_id,power_dbm\ngate,p1,15\ngate,p1,16\ngate,p2,16\ngate,p2,17\n"
    found = findings(tmp_path, tried=tried, site=SITE.replace("[15, 16]", "[15, 16, 17]"))
    assert found["untried"].text.startswith("2 of 6 pairs")
    assert found["silent_levels"].text == "At 1 of 3 levels nothing was read: 17 dBm."


def test_wanted_tags_never_read_and_strays_off_the_roster(tmp_path: Path) -> None:
    found = findings(
        tmp_path,
        roster=ROSTER + "gate,p2,3009,wanted\n",
        reads=READS + "gate,p2,16,3005,-80\n",
    )
    assert found["wanted_never_read"].text.startswith("1 of 3 wanted tags")
    assert "3009" in found["wanted_never_read"].text
    assert found["strays_unlisted"].text.startswith("1 of 2 strays")
    assert "3005" in found["strays_unlisted"].text


def test_roles_that_do_not_occur(tmp_path: Path) -> None:
    assert "no_wanted" in findings(tmp_path / "a", roster=ROSTER.replace("wanted", "stray"))
    assert "no_stray" in findings(tmp_path / "b", roster=ROSTER.replace("stray", "wanted"))
    mixed = findings(tmp_path / "c", roster=ROSTER.replace("p2,3001,wanted", "p2,3001,stray"))
    assert mixed["passes_without_wanted"].text == "1 of 2 passes have no wanted tag: p2."


def test_copied_passes(tmp_path: Path) -> None:
    rows = "".join(f"gate,{{}},15,30{t:02},{-50 - t}\n" for t in range(5))
    reads = READS.splitlines()[0] + "\n" + rows.format(*["p1"] * 5) + rows.format(*["p2"] * 5)
    roster = ROSTER.splitlines()[0] + "\ngate,p1,3001,wanted\ngate,p2,3001,wanted\n"
    found = findings(tmp_path / "a", reads=reads, roster=roster)
    assert found["repeated_passes"].text.startswith("1 of 2 passes repeat")
    other = reads.replace("gate,p2,15,3000,-50", "gate,p2,15,3000,-51")
    assert "repeated_passes" not in findings(tmp_path / "b", reads=other, roster=roster)
