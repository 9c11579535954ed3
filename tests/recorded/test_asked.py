"""What is answered to each question that can be asked of a read point."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from strategist.answers.accept import accept
from strategist.answers.assessment import Assessment, choose
from strategist.answers.by_antenna import (
    antenna_settings,
    brief_score,
    cutoff_words,
    listening,
    score_words,
)
from strategist.answers.cable import behind_cable
from strategist.answers.changes import changes_between
from strategist.answers.check import check
from strategist.answers.compare import Side, compare
from strategist.answers.contenders import contenders_of
from strategist.answers.frontier import trace_frontier
from strategist.answers.full_assessment import assess_fully
from strategist.answers.headline import setting_words
from strategist.answers.masks import list_masks
from strategist.answers.nearby import Nearby
from strategist.answers.plan import plan_survey
from strategist.answers.run_sheet import Effort, first_levels, plan_first_survey
from strategist.answers.settings import replayed, settings_of
from strategist.answers.solution import Options, solve
from strategist.answers.techniques import compare_techniques
from strategist.answers.what_if import usual_what_ifs, what_if
from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.report.text import result_text
from strategist.survey.case import Case
from strategist.survey.policy import Limits, Loss, Policy, Radio, Reader
from strategist.survey.profile import peaks
from strategist.survey.records import ReadPoint
from strategist.survey.score import Difference, Nth, Peak
from strategist.tags.power_table import PowerTable
from strategist.trust.evaluate import evaluate
from tests.recorded.brief import brief
from tests.recorded.points import (
    expecting,
    gate,
    in_conditions,
    linen,
    loads,
    portal,
    ragged,
    small,
    strategies,
)

Recorded = Callable[..., None]
QUICK = Options(unseen=False)
KNOWN = ("by", "guarded_bound", "sturdier_bound", "least_guarded", "over", "seed", "own_powers")
LESS = ("seconds", "assessed_seconds", "caution", "edition", "assumptions", "boxes", "parts")
JUDGED = ("rates", "margins", "lawful", "exposure", "worst_case", "outcome", "guarded")


def own_powers(seed: int) -> ReadPoint:
    point = portal(seed, 4)
    reader = replace(point.policy.reader, antenna_power="own", mask_slots=0, ladder_steps_max=1)
    return replace(point, policy=replace(point.policy, reader=reader))


def limited(seed: int) -> ReadPoint:
    limits = (Limits(0.05, 0.1), Limits(0.0, 0.0), Limits(0.3), Limits(None, 0.25))[seed % 4]
    point = small(seed) if seed % 2 else loads(seed, 16)
    return replace(point, policy=replace(point.policy, limits=limits))


def conditioned(seed: int) -> ReadPoint:
    return in_conditions(small(4 * seed + 200) if seed % 2 else loads(seed, 10), seed)


POINTS: dict[str, Callable[[int], ReadPoint]] = {
    "small": lambda seed: small(80 + seed),
    "linen": linen,
    "loads": loads,
    "portal": portal,
    "gate": gate,
    "foreseen": lambda seed: ragged(seed, "predict"),
    "own": own_powers,
    "limited": limited,
    "expected": lambda seed: expecting(loads(seed, 12)),
    "conditions": conditioned,
}


def of(found: Assessment) -> dict[str, Any]:
    """An answer without what it took."""
    told = found.to_json()
    told["proof"] = {name: told["proof"].get(name) for name in KNOWN}
    return told


def refusal(ask: Callable[[], Any]) -> Any:
    try:
        return ask()
    except InputError as error:
        return str(error)


@pytest.mark.parametrize("kind", POINTS)
@pytest.mark.parametrize("seed", range(2))
def test_answer(recorded: Recorded, kind: str, seed: int) -> None:
    found = choose(POINTS[kind](seed))
    recorded(brief(of(found), *LESS, *JUDGED, "predicted", "findings", "headline", "weights"))


@pytest.mark.parametrize("kind", ["small", "limited"])
def test_answers_of_many(recorded: Recorded, kind: str) -> None:
    """The headlines, warnings and figures of many small read points."""
    rows = {}
    for seed in range(300, 312):
        found = choose(POINTS[kind](seed), QUICK)
        head = found.headline
        rows[str(seed)] = [
            *(found.status, found.loss, found.bound, found.gap, found.silence_loss),
            found.standing.guarded.loss,
            *(head.verdict, head.expect, head.robustness, head.next_step, *found.warnings),
            found.sturdier.gains if found.sturdier else None,
            found.sturdier.gives_up if found.sturdier else None,
        ]
    recorded(rows)


@pytest.mark.parametrize("seed", [85, 87, 113])
def test_sturdier_over_copies(recorded: Recorded, seed: int) -> None:
    point = expecting(small(seed))
    found = choose(point, QUICK)
    assert found.sturdier is not None and found.sturdier.over is not None
    text = result_text(replace(found, seconds=0.0), point.policy, detail=True)
    lines = [line for line in text.splitlines() if line.strip()]
    recorded({"sturdier": brief(found.sturdier, *JUDGED), "text": lines})


@pytest.mark.parametrize("kind", ["small", "loads", "foreseen", "expected", "limited"])
def test_trade_offs(recorded: Recorded, kind: str) -> None:
    point = POINTS[kind](2)
    found = trace_frontier(point, QUICK)
    more = trace_frontier(point, QUICK, {"loss.missed": 3.0}, added_cable_loss_db=-1.0)
    told = {"as it is": found, "otherwise": more if kind == "loads" else None}
    less = (*LESS, "mask_words", "proof", "limits", "weights")
    recorded({name: brief(one, *less) for name, one in told.items()})


@pytest.mark.parametrize("kind", ["small", "loads", "portal", "expected", "limited"])
def test_techniques(recorded: Recorded, kind: str) -> None:
    found = compare_techniques(POINTS[kind](1), QUICK)
    rows = {
        one.name: [
            *(one.group, " ".join(one.allow), one.masks_max, one.status, one.missed, one.stray),
            *(one.loss, one.bound, one.gap, one.extra_loss, one.extra_a_pass, one.guarded_loss),
            setting_words(one.strategy),
        ]
        for one in found.variants
    }
    told = brief(found, *LESS, "variants", "outcome", "guarded", "strategy")
    recorded({"variants": rows, "told": told})


@pytest.mark.parametrize("kind", ["small", "loads", "expected", "limited"])
def test_what_ifs(recorded: Recorded, kind: str) -> None:
    found = usual_what_ifs(POINTS[kind](3), QUICK)
    rows: dict[str, Any] = {}
    for one in found.questions:
        told = None if one.answer is None else one.answer.to_json()
        if told is not None:
            told.pop("after")
            told.pop("settings")
        rows[one.question] = [one.refused, brief(told)]
    recorded(rows)


def test_what_if_in_words(recorded: Recorded) -> None:
    point, found = loads(4, 10), {}
    for number, (sets, cable) in enumerate(
        [
            ({"reader.mask_slots": 0}, 0.0),
            ({"loss": {"missed": 1, "stray": 9}}, 0.0),
            ({"allow": ["power"]}, 0.0),
            ({}, 1.0),
            ({}, -60.5),
            ({}, 25.0),
            ({"mask_slots": 1}, 0.0),
            ({"unlisted": "ignore"}, 0.0),
            ({"stop_after.x": 1}, 0.0),
            ({"levels_dbm": [14.0, 99.0]}, 0.0),
            ({"levels_dbm": [1.0, 2.0]}, 0.0),
            ({"stop_after": point.policy.stop_after}, 0.0),
            ({"levels_dbm": point.survey.levels_dbm[1:4].tolist()}, 0.0),
            ({"levels_dbm": point.survey.levels_dbm.tolist()}, 0.0),
        ]
    ):

        def ask(sets: dict[str, Any] = sets, cable: float = cable) -> Any:
            one = what_if(point, sets, added_cable_loss_db=cable, options=QUICK)
            told = one.to_json() | {"before": None}
            told["after"] = [one.after.loss, one.after.searched["levels"]]
            return brief(told)

        found[str(number)] = refusal(ask)
    recorded(found)


def test_behind_another_cable(recorded: Recorded) -> None:
    found = {}
    for seed in range(2):
        point = gate(seed)
        levels = tuple(point.survey.levels_dbm.tolist())
        named = replace(point, policy=replace(point.policy, levels_dbm=levels))
        for db in (1.0, -1.0, 2.5, 10.0, 11.0, 60.0, 61.0, -61.0, -20.0, -21.0):

            def ask(named: ReadPoint = named, db: float = db) -> Any:
                other, said = behind_cable(named, db)
                radio, levels = other.policy.radio, other.survey.levels_dbm
                rssi = other.survey.read_rssi
                figures = [radio.cable_loss_db, len(levels), levels[0], levels[-1]]
                figures += [rssi.max(), rssi.mean(), len(other.policy.levels_dbm or ())]
                return [*map(float, figures), *said]

            found[f"{seed} {db}"] = refusal(ask)
    long = gate(0, radio=Radio("etsi-865-868", antenna_gain_dbi=8.5, cable_loss_db=29.5))
    for db in (0.25, 0.5, 0.75, 1.5):
        found[f"long {db}"] = behind_cable(long, db)[0].policy.radio.cable_loss_db
    recorded(found)


@pytest.mark.parametrize("kind", ["portal", "expected"])
def test_compared(recorded: Recorded, kind: str) -> None:
    point, found = POINTS[kind](5), {}
    whole = complete(point)
    given = strategies(point, 5, 4)
    sides = [
        Side("first", given[0]),
        Side("second", given[1], weights=Loss(1.0, 4.0), status="optimal", warnings=("said",)),
        Side("third", given[2]),
        Side("fourth", given[3], weights=point.policy.loss),
        Side("again", given[0]),
    ]
    for name, some in (("all", sides), ("two", sides[1:3]), ("same", [sides[0], sides[4]])):
        one = compare(point, some)
        found[f"best of {name}"] = [*one.least_loss, *(one.sturdier or {}).values()]
        if name != "all":
            continue
        told = one.to_json()
        told["passes"] = [
            f"{p.pass_id} " + " ".join(f"{len(s.missed)}/{len(s.stray)}/{s.steps}" for s in p.sides)
            for p in one.passes
        ]
        found[name] = brief(told, *LESS, *JUDGED, "strategy", "lawful", "mask_words")
    other = Strategy((float(whole.survey.levels_dbm[0]),), 3, None, ())
    for number, one_side in enumerate(given[:3]):
        for way, pair in (("to", (one_side, other)), ("from", (other, one_side))):
            changes = changes_between(*pair, lambda s: evaluate(whole.survey, whole.policy, s).loss)
            found[f"{number} {way}"] = brief(changes)
    recorded(found)


def test_words_of_settings(recorded: Recorded) -> None:
    found = {}
    for seed in range(8):
        for number, one in enumerate(strategies(portal(seed), seed, 3)):
            rows = [f"{label}: {text}" for label, text in [*antenna_settings(one), *listening(one)]]
            words = [cutoff_words(one), brief_score(one), score_words(one), setting_words(one)]
            found[f"{seed} {number}"] = [*rows, *words]
    for score, cutoff in itertools.product(
        [
            Peak(),
            Peak(antennas=(2,)),
            Peak(antennas=(1, 2), trim_db=((2, -1.5),)),
            Peak(antennas=(1, 2), offset_db=((1, 2.0),)),
            Peak(trim_db=((1, -1.0),)),
            Peak(offset_db=((3, -1.0),)),
            Nth("nth", 1),
            Nth("nth", 3, (1, 2, 4)),
            Difference("difference", (1,), (2, 3), -80.0),
            Difference("difference", (1, 4), (2,)),
        ],
        [None, -2.25],
    ):
        apart = isinstance(score, Difference)
        levels, held = (20.0, 23.5), None if apart else cutoff
        one = Strategy(levels, 2, held, (), score, cutoff if apart else None, 0.5)
        rows = [f"{label}: {text}" for label, text in [*antenna_settings(one), *listening(one)]]
        words = [cutoff_words(one), brief_score(one), score_words(one), setting_words(one)]
        found[f"{score} {cutoff}"] = [*rows, *words]
    recorded(found)


def test_turns_of_antennas_in_llrp(recorded: Recorded) -> None:
    """Antennas take turns where there are several; the reader's own bytes are told, too."""
    found = {}
    for seed, antennas in itertools.product((0, 2), ((1,), (1, 2))):
        point = portal(seed)
        survey = point.survey.with_reads(np.isin(point.survey.read_antenna, antennas))
        survey = replace(survey, antennas=antennas)
        time = replace(point.policy.time, in_turn=seed == 2)
        here = replace(point, survey=survey, policy=replace(point.policy, time=time))
        for score in (None, Peak(antennas=antennas)):
            level = float(survey.levels_dbm[-1])
            one = Strategy((level,), 1, -60.0, (), score, None, 0.3 if seed else None)
            made = settings_of(here, one, "llrp", table(here)).to_json()
            step = made["steps"][0]["bytes"]
            coded = [f"{name} {step[name]}" for name in step]
            found[f"{seed} {antennas} {score}"] = [*made["host_work"], *coded]
    recorded(found)


