"""What to measure first and next, and when it is enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from strategist.answers import contenders as contenders_module
from strategist.answers import plan as plan_module
from strategist.answers import run_sheet
from strategist.answers.contenders import DRAWS, SOLVED, Contenders, _Drawn, _plain, contenders_of
from strategist.answers.plan import _batch, plan_survey
from strategist.answers.run_sheet import Effort, first_levels, plan_first_survey, rows_of
from strategist.answers.solution import Options, solve
from strategist.errors import InputError
from strategist.optimise.clock import Clock
from strategist.optimise.next_pairs import Cost
from strategist.optimise.strategy import Strategy
from strategist.radio.possible import Possible
from strategist.survey.policy import Limits, Policy, Radio, Reader
from strategist.survey.records import Bools, ReadPoint
from strategist.trust.acceptance import plan_acceptance
from strategist.trust.evaluate import evaluate
from tests.bench.drawn import drawn_read_point
from tests.optimise.made import survey_of
from tests.recorded.made import without
from tests.recorded.points import small

PASSES = 14
LIMITS = Limits(missed_rate_max=0.1)


@pytest.fixture(scope="module")
def whole() -> ReadPoint:
    drawn = drawn_read_point("sorting-belt", PASSES, 6)
    return replace(drawn, policy=replace(drawn.policy, aim="survey"))


def seen(point: ReadPoint, tried: Bools) -> ReadPoint:
    survey = point.survey
    kept = survey.with_reads(tried[survey.read_pass, survey.read_level])
    return replace(point, survey=replace(kept, tried=tried.copy()))


@pytest.fixture(scope="module")
def contenders(whole: ReadPoint) -> Contenders:
    """After the first look."""
    found = contenders_of(seen(whole, first_look(whole)), Options())
    assert found is not None
    return found


def first_look(point: ReadPoint) -> Bools:
    levels = point.survey.levels_dbm
    return np.tile(first_levels(levels, np.ones(len(levels), bool)), (PASSES, 1))


@pytest.mark.parametrize(
    ("levels", "may", "taken"),
    [
        (range(10, 31), None, [10, 17, 23, 30]),
        (range(16, 31), None, [16, 23, 30]),
        (range(10, 31), range(12, 27), [12, 19, 26]),
        ([20, 21], None, [20, 21]),
        ([20], None, [20]),
        ([10, 11, 29, 30], None, [10, 11, 29, 30]),
    ],
)
def test_first_levels_are_even_and_reach_both_ends(
    levels: list[int], may: list[int] | None, taken: list[int]
) -> None:
    power = np.array(levels, float)
    found = first_levels(power, np.isin(power, levels if may is None else may))
    assert power[found].tolist() == taken


def test_a_first_survey_shows_the_limit_within_the_law() -> None:
    policy = Policy(
        levels_dbm=tuple(map(float, range(10, 31))),
        limits=Limits(missed_rate_max=0.02),
        radio=Radio(region="etsi-865-868", antenna_gain_dbi=9.0, polarisation="circular"),
        reader=Reader(power_levels_dbm=tuple(map(float, range(10, 31, 2)))),
    )
    plan = plan_first_survey(policy, "bay-1", effort=Effort(2.0, 30.0))
    assert plan.stage == "first" and plan.strategy is None and plan.regret is None
    assert len(plan.run_sheet) == plan_acceptance(0.02).passes
    levels = plan.run_sheet[0].levels_dbm
    assert levels[0] == 10 and levels[-1] == 26, "26.2 dBm is lawful, and whole even levels are set"
    assert plan.run_sheet[0].minutes == 2.0 + 0.5 * len(levels)
    assert plan.minutes == pytest.approx(len(plan.run_sheet) * plan.run_sheet[0].minutes)
    fewer = plan_first_survey(policy, "bay-1", miss_rate_max=0.1)
    assert len(fewer.run_sheet) == plan_acceptance(0.1).passes


def test_a_first_survey_needs_levels() -> None:
    with pytest.raises(InputError, match="levels_dbm"):
        plan_first_survey(Policy(), "bay-1")
    none = Policy(levels_dbm=(10.0, 11.0), reader=Reader(power_levels_dbm=(20.0,)))
    with pytest.raises(InputError, match="and can be set at the reader"):
        plan_first_survey(none, "bay-1")
    rare = replace(none, reader=Reader(), limits=Limits(missed_rate_max=1e-9))
    with pytest.raises(InputError, match="more than 2,000 passes"):
        plan_first_survey(rare, "bay-1")


def test_a_first_survey_of_the_most_passes_is_planned_and_of_one_more_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    policy = Policy(levels_dbm=(10.0, 11.0), limits=Limits(missed_rate_max=0.05))
    monkeypatch.setattr(run_sheet, "PASSES_MAX", 59)
    names = [row.pass_id for row in plan_first_survey(policy, "bay-1").run_sheet]
    assert names == [f"p{number:02d}" for number in range(1, 60)]
    monkeypatch.setattr(run_sheet, "PASSES_MAX", 58)
    with pytest.raises(InputError, match="more than 58 passes to show a rate of 5 %"):
        plan_first_survey(policy, "bay-1")


def test_passes_without_a_level_come_first(whole: ReadPoint) -> None:
    tried = first_look(whole)
    tried[3] = False
    plan = plan_survey(seen(whole, tried))
    assert plan.stage == "first"
    assert [(row.pass_id, row.levels_dbm) for row in plan.run_sheet] == [
        (whole.survey.pass_ids[3], (10.0, 17.0, 23.0, 30.0))
    ]


def test_where_all_is_measured_it_is_enough(whole: ReadPoint) -> None:
    """And the strategy in hand is the best."""
    plan = plan_survey(whole)
    assert plan.stage == "enough" and not plan.run_sheet and not plan.contenders
    assert plan.regret is not None and plan.regret.high == 0
    assert plan.strategy == solve(whole, Options(method="search")).strategy


def test_it_asks_until_it_is_enough(whole: ReadPoint) -> None:
    """Only for what was not tried, less than a third of the grid in all; then the strategy in hand
    loses no more than a little beside the best at all levels, where the passes come again."""
    survey, tried = whole.survey, first_look(whole)
    best = solve(whole, Options(method="search")).strategy
    for _ in range(12):
        plan = plan_survey(seen(whole, tried), within=1.0)
        if plan.stage == "enough":
            break
        assert plan.stage == "next" and plan.contenders and plan.regret is not None
        assert plan.regret.high > plan.within
        for row in plan.run_sheet:
            at = survey.pass_ids.index(row.pass_id), np.isin(survey.levels_dbm, row.levels_dbm)
            assert not tried[at].any() and 0 <= row.settles <= 1
            tried[at] = True
    assert plan.stage == "enough" and first_look(whole).mean() < tried.mean() < 1 / 3
    assert plan.strategy is not None
    again = drawn_read_point("sorting-belt", PASSES, 6, again=20).survey
    planned, known = (evaluate(again, whole.policy, one).loss for one in (plan.strategy, best))
    assert (planned - known) / 20 <= plan.within


def test_what_is_little_decides(whole: ReadPoint, contenders: Contenders) -> None:
    """The same draws, and much that is little: enough."""
    little = plan_survey(seen(whole, first_look(whole)), within=1e6)
    assert little.stage == "enough" and not little.run_sheet and little.regret is not None
    assert little.regret.high == round(contenders.high, 6) > 0
    assert little.strategy == contenders.strategies[contenders.hand]


def test_where_time_ends_it_says_so(whole: ReadPoint) -> None:
    part = seen(whole, first_look(whole))
    plan = plan_survey(part, Options(total_limit_s=1e-6))
    assert plan.stage == "open" and not plan.run_sheet and plan.strategy is None


def test_regret_is_that_of_the_least_mean_loss(contenders: Contenders) -> None:
    """Worked out anew from the losses, of which 57 of 59 are at most the high one."""
    total = contenders.loss.sum(axis=2)
    assert contenders.draws == 59 and len(contenders.strategies) > 3
    assert total[contenders.hand].mean() == total.mean(axis=1).min()
    assert np.allclose(contenders.regret, total[contenders.hand] - total.min(axis=0))
    assert np.isclose(np.sort(contenders.regret)[56], contenders.high)


def test_a_look_explains_what_it_decides(contenders: Contenders, whole: ReadPoint) -> None:
    """Shares of doubt are of what was not tried alone, from 0 to 1; and what differs between draws
    of a pass is told by some level of it, as a rule."""
    doubt, told = contenders.doubt(contenders.others())
    assert (doubt >= 0).all() and (told >= 0).all() and (told <= 1).all()
    assert not told[:, first_look(whole)].any()
    assert (told.max(axis=2) * doubt).sum() > 0.5 * doubt.sum()


def test_the_aim_of_the_policy_is_that_of_the_plan(
    whole: ReadPoint, contenders: Contenders
) -> None:
    """By passes to come another loss is least; where all is measured, that of `solve`."""
    every = replace(whole, policy=replace(whole.policy, aim="expected"))
    expected = contenders_of(seen(every, first_look(whole)), Options())
    assert expected is not None
    losses = [one.loss.sum(axis=2).mean(axis=1).min() for one in (contenders, expected)]
    assert not np.isclose(*losses)
    assert plan_survey(every).strategy == solve(every, Options(method="search")).strategy


def limited(point: ReadPoint, missed: float | None, stray: float | None) -> ReadPoint:
    limits = Limits(missed_rate_max=missed, stray_rate_max=stray)
    return replace(point, policy=replace(point.policy, limits=limits))


@pytest.mark.parametrize(
    ("missed", "stray", "verdict", "stage"),
    [
        (0.5, 2.0, "kept", "enough"),
        (0.15, 0.1, "open", "next"),
        (0.0, 0.0, "exceeded", "enough"),
    ],
)
def test_limits_that_may_be_kept_or_not_are_measured_for(
    whole: ReadPoint, missed: float, stray: float, verdict: str, stage: str
) -> None:
    """Whatever the loss: enough is where it is sure that they are kept, or that they are not."""
    part = limited(seen(whole, first_look(whole)), missed, stray)
    plan = plan_survey(part, within=1e6)
    assert plan.limits is not None and (plan.limits.verdict, plan.stage) == (verdict, stage)
    assert bool(plan.run_sheet) == (stage == "next")
    assert plan.limits.draws == 59 and plan.limits.kept + plan.limits.exceeded <= 59
    surely = {"kept": plan.limits.kept, "exceeded": plan.limits.exceeded}.get(verdict, 57)
    assert surely >= 57


def test_it_asks_until_the_verdict_on_the_limits_is_sure(whole: ReadPoint) -> None:
    """Then it is that of the passes come again."""
    survey, tried = whole.survey, first_look(whole)
    point = limited(whole, 0.15, 0.2)
    for _ in range(12):
        plan = plan_survey(seen(point, tried), within=1e6)
        assert plan.limits is not None and plan.strategy is not None
        if plan.stage == "enough":
            break
        assert plan.limits.verdict == "open" and plan.run_sheet
        for row in plan.run_sheet:
            at = survey.pass_ids.index(row.pass_id), np.isin(survey.levels_dbm, row.levels_dbm)
            tried[at] = True
    assert plan.stage == "enough" and plan.limits.verdict == "kept" and tried.mean() < 0.5
    again = drawn_read_point("sorting-belt", PASSES, 6, again=20).survey
    outcome = evaluate(again, point.policy, plan.strategy)
    assert outcome.missed_rate is not None
    assert point.policy.limits.excess(outcome.missed_rate, outcome.stray_rate) == 0


def test_where_all_is_measured_the_limits_are_as_solve_has_them(whole: ReadPoint) -> None:
    for point in (limited(whole, 0.5, None), limited(whole, 0.0, 0.0)):
        plan, solved = plan_survey(point), solve(point, Options(method="search"))
        assert plan.stage == "enough" and plan.limits is not None and plan.limits.draws == 1
        assert (plan.limits.verdict == "kept") == (solved.status == "optimal")
        assert plan.strategy == solved.strategy


def test_the_strategy_in_hand_surely_keeps_the_limits_before_it_loses_least(
    whole: ReadPoint,
) -> None:
    """Of strategies that do, and not of those that exceed them in the fewest draws by the least."""
    contenders = contenders_of(limited(seen(whole, first_look(whole)), 0.1, 0.3), Options())
    assert contenders is not None and contenders.limits == "kept"
    surely = contenders.keeps.sum(axis=1) >= 57
    loss = contenders.loss.sum(axis=2).mean(axis=1)
    assert surely[contenders.hand] and not surely.all()
    assert loss[contenders.hand] == loss[surely].min()


def test_copies_that_are_alike_in_all_draws_favour_nobody(
    whole: ReadPoint, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Few or many of them: what a strategy loses in the mean of all draws, and with it the choice,
    rests on copies of each draw's own; how draws differ does not."""
    part = seen(replace(whole, policy=replace(whole.policy, aim="expected")), first_look(whole))
    found = []
    for together in (3 * PASSES, 20 * PASSES):
        monkeypatch.setattr(contenders_module, "_ALIKE", together)
        one = contenders_of(part, Options())
        assert one is not None
        found.append(one)
    few, many = (one.loss.sum(axis=2) for one in found)
    assert found[0].strategies == found[1].strategies and found[0].hand == found[1].hand
    assert np.allclose(few.mean(axis=1), many.mean(axis=1))
    assert not np.allclose(few, many)


