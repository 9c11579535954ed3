"""What an answer says where it rests on predicted levels: by hand, on 20, 21, 22, 23 dBm."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Guard, Loss, Policy
from strategist.survey.records import Predicted, ReadPoint, Survey
from strategist.tags.mask import Mask
from strategist.trust.evaluate import Resting, evaluate
from strategist.trust.evaluation import evaluate_at
from strategist.trust.foreseen import foreseen_of
from strategist.trust.guarded import StandIn, guarded_outcome
from strategist.trust.margins import RssiMargin, margins_of
from strategist.trust.next_survey import next_survey
from tests.optimise.made import survey_of

W, V, S, T = "3001", "3002", "3501", "3502"
LEVELS = [20.0, 21.0, 22.0, 23.0]
POLICY = Policy(loss=Loss(5.0, 1.0), guard=Guard(0.0, 2.0))
SOME = Strategy((21.0,), stop_after=9)


def foretold(passes: Any, pairs: list[tuple[int, int]]) -> Survey:
    """A survey whose reads in some (pass, level) pairs are predicted, to 1 dB and 3 dB."""
    survey = survey_of(LEVELS, passes)
    table = np.zeros_like(survey.tried)
    for place in pairs:
        table[place] = True
    return replace(survey, predicted=Predicted(table, 1.0, 3.0, 0.98))


def guards(passes: Any, pairs: list[tuple[int, int]], strategy: Strategy) -> tuple[int, int]:
    outcome = guarded_outcome(foretold(passes, pairs), POLICY, strategy).outcome
    return outcome.missed, outcome.stray


def test_guards_widen_at_a_predicted_step_and_land_on_measured_levels() -> None:
    """Step 21, guard 0 dB. Measured, it is 21 itself. Predicted, W is tried at 20 (21 − 1) and S at
    22 (21 + 1); at 22 predicted too, S at 23."""
    passes = [[(W, True, [None, -50, -50, -50]), (S, False, [None, None, -60, None])]]
    assert guards(passes, [], SOME) == (0, 0)
    assert guards(passes, [(0, 1)], SOME) == (1, 1)
    assert guards(passes, [(0, 1), (0, 2)], SOME) == (1, 0)


def test_rssi_widens_too() -> None:
    """W is read at 20 with −50: 2 dB of guard and 3 of the model make −55; S at 22 −60 is −55."""
    passes = [[(W, True, [-50, -49, -48, -47])], [(S, False, [None, None, -60, None])]]
    pairs = [(0, 1), (1, 1)]
    assert guards(passes, pairs, Strategy((21.0,), 1, -55.0)) == (0, 1)
    assert guards(passes, pairs, Strategy((21.0,), 1, -54.9)) == (1, 0)
    assert guards(passes, [], Strategy((21.0,), 1, -51.0)) == (0, 0)


def test_each_pass_lands_on_its_own_levels() -> None:
    """21 was predicted in the first pass alone: there W is tried at 20, in the second at 21."""
    passes = [[(W, True, [None, -50, -50, -50])]] * 2
    assert guards(passes, [(0, 1)], SOME) == (1, 0)


def test_an_end_level_stands_in_once() -> None:
    survey = foretold([[(W, True, [-50] * 4)]] * 3, [(0, 0), (1, 0), (2, 0)])
    found = guarded_outcome(survey, POLICY, Strategy((20.0,)))
    assert found.stand_ins == (StandIn("wanted", 19.0, 21.0),)
    assert found.predicted == Guard(1.0, 5.0)
    assert found.to_json()["predicted"] == {"power_db": 1.0, "rssi_db": 5.0}
    assert guarded_outcome(survey, POLICY, SOME).predicted is None


def test_what_rests_on_predictions_by_hand() -> None:
    """Ladder 20, 21, masks 30…, up to nine tags; 21 is predicted in the first pass only. There W is
    reported at 20 already (measured), V at 21, and S is kept out by the mask whatever is read; the
    unread V of a third pass, predicted too, is missed by prediction, its stray 30FF comes by it."""
    other = "30FF"
    passes = [
        [(W, True, [-50] * 4), (V, True, [None, -50, -50, -50]), (S, False, [-50] * 4)],
        [(V, True, [None, -50, -50, -50])],
        [(V, True, [None] * 4), (other, False, [None, -50, -50, -50])],
    ]
    strategy = Strategy((20.0, 21.0), 9, None, (Mask("epc", 32, 8, "30"),))
    outcome = evaluate(foretold(passes, [(0, 1), (2, 1)]), POLICY, strategy)
    assert (outcome.missed, outcome.stray) == (1, 1)
    assert outcome.predicted == Resting(passes=2, wanted=2, missed=1, stray_presented=1, stray=1)
    assert outcome.to_json()["predicted"]["wanted"] == 2
    assert evaluate(survey_of(LEVELS, passes), POLICY, strategy).to_json()["predicted"] is None


def test_a_pass_that_stops_below_rests_on_nothing() -> None:
    survey = foretold([[(W, True, [-50] * 4)]], [(0, 1)])
    outcome = evaluate(survey, POLICY, Strategy((20.0, 21.0)))
    assert outcome.predicted == Resting(0, 0, 0, 0, 0)


def test_margins_move_to_measured_levels_and_name_predicted_reads() -> None:
    """22 − 1 is 21, predicted: the next measured level is 20, where W is silent. The weakest read
    on the step is W's own, predicted at 22."""
    passes = [[(W, True, [None, -50, -48, -47]), (S, False, [None] * 4)]]
    survey = foretold(passes, [(0, 1), (0, 2)])
    strategy = Strategy((22.0,), 9, -50.0)
    margins = margins_of(survey, POLICY, strategy, evaluate(survey, POLICY, strategy))
    assert margins.power_wanted is not None
    assert (margins.power_wanted.holds_db, margins.power_wanted.fails_db) == (0.0, 2.0)
    assert margins.rssi_wanted == RssiMargin(2.0, "p0000", W, predicted=True)
    ladder = Strategy((22.0, 23.0), 9)  # 1 dB up from 22 is 23; 3 dB down, and both are at 20
    low = margins_of(survey, POLICY, ladder, evaluate(survey, POLICY, ladder)).power_wanted
    assert low is not None
    assert (low.holds_db, low.fails_db) == (0.0, 2.0)  # 23 − 2 is 21, predicted: so 20 as well


