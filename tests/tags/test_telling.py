"""What data tells of wanted and stray tags: of tags, not of how often they were presented."""

from __future__ import annotations

from strategist.survey.policy import Policy
from strategist.tags.telling import data_findings
from tests.optimise.made import survey_of
from tests.tags.uris import encode


def test_a_tag_counts_once_however_often_it_was_presented() -> None:
    """One stray of the wanted type in each of 40 passes, four of another type in one each.

    By presentations 91 % of the strays are of the wanted type; by tags it is one of five.
    """

    def bag(kind: int, serial: int) -> str:
        return encode(f"urn:epc:tag:grai-96:0.9521141.{kind}.{serial}")

    passes = [
        [(bag(11200, 100 + n), True, [-50.0]), (bag(11200, 7), False, [-50.0])]
        + [(bag(20810, n), False, [-50.0])] * (n < 4)
        for n in range(40)
    ]
    (finding,) = data_findings(survey_of([20.0], passes), Policy())
    assert finding[1] == "data_helps"
    assert "100 % of wanted and 20 % of stray tags." in finding[2]