@pytest.mark.parametrize("kind", ["small", "linen"])
def test_masks_and_checks(recorded: Recorded, kind: str) -> None:
    found: dict[str, Any] = {}
    for seed in range(2 if kind == "small" else 1):
        point = POINTS[kind](6 + seed)
        allow = point.policy.allow if seed else ("power", "cutoff")
        point = replace(point, policy=replace(point.policy, allow=allow))
        found[f"masks {seed}"] = brief(list_masks(point))
        found[f"check {seed}"] = brief(check(Case("site", (point,))))
    for number, untried in enumerate(("refuse", "leave_out_level", "leave_out_pass", "predict")):
        point = ragged(number, untried)
        one = check(Case("site", (point,))).read_points[0]
        found[untried] = [one.refusal, one.weak, one.untried, *one.warnings]
    recorded(found)


def table(at: ReadPoint, step: float = 1.0) -> PowerTable:
    levels = at.survey.levels_dbm
    dbm = np.arange(levels[0] - 3 * step, levels[-1] + 3 * step, step / 2)
    return PowerTable(tuple((n + 1, float(x)) for n, x in enumerate(dbm)))


@pytest.mark.parametrize("kind", ["small", "linen", "gate", "portal", "own"])
def test_settings(recorded: Recorded, kind: str) -> None:
    found = {}
    for seed in range(1 if kind in ("linen", "gate") else 2):
        point = POINTS[kind](seed)
        for number, one in enumerate([*strategies(point, seed, 2), solve(point, QUICK).strategy]):
            for form in ("gen2", "llrp"):

                def ask(one: Strategy = one, form: Any = form, point: ReadPoint = point) -> Any:
                    made = settings_of(point, one, form, table(point))
                    rows = [f"{x.power_dbm:g} {x.lawful} {x.known}" for x in made.levels]
                    again = setting_words(made.replay.strategy)
                    return [*rows, made.replay.sentence, again, *made.warnings]

                found[f"{seed} {number} {form}"] = refusal(ask)
        meant, written = strategies(point, seed, 2)
        one_again = replayed(point, meant, written)
        found[f"{seed} replayed"] = [one_again.sentence, one_again.same, *one_again.warnings]
    recorded(found)


