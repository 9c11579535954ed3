"""Small read points of all sorts, and strategies at them, each the same for the same seed."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np

from strategist.optimise.problem import pose
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.policy import (
    AntennaRadio,
    Dwell,
    Guard,
    InConditions,
    Limits,
    Loss,
    Policy,
    Radio,
    Reader,
)
from strategist.survey.records import ReadPoint, Survey, Tag
from strategist.survey.score import Difference, Nth, Peak
from strategist.tags.mask import Mask
from tests.bench.drawn import drawn_read_point
from tests.optimise.made import random_read_point, survey_of, with_predicted, with_steps
from tests.optimise.portals import FACING_WALLS, made

__all__ = [
    "expecting",
    "gate",
    "in_conditions",
    "linen",
    "loads",
    "portal",
    "ragged",
    "small",
    "strategies",
]

_LINEN = ("clean-gate", "sorting-belt", "soiled-chute", "shelf-cabinet")
_RULES = (
    InConditions(),
    InConditions(aim="worst"),
    InConditions(aim="cvar", tail=0.4),
    InConditions(aim="cvar", tail=0.7),
)


def small(seed: int) -> ReadPoint:
    """Six tags, a few passes and levels; of four, one at a reader that takes some settings only,
    and one with predicted reads."""
    point = random_read_point(seed, seed % 2)
    if seed % 4 == 1:
        return with_steps(point, seed)
    return with_predicted(point, seed) if seed % 4 == 3 else point


def linen(seed: int, passes: int = 12) -> ReadPoint:
    """A draw of one of the demo's read points."""
    return drawn_read_point(_LINEN[seed % 4], passes, 500 + seed)


def loads(seed: int, passes: int = 24) -> ReadPoint:
    """Loads of several bags with a tag type each, whose links drift from pass to pass; levels
    unevenly apart; reads that come and go, and some of tags on no roster."""
    rng = np.random.default_rng([7, seed])
    levels = np.cumsum(rng.choice([0.5, 1.0, 2.0, 3.0], 6)) + 14.0
    wave = 2.5 * np.sin(np.arange(passes) / (2 + seed % 4)) if seed % 2 else np.zeros(passes)
    types = {"A": 0.0, "B": -4.0} if seed % 3 else {"A": 0.0, "B": -1.0, "": 2.0}
    entries, tags = [], {}
    for p in range(passes):
        of_pass = []
        for role, near, most in ((True, 1.0, 4), (False, -3.0, 5)):
            for n in range(int(rng.integers(role, most))):
                kind = str(rng.choice(list(types)))
                serial = n if not role and n < 2 else 100 + 16 * p + n
                epc = f"30{'A1' if role else 'B2' if n % 3 else 'A3'}{serial:08X}"
                on = levels[2] - near - wave[p] - types[kind] / 2 + rng.normal(0, 1.5)
                base = -58.0 + 2 * near + types[kind] + rng.normal(0, 1)
                curve = [
                    round(2 * (base + (dbm - on) * 0.8)) / 2
                    if dbm >= on and rng.random() > 0.06
                    else None
                    for dbm in levels
                ]
                if epc not in {one for one, _, _ in of_pass}:
                    of_pass.append((epc, bool(role), curve))
                    tid = f"E280{1160 + 16 * (kind == 'B'):04d}2000{serial:012X}"
                    tags[epc] = Tag(epc, tid if kind else None, None, kind or None)
        entries.append(of_pass)
    survey = survey_of([float(x) for x in levels], entries, tags)
    listed = survey.roster_wanted | (rng.random(len(survey.roster_wanted)) > 0.1)
    policy = Policy(
        loss=Loss(float(rng.choice([2, 3.5, 5])), float(rng.choice([0.75, 1, 2]))),
        stop_after=int(rng.choice([1, 1, 2])),
        reader=Reader(ladder_steps_max=3, mask_slots=int(rng.integers(0, 3))),
        guard=Guard(float(rng.choice([0.5, 1.0, 2.0])), float(rng.choice([1.0, 1.5, 3.0]))),
        aim="survey",
    )
    return ReadPoint(replace(survey, roster_listed=listed), policy, ("made for tests",))


def portal(seed: int, passes: int = 8) -> ReadPoint:
    """Two antennas that face each other, reads with their times."""
    of = replace(FACING_WALLS, passes=passes, levels=5, kinds=4)
    point = made(of, seed)
    time = (
        Dwell(),
        Dwell(dwell_s=1.6, step_s=0.4),
        Dwell(dwell_s=3.0, step_s=(0.3, 0.9), in_turn=True),
    )[seed % 3]
    radio = Radio(region="etsi-865-868", antenna_gain_dbi=5.0, polarisation="circular")
    own = AntennaRadio(antenna_gain_dbi=8.0, cable_loss_db=1.0)
    policy = replace(
        point.policy,
        reader=Reader(ladder_steps_max=2, mask_slots=seed % 2),
        time=time,
        radio=radio if seed % 2 else Radio(),
        antennas=((1, AntennaRadio()), (2, own)) if seed % 2 else (),
    )
    return replace(point, policy=policy)


