"""What is judged of given strategies: outcome, drift, margins, time and law, pictures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.policy import Guard, Limits, Reader
from strategist.survey.profile import peaks
from strategist.survey.records import ReadPoint
from strategist.trust.arbitration import Reporting, discarded
from strategist.trust.at_peaks import AtPeaks
from strategist.trust.diagnosis import against, diagnose
from strategist.trust.drift import drift_between
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.evaluation import evaluate_at, not_settable, silence_warnings
from strategist.trust.folds import cross_validate, without_folds
from strategist.trust.guarded import guarded_outcome
from strategist.trust.next_survey import next_survey
from strategist.trust.picture import picture_of
from strategist.trust.steps import steps_of
from strategist.trust.tag_types import judge_cutoff, measured_types, without_cutoff
from strategist.trust.unseen import leave_out, thin_classes, unseen_rates
from strategist.trust.worst_case import worst_case
from tests.recorded.brief import brief
from tests.recorded.points import gate, linen, loads, portal, ragged, small, strategies

Recorded = Callable[..., None]
KINDS: dict[str, Callable[[int], ReadPoint]] = {
    "small": small,
    "linen": linen,
    "loads": loads,
    "portal": portal,
    "gate": gate,
    "foreseen": lambda seed: ragged(seed, "predict"),
}
BULKY = (
    "assumptions",
    "sentences",
    "caution",
    "clause",
    "source",
    "edition",
    "read_point",
    "strategy",
)


def by_pass(outcome: Outcome) -> dict[str, Any]:
    """What each pass came to, a list for each count."""
    return {
        "missed": [" ".join(map(str, one.missed)) for one in outcome.by_pass],
        "stray": [" ".join(map(str, one.stray)) for one in outcome.by_pass],
        "steps": [one.steps for one in outcome.by_pass],
        "loss": outcome.loss,
        "predicted": outcome.predicted,
    }


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(3))
def test_evaluation(recorded: Recorded, kind: str, seed: int) -> None:
    point, found = KINDS[kind](seed), {}
    for number, strategy in enumerate(strategies(point, seed, 2 if seed < 2 else 1)):
        one = evaluate_at(point, strategy)
        law = (kind == "gate" and seed < 2) or (kind == "portal" and seed == 1)
        more = () if law else ("lawful", "exposure")
        found[str(number)] = {
            "told": brief(one, *BULKY, "outcome", *more),
            "outcome": by_pass(one.outcome) if seed < 1 else brief(one.outcome),
            "guarded": by_pass(one.standing.guarded.outcome) if not seed and not number else None,
        }
    recorded(found, less=BULKY)


@pytest.mark.parametrize("kind", KINDS)
def test_drift_within_other_guards(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(4):
        point = complete(KINDS[kind](seed))
        for number, strategy in enumerate(strategies(point, 100 + seed, 3)):
            for guard in (Guard(0.0, 0.0), Guard(0.5, 0.5), Guard(2.0, 4.0), Guard(30.0, 60.0)):
                one = guarded_outcome(point.survey, point.policy, strategy, guard)
                row: list[Any] = [one.missed, one.stray, one.loss]
                row += [f"{x.role} {x.asked_dbm:g} {x.used_dbm:g}" for x in one.stand_ins]
                if strategy.score is None and point.survey.read_t_s is None:
                    worst = worst_case(point.survey, point.policy, strategy, guard)
                    row += [worst.missed, worst.stray, worst.loss]
                found[f"{seed} {number} {guard.power_db:g}"] = row
    recorded(found)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(2))
def test_picture(recorded: Recorded, kind: str, seed: int) -> None:
    point = KINDS[kind](10 + seed)
    found = {}
    for number, one in enumerate(strategies(point, seed, 2)):
        told = brief(
            picture_of(point, one), "levels_dbm", "low_dbm", "wanted_read_rate", "stray_read_rate"
        )
        found[str(number)] = told
    recorded(found)


@pytest.mark.parametrize("kind", ["small", "linen", "loads"])
def test_at_peaks_of_many_presentations(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(4):
        point = KINDS[kind](20 + seed)
        heard = peaks(point.survey)
        rng = np.random.default_rng(seed)
        times = heard + rng.integers(-2, 3, (3, *heard.shape))
        policy = replace(point.policy, limits=Limits(0.25, 0.5))
        for number, strategy in enumerate(strategies(point, seed, 2)):
            at = AtPeaks(point.survey, policy, strategy)
            missed, stray = at.counted(times)
            lost, excess = at.lost(times)
            found[f"{seed} {number}"] = {
                "weighed": at.weighed(heard).sum(axis=0),
                "by pass": at.weighed(heard).sum(axis=1),
                "missed": missed.sum(axis=0),
                "stray": stray.sum(axis=1),
                "lost": lost,
                "excess": excess,
            }
    recorded(found)


@pytest.mark.parametrize("kind", ["small", "linen", "loads", "portal"])
def test_findings(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(3):
        point = KINDS[kind](30 + seed)
        limits = (Limits(0.02, None), Limits(0.0, 0.3), Limits(1.0, 5e-7))[seed]
        point = replace(point, policy=replace(point.policy, limits=limits))
        strategy = strategies(point, seed, 1)[0]
        one = diagnose(point, strategy)
        found[str(seed)] = {
            "findings": brief(one),
            "against": list(against(one, strategy)),
            "steps": steps_of(point, [*strategy.levels_dbm, 12.25]).to_json(),
        }
    recorded(found, less=BULKY)


def later(point: ReadPoint, seed: int) -> ReadPoint:
    """The survey after something has moved: some tags weaker or stronger, some levels gone."""
    rng, survey = np.random.default_rng([17, seed]), point.survey
    move = (-2.5, 2.0, 0.5, -1.0)[seed % 4]
    by_tag = np.where(rng.random(len(survey.tags)) < 0.4, move, 0.0)
    rssi = np.clip(survey.read_rssi + by_tag[survey.read_tag], -110.0, -1.0)
    survey = replace(survey, read_rssi=rssi)
    kept = rng.random(len(survey.read_tag)) > (0.02, 0.1)[seed % 2]
    if seed % 3 == 0:  # harder to turn on
        kept &= survey.read_level > np.where(by_tag[survey.read_tag] == 0, -1, 2)
    survey = survey.with_reads(kept)
    levels = rng.random(len(survey.levels_dbm)) > 0.1
    levels[:2] = True
    passes = rng.random(len(survey.pass_ids)) > 0.1
    passes[0] = True
    return replace(point, survey=survey.keep(passes=passes, levels=levels))


@pytest.mark.parametrize("kind", ["small", "linen", "loads", "portal"])
def test_drift_between_surveys(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(6 if kind == "small" else 4):
        point = KINDS[kind](40 + seed)
        guard = (Guard(1.0, 2.0), Guard(0.0, 0.0), Guard(0.5, 1.0))[seed % 3]
        before = replace(point, policy=replace(point.policy, guard=guard))
        one = drift_between(before, later(before, seed))
        rows = [
            [row.name, row.turn_on_db, row.rssi_db, row.before, row.now, row.moved]
            for row in [row for row in one.rows if row.kind != "tag"] + list(one.moved[:6])
        ]
        found[str(seed)] = {"tags": one.tags_in_both, "how many": one.how_many, "rows": rows}
    recorded(found)


@pytest.mark.parametrize("kind", ["small", "linen", "loads"])
def test_chosen_again(recorded: Recorded, kind: str) -> None:
    """Choices by lot stand for those made again: what is said of them is what counts."""
    found = {}
    for seed in range(3 if kind == "small" else 2):
        point = complete(KINDS[kind](50 + seed))
        limits = (Limits(), Limits(0.9), Limits(0.05))[seed]
        point = replace(point, policy=replace(point.policy, limits=limits))
        strategy, *others = strategies(point, seed, 14)
        outcome = evaluate(point.survey, point.policy, strategy)
        folds = without_folds(point)
        chosen = [strategy, *others][: len(folds)]
        cross = cross_validate(point, strategy, outcome, chosen)
        types = measured_types(point)
        apart = without_cutoff(point, strategy, types)
        judged = judge_cutoff(point, strategy, types, others[: len(apart)])
        out = leave_out(point)
        unseen = unseen_rates(point.survey, strategy, out, others[: len(out.parts)])
        found[str(seed)] = {
            "folds": [len(one.survey.read_tag) for one in folds],
            "cross": cross and [brief(cross, *BULKY), cross.optimism, cross.chance],
            "next": brief(next_survey(point, strategy, outcome, cross)),
            "next without": brief(next_survey(point, strategy, outcome, None)),
            "types": brief(judged, "strategy_without"),
            "left out": [len(one.survey.read_tag) for one in out.parts],
            "unseen": [brief(unseen), list(unseen.warnings)],
            "thin": list(thin_classes(point.survey)),
        }
    recorded(found)


@pytest.mark.parametrize("kind", ["small", "linen", "loads", "portal"])
def test_reports_discarded(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(3):
        point = KINDS[kind](60 + seed)
        both = []
        for shift, one in zip((0.0, 1.5), strategies(point, seed, 2), strict=True):
            survey = replace(point.survey, read_rssi=point.survey.read_rssi - shift)
            outcome = evaluate(survey, point.policy, one)
            both.append(Reporting(survey, point.policy, one, outcome))
        for threshold in (None, 0.0, 1.5, 3.0, -2.0):
            for facing in (None, 0, 1):
                counts = discarded(both, threshold, facing)
                row = [x for one in counts for x in (one.wanted, one.stray)]
                found[f"{seed} {threshold} {facing}"] = row
    recorded(found)


def test_what_cannot_be_set_and_silence(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    readers = (
        Reader(rssi_step_db=1.0, power_levels_dbm=(14.0, 15.0, 20.5)),
        Reader(rssi_step_db=0.4),
        Reader(rssi_step_db=None),
    )
    for seed in range(3):
        point = portal(seed)
        for number, one in enumerate(strategies(point, seed, 2)):
            for step, reader in enumerate(readers):
                if said := not_settable(reader, one):
                    found[f"{seed} {number} {step}"] = list(said)
    for seed in range(4):
        point = small(70 + seed)
        limits = (Limits(), Limits(0.1), Limits(None, 0.0))[seed % 3]
        policy = replace(point.policy, limits=limits)
        for number, one in enumerate([*strategies(point, seed, 3), Strategy((10.0,), 1, -1.0)]):
            outcome = evaluate(complete(point).survey, policy, one)
            for a_pass in (None, (1.0, 1.0), (1.0, 1.000002)):
                if said := silence_warnings(policy, outcome, a_pass):
                    found[f"silence {seed} {number} {a_pass}"] = list(said)
    recorded(found)