def later(point: ReadPoint) -> ReadPoint:
    """The read point once more, where each second tag is heard weaker."""
    survey = point.survey
    rssi = survey.read_rssi - 4.0 * (survey.read_tag % 2)
    return replace(point, survey=replace(survey, read_rssi=rssi))


def test_runs_of_acceptance(recorded: Recorded) -> None:
    found = {}
    for seed in range(6):
        before = loads(seed, 14)
        now = later(loads(seed, 20 + 10 * (seed % 3)))
        if seed % 2:
            before, now = linen(seed), linen(seed + 4, 20)
        before = expecting(before) if seed in (0, 3) else before
        one = strategies(before, seed, 1)[0]
        run = accept(now, one, (0.05, 0.5, 0.999)[seed % 3], 0.9, before if seed < 5 else None)
        told = brief(run, *LESS, "rates", "strategy")
        if run.drift is not None:
            told["drift"] = run.drift.how_many
        found[str(seed)] = [told, run.accepted]
    recorded(found)


@pytest.mark.parametrize("kind", ["small", "loads", "expected", "conditions"])
def test_full_assessment(recorded: Recorded, kind: str) -> None:
    found = assess_fully(POINTS[kind](4))
    told = brief(of(found), *LESS, *JUDGED, "strategy", "headline", "conditions")
    recorded({name: told[name] for name in told if name not in ("findings", "searched", "on_air")})


