"""Margins: how far the ladder and the RSSI may move before a strategy does something worse.

In power the whole ladder moves: lowered by d dB, each step is tried at the surveyed level nearest
at or below L - d; raised, at the nearest at or above L + d; the end level stands in beyond the
range. Only shifts that meet a surveyed level are tried, in ascending order, until one costs a
wanted tag (a stray) that the strategy gets (keeps out) as it is. Levels that were predicted stand
for no other, so a ladder that moved is judged by measured reads alone (unless no level was measured
in every pass). In RSSI the cutoff stands still:
the weakest wanted tag reported, by its strongest read on the steps walked, and the strongest stray
that only the cutoff rejects.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.policy import DECIMALS, Policy
from strategist.survey.records import Bools, Survey
from strategist.tags.mask import chain_accepts
from strategist.trust.evaluate import Outcome, accepted_at, replay, surveyed_steps
from strategist.trust.guarded import Way, level_at


@dataclass(frozen=True)
class PowerMargin(Declared):
    """The ladder holds when moved by `holds_db`; moved by `fails_db`, the tag named sets the end.

    `fails_db`, `pass_id` and `epc` are None where the surveyed levels end before anything fails:
    then the margin is at least `holds_db`. `others` counts further tags that fail with it.
    """

    holds_db: float
    fails_db: float | None = None
    pass_id: str | None = None
    epc: str | None = None
    others: int = 0


@dataclass(frozen=True)
class RssiMargin(Declared):
    """Distance (dB, not negative) of the read that sets the margin to the cutoff.

    `predicted`: that read was not measured.
    """

    db: float
    pass_id: str
    epc: str
    predicted: bool = False


@dataclass(frozen=True)
class OfPower(Declared):
    wanted: PowerMargin | None
    stray: PowerMargin | None


@dataclass(frozen=True)
class OfRssi(Declared):
    wanted: RssiMargin | None
    stray: RssiMargin | None


@dataclass(frozen=True)
class Margins(Declared):
    """None where a margin means nothing.

    `power_wanted`: no wanted tag is reported. `power_stray`: every stray is reported already, or
    none was presented. `rssi_…`: no cutoff, or no such read.
    """

    power_wanted: Hidden[PowerMargin | None]
    power_stray: Hidden[PowerMargin | None]
    rssi_wanted: Hidden[RssiMargin | None]
    rssi_stray: Hidden[RssiMargin | None]

    @told(after="rssi_stray")
    def power(self) -> OfPower:
        return OfPower(self.power_wanted, self.power_stray)

    @told(after="rssi_stray")
    def rssi(self) -> OfRssi:
        return OfRssi(self.rssi_wanted, self.rssi_stray)


def margins_of(survey: Survey, policy: Policy, strategy: Strategy, outcome: Outcome) -> Margins:
    """The margins of a strategy in a completely surveyed read point, whose outcome is known."""
    shift = _Shift(survey, policy, strategy)
    rssi_wanted, rssi_stray = _rssi(survey, strategy, outcome)
    return Margins(
        shift.margin("down", _missed, outcome) if outcome.missed < outcome.wanted else None,
        shift.margin("up", _strays, outcome) if outcome.stray < outcome.stray_presented else None,
        rssi_wanted,
        rssi_stray,
    )


Entries = set[tuple[int, int]]  # (pass index, tag index)


def _missed(outcome: Outcome) -> Entries:
    return {(number, tag) for number, p in enumerate(outcome.by_pass) for tag in p.missed}


def _strays(outcome: Outcome) -> Entries:
    return {(number, tag) for number, p in enumerate(outcome.by_pass) for tag in p.stray}


class _Shift:
    """A strategy whose ladder is moved up or down as a whole."""

    def __init__(self, survey: Survey, policy: Policy, strategy: Strategy) -> None:
        self.survey, self.policy, self.strategy = survey, policy, strategy
        self._at: dict[int, dict[int, set[int]]] = {}
        measured: Bools = np.logical_and.reduce(survey.measured, axis=0)
        self.usable = measured if measured.any() else np.ones_like(measured)

    def _accepted(self, level: int) -> dict[int, set[int]]:
        """The tags accepted at a level, by pass; found when it is first asked for."""
        if level not in self._at:
            (self._at[level],) = accepted_at(self.survey, self.strategy, [level])
        return self._at[level]

    def margin(
        self, way: Way, worse: Callable[[Outcome], Entries], outcome: Outcome
    ) -> PowerMargin:
        """The first shift at which an entry is worse off than in `outcome`."""
        levels, sign = self.survey.levels_dbm, 1.0 if way == "up" else -1.0
        steps = np.array(self.strategy.levels_dbm)
        apart = np.round(sign * (levels[self.usable] - steps[:, None]), DECIMALS)
        before, holds, seen = worse(outcome), 0.0, None
        for db in np.unique(apart[apart > 0]).tolist():
            moved = [
                level_at(levels, step + sign * db, way, self.usable)[0] for step in steps.tolist()
            ]
            if moved != seen:
                steps_then = [self._accepted(level) for level in moved]
                found = replay(self.survey, self.policy, self.strategy, steps_then)
                new = worse(found) - before
                if new:
                    passes, tags = self.survey.pass_ids, self.survey.tags
                    pass_id, epc = min((passes[number], tags[tag].epc) for number, tag in new)
                    return PowerMargin(holds, db, pass_id, epc, len(new) - 1)
                seen = moved
            holds = db
        return PowerMargin(holds)


def _rssi(
    survey: Survey, strategy: Strategy, outcome: Outcome
) -> tuple[RssiMargin | None, RssiMargin | None]:
    """The weakest wanted tag reported and the strongest stray that the cutoff alone rejects."""
    if strategy.cutoff is None:
        return None, None
    steps = surveyed_steps(survey, strategy)
    place = np.full(len(survey.levels_dbm), len(steps))
    place[steps] = np.arange(len(steps))
    walked = np.array([p.steps for p in outcome.by_pass])
    in_earnest = survey.measured
    strongest: dict[tuple[int, int], tuple[float, bool]] = {}
    for read in np.flatnonzero(place[survey.read_level] < walked[survey.read_pass]):
        number, level = int(survey.read_pass[read]), int(survey.read_level[read])
        found = (float(survey.read_rssi[read]), bool(in_earnest[number, level]))
        entry = (number, int(survey.read_tag[read]))
        strongest[entry] = max(strongest.get(entry, found), found)
    wanted: list[tuple[float, int, int, bool]] = []
    stray: list[tuple[float, int, int, bool]] = []
    for number, tag, belongs in zip(
        survey.roster_pass.tolist(),
        survey.roster_tag.tolist(),
        survey.roster_wanted.tolist(),
        strict=True,
    ):
        rssi, measured = strongest.get((number, tag), (-np.inf, True))
        if rssi == -np.inf or not chain_accepts(strategy.masks, survey.tags[tag]):
            continue
        db = round(rssi - strategy.cutoff, DECIMALS)
        if belongs and db >= 0:
            wanted.append((db, number, tag, not measured))
        elif not belongs and db < 0:
            stray.append((-db, number, tag, not measured))

    def least(reads: list[tuple[float, int, int, bool]]) -> RssiMargin | None:
        named = [(db, survey.pass_ids[p], survey.tags[tag].epc, by) for db, p, tag, by in reads]
        return RssiMargin(*min(named)) if named else None

    return least(wanted), least(stray)
