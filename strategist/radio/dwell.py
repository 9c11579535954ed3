"""How long a ladder step lasts, and so how many steps fit into the dwell of a pass.

A step is simulated: rounds of framed ALOHA until nearly every tag is read. A share of reads may
fail: the tag answers alone, its slot is spent, and it stays unread. No capture, no time of the
reader's own software: a real reader is slower, so measure a step (`step_s`) where it matters.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from strategist.errors import InputError
from strategist.radio.timing import LINK_PROFILES, LinkProfile, t4_us
from strategist.survey.policy import FAILED_READS_MAX, Dwell
from strategist.survey.profile import peaks
from strategist.survey.records import Floats, Ints, Survey

if TYPE_CHECKING:
    from strategist.survey.score import Difference, Nth, Peak

Field = tuple[int, int]  # (pointer, length) of a mask in bits, as on the air interface

TAGS_MAX = 2000  # answering in one step
STEPS_WITHIN = 0.99  # of steps take no longer than what is called the worst of them
_RUNS, _SEED = 1000, 20_250_101  # simulated steps; the mean is then good to about 1 %
_READ_SHARE = 0.999  # a step lasts until this share of the tags is read
_SLACK = 1e-9  # three steps of 0.1 s fit into 0.3 s


def nearest_q(tags: int) -> int:
    """The Q (0-15) whose 2^Q slots are nearest to the number of tags, on a logarithmic scale."""
    return min(15, round(math.log2(tags))) if tags > 1 else 0


_NEAREST_Q = np.array([nearest_q(tags) for tags in range(TAGS_MAX + 1)], np.int64)


@dataclass(frozen=True)
class StepTime:
    """Time in s of one ladder step: mean, and what the share `quantile` of steps takes at most
    (never below the mean)."""

    expected_s: float
    worst_s: float
    quantile: float
    select_s: float
    rounds: float


def step_seconds(
    tags: int,
    masks: Sequence[tuple[int, int]],
    profile: LinkProfile,
    *,
    overhead_s: float = 0.0,
    quantile: float = STEPS_WITHIN,
    failed_reads: float = 0.0,
) -> StepTime:
    """Time of a step: one Select per mask, then rounds until 99.9 % of `tags` are read.

    `tags` counts those that answer (after the masks), 0-2000; `masks` are (pointer, length) in
    bits. Every round has the Q nearest to the tags still unread; a tag that was read keeps quiet;
    the step ends with the round in which at most 0.1 % are unread (none, below 1000 tags). That
    is an ideal choice of Q: readers that must guess need more. `overhead_s` is added as given:
    carrier settling and the reader's own time. `failed_reads` (0 to 0.9) is the chance that a tag
    which answers alone is not read all the same; its slot is counted as long as one that is. The
    rounds are simulated 1000 times with a fixed seed, so the same input gives the same answer.
    """
    waits = (
        profile.select_us(length, pointer) + t4_us(profile.rtcal_us) for pointer, length in masks
    )
    select_s = math.fsum(waits) / 1e6
    total_us, rounds = _simulated_us(tags, profile, failed_reads)
    mean_us = float(total_us.mean())
    worst_us = max(mean_us, float(np.quantile(total_us, quantile)))
    return StepTime(
        expected_s=overhead_s + select_s + mean_us / 1e6,
        worst_s=overhead_s + select_s + worst_us / 1e6,
        quantile=quantile,
        select_s=select_s,
        rounds=float(rounds.mean()),
    )


@lru_cache(maxsize=256)
def _simulated_us(tags: int, profile: LinkProfile, failed: float) -> tuple[Floats, Ints]:
    """Length in us and number of rounds of each simulated step; read-only, shape (runs,)."""
    generator = np.random.default_rng(_SEED)
    left = np.full(_RUNS, tags, np.int64)
    total, rounds = np.zeros(_RUNS), np.zeros(_RUNS, np.int64)
    done_at = int(tags * (1 - _READ_SHARE) + 1e-9)
    active = np.arange(_RUNS)  # an empty field still costs one round
    while len(active):
        single, lengths = _play_round(left[active], profile, generator)
        left[active] -= generator.binomial(single, 1 - failed) if failed else single
        total[active] += lengths
        rounds[active] += 1
        active = active[left[active] > done_at]
    total.setflags(write=False)
    rounds.setflags(write=False)
    return total, rounds


def _play_round(
    left: Ints, profile: LinkProfile, generator: np.random.Generator
) -> tuple[Ints, Floats]:
    """One round in every run, `left` tags answering in each: tags alone in a slot, and its us.

    The slots of all runs lie one after the other on one axis.
    """
    slots = 1 << _NEAREST_Q[left]
    first = np.cumsum(slots) - slots
    chosen = np.repeat(first, left) + generator.integers(0, np.repeat(slots, left))
    held = np.bincount(chosen, minlength=int(slots.sum()))
    empty = np.add.reduceat((held == 0).astype(np.int64), first)
    single = np.add.reduceat((held == 1).astype(np.int64), first)
    length = (
        profile.query_us
        + (slots - 1) * profile.query_rep_us
        + empty * profile.empty_slot_us
        + single * profile.read_slot_us
        + (slots - empty - single) * profile.collided_slot_us
    )
    return single, length


def field_of(survey: Survey, time: Dwell) -> int:
    """Tags that may answer in a step: as given, or the most that a surveyed pass presents.

    Raises InputError where a step would have to be estimated for more than can be simulated.
    """
    if time.tags_in_field is not None:
        return time.tags_in_field
    tags = int(np.bincount(survey.roster_pass, minlength=1).max())
    if time.rf_mode is not None and tags > TAGS_MAX:
        path = ("read_points", survey.read_point, "time", "rf_mode")
        wrong = f"{tags:,} tags in a pass are too many to estimate a step (at most {TAGS_MAX:,})"
        todo = "Measure the step and give step_s instead, or give tags_in_field."
        raise InputError.one("site.json", time.rf_mode, todo, path=path, wrong=wrong)
    return tags


def failed_reads(survey: Survey, time: Dwell) -> float:
    """Share of reads that fail: as given, or as tags come and go in the survey, in whole per cent.

    Above its turn-on a tag should be read at each level; where it was not, a read counts as failed.
    Rounded up, so that steps of the same length are found once; 0 where nothing can be told.
    """
    if time.failed_read_rate is not None:
        return time.failed_read_rate
    if time.rf_mode is None:
        return 0.0
    found = peaks(survey.as_measured())
    read = np.isfinite(found)
    above = np.logical_or.accumulate(read, axis=1)[:, :-1] & ~np.isnan(found[:, 1:])
    failed, all_above = int((above & ~read[:, 1:]).sum()), int(above.sum())
    return min(FAILED_READS_MAX, math.ceil(100 * failed / max(1, all_above)) / 100)


def step_time(
    time: Dwell, tags: int, masks: Sequence[Field], failed: float = 0.0
) -> StepTime | None:
    """Time of one step in which `tags` answer; None where the policy says nothing of it.

    A measured `step_s` is taken as it is, masks included (of several the longest). `failed` is the
    share of reads that fail.
    """
    step_s = time.steps_s[-1]
    if step_s is not None:
        return StepTime(step_s, step_s, 1.0, 0.0, 0.0)
    if time.rf_mode is None:
        return None
    profile, own_s = LINK_PROFILES[time.rf_mode], time.overhead_s
    return step_seconds(tags, masks, profile, overhead_s=own_s, failed_reads=failed)


def turns_of(survey: Survey, time: Dwell, score: Peak | Nth | Difference | None) -> int:
    """How many turns a step takes: one for each antenna that is on, where these take turns."""
    on = None if score is None else score.on
    return max(1, len(survey.antennas if on is None else on)) if time.in_turn else 1


def turns_by_masks(
    survey: Survey, time: Dwell, fields: Sequence[Field], slots: int
) -> tuple[int, ...] | None:
    """How many turns of an antenna fit into the dwell with a chain of 0, 1, … masks, each counted
    as by `steps_by_masks`; None where it is not limited. Where antennas do not take turns, a step
    is one turn whatever is on."""
    if time.dwell_s is None:
        return None
    return tuple(
        math.floor(time.dwell_s * (1 + _SLACK) / worst_s)
        for worst_s in _worst_s(survey, time, fields, slots)
    )


def fits(steps: int, worst_s: float, dwell_s: float) -> bool:
    """Whether so many steps, each as long as 99 % of steps at most, fit into a pass."""
    return steps * worst_s <= dwell_s * (1 + _SLACK)


def steps_by_masks(
    survey: Survey,
    time: Dwell,
    fields: Sequence[Field],
    slots: int,
    most: int,
    *,
    turns: int = 1,
) -> tuple[int, ...]:
    """The most ladder steps of a chain of 0, 1, … masks: `most`, or fewer that fit the dwell.

    Every step is counted as long as 99 % of steps at most, reads failing as in the survey, with the
    most tags that may answer and each mask as long on the air as the longest of `fields`; so many
    `turns` make a step. Chains that leave no step are left out, so there may be fewer than `slots`
    + 1 entries. Raises InputError where not even one step without masks fits.
    """
    found = turns_by_masks(survey, time, fields, slots)
    if found is None or time.dwell_s is None:
        return (most,) * (slots + 1)
    steps = [min(most, one // turns) for one in found]
    if not steps[0]:
        (worst_s, *_), dwell_s = _worst_s(survey, time, fields, 0), time.dwell_s
        path = ("read_points", survey.read_point, "time", "dwell_s")
        tags = field_of(survey, time)
        how = "as given" if time.step_s is not None else f"estimated for {tags} tags in the field"
        how += f", {turns} antennas in turn" if turns > 1 else ""
        wrong = f"{dwell_s:g} s is too short for any ladder: one step without masks takes up to "
        wrong += f"{turns * worst_s:.3g} s ({how})"
        todo = "Let loads stay longer, or give a shorter step under time."
        raise InputError.one("site.json", f"{dwell_s:g}", todo, path=path, wrong=wrong)
    return tuple(itertools.takewhile(lambda one: one > 0, steps))


def _worst_s(survey: Survey, time: Dwell, fields: Sequence[Field], slots: int) -> Iterator[float]:
    """What a turn takes at most with 0, 1, … masks."""
    tags, failed = field_of(survey, time), failed_reads(survey, time)
    longest: list[Field] = []
    if time.rf_mode is not None and fields:
        profile = LINK_PROFILES[time.rf_mode]
        longest = [max(fields, key=lambda field: profile.select_us(field[1], field[0]))]
    for masks in range(slots + 1 if fields else 1):
        step = step_time(time, tags, longest * masks, failed)
        assert step is not None  # a dwell needs one of the two
        yield step.worst_s