def test_full_assessment_as_asked(recorded: Recorded) -> None:
    """With masks and without, with tags left out and not, whole and without time."""
    found: dict[str, Any] = {}
    few, limit = loads(3, 9), Options(total_limit_s=0.0)
    plain = loads(2, 10)
    plain = replace(plain, policy=replace(plain.policy, allow=("power", "ladder", "cutoff")))
    for name, point in (("masks", linen(2, 10)), ("no masks", plain), ("few", few)):
        for options in (Options(), QUICK, limit):
            one = assess_fully(point, options)
            cross = one.cross_validation
            if options is limit:
                said = [text for text in one.warnings if "time limit" in text]
                found[f"{name} no time"] = [cross is None, one.unseen is None, *said]
                continue
            row = [len(one.strategy.masks), one.unseen is None, *one.warnings]
            found[f"{name} {options.unseen}"] = [*row, None if cross is None else cross.folds]
    recorded(found)


def seen_in_part(point: ReadPoint, seed: int, share: float = 0.0) -> ReadPoint:
    """After the first look, and some more of it."""
    levels = point.survey.levels_dbm
    first = first_levels(levels, np.ones(len(levels), bool))
    more = np.random.default_rng(seed).random(point.survey.tried.shape) < share
    tried = np.tile(first, (len(point.survey.pass_ids), 1)) | more
    survey = point.survey.with_reads(tried[point.survey.read_pass, point.survey.read_level])
    return replace(point, survey=replace(survey, tried=tried))


