"""How long a ladder step lasts: rounds of framed ALOHA until nearly every tag is read.

A share of reads may fail: the tag answers alone, its slot is spent, and it stays unread. No
capture, no time of the reader's own software: a real reader is slower, so measure a step (`step_s`)
where it matters.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from strategist.radio.timing import LinkProfile, t4_us
from strategist.radio.units import bounded, whole
from strategist.survey.policy import FAILED_READS_MAX

__all__ = [
    "STEPS_WITHIN",
    "TAGS_MAX",
    "SlotShares",
    "StepTime",
    "nearest_q",
    "round_us",
    "slot_shares",
    "step_seconds",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TAGS_MAX = 2000  # answering in one step
STEPS_WITHIN = 0.99  # of steps take no longer than what is called the worst of them
_RUNS, _SEED = 1000, 20_250_101  # simulated steps; the mean is then good to about 1 %
_READ_SHARE = 0.999  # a step lasts until this share of the tags is read


@dataclass(frozen=True)
class SlotShares:
    """Chances of a slot to hold no tag, one tag, or several; they sum to 1."""

    empty: float
    single: float
    collided: float


def slot_shares(tags: int, slots: int) -> SlotShares:
    """Framed ALOHA, exact binomial: each of `tags` takes one of `slots` slots, all alike."""
    many = whole("tags", tags, 0, 1_000_000, "tags")
    chance = 1 / whole("slots", slots, 1, 2**15, "slots")
    if many == 0:
        return SlotShares(1.0, 0.0, 0.0)
    empty = float((1 - chance) ** many)
    single = float(many * chance * (1 - chance) ** (many - 1))
    return SlotShares(empty, single, max(0.0, 1 - empty - single))


def nearest_q(tags: int) -> int:
    """The Q (0-15) whose 2^Q slots are nearest to the number of tags, on a logarithmic scale."""
    many = whole("tags", tags, 0, 1_000_000, "tags")
    return min(15, round(math.log2(many))) if many > 1 else 0


_NEAREST_Q = np.array([nearest_q(tags) for tags in range(TAGS_MAX + 1)], np.int64)


def round_us(tags: int, q: int, profile: LinkProfile) -> float:
    """Expected length in us of one inventory round of 2^Q slots with `tags` answering."""
    slots = 1 << whole("q", q, 0, 15, "")
    share = slot_shares(tags, slots)
    slot = (
        share.empty * profile.empty_slot_us
        + share.single * profile.read_slot_us
        + share.collided * profile.collided_slot_us
    )
    return profile.query_us + (slots - 1) * profile.query_rep_us + slots * slot


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
    count = whole("tags", tags, 0, TAGS_MAX, "tags")
    share = bounded("quantile", quantile, 0.5, 0.999, "")
    fixed = bounded("overhead_s", overhead_s, 0, 60, "s")
    failed = bounded("failed_reads", failed_reads, 0, FAILED_READS_MAX, "")
    waits = (
        profile.select_us(length, pointer) + t4_us(profile.rtcal_us) for pointer, length in masks
    )
    select_s = math.fsum(waits) / 1e6
    total_us, rounds = _simulated_us(count, profile, failed)
    mean_us = float(total_us.mean())
    worst_us = max(mean_us, float(np.quantile(total_us, share)))
    return StepTime(
        expected_s=fixed + select_s + mean_us / 1e6,
        worst_s=fixed + select_s + worst_us / 1e6,
        quantile=share,
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
