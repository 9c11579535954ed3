"""The straightforward joint model: the meaning of a strategy put into rows, nothing reduced.

It reads the survey itself: one row of variables for each tag presentation, every level, every
cutoff between neighbouring RSSI values (or every one that can be set), every candidate mask as it
is and negated, in every slot of the chain. Levels above a radiated limit, and such that the reader
does not have, are no steps, and a chain of k masks leaves no more steps than fit the dwell. It
shares no code with the optimiser but the list of candidate masks.
Variables, with e a presentation (roster entry) in pass p, t its tag and l a level:

    step[l]            level l is a step of the ladder
    cutoff[c]          cutoff c is the one chosen (0: none)
    place[s, j]        slot s of the chain holds literal j (a mask, as it is or negated)
    both[s], either[s] slot s is joined by "and", by "or"; neither: the slot is empty
    through[s, t]      tag t passes slots 0 … s
    walks[p, l]        the reader has not stopped in pass p before level l
    accepted[e, l]     e is accepted at level l, which is walked
    reported[e, l]     e has been reported by level l
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TypeAlias

import pulp

from strategist.optimise.strategy import Strategy
from strategist.survey.records import ReadPoint
from strategist.tags.candidates import find_candidates
from strategist.tags.mask import Mask
from tests.optimise.made import choosable_levels, cutoffs_between, rssi_values, steps_allowed

__all__ = ["Reference"]

Term: TypeAlias = pulp.LpVariable | pulp.LpAffineExpression | int


@dataclass(frozen=True)
class _Entry:
    """One tag presentation: its pass, its tag, its role, and its peak (dBm) by level index."""

    pass_number: int
    tag: int
    wanted: bool
    peaks: dict[int, float]


class Reference:
    """The model of a completely surveyed read point. `loss` is the objective, `constant` belongs
    to it; `excess` (None without hard limits) is to be minimised before."""

    def __init__(self, read_point: ReadPoint) -> None:
        survey, self.policy = read_point.survey, read_point.policy
        reader, allow = self.policy.reader, self.policy.allow
        self.levels = survey.levels_dbm.tolist()
        self.lawful = choosable_levels(read_point)
        self.top_fixed = "power" not in allow
        values = rssi_values(read_point) if "cutoff" in allow else []
        self.cutoffs = cutoffs_between(values, reader.rssi_step_db)
        self.masks: tuple[Mask, ...] = ()
        if "masks" in allow and reader.mask_slots:
            serial = self.policy.serial_masks
            self.masks = find_candidates(survey.tags, reader, serial_masks=serial).masks
        self.slots = reader.mask_slots if self.masks else 0
        self.steps = [steps_allowed(read_point, self.masks, k) for k in range(self.slots + 1)]
        self.literals = [replace(m, negate=sign) for m in self.masks for sign in (False, True)]
        self.tags = survey.tags
        self.entries = _entries(read_point)
        self.mip = pulp.LpProblem("reference", pulp.LpMinimize)
        self._binaries = 0
        self._strategy_rows()
        self.through = self._chain_rows()
        self.reported = self._pass_rows()
        self._objectives(len(survey.pass_ids))

    def _binary(self) -> pulp.LpVariable:
        """A new 0/1 variable; zero-padded, since PuLP sorts variables by name."""
        self._binaries += 1
        return pulp.LpVariable(f"v{self._binaries:07d}", cat="Binary")

    def _strategy_rows(self) -> None:
        """1 ≤ Σ step; Σ cutoff = 1; the top lawful level is a step where power is fixed."""
        self.step = [self._binary() for _ in self.levels]
        self.cutoff = [self._binary() for _ in range(1 + len(self.cutoffs))]
        self.mip += pulp.lpSum(self.step) >= 1
        for dbm, step in zip(self.levels, self.step, strict=True):
            if dbm not in self.lawful:
                self.mip += step == 0
        if self.top_fixed:
            self.mip += self.step[self.levels.index(self.lawful[-1])] == 1
        self.mip += pulp.lpSum(self.cutoff) == 1

    def _chain_rows(self) -> list[Term]:
        """What becomes of each tag in the chain, slot by slot."""
        self.place = [[self._binary() for _ in self.literals] for _ in range(self.slots)]
        self.both = [self._binary() for _ in range(self.slots)]
        self.either = [self._binary() for _ in range(self.slots)]
        self.mip += pulp.lpSum(self.step) <= self.steps[0]
        for s, most in enumerate(self.steps[1:]):  # all of them steps unless slot s is used
            self.mip += pulp.lpSum(self.step) <= most + self.steps[0] * (
                1 - self.both[s] - self.either[s]
            )
        through: list[Term] = [1] * len(self.tags)
        meets = [[j for j, x in enumerate(self.literals) if x.matches(tag)] for tag in self.tags]
        for s in range(self.slots):
            both, either = self.both[s], self.either[s]
            self.mip += pulp.lpSum(self.place[s]) == both + either
            self.mip += both + either <= (self.both[s - 1] + self.either[s - 1] if s else 1)
            if s == 0:
                self.mip += either == 0  # the chain before the first mask lets all through
            for t, before in enumerate(through):
                hit = pulp.lpSum(self.place[s][j] for j in meets[t])
                through[t] = self._joined(before, hit, both, either)
        return through

    def _joined(
        self,
        before: Term,
        hit: pulp.LpAffineExpression,
        both: pulp.LpVariable,
        either: pulp.LpVariable,
    ) -> pulp.LpVariable:
        """before ∧ hit, before ∨ hit, or before alone."""
        now = self._binary()
        self.mip += now <= before + either
        self.mip += now <= hit + 1 - both
        self.mip += now <= before + hit
        self.mip += now >= before - both
        self.mip += now >= before + hit - 1
        self.mip += now >= hit + either - 1
        return now

    def _pass_rows(self) -> list[Term]:
        """The walk up the ladder in each pass; returns whether an entry is reported at its end."""
        of_pass: dict[int, list[int]] = defaultdict(list)
        for e, entry in enumerate(self.entries):
            of_pass[entry.pass_number].append(e)
        reported: list[Term] = [0] * len(self.entries)
        for present in of_pass.values():
            walks: Term = 1
            for level in range(len(self.levels)):
                for e in present:
                    if level in self.entries[e].peaks:
                        accepted = self._accepted(self.entries[e], level, walks)
                        reported[e] = self._either_of(reported[e], accepted)
                if level + 1 < len(self.levels):
                    walks = self._walks_on([reported[e] for e in present])
        return reported

    def _accepted(self, entry: _Entry, level: int, walks: Term) -> pulp.LpVariable:
        """step ∧ walks ∧ the chain lets the tag through ∧ the peak reaches the cutoff."""
        low_enough = sum(cutoff <= entry.peaks[level] for cutoff in self.cutoffs)
        strong = pulp.lpSum(self.cutoff[: 1 + low_enough])
        parts = [self.step[level], walks, self.through[entry.tag], strong]
        accepted = self._binary()
        for part in parts:
            self.mip += accepted <= part
        self.mip += accepted >= pulp.lpSum(parts) - 3
        return accepted

    def _either_of(self, before: Term, now: pulp.LpVariable) -> pulp.LpVariable:
        """before ∨ now."""
        either = self._binary()
        self.mip += either >= before
        self.mip += either >= now
        self.mip += either <= before + now
        return either

    def _walks_on(self, reported: list[Term]) -> pulp.LpVariable:
        """1 while fewer than `stop_after` tags are reported, 0 as soon as there are as many."""
        walks, enough = self._binary(), self.policy.stop_after
        self.mip += pulp.lpSum(reported) >= enough * (1 - walks)
        self.mip += pulp.lpSum(reported) <= enough - 1 + len(reported) * (1 - walks)
        return walks

    def _objectives(self, passes: int) -> None:
        """Loss = missed × its weight + stray × its weight; excess = what rates are over limits."""
        roles = list(zip(self.entries, self.reported, strict=True))
        wanted = [u for entry, u in roles if entry.wanted]
        self.found, self.stray = (
            pulp.lpSum(wanted),
            pulp.lpSum(u for entry, u in roles if not entry.wanted),
        )
        weight, limits = self.policy.loss, self.policy.limits
        self.loss = weight.stray * self.stray - weight.missed * self.found
        self.constant = weight.missed * len(wanted)
        over = []
        if limits.missed_rate_max is not None and wanted:
            over.append(pulp.LpVariable("over_missed", 0))
            missed_rate = 1 - self.found * (1 / len(wanted))
            self.mip += over[-1] >= missed_rate - limits.missed_rate_max
        if limits.stray_rate_max is not None:
            over.append(pulp.LpVariable("over_stray", 0))
            self.mip += over[-1] >= self.stray * (1 / passes) - limits.stray_rate_max
        self.excess = pulp.lpSum(over) if over else None

    def strategy(self) -> Strategy:
        """The strategy that the solved variables spell out."""
        ladder = [dbm for dbm, step in zip(self.levels, self.step, strict=True) if _on(step)]
        cutoff = next(c for c, chosen in enumerate(self.cutoff) if _on(chosen))
        chain = [
            replace(literal, join=None if s == 0 else "or" if _on(self.either[s]) else "and")
            for s in range(self.slots)
            for literal, placed in zip(self.literals, self.place[s], strict=True)
            if _on(placed)
        ]
        dbm = None if cutoff == 0 else self.cutoffs[cutoff - 1]
        return Strategy(tuple(ladder), self.policy.stop_after, dbm, tuple(chain))


def _on(variable: pulp.LpVariable) -> bool:
    return bool(variable.value() > 0.5)


def _entries(read_point: ReadPoint) -> list[_Entry]:
    """The roster with, for each entry, the strongest read at each level."""
    survey = read_point.survey
    peaks: dict[tuple[int, int], dict[int, float]] = defaultdict(dict)
    reads = (survey.read_pass, survey.read_tag, survey.read_level, survey.read_rssi)
    for p, tag, level, rssi in zip(*(column.tolist() for column in reads), strict=True):
        at = peaks[p, tag]
        at[level] = max(rssi, at.get(level, rssi))
    roster = (survey.roster_pass, survey.roster_tag, survey.roster_wanted)
    return [
        _Entry(p, tag, wanted, peaks[p, tag])
        for p, tag, wanted in zip(*(column.tolist() for column in roster), strict=True)
    ]
