"""What data tells of wanted and stray tags: of tags, not of how often they were presented."""

from __future__ import annotations

import pytest

from strategist.survey.policy import Policy
from strategist.tags.telling import data_findings
from tests.optimise.made import survey_of
from tests.tags.uris import encode


def bag(kind: int, serial: int) -> str:
    return encode(f"urn:epc:tag:grai-96:0.9521141.{kind}.{serial}")


def test_a_tag_counts_once_however_often_it_was_presented() -> None:
    """One stray of the wanted type in each of 40 passes, four of another type in one each.

    By presentations 91 % of the strays are of the wanted type; by tags it is one of five.
    """
    passes = [
        [(bag(11200, 100 + n), True, [-50.0]), (bag(11200, 7), False, [-50.0])]
        + [(bag(20810, n), False, [-50.0])] * (n < 4)
        for n in range(40)
    ]
    (finding,) = data_findings(survey_of([20.0], passes), Policy())
    assert finding[1] == "data_helps"
    assert "100 % of wanted and 20 % of stray tags." in finding[2]


@pytest.mark.parametrize(("common", "said"), [(0, "parts"), (1, "helps")])
def test_what_only_strays_carry_is_told_the_other_way_round(common: int, said: str) -> None:
    """Wanted tags of three types; four strays of a fourth, and where `common` one of the first."""
    strays = [bag(20810, n) for n in range(4)] + [bag(11200, 9)] * common
    entries = [(bag(kind, n), True, [-50.0]) for kind in (11200, 11300, 11400) for n in range(4)]
    entries += [(epc, False, [-50.0]) for epc in strays]
    (finding,) = data_findings(survey_of([20.0], [entries]), Policy())  # type: ignore[list-item]
    assert finding[1] == f"data_{said}"
    share = 20 * common
    assert f"100 % of wanted and {share} % of stray tags do not carry" in finding[2]
