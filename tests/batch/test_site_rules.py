"""The rule by which a host discards one of two reports, from site.json to its words."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from strategist import Case, InputError, SitePlan, plan_site, site_plan_text
from strategist.survey.records import ReadPoint
from strategist.survey.site import Arbitration, SharedReader
from tests.optimise.site.made_pairs import random_pair

NAMES = ("dock-1", "dock-2")


def case_of(seed: int, *, facing: bool = False, apart: bool = False) -> Case:
    """Two docks on one reader that hear each other's tags; `apart`: in other passes."""
    site = random_pair(seed, ("masks", "cutoff"), facing=facing, passes=8)
    points = []
    for p, name in enumerate(NAMES):
        one = site.points[p][0]
        survey = replace(one.survey, read_point=name)
        if apart and p:
            survey = replace(survey, pass_ids=tuple(f"other {n}" for n in survey.pass_ids))
        points.append(ReadPoint(survey, one.policy))
    faces = site.pairs[0].facing
    rule = Arbitration(NAMES) if faces is None else Arbitration(NAMES, "facing", NAMES[faces])
    readers = {"reader": SharedReader(NAMES)}
    return Case("Docks", tuple(points), readers, arbitration={"docks": rule})


@pytest.fixture(scope="module")
def plan() -> SitePlan:
    return plan_site(case_of(2))


def test_a_rule_is_told_in_text_and_json_as_it_is_replayed(plan: SitePlan) -> None:
    (rule,) = plan.rules
    assert rule.in_force and rule.discarded_stray > 0 and rule.threshold_db is not None
    assert plan.without_rules is not None and plan.loss < plan.without_rules
    assert rule.loss == plan.loss < rule.loss_without
    assert plan.proven and plan.loss == sum(one.loss for one in plan.read_points)
    text = site_plan_text(plan)
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert rule.rule in words and f"differ by {rule.threshold_db:g} dB or more" in words
    assert "loss without" not in words and "the rule docks: saves" in words
    told = json.loads(json.dumps(plan.to_json()))["rules"][0]
    assert told["rule"] == rule.rule and told["threshold_db"] == rule.threshold_db


def test_the_one_that_faces_keeps_what_it_reports() -> None:
    plan = plan_site(case_of(7, facing=True))
    (rule,) = plan.rules
    assert rule.facing in NAMES and rule.in_force
    other = NAMES[1 - NAMES.index(rule.facing)]
    assert f"discard the reports of {other}" in rule.rule


def test_surveys_of_other_passes_are_no_ground_for_a_rule() -> None:
    plan = plan_site(case_of(2, apart=True))
    (rule,) = plan.rules
    assert not rule.in_force and rule.contested == 0 and plan.loss == plan.without_rules
    assert any("give each pass one pass_id at both" in note for note in plan.notes)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            {"read_points": ["a", "c"]},
            'arbitration.doors.read_points.1: there is no read point "c"',
        ),
        ({"read_points": ["a"]}, "arbitration.doors.read_points"),
        ({"read_points": ["a", "b"], "keep": "facing"}, "facing goes with"),
        ({"read_points": ["a", "b"], "keep": "facing", "facing": "c"}, "none of its read_points"),
    ],
)
def test_what_is_no_pair_is_refused(given: Any, said: str) -> None:
    reads = [(p, "1", 20, "3001", -60.0) for p in "ab"]
    roster = [(p, "1", "3001", "wanted") for p in "ab"]
    columns = ["read_point", "pass_id", "power_dbm", "epc", "rssi_dbm"]
    frames = (
        pd.DataFrame(reads, columns=columns),
        pd.DataFrame(roster, columns=["read_point", "pass_id", "epc", "role"]),
    )
    with pytest.raises(InputError) as refused:
        Case.from_frames(*frames, arbitration={"doors": given})
    assert said in str(refused.value)