@pytest.mark.parametrize("doubt", [[3.0, 5.0, 2.0], [0.03, 5.0, 0.02], [0.0, 5.0, 0.0]])
def test_where_no_look_tells_anything_the_pass_in_most_doubt_is_measured_whole(
    doubt: list[float],
) -> None:
    """The second pass is in more doubt than the first, and nothing of it is left."""
    tried = np.array([[True, False], [True, True], [False, False]])
    contenders = SimpleNamespace(
        high=2.0,
        possible=SimpleNamespace(of=SimpleNamespace(tried=tried)),
        others=lambda little: (),
        doubt=lambda others: (np.array([doubt]), np.zeros((1, 3, 2))),
    )
    batch, settles = _batch(contenders, 0.5, Cost(1.0, 1.0))  # type: ignore[arg-type]
    assert batch == {0: (1,)} and settles == {0: 0.0}


@pytest.mark.parametrize(
    ("high", "few", "share"),
    [
        (2.0, 0.5, 0.75),  # 1 − 1/16, and three quarters at most
        (2.0, 1.2, 0.64),
        (2.0, 2.0, 0.5),
        (0.0, 0.5, 0.5),
    ],
)
def test_a_batch_settles_what_brings_the_regret_to_what_is_little(
    high: float, few: float, share: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of strategies that are best by more than half of that."""
    asked: list[float] = []

    def others(little: float) -> tuple[int, ...]:
        asked.append(little)
        return ()

    def pairs(_doubt: Any, told: Any, _cost: Cost, part: float, _clock: Clock) -> Bools:
        asked.append(part)
        return told[0] > 0

    monkeypatch.setattr(plan_module, "pairs_to_measure", pairs)
    told = np.array([[[0.0, 0.5], [0.0, 0.0]]])
    contenders = SimpleNamespace(
        high=high,
        possible=SimpleNamespace(of=SimpleNamespace(tried=np.zeros((2, 2), bool))),
        others=others,
        doubt=lambda _: (np.array([[3.0, 1.0]]), told),
    )
    batch, settles = _batch(contenders, few, Cost(1.0, 1.0))  # type: ignore[arg-type]
    assert asked == [few / 2, pytest.approx(share)]
    assert batch == {0: (1,)} and settles == {0: pytest.approx(0.5 * 3 / 4)}


def test_rows_tell_minutes_to_a_hundredth_and_shares_to_four_digits() -> None:
    rows = rows_of(
        ["a", "b"], np.array([20.0, 21.0]), {1: (0, 1), 0: (1,)}, Effort(1 / 3, 1.0), {1: 2 / 3}
    )
    assert [(one.pass_id, one.levels_dbm) for one in rows] == [("a", (21.0,)), ("b", (20.0, 21.0))]
    assert [(one.minutes, one.settles) for one in rows] == [(0.35, 0.0), (0.37, 0.6667)]


def in_draws(kept: Sequence[int], limits: Limits = LIMITS) -> Contenders:
    """Strategies that keep the limits in the first so many of 59 draws, with one wanted tag."""
    survey = survey_of([20.0], [[("3001", True, [-60.0]), ("3002", False, [-60.0])]])
    excess = np.array([np.arange(59) >= count for count in kept], float)
    counts = np.zeros((len(kept), 59, 1))
    some = tuple(Strategy((20.0 + number,)) for number in range(len(kept)))
    policy = Policy(limits=limits)
    return Contenders(policy, Possible(survey, (0,)), some, counts, counts, excess)


@pytest.mark.parametrize(
    ("kept", "verdict"),
    [
        ((59, 0), "kept"),
        ((57, 0), "kept"),
        ((56, 0), "open"),
        ((2, 2), "exceeded"),  # in 57 draws neither does
        ((3, 3), "open"),
        ((1, 3), "open"),
        ((0, 0), "exceeded"),
    ],
)
def test_a_verdict_on_limits_is_sure_in_57_of_59_draws(kept: tuple[int, ...], verdict: str) -> None:
    one = in_draws(kept)
    assert one.limits == verdict and one.beyond == 59 - max(kept)


def test_what_a_limit_counts_is_in_doubt_where_it_decides() -> None:
    """A rate at the limit keeps it. Of one wanted tag half is missed in some draws: all of a limit
    of 0.5, too much for one of 0.25, and enough in every draw for one of 0.75."""
    one = in_draws((59,))
    missed = np.where(np.arange(59) < 20, 0.5, 0.25)[None, :, None]
    stray = np.where(np.arange(59) < 20, 3.0, 2.0)[None, :, None]
    for limits, counted in (
        (Limits(0.5, None), 0),
        (Limits(0.25, None), 1),
        (Limits(0.375, None), 1),
        (Limits(0.125, None), 0),
        (Limits(None, 3.0), 0),
        (Limits(None, 2.0), 1),
        (Limits(0.25, 2.0), 2),
        (Limits(), 0),
    ):
        policy = Policy(limits=limits)
        found = list(replace(one, policy=policy, missed=missed, stray=stray)._limited(0))
        assert len(found) == counted


@dataclass
class Ending(Clock):
    """A clock that is looked at so many times before it is out."""

    looks: int = 0

    @property
    def left(self) -> float | None:
        self.looks -= 1
        return None if self.looks >= 0 else 0.0


def test_wherever_time_ends_nothing_is_half_done(monkeypatch: pytest.MonkeyPatch) -> None:
    """Solving, walking over all draws, over each, or counting."""
    part = small(82)
    survey = without(part.survey, 0)
    policy = replace(_plain(part.policy), aim="survey")
    drawn = _Drawn(Possible(survey, (0,)), policy, Options())
    whole, walks, walk = Ending(looks=10**6), [], drawn.near.walk

    def walking(*given: Any) -> Strategy:
        walks.append(given)
        return walk(*given)

    monkeypatch.setattr(drawn.near, "walk", walking)
    strategies = drawn.looked_at(whole)
    assert strategies is not None
    looks, solving = 10**6 - whole.looks, 2 * SOLVED
    assert len(walks) == looks - solving > drawn.walked
    for ends in (0, solving, solving + 1, looks - drawn.walked, looks - 1):
        walks.clear()
        assert drawn.looked_at(Ending(looks=ends)) is None, ends
        assert len(walks) == max(0, ends - solving)
    assert drawn.looked_at(Ending(looks=looks)) == strategies
    for ends in (0, 1, 2 * DRAWS - 1):
        assert drawn.counted(strategies[:1], Ending(looks=ends)) is None
    assert drawn.counted(strategies[:1], Ending(looks=2 * DRAWS)) is not None
