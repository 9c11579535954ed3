"""Losses of a plan are those that each read point aims at, and the plan says which."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest

from strategist import Case, InputError, plan_site, site_plan_text, solve
from strategist.optimise.site import plan as plans
from strategist.survey.records import ReadPoint
from tests.batch.test_site_rules import NAMES, case_of

Aim = Literal["survey", "expected"]


def aimed(*aims: Aim) -> Case:
    """Two docks on one reader, without a rule."""
    case = case_of(2)
    points = tuple(
        ReadPoint(one.survey, replace(one.policy, aim=aim))
        for one, aim in zip(case, aims, strict=True)
    )
    return replace(case, read_points=points, arbitration={})


def test_expected_losses_are_those_of_solve() -> None:
    """A reader each: what each read point loses in as many passes as were surveyed."""
    case = replace(aimed("expected", "survey"), readers={})
    plan, found = plan_site(case), [solve(point) for point in case]
    assert found[0].per_pass is not None and plan.aim == "both" and plan.proven
    passes = len(case["dock-1"].survey.pass_ids)
    losses = {one.read_point: one.loss for one in plan.read_points}
    assert losses["dock-1"] == pytest.approx(passes * found[0].per_pass.loss)
    assert losses["dock-2"] == found[1].loss


def test_a_plan_says_what_its_losses_are() -> None:
    surveyed, foreseen = (
        plan_site(aimed("survey", "survey")),
        plan_site(aimed("expected", "expected")),
    )
    assert surveyed.aim == "survey" and surveyed.survey_loss == surveyed.loss
    assert foreseen.aim == "expected" and foreseen.survey_loss >= surveyed.loss
    assert foreseen.proven and foreseen.survey_loss == sum(
        one.survey_loss for one in foreseen.read_points
    )
    assert "Losses are those of the passes surveyed, each once." in site_plan_text(surveyed)
    words = " ".join(site_plan_text(foreseen).split())
    assert "to expect in as many passes as were surveyed" in words
    assert f"in the survey itself the plan loses {foreseen.survey_loss:g}" in words


def test_a_rule_is_chosen_over_copies_and_told_of_the_survey(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(plans, "_SMALL", 0)  # the columns of the search alone: sooner done
    case = aimed("expected", "expected")
    plan = plan_site(replace(case, arbitration=case_of(2).arbitration))
    assert plan.rules[0].contested == 9  # in the survey
    assert plan.without_rules is not None and plan.loss <= plan.without_rules


def test_own_powers_are_refused_with_what_to_do() -> None:
    case = aimed("survey", "survey")
    first = case[NAMES[0]]
    reader = replace(first.policy.reader, antenna_power="own")
    own = ReadPoint(first.survey, replace(first.policy, reader=reader))
    with pytest.raises(InputError) as refused:
        plan_site(replace(case, read_points=(own, case[NAMES[1]])))
    said = str(refused.value)
    assert "powers by antenna are not planned for a site" in said and "Set it to shared" in said
