"""The best strategy of a survey by trying all of them, in the full order of preference."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from typing import Any

from tests.second_reading.candidates import chains
from tests.second_reading.survey import (
    Pass,
    Survey,
    Tags,
    accepted,
    accepted_under_guard,
    exact,
    guard_of,
    loss_of,
    through,
    walk,
)

TECHNIQUES = ("power", "ladder", "cutoff", "masks")
Key = tuple[Any, ...]
_RASTER = Decimal("0.5")


@dataclass
class Trial:
    """Everything that strategies of one read point are tried on."""

    survey: Survey
    policy: Mapping[str, Any]

    def __post_init__(self) -> None:
        self.allow = self.policy.get("allow", TECHNIQUES)
        self.guard = guard_of(self.policy)
        self.stop_after = self.policy.get("stop_after", 1)
        self.wanted = sum(len(one.wanted) for one in self.survey.passes)
        self._held: dict[Any, Tags] = {}

    def ladders(self, masks: int) -> Iterator[tuple[Decimal, ...]]:
        levels = self.survey.levels
        steps = self.policy.get("reader", {}).get("ladder_steps_max", 5)
        time = self.policy.get("time")
        if time is not None and "dwell_s" in time:  # a measured step, however many masks there are
            step_s = exact(time["step_s"]) * time.get("turns", 1)
            steps = min(steps, int(exact(time["dwell_s"]) // step_s))
        for count in range(1, (steps if "ladder" in self.allow else 1) + 1):
            for ladder in itertools.combinations(levels, count):
                if "power" in self.allow or ladder[-1] == levels[-1]:
                    yield ladder

    def ranges(self) -> list[tuple[Decimal, Decimal]]:
        """(low, high]: cutoffs in between do the same, as surveyed and under the guards; those that
        hold a cutoff that can be set, a multiple of `rssi_step_db` (null: any can)."""
        if "cutoff" not in self.allow:
            return []
        levels = self.survey.levels
        may_be = levels if {"power", "ladder"} & set(self.allow) else levels[-1:]
        heard = {r for p in self.survey.passes for x in may_be for r in p.peak[x].values()}
        drifted = {
            rssi + sign * self.guard[1]
            for one in self.survey.passes
            for level in levels
            for rssi in one.peak[level].values()
            for sign in (-1, 1)
        }
        inside = {x for x in drifted if heard and min(heard) < x < max(heard)}
        pairs = itertools.pairwise(sorted(heard | inside))
        step = self.policy.get("reader", {}).get("rssi_step_db", "0.5")
        if step is None:
            return list(pairs)
        return [(low, high) for low, high in pairs if _at_most(high, Decimal(str(step))) > low]

    def counts(
        self, ladder: Sequence[Decimal], cutoff: Decimal | None, let: Tags, guarded: bool
    ) -> tuple[int, int]:
        """(missed, stray) over all passes."""
        missed = stray = 0
        for number, one in enumerate(self.survey.passes):
            steps = [let & self._accepted(number, one, x, cutoff, guarded) for x in ladder]
            reported, _ = walk(steps, self.stop_after)
            missed += len(one.wanted - reported)
            stray += len(one.stray & reported)
        return missed, stray

    def _accepted(
        self, number: int, one: Pass, level: Decimal, cutoff: Decimal | None, guarded: bool
    ) -> Tags:
        key = (number, level, cutoff, guarded)
        if key not in self._held:
            self._held[key] = (
                accepted_under_guard(self.survey, one, level, cutoff, self.guard)
                if guarded
                else accepted(one, level, cutoff)
            )
        return self._held[key]

    def begin(
        self, ladder: Sequence[Decimal], cutoff: Decimal | None, let: Tags
    ) -> tuple[Decimal, Decimal]:
        """By how much the limits are exceeded, and the loss."""
        missed, stray = self.counts(ladder, cutoff, let, False)
        limits, over = self.policy.get("limits", {}), Decimal(0)
        if limits.get("missed_rate_max") is not None and self.wanted:
            over += max(
                Decimal(0), missed / Decimal(self.wanted) - exact(limits["missed_rate_max"])
            )
        if limits.get("stray_rate_max") is not None:
            rate = stray / Decimal(len(self.survey.passes))
            over += max(Decimal(0), rate - exact(limits["stray_rate_max"]))
        return round(over, 6), loss_of(self.policy, missed, stray)

    def guarded(self, ladder: Sequence[Decimal], cutoff: Decimal | None, let: Tags) -> Decimal:
        return loss_of(self.policy, *self.counts(ladder, cutoff, let, True))


def best_key(trial: Trial) -> Key:
    """The least (excess, loss, guarded loss, masks, cutoff or none, steps, levels from the top
    down, mask bits) of all strategies."""
    best: Key | None = None
    cutoffs: list[Decimal | None] = [None, *(high for _, high in trial.ranges())]
    for let, (masks, bits) in chains(trial.survey, trial.policy).items():
        for ladder in trial.ladders(masks):
            for cutoff in cutoffs:
                begin = trial.begin(ladder, cutoff, let)
                if best is None or begin <= best[:2]:
                    work = (masks, cutoff is not None, len(ladder), ladder[::-1], bits)
                    key = (*begin, trial.guarded(ladder, cutoff, let), *work)
                    best = key if best is None else min(best, key)
    assert best is not None
    return best


def frontier(trial: Trial) -> dict[tuple[int, int], Key]:
    """The (missed, stray) pairs within the limits that no other one is as good as in both → the
    least (guarded loss, masks, cutoff or none, steps, levels from the top down, mask bits)."""
    cutoffs: list[Decimal | None] = [None, *(high for _, high in trial.ranges())]
    reached: dict[tuple[int, int], list[tuple[Any, ...]]] = {}
    for let, (masks, bits) in chains(trial.survey, trial.policy).items():
        for ladder in trial.ladders(masks):
            for cutoff in cutoffs:
                if not trial.begin(ladder, cutoff, let)[0]:
                    work = (masks, cutoff is not None, len(ladder), ladder[::-1], bits)
                    point = trial.counts(ladder, cutoff, let, False)
                    reached.setdefault(point, []).append((work, ladder, cutoff, let))
    return {
        point: min((trial.guarded(*rest), *work) for work, *rest in found)
        for point, found in reached.items()
        if not any(m <= point[0] and s <= point[1] and (m, s) != point for m, s in reached)
    }


def sturdiest(trial: Trial, most: Decimal, silence: Decimal, total: Decimal) -> Key | None:
    """The least (guarded loss, loss, masks, cutoff or none, steps, levels from the top down, mask
    bits) of those within the limits that lose at most `most`, less than `silence`, and less than
    `total` with the guarded loss; None: there is none."""
    cutoffs: list[Decimal | None] = [None, *(high for _, high in trial.ranges())]
    best: Key | None = None
    for let, (masks, bits) in chains(trial.survey, trial.policy).items():
        for ladder in trial.ladders(masks):
            for cutoff in cutoffs:
                over, loss = trial.begin(ladder, cutoff, let)
                if over or loss > most or loss >= silence:
                    continue
                guarded = trial.guarded(ladder, cutoff, let)
                work = (masks, cutoff is not None, len(ladder), ladder[::-1], bits)
                if loss + guarded < total:
                    best = min(best or (guarded, loss, *work), (guarded, loss, *work))
    return best


def key_of(trial: Trial, strategy: Mapping[str, Any]) -> Key:
    """The same of one strategy in JSON."""
    ladder = tuple(exact(level) for level in strategy["levels_dbm"])
    cutoff = None if strategy["cutoff_dbm"] is None else exact(strategy["cutoff_dbm"])
    masks = strategy["masks"]
    let = through(trial.survey, masks)
    bits = sum(mask["length"] for mask in masks)
    work = (len(masks), cutoff is not None, len(ladder), ladder[::-1], bits)
    return (*trial.begin(ladder, cutoff, let), trial.guarded(ladder, cutoff, let), *work)


def _at_most(value: Decimal, step: Decimal) -> Decimal:
    """The largest multiple of a step that is not above a value."""
    return (value / step).to_integral_value(ROUND_FLOOR) * step


def best_cutoff(trial: Trial, strategy: Mapping[str, Any]) -> Decimal:
    """The middle of the widest range of cutoffs that do as well as the strategy's own, on the
    raster of 0.5 dB where that stays inside; of ranges as wide, the weaker one."""
    ladder = tuple(exact(level) for level in strategy["levels_dbm"])
    let = through(trial.survey, strategy["masks"])

    def value(cutoff: Decimal) -> Key:
        return (*trial.begin(ladder, cutoff, let), trial.guarded(ladder, cutoff, let))

    own, runs = value(exact(strategy["cutoff_dbm"])), []
    for low, high in trial.ranges():
        if value(high) != own:
            continue
        if runs and runs[-1][1] == low:
            runs[-1] = (runs[-1][0], high)
        else:
            runs.append((low, high))
    low, high = max(runs, key=lambda run: (run[1] - run[0], -run[0]))
    middle = (low + high) / 2
    on_raster = [x * _RASTER for x in range(int(low / _RASTER) - 1, int(high / _RASTER) + 2)]
    inside = [x for x in on_raster if low < x <= high and abs(x - middle) < _RASTER]
    return min(inside, key=lambda x: (abs(x - middle), x), default=middle)
