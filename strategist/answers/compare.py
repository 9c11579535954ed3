"""Strategies side by side on one survey: what each does, where they differ, how to change over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

from pydantic import Field

from strategist.answers.changes import Changes, changes_between
from strategist.answers.over import passes_over
from strategist.answers.per_pass import PER_PASS, PerPass, loss_over, per_pass_of
from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Flat, Hidden, told
from strategist.survey.policy import DECIMALS, Loss
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import Outcome, PassOutcome, evaluate
from strategist.trust.evaluation import Evaluation, Standing, evaluate_at
from strategist.trust.on_air import OnAir

_SAME_LOSS = 1e-6
SEED = 0  # of copies, as where nothing else is asked for


@dataclass(frozen=True)
class Side:
    """A strategy to compare, under a name; `source` is what messages call its text.

    `status` says that it was chosen and how well it is proven (None: given), `weights` by which
    weights (None: the read point's own); `warnings` are those of the choice.
    """

    name: str
    strategy: Strategy
    source: str = "strategy"
    weights: Loss | None = None
    status: str | None = None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class SideOfPass(Declared):
    """What a side's strategy does in a pass, by EPC, and the ladder steps that it walks."""

    missed: tuple[str, ...]
    stray: tuple[str, ...]
    steps: int


@dataclass(frozen=True)
class Row(Declared):
    """One side: what its strategy does under the read point's own weights.

    `chosen`: it was solved for, under weights of its own.
    """

    name: str
    chosen: bool
    weights: Loss
    status: str | None
    loss_own_weights: float
    loss: float
    silence_loss: float
    per_pass: Annotated[PerPass | None, Field(description=PER_PASS)]
    strategy: Strategy
    outcome: Outcome
    standing: Flat[Standing]
    on_air: Flat[OnAir]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Differing(Declared):
    """A pass that not all sides treat alike; the sides in their order."""

    pass_id: str
    sides: tuple[SideOfPass, ...]


@dataclass(frozen=True)
class Comparison(Declared):
    """The sides with their evaluations under the read point's own weights, in the order given.

    `passes` are those in which not all sides miss and report the same tags; `changes[i]` leads
    from the first side to side i + 1. Where the policy aims at others than each pass surveyed
    (`per_pass`, over the copies of seed 0), that is what says which side is best and what a change
    is worth.
    """

    read_point: str
    weights: Loss
    sides: Hidden[tuple[Side, ...]]
    evaluations: Hidden[tuple[Evaluation, ...]]
    per_passes: Hidden[tuple[PerPass | None, ...]]
    passes: tuple[Differing, ...]
    changes: tuple[Changes, ...]

    @told(after="evaluations")
    def rows(self) -> tuple[Row, ...]:
        return tuple(map(self._row, self.sides, self.evaluations, self.per_passes))

    def _row(self, side: Side, found: Evaluation, per_pass: PerPass | None) -> Row:
        weights, outcome = side.weights or self.weights, found.outcome
        return Row(
            side.name,
            side.status is not None,
            weights,
            side.status,
            weights.missed * outcome.missed + weights.stray * outcome.stray,
            found.loss,
            found.silence_loss,
            per_pass,
            found.strategy,
            outcome,
            found.standing,
            found.on_air,
            side.warnings or found.warnings,
        )

    @property
    def _losses(self) -> list[tuple[float, float]]:
        """Loss and guarded loss of each side: a pass, where others than each surveyed count."""
        both = zip(self.evaluations, self.per_passes, strict=True)
        return [
            (over.loss, over.guarded_loss) if over else (one.loss, one.standing.guarded.loss)
            for one, over in both
        ]

    @told(after="evaluations")
    def least_loss(self) -> tuple[str, ...]:
        """Names of the sides with the least loss."""
        losses = [loss for loss, _ in self._losses]
        both = zip(self.sides, losses, strict=True)
        return tuple(side.name for side, loss in both if loss <= min(losses) + _SAME_LOSS)

    @told(after="evaluations")
    def sturdier(self) -> dict[str, Any] | None:
        """The side with the least guarded loss among those that lose little more than the best of
        the sides and save more than that: None where there is none. `extra_loss` and
        `guarded_saved` say what it gives up and gains beside the side `than`, a pass where
        `per_pass` is what counts."""
        sides = sorted((*pair, number) for number, pair in enumerate(self._losses))
        least, guarded, than = sides[0]
        passes = self.evaluations[0].outcome.passes if self.per_passes[0] else 1
        most = least + self.weights.little(least * passes) / passes + _SAME_LOSS
        near = [
            (under_guard, loss, number)
            for loss, under_guard, number in sides[1:]
            if loss <= most and loss + under_guard < least + guarded - _SAME_LOSS
        ]
        if not near:
            return None
        under_guard, loss, number = min(near)
        return {
            "name": self.sides[number].name,
            "than": self.sides[than].name,
            "extra_loss": round(loss - least, DECIMALS),
            "guarded_saved": round(guarded - under_guard, DECIMALS),
        }


def compare(read_point: ReadPoint, sides: Sequence[Side]) -> Comparison:
    """Evaluate each side at a read point and say where and how they differ.

    Raises InputError without a side, where one uses a level that was not surveyed (named by its
    `source`), and where pairs were not surveyed and the policy does not say what to leave out.
    """
    if not sides:
        raise InputError.one("comparison", "", "at least one", wrong="has no strategy")
    evaluations = tuple(_evaluated(read_point, side) for side in sides)
    whole = complete(read_point)

    passes = passes_over(whole, SEED)

    def per_pass(strategy: Strategy) -> PerPass | None:
        return None if passes is None else per_pass_of(passes, whole.policy, strategy)

    def loss_of(strategy: Strategy) -> float:
        if passes is not None:
            return loss_over(passes, whole.policy, strategy)
        return evaluate(whole.survey, whole.policy, strategy).loss

    first = sides[0]
    changes = tuple(
        changes_between(first.strategy, side.strategy, loss_of, (first.name, side.name))
        for side in sides[1:]
    )
    epcs = [tag.epc for tag in whole.survey.tags]
    return Comparison(
        read_point.name,
        read_point.policy.loss,
        tuple(sides),
        evaluations,
        tuple(per_pass(side.strategy) for side in sides),
        _differing([one.outcome for one in evaluations], epcs),
        changes,
    )


def _evaluated(read_point: ReadPoint, side: Side) -> Evaluation:
    try:
        return evaluate_at(read_point, side.strategy)
    except InputError as error:
        faults = error.faults
        named = [replace(f, source=side.source) if f.source == "strategy" else f for f in faults]
        raise InputError(named) from None


def _differing(outcomes: Sequence[Outcome], epcs: Sequence[str]) -> tuple[Differing, ...]:
    def named(tags: Sequence[int]) -> tuple[str, ...]:
        return tuple(epcs[tag] for tag in tags)

    def told(of_pass: Sequence[PassOutcome]) -> Differing:
        return Differing(
            of_pass[0].pass_id,
            tuple(SideOfPass(named(p.missed), named(p.stray), p.steps) for p in of_pass),
        )

    aligned = zip(*(outcome.by_pass for outcome in outcomes), strict=True)
    return tuple(told(p) for p in aligned if len({(one.missed, one.stray) for one in p}) > 1)
