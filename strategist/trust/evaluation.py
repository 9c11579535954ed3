"""What is judged of one strategy at a read point, as surveyed: what `compare` says of each."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Flat, told
from strategist.survey.order import figure, some
from strategist.survey.policy import DECIMALS, Policy, Reader
from strategist.survey.records import ReadPoint, Survey
from strategist.survey.score import Peak
from strategist.tags.mask import unrecorded
from strategist.trust.dependence import dependence_of
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.foreseen import Foreseen, foreseen_of
from strategist.trust.guarded import GuardedOutcome, guarded_outcome
from strategist.trust.margins import Margins, margins_of
from strategist.trust.on_air import OnAir, on_air_of
from strategist.trust.rates import Rates, rates_of
from strategist.trust.scores import as_heard
from strategist.trust.worst_case import WorstCase, worst_case

_SAME_LOSS = 1e-6


def silence_loss(policy: Policy, outcome: Outcome) -> float:
    """The loss where nothing is reported: each wanted tag presented is missed, no stray let in."""
    return round(policy.loss.missed * outcome.wanted, 6)


def silence_warnings(
    policy: Policy, outcome: Outcome, a_pass: tuple[float, float] | None = None
) -> tuple[str, ...]:
    """What to know first of a strategy that is no better than silence, or misses all: sentences.

    `a_pass` is its loss and that of silence over other passes than each one surveyed, where these
    count.
    """
    said = []
    loss, silent = a_pass or (outcome.loss, silence_loss(policy, outcome))
    if loss >= silent - _SAME_LOSS:
        least, unit = figure(silent), "" if a_pass is None else " a pass"
        over = policy.limits.excess(1.0 if outcome.wanted else None, 0.0) > 0
        but = ", but a limit of missed tags forbids that." if over else ". Do not install it."
        said.append(
            f"This strategy is no better than silence: its loss is {figure(loss)}{unit}, and to "
            f"report nothing at all loses {least}{but}"
        )
    if outcome.wanted and outcome.missed == outcome.wanted:
        said.append(
            f"Every wanted tag of the survey is missed ({outcome.missed} of {outcome.wanted})."
        )
    return tuple(said)


def not_settable(reader: Reader, strategy: Strategy) -> tuple[str, ...]:
    """Whole sentences on levels and a cutoff that are none of the reader's."""
    said = []
    trims, offsets = _of_antennas(strategy)
    asked = {round(x + db, DECIMALS) for x, db in itertools.product(strategy.levels_dbm, trims)}
    levels = [figure(one) for one in sorted(asked) if not reader.can_set_level(one)]
    if levels:
        said.append(
            f"The reader cannot be set to {some(levels)} dBm (see reader.power_levels_dbm in "
            "site.json)."
        )
    cutoff, unit = strategy.cutoff, "dBm" if strategy.cutoff_db is None else "dB"
    cutoffs = [] if cutoff is None else [round(cutoff + db, DECIMALS) for db in sorted(offsets)]
    if lacking := [figure(one) for one in cutoffs if not reader.can_set_cutoff(one)]:
        said.append(
            f"The reader cannot be set to a cutoff of {some(lacking)} {unit}: it takes multiples "
            f"of {figure(reader.rssi_step_db or 0)} dB (reader.rssi_step_db in site.json; null for "
            "any cutoff)."
        )
    return tuple(said)


def _of_antennas(strategy: Strategy) -> tuple[set[float], set[float]]:
    """The trims and offsets (dB) of the antennas that are on."""
    score = strategy.score
    if not isinstance(score, Peak):
        return {0.0}, {0.0}
    pairs = dict(score.trim_db), dict(score.offset_db)
    on = score.antennas or (0, *pairs[0], *pairs[1])  # all: one that neither names is among them
    trims, offsets = ({db.get(antenna, 0.0) for antenna in on} for db in pairs)
    return trims, offsets


@dataclass(frozen=True)
class Standing(Declared):
    """What every answer carries of its own weakness."""

    guarded: GuardedOutcome
    worst_case: WorstCase
    rates: Rates
    margins: Margins
    predicted: Annotated[
        Foreseen | None,
        Field(description="Levels that were predicted, and their 95 % errors in dB"),
    ]

    @told()
    def guarded_loss(self) -> float:
        """If every tag drifts the whole guard the wrong way."""
        return self.guarded.loss

    @told(after="guarded")
    def worst_case_loss(self) -> float:
        """The most that drift can cost if each tag drifts its own way within the guards."""
        return self.worst_case.loss

    @property
    def warnings(self) -> tuple[str, ...]:
        """What must be done before the settings are handed over."""
        return () if self.predicted is None else self.predicted.warnings


def standing_of(
    survey: Survey,
    policy: Policy,
    strategy: Strategy,
    outcome: Outcome,
    guarded: GuardedOutcome | None = None,
) -> Standing:
    """The standing of a strategy whose outcome in a completely surveyed read point is known, and
    perhaps that under the guards."""
    guarded = guarded or guarded_outcome(survey, policy, strategy)
    survey, policy, strategy = as_heard(survey, policy, strategy)
    return Standing(
        guarded,
        worst_case(survey, policy, strategy),
        rates_of(outcome, dependence_of(survey, outcome)),
        margins_of(survey, policy, strategy, outcome),
        foreseen_of(survey, strategy),
    )


SilenceLoss = Annotated[float, Field(description="The loss where the read point reports nothing")]


@dataclass(frozen=True)
class Evaluation(Declared):
    """A strategy with its outcome; `silence_loss` is what is lost where nothing is reported.

    `warnings` are whole sentences: no better than silence, what the reader cannot be set to, levels
    above the lawful one, a ladder too long for the dwell, the survey, and masks that test what it
    did not record.
    """

    read_point: str
    silence_loss: SilenceLoss
    strategy: Strategy
    outcome: Outcome
    standing: Flat[Standing]
    on_air: Flat[OnAir]
    warnings: tuple[str, ...]

    @told(after="read_point")
    def loss(self) -> float:
        return self.outcome.loss


def evaluate_at(read_point: ReadPoint, strategy: Strategy) -> Evaluation:
    """The evaluation on the same passes and levels that `choose` would look at.

    Raises InputError where the strategy uses a level that was not surveyed, and where pairs were
    not surveyed and the policy does not say what to leave out.
    """
    whole = complete(read_point)
    outcome = evaluate(whole.survey, whole.policy, strategy)
    standing = standing_of(whole.survey, whole.policy, strategy, outcome)
    on_air = on_air_of(whole.survey, whole.policy, strategy, outcome)
    unknown = unrecorded(strategy.masks, whole.survey.tags)
    warnings = (
        *silence_warnings(whole.policy, outcome),
        *not_settable(whole.policy.reader, strategy),
        *on_air.warnings,
        *whole.warnings,
        *standing.warnings,
        *unknown,
    )
    silent = silence_loss(whole.policy, outcome)
    return Evaluation(read_point.name, silent, strategy, outcome, standing, on_air, warnings)
