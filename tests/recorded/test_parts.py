"""Scores of antennas: what they hear, what is chosen over all of them, and what is found."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pydantic
import pytest

import strategist
from strategist.errors import InputError
from strategist.optimise.clock import Clock
from strategist.optimise.frontier import sweep
from strategist.optimise.installable import installable
from strategist.optimise.outer import Found, choose_score, is_rival, least_guarded, likely, rival_in
from strategist.optimise.problem import pose
from strategist.optimise.progress import Reached, watched_by
from strategist.optimise.scores import Parts, dwells_of, over, parts_of, scores_of
from strategist.optimise.strategy import Strategy
from strategist.optimise.sturdy import sturdiest
from strategist.optimise.tuning import DEFAULT
from strategist.radio.dwell import turns_of
from strategist.survey.antennas import antenna_findings
from strategist.survey.copies import Sample
from strategist.survey.policy import (
    TECHNIQUES,
    Dwell,
    Limits,
    Policy,
    RadiatedLimit,
    Radio,
    Reader,
)
from strategist.survey.records import Predicted, ReadPoint, Survey
from strategist.survey.score import Difference, Nth, Peak, floor_of, in_time, scored
from strategist.trust.scores import (
    as_heard,
    guard_times,
    reads_alone,
    refuse_unheard,
    scores_at,
    tried_with,
)
from tests.optimise.counted import counted_clock
from tests.optimise.made import BY_BOUNDS, random_read_point, survey_of
from tests.optimise.portals import CORRIDOR, CRIB_DOOR, FACING_WALLS, TWO_LANES, Antenna, made
from tests.recorded.told import answer_told
from tests.second_reading.drawn import case_with_antennas

Recorded = Callable[..., None]
SCORES: list[Any] = [
    None,
    Peak(),
    Peak(antennas=(1,)),
    Peak(antennas=(1, 2), trim_db=((1, -1.0),), offset_db=((2, 2.5),)),
    Peak(antennas=(2,), trim_db=((2, 1.0),)),
    Nth("nth", 2),
    Nth("nth", 3, (1, 2)),
    Difference("difference", (1,), (2,)),
    Difference("difference", (2,), (1,), floor_dbm=-66.0),
]


def drawn(seed: int) -> ReadPoint:
    """Of two or three antennas; untried pairs are left out with their level."""
    document = json.dumps(case_with_antennas(seed)).encode()
    (point,) = strategist.read_case_document(document).read_points
    return replace(point, policy=replace(point.policy, untried="leave_out_level"))


def whole(seed: int) -> ReadPoint | None:
    """Without the levels that were not tried in each pass; None: none is left."""
    point = drawn(seed)
    tried = point.survey.tried.all(axis=0)
    if not tried.any():
        return None
    return replace(point, survey=point.survey.keep(levels=tried))


WHOLE = [seed for seed in range(60) if whole(seed) is not None]


def at(seed: int) -> ReadPoint:
    point = whole(seed)
    assert point is not None
    return point


def score_told(score: Any) -> str:
    """As `nth 2 [1, 2]`."""
    if score is None:
        return "all"
    return " ".join(str(value) for value in score.to_json().values())


def reads_told(survey: Survey) -> list[str]:
    columns = survey.read_pass, survey.read_level, survey.read_tag, survey.read_rssi
    return [" ".join(f"{x:g}" for x in row) for row in zip(*columns, strict=True)]


@pytest.mark.parametrize("seed", WHOLE[:6])
def test_scored(seed: int, recorded: Recorded) -> None:
    """The reads of each score, within the time of a step or all of them."""
    point, told = at(seed), {}
    survey, policy = point.survey, point.policy
    step_s = None if seed % 3 == 0 else (0.3, 0.5)[seed % 2]
    for score in SCORES:
        found = scored(survey, policy, score, step_s)
        if found is None:
            told[score_told(score)] = None
            continue
        told[score_told(score)] = [
            [*found.survey.levels_dbm, found.policy.guard.rssi_db],
            reads_told(found.survey)[:8],
            score_told(found.score),
            turns_of(survey, replace(policy.time, in_turn=True), score),
        ]
    told["turns"] = turns_of(survey, policy.time, Peak(antennas=(1,)))
    told["in time"] = [len(in_time(survey, s).read_tag) for s in (None, 0.0, 0.1, 0.3, 0.7, 2.0)]
    told["floor"] = [floor_of(survey, one) for one in SCORES[-2:]]
    recorded(told)


@pytest.mark.parametrize("seed", range(3))
def test_scored_of_predicted(seed: int, recorded: Recorded) -> None:
    """Pairs that were not tried, and pairs that were predicted."""
    point, rng = at(WHOLE[seed]), np.random.default_rng(seed)
    survey = point.survey
    pairs = rng.random(survey.tried.shape) < 0.4
    tried = rng.random(survey.tried.shape) < 0.8
    predicted = replace(survey, predicted=Predicted(pairs, 1.2, 0.75, None))
    fewer = survey.with_reads(tried[survey.read_pass, survey.read_level])
    told: dict[str, Any] = {}
    for name, one in (
        ("predicted", predicted),
        ("untried", replace(fewer, tried=tried)),
        ("both", replace(fewer, tried=tried, predicted=Predicted(pairs & tried, 1.2, 0.75, None))),
    ):
        for score in SCORES[2:]:
            found = scored(one, point.policy, score, None)
            if found is not None:
                off = found.survey.predicted
                told[f"{name} {score_told(score)}"] = [
                    ["".join(map(str, row.astype(int).tolist())) for row in found.survey.tried],
                    None if off is None else [*off.pairs.astype(int).reshape(-1)],
                    None if off is None else [off.turn_on_db, off.rssi_db],
                    len(found.survey.read_tag),
                ]
            if isinstance(score, Peak):
                strategy = Strategy((10.0,), score=score)
                told[f"{name} {score_told(score)} tried"] = [
                    "".join(map(str, one.astype(int).reshape(-1).tolist()))
                    for one in tried_with(one, strategy)
                ]
    recorded(told)


@pytest.mark.parametrize("seed", WHOLE[:24:6])
def test_scores_replayed(seed: int, recorded: Recorded) -> None:
    """From the raw reads, and what of a score a survey does not tell."""
    point, told = at(seed), {}
    survey, policy = point.survey, point.policy
    wrong = [
        Peak(antennas=(1, 9)),
        Peak(antennas=(1, 2, 7), trim_db=((7, 1.0),), offset_db=((2, 1.0),)),
        Difference("difference", (8,), (1,)),
        Difference("difference", (1,), (2, 9)),
        Nth("nth", 2, (9,)),
    ]
    summed = replace(survey, read_count=np.full(len(survey.read_tag), 2))
    level = float(survey.levels_dbm[-1])
    for score in (*SCORES, *wrong):
        strategy = Strategy((level,), score=score, step_s=0.3 if seed % 2 else None)
        name = score_told(score)
        told[f"{name} times"] = [guard_times(strategy), reads_alone(survey, strategy)]
        try:
            refuse_unheard(survey, strategy)
            refuse_unheard(summed, strategy)
        except InputError as error:
            told[f"{name} refused"] = str(error)
            if score in wrong:
                continue
        step = len(survey.levels_dbm) - 1
        if not (isinstance(score, Peak) and score.trim_db):
            found = scores_at(survey, policy, strategy, step)
            told[name] = [f"{p} {t} {x:g}" for (p, t), x in sorted(found.items())][:8]
            heard, own, after = as_heard(survey, policy, strategy)
            told[f"{name} heard"] = [
                len(heard.read_tag),
                own.guard.rssi_db,
                str(after.score is None),
            ]
    recorded(told)


def test_scores_as_json(recorded: Recorded) -> None:
    """What is told of them, and what is said of faults."""
    told: dict[str, Any] = {str(n): one.to_json() for n, one in enumerate(SCORES) if one}
    told["on"] = [[] if one is None else list(one.on or ()) for one in SCORES]
    faults: dict[str, dict[str, Any]] = {
        "twice": {"kind": "peak", "antennas": [2, 2]},
        "unsorted": {"kind": "peak", "antennas": [2, 1]},
        "none": {"kind": "peak", "antennas": []},
        "trim of one that is off": {"kind": "peak", "antennas": [1], "trim_db": {"2": 1}},
        "offset of one that is off": {"kind": "peak", "antennas": [1], "offset_db": {"2": 1}},
        "trim alone": {"kind": "peak", "trim_db": {"2": 1}},
        "far trim": {"kind": "peak", "trim_db": {"2": 61}},
        "farthest trim": {"kind": "peak", "trim_db": {"2": -60}},
        "no read": {"kind": "nth", "n": 0},
        "reads": {"kind": "nth", "n": 1000},
        "many reads": {"kind": "nth", "n": 1001},
        "whole": {"kind": "nth", "n": 2.0},
        "both sides": {"kind": "difference", "antennas": [1, 2], "against": [2]},
        "no side": {"kind": "difference", "antennas": [1]},
        "low floor": {"kind": "difference", "antennas": [1], "against": [2], "floor_dbm": -121},
        "lower": {"kind": "difference", "antennas": [1], "against": [2], "floor_dbm": -121.5},
        "high": {"kind": "difference", "antennas": [1], "against": [2], "floor_dbm": 0.5},
        "unknown": {"kind": "mean"},
    }
    for name, score in faults.items():
        try:
            strategy = strategist.parse_strategy_file(
                json.dumps({"levels_dbm": [10], "score": score}).encode(), "x.json"
            ).strategy
            told[name] = str(strategy.to_json()["score"])
        except (strategist.StrategistError, pydantic.ValidationError) as error:
            told[name] = str(error)
    recorded(told)


@pytest.mark.parametrize("seed", WHOLE[:36:5])
def test_parts(seed: int, recorded: Recorded) -> None:
    """Scores and dwells in their order of work, those that hear the same left out; the best."""
    point = at(seed)
    survey, policy = point.survey, point.policy
    told: dict[str, Any] = {
        "scores": [score_told(one) for one in scores_of(survey, policy)],
        "dwells": dwells_of(survey, policy),
    }
    try:
        parts = parts_of(survey, policy, BY_BOUNDS if seed % 2 else DEFAULT)
    except InputError as error:
        told["parts"] = str(error)
        recorded(told)
        return
    told["searched"] = parts.searched()
    told["parts"] = [
        f"{one.index} {one.work} {score_told(one.problem.score)} {one.problem.step_s}"
        f" {one.problem.steps_by_masks} {len(one.problem.thresholds)}"
        f" {one.problem.policy.guard.rssi_db} {one.problem.profile.levels_dbm.tolist()}"
        for one in parts.parts
    ]
    told["likely"] = [[*likely(one.problem).key] for one in parts.parts[:6]]
    chosen = choose_score(parts, Clock())
    told["chosen"] = [chosen.found.part.index, answer_told(chosen.found.answer)]
    told["at root"] = chosen.at_root > 0
    if len(parts.parts) > 1:
        rivals = [rival_in(one, chosen.found) for one in parts.parts[:5]]
        told["rivals"] = [
            [is_rival(rival, one), *rival.key]
            for rival, one in zip(rivals, parts.parts, strict=False)
        ]
    told["least guarded"] = least_guarded(parts, Clock())
    found = chosen.found
    if not found.answer.key[0] and found.answer.key[:2] < found.part.problem.silence:
        for allowance in (None, 3.0):
            one = sturdiest(parts, found, Clock(), allowance)
            told[f"sturdier {allowance}"] = [
                one.bound,
                None if one.found is None else one.found.part.index,
                answer_told(one.found.answer if one.found else None),
            ]
    recorded(told)


@pytest.mark.parametrize("seed", WHOLE[1:40:6])
def test_parts_known_and_stopped(seed: int, recorded: Recorded) -> None:
    point, told = at(seed), {}
    parts = parts_of(point.survey, point.policy)
    last = parts.parts[-1]
    known = Found(last, likely(last.problem))
    for name, clock, given in (
        ("known", Clock(), known),
        ("at once", counted_clock(0), None),
        ("known at once", counted_clock(0), known),
        *((f"after {looks}", counted_clock(looks), None) for looks in (12, 60, 300)),
    ):
        chosen = choose_score(parts, clock, given)
        told[name] = [chosen.found.part.index, answer_told(chosen.found.answer)]
    seen: list[Reached] = []
    with watched_by(seen.append):
        choose_score(parts, Clock())
    told["stages"] = list(dict.fromkeys(one.stage for one in seen))[:3]
    told["last"] = [seen[-1].loss] if seen else []
    told["guarded at once"] = least_guarded(parts, counted_clock(0))
    swept = sweep(parts, Clock())
    told["frontier"] = [[*point, part.index] for point, part in swept.parts.items()]
    told["took"] = [f"{n} {name}" for name, n in swept.effort]
    for looks in (20, 100):
        swept_so_far = sweep(parts, counted_clock(looks))
        told[f"frontier after {looks}"] = [str(swept_so_far.open), *swept_so_far.staircase.points]
    told["open"] = swept.open
    told["bounds"] = [[*swept.stray_bounds.values()], [*swept.missed_bounds.values()]]
    times = 1 + np.arange(len(point.survey.pass_ids)) % 3
    copies = over(parts, Sample(point.survey, times))
    told["over"] = [[*search_key(copies, n)] for n in range(min(3, len(copies.parts)))]
    recorded(told)


def search_key(parts: Parts, number: int) -> tuple[float, ...]:
    part = parts.parts[number]
    return choose_score(Parts((part,), 1, 0), Clock()).found.answer.key


@pytest.mark.parametrize("limit", [None, 0.1])
@pytest.mark.parametrize("seed", range(3))
def test_portals(seed: int, limit: float | None, recorded: Recorded) -> None:
    """Made portals of few passes, with turns and dwells that not all antennas fit into."""
    portal = replace((FACING_WALLS, CORRIDOR, TWO_LANES)[seed], passes=5, levels=4)
    point = made(portal, seed)
    policy = replace(point.policy, limits=Limits(missed_rate_max=limit))
    told: dict[str, Any] = {}
    for name, time in {
        "no time": Dwell(),
        "in turn": Dwell(dwell_s=1.0, step_s=0.3, in_turn=True),
        "dwells": Dwell(dwell_s=2.0, step_s=(0.3, 0.9)),
    }.items():
        parts = parts_of(point.survey, replace(policy, time=time))
        chosen = choose_score(parts, Clock())
        answer = chosen.found.answer
        told[name] = [
            parts.searched(),
            score_told(chosen.found.part.problem.score),
            chosen.found.part.problem.step_s,
            answer_told(answer),
        ]
    recorded(told)


def test_installable(recorded: Recorded) -> None:
    """Strategies by antennas where these may be chosen, or not, take turns, or are limited."""
    point = made(replace(CORRIDOR, passes=2, levels=3), 0)
    survey = point.survey
    limit = RadiatedLimit(36.0, "eirp", 865.0, 868.0)
    told = {}
    base = replace(point.policy, allow=TECHNIQUES, reader=Reader(3, mask_slots=0))
    for name, policy in {
        "antennas": base,
        "no antennas": replace(base, allow=("power", "ladder", "cutoff")),
        "turns": replace(base, time=Dwell(dwell_s=1.0, step_s=0.25, in_turn=True)),
        "short turns": replace(base, time=Dwell(dwell_s=0.99, step_s=0.25, in_turn=True)),
        "steps": replace(base, time=Dwell(dwell_s=1.0, step_s=(0.25, 0.5))),
        "limit": replace(base, radio=Radio(limit=limit, antenna_gain_dbi=6.0)),
        "low limit": replace(base, radio=Radio(limit=limit, antenna_gain_dbi=7.0)),
        "lowest limit": replace(base, radio=Radio(limit=limit, antenna_gain_dbi=20.0)),
    }.items():
        levels = survey.levels_dbm.tolist()
        tries = [
            Strategy(tuple(levels[:steps]), 1, None, (), score, step_s=step_s)
            for score in (None, Peak(antennas=(1,)), Peak(antennas=(1, 9)), Nth("nth", 2))
            for steps in (1, 2, 3)
            for step_s in (None, 0.5)
        ]
        tries += [
            Strategy((levels[-1],), 1, None, (), Difference("difference", (1,), (2,)), cutoff_db=db)
            for db in (None, 0.5)
        ]
        told[name] = "".join("+" if installable(one, policy, survey) else "-" for one in tries)
    recorded(told)


@pytest.mark.parametrize("seed", range(3))
def test_likely(seed: int, recorded: Recorded) -> None:
    """The best single level without masks, under limits and where the level is fixed."""
    told = {}
    for n in range(8):
        point = random_read_point(10 * seed + n)
        for limits in (Limits(), Limits(missed_rate_max=0.2, stray_rate_max=0.1)):
            policy = replace(point.policy, limits=limits)
            found = likely(pose(point.survey, policy))
            told[f"{n} {limits.missed_rate_max}"] = [*found.key, found.cutoff]
    recorded(told)


def test_findings(recorded: Recorded) -> None:
    """Of portals as made; with an antenna left out, turned, repeated, timed, on other channels."""
    told: dict[str, Any] = {}
    rng = np.random.default_rng(0)
    turned = replace(FACING_WALLS, antennas=(Antenna(0, 0, 0), Antenna(6.0, 0.0, 180.0)))
    surveys = {
        name: made(replace(portal, passes=10), 0).survey
        for name, portal in {
            "walls": FACING_WALLS,
            "corridor": CORRIDOR,
            "lanes": TWO_LANES,
            "door": CRIB_DOOR,
            "turned": turned,
        }.items()
    }
    door = surveys["door"]
    assert door.read_antenna is not None and door.read_t_s is not None
    count = len(door.read_tag)
    surveys["three"] = replace(door, antennas=(1, 2, 3))
    surveys["no times"] = replace(door, read_t_s=None)
    surveys["dwell"] = replace(door, read_t_s=None, dwell_s=np.full(door.tried.shape, 1.5))
    surveys["short dwell"] = replace(door, dwell_s=np.full(door.tried.shape, 0.25))
    for name, apart in (("channels", 6.0), ("near channels", 1.0)):
        channel = rng.choice([865.7, 866.3, 866.9], count)
        twice = {
            one: np.tile(getattr(door, one), 2)
            for one in ("read_pass", "read_level", "read_tag", "read_t_s", "read_antenna")
        }
        both = np.concatenate([channel, np.roll(channel, 1)])
        rssi = np.tile(door.read_rssi, 2) - apart * (both == 866.9)
        surveys[name] = replace(door, **twice, read_rssi=rssi, read_channel_mhz=both)
    for name, spread in (("spread", 9.0), ("no spread", 2.0)):
        again = {
            one: np.tile(getattr(door, one), 3)
            for one in ("read_pass", "read_level", "read_tag", "read_t_s", "read_antenna")
        }
        rssi = np.concatenate([door.read_rssi, door.read_rssi - spread, door.read_rssi - spread])
        surveys[name] = replace(door, **again, read_rssi=rssi)
    wanted = np.isin(
        door.read_pass * len(door.tags) + door.read_tag,
        (door.roster_pass * len(door.tags) + door.roster_tag)[door.roster_wanted],
    )
    surveys["strays only"] = door.with_reads(~(wanted & (door.read_antenna == 2)))
    for (name, survey), steps in itertools.product(surveys.items(), (None, 0.3, (0.3, 2.0))):
        found = antenna_findings(survey, Policy(time=Dwell(step_s=steps)))
        lines = [f"{kind} {code}: {text} -> {advice}" for kind, code, text, advice in found]
        if steps is None:
            told[name] = [[line] for line in lines]
        else:
            told[f"{name} {steps}"] = [[line] for line in lines if "dwell" in line]
    recorded(told)


def test_limits_of_findings(recorded: Recorded) -> None:
    """At the limits, and next to them: how much stronger strays are, and how long it listened."""
    told: dict[str, Any] = {}
    passes = [[("3001", True, [-50.0, -50.0]), ("3002", False, [-50.0, -50.0])]] * 3
    plain = survey_of([20.0, 21.0], passes)  # type: ignore[arg-type]
    names = ("read_pass", "read_level", "read_tag", "read_rssi")
    twice = {name: np.repeat(getattr(plain, name), 2) for name in names}
    antenna = np.resize([1, 2], len(twice["read_tag"]))
    stray = twice["read_tag"] == 1
    for gap in (2.9, 2.94, 3.0, 3.1):
        rssi = twice["read_rssi"] + gap * (stray & (antenna == 2))
        heard = replace(plain, **twice | {"read_rssi": rssi}, read_antenna=antenna, antennas=(1, 2))
        apart = heard.with_reads(stray | ((heard.read_pass == 1) == (antenna == 2)))
        told[f"{gap} dB"] = [one[2] for one in antenna_findings(apart, Policy())]
    for listened in (0.5, 0.499, None):
        dwell = None if listened is None else np.full(plain.tried.shape, listened)
        if dwell is not None:
            dwell[0, 0] = np.nan
        for times in (None, np.full(len(plain.read_tag), 0.1)):
            survey = replace(plain, dwell_s=dwell, read_t_s=times)
            for step_s in (None, 0.5, (0.1, 0.5)):
                found = antenna_findings(survey, Policy(time=Dwell(step_s=step_s)))
                told[f"{listened} {times is None} {step_s}"] = [one[2] for one in found]
    recorded(told)


@pytest.mark.parametrize("seed", [0, 2])
def test_which_scores(seed: int, recorded: Recorded) -> None:
    """Work of scores over five antennas, of which not all pairs are looked at, and over six."""
    survey = made(replace(TWO_LANES, passes=2, levels=2), seed).survey
    told = {}
    assert survey.read_antenna is not None
    for antennas in (2, 5, 6):
        named = 1 + np.arange(len(survey.read_tag)) % antennas
        several = replace(survey, antennas=tuple(range(1, antennas + 1)), read_antenna=named)
        every = [score_told(one) for one in scores_of(several, Policy())]
        told[str(antennas)] = [len(every), every[: antennas + 2], every[-3:]]
        told[f"{antennas} counted"] = [one for one in every if "nth" in one][:6]
    recorded(told)
