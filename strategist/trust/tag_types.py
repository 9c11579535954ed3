"""Mixed tag types: what a cutoff costs where they differ in RSSI, and what leaving it out costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, told
from strategist.survey.policy import DECIMALS, Guard
from strategist.survey.profile import turn_on
from strategist.survey.records import ReadPoint
from strategist.survey.rssi import TypeOffset, type_offsets
from strategist.trust.evaluate import evaluate
from strategist.trust.guarded import guarded_outcome


@dataclass(frozen=True)
class Losses(Declared):
    loss: float
    guarded_loss: float


@dataclass(frozen=True)
class TagTypes(Declared):
    """The offsets between tag types, and losses with and without the cutoff.

    `offset_db` is the largest offset that is real. Guarded losses have it added to the guard of
    RSSI: each wanted tag may be of the type that answers weaker, each stray of the one that
    answers stronger. `strategy_without` is the best strategy that uses no cutoff. The values after
    `offsets` are None where no offset is real or the strategy has no cutoff.
    """

    offsets: tuple[TypeOffset, ...]
    offset_db: float | None = None
    with_cutoff: Losses | None = None
    without_cutoff: Losses | None = None
    strategy_without: Strategy | None = None

    @told(after="strategy_without")
    def cutoff_stands(self) -> bool | None:
        """Whether the cutoff is worth keeping under the offset; None where that is no question."""
        if self.with_cutoff is None or self.without_cutoff is None:
            return None
        return self.with_cutoff.guarded_loss <= self.without_cutoff.guarded_loss

    @told(after="strategy_without")
    def sentence(self) -> str | None:
        """What the offset means for the cutoff, for a person."""
        if self.with_cutoff is None or self.without_cutoff is None:
            return None
        kept, out = self.with_cutoff, self.without_cutoff
        verdict = "Keep the cutoff."
        if not self.cutoff_stands:
            verdict = "Leave the cutoff out, unless tags of one type alone come here."
        return (
            f"Tag types differ by {self.offset_db:.1f} dB. Loss with the cutoff: {kept.loss:g} "
            f"({kept.guarded_loss:g} if drift and this offset go the wrong way). Best without a "
            f"cutoff: {out.loss:g} ({out.guarded_loss:g}). {verdict}"
        )


def measured_types(read_point: ReadPoint) -> TagTypes:
    """The tag types of a completely surveyed read point: their offsets alone."""
    measured = read_point.survey.as_measured()
    return TagTypes(type_offsets(measured, turn_on(measured)))


def without_cutoff(read_point: ReadPoint, strategy: Strategy, types: TagTypes) -> list[ReadPoint]:
    """The read point with no cutoff allowed; none where no offset asks what the cutoff is worth."""
    if strategy.cutoff_dbm is None or not any(one.real for one in types.offsets):
        return []
    policy = read_point.policy
    allow = tuple(way for way in policy.allow if way != "cutoff")
    return [replace(read_point, policy=replace(policy, allow=allow))]


def judge_cutoff(
    read_point: ReadPoint, strategy: Strategy, types: TagTypes, others: Sequence[Strategy]
) -> TagTypes:
    """What the tag types mean for the cutoff; `others` was chosen for `without_cutoff`."""
    if not others:
        return types
    survey, policy = read_point.survey, read_point.policy
    (other,) = others
    offset = round(max(abs(one.offset_db) for one in types.offsets if one.real), DECIMALS)
    guard = Guard(policy.guard.power_db, policy.guard.rssi_db + offset)

    def losses(one: Strategy) -> Losses:
        plain = evaluate(survey, policy, one).loss
        return Losses(plain, guarded_outcome(survey, policy, one, guard).loss)

    return TagTypes(types.offsets, offset, losses(strategy), losses(other), other)
