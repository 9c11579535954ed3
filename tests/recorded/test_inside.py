"""Steps on the way to an answer, each over a range of what it may be given."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import fields, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from strategist.answers import changes, headline, plan, solution, what_if
from strategist.answers import contenders as contenders_module
from strategist.answers import expected as expected_module
from strategist.answers.contenders import Contenders
from strategist.answers.over import passes_over
from strategist.answers.per_pass import Means, PerPass
from strategist.errors import DisagreementError
from strategist.optimise.next_pairs import Cost
from strategist.optimise.problem import Counts
from strategist.optimise.strategy import Strategy
from strategist.radio.possible import Possible
from strategist.survey import copies, variation
from strategist.survey.findings import Finding
from strategist.survey.occasions import Conditions
from strategist.survey.policy import Limits, Loss, Policy
from strategist.survey.profile import turn_on
from strategist.survey.score import Difference, Peak
from strategist.tags.mask import Mask
from strategist.trust import (
    acceptance,
    by_pass,
    dependence,
    diagnosis,
    drift,
    folds,
    intervals,
    next_survey,
    picture,
    rates,
    tag_types,
    unseen,
)
from strategist.trust.evaluate import Outcome
from strategist.trust.margins import Margins, PowerMargin, RssiMargin
from tests.recorded.brief import brief
from tests.recorded.points import in_conditions, loads, small, strategies
from tests.survey.test_variation_again import made

Recorded = Callable[..., None]


def refusal(ask: Callable[[], Any]) -> Any:
    try:
        return ask()
    except DisagreementError as error:
        return str(error)


def test_parts_of_intervals_by_pass(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for number, (events, presented) in enumerate(
        [
            ([0], [4]),
            ([2], [4]),
            ([0, 0, 0], [1, 2, 3]),
            ([1, 0, 2], [1, 2, 3]),
            ([1, 0, 5], [4, 4, 16]),
            ([1, 3, 0], [4, 4, 16]),
            ([0, 1, 1, 0], [2, 2, 2, 2]),
            ([0, 1, 20, 0, 0], [1, 1, 20, 2, 5]),
            ([3, 3, 3], [3, 3, 3]),
            ([1, 1, 1], [3, 3, 3]),
        ]
    ):
        k, n = np.array(events, float), np.array(presented, float)
        row: list[Any] = [by_pass._most(n), by_pass._alike(n), by_pass._of_bursts(k, 0.9, 0.7)]
        if len(n):
            row += [by_pass._worst(k, n), by_pass._jackknife(k, n)]
            for part in (1.0, 0.3):
                row += by_pass._effective(k, n, 0.9, part)
                row += [
                    by_pass._limit(k, np.maximum(n, 1), more, at, part)
                    for more in ((0.0, 3.0), (3.0, 3.0))
                    for at in (0.05, 0.95)
                ]
        found[str(number)] = row
    sides = ("two-sided", "less", "greater")
    ends = [(0.0, 3.0), (1.5, 3.0), (3.0, 3.0), (0.2, 0.4)]
    found["ends"] = [
        end
        for (k, n), side in itertools.product(ends, sides)
        for end in intervals.exact_ends(k, n, 0.9, side)  # type: ignore[arg-type]
    ]
    at_most = itertools.product([0, 1, 5], [5, 20], [0.0, 0.1, 1.0])
    found["at most"] = [acceptance._at_most(k, n, rate) for k, n, rate in at_most]
    recorded(found)


def test_what_more_passes_would_show(recorded: Recorded) -> None:
    found = {}
    limits = [None, 0.0, 1e-7, 1e-6, 0.01, 0.05, 0.1, 0.5, 0.999, 1.0]
    counts = [(0, 0), (0, 12), (1, 12), (0, 58), (0, 59), (2, 60), (3, 60), (30, 60), (0, 3000)]
    for limit, (events, trials), part in itertools.product(limits, counts, [1.0, 0.5]):
        rate = intervals.clopper_pearson(events, trials, part=part)
        policy = Policy(limits=Limits(limit))
        passes, words = next_survey._passes(rate, policy, part)
        then = next_survey._with_more(rate, passes, part)
        told = [passes, round(next_survey._half(rate), 9), round(next_survey._half(then), 9)]
        found[f"{limit} {events} of {trials} {part}"] = [*told, words if part == 1.0 else ""]
    kinds = sorted({str(one[-1]).split(" passes")[0][:60] for one in found.values()})
    some = {key: [*one[:3], one[3][:14]] for key, one in found.items()}
    texts = {key: one[3] for key, one in list(found.items())[:: len(found) // 12]}
    recorded({"some": some, "texts": texts, "kinds": kinds})


def test_levels_to_add(recorded: Recorded) -> None:
    found, point = {}, loads(1, 6)
    for number, levels in enumerate(
        [
            [20.0],
            [20.0, 21.0],
            [20.0, 20.5, 21.0],
            [20.0, 20.9, 22.0],
            [38.0, 39.5, 40.0],
            [-20.0, -18.0, -17.5],
            [10.0, 14.0, 18.0, 22.0, 26.0],
        ]
    ):
        at = np.array(levels)
        survey = point.survey.keep(levels=np.arange(len(point.survey.levels_dbm)) < len(at))
        here = replace(point, survey=replace(survey, levels_dbm=at))
        for steps in ([levels[0]], [levels[-1]], levels[-2:], levels[1:2]):
            if steps:
                one = Strategy(tuple(steps))
                other = Strategy((levels[len(levels) // 2],))
                cross = SimpleNamespace(strategies=(one, other, other))
                for name, of in (("", None), (" cross", cross)):
                    told = next_survey._levels(here, one, of)  # type: ignore[arg-type]
                    reasons = [reason[:40] for reason in told[1]]
                    found[f"{number} {steps}{name}"] = [*told[0], *reasons]
    recorded(found)


def test_chances(recorded: Recorded) -> None:
    rng, found = np.random.default_rng(9), {}
    worse = [np.array(one, float) for one in ([], [0, 0], [1], [0, 2, 0], [1, -1], [2, -1], [3, 1])]
    worse += [np.round(rng.normal(0.3, 1, n), 1) for n in (3, 6, 9, 14, 30)]
    found["held out"] = [folds._chance(one) for one in worse]
    tables = itertools.product([0, 2, 5], [5, 9], [0, 1, 4], [4, 12])
    found["tags"] = [
        unseen._as_many_by_chance(
            intervals.clopper_pearson(k, n), intervals.clopper_pearson(other, of)
        )
        for k, n, other, of in tables
    ]
    pairs: list[tuple[list[float], list[float]]] = []
    for n, by in itertools.product((3, 5, 8, 12), (0.0, 0.5, 2.0)):
        old = np.round(rng.normal(0, 1, n), 1)
        pairs.append((old.tolist(), np.round(old + by + rng.normal(0, 0.6, n), 1).tolist()))
    pairs += [([1.0, np.inf], [2.0, 3.0]), ([np.inf] * 3, [1.0] * 3), ([1.0], [np.inf])]
    found["shifts"] = [drift._shift(*pair) for pair in pairs]
    found["differ"] = [drift._differ(*pair) for pair in pairs[:-3]]
    found["paired"] = [drift._differ_paired(*pair) for pair in pairs[:-3]]
    recorded(found)


def test_links(recorded: Recorded) -> None:
    """Tags that are never read count as turned on one step above the highest level."""
    found: dict[str, Any] = {}
    for seed, kept in itertools.product(range(3), ([0], [1, 3], [0, 2, 3], [2, 4, 5])):
        whole = loads(seed, 6).survey
        survey = whole.keep(levels=np.isin(np.arange(len(whole.levels_dbm)), kept))
        tried = survey.tried.copy()
        tried[seed, -1] = False
        reads = tried[survey.read_pass, survey.read_level]
        for name, one in (
            ("", survey),
            (" in part", replace(survey.with_reads(reads), tried=tried)),
        ):
            roles = (one.roster_wanted, ~one.roster_wanted, np.zeros_like(one.roster_wanted))
            links = [dependence._links(one, role) for role in roles]
            found[f"{seed} {kept}{name}"] = [x for part in links for x in part.tolist()]
    recorded(found)


def test_bins(recorded: Recorded) -> None:
    found = {}
    for low, high in [
        (-60.0, -60.0),
        (-60.0, -40.6),
        (-60.0, -40.5),
        (-60.0, -40.4),
        (-60.5, -21.6),
        (-60.5, -21.5),
        (-80.2, -2.2),
        (-80.2, -2.1),
        (-119.0, -0.5),
        (-60.25, -55.75),
    ]:
        strongest = np.array([low, (low + high) / 2, high, -np.inf])
        parts = [np.array([1, 1, 0, 0], bool), np.array([0, 0, 1, 0], bool), np.zeros(4, bool)]
        width, ends, counts = picture._counted(strongest, parts)
        places = [place for part in counts for place in np.flatnonzero(part).tolist()]
        found[f"{low} {high}"] = [width, len(ends), ends[0], ends[-1], *places]
    nothing = picture._counted(np.full(2, -np.inf), [np.zeros(2, bool)])
    found["nothing"] = [nothing[0], len(nothing[1]), len(nothing[2])]
    recorded(found)


def test_folds_and_what_they_chose(recorded: Recorded) -> None:
    found = {}
    for passes in (1, 9, 10, 11, 14, 25):
        survey = loads(2, passes).survey
        point = replace(loads(2, passes), survey=survey)
        found[f"{passes}"] = [len(one.survey.pass_ids) for one in folds.without_folds(point)]
        found[f"{passes} fold"] = folds._fold_of(survey, 5)
        found[f"{passes} of 3"] = [len(x.survey.pass_ids) for x in folds.without_folds(point, 3)]
    mask, other = (Mask("epc", 32, 8, pattern) for pattern in ("30", "35"))
    joined = replace(mask, join="or")
    own = Strategy((20.0,), 1, -60.0, (mask, replace(other, join="and", negate=True)))
    for again in range(6):
        chosen = [own] * again + [Strategy((21.0, 22.0), 1, None, (other, joined))] * (5 - again)
        one = folds._again(own, chosen)
        found[f"again {again}"] = [*brief(one)["levels"], *folds._unsteady(one)]
        found[f"masks {again}"] = [*brief(one)["masks"], *brief(one)["cutoff"]]
    four = [own, own, *[Strategy((21.0,), 1, -70.0)] * 2]
    found["half of four"] = [*folds._unsteady(folds._again(own, four))]
    found["one of four"] = [*folds._unsteady(folds._again(own, four[1:] + four[3:]))]
    spans = [(0.1, 0.2), (0.05, 0.2), (0.1, 0.3), (0.15, 0.18)]
    for low, high in spans:
        first = intervals.Rate(1, 7, 1 / 7, 0.1, 0.2, 0.95, "m", 7.0)
        two = rates._spanning(first, replace(first, low=low, high=high))
        found[f"{low} {high}"] = [two.low, two.high, two.method]
    recorded(found)


def test_cutoffs_that_stand(recorded: Recorded) -> None:
    found = {}
    guarded = [3.0, 5.0, 7.0]
    for kept, out in itertools.product(guarded, guarded):
        losses = tag_types.Losses(2.0, kept), tag_types.Losses(2.5, out)
        one = tag_types.TagTypes((), 1.25, *losses)
        found[f"{kept:g} {out:g}"] = [one.cutoff_stands, one.sentence]
    for losses in ((None, None), (tag_types.Losses(1.0, 1.0), None)):
        one = tag_types.TagTypes((), None, *losses)
        found[f"{losses[0]}"] = [one.cutoff_stands, one.sentence]
    recorded(found)


def test_passes_for_a_limit(recorded: Recorded) -> None:
    """As many as show it, and one fewer; limits that nothing shows."""
    found: dict[str, Any] = {}
    for passes, limit in itertools.product((11, 12, 13), (0.221, 0.999, 1.0, 1e-6, 9.9e-7, None)):
        survey = loads(2, passes).survey
        for limits in (Limits(limit), Limits(None, limit)):
            told = list(diagnosis._passes_for(survey, Policy(limits=limits)))
            found[f"{passes} {limits}"] = [part for one in told for part in one]
    for count in (1, 2, 3):
        survey = loads(2, 5).survey
        kept = np.arange(len(survey.levels_dbm)) < count
        some = survey.keep(levels=kept)
        for at in itertools.combinations(some.levels_dbm.tolist(), 1 + (count > 2)):
            told = list(diagnosis._edge(some, Strategy(at)))
            found[f"{count} {at}"] = [one[1] for one in told]
    recorded(found)


def invented(seed: int) -> Contenders:
    """Contenders whose losses in each draw are by lot."""
    rng = np.random.default_rng([19, seed])
    point = loads(seed, 4)
    tried = rng.random(point.survey.tried.shape) > 0.4
    tried[:, 0] = True
    survey = point.survey.with_reads(tried[point.survey.read_pass, point.survey.read_level])
    survey = replace(survey, tried=tried)
    limits = (Limits(), Limits(0.3, 0.8), Limits(0.45), Limits(None, 0.5))[seed % 4]
    policy = replace(point.policy, limits=limits)
    of = 5
    draws = contenders_module.DRAWS if seed % 2 else 7
    missed = rng.integers(0, 3, (of, draws, 4)) + rng.uniform(0, 0.5, (of, 1, 1))
    stray = rng.integers(0, 2, (of, draws, 4)) * 1.0
    some = np.array(strategies(replace(point, policy=policy), seed, of), object)
    wanted = survey.roster_wanted.sum()
    excess = np.array(
        [
            [limits.excess(missed[s, k].sum() / wanted, stray[s, k].mean()) for k in range(draws)]
            for s in range(of)
        ]
    )
    if seed % 3 == 0:
        excess[0] = 0.0
    return Contenders(policy, Possible(survey, (seed,)), tuple(some), missed, stray, excess)


@pytest.mark.parametrize("seed", range(8))
def test_contenders(recorded: Recorded, seed: int) -> None:
    one = invented(seed)
    doubt, told = one.doubt(one.others())
    batch, settles = plan._batch(one, 1.0, Cost(3.0, 0.2))
    recorded(
        {
            "hand": [one.draws, one._surely, one.hand, one.limits, one.beyond, one.high],
            "best": list(one.best),
            "regret": one.regret[:12],
            "others": [one.others(few) for few in (0.0, 1.0, 3.0, 1e9)],
            "doubt": doubt,
            "told": told.sum(axis=1),
            "enough": [plan._enough(one, few) for few in (0.0, one.high, one.high - 1e-9)],
            "batch": [f"{p}: {levels} {settles[p]:.6f}" for p, levels in batch.items()],
            "plan": brief(plan._plan(one.possible.of, "next", 1.0, (), one)),
        }
    )


def told_of(seed: int) -> SimpleNamespace:
    """What a headline is drawn from, by lot."""
    rng = np.random.default_rng([23, seed])
    outcome = Outcome(
        *(int(one) for one in rng.integers([5, 30, 0, 40, 0], [60, 90, 9, 90, 20])),
        loss=float(rng.integers(0, 30)),
        by_pass=(),
    )
    status = ("optimal", "feasible", "silent", "infeasible", "undecided")[int(rng.integers(5))]
    share = float(rng.choice([0.2, 0.5, 0.5 + 1e-9, 0.8, 1.0]))
    silence = float(rng.integers(10, 60))
    own = share * min(silence, 2.0 * outcome.stray_presented)
    over = None
    if rng.random() < 0.4:
        means = Means(np.zeros((1, 4)), np.ones(1), None)
        a_pass = (own / 9, own / 10 if rng.random() < 0.7 else None, 0.1, 0.2, own / 7)
        over = PerPass(
            *a_pass, silence / 9, 0.0, silence / (8 if rng.random() < 0.5 else 12), means
        )
    margin = rng.random(4) < 0.6
    powers = [
        PowerMargin(x, (None, 2.0)[int(rng.integers(2))]) for x in rng.integers(0, 4, 2) / 1.0
    ]
    heard = [RssiMargin(float(x), "p1", "30") for x in rng.integers(0, 5, 2)]
    kept = [one if yes else None for one, yes in zip([*powers, *heard], margin, strict=True)]
    events = int(rng.choice([0, 1, 3, 12]))
    by_pass_rate = intervals.clopper_pearson(events, int(rng.choice([20, 60])))
    stray_rate = intervals.clopper_pearson(1, 20)
    foreseen = (None, SimpleNamespace(steps_dbm=()), SimpleNamespace(steps_dbm=(20.0, 21.5)))
    guarded = float(rng.choice([0.0, own, own + 5]))
    standing = SimpleNamespace(
        rates=SimpleNamespace(
            missed_by_pass=by_pass_rate,
            stray_by_pass=stray_rate,
            dependence=SimpleNamespace(part=float(rng.choice([1.0, 0.4]))),
        ),
        guarded=SimpleNamespace(loss=guarded),
        margins=Margins(*kept),
        predicted=foreseen[int(rng.integers(3))],
    )
    weak = Finding("bay", "weak", "k", "It is thin.", "Survey more.")
    note = Finding("bay", "note", "k", "It is odd.", "Look.")
    proof: dict[str, Any] = {}
    if rng.random() < 0.7:
        proof["least_guarded"] = (None, guarded, guarded / 2)[int(rng.integers(3))]
    if rng.random() < 0.3:
        proof["own_powers"] = {}
    score = (None, Peak(antennas=(1, 3)), Difference("difference", (1,), (2,)))[
        int(rng.integers(3))
    ]
    cutoff = None if rng.random() < 0.3 else -60.5
    apart = isinstance(score, Difference)
    mask = Mask("epc", 32, 8, "30")
    masks = ((), (mask,), (mask, replace(mask, join="or")))[int(rng.integers(3))]
    levels = ((20.0,), (20.0, 23.5))[int(rng.integers(2))]
    return SimpleNamespace(
        status=status,
        loss=own,
        bound=own / 2,
        silence_loss=silence,
        weights=Loss(5.0, 2.0),
        strategy=Strategy(
            levels, 1, None if apart else cutoff, masks, score, 2.0 if apart and cutoff else None
        ),
        outcome=outcome,
        standing=standing,
        sturdier=None,
        proof=proof,
        searched={"levels": int(rng.integers(1, 3))},
        findings=((), (note,), (note, weak), (weak, weak))[int(rng.integers(4))],
        per_pass=over,
        expected=SimpleNamespace(sentence="Expect.") if rng.random() < 0.2 else None,
    )


def test_headlines(recorded: Recorded) -> None:
    found = {}
    for seed in range(40):
        one = told_of(seed)
        head = headline.headline_of(one)  # type: ignore[arg-type]
        said = [head.verdict, head.set, head.expect, head.robustness, head.next_step]
        found[str(seed)] = [one.status, headline.is_idle(one), *said]  # type: ignore[arg-type]
    means = Means(np.zeros((1, 4)), np.ones(1), None)
    for status, own, bound in itertools.product(("feasible", "optimal"), (4.0, 5.0), (None, 3.0)):
        for everything in (0.0, 8.0):
            one = told_of(1)
            one.status, one.searched = status, {"levels": 2}
            one.per_pass = PerPass(own, bound, 0.1, 0.2, 6.0, 5.0, 0.0, everything, means)
            head = headline.headline_of(one)  # type: ignore[arg-type]
            key = f"{status} {own} {bound} {everything}"
            found[key] = [headline.is_idle(one), head.verdict, head.next_step]  # type: ignore[arg-type]
    recorded(found)


def test_changes_at_the_reader(recorded: Recorded) -> None:
    """Of each setting: moved, taken away, added; several at once; chains of up to four masks."""
    a, b, c, d = (Mask("epc", 32, 8, pattern) for pattern in ("30", "35", "36", "37"))

    def chain(*masks: Mask, joins: str = "aaa") -> tuple[Mask, ...]:
        words = {"a": "and", "o": "or"}
        rest = [
            replace(mask, join=words[join])  # type: ignore[arg-type]
            for mask, join in zip(masks[1:], joins, strict=False)
        ]
        return (*masks[:1], *rest)

    apart, peak = Difference("difference", (1,), (2,)), Peak(antennas=(1,))
    own = Peak(antennas=(1, 2), trim_db=((2, -1.0),))
    base = Strategy((20.0,), 1, -60.0)
    chains = [(), (a,), (a, b), (b, a), (a, b, c), (c, d), (b, c, d), (d, c, b, a)]
    pairs: list[tuple[Strategy, Strategy]] = [
        (replace(base, masks=chain(*one)), replace(base, masks=chain(*other)))
        for one, other in list(itertools.permutations(chains, 2))[::2]
    ]
    pairs += [
        (replace(base, masks=chain(a, b, c)), replace(base, masks=chain(a, b, c, joins="oa"))),
        (replace(base, masks=chain(a, b, c, joins="oo")), replace(base, masks=chain(a, c))),
    ]
    ladders = [(20.0,), (21.0,), (20.0, 23.0), (20.5, 22.0), (19.0, 21.0, 24.0)]
    pairs += [
        (replace(base, levels_dbm=one), replace(base, levels_dbm=other))
        for one, other in itertools.permutations(ladders, 2)
    ]
    of = [
        base,
        replace(base, cutoff_dbm=None),
        replace(base, cutoff_dbm=-58.5),
        replace(base, stop_after=2),
        replace(base, step_s=0.3),
        replace(base, step_s=0.5),
        replace(base, score=Peak()),
        replace(base, score=peak),
        replace(base, score=own),
        replace(base, score=peak, cutoff_dbm=None),
        Strategy((20.0,), 1, None, (), apart, 2.0),
        Strategy((20.0,), 1, None, (), apart, 3.0),
        Strategy((20.0,), 1, None, (), apart),
    ]
    pairs += [pair for n, pair in enumerate(itertools.permutations(of, 2)) if not n % 3]
    pairs += list(itertools.permutations(of[-3:], 2))
    found, weights = {}, (3.0, 2.0, 1.0, 5.0, 4.0)
    for number, (before, after) in enumerate(pairs):
        worth = [before.levels_dbm, before.stop_after, before.cutoff, before.masks, before.score]

        def loss_of(one: Strategy, worth: Any = worth) -> float:
            now = [one.levels_dbm, one.stop_after, one.cutoff, one.masks, one.score]
            changed = [w for x, y, w in zip(now, worth, weights, strict=True) if x != y]
            return 9.0 - max(changed, default=0.0) + 0.25 * (len(changed) == 2)

        one = changes.changes_between(before, after, loss_of)
        alone = [x for pair in one.loss_with_one_changed.items() for x in pair]
        found[str(number)] = [*(c.words for c in one.changes), *alone, *one.enough, one.enough_loss]
    recorded(found)


def test_time_that_is_shared(recorded: Recorded) -> None:
    limits: list[float | None] = [None, 0.5, 8.0]
    found: dict[str, Any] = {}
    for own, total, solves, spent in itertools.product(limits, limits, [1, 4], [0.0, 3.0, 20.0]):
        of = solution.Options(time_limit_s=own, total_limit_s=total).share(solves, spent)
        found[f"{own} {total} {solves} {spent}"] = [of.time_limit_s, of.total_limit_s]
    found["none"] = solution.Deadline.of(solution.Options()).passed()
    found["past"] = solution.Deadline(0.0).passed()
    found["to come"] = solution.Deadline.of(solution.Options(total_limit_s=1e6)).passed()
    recorded(found)


def test_what_two_count(recorded: Recorded) -> None:
    """Equal to a millionth, or to a millionth of the loss, and not more."""
    found: dict[str, Any] = {}
    counted = [0.0, 1e-6, 1.01e-6, 5.0, 5.0 + 4.9e-6, 5.0 + 5.1e-6, 5.0 - 5.1e-6, 1e6 + 0.9]
    for one, other in itertools.product(counted, counted[:4]):
        said = refusal(lambda one=one, other=other: solution.compare_guarded(one, other))
        found[f"{one} {other}"] = said
    point = loads(3, 6)
    solved = solution.solve(point)
    for missed, stray in ((0, 0), (1, 0), (0, 1)):
        outcome = solved.outcome
        counts = Counts(outcome.missed + missed, outcome.stray + stray)
        for times in (None, np.ones(6, np.int64), np.full(6, 2)):

            def ask(counts: Counts = counts, times: Any = times) -> Any:
                return solution.compare_counts(counts, solved.outcome, solved.problem, times)

            found[f"{missed} {stray} {None if times is None else times[0]}"] = refusal(ask)
    recorded({key: one or "same" for key, one in found.items()})


def test_questions_of_what_if(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for seed in range(4):
        policy = small(80 + seed).policy
        reader = replace(policy.reader, mask_step_bits=(8, 1, 8, 4)[seed])
        for words, sets, db in what_if._questions(replace(policy, reader=reader)):
            found[f"{seed} {words}"] = [*(f"{key} {one}" for key, one in sets.items()), db]
    recorded(found)


def test_parts_of_variation(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for seed in range(12):
        survey = made(seed) if seed % 2 else loads(seed, 9).survey
        on, levels = turn_on(survey), survey.levels_dbm
        low, high = variation._between(on, levels)
        gaps, above = variation._gaps(on)
        group, stays = variation._groups(survey)
        over, under = variation._beyond(low, high, levels)
        every = np.arange(len(group))
        where = variation._Intervals.of(low, high, np.array([over, under]))
        found[str(seed)] = {
            "ends": [float(low[np.isfinite(low)].sum()), float(high[np.isfinite(high)].sum())],
            "gaps": [int(gaps.sum()), int(above.sum())],
            "groups": [*np.bincount(group).tolist(), *stays.tolist()],
            "beyond": [over, under, float(where.middle.sum())],
            "kernels": [
                variation._likeliest(survey, every, where, fixed) for fixed in (True, False)
            ],
            "rssi": [variation._rssi(survey, on, every, fixed) for fixed in (True, False)],
            "common": variation._common(survey, every, where.middle),
            "slope": variation._slope(on, levels),
            "step": copies._step(survey.read_rssi),
        }
    recorded(found)


def test_every_kernel_is_the_likeliest_of_some_spread(recorded: Recorded) -> None:
    """From all alike to 30 dB apart, known to a twentieth of a dB or to whole ones, tags that come
    again or not."""
    rng, found = np.random.default_rng(4), {}
    chosen = set()
    for scale in np.geomspace(0.02, 30, 60).round(4).tolist():
        row = []
        for n, tags, width, fixed in (
            (12, 12, 0.05, True),
            (24, 24, 0.05, False),
            (15, 6, 1.0, False),
            (15, 3, 1.0, True),
        ):
            middle = np.round(scale * rng.normal(0, 1, n), 3)
            at: Any = SimpleNamespace(
                roster_pass=np.arange(n) % max(3, n // 2), roster_tag=np.arange(n) % tags
            )
            low = np.where(np.arange(n) == 3, -np.inf, middle - width / 2)
            where = variation._Intervals(low, middle + width / 2, middle)
            row.append(variation._likeliest(at, np.arange(n), where, fixed))
        chosen.update(row)
        found[str(scale)] = row
    kernels = [0.0, 0.1, 0.15, 0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6]
    assert sorted(chosen) == kernels
    recorded(found)


def test_groups_too_small_to_choose_a_kernel_by() -> None:
    """Three that are each judged by two others, or none."""
    for passes, tags, fixed, judged in (
        ([0, 1, 2], [0, 1, 2], False, True),
        ([0, 1, 2], [0, 0, 1], False, False),
        ([0, 1, 2], [0, 0, 1], True, True),
        ([0, 0, 1], [0, 1, 2], True, False),
        ([0, 1], [0, 1], True, False),
    ):
        n = len(passes)
        at: Any = SimpleNamespace(roster_pass=np.array(passes), roster_tag=np.array(tags))
        middle = np.array([0.0, 8.0, 16.0])[:n]
        where = variation._Intervals(middle - 0.1, middle + 0.1, middle)
        assert (variation._likeliest(at, np.arange(n), where, fixed) > 0) == judged


def test_parts_of_copies(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for seed in range(6):
        survey = made(seed) if seed % 2 else loads(seed, 9).survey
        if seed == 4:  # strays that were never read have nobody to stand for them
            keys = survey.roster_pass * len(survey.tags) + survey.roster_tag
            of = survey.read_pass * len(survey.tags) + survey.read_tag
            survey = survey.with_reads(np.isin(of, keys[survey.roster_wanted]))
        one = variation.variation_of(survey)
        wide = replace(one, link_db=one.link_db + 2.0, rssi_db=one.rssi_db + 0.5)
        draw = copies._Draw(survey, wide)
        cells = draw._cells(np.random.default_rng(seed))
        shift, off = draw._shifts(np.random.default_rng(seed))
        power = survey.levels_dbm + shift[:, None]
        beyond = np.random.default_rng(seed).exponential(size=len(shift))
        found[str(seed)] = {
            "donors": draw.donors.sum(axis=0),
            "cells": [float(column.sum()) for column in cells],
            "late": int(draw._late(power, beyond).sum()),
            "early": int(draw._early(power, beyond).sum()),
            "shifts": [float(shift.sum()), float(off.sum()), float((shift**2).sum())],
            "reads": [float(column.sum()) for column in draw.reads(np.random.default_rng(1))],
        }
    recorded(found)


def test_figures_over_fresh_copies(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for seed in range(8):
        rng = np.random.default_rng([29, seed])
        each = rng.integers(0, 3, (5, 8)) * (rng.random(8) < (0.0, 0.2, 0.5, 1.0)[seed % 4])
        names = (("all",), ("a", "b"), ("a", "b", "c"))[seed % 3]
        of_pass = rng.integers(0, len(names), 8)
        of_pass[: len(names)] = np.arange(len(names))
        if seed in (5, 7):
            of_pass[:] = [0, *[1] * 7] if seed == 7 else [0, 0, 1, 0, 0, 1, 1, 2]
        times = rng.integers(1, 4, 8)
        counted = np.bincount(of_pass, times, len(names))
        conditions = Conditions(names, of_pass, times, counted / counted.sum())
        share = rng.dirichlet(np.ones(len(names)))
        share[-1] *= seed != 5  # a condition of one pass that does not count
        weight = (share / counted)[of_pass] * times
        one = expected_module._Fresh(each * 1.0, weight, conditions, 6.0, 0.75)
        found[str(seed)] = [
            *(one.mean, one.student, one.off),
            *(one.high(off) for off in (0.0, 0.3, 3.0, 99.0)),
            *expected_module._means(each.mean(axis=0), conditions),
        ]
    recorded(found)


@pytest.mark.parametrize("passes", [1, 2, 7])
def test_fresh_copies(recorded: Recorded, passes: int) -> None:
    found: dict[str, Any] = {}
    for seed in range(4):
        point = in_conditions(loads(seed, passes), seed)
        (strategy,) = strategies(point, seed, 1)
        for separate in (False, True):
            one = expected_module._Fresh.of(point, strategy, seed, separate)
            figures = [*one.each.shape, one.mean, one.most, one.least, *np.round(one.weight, 9)]
            found[f"{seed} {separate}"] = [*figures, *one.conditions.names]
        expected = replace(point, policy=replace(point.policy, aim="expected"))
        for run in (1, 30):
            told = expected_module.foretold_of(expected, strategy, run, 1.25)
            found[f"{seed} run of {run}"] = brief(told)
    recorded(found)


def test_fresh_copies_of_many_passes() -> None:
    """Six hundred passes in all, and never fewer than two copies."""
    point = loads(2, 4)
    survey = point.survey
    strategy = Strategy((float(survey.levels_dbm[2]),))
    for passes, times in ((200, 3), (300, 2), (301, 2)):
        ids = tuple(f"q{n}" for n in range(passes))
        tried = np.ones((passes, len(survey.levels_dbm)), bool)
        long = replace(point, survey=replace(survey, pass_ids=ids, tried=tried))
        one = expected_module._Fresh.of(long, strategy, 0, separate=False)
        assert one.each.shape == (times, passes)


def test_means_by_condition(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for seed in range(6):
        point = in_conditions(loads(seed, 8), seed)
        passes = passes_over(point, seed, 30)
        if passes is None:
            continue
        fresh = {field.name for field in fields(passes)}
        found[str(seed)] = [
            sorted(fresh),
            [passes.copies, passes.even, passes.separate, len(passes.sample.times)],
            passes.conditions.share.tolist(),
        ]
        means = Means(
            np.arange(4.0 * len(passes.conditions.share)).reshape(-1, 4),
            passes.conditions.share,
            np.minimum(passes.conditions.share / 0.4, 1.0) if seed % 2 else None,
        )
        weights = [(1.0, 0.0, 0.0, 0.0), (0.0, 2.0, 0.5, 0.0)]
        found[f"{seed} means"] = [
            *means.all,
            means.loss(Loss(2.0, 3.0)),
            *map(means.weighed, weights),
        ]
    recorded(found)
