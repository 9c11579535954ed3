"""Cross-validation: choose again without some passes, and see what the choice does to them.

The passes are cut into blocks of neighbours, not drawn at random: neighbouring passes may share
tags and a drift of the site, and a block left out keeps those from both sides of the test.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.late import stats
from strategist.survey.order import figure
from strategist.survey.policy import Policy
from strategist.survey.records import Floats, Ints, ReadPoint, Survey
from strategist.tags.mask import Mask
from strategist.trust.dependence import dependence_of
from strategist.trust.evaluate import Outcome, PassOutcome, evaluate
from strategist.trust.rates import Rates, rates_of

FOLDS = 5  # each costs one more choice; more folds would each learn from a little more
_REAL = 0.05  # held-out loss above the fitted one is called real below this chance
_RESAMPLES = 2000
_SEED = 11


@dataclass(frozen=True)
class LadderCount(Declared):
    levels_dbm: tuple[float, ...]
    folds: int


@dataclass(frozen=True)
class CutoffRange(Declared):
    """How many folds took no cutoff, and between which the others' lie."""

    none: int
    lowest_dbm: float | None
    highest_dbm: float | None


@dataclass(frozen=True)
class PassLosses(Declared):
    """Losses a pass."""

    fitted: float
    held_out: float


@dataclass(frozen=True)
class Again(Declared):
    """How often the choices of the folds took each setting; of the answer's own settings first.

    `ladders` are counted, and in `chosen` single masks whatever their place in the chain.
    `cutoffs_dbm` has an entry for each fold, None for no cutoff.
    """

    folds: int
    ladders: Hidden[tuple[tuple[tuple[float, ...], int], ...]]
    cutoffs_dbm: Hidden[tuple[float | None, ...]]
    chosen: Hidden[tuple[tuple[Mask, int], ...]]

    @told(after="folds")
    def levels(self) -> tuple[LadderCount, ...]:
        return tuple(LadderCount(*one) for one in self.ladders)

    @told(after="folds")
    def cutoff(self) -> CutoffRange:
        used = [cutoff for cutoff in self.cutoffs_dbm if cutoff is not None]
        none = len(self.cutoffs_dbm) - len(used)
        return CutoffRange(none, min(used, default=None), max(used, default=None))

    @told(after="folds")
    def masks(self) -> tuple[dict[str, Any], ...]:
        return tuple({**mask.to_json(), "folds": n} for mask, n in self.chosen)


@dataclass(frozen=True)
class CrossValidation(Declared):
    """The answer on the passes it was chosen from, and re-chosen strategies on passes left out.

    `optimism` is the difference of the losses, `chance` the
    probability that the folds' luck alone makes one so large (paired by pass, signs flipped). The
    intervals of the held-out rates span the fitted ones. Alone, they allow for the luck of the
    passes and not for that of the choice, and hold the answer's own true rates too seldom: it may
    trade misses for strays otherwise than the folds do. Its fitted rates know, and flatter it.
    `warnings` are sentences for what does not hold.
    """

    strategies: Hidden[tuple[Strategy, ...]]
    loss_per_pass: PassLosses
    chance: float
    fitted: Rates
    held_out: Rates
    chosen_again: Again
    warnings: tuple[str, ...]

    @property
    def optimism(self) -> float:
        return self.loss_per_pass.held_out - self.loss_per_pass.fitted

    @told(after="strategies")
    def folds(self) -> int:
        return self.chosen_again.folds


def without_folds(read_point: ReadPoint, folds: int = FOLDS) -> list[ReadPoint]:
    """The read point without each fold of passes in turn; none where a fold would have fewer than
    two passes."""
    survey = read_point.survey
    if len(survey.pass_ids) < 2 * folds:
        return []
    fold_of = _fold_of(survey, folds)
    return [
        replace(read_point, survey=survey.keep(passes=fold_of != fold)) for fold in range(folds)
    ]


