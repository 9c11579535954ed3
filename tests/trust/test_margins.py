"""Margins by hand: levels 18 to 22 dBm in steps of 1, one wanted tag and one stray a pass."""

from __future__ import annotations

from typing import Any

from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.tags.mask import Mask
from strategist.trust.evaluate import evaluate
from strategist.trust.margins import Margins, PowerMargin, RssiMargin, margins_of
from tests.optimise.made import survey_of

LEVELS = [18.0, 19.0, 20.0, 21.0, 22.0]
W, S, T = "3001", "3501", "3601"
NEVER = [None] * 5
# W answers from 19 on, with -60 at 19, rising a decibel a decibel; S from 22 on.
WANTED = [None, -60, -59, -58, -57]
STRAY = [None, None, None, None, -62]


def margins(passes: Any, strategy: Strategy) -> Margins:
    survey = survey_of(LEVELS, passes)
    return margins_of(survey, Policy(), strategy, evaluate(survey, Policy(), strategy))


def test_power_says_which_tag_in_which_pass_ends_it() -> None:
    """At 20: lowered by 1 dB W still answers, by 2 not; raised by 1 dB S is silent, by 2 not."""
    passes = [[(W, True, [-61, -60, -59, -58, -57])], [(W, True, WANTED), (S, False, STRAY)]]
    found = margins(passes, Strategy((20.0,), stop_after=2))
    assert found.power_wanted == PowerMargin(1.0, 2.0, "p0001", W)
    assert found.power_stray == PowerMargin(1.0, 2.0, "p0001", S)
    assert found.rssi_wanted is None and found.rssi_stray is None


def test_of_several_that_end_a_margin_the_first_is_named_and_the_others_are_counted() -> None:
    """By pass, then by EPC."""
    entries = [(T, True, WANTED), (W, True, WANTED), (S, False, STRAY)]
    found = margins([entries] * 2, Strategy((20.0,), stop_after=9))
    assert found.power_wanted == PowerMargin(1.0, 2.0, "p0000", W, 3)
    assert found.power_stray == PowerMargin(1.0, 2.0, "p0000", S, 1)


def test_a_margin_that_the_survey_does_not_end() -> None:
    """W answers at every level and S never: both hold to the end of the range."""
    found = margins([[(W, True, [-60] * 5), (S, False, NEVER)]], Strategy((20.0,), stop_after=2))
    assert found.power_wanted == found.power_stray == PowerMargin(2.0)


def test_the_ladder_moves_as_a_whole() -> None:
    """Steps 18 and 20: lowered by 1 dB the second is tried at 19 and the first, beyond the range,
    at 18. W is missed only when the second comes down to 18 too."""
    found = margins([[(W, True, WANTED)]], Strategy((18.0, 20.0)))
    assert found.power_wanted == PowerMargin(1.0, 2.0, "p0000", W)


def test_what_fails_already_does_not_end_a_margin() -> None:
    """T is missed at any level and S is reported at 22: neither says how far the ladder may go."""
    passes = [[(W, True, [-60] * 5), (T, True, NEVER), (S, False, STRAY)]]
    found = margins(passes, Strategy((22.0,), stop_after=3))
    assert found.power_wanted == PowerMargin(4.0)
    assert found.power_stray is None


def test_rssi_is_counted_on_the_steps_walked() -> None:
    """The first pass stops at 20 with -59, the second walks to 22 and takes its best read, -57; so
    the weakest is 1 dB above a cutoff of -60. S, at 22 only, is 2 dB below it; T, which the mask
    rejects, counts for nothing."""
    passes = [
        [(W, True, WANTED), (S, False, [None, None, None, None, -61])],
        [(W, True, [None, None, -61, -58, -57]), (S, False, STRAY), (T, False, [-60.5] * 5)],
    ]
    chain = (Mask("epc", 32, 8, "36", negate=True),)
    found = margins(passes, Strategy((20.0, 22.0), cutoff_dbm=-60.0, masks=chain))
    assert found.rssi_wanted == RssiMargin(1.0, "p0000", W)
    assert found.rssi_stray == RssiMargin(2.0, "p0001", S)


def test_a_tag_counts_by_its_strongest_read_of_the_steps_walked() -> None:
    """Asked for two tags the ladder walks 20 and 22. W is at -58 and then at -50, 10 dB above the
    cutoff; S at -65 and then at -62, 2 dB below it."""
    wanted, stray = [None, None, -58, None, -50], [None, None, -65, None, -62]
    ladder = Strategy((20.0, 22.0), stop_after=2, cutoff_dbm=-60.0)
    found = margins([[(W, True, wanted), (S, False, stray)]], ladder)
    assert found.rssi_wanted == RssiMargin(10.0, "p0000", W)
    assert found.rssi_stray == RssiMargin(2.0, "p0000", S)


def test_a_wanted_tag_at_the_cutoff_has_a_margin_of_nothing() -> None:
    """It is reported, and a hair less would lose it: 0 dB is a margin, and the least of all."""
    passes = [[(W, True, WANTED)], [(W, True, [None, None, -55, -55, -55])]]
    found = margins(passes, Strategy((20.0,), cutoff_dbm=-59.0))
    assert found.rssi_wanted == RssiMargin(0.0, "p0000", W)
    assert found.rssi_stray is None


def test_a_silent_read_point_has_no_wanted_margin() -> None:
    found = margins([[(W, True, NEVER)]], Strategy((20.0,)))
    assert found == Margins(None, None, None, None)
