"""Neighbouring passes that are alike are found, said, and count as fewer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist import choose, evaluate_at
from strategist.answers.accept import accept
from strategist.answers.check import check
from strategist.answers.solution import Options
from strategist.optimise.strategy import Strategy
from strategist.report.findings import check_text
from strategist.report.text import evaluation_text
from strategist.survey.case import Case
from strategist.survey.policy import Policy
from strategist.survey.records import ReadPoint, Tag
from strategist.trust.dependence import ALPHA, Alike, Dependence, dependence_of
from strategist.trust.evaluate import evaluate
from strategist.trust.rates import rates_of
from tests.bench.intervals import SET, dependent, neighbours
from tests.optimise.made import survey_of

ALIKE = neighbours(np.random.default_rng(8), 60, 0.9)
POINT = ReadPoint(ALIKE, Policy())


def test_neighbours_that_are_alike_are_found_with_their_figures() -> None:
    found = dependence_of(ALIKE, evaluate(ALIKE, Policy(), SET))
    assert {"turn-on of wanted tags", "turn-on of strays"} <= {one.what for one in found.alike}
    for one in found.alike:
        assert one.lag1 > 0.3 and one.chance < ALPHA and one.passes == 60
    least = min(one.chance for one in found.alike)
    assert least == pytest.approx(1 / 1000), "none of 999 random orders is as alike"
    assert 1 / 60 <= found.part < 0.2


def by_hand(series: list[float]) -> float:
    """The part that counts: correlations that begin with that of neighbours and fall by the slowest
    rate that three lags show, each raised by (1 + 3 r) / n; a second of at most 0.1 shows none."""
    away, n = np.array(series) - np.mean(series), len(series)
    found = [float(away[k:] @ away[:-k] / (away @ away)) for k in (1, 2, 3)]
    first, second, third = (r + (1 + 3 * r) / n for r in found)
    fall = max(first, second / first, third / second if second > 0.1 else 0.0)
    return max(1 / n, 1 / (1 + 2 * first / (1 - min(0.97, fall))))


@pytest.mark.parametrize(("passes", "told"), [(9, False), (10, True)])
def test_fewer_than_ten_passes_tell_nothing_of_their_neighbours(passes: int, told: bool) -> None:
    """One stray more is reported in each pass."""
    entries = [
        [(f"31{p:02X}{n:02X}", False, [-60.0 if n < p else None]) for n in range(9)]
        for p in range(passes)
    ]
    survey = survey_of([20.0], entries)  # type: ignore[arg-type]
    found = dependence_of(survey, evaluate(survey, Policy(), Strategy((20.0,), 99)))
    assert ("strays reported" in {one.what for one in found.alike}) == told


@pytest.mark.parametrize("seed", [0, 1, *range(4, 12)])  # chance does as much in 2 and 3
def test_the_part_that_counts_is_that_of_its_correlations(seed: int) -> None:
    """Strays reported follow a slow drift under noise, of different strength."""
    rng = np.random.default_rng(seed)
    drift = np.cumsum(rng.normal(0, 1, 50))
    counts = np.clip(np.round(drift - drift.min() + rng.normal(0, 0.5 + seed % 4, 50)), 0, 9)
    entries = [
        [(f"31{p:02X}{n:02X}", False, [-60.0 if n < counts[p] else None]) for n in range(9)]
        for p in range(50)
    ]
    survey = survey_of([20.0], entries)  # type: ignore[arg-type]
    found = dependence_of(survey, evaluate(survey, Policy(), Strategy((20.0,), 99)))
    (one,) = [one for one in found.alike if one.what == "strays reported"]
    assert one.part == pytest.approx(by_hand(counts.tolist()))


def test_the_order_of_the_survey_is_what_tells() -> None:
    """The same passes in random order tell nothing."""
    order = np.random.default_rng(1).permutation(60).tolist()
    survey = survey_of(ALIKE.levels_dbm.tolist(), [_entries(number) for number in order])
    assert not dependence_of(survey, evaluate(survey, Policy(), SET)).alike


def _entries(number: int) -> list[tuple[str, bool, list[float | None]]]:
    here = np.flatnonzero(ALIKE.roster_pass == number)
    found = []
    for entry in here:
        tag = ALIKE.roster_tag[entry]
        of_tag = (ALIKE.read_pass == number) & (ALIKE.read_tag == tag)
        levels = set(ALIKE.read_level[of_tag].tolist())
        curve = [-60.0 if level in levels else None for level in range(len(ALIKE.levels_dbm))]
        found.append((ALIKE.tags[tag].epc, bool(ALIKE.roster_wanted[entry]), curve))
    return found


def test_passes_without_a_stray_are_none_of_the_series_of_strays() -> None:
    some = [[entry for entry in _entries(number) if entry[1] or number % 3] for number in range(60)]
    found = dependence_of(survey_of(ALIKE.levels_dbm.tolist(), some))
    assert {one.what: one.passes for one in found.alike} == {
        "turn-on of wanted tags": 60,
        "turn-on of strays": 40,
    }


def test_a_survey_sorted_by_tag_type_is_not_called_alike() -> None:
    """Links are looked at within the tag type, so that one type after the other is no drift."""
    rng = np.random.default_rng(8)
    entries, tags = [], {}
    for number in range(60):
        epc, kind = f"30{number:02X}", "hard" if number < 30 else "soft"
        first = int(rng.integers(0, 4)) + (4 if kind == "soft" else 0)
        entries.append([(epc, True, [None] * first + [-60.0] * (9 - first))])
        tags[epc] = Tag(epc, tag_type=kind)
    levels = [float(level) for level in range(16, 25)]
    assert not dependence_of(survey_of(levels, entries, tags)).alike
    plain = {epc: Tag(epc) for epc in tags}
    assert dependence_of(survey_of(levels, entries, plain)).alike


def test_intervals_count_fewer_passes() -> None:
    outcome = evaluate(ALIKE, Policy(), SET)
    whole, fewer = rates_of(outcome), rates_of(outcome, dependence_of(ALIKE, outcome))
    for name in ("missed_by_tag", "missed_by_pass", "stray_by_pass", "stray_per_pass"):
        one, other = getattr(whole, name), getattr(fewer, name)
        assert other.high - other.low > 1.5 * (one.high - one.low)
        assert other.effective_passes < 12 < one.effective_passes == 60
    assert "neighbours are alike, they count as" in fewer.sentences[0]
    assert fewer.to_json()["dependence"]["part"] < 0.2


def test_check_solve_evaluate_and_accept_say_it() -> None:
    case = Case("", (POINT,))
    checked = check(case)
    assert "passes_alike" in {finding.kind for finding in checked.read_points[0].findings}
    assert "Neighbouring passes are alike in turn-on of wanted tags (lag-1" in " ".join(
        check_text(checked).split()
    )
    result = choose(POINT, Options(unseen=False))
    (finding,) = [one for one in result.findings if one.kind == "passes_alike"]
    assert finding.severity == "weak" and "independent ones" in finding.text
    assert result.to_json()["rates"]["missed_by_pass"]["effective_passes"] < 12
    text = " ".join(evaluation_text(evaluate_at(POINT, SET), Policy(), "a", detail=True).split())
    assert "neighbours are alike, they count as" in text
    run = accept(POINT, SET, 0.9)
    assert any("Neighbouring passes are alike in" in warning for warning in run.warnings)
    assert "Neighbouring passes are alike: the 60 count as" in run.judged.sentence


def test_an_acceptance_run_of_passes_that_are_alike_shows_less() -> None:
    """What 60 passes would show, some five do not."""
    outcome = evaluate(ALIKE, Policy(), SET)
    seen = rates_of(outcome).missed_by_pass
    limit = (seen.high + rates_of(outcome, dependence_of(ALIKE, outcome)).missed_by_pass.high) / 2
    assert accept(POINT, SET, limit).judged.verdict == "inconclusive"


def test_independent_surveys_are_seldom_called_alike() -> None:
    """At most 5 %, and their intervals hold."""
    found, said = dependent(0.0, 60, 200, old=False)
    assert said <= 0.05
    assert min(now.share for _, now in found.values()) >= 0.93


@pytest.mark.parametrize("passes", [40, 60])
def test_intervals_hold_where_neighbours_are_alike(passes: int) -> None:
    """AR 0.9, by which intervals that take passes as independent hold in half of the surveys."""
    found, said = dependent(0.9, passes, 150, old=False)
    assert said >= 0.9
    assert min(now.share for _, now in found.values()) >= 0.93


def test_passes_stand_in_the_order_of_their_ids() -> None:
    """However they lie in the arrays: p2 comes before p10."""
    order = np.random.default_rng(2).permutation(60)
    place = np.argsort(order)
    names = tuple(f"p{number}" for number in order.tolist())
    mixed = replace(
        ALIKE,
        pass_ids=names,
        roster_pass=place[ALIKE.roster_pass],
        read_pass=place[ALIKE.read_pass],
    )
    assert dependence_of(mixed) == dependence_of(ALIKE)
    assert dependence_of(mixed, evaluate(mixed, Policy(), SET)) == dependence_of(
        ALIKE, evaluate(ALIKE, Policy(), SET)
    )


def test_the_longest_series_says_how_many_passes_there_are() -> None:
    """Misses are a series of the passes with a wanted tag alone."""
    of = Alike("turn-on of strays", 40, 0.5, 0.001, 0.25), Alike("misses", 12, 0.6, 0.001, 0.5)
    (said,) = Dependence(0.25, of).warnings
    assert said.endswith("40 passes tell as much as about 10 independent ones.")


def test_rates_take_passes_as_independent_where_nothing_else_is_known() -> None:
    outcome = evaluate(ALIKE, Policy(), SET)
    rates = rates_of(outcome)
    assert rates == rates_of(outcome, Dependence(1.0, ()))
    assert rates.missed_by_pass.effective_passes == 60
