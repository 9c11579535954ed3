"""Own power and cutoff for each antenna, from the case to the strategy, against trying all.

Every own power and cutoff is written as a strategy and counted by the evaluator, which knows
nothing of the model.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cache

import pytest

from strategist.answers.assessment import choose
from strategist.answers.frontier import trace_frontier
from strategist.answers.solution import Options, Solution, solve
from strategist.optimise import own_part
from strategist.optimise.strategy import Strategy
from strategist.optimise.tuning import Tuning
from strategist.report.text import ALL_SEARCHED, OWN_SEARCHED, result_text
from strategist.survey.records import ReadPoint
from strategist.survey.score import Peak
from strategist.trust.evaluate import evaluate
from tests.second_reading.drawn import NAME, Json, antennas_of, case_with_antennas
from tests.second_reading.test_second_reading import given

REFERENCE = -60.0  # that offsets are counted from


def own_case(seed: int, ladder_steps_max: int = 1, mask_slots: int = 0) -> Json:
    document = case_with_antennas(seed)
    policy = document["site"]["read_points"][NAME]
    policy["reader"] |= {
        "antenna_power": "own",
        "ladder_steps_max": ladder_steps_max,
        "mask_slots": mask_slots,
        "rssi_step_db": [0.5, None, 1.0][seed % 3],
    }
    for key in ("time", "allow"):
        policy.pop(key, None)
    return document


def usable(seed: int) -> bool:
    document = own_case(seed)
    return "tried" not in document and antennas_of(document) == [1, 2]


SEEDS = [seed for seed in range(3000, 3200) if usable(seed)][:15]


def own_strategies(point: ReadPoint) -> Iterator[Strategy]:
    """Each antenna off, or at one level with one of the cutoffs that can be set, or with none."""
    survey, step = point.survey, point.policy.reader.rssi_step_db
    values = sorted(set(survey.read_rssi.tolist()))
    if step is not None:
        first, last = (round(value // step) for value in (values[0], values[-1]))
        values = [step * number for number in range(first, last + 1)]
    settings = [None, *itertools.product(survey.levels_dbm.tolist(), [-110.0, *values])]
    for chosen in itertools.product(settings, repeat=2):
        on = {a: one for a, one in zip(survey.antennas, chosen, strict=True) if one is not None}
        if on:
            top = max(level for level, _ in on.values())
            score = Peak(
                antennas=tuple(on),
                trim_db=tuple((a, level - top) for a, (level, _) in on.items()),
                offset_db=tuple((a, cutoff - REFERENCE) for a, (_, cutoff) in on.items()),
            )
            yield Strategy((top,), point.policy.stop_after, REFERENCE, score=score)


@cache
def least(seed: int) -> tuple[float, float]:
    point = given(own_case(seed))
    return min(key_of(point, strategy) for strategy in own_strategies(point))


@cache
def solved(seed: int) -> Solution:
    return solve(given(own_case(seed)), Options(unseen=False))


def key_of(point: ReadPoint, strategy: Strategy) -> tuple[float, float]:
    outcome = evaluate(point.survey, point.policy, strategy)
    excess = point.policy.limits.excess(outcome.missed_rate, outcome.stray_rate)
    return round(excess, 6), round(outcome.loss, 6)


@pytest.mark.parametrize("seed", SEEDS)
def test_it_is_the_least_of_all_powers_and_cutoffs(seed: int) -> None:
    """And it is not worse than the best score of shared power, which may compare or count."""
    point, found = given(own_case(seed)), solved(seed)
    assert found.own is not None and found.own.proven.proven
    assert found.own.proven.key[:2] == least(seed)
    key = key_of(point, found.strategy)
    document = own_case(seed)
    document["site"]["read_points"][NAME]["reader"]["antenna_power"] = "shared"
    shared = solve(given(document), Options(unseen=False))
    assert key == min(least(seed), key_of(point, shared.strategy)) == found.answer.key[:2]
    assert found.answer.proven


def test_own_powers_and_cutoffs_are_of_use() -> None:
    """Otherwise the equality above would say little."""
    used = 0
    for seed in SEEDS:
        score = solved(seed).strategy.score
        used += isinstance(score, Peak) and bool(score.trim_db or score.offset_db)
    assert used >= 3


@pytest.mark.parametrize("seed", SEEDS[:12])
def test_with_ladder_and_masks_it_is_never_worse_than_shared(seed: int) -> None:
    own, shared = own_case(seed, 3, 1), own_case(seed, 3, 1)
    shared["site"]["read_points"][NAME]["reader"]["antenna_power"] = "shared"
    points = given(own), given(shared)
    found, other = (solve(point, Options(unseen=False)) for point in points)
    assert key_of(points[0], found.strategy) <= key_of(points[1], other.strategy)
    assert found.answer.bound <= found.answer.key[:2]
    for one in found.own.dwells if found.own else ():
        if one.ladders is not None:  # its choice is one of the parts
            assert found.answer.key[:2] <= one.ladders.bound


@pytest.mark.parametrize("seed", [seed for seed in SEEDS if seed % 4 == 0])
def test_trade_offs_hold_the_best_by_the_weights(seed: int) -> None:
    """Its own powers, too; that others were not searched is said."""
    point = given(own_case(seed))
    found = trace_frontier(point)
    assert any("Powers and cutoffs by antenna" in text for text in found.warnings)
    if solved(seed).answer.key[0] == 0:
        assert min(one.loss for one in found.points) == pytest.approx(solved(seed).loss)


@pytest.mark.parametrize("seed", SEEDS[:8])
def test_the_numbers_of_antennas_do_not_matter(seed: int) -> None:
    document = own_case(seed)
    for row in document["reads"]:
        row["antenna"] = 8 - row["antenna"]
    found, renamed = solved(seed), solve(given(document), Options(unseen=False))
    assert found.answer.key[:2] == renamed.answer.key[:2]
    assert found.own is not None and renamed.own is not None
    assert found.own.bound == renamed.own.bound


def test_with_one_antenna_own_powers_change_nothing() -> None:
    """Nor where antennas may not be chosen."""
    document = own_case(SEEDS[0])
    for row in document["reads"]:
        row["antenna"] = 1
    assert solve(given(document), Options(unseen=False)).own is None
    document = own_case(SEEDS[0])
    document["site"]["read_points"][NAME]["allow"] = ["power", "cutoff"]
    assert solve(given(document), Options(unseen=False)).own is None


def test_over_copies_nothing_is_proven_of_them_and_that_is_said() -> None:
    document = own_case(SEEDS[0])
    document["site"]["read_points"][NAME]["aim"] = "expected"
    found = choose(given(document), Options(unseen=False, sturdier=False))
    assert found.per_pass is not None and found.per_pass.bound == 0 < found.per_pass.loss
    answer = solve(given(document), Options()).answer
    assert answer.bound == (0.0, 0.0) and answer.guarded_bound == 0.0 < answer.key[2]
    headline = found.headline
    assert "powers by antenna were chosen over each pass surveyed, once" in headline.verdict
    assert 'Solve with "aim": "survey"' in headline.next_step


@pytest.mark.parametrize("most", [0, 1_500])
def test_which_ladders_were_searched_is_said(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside the proof at one level: in the text, long and short."""
    monkeypatch.setattr(own_part, "_TERMS_MAX", most)
    point = given(own_case(SEEDS[0], 3))
    found = choose(point, Options(unseen=False, tuning=Tuning(boxes_of_two=0)))
    own = found.proof["own_powers"]
    assert own["loss_at_one_level"] == own["bound_at_one_level"] >= found.loss
    for detail in (False, True):
        said = " ".join(result_text(found, point.policy, detail=detail).split())
        assert f"{ALL_SEARCHED if most else OWN_SEARCHED}." in said