def cross_validate(
    read_point: ReadPoint,
    strategy: Strategy,
    outcome: Outcome,
    strategies: Sequence[Strategy],
) -> CrossValidation | None:
    """Evaluate each of `strategies`, chosen for `without_folds`, on the fold it did not see.

    `outcome` is that of `strategy` in the completely surveyed read point. None where there were no
    folds.
    """
    if not strategies:
        return None
    survey, policy = read_point.survey, read_point.policy
    fold_of = _fold_of(survey, len(strategies))
    held = [
        evaluate(survey.keep(passes=fold_of == fold), policy, chosen)
        for fold, chosen in enumerate(strategies)
    ]
    held_out = _together(held)
    lost, fitted = _losses(held_out, policy), _losses(outcome, policy)
    chance = _chance(lost - fitted)
    again = _again(strategy, strategies)
    fitted_rates = rates_of(outcome, dependence_of(survey, outcome))
    rates = rates_of(held_out, dependence_of(survey, held_out)).spanning(fitted_rates)
    warnings = []
    if chance < _REAL:
        warnings.append(
            f"the fit is optimistic: chosen without them, passes lose {_figure(lost)} each, and "
            f"{_figure(fitted)} as fitted; expect {_missed(held_out)}, not {_missed(outcome)}"
        )
    warnings += _unsteady(again)
    return CrossValidation(
        tuple(strategies),
        PassLosses(float(fitted.mean()), float(lost.mean())),
        chance,
        fitted_rates,
        rates,
        again,
        tuple(warnings),
    )


def _fold_of(survey: Survey, folds: int) -> Ints:
    """The fold of each pass."""
    passes = len(survey.pass_ids)
    return np.arange(passes) * folds // passes


def _together(held: list[Outcome]) -> Outcome:
    """The outcome of all folds; they are blocks, so the passes stand in the survey's order."""
    by_pass: tuple[PassOutcome, ...] = sum((one.by_pass for one in held), ())
    return Outcome(
        passes=len(by_pass),
        wanted=sum(one.wanted for one in held),
        missed=sum(one.missed for one in held),
        stray_presented=sum(one.stray_presented for one in held),
        stray=sum(one.stray for one in held),
        loss=sum(one.loss for one in held),
        by_pass=by_pass,
    )


def _losses(outcome: Outcome, policy: Policy) -> Floats:
    weights = policy.loss
    return np.array(
        [weights.missed * len(p.missed) + weights.stray * len(p.stray) for p in outcome.by_pass]
    )


def _figure(losses: Floats) -> str:
    return figure(round(float(losses.mean()), 3))


def _chance(worse: Floats) -> float:
    """One-sided p-value that the mean difference is above 0, by flipping signs of pairs."""
    changed = worse[worse != 0]
    if not len(changed) or changed.sum() <= 0:
        return 1.0
    if len(changed) == 1:  # one pair may fall either way
        return 0.5
    test = stats.permutation_test(
        (changed,),
        np.mean,
        permutation_type="samples",
        alternative="greater",
        n_resamples=_RESAMPLES,
        vectorized=True,
        rng=np.random.default_rng(_SEED),
    )
    return float(test.pvalue)


def _again(strategy: Strategy, strategies: Sequence[Strategy]) -> Again:
    ladders = Counter(chosen.levels_dbm for chosen in strategies)
    masks = Counter(m for one in strategies for m in dict.fromkeys(map(_single, one.masks)))
    own_masks = [_single(mask) for mask in strategy.masks]
    levels = [strategy.levels_dbm, *(x for x, _ in ladders.most_common())]
    order = [*own_masks, *(mask for mask, _ in masks.most_common())]
    return Again(
        len(strategies),
        tuple((ladder, ladders[ladder]) for ladder in dict.fromkeys(levels)),
        tuple(chosen.cutoff_dbm for chosen in strategies),
        tuple((mask, masks[mask]) for mask in dict.fromkeys(order)),
    )


def _single(mask: Mask) -> Mask:
    """The mask without its place in a chain."""
    return replace(mask, join=None)


def _unsteady(again: Again) -> list[str]:
    """Settings of the answer that fewer than half of the folds chose again."""
    own = again.ladders[0]
    said = []
    if 2 * own[1] < again.folds:
        levels = ", ".join(f"{level:g}" for level in own[0])
        said.append(
            f"Only {own[1]} of {again.folds} folds chose {levels} dBm again: the choice of levels "
            "is unstable."
        )
    return said


def _missed(outcome: Outcome) -> str:
    return f"{outcome.missed} of {outcome.wanted} missed and {outcome.stray} stray"
