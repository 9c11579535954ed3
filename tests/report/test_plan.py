"""A plan in words, and its run sheet."""

from __future__ import annotations

import re
from dataclasses import replace

from strategist.answers.run_sheet import (
    Contender,
    LimitsKept,
    Presentation,
    Regret,
    Stage,
    SurveyPlan,
)
from strategist.optimise.strategy import Strategy
from strategist.report.plan import run_sheet_page, survey_plan_text

NEXT = SurveyPlan(
    "bay-<1>",
    "next",
    240,
    1260,
    3.0,
    Regret(2.105, 7.0, 0.95, 19),
    Strategy((18.0, 23.0), cutoff_dbm=-56.0),
    None,
    tuple(Contender(Strategy((float(level),)), 1) for level in range(10, 18)),
    23.3,
    (
        Presentation("p1", (18.0, 19.0), 3.2, 0.1),
        Presentation("p2", (19.0,), 3.1, 0.2),
        *(Presentation(f"q{n}", (27.5,), 3.1, 0.0) for n in range(9)),
    ),
)


def test_words_fit_a_terminal_and_say_what_to_do() -> None:
    text = survey_plan_text(NEXT)
    lines = text.splitlines()
    assert len(lines) <= 40 and max(map(len, lines)) <= 80
    assert lines[0] == "bay-<1>: measure more"
    assert "240 of 1260 pairs of pass and level (19 %)" in text
    words = " ".join(text.split())
    assert "If the passes surveyed come again, the strategy in hand may lose up to 7 more" in words
    assert "than the best one (95 % confidence; 2.1 in the mean of 19 possible surveys)" in words
    assert "To measure: 12 pairs of pass and level in 11 passes, 23 minutes" in text
    assert "  p1: 18, 19 dBm" in lines and "  q0 to q8 (9): 27.5 dBm" in lines
    assert "and 3 more" in text


def test_a_run_sheet_has_a_box_for_each_pair() -> None:
    page = run_sheet_page(NEXT.to_json(), "2026-03-09")
    pairs = sum(len(row.levels_dbm) for row in NEXT.run_sheet)
    assert page.count('class="box"') == pairs
    assert re.findall(r'<th scope="row">(\w+)</th>', page)[:2] == ["p1", "p2"]
    heads = re.findall(r'<th scope="col" class="n">([\d.]+)</th>', page)
    assert heads == ["18", "19", "27.5"]
    assert "bay-&lt;1&gt;" in page and "bay-<1>" not in page
    assert "2026-03-09" in page and "default-src 'none'" in page
    assert "lawful" in page, "a caution goes with what radiates"


def test_it_says_whether_the_hard_limits_are_kept() -> None:
    said = {
        LimitsKept("open", 40, 3, 59): (
            "Whether the hard limits are kept is not known yet: by the strategy in hand in 40 of 59"
        ),
        LimitsKept("kept", 58, 0, 59): "keeps the hard limits in 58 of 59 possible surveys.",
        LimitsKept("exceeded", 0, 59, 59): (
            "No strategy looked at keeps the hard limits in 59 of 59 possible surveys."
        ),
        LimitsKept("kept", 1, 0, 1): "The strategy in hand keeps the hard limits.",
        LimitsKept("exceeded", 0, 1, 1): "No strategy keeps the hard limits.",
    }
    for limits, words in said.items():
        stage: Stage = "next" if limits.verdict == "open" else "enough"
        text = survey_plan_text(replace(NEXT, stage=stage, limits=limits))
        assert words in " ".join(text.split())
        assert max(map(len, text.splitlines())) <= 80
        assert ("Do not install" in text) == (limits.verdict == "exceeded")
        assert ("these are the settings" in text) == (limits.verdict == "kept")
    assert "hard limits" not in survey_plan_text(NEXT)
