"""What is said of answers whose figures are given: at their limits, without time, side by side."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from strategist.answers import assessment, frontier, full_assessment, techniques, what_if
from strategist.answers import solution as solution_module
from strategist.answers.assessment import choose
from strategist.answers.compare import Comparison, Side
from strategist.answers.conditions import InEach, Knowing
from strategist.answers.expected import Expected, ExpectedLoss, Foretold, OptimumInterval
from strategist.answers.over import Passes
from strategist.answers.per_pass import judged_over, loss_over, per_pass_of
from strategist.answers.solution import Deadline, Options, Solution, solve
from strategist.answers.sturdier import Sturdier, SturdierPerPass
from strategist.optimise.conditions import InConditions
from strategist.optimise.problem import Counts
from strategist.optimise.progress import Reached
from strategist.optimise.strategy import Strategy
from strategist.survey.occasions import conditions_of
from strategist.survey.policy import Limits, Loss, Policy, Reader
from strategist.trust.evaluate import Outcome
from strategist.trust.in_conditions import InCondition
from tests.recorded.points import expecting, in_conditions, linen, loads, portal, small, strategies

Recorded = Callable[..., None]
QUICK = Options(unseen=False, sturdier=False)


@cache
def solved(kind: str) -> Solution:
    """A solution of each sort, to be changed."""
    made = {
        "plain": lambda: loads(3, 8),
        "limited": lambda: small(81),
        "expected": lambda: expecting(small(84)),
        "worst": lambda: in_conditions(small(600 + 4), 1),
    }[kind]()
    return solve(made, QUICK)


@pytest.mark.parametrize("kind", ["plain", "limited", "expected", "worst"])
def test_status_by_key_and_bound(recorded: Recorded, kind: str) -> None:
    one, found = solved(kind), {}
    loss = one.answer.key[1]
    silence = one.problem.silence[1]
    keys = [(0.0, loss), (0.0, silence), (0.0, silence + 1), (0.25, loss)]
    for key, excess, bound in itertools.product(keys, (0.0, 0.25), (0.0, 1.0, loss, silence)):
        answer = replace(one.answer, key=(*key, *one.answer.key[2:]), bound=(excess, bound))
        other = replace(one, answer=answer)
        warned = [text[:60] for text in assessment._not_guarded(other)]
        less = replace(other, answer=replace(answer, guarded_bound=answer.key[2] - 0.5))
        warned += [text[-170:] for text in assessment._not_guarded(less)]
        row = [other.status, other.proven, other.beaten_by_silence, other.bound, other._least]
        found[f"{key} {excess} {bound}"] = [*row, *warned]
    recorded(found)


def test_bounds_of_what_may_use_more(recorded: Recorded) -> None:
    found = {}
    for kind in ("plain", "expected", "worst"):
        one = solved(kind)
        bounds = [(0.0, 0.0), (0.0, one.answer.key[1] - 0.5), (0.0, one.answer.key[1] + 5.0)]
        wider = [replace(one, answer=replace(one.answer, bound=bound)) for bound in bounds]
        for some in ([0], [1], [0, 1], [2], [0, 2]):
            given = [wider[number] for number in some]
            if one.over is not None and one.over.weighed is not None:
                more = [(0.5 + n) * one.over.weighed.value for n in some]
                given = [
                    replace(x, over=replace(x.over, weighed=replace(x.over.weighed, bound=b)))
                    for x, b in zip(given, more, strict=True)
                ]
            after = one.bounded_by(given)
            row: list[Any] = [*after.answer.bound, after.status, after.bound]
            if after.over is not None and after.over.weighed is not None:
                row += [after.over.weighed.bound]
            found[f"{kind} {some}"] = row
        mixed = one.bounded_by([solved("plain"), one])
        found[f"{kind} mixed"] = [*mixed.answer.bound, mixed.bound]
    recorded(found)


def test_status_over_separate_conditions(recorded: Recorded) -> None:
    weighed = solved("worst").over.weighed  # type: ignore[union-attr]
    assert isinstance(weighed, InConditions)
    found = {}
    near = 1e-5
    for excess, infeasible, bound, silence in itertools.product(
        (0.0, 0.1), (True, False), (0.0, 2 - 1.1 * near, 2 - 0.9 * near, 2.0, 3.0), (2.0, 3.0, 4.0)
    ):
        one = replace(
            weighed, excess=excess, infeasible=infeasible, bound=bound, silence=silence, value=2.0
        )
        found[f"{excess} {infeasible} {bound} {silence}"] = [
            solution_module._status_of(one),
            one.proven,
        ]
    recorded(found)


def test_progress_in_words(recorded: Recorded) -> None:
    one, found = solved("expected"), {}
    assert one.over is not None
    for loss, bound, words in itertools.product((None, 30.0), (None, 12.0), ("", "proof")):
        told = solution_module._seen_over(
            one.over.own, one.over.passes, Reached(loss, bound, words)
        )
        found[f"{loss} {bound} {words}"] = [told.loss, told.bound, told.stage]
    recorded(found)


def test_gaps(recorded: Recorded) -> None:
    found = {}
    for loss, bound in itertools.product((0.0, 2.0, 5.0), (0.0, 2.0, 4.0, 6.0)):
        one = techniques.Variant(
            *("all", "all", ("power",), 1, "feasible"),
            outcome=Outcome(3, 4, 1, 5, 2, loss, ()),
            loss=loss,
            bound=bound,
            extra_loss=0.0,
            per_pass=None,
            extra_a_pass=None,
            guarded_loss=0.0,
            strategy=Strategy((20.0,)),
            mask_words=(),
        )
        found[f"{loss} {bound}"] = [one.gap, one.missed, one.stray]
    recorded(found)


def test_best_of_sides(recorded: Recorded) -> None:
    """Losses and guarded losses of two or three sides, in the survey or a pass."""
    rng, found = np.random.default_rng(31), {}
    for number in range(60):
        count = 2 + number % 2
        losses = rng.choice([4.0, 4.0 + 5e-7, 4.0 + 2e-6, 7.0, 9.0, 9.0 + 1e-6, 10.0], count)
        guarded = rng.choice([12.0, 11.0, 7.0, 7.0 - 1e-6, 8.5], count)
        a_pass = number % 3 == 2
        evaluations = tuple(
            SimpleNamespace(
                loss=loss,
                outcome=SimpleNamespace(passes=5),
                standing=SimpleNamespace(guarded=SimpleNamespace(loss=drifted)),
            )
            for loss, drifted in zip(losses.tolist(), guarded.tolist(), strict=True)
        )
        over = tuple(
            SimpleNamespace(loss=loss, guarded_loss=drifted) if a_pass else None
            for loss, drifted in zip(losses.tolist(), guarded.tolist(), strict=True)
        )
        sides = tuple(Side(name, Strategy((20.0,))) for name in "abc"[:count])
        weights = Loss(5.0, 1.0) if number % 4 else Loss(0.5, 1.0)
        one = Comparison("bay", weights, sides, evaluations, over, (), ())  # type: ignore[arg-type]
        found[str(number)] = [*one.least_loss, *(one.sturdier or {}).values()]
    recorded(found)


def test_trade_offs_in_words(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for points, still, short, all_ in itertools.product((0, 1), (0, 1), (0, 1), (0, 1)):
        sweep = SimpleNamespace(staircase=SimpleNamespace(points=[1] * points), open=[1] * still)
        found[f"{points} {still} {short} {all_}"] = frontier._status(
            sweep,  # type: ignore[arg-type]
            shortened=bool(short),
            all_=bool(all_),
        )
    for missed, stray in ((5.0, 1.0), (0.001, 1e6), (1 / 3, 2.0)):
        found[f"{missed} {stray}"] = [str(one) for one in frontier._ratios(Loss(missed, stray))]
    for slots in (0, 1, 2):
        problem = SimpleNamespace(slots=2, candidates=SimpleNamespace(masks=(1, 2, 3)))
        found[f"slots {slots}"] = list(frontier._not_searched(problem, slots))  # type: ignore[arg-type]
    traced = frontier.trace_frontier(loads(3, 8), QUICK)
    for point in traced.points[:2]:
        outcome = point.outcome
        for missed, stray, over in itertools.product((0, 1), (0, 1), (False, True)):
            counts = frontier.Pair(outcome.missed + 2, outcome.stray) if over else None
            base = counts or frontier.Pair(outcome.missed, outcome.stray)
            bounds = {"missed_bound": base.missed - missed, "stray_bound": base.stray - stray}
            found[f"{base} {missed} {stray} {over}"] = replace(point, over=counts, **bounds).proven
    over = frontier.Presented(4, 6, 9)
    found["silence"] = [
        replace(traced, over=of, presented=frontier.Presented(5, 8, 1)).silence_a_pass
        for of in (None, over)
    ]
    recorded(found)


def test_variants(recorded: Recorded) -> None:
    found = {}
    some: list[tuple[tuple[Any, ...], int]] = [
        (("power", "ladder", "cutoff", "masks", "antennas"), 2),
        (("power", "ladder", "cutoff", "masks", "antennas"), 0),
        (("ladder", "masks"), 1),
        (("cutoff",), 3),
        ((), 1),
    ]
    policies = []
    for (allow, slots), antennas in itertools.product(some, (0, 1, 2)):
        policy = Policy(allow=allow, reader=Reader(mask_slots=slots))
        policies.append(policy)
        found[f"{' '.join(allow)} {slots} {antennas}"] = [
            f"{name}, {group}: {' '.join(one.allow)} {techniques._masks_max(one)}"
            for name, group, one in techniques._policies(policy, antennas)
        ]
    found["within"] = [
        techniques._within(one, other) for one in policies[::3] for other in policies[::3]
    ]
    found["late"] = [*techniques._late([]), *techniques._late(["a", "b"])]
    recorded(found)


def test_choices_again(recorded: Recorded) -> None:
    one = Strategy((20.0,))
    found: dict[str, Any] = {}
    for number, some in enumerate(
        [[], [(one, True)], [(one, True), None], [None], [(one, False), (one, True), None]]
    ):
        made = full_assessment._made(some)
        found[str(number)] = [len(made), *full_assessment._unproven(some)]
    solution = solve(linen(1, 8), QUICK)
    now = Deadline(None)

    def chosen(given: list[Any]) -> Callable[..., Any]:
        return lambda _again, parts: [given[n % len(given)] for n in range(len(parts))]

    for name, given, due in (
        ("proven", [(solution.strategy, True)], now),
        ("some not", [(solution.strategy, True), (solution.strategy, False)], now),
        ("none made", [None], now),
        ("one lacking", [(solution.strategy, True), None], now),
        ("due", [(solution.strategy, True)], Deadline(0.0)),
    ):
        slow = replace(solution, seconds=1e6)  # so that other processes are asked
        unseen, late = assessment._unseen(slow, Options(), 0.0, due, chosen(given))
        found[name] = [unseen is not None, *(unseen.warnings if unseen else ()), *late]
    recorded(found)


def test_first_answers_that_are_no_worse(
    recorded: Recorded, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the first was not proven, another may take its place, with the bound that is known."""
    found: dict[str, Any] = {}
    for name, point in (("plain", loads(3, 8)), ("expected", expecting(small(84)))):
        best = choose(point, QUICK)
        poor = Strategy((float(point.survey.levels_dbm[0]),), point.policy.stop_after, -1.0)
        for status, limits in itertools.product(("optimal", "feasible", "undecided"), (0, 1)):
            policy = replace(point.policy, limits=Limits(0.0, 0.0) if limits else Limits())
            here = replace(point, policy=policy)
            over = best.per_pass
            if over is not None:
                over = replace(over, loss=over.loss + 1.0, bound=0.125)
            outcome = replace(best.outcome, missed=best.outcome.missed + 1)
            first = replace(
                best,
                status=status,
                loss=best.loss + 1.0,
                bound=0.25,
                outcome=outcome,
                per_pass=over,
                strategy=poor,
            )
            monkeypatch.setattr(what_if, "choose", lambda *_args, best=best, **_known: best)
            after = what_if._no_worse(here, first, [poor, best.strategy], Options())
            row = [after is first, after.loss, after.bound, after.status]
            row += [None if after.per_pass is None else after.per_pass.bound]
            row += [*what_if._rank(policy, first), *what_if._rank(policy, best)]
            found[f"{name} {status} {limits}"] = row
            asked = what_if.Asked("q", None, "no")
            found[f"{name} none"] = what_if._after(here, best, asked) is asked
    recorded(found)


