"""Silence: where no strategy is better than to report nothing, that is said, and first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from strategist import (
    Side,
    compare,
    compare_techniques,
    evaluate_at,
    evaluation_text,
    result_text,
    techniques_text,
    trace_frontier,
)
from strategist.answers.assessment import Assessment, choose
from strategist.answers.solution import Options
from strategist.answers.what_if import what_if
from strategist.batch.summary import _Totals
from strategist.batch.tables import table_row
from strategist.optimise.strategy import Strategy
from strategist.report.document import report_document
from strategist.report.given_results import GivenResult
from strategist.report.page import report_page
from strategist.report.trade_offs import frontier_text
from strategist.survey.policy import Guard, Limits, Loss
from strategist.survey.records import ReadPoint
from strategist.trust.evaluation import silence_loss
from tests.cases.razor import crib_door, quadrants
from tests.optimise.made import brute_force, random_read_point, survey_of
from tests.surveyed import surveyed_policy

FAST = Options(unseen=False)


def with_policy(point: ReadPoint, **changes: object) -> ReadPoint:
    return replace(point, policy=replace(point.policy, **changes))  # type: ignore[arg-type]


def test_one_tag_in_four_quadrants_is_better_left_silent() -> None:
    result = choose(quadrants(), FAST)
    assert (result.status, result.loss, result.silence_loss) == ("silent", 121, 120)
    assert result.bound == 121 and result.to_json()["silence_loss"] == 120
    assert result.sturdier is None


def test_it_is_said_first() -> None:
    point = quadrants()
    result = choose(point, FAST)
    lines = result_text(result, point.policy).splitlines()
    assert lines[0] == "made: report nothing: no strategy is better than silence, proven"
    said = " ".join(" ".join(lines[1:4]).split())
    assert said.startswith("answer Report nothing: no strategy searched loses less than silence")
    assert result.headline.set.startswith("Nothing. ") and "(120)" in result.headline.verdict
    assert "To set" not in lines and "Not to be set" in lines
    assert result.warnings[0].startswith("This strategy is no better than silence: its loss is 121")
    assert result.warnings[1] == "Every wanted tag of the survey is missed (60 of 60)."


def test_a_strategy_that_is_better_is_not_called_silent() -> None:
    result = choose(crib_door(), FAST)
    assert (result.status, result.silence_loss) == ("optimal", 300)
    assert not any("silence" in text or "missed" in text for text in result.warnings)


@pytest.mark.parametrize("seed", range(60))
def test_silent_as_brute_force_says(seed: int) -> None:
    """Where the least (excess, loss) of all strategies is no less than that of silence."""
    point = random_read_point(seed, 0)
    (over, least, *_), _ = brute_force(point)
    wanted = int(point.survey.roster_wanted.sum())
    lost = round(point.policy.loss.missed * wanted, 6)
    forbidden = bool(wanted) and point.policy.limits.missed_rate_max is not None
    result = choose(point, FAST)
    assert result.silence_loss == lost
    expected = "infeasible" if over else "optimal"
    if not (over or forbidden) and least >= lost:
        expected = "silent"
    assert result.status == expected


def test_some_are_silent_and_some_are_not() -> None:
    """Otherwise the agreement above would say little."""
    statuses = [choose(random_read_point(seed, 0), FAST).status for seed in range(60)]
    assert statuses.count("silent") >= 3 and statuses.count("optimal") >= 20


def test_a_limit_of_missed_tags_forbids_silence() -> None:
    """The best that keeps the limit loses more than silence: it is the best, and that is said."""
    point = with_policy(quadrants(), limits=Limits(missed_rate_max=0.1))
    result = choose(point, FAST)
    assert result.status == "optimal" and result.loss > result.silence_loss
    assert "but a limit of missed tags forbids that" in result.warnings[0]
    free = choose(quadrants(), FAST)
    assert free.status == "silent" and "forbids" not in free.warnings[0]


def test_where_no_strategy_keeps_a_limit_it_stays_infeasible() -> None:
    """Two strays stronger than the wanted tag and none of them allowed: the limit is named."""
    tags = [(True, -60.0), (False, -50.0), (False, -40.0)]
    survey = survey_of([20.0], [[(f"AB{n:02X}", w, [r]) for n, (w, r) in enumerate(tags)]])
    policy = surveyed_policy(loss=Loss(1, 1), limits=Limits(stray_rate_max=0.0), guard=Guard(0, 0))
    result = choose(ReadPoint(survey, policy), FAST)
    assert result.status == "infeasible" and result.loss >= result.silence_loss
    assert "no better than silence" in result.warnings[0]


def test_out_of_time_what_was_found_is_said_to_be_no_better() -> None:
    point = quadrants()
    result = choose(point, FAST)
    late: Assessment = replace(result, status="feasible", bound=100.0)
    lines = result_text(late, point.policy).splitlines()
    assert lines[0] == "made: nothing found in time is better than silence"
    assert "Whether there is better is open." in " ".join(" ".join(lines).split())


def test_a_given_strategy_is_held_against_silence() -> None:
    point = quadrants()
    found = evaluate_at(point, Strategy((30.0,)))
    assert found.to_json()["silence_loss"] == silence_loss(point.policy, found.outcome) == 120
    assert "its loss is 180, and to report nothing at all loses 120" in found.warnings[0]
    assert "no better than silence" in " ".join(evaluation_text(found, point.policy, "a").split())
    assert evaluate_at(crib_door(), Strategy((30.0,))).warnings == ()


def test_comparisons_trade_offs_and_what_ifs_have_it() -> None:
    point = quadrants()
    sides = [Side("all", Strategy((30.0,))), Side("few", Strategy((30.0,), 1, -50.0))]
    rows = compare(point, sides).to_json()["rows"]
    assert [row["silence_loss"] for row in rows] == [120, 120]
    techniques = compare_techniques(point, FAST)
    assert {one.status for one in techniques.variants} == {"silent"}
    assert techniques.to_json()["silence_loss"] == 120
    assert techniques_text(techniques).startswith("made: report nothing; ")
    frontier = trace_frontier(point, FAST)
    assert frontier.to_json()["silence_loss"] == 120
    assert "worth installing" in " ".join(frontier_text(frontier).split())
    changed = what_if(point, {"loss.missed": 4.0}, options=FAST)
    assert (changed.before.status, changed.after.status) == ("silent", "optimal")


def test_the_page_says_it_first() -> None:
    result = choose(quadrants(), FAST).to_json()
    document = report_document([GivenResult("x", None, "made", result)])
    assert document["summary"]["silent"] == 1
    page = report_page(document)
    assert "Read points that should report nothing" in page.split("<main>")[0]
    assert "Report nothing: no settings searched are better than silence" in page
    assert "<h3>Not to be set</h3>" in page and "<h3>To set</h3>" not in page


def test_what_check_advises_against_reaches_the_answer() -> None:
    """The survey says not to build on a cutoff, and the best strategy does: a warning."""
    result = choose(crib_door(), FAST)
    kinds = [finding.kind for finding in result.findings]
    assert "rssi_inverted" in kinds and result.strategy.cutoff_dbm is not None
    against = [
        text
        for text in result.warnings
        if "This strategy has one: see what dropping it costs" in text
    ]
    assert len(against) == 1 and "Do not rely on a cutoff here" in against[0]
    without = with_policy(crib_door(), allow=("power", "ladder", "masks"))
    assert not any(
        "This strategy has one: see what dropping it costs" in text
        for text in choose(without, FAST).warnings
    )


def test_a_batch_says_it_first() -> None:
    rows = [_row("noisy", choose(quadrants(), FAST)), _row("door", choose(crib_door(), FAST))]
    totals = _Totals()
    for row in rows:
        totals.take(table_row(row))
    lines = totals.text([]).splitlines()
    assert lines[1].strip() == "1 better silent: nothing searched is worth installing"
    assert "No better than silence: do not install (all in summary.csv)" in lines
    assert "  - noisy (a): to report nothing loses 120, the settings found 121" in lines
    assert table_row(rows[1])["silence_loss"] == 300


def _row(name: str, result: Assessment) -> dict[str, object]:
    return {"case": "a", "read_point": name, "result": result.to_json()}
