"""Ladders with own powers and cutoffs: one trim and one cutoff for each antenna at all steps.

The model of `model` with, in place of one cutoff for all, for antenna a, trim τ (dB below the step,
0 for one antenna at least) and cutoffs v[a, 1] < v[a, 2] < … (all that tell reads apart):

    o[a, τ]     antenna a is on, with trim τ
    w[a, τ, i]  and its reads of at least v[a, i] count

    one trim    Σ_τ o[a, τ] ≤ 1,  Σ_a w[a, 0, last] ≥ 1
    settable    y[l] + Σ_τ (o[a, τ] : a cannot be set to l + τ, or that was not surveyed) ≤ 1
    cutoff      w[a, τ, i] ≤ w[a, τ, i + 1] ≤ o[a, τ]
    in turn     Σ_l y[l] + (steps − ⌊turns ÷ n⌋) b[n] ≤ steps,  b[n] = 1 where n antennas are on
    a read      E[r, l] ≥ e[r, a, l] for each a,  E[r, l] ≤ Σ_a e[r, a, l],
                e[r, a, l] = Σ_τ w[a, τ, i(r, a, l + τ)]

and E[r, l] in place of the cutoff that r passes at l. Any wanted or stray value may matter: a tag
that is reported early ends the walk. With trims and cutoffs for each antenna it soon grows too
large: `terms` says how large, before it is built.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from strategist.errors import SolveError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.model import Model
from strategist.optimise.model_walk import Reads, binary, share
from strategist.optimise.own_powers import ByAntenna, settable_at_most
from strategist.optimise.problem import Problem, value
from strategist.optimise.pulp_late import pulp
from strategist.optimise.solver import Outcome, solve_mip
from strategist.survey.policy import DECIMALS, SAME_DB
from strategist.survey.profile import Profile
from strategist.survey.records import Floats, Ints, Survey

__all__ = ["Trimmed", "profile_of", "prove_own_ladders", "terms"]


@dataclass(frozen=True)
class Trimmed:
    """What the model came to: trim (dB) and cutoff (dBm, −inf: none) of each antenna index that is
    on (None: no choice was found), and what no choice is below (excess, loss); `proven` where the
    choice comes to that."""

    on: dict[int, tuple[float, float]] | None
    bound: tuple[float, float]
    proven: bool
    effort: tuple[tuple[str, int], ...]


def prove_own_ladders(
    base: Problem,
    heard: ByAntenna,
    survey: Survey,
    clock: Clock,
    *,
    seed: int = 0,
    turns: int | None = None,
) -> Trimmed:
    """The least excess and loss over all trims, cutoffs by antenna, ladders and mask chains.

    `heard` has the roster entries of the survey as its rows; of `base` the masks and steps serve.
    Steps times antennas that are on are at most `turns` (None: any number).
    """
    on, bound, proven, effort = None, (0.0, 0.0), False, {"nodes": 0}
    try:
        model = OwnLadders(base, heard, survey, clock)
        if turns is not None:
            model.in_turn(turns)
        for name, objective, constant in model.least():
            mip = model.aim(objective)
            effort |= {"variables": len(mip.variables()), "rows": len(mip.constraints)}
            solved = solve_mip(mip, clock=clock, seed=seed)
            effort["nodes"] += solved.nodes
            if solved.outcome is Outcome.INFEASIBLE:
                raise SolveError(f"HiGHS calls the model infeasible at the objective {name}")
            least = value(max(0.0, (solved.bound or 0.0) + constant))
            bound = (least, 0.0) if name == "excess" else (bound[0], least)
            if solved.objective is not None:
                on = model.on()
            if solved.outcome is not Outcome.OPTIMAL:
                break
            assert solved.objective is not None
            model.at_most(objective, solved.objective)
        else:
            proven = True
    except OutOfTimeError:
        pass
    return Trimmed(on, bound, proven, tuple(effort.items()))


def _trims(levels_dbm: Floats) -> Floats:
    """What one level of the survey may be below another (dB, 0 first)."""
    apart = np.round(np.subtract.outer(levels_dbm, levels_dbm), DECIMALS)
    return np.array(sorted(set(apart[apart <= 0].tolist()), reverse=True))


def _shifts(heard: ByAntenna, levels_dbm: Floats, trims: Floats) -> Ints:
    """The level index that each antenna radiates: (antennas, trims, levels), −1 where it cannot."""
    asked = trims[:, None] + levels_dbm
    apart = np.abs(asked[..., None] - levels_dbm)
    at = np.where(apart.min(axis=-1) < SAME_DB, apart.argmin(axis=-1), -1)
    shifts: Ints = np.where((at >= 0) & heard.allowed[:, at], at, -1)
    return shifts


def terms(heard: ByAntenna, survey: Survey) -> int:
    """How many w stand in the rows of reads: what the model is large by."""
    shifts = _shifts(heard, survey.levels_dbm, _trims(survey.levels_dbm))
    reads = np.isfinite(heard.rssi).sum(axis=0)
    return sum(int(reads[a, at[at >= 0]].sum()) for a, at in enumerate(shifts))


def by_pass(survey: Survey) -> Ints:
    """The roster entries, sorted by pass."""
    entries: Ints = np.argsort(survey.roster_pass, kind="stable")
    return entries


def profile_of(base: Problem, heard: ByAntenna, survey: Survey) -> tuple[Profile, Ints]:
    """One row for each roster entry, whose number is told, and one group for each pass; no reads
    yet."""
    entry, passes = by_pass(survey), len(survey.pass_ids)
    profile = replace(
        base.profile,
        levels_dbm=survey.levels_dbm,
        row_pass=survey.roster_pass[entry],
        row_class=heard.row_class[entry],
        row_wanted=survey.roster_wanted[entry],
        row_count=np.ones(len(entry), np.int64),
        rssi=np.full((len(entry), len(survey.levels_dbm)), -np.inf),
        pass_count=np.ones(passes, np.int64),
        group_of=np.arange(passes),
    )
    return profile, entry


class OwnLadders(Model):
    """The PuLP model, and the way back from its variables to trims and cutoffs."""

    def __init__(self, base: Problem, heard: ByAntenna, survey: Survey, clock: Clock) -> None:
        self.heard, self.trims = heard, _trims(survey.levels_dbm)
        self.shifts = _shifts(heard, survey.levels_dbm, self.trims)
        self.cutoffs = [self._cutoffs_of(a) for a in range(len(heard.allowed))]
        self.reached = [
            np.searchsorted(cutoffs, heard.rssi[:, a], "right") - 1
            for a, cutoffs in enumerate(self.cutoffs)
        ]
        self.entry = by_pass(survey)
        self._begin(replace(base, profile=self._profile(base, survey), top_fixed=False), clock)
        self._reported = self._walk(self.problem.profile, 0, 0)

    def _cutoffs_of(self, antenna: int) -> Floats:
        values = np.unique(self.heard.rssi[:, antenna, self.heard.allowed[antenna]])
        values = values[np.isfinite(values)]
        if not self.heard.cutoffs:
            return np.full(min(1, len(values)), -np.inf)
        return np.unique(settable_at_most(values, self.heard.step_db))

    def _profile(self, base: Problem, survey: Survey) -> Profile:
        """A read (0) wherever some antenna with some trim has one."""
        profile, entry = profile_of(base, self.heard, survey)
        read = np.zeros(profile.rssi.shape, bool)
        for a, shifts in enumerate(self.shifts):
            for at in shifts:
                read[:, at >= 0] |= np.isfinite(self.heard.rssi[entry, a])[:, at[at >= 0]]
        return replace(profile, rssi=np.where(read, 0.0, -np.inf))

    def _cutoff(self) -> list[pulp.LpVariable]:
        """One trim, settable, cutoff: as above; there is none that all antennas share."""
        self.o: dict[tuple[int, int], pulp.LpVariable] = {}
        self.w: dict[tuple[int, int], list[pulp.LpVariable]] = {}
        for a, cutoffs in enumerate(self.cutoffs):
            for t in range(len(self.trims)) if len(cutoffs) else ():
                on = self.o[a, t] = binary("o", a, t)
                w = self.w[a, t] = [binary("v", a, t, i) for i in range(len(cutoffs))]
                for i in range(len(cutoffs) - 1):
                    self.mip += w[i] <= w[i + 1]
                self.mip += w[-1] <= on if self.heard.cutoffs else w[-1] == on
        for a, shifts in enumerate(self.shifts):
            own = [(t, on) for (b, t), on in self.o.items() if b == a]
            self.mip += pulp.lpSum(on for _, on in own) <= 1
            for level, y in enumerate(self.y):
                cannot = [on for t, on in own if shifts[t, level] < 0]
                self.mip += y + pulp.lpSum(cannot) <= 1
        self.mip += pulp.lpSum(w[-1] for (_, t), w in self.w.items() if t == 0) >= 1
        return []

    def in_turn(self, turns: int) -> None:
        """In turn: as above."""
        on, steps = pulp.lpSum(self.o.values()), self.problem.steps_max
        antennas = len(self.shifts)
        for n in range(2, antennas + 1):
            b = binary("b", n)
            self.mip += on <= n - 1 + (antennas - n + 1) * b
            self.mip += pulp.lpSum(self.y) + (steps - min(steps, turns // n)) * b <= steps

    def _reads(self, profile: Profile) -> Reads:
        """E[r, l] with its rows."""

        def read(r: int, level: int) -> pulp.LpVariable:
            heard = share("E", r, level)
            each = [pulp.lpSum(own) for own in self._counts(int(self.entry[r]), level)]
            for own in each:
                self.mip += heard >= own
            self.mip += heard <= pulp.lpSum(each)
            return heard

        return Reads(read, None)

    def _counts(self, entry: int, level: int) -> list[list[pulp.LpVariable]]:
        """The terms of e[r, a, l], for each antenna that has some."""
        found = []
        for a, shifts in enumerate(self.shifts):
            own = [
                self.w[a, t][int(self.reached[a][entry, at])]
                for t, at in enumerate(shifts[:, level].tolist())
                if at >= 0 and np.isfinite(self.heard.rssi[entry, a, at])
            ]
            found += [own] if own else []
        return found

    def on(self) -> dict[int, tuple[float, float]]:
        """Trim and cutoff of each antenna that counts reads, one of them at trim 0."""
        found = {}
        for (a, t), w in self.w.items():
            kept = [i for i, one in enumerate(w) if one.value() > 0.5]
            if kept:
                found[a] = float(self.trims[t]), float(self.cutoffs[a][kept[0]])
        return found