def test_sentences(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for a_pass, low, high, was in (
        (1.0, 0.5, 2.0, 0.5),
        (1.0, 0.5, 2.0, 2.0),
        (1.2, 0.5, 2.0, 2.1),
    ):
        found[f"foretold {was}"] = Foretold(a_pass, low, high, 0.95, was).sentence
    for low in (0.0, 0.125):
        loss = ExpectedLoss(1.5, 0.75, 2.25, 0.95, 9, 8.0)
        found[f"expected {low}"] = Expected(
            loss, OptimumInterval(low, 2.25, 0.5, 0.95, 0.3)
        ).sentence
    knowing = Knowing(1.0, 0.25, 0.5, ())
    for aim, known in itertools.product(("mean", "worst", "cvar"), (None, knowing)):
        one = InEach(aim, None, 1.25, 0.5, "door open", (), known)  # type: ignore[arg-type]
        found[f"{aim} {known is None}"] = one.sentence
    for excess in (0.0, 1e-6):
        figures = (3, 0.5, 4, 1, 2, 1.5, 0.25, 0.5, excess)
        found[f"kept {excess}"] = InCondition("a", *figures).kept
    outcome, best = Outcome(3, 4, 1, 5, 2, 7.0, ()), Outcome(3, 4, 0, 5, 3, 6.0, ())
    guarded = SimpleNamespace(loss=9.0, outcome=outcome)
    for bound, over_bound in itertools.product((8.0, 9.0, 10.0), (None, 2.5, 3.0, 3.5)):
        over = None
        if over_bound is not None:
            over = SturdierPerPass(2.0, 0.5, 1.0, 3.0, 0.75, over_bound)
        sturdier = Sturdier(
            Strategy((20.0,)),
            (),
            bound,
            1.0,
            outcome,
            guarded,
            over,
            best,
            12.5,  # type: ignore[arg-type]
        )
        found[f"sturdier {bound} {over_bound}"] = [
            *(sturdier.proven, sturdier.loss, sturdier.extra_loss),
            *(sturdier.guarded_loss, sturdier.guarded_saved),
            *((sturdier.gives_up, sturdier.gains) if bound == 9.0 else ()),
        ]
    found["counts"] = [
        Counts(1, 2).missed,
        solution_module.least(),
        solution_module.least(None, 2, 1),
    ]
    recorded(found)


def tiny_portal() -> Any:
    """Two antennas, two levels, three passes: several scores to choose from."""
    point = portal(0, 3)
    kept = np.arange(len(point.survey.levels_dbm)) >= 3
    return replace(point, survey=point.survey.keep(levels=kept))


def test_losses_a_pass(recorded: Recorded) -> None:
    """Over passes by weight, conditions that are separate or not, with passes where nothing is
    wanted, and limits."""
    found: dict[str, Any] = {}
    for seed in range(8):
        point = in_conditions(loads(seed, 6), seed)
        survey = point.survey
        weight = np.array([1.0, 2.0, 1.0, 3.0, 1.0, 2.0]) if seed % 2 else None
        wanted = survey.roster_wanted & (survey.roster_pass != 1)
        if seed == 6:
            wanted &= False
        limits = (Limits(), Limits(0.1), Limits(None, 0.1), Limits(0.2, 0.2))[seed % 4]
        policy = replace(point.policy, limits=limits)
        here = replace(survey, pass_weight=weight, roster_wanted=wanted)
        conditions = conditions_of(here)
        for separate, number in itertools.product((False, True), range(2)):
            passes = Passes(here, 1, conditions, separate)
            strategy = strategies(point, seed, 2)[number]
            one = per_pass_of(passes, policy, strategy, (None, 0.5)[number])
            figures = (one.loss, one.bound, one.missed, one.stray, one.guarded_loss)
            found[f"{seed} {separate} {number}"] = [
                *(*figures, one.silence_loss, one.excess, one.everything_loss),
                *judged_over(passes, policy, strategy),
                *(loss_over(passes, policy, strategy), one.under(Loss(1.0, 7.0))),
                *np.round(one.means.all, 9),
            ]
    recorded(found)


@pytest.mark.parametrize("method", ["search", "model"])
def test_solved_by_either_method(recorded: Recorded, method: str) -> None:
    found: dict[str, Any] = {}
    options = Options(method=method, unseen=False, sturdier=False)  # type: ignore[arg-type]
    points = {str(seed): small(seed) for seed in (80, 82, 84)}
    for name, point in (points | {"portal": tiny_portal(), "over": expecting(small(88))}).items():
        one = solve(point, options)
        key = [round(part, 6) for part in one.answer.key[:3]]
        bounds = [round(part, 4) for part in (*one.answer.bound, one.answer.guarded_bound)]
        found[name] = [one.method, one.status, one.proven, *key, *bounds, one.at_root, repr(one)]
        table = one.passes.reset_index()
        found[f"{name} passes"] = [*table.columns, *(str(row) for row in table.values.tolist())]
    recorded(found)


def test_known_strategies_are_where_it_begins(recorded: Recorded) -> None:
    """Without time the answer is the one that was known."""
    found: dict[str, Any] = {}
    for seed in range(4):
        point = (loads(seed, 6), small(90 + seed), portal(seed, 4), expecting(small(96)))[seed]
        best = solve(point, QUICK).strategy
        one = solve(point, replace(QUICK, time_limit_s=0.0), best)
        found[str(seed)] = [one.strategy == best, one.loss, one.outcome.missed, one.outcome.stray]
    recorded(found)