@pytest.mark.parametrize("case", ["survey", "expected", "limits", "whole", "begun"])
def test_plan(recorded: Recorded, case: str) -> None:
    point = loads(6, 6)
    if case == "expected":
        point = expecting(loads(7, 6))
    if case == "limits":
        limits = Limits(0.2, 0.6)
        point = replace(loads(8, 6), policy=replace(point.policy, limits=limits))
    if case in ("survey", "expected", "limits"):
        point = seen_in_part(point, 1, 0.2)
    if case == "begun":
        point = seen_in_part(point, 1)
        tried = point.survey.tried.copy()
        tried[2:5] = False
        survey = point.survey.with_reads(tried[point.survey.read_pass, point.survey.read_level])
        point = replace(point, survey=replace(survey, tried=tried))
    within = 12.0 if case == "expected" else None
    plan = plan_survey(point, QUICK, within=within, effort=Effort(2.0, 7.0))
    found = {"plan": brief(plan)}
    if case == "limits":
        one = contenders_of(point, QUICK)
        assert one is not None
        found["contenders"] = {
            "strategies": [setting_words(each) for each in one.strategies],
            "missed": one.missed.mean(axis=(1, 2)),
            "stray": one.stray.mean(axis=(1, 2)),
            "excess": one.excess.sum(axis=1),
            "regret": one.regret,
            "hand": one.hand,
            "best": list(one.best),
            "limits": [one.limits, one.beyond, one.high],
            "doubt": one.doubt(one.others())[0].sum(axis=1),
            "told": one.doubt(one.others())[1].sum(axis=(0, 1)),
        }
    recorded(found)


