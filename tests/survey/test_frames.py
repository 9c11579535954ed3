"""A case in data frames, in and out, and how it shows itself to who works with it in a notebook."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from strategist import Case, InputError, Policy, Strategy, evaluate, read_case
from tests.survey.cases import READS, ROSTER, plain, write_case

LINEN = Path(__file__).parents[2] / "cases/linen-service"
POLICIES = {"gate": {"levels_dbm": [15, 16]}}


def frame(text: str, **types: Any) -> pd.DataFrame:
    header, *lines = (line.split(",") for line in text.splitlines())
    return pd.DataFrame(lines, columns=header).astype(types)


def frames() -> tuple[pd.DataFrame, pd.DataFrame]:
    return frame(READS, power_dbm=float, rssi_dbm=float), frame(ROSTER)


@pytest.mark.parametrize("name", ["soiled-chute", "sorting-belt", "clean-gate", "shelf-cabinet"])
def test_frames_out_and_in_again_are_the_same_survey(name: str) -> None:
    point = read_case(LINEN)[name]
    reads, roster, tried = (point.survey.to_frame(kind) for kind in ("reads", "roster", "tried"))
    shuffled = reads.sample(frac=1, random_state=1)
    (same,) = Case.from_frames(shuffled, roster, {name: point.policy}, tried=tried)
    assert plain(same.survey) == plain(point.survey)
    assert same.policy == point.policy


def test_frames_give_what_the_files_give(tmp_path: Path) -> None:
    """Whatever the types: text of numbers, categories, one column of objects."""
    point = read_case(write_case(tmp_path))["gate"]
    reads, roster = frames()
    scalars = reads.assign(
        rssi_dbm=pd.Series([np.float64(x) for x in reads.rssi_dbm], dtype=object)
    )
    for given in (
        scalars,
        reads,
        reads.astype(str),
        reads.astype({"epc": "category"}),
        reads.astype(object),
    ):
        case = Case.from_frames(given, roster, POLICIES, site="Test")
        assert case.site == "Test"
        assert plain(case["gate"].survey) == plain(point.survey)
        assert case["gate"].policy == point.policy


def test_absent_is_not_given() -> None:
    reads, roster = frames()
    roster = roster.assign(tid=[None, np.nan, pd.NA], tag_type=["flat", None, "flat"])
    reads["antenna"], reads["reads"] = [np.nan, None, pd.NA, ""], [1, np.nan, 2, None]
    first, second = Case.from_frames(reads, roster, POLICIES)["gate"].survey.tags
    assert (first.tid, first.tag_type, second.tag_type) == (None, "flat", None)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"epc": 3001}, "reads, line 1, epc: 3001 is not valid. Give text"),
        ({"power_dbm": True}, "reads, line 1, power_dbm: True is not valid"),
        ({"power_dbm": np.nan}, "reads, line 1, power_dbm is missing"),
        ({"rssi_dbm": 5.0}, 'reads, line 1, rssi_dbm: "5.0" is not valid'),
        ({"rsi_dbm": 5.0}, 'nearest: "rssi_dbm"'),
    ],
)
def test_faults_are_those_of_the_files(change: dict[str, Any], words: str) -> None:
    reads, roster = frames()
    with pytest.raises(InputError) as refused:
        Case.from_frames(reads.assign(**change), roster, POLICIES)
    assert words in str(refused.value)


@pytest.mark.parametrize(
    ("policy", "words"),
    [
        ({"stop_afer": 2}, 'nearest: "stop_after"'),
        ({"levels_dbm": {15, 16}}, "policies, read_points.gate.levels_dbm"),
        ({"stop_after": np.int64(0)}, "read_points.gate.stop_after"),
        (None, "policies, read_points.gate"),
    ],
)
def test_policies_are_judged_as_in_site_json(policy: Any, words: str) -> None:
    reads, roster = frames()
    with pytest.raises(InputError) as refused:
        Case.from_frames(reads, roster, {"gate": policy})
    assert words in str(refused.value)


def test_without_a_policy_defaults_are_used_and_a_warning_says_so() -> None:
    point = Case.from_frames(*frames())["gate"]
    assert point.policy == Policy()
    assert 'policies lacks the read point "gate"' in point.warnings[0]


def test_a_case_is_short_to_see_and_its_read_points_have_names() -> None:
    case = read_case(LINEN)
    assert [point.name for point in case] == case._ipython_key_completions_()
    assert len(case) == 5
    shown = [
        case,
        *case,
        *(point.survey for point in case),
        Policy(),
        *case["clean-gate"].survey.tags,
    ]
    assert all(len(repr(one)) < 200 and "\n" not in repr(one) for one in shown)
    with pytest.raises(InputError, match='nearest: "clean-gate"'):
        case["clean-gat"]


def test_a_policy_shows_what_is_not_the_default() -> None:
    assert repr(Policy()) == "Policy()"
    policy = read_case(LINEN)["soiled-chute"].policy
    assert "loss=Loss(stray=2.0)" in repr(policy) and "guard" not in repr(policy)


def test_the_passes_of_an_answer_are_a_frame() -> None:
    point = read_case(LINEN)["clean-gate"]
    outcome = evaluate(point.survey, point.policy, Strategy((30.0,)))
    frame = outcome.to_frame()
    assert frame.index.tolist() == list(point.survey.pass_ids)
    assert frame["missed"].sum() == outcome.missed and frame["stray"].sum() == outcome.stray
    assert frame["wanted"].sum() == outcome.wanted
    assert (frame["steps"] == 1).all()
    assert len(repr(outcome)) < 150


def test_lists_are_as_good_as_tuples() -> None:
    given: Any = {"levels_dbm": [16, 15], "allow": ["power"], "reader": {"power_levels_dbm": [15]}}
    assert Policy(levels_dbm=given["levels_dbm"], allow=given["allow"]).levels_dbm == (15.0, 16.0)
    point = Case.from_frames(*frames(), {"gate": given})["gate"]
    assert point.policy.reader.power_levels_dbm == (15.0,)
    levels: Any = [15, 16]
    assert Strategy(levels) == Strategy((15.0, 16.0))
