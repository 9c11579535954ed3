"""The evaluator by cases worked by hand: small enough to be followed with a pencil."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Loss, Policy
from strategist.survey.records import Predicted, Survey, Tag
from strategist.tags.mask import Mask
from strategist.trust.evaluate import Outcome, Resting, evaluate
from tests.optimise.made import survey_of

GOWN, TOWEL, CART = "AB01", "AB02", "AC01"  # wanted, wanted, stray
NO, YES = False, True
EVERY: list[float | None] = [-60.0, -57.0, -54.0]
# In the first pass the towel needs 30 dBm and the cart is heard from 28 on; in the second the gown
# alone is there, falls silent at 28 and comes back.
PASSES: list[list[tuple[str, bool, list[float | None]]]] = [
    [(GOWN, YES, EVERY), (TOWEL, YES, [None, None, -62.0]), (CART, NO, [None, -50.0, -48.0])],
    [(GOWN, YES, [-66.0, None, -63.0])],
]
LEVELS = [26.0, 28.0, 30.0]


def survey() -> Survey:
    return survey_of(LEVELS, PASSES)


def outcome(*levels: float, **settings: Any) -> Outcome:
    weights = Policy(loss=Loss(missed=3.0, stray=0.5))
    return evaluate(survey(), weights, Strategy(levels, **settings))


def told(found: Outcome) -> list[tuple[set[str], set[str], int]]:
    """(missed, stray, steps) of each pass, by EPC."""
    names = [tag.epc for tag in survey().tags]
    return [
        ({names[i] for i in p.missed}, {names[i] for i in p.stray}, p.steps) for p in found.by_pass
    ]


def test_one_level_reports_what_is_read_there() -> None:
    assert told(outcome(28)) == [({TOWEL}, {CART}, 1), ({GOWN}, set(), 1)]
    assert told(outcome(30)) == [(set(), {CART}, 1), (set(), set(), 1)]


def test_counts_rates_and_the_weighted_loss() -> None:
    found = outcome(28)
    assert (found.passes, found.wanted, found.stray_presented) == (2, 3, 1)
    assert (found.missed, found.stray) == (2, 1)
    assert found.loss == 3.0 * 2 + 0.5 * 1
    assert (found.missed_rate, found.stray_rate) == (2 / 3, 1 / 2)
    assert [(p.wanted, p.stray_presented) for p in found.by_pass] == [(2, 1), (1, 0)]


def test_a_ladder_stops_at_the_first_step_that_reports_enough() -> None:
    """The gown alone stops it at 26 dBm; asked for two tags it walks on, and hears the cart."""
    assert told(outcome(26, 28, 30)) == [({TOWEL}, set(), 1), (set(), set(), 1)]
    assert told(outcome(26, 28, 30, stop_after=2)) == [({TOWEL}, {CART}, 2), (set(), set(), 3)]
    assert told(outcome(26, 28, 30, stop_after=3)) == [(set(), {CART}, 3), (set(), set(), 3)]


def test_what_was_reported_on_the_way_up_stays_reported() -> None:
    """At 28 dBm the gown of the second pass is silent, but 26 had it already."""
    assert told(outcome(26, 28, stop_after=2))[1] == (set(), set(), 2)


def test_a_stray_that_is_let_through_stops_the_ladder_and_one_rejected_does_not() -> None:
    not_gowns = Mask("epc", 32, 16, GOWN, negate=True)
    not_carts = Mask("epc", 32, 8, "AC", negate=True, join="and")
    assert told(outcome(28, 30, masks=(not_gowns,)))[0] == ({GOWN, TOWEL}, {CART}, 1)
    assert told(outcome(28, 30, masks=(not_gowns, not_carts)))[0] == ({GOWN}, set(), 2)


def test_a_read_at_the_cutoff_counts_and_one_below_it_does_not() -> None:
    assert told(outcome(28, cutoff_dbm=-57.0))[0] == ({TOWEL}, {CART}, 1)
    assert told(outcome(28, cutoff_dbm=-56.9))[0] == ({GOWN, TOWEL}, {CART}, 1)
    assert told(outcome(28, 30, cutoff_dbm=-54.0, stop_after=2))[0] == ({TOWEL}, {CART}, 2)


def test_the_strongest_of_several_reads_is_held_against_the_cutoff() -> None:
    """The cart was read twice at 28 dBm, at −50 and −80: the order of the rows is no matter."""
    once = survey()
    number = len(once.tags) - 1
    for position in (0, len(once.read_pass)):
        twice = replace(
            once,
            read_pass=np.insert(once.read_pass, position, 0),
            read_level=np.insert(once.read_level, position, 1),
            read_tag=np.insert(once.read_tag, position, number),
            read_rssi=np.insert(once.read_rssi, position, -80.0),
        )
        found = evaluate(twice, Policy(), Strategy((28.0,), cutoff_dbm=-50.0))
        assert found.by_pass[0].stray == (number,)


def test_a_mask_chain_is_read_left_to_right() -> None:
    """(towel or cart) and not cart lets towels through, (cart and cart) or towel both of them;
    read from the right, the second would be cart and (cart or towel), which is carts alone."""
    cart, towel = Mask("epc", 32, 16, CART), Mask("epc", 32, 16, TOWEL)
    either = replace(cart, join="or")
    chain = (towel, either, replace(cart, join="and", negate=True))
    assert told(outcome(30, masks=chain))[0] == ({GOWN}, set(), 1)
    last = (cart, replace(cart, join="and"), replace(towel, join="or"))
    assert told(outcome(30, masks=last))[0] == ({GOWN}, {CART}, 1)


def test_a_mask_on_a_bank_that_was_not_recorded_matches_nothing_and_its_negation_all() -> None:
    tags = {GOWN: Tag(GOWN, tid="E29E"), TOWEL: Tag(TOWEL)}
    made = survey_of(LEVELS, PASSES, tags)
    mask = Mask("tid", 0, 16, "E29E")
    matched = evaluate(made, Policy(), Strategy((30.0,), masks=(mask,)))
    others = evaluate(made, Policy(), Strategy((30.0,), masks=(replace(mask, negate=True),)))
    assert (matched.missed, matched.stray) == (1, 0)  # the towel: gowns are let through alone
    assert (others.missed, others.stray) == (2, 1)


def test_a_pass_without_any_tag_is_a_pass() -> None:
    made = survey_of(LEVELS, [*PASSES, []])
    found = evaluate(made, Policy(), Strategy((30.0,)))
    assert (found.passes, found.stray_rate) == (3, 1 / 3)
    assert found.by_pass[2].steps == 1 and found.by_pass[2].missed == ()


def test_without_a_wanted_tag_there_is_no_missed_rate() -> None:
    made = survey_of(LEVELS, [[(CART, NO, EVERY)]])
    assert evaluate(made, Policy(), Strategy((26.0,))).missed_rate is None


def test_a_level_that_was_not_surveyed_is_an_error_that_names_it() -> None:
    with pytest.raises(InputError, match=r"27.*26, 28, 30"):
        outcome(26, 27)


def test_a_pass_that_was_not_tried_at_a_step_is_an_error_only_where_it_walks_there() -> None:
    """The second pass was not tried at 30 dBm. A ladder that stops at 26 never asks."""
    tried = np.array([[True, True, True], [True, True, False]])
    at_30 = (survey().read_pass == 1) & (survey().read_level == 2)
    kept = {
        name: getattr(survey(), name)[~at_30]
        for name in ("read_pass", "read_level", "read_tag", "read_rssi")
    }
    made = replace(survey(), tried=tried, **kept)
    assert evaluate(made, Policy(), Strategy((26.0, 30.0))).by_pass[1].steps == 1
    with pytest.raises(InputError, match="p0001"):
        evaluate(made, Policy(), Strategy((26.0, 30.0), stop_after=2))
    with pytest.raises(InputError, match="p0001"):
        evaluate(made, Policy(), Strategy((30.0,)))


def test_what_rests_on_predicted_reads_is_counted() -> None:
    """28 dBm is predicted in both passes. Walking 26 and 28 for two tags, the first pass has its
    gown measured at 26, so towel (missed) and cart (reported) rest on the prediction; the second
    had its gown at 26, too."""
    pairs = np.zeros((2, 3), bool)
    pairs[:, 1] = True
    made = replace(survey(), predicted=Predicted(pairs, 1.0, 1.0, None))
    found = evaluate(made, Policy(), Strategy((26.0, 28.0), stop_after=2))
    assert found.predicted == Resting(passes=2, wanted=1, missed=1, stray_presented=1, stray=1)
    stopped = evaluate(made, Policy(), Strategy((26.0, 28.0)))
    assert stopped.predicted == Resting(0, 0, 0, 0, 0)
    masked = Strategy((28.0,), masks=(Mask("epc", 32, 16, CART),))
    assert evaluate(made, Policy(), masked).predicted == Resting(2, 0, 0, 1, 1)
    assert outcome(28).predicted is None
