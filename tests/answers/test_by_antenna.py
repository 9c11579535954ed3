"""Settings by antenna in words, and what to change at a reader to get there."""

from __future__ import annotations

import json
import re

import pytest

from strategist.answers.assessment import choose
from strategist.answers.by_antenna import antenna_settings, brief_score, cutoff_words
from strategist.answers.changes import changes_between
from strategist.answers.solution import Options
from strategist.optimise.strategy import Strategy
from strategist.report.document import report_document
from strategist.report.given_results import parse_results
from strategist.report.page import report_page
from strategist.report.text import result_text
from strategist.survey.reading import read_case_document
from strategist.survey.score import Difference, Nth, Peak
from tests.second_reading.drawn import case_with_antennas

TOGETHER = Strategy((20.0,), 1, -60.0)
SOME = Strategy((20.0,), 1, -60.0, score=Peak(antennas=(2, 3)))
OWN = Strategy(
    (20.0, 22.0),
    1,
    -60.0,
    score=Peak(antennas=(1, 3), trim_db=((3, -2.5),), offset_db=((3, 4.0),)),
)
COUNTED = Strategy((20.0,), 1, -60.0, score=Nth("nth", 3))
COMPARED = Strategy(
    (20.0,), 1, score=Difference("difference", (1,), (2, 4), -81.0), cutoff_db=6.0, step_s=0.5
)


def test_sheet_and_text_say_how_long_to_listen_and_what_the_sturdier_one_sets() -> None:
    """The best listens to antenna 2 alone, the sturdier strategy to all, both 0.3 s at a step."""
    document = case_with_antennas(3448)
    (point,) = read_case_document(json.dumps(document).encode()).read_points
    found = choose(point, Options(unseen=False))
    assert found.sturdier is not None and found.sturdier.strategy.score is None
    assert "  listen    0.3 s at each step" in result_text(found, point.policy)
    given = parse_results(json.dumps(found.to_json()).encode(), "x.json")
    page = re.sub("<[^>]+>", "", report_page(report_document(given)))
    best, beside = page.split("Sturdier, in place of the settings above")
    assert "Antennas2 on; no other may radiate" in best
    assert "Antennasall on; the strongest read of any counts" in beside
    assert all("Listen0.3 s at each step" in part for part in (best, beside))
    assert "Cutoffnone" in beside


def test_each_antenna_has_its_power_at_each_step_and_its_cutoff() -> None:
    assert antenna_settings(OWN) == [
        ("antennas", "1 and 3 on; no other may radiate"),
        ("ant. 1", "20, 22 dBm; drop its reads below -60 dBm"),
        ("ant. 3", "17.5, 19.5 dBm; drop its reads below -56 dBm"),
    ]
    assert (cutoff_words(OWN), brief_score(OWN)) == ("each antenna its own", "ant 1+3 own")


def test_counts_and_comparisons_are_rules() -> None:
    assert antenna_settings(COUNTED) == [
        (
            "count",
            "keep a tag once it has 3 reads of -60 dBm or stronger at a step, by whichever antenna",
        )
    ]
    (_, on), (_, rule) = antenna_settings(COMPARED)
    assert on == "1, 2 and 4 on; no other may radiate"
    assert "RSSI of antenna 1 less the strongest of antennas 2 and 4" in rule
    assert "counts as -81 dBm. Keep a tag with 6 dB or more" in rule
    assert cutoff_words(COMPARED) == "6 dB of difference"


def test_antennas_that_are_taken_together_need_no_words() -> None:
    assert antenna_settings(TOGETHER) == [] and brief_score(TOGETHER) is None
    assert cutoff_words(TOGETHER) == "-60 dBm: drop every read with a weaker RSSI"


@pytest.mark.parametrize(
    ("before", "after", "settings"),
    [
        (TOGETHER, SOME, ["score"]),
        (SOME, COMPARED, ["score", "step_s"]),
        (COMPARED, TOGETHER, ["score", "step_s"]),
        (
            COMPARED,
            Strategy((20.0,), 1, score=COMPARED.score, cutoff_db=4.0),
            ["cutoff_dbm", "step_s"],
        ),
        (SOME, OWN, ["levels_dbm", "score"]),
    ],
)
def test_a_score_and_its_cutoff_are_one_change(
    before: Strategy, after: Strategy, settings: list[str]
) -> None:
    """So what lies between is a strategy, too: no cutoff in dBm for a difference in dB."""
    asked: list[Strategy] = []

    def loss(strategy: Strategy) -> float:
        asked.append(strategy)
        return float(strategy != after)

    found = changes_between(before, after, loss)
    assert list(found.loss_with_one_changed) == settings
    assert {one.setting for one in found.changes} == set(settings)
    assert after in asked and all(isinstance(one, Strategy) for one in asked)
