"""Small made-up read points for the tests, and brute force over every strategy of their search."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from strategist.optimise.problem import pose
from strategist.optimise.strategy import Strategy
from strategist.optimise.tuning import Tuning
from strategist.radio.dwell import step_seconds
from strategist.radio.timing import LINK_PROFILES
from strategist.survey.policy import (
    TECHNIQUES,
    Dwell,
    Guard,
    Limits,
    Loss,
    Policy,
    RadiatedLimit,
    Radio,
    Reader,
)
from strategist.survey.records import Predicted, ReadPoint, Survey, Tag
from strategist.tags.mask import Mask, chain_accepts
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.guarded import guarded_loss
from tests.surveyed import surveyed_policy

GUARDS = [(1.0, 2.0), (0.0, 0.0), (1.0, 0.5), (2.0, 1.0), (0.0, 1.5)]  # power dB, RSSI dB


BY_BOUNDS = Tuning(few=-1)
"""Search and frontier take every node through its bounds, however few the chains are."""
BY_SPLITS = replace(BY_BOUNDS, many=-1)
"""The same, and every node is split until each of its levels is settled."""
BY_POOR_STARTS = replace(BY_BOUNDS, likely_first=False)
"""Through bounds, and what is found is found by the proof, not by a likely ladder."""
BY_GUARDS = replace(BY_BOUNDS, tied=-1)
"""Through bounds, and ties at a trade-off are held against bounds of their guarded loss at once."""
BY_JOINS = replace(BY_BOUNDS, joins_few=0)
"""Through bounds, with the last mask of every chain joined on as it is needed, none listed."""


def survey_of(
    levels: list[float],
    passes: list[list[tuple[str, bool, list[float | None]]]],
    tags: dict[str, Tag] | None = None,
) -> Survey:
    """A survey from passes of (EPC, wanted, RSSI at each level or None)."""
    names = sorted({epc for entries in passes for epc, _, _ in entries})
    roster = [(p, names.index(e), w) for p, entries in enumerate(passes) for e, w, _ in entries]
    reads = [
        (p, level, names.index(epc), rssi)
        for p, entries in enumerate(passes)
        for epc, _, curve in entries
        for level, rssi in enumerate(curve)
        if rssi is not None
    ]
    return Survey(
        read_point="made",
        levels_dbm=np.array(levels, float),
        pass_ids=tuple(f"p{i:04d}" for i in range(len(passes))),
        tags=tuple((tags or {}).get(name, Tag(name)) for name in names),
        roster_pass=np.array([r[0] for r in roster], np.int64),
        roster_tag=np.array([r[1] for r in roster], np.int64),
        roster_wanted=np.array([r[2] for r in roster], bool),
        roster_listed=np.ones(len(roster), bool),
        read_pass=np.array([r[0] for r in reads], np.int64),
        read_level=np.array([r[1] for r in reads], np.int64),
        read_tag=np.array([r[2] for r in reads], np.int64),
        read_rssi=np.array([r[3] for r in reads], float),
        tried=np.ones((len(passes), len(levels)), bool),
    )


def random_read_point(seed: int, size: int = 1) -> ReadPoint:
    """A random small read point; readability is not monotonic in power in most of them."""
    rng = np.random.default_rng(seed)
    levels = int(rng.integers(2, 4 + size))
    ragged = rng.choice([0.0, 0.15, 0.4])
    epcs = [f"{a:02X}{b:02X}" for a in (0x30, 0x35, 0x36) for b in (0x01, 0x02)]
    passes = []
    for _ in range(int(rng.integers(2, 5 + 3 * size))):
        entries = []
        for epc in rng.choice(epcs, int(rng.integers(1, 4 + size)), replace=False):
            first, base = int(rng.integers(0, levels + 1)), float(rng.integers(-70, -62))
            curve = [
                base + step if step >= first and rng.random() >= ragged else None
                for step in range(levels)
            ]
            entries.append((str(epc), bool(rng.random() < 0.5), curve))
        passes.append(entries)
    limits = Limits(
        missed_rate_max=float(rng.choice([0.1, 0.4])) if rng.random() < 0.25 else None,
        stray_rate_max=float(rng.choice([0.0, 0.3])) if rng.random() < 0.25 else None,
    )
    policy = surveyed_policy(
        loss=Loss(float(rng.choice([1, 2, 5])), float(rng.choice([1, 2]))),
        stop_after=int(rng.choice([1, 1, 2, 3])),
        reader=Reader(ladder_steps_max=int(rng.integers(1, 4)), mask_slots=int(rng.integers(0, 3))),
        limits=limits,
        guard=Guard(*GUARDS[seed % len(GUARDS)]),
        allow=TECHNIQUES if rng.random() < 0.8 else ("ladder", "cutoff"),
        serial_masks=True,  # six tags: no value repeats beyond chance
    )
    tags = {
        epc: Tag(epc, tid=f"E2{rng.integers(0, 2):02X}" if rng.random() < 0.8 else None)
        for epc in epcs
    }
    return ReadPoint(survey_of([10.0 + i for i in range(levels)], passes, tags), policy)


def hurried_read_point(seed: int, size: int = 0) -> ReadPoint:
    """A random read point in which time is short, with a limit of radiated power in half of them.

    The steps are either estimated, with a dwell that chains of more masks may not leave as many
    for, or measured.
    """
    point = random_read_point(seed, size)
    rng = np.random.default_rng(10_000 + seed)
    reader = Reader(ladder_steps_max=3, mask_slots=int(rng.integers(1, 3)))
    link = str(rng.choice(["fm0-640", "miller2-320"]))
    tags, failed = _most_present(point.survey), (0.0, 0.1)[seed % 2]
    one, two = (
        step_seconds(tags, [(32, 16)] * masks, LINK_PROFILES[link], failed_reads=failed).worst_s
        for masks in (0, 1)
    )
    dwell_s = float(rng.integers(1, 4)) * (one if rng.random() < 0.6 else two) * 1.02
    time = Dwell(dwell_s=dwell_s, rf_mode=link, failed_read_rate=failed)  # type: ignore[arg-type]
    if rng.random() < 0.2:
        time = Dwell(dwell_s=0.3, step_s=float(rng.choice([0.1, 0.15, 0.29])))
    radio = Radio()
    if rng.random() < 0.5:
        top = float(rng.integers(10, 10 + len(point.survey.levels_dbm)))
        limit = RadiatedLimit(top + 6.0 - 1.5, "eirp", 902.0, 928.0)
        radio = Radio(limit=limit, antenna_gain_dbi=6.0, cable_loss_db=1.5)
    policy = replace(point.policy, reader=reader, time=time, radio=radio, allow=TECHNIQUES)
    if rng.random() < 0.2:
        policy = replace(policy, allow=("ladder", "cutoff", "masks"))
    return replace(point, policy=policy)


def _most_present(survey: Survey) -> int:
    return max(Counter(survey.roster_pass.tolist()).values())


def with_steps(read_point: ReadPoint, seed: int) -> ReadPoint:
    """The read point with RSSI in tenths of a dB, at a reader that takes some cutoffs, and some
    levels, only."""
    rng = np.random.default_rng(20_000 + seed)
    survey, policy = read_point.survey, read_point.policy
    rssi = np.round(survey.read_rssi + rng.integers(0, 10, len(survey.read_rssi)) / 10, 6)
    levels = survey.levels_dbm.tolist()
    settable = tuple(level for level in levels if rng.random() < 0.7) or (levels[0],)
    reader = replace(
        policy.reader,
        rssi_step_db=[None, 0.5, 1.0, 2.0, 0.3][seed % 5],
        power_levels_dbm=settable if seed % 3 else None,
    )
    policy = replace(policy, reader=reader, allow=TECHNIQUES if seed % 4 else ("cutoff",))
    return replace(read_point, survey=replace(survey, read_rssi=rssi), policy=policy)


def with_predicted(read_point: ReadPoint, seed: int) -> ReadPoint:
    """The read point as if whole levels, or some pairs of pass and level, had been predicted."""
    rng = np.random.default_rng(seed)
    survey = read_point.survey
    pairs = rng.random(survey.tried.shape) < 0.4
    if seed % 2:
        pairs[:] = pairs[0]
    errors = (float(rng.choice([0.4, 1.2, 2.3])), float(rng.choice([0.0, 0.5, 1.5])))
    predicted = Predicted(pairs, *errors, None)
    return replace(read_point, survey=replace(survey, predicted=predicted))


def steps_allowed(read_point: ReadPoint, candidates: tuple[Mask, ...], masks: int) -> int:
    """The most steps of a ladder with so many masks, counted up one by one; 0: no such chain."""
    policy = read_point.policy
    time = policy.time
    most = policy.reader.ladder_steps_max if "ladder" in policy.allow else 1
    if time.dwell_s is None:
        return most
    step_s = time.step_s
    if step_s is None:
        assert time.rf_mode is not None
        profile = LINK_PROFILES[time.rf_mode]
        air = [(profile.select_us(m.length, m.pointer), m.pointer, m.length) for m in candidates]
        longest = [max(air)[1:]] * masks if air else []
        tags = time.tags_in_field or _most_present(read_point.survey)
        assert time.failed_read_rate is not None  # of the survey it would be the product's own
        own_s, failed = time.overhead_s, time.failed_read_rate
        step_s = step_seconds(tags, longest, profile, overhead_s=own_s, failed_reads=failed).worst_s
    steps = 0
    while steps < most and step_s * (steps + 1) <= time.dwell_s + 1e-12:
        steps += 1
    return steps


def lawful_levels(read_point: ReadPoint) -> list[float]:
    """The surveyed levels that keep a limit given as e.i.r.p.; all where none is given."""
    levels, radio = read_point.survey.levels_dbm.tolist(), read_point.policy.radio
    if radio.limit is None:
        return levels
    assert radio.limit.kind == "eirp" and radio.antenna_gain_dbi is not None
    allowed = radio.limit.dbm - radio.antenna_gain_dbi + radio.cable_loss_db
    return [level for level in levels if level <= allowed + 1e-9]


def choosable_levels(read_point: ReadPoint) -> list[float]:
    """The lawful levels that the reader can be set to."""
    lawful, settable = lawful_levels(read_point), read_point.policy.reader.power_levels_dbm
    return [level for level in lawful if settable is None or level in settable]


def cutoffs_between(values: list[float], step_db: float | None) -> list[float]:
    """One cutoff between any two neighbouring RSSI values; or all multiples of the step (a whole
    number of hundredths of a dB) above the weakest value and at most at the strongest."""
    if step_db is None:
        return [(low + high) / 2 for low, high in itertools.pairwise(values)]
    step = round(100 * step_db)
    settable = [n / 100 for n in range(-step * (13_000 // step), 1, step)]
    return [dbm for dbm in settable if values and values[0] < dbm <= values[-1]]


def rssi_values(read_point: ReadPoint) -> list[float]:
    """The RSSI values of the lawful levels that can be set, ascending."""
    survey, lawful = read_point.survey, choosable_levels(read_point)
    power = survey.levels_dbm[survey.read_level]
    return sorted(set(survey.read_rssi[np.isin(power, lawful)].tolist()))


def strategies(read_point: ReadPoint) -> Iterator[Strategy]:
    """Every ladder × cutoff × mask chain of the searched set, written out plainly."""
    survey, policy = read_point.survey, read_point.policy
    levels = choosable_levels(read_point)
    most = policy.reader.ladder_steps_max if "ladder" in policy.allow else 1
    ladders = [
        ladder
        for n in range(1, most + 1)
        for ladder in itertools.combinations(levels, n)
        if "power" in policy.allow or ladder[-1] == levels[-1]
    ]
    values = set(rssi_values(read_point))
    least, most_dbm = min(values, default=0.0), max(values, default=0.0)
    heard = survey.read_rssi.tolist()
    guards = {policy.guard.rssi_db}
    if survey.predicted is not None:
        guards.add(policy.guard.rssi_db + survey.predicted.rssi_db)
    drifted = {v + sign * by for v in heard for by in guards for sign in (-1, 1)}
    values |= {v for v in drifted if least < v < most_dbm}
    cutoffs: list[float | None] = [None]
    if "cutoff" in policy.allow:
        cutoffs += cutoffs_between(sorted(values), policy.reader.rssi_step_db)
    candidates = pose(survey, policy).candidates.masks
    slots = policy.reader.mask_slots
    fits = [steps_allowed(read_point, candidates, masks) for masks in range(slots + 1)]
    every_chain = list(chains(candidates, slots))
    for ladder, cutoff in itertools.product(ladders, cutoffs):
        for chain in every_chain:
            if len(ladder) <= fits[len(chain)]:
                yield Strategy(ladder, policy.stop_after, cutoff, chain)


def chains(candidates: tuple[Mask, ...], slots: int) -> Iterator[tuple[Mask, ...]]:
    """Every chain of up to `slots` masks, each as it is or negated, joined by "and" or "or"."""
    yield ()
    for n in range(1, slots + 1 if candidates else 1):
        for masks in itertools.product(candidates, repeat=n):
            for signs in itertools.product([False, True], repeat=n):
                for joins in itertools.product(["and", "or"], repeat=n - 1):
                    parts = zip(masks, signs, [None, *joins], strict=True)
                    yield tuple(
                        Mask(m.bank, m.pointer, m.length, m.pattern, sign, join)
                        for m, sign, join in parts
                    )


def excess(outcome: Outcome, policy: Policy) -> float:
    """By how much an outcome's rates are over the hard limits, summed."""
    over = 0.0
    limits = policy.limits
    if limits.missed_rate_max is not None and outcome.missed_rate is not None:
        over += max(0.0, outcome.missed_rate - limits.missed_rate_max)
    if limits.stray_rate_max is not None:
        over += max(0.0, outcome.stray_rate - limits.stray_rate_max)
    return round(over, 6)