def gate(seed: int, **changes: object) -> ReadPoint:
    """A draw of the demo's gate where more than the choice is known: the law, time, limits."""
    point = drawn_read_point("clean-gate", 12, 900 + seed)
    radio = (
        Radio(region="etsi-865-868", antenna_gain_dbi=8.5, cable_loss_db=1.25, distance_m=2.0),
        Radio(region="fcc-902-928", antenna_gain_dbi=6.0, hop_channels=50, exposure="icnirp"),
        Radio(),
    )[seed % 3]
    time = (
        Dwell(dwell_s=1.5, rf_mode="fm0-640", overhead_s=0.02),
        Dwell(rf_mode="miller4-256", tags_in_field=20, failed_read_rate=0.1),
        Dwell(dwell_s=2.0, step_s=0.45),
    )[seed % 3]
    more = {"radio": radio, "time": time, **changes}
    return replace(point, policy=replace(point.policy, **more))  # type: ignore[arg-type]


def ragged(seed: int, untried: str = "refuse") -> ReadPoint:
    """A draw of the demo where some passes were not tried at some levels, some of which the link
    model may fill in."""
    point = linen(seed)
    rng = np.random.default_rng([11, seed])
    tried = rng.random(point.survey.tried.shape) > 0.15
    tried[:, [0, -1]] = True
    survey = point.survey.with_reads(tried[point.survey.read_pass, point.survey.read_level])
    policy = replace(
        point.policy,
        predict_levels=untried == "predict",
        untried="leave_out_level" if untried == "predict" else untried,  # type: ignore[arg-type]
    )
    return replace(point, survey=replace(survey, tried=tried), policy=policy)


def in_conditions(point: ReadPoint, seed: int, **changes: object) -> ReadPoint:
    """The passes under conditions or days by lot, in some read points with weights, and reads in
    the second condition weaker."""
    rng, survey = np.random.default_rng([13, seed]), point.survey
    passes = len(survey.pass_ids)
    names = ("door open", "door shut", "") if seed % 3 == 0 else ("day 2", "day 10")
    of_pass = tuple(names[int(one)] for one in rng.integers(0, len(names), passes))
    weight = (None, rng.integers(1, 4, passes) / 1.0, rng.integers(1, 9, passes) / 4.0)[seed % 3]
    weak = np.array(of_pass)[survey.read_pass] == names[1]
    rssi = np.where(weak, survey.read_rssi - 3.0, survey.read_rssi)
    where = {"pass_day": of_pass} if seed % 4 == 2 else {"pass_condition": of_pass}
    told: Survey = replace(survey, read_rssi=rssi, pass_weight=weight, **where)
    limits = Limits(0.3, None) if seed % 5 == 4 else point.policy.limits
    policy = replace(point.policy, conditions=_RULES[seed % 4], limits=limits)
    return replace(point, survey=told, policy=replace(policy, **changes))  # type: ignore[arg-type]


def expecting(point: ReadPoint) -> ReadPoint:
    """The same, aimed at passes to come."""
    return replace(point, policy=replace(point.policy, aim="expected"))


def strategies(point: ReadPoint, seed: int, count: int) -> list[Strategy]:
    """Ladders, cutoffs (some of them an RSSI that was read), chains and scores by lot."""
    rng, whole = random.Random(seed), complete(point)
    survey, slots = whole.survey, point.policy.reader.mask_slots
    candidates = pose(survey, whole.policy).candidates.masks
    levels, rssi = survey.levels_dbm.tolist(), sorted(set(survey.read_rssi.tolist()))
    found = []
    for _ in range(count):
        steps = sorted(rng.sample(levels, rng.randint(1, min(3, len(levels)))))
        cutoff = None
        if rssi and rng.random() < 0.7:
            cutoff = rng.choice(rssi) + rng.choice([0.0, 0.0, 0.25, -0.5])
        masks = tuple(
            Mask(
                *(one.bank, one.pointer, one.length, one.pattern),
                rng.random() < 0.4,
                rng.choice(["and", "or"]) if place else None,  # type: ignore[arg-type]
            )
            for place, one in enumerate(
                rng.sample(candidates, rng.randint(0, min(slots, len(candidates))))
            )
        )
        if len(survey.antennas) < 2:
            found.append(Strategy(tuple(steps), point.policy.stop_after, cutoff, masks))
            continue
        score = rng.choice(
            [
                None,
                Peak(antennas=(1,)),
                Peak(antennas=(1, 2), trim_db=((2, -1.0),), offset_db=((1, 2.0),)),
                Nth("nth", 2),
                Difference("difference", (1,), (2,)),
            ]
        )
        if isinstance(score, Peak) and score.trim_db:
            steps = [level for level in steps if level > levels[0]] or levels[1:2]
        step_s = rng.choice([None, 0.3])
        if isinstance(score, Difference):
            apart = None if cutoff is None else rng.choice([-3.0, 0.0, 2.5])
            one = Strategy(tuple(steps), 1, None, masks, score, apart, step_s)
        else:
            one = Strategy(tuple(steps), 1, cutoff, masks, score, None, step_s)
        found.append(one)
    return found
