"""passes.csv: condition, day and weight of a pass, by every way that a case goes in."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from strategist.errors import InputError
from strategist.survey.case import Case
from strategist.survey.copies import drawn_copies
from strategist.survey.occasions import conditions_of, whole_weights
from strategist.survey.parts import open_case
from strategist.survey.reading import read_case, read_case_document, read_case_files
from strategist.survey.records import Survey
from strategist.survey.variation import variation_of
from tests.survey.cases import READS, ROSTER, SITE, plain, write_case

PASSES = """\
read_point,pass_id,condition,day,weight
gate,p2,door open,2024-05-31,0.5
gate,p1,,,
"""


def case_with(folder: Path, passes: str) -> Path:
    write_case(folder)
    (folder / "passes.csv").write_text(passes)
    return folder


def rows(text: str) -> list[dict[str, str]]:
    header, *lines = (line.split(",") for line in text.splitlines())
    return [dict(zip(header, line, strict=True)) for line in lines]


def test_every_way_in_gives_the_same_survey(tmp_path: Path) -> None:
    folder = case_with(tmp_path, PASSES)
    survey = read_case(folder)["gate"].survey
    assert survey.pass_condition == ("", "door open")
    assert survey.pass_day == ("", "2024-05-31")
    assert survey.pass_weight is not None
    assert survey.pass_weight.tolist() == [1.0, 0.5]
    files = {path.name: path.read_bytes() for path in folder.iterdir()}
    document = {"site": json.loads(SITE), "reads": rows(READS), "roster": rows(ROSTER)}
    document["passes"] = rows(PASSES)
    frames = [pd.DataFrame(document[kind]) for kind in ("reads", "roster", "passes")]
    policies = {"gate": {"levels_dbm": [15, 16]}}
    others: list[Survey] = [
        read_case_files(files)["gate"].survey,
        read_case_document(json.dumps(document).encode())["gate"].survey,
        next(iter(open_case(folder))).read().survey,
        Case.from_frames(*frames[:2], policies, passes=frames[2])["gate"].survey,
        Case.from_frames(*frames[:2], policies, passes=survey.to_frame("passes"))["gate"].survey,
    ]
    assert [plain(other) for other in others] == [plain(survey)] * len(others)


def test_parts_keep_what_was_said_of_their_passes(tmp_path: Path) -> None:
    survey = read_case(case_with(tmp_path, PASSES))["gate"].survey
    one = survey.keep(passes=np.array([False, True]))
    assert (one.pass_condition, one.pass_day) == (("door open",), ("2024-05-31",))
    assert one.pass_weight is not None
    assert one.pass_weight.tolist() == [0.5]
    pooled = drawn_copies(survey, variation_of(survey), 2, (1,))
    assert pooled.pass_condition == ("", "door open") * 2


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("gate,p1,x,2024-5-31,1", "passes.csv, line 2, day"),
        ("gate,p1,x,,0", "passes.csv, line 2, weight"),
        ("gate,p1,x,,nan", "passes.csv, line 2, weight"),
        ("gate,p1,x,,1\ngate,p1,y,,1", "passes.csv, line 3, pass_id"),
    ],
)
def test_bad_values_are_told_with_their_place(tmp_path: Path, row: str, words: str) -> None:
    text = f"read_point,pass_id,condition,day,weight\n{row}\n"
    with pytest.raises(InputError, match=words):
        read_case(case_with(tmp_path, text))


def test_conditions_are_named_else_days_else_one(tmp_path: Path) -> None:
    survey = read_case(case_with(tmp_path, PASSES))["gate"].survey
    found = conditions_of(survey)
    assert found.names == ("door open", "not named")
    assert found.of_pass.tolist() == [1, 0]
    assert found.times.tolist() == [2, 1]
    assert found.share.tolist() == [1 / 3, 2 / 3]
    days = "read_point,pass_id,day\ngate,p1,2024-05-30\ngate,p2,2024-05-31\n"
    by_day = conditions_of(read_case(case_with(tmp_path, days))["gate"].survey)
    assert by_day.names == ("2024-05-30", "2024-05-31")
    (tmp_path / "passes.csv").unlink()
    assert len(conditions_of(read_case(tmp_path)["gate"].survey).names) == 1


@pytest.mark.parametrize(
    ("given", "whole"),
    [([1.0, 1.0], [1, 1]), ([4.0, 2.0], [2, 1]), ([0.5, 0.25], [2, 1]), ([1e6, 0.001], [1000, 1])],
)
def test_weights_are_whole_in_proportion(
    tmp_path: Path, given: list[float], whole: list[int]
) -> None:
    lines = [f"gate,p{number},{weight}" for number, weight in enumerate(given, 1)]
    text = "\n".join(["read_point,pass_id,weight", *lines, ""])
    survey = read_case(case_with(tmp_path, text))["gate"].survey
    assert whole_weights(survey).tolist() == whole