def test_steps_to_survey_are_named() -> None:
    survey = foretold([[(W, True, [-50] * 4)]] * 2, [(0, 1), (1, 1), (1, 3)])
    found = foreseen_of(survey, Strategy((20.0, 21.0)))
    assert found is not None
    assert (found.levels_dbm, found.steps_dbm, found.pairs) == ((21.0, 23.0), (21.0,), 3)
    assert "21 dBm was predicted" in found.warnings[0]
    none = foreseen_of(survey, Strategy((20.0,)))
    assert none is not None and none.warnings == ()
    strategy = Strategy((21.0,))
    then = next_survey(
        ReadPoint(survey, POLICY), strategy, evaluate(survey, POLICY, strategy), None
    )
    assert 21.0 in then.levels_dbm
    assert "Survey the steps that were predicted: nobody has measured them." in then.reasons


def test_an_answer_says_it_all() -> None:
    """21 was not surveyed: it is searched all the same and counted as predicted, by both ways to
    prove; `evaluate` says the same of the answer, and warns of a strategy that uses 21."""
    passes = [
        [(W, True, [-60, None, -58, -57]), (S, False, [None, None, -66, -65])] for _ in range(4)
    ] + [[(V, True, [None, None, -58, -57]), (T, False, [None, None, None, -70])]]
    survey = survey_of(LEVELS, passes)
    tried = np.ones_like(survey.tried)
    tried[:, 1] = False
    policy = Policy(predict_levels=True, allow=("power", "cutoff"), stop_after=9)
    point = ReadPoint(replace(survey, tried=tried), policy)
    for method in ("search", "model"):
        result = choose(point, Options(method=method))  # type: ignore[arg-type]
        assert result.searched["levels"] == 4
        assert result.searched["levels_predicted"] == 1
        told = result.to_json()
        assert told["predicted"]["levels_dbm"] == [21.0]
        again = evaluate_at(point, result.strategy).to_json()
        assert all(again[key] == told[key] for key in ("predicted", "outcome", "guarded"))
    forced = Strategy((21.0,), 9)
    warnings = evaluate_at(point, forced).warnings
    assert "5 of 20 pairs" in warnings[0] and "21 dBm was predicted" in warnings[1]