class Replays:
    """What strategies of a read point come to, each of which is replayed once.

    A strategy acts through its ladder, its cutoff and the tags that its masks let through, so those
    that are alike in these share a replay; what their masks let through is asked for every chain.
    """

    def __init__(self, read_point: ReadPoint) -> None:
        self._survey, self._policy = read_point.survey, read_point.policy
        self._through: dict[tuple[Mask, ...], tuple[bool, ...]] = {}
        self._outcomes: dict[tuple[Any, ...], Outcome] = {}
        self._guarded: dict[tuple[Any, ...], float] = {}

    def _acts(self, strategy: Strategy) -> tuple[Any, ...]:
        masks = strategy.masks
        if masks not in self._through:
            self._through[masks] = tuple(chain_accepts(masks, tag) for tag in self._survey.tags)
        return strategy.levels_dbm, strategy.cutoff_dbm, self._through[masks]

    def outcome(self, strategy: Strategy) -> Outcome:
        acts = self._acts(strategy)
        if acts not in self._outcomes:
            self._outcomes[acts] = evaluate(self._survey, self._policy, strategy)
        return self._outcomes[acts]

    def guarded_loss(self, strategy: Strategy) -> float:
        acts = self._acts(strategy)
        if acts not in self._guarded:
            self._guarded[acts] = guarded_loss(self._survey, self._policy, strategy)
        return self._guarded[acts]


def brute_force(read_point: ReadPoint) -> tuple[tuple[Any, ...], int]:
    """The least (excess, loss, guarded loss, masks, cutoff, steps, levels from the top, mask bits),
    and how many strategies were evaluated for it."""
    policy, replays = read_point.policy, Replays(read_point)
    best: tuple[Any, ...] | None = None
    count = 0
    for strategy in strategies(read_point):
        count += 1
        outcome = replays.outcome(strategy)
        if best is None or (excess(outcome, policy), round(outcome.loss, 6)) <= best[:2]:
            key = preference(strategy, outcome, read_point, replays)
            best = key if best is None else min(best, key)
    assert best is not None
    return best, count


def preference(
    strategy: Strategy, outcome: Outcome, read_point: ReadPoint, replays: Replays | None = None
) -> tuple[Any, ...]:
    """The order of preference, written out a second time."""
    return (
        excess(outcome, read_point.policy),
        round(outcome.loss, 6),
        round((replays or Replays(read_point)).guarded_loss(strategy), 6),
        len(strategy.masks),
        strategy.cutoff_dbm is not None,
        len(strategy.levels_dbm),
        strategy.levels_dbm[::-1],
        sum(mask.length for mask in strategy.masks),
    )
