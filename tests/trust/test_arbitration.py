"""Which of two reports of a tag a rule discards, by hand: one pass, one tag, one step."""

from __future__ import annotations

import pytest

from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.trust.arbitration import Discarded, Reporting, discarded
from strategist.trust.evaluate import evaluate
from tests.optimise.made import survey_of

NONE, FIRST, SECOND = (0, 0), (1, 0), (0, 1)


def reporting(rssi: float, wanted: bool) -> Reporting:
    survey, policy = survey_of([20.0], [[("3001", wanted, [rssi])]]), Policy()
    strategy = Strategy((20.0,))
    return Reporting(survey, policy, strategy, evaluate(survey, policy, strategy))


@pytest.mark.parametrize(
    ("rssi", "threshold", "facing", "goes"),
    [
        ((-60.0, -60.0), None, None, NONE),  # neither is the weaker one
        ((-60.0, -60.0), 0.0, None, NONE),
        ((-60.0, -60.5), None, None, SECOND),
        ((-60.5, -60.0), None, None, FIRST),
        ((-60.0, -60.5), 0.5, None, SECOND),
        ((-60.0, -60.5), 0.75, None, NONE),
        ((-60.0, -61.49996), 1.5, None, SECOND),  # 1.5 dB to four digits
        ((-60.0, -61.49994), 1.5, None, NONE),
        ((-65.0, -60.0), None, 0, SECOND),  # the one that faces keeps what it reports
        ((-60.0, -65.0), None, 1, FIRST),
        ((-65.0, -60.0), -5.0, 0, SECOND),
        ((-65.0, -60.0), -4.5, 0, NONE),
        ((-60.0, -60.0), 0.0, 1, FIRST),
    ],
)
@pytest.mark.parametrize("wanted", [(True, False), (False, True)])
def test_the_weaker_report_goes(
    rssi: tuple[float, float],
    threshold: float | None,
    facing: int | None,
    goes: tuple[int, int],
    wanted: tuple[bool, bool],
) -> None:
    both = [reporting(*one) for one in zip(rssi, wanted, strict=True)]
    found = discarded(both, threshold, facing)
    assert [(one.wanted, one.stray) for one in found] == [
        (count, 0) if is_wanted else (0, count)
        for count, is_wanted in zip(goes, wanted, strict=True)
    ]


def test_a_read_point_of_no_rule_discards_nothing() -> None:
    assert (Discarded().wanted, Discarded().stray) == (0, 0)
