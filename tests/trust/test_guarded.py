"""The guarded loss, by hand: levels 20, 21, 22 dBm, guards of 1 dB in power and 2 dB in RSSI."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Guard, Loss, Policy
from strategist.tags.mask import Mask
from strategist.trust.evaluate import evaluate
from strategist.trust.guarded import (
    StandIn,
    guarded_loss,
    guarded_outcome,
    level_at,
    measured_levels,
)
from tests.optimise.made import random_read_point, survey_of

W, V, S, T = "3001", "3002", "3501", "3502"
POLICY = Policy(loss=Loss(5.0, 1.0))  # guards of 1 dB and 2 dB, the defaults
LEVELS = [20.0, 21.0, 22.0]


def counts(passes: Any, strategy: Strategy, policy: Policy = POLICY) -> tuple[int, int]:
    outcome = guarded_outcome(survey_of(LEVELS, passes), policy, strategy).outcome
    return outcome.missed, outcome.stray


def test_wanted_is_tried_one_decibel_lower_and_stray_one_higher() -> None:
    """W is read from 20 on: still reported at 21. V only from 21 on: missed. S only at 22: in."""
    passes = [
        [(W, True, [-50, -49, -48]), (V, True, [None, -50, -49]), (S, False, [None, None, -70])]
    ]
    assert counts(passes, Strategy((21.0,), stop_after=3)) == (1, 1)
    survey = survey_of(LEVELS, passes)
    assert guarded_loss(survey, POLICY, Strategy((21.0,), stop_after=3)) == 6.0
    assert evaluate(survey, POLICY, Strategy((21.0,), stop_after=3)).loss == 0.0


def test_reads_shift_by_two_decibels_against_the_cutoff() -> None:
    """Wanted -50 counts as -52, stray -54 as -52: a cutoff of -52 takes both, -51.9 neither."""
    passes = [[(W, True, [-50, -40, -40])], [(S, False, [-80, -80, -54])]]
    assert counts(passes, Strategy((21.0,), cutoff_dbm=-52.0)) == (0, 1)
    assert counts(passes, Strategy((21.0,), cutoff_dbm=-51.9)) == (1, 0)


def test_a_shift_in_tenths_meets_the_cutoff_exactly() -> None:
    """-58.3 - 2 is -60.3, whatever binary fractions make of it."""
    passes = [[(W, True, [-58.3, -58.3, -58.3])], [(S, False, [-64.1, -64.1, -64.1])]]
    assert counts(passes, Strategy((21.0,), cutoff_dbm=-60.3)) == (0, 0)
    assert counts(passes, Strategy((21.0,), cutoff_dbm=-62.1)) == (0, 1)


def test_a_shift_in_tenths_is_not_lost_to_binary_fractions() -> None:
    """−69.9 − 0.2 is −70.1, and −69.9 + 0.1 is −69.8; in floating point both fall a hair short."""
    assert -69.9 - 0.2 < -70.1 and -69.9 + 0.1 < -69.8
    weaker, stronger = (Policy(guard=Guard(1.0, rssi_db)) for rssi_db in (0.2, 0.1))
    wanted, stray = [[(W, True, [-69.9] * 3)]], [[(S, False, [-69.9] * 3)]]
    assert counts(wanted, Strategy((21.0,), cutoff_dbm=-70.1), weaker) == (0, 0)
    assert counts(stray, Strategy((21.0,), cutoff_dbm=-69.8), stronger) == (0, 1)


def test_the_role_in_the_pass_decides_which_way_a_tag_drifts() -> None:
    """W is wanted in the first pass (tried at 20: missed) and stray in the second (at 22: in)."""
    curve = [None, -50, -49]
    assert counts([[(W, True, curve)], [(W, False, curve)]], Strategy((21.0,))) == (1, 1)


def test_end_levels_stand_in_and_the_outcome_says_so() -> None:
    passes = [[(W, True, [-50, -50, -50]), (S, False, [None, None, -60])]]
    survey = survey_of(LEVELS, passes)
    found = guarded_outcome(survey, POLICY, Strategy((20.0, 22.0), stop_after=2))
    assert found.stand_ins == (StandIn("wanted", 19.0, 20.0), StandIn("stray", 23.0, 22.0))
    assert (found.outcome.missed, found.outcome.stray) == (0, 1)
    assert guarded_outcome(survey, POLICY, Strategy((21.0,))).stand_ins == ()


def test_nearest_level_where_the_survey_is_coarse() -> None:
    """Levels 10, 13, 20: 19 lies above 13 and below 20; nothing lies at or below 9 or above 20."""
    levels = np.array([10.0, 13.0, 20.0])
    assert level_at(levels, 19.0, "down") == (1, True)
    assert level_at(levels, 14.0, "up") == (2, True)
    assert level_at(levels, 13.0, "down") == level_at(levels, 13.0, "up") == (1, True)
    assert level_at(levels, 9.0, "down") == (0, False)
    assert level_at(levels, 20.5, "up") == (2, False)


def test_the_stop_rule_replays_on_the_guarded_reads() -> None:
    """Plain: W stops the ladder at 20, the stray is never met. Guarded at 21, W is met at 20 and
    stops there too, but the stray, tried at 22, is met with it. At 20/22 W, silent at 20 once it is
    weaker, lets the ladder walk on."""
    passes = [[(W, True, [-50, -50, -40]), (S, False, [None, None, -60])]]
    assert counts(passes, Strategy((21.0, 22.0))) == (0, 1)
    ladder = Strategy((20.0, 22.0), cutoff_dbm=-51.0)
    assert evaluate(survey_of(LEVELS, passes), POLICY, ladder).by_pass[0].steps == 1
    found = guarded_outcome(survey_of(LEVELS, passes), POLICY, ladder)
    assert found.outcome.by_pass[0].steps == 2
    assert (found.outcome.missed, found.outcome.stray) == (1, 0)  # -50 - 2 at 20 and at 21


def test_the_mask_chain_is_unchanged() -> None:
    """The chain keeps 30…: the stray 35… stays out however strong, the wanted 35… stays missed."""
    chain = (Mask("epc", 32, 8, "30"),)
    passes = [[(W, True, [-50] * 3), (T, True, [-10] * 3), (S, False, [-10] * 3)]]
    assert counts(passes, Strategy((21.0,), stop_after=9, masks=chain)) == (1, 0)


def test_guarded_may_be_below_the_loss() -> None:
    """The stray is read at 21 and not at 22, a spot gone cold: the plain loss alone has it."""
    survey = survey_of(LEVELS, [[(S, False, [None, -50, None])]])
    assert evaluate(survey, POLICY, Strategy((21.0,))).loss == 1.0
    assert guarded_loss(survey, POLICY, Strategy((21.0,))) == 0.0


@pytest.mark.parametrize("seed", range(20))
def test_without_guards_it_is_the_loss(seed: int) -> None:
    point = random_read_point(seed)
    levels = tuple(point.survey.levels_dbm[-2:].tolist())
    strategy = Strategy(levels, point.policy.stop_after, -66.0)
    plain = evaluate(point.survey, point.policy, strategy)
    none = guarded_outcome(point.survey, point.policy, strategy, Guard(0.0, 0.0))
    assert none.outcome == plain
    assert none.stand_ins == ()


def test_a_level_not_surveyed_is_refused() -> None:
    with pytest.raises(InputError, match="was not surveyed"):
        guarded_loss(survey_of(LEVELS, [[(W, True, [-50] * 3)]]), POLICY, Strategy((23.0,)))


@pytest.mark.parametrize(
    ("tried", "predicted", "may"),
    [
        ("11 11", "00 00", "11 11"),
        ("110 111", "000 000", "110 110"),  # the third level was not tried in every pass
        ("110 111", "010 000", "100 110"),  # nor measured in each
        ("110 111", "110 000", "110 110"),  # where nothing else is left, a predicted one
        ("10 01", "00 00", "11 11"),  # no level was tried in every pass
    ],
)
def test_levels_that_may_stand_for_others(tried: str, predicted: str, may: str) -> None:
    given = (
        np.array([[mark == "1" for mark in row] for row in text.split()])
        for text in (tried, predicted)
    )
    found = measured_levels(*given)
    assert " ".join("".join(str(int(x)) for x in row) for row in found) == may