def test_first_levels(recorded: Recorded) -> None:
    """At most 7 dB apart, both ends among them; of one level, that one."""
    found = {"effort": brief(Effort()), "minutes": Effort().minutes_a_level}
    for span, step in itertools.product(
        (0.0, 0.5, 7.0, 7.5, 8.0, 14.0, 14.5, 16.0, 21.0), (0.5, 3.5)
    ):
        levels = np.arange(10.0, 10.0 + span + 1e-9, step)
        for may in (np.ones(len(levels), bool), np.arange(len(levels)) < max(1, len(levels) - 2)):
            key = f"{span} {step} {int(may.sum())}"
            found[key] = levels[first_levels(levels, may)].tolist()
    recorded(found)


def test_first_plans(recorded: Recorded) -> None:
    found = {}
    levels = tuple(np.arange(12.0, 31.0, 0.5).tolist())
    for number, (policy, rate) in enumerate(
        [
            (Policy(levels_dbm=levels), None),
            (Policy(levels_dbm=levels[:1]), 0.3),
            (Policy(levels_dbm=levels, limits=Limits(0.1)), None),
            (Policy(levels_dbm=levels, limits=Limits(0.1)), 0.2),
            (Policy(levels_dbm=levels, limits=Limits(0.0)), None),
            (Policy(levels_dbm=levels, limits=Limits(1.0)), None),
            (Policy(levels_dbm=levels, limits=Limits(0.0014)), None),
            (Policy(levels_dbm=levels, limits=Limits(0.0015)), None),
            (Policy(levels_dbm=levels, reader=Reader(power_levels_dbm=(14.0, 20.5, 25.0))), 0.5),
            (Policy(levels_dbm=levels, radio=Radio("etsi-865-868", antenna_gain_dbi=12.0)), 0.5),
        ]
    ):

        def ask(policy: Policy = policy, rate: float | None = rate) -> Any:
            plan = plan_first_survey(policy, "bay", miss_rate_max=rate)
            row = plan.run_sheet[-1]
            sheet = [len(plan.run_sheet), row.pass_id, *row.levels_dbm, row.minutes, row.settles]
            return [plan.stage, plan.measured, plan.pairs, plan.within, plan.minutes, *sheet]

        found[str(number)] = refusal(ask)
    recorded(found)


def test_walks_to_strategies_nearby(recorded: Recorded) -> None:
    found = {}
    for seed in range(6):
        point = loads(20 + seed, 8)
        reader = replace(point.policy.reader, rssi_step_db=(0.5, 1.0, None)[seed % 3])
        limits = (Limits(), Limits(0.2, 0.4))[seed % 2]
        policy = replace(point.policy, reader=reader, limits=limits)
        may = np.ones(len(point.survey.levels_dbm), bool)
        may[1] = seed < 3
        near = Nearby(point.survey, policy, may)
        at = peaks(point.survey)
        heard = np.array([at, at - 1.5, at + 1.0, at - 0.5])
        start = replace(
            strategies(point, seed, 1)[0], cutoff_dbm=(-60.0, None, -119.5, -0.5)[seed % 4]
        )
        levels = [x for x in start.levels_dbm if may[list(point.survey.levels_dbm).index(x)]]
        start = replace(start, levels_dbm=tuple(levels) or (float(point.survey.levels_dbm[0]),))
        end = near.walk(start, heard, 2)
        found[str(seed)] = [
            setting_words(start),
            *near.value(start, heard, 2),
            setting_words(end),
            *near.value(end, heard, 2),
            *near.value(end, heard, 4),
            sum(1 for _ in near._neighbours(start)),
            *(setting_words(one) for one in list(near._neighbours(start))[:40:3]),
        ]
    recorded(found)
