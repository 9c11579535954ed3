"""A strategy in the words of an open standard, and what it does there as it is written."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

from strategist.errors import DisagreementError, InputError
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.radio.lawful import Lawful
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.order import figure
from strategist.survey.policy import DECIMALS
from strategist.survey.records import ReadPoint, Survey
from strategist.survey.score import AnyScore, Difference, Peak
from strategist.tags.gen2 import gen2_document
from strategist.tags.host_rules import Keep, keeps_of
from strategist.tags.llrp import llrp_document
from strategist.tags.power_table import PowerTable
from strategist.tags.read_back import chain_of_frames, of_ai_specs, of_llrp_step
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.evaluation import not_settable, silence_warnings
from strategist.trust.steps import Step, steps_of


@dataclass(frozen=True)
class Replayed(Declared):
    """A strategy and the one that comes back from the settings written for it, with the outcome of
    each in the survey; `refused` is why neither could be replayed (the outcomes are then None).
    """

    meant: Hidden[Strategy]
    strategy: Strategy
    meant_outcome: Hidden[Outcome | None]
    outcome: Outcome | None
    refused: Hidden[str | None]
    warnings: Hidden[tuple[str, ...]]

    @told(after="outcome")
    def loss(self) -> float | None:
        return None if self.outcome is None else self.outcome.loss

    @told(after="outcome")
    def meant_loss(self) -> float | None:
        return None if self.meant_outcome is None else self.meant_outcome.loss

    @told(after="strategy")
    def same(self) -> bool | None:
        """Whether both do the same in every pass; None where they could not be replayed."""
        if self.outcome is None or self.meant_outcome is None:
            return None
        return self.outcome.by_pass == self.meant_outcome.by_pass

    @told(after="outcome")
    def sentence(self) -> str:
        if self.outcome is None or self.meant_outcome is None:
            return f"These settings could not be replayed on the survey: {self.refused}"
        if self.same:
            return f"Replayed on the survey as written: {_counts(self.outcome)}, as it should be."
        return f"As written: {_counts(self.outcome)}, not {_counts(self.meant_outcome)}."


def replayed(read_point: ReadPoint, meant: Strategy, written: Strategy) -> Replayed:
    """Evaluate both in the survey; `warnings` tell of settings that are no better than silence and
    of what the reader cannot be set to."""
    settable = not_settable(read_point.policy.reader, meant)
    try:
        whole = complete(read_point)
        outcomes = [evaluate(whole.survey, whole.policy, one) for one in (meant, written)]
    except InputError as error:
        return Replayed(meant, written, None, None, str(error.faults[0]), settable)
    warnings = (*silence_warnings(whole.policy, outcomes[1]), *settable)
    return Replayed(meant, written, outcomes[0], outcomes[1], None, warnings)


def _counts(outcome: Outcome) -> str:
    return f"{outcome.missed} missed and {outcome.stray} stray (loss {figure(outcome.loss)})"


Form = Literal["gen2", "llrp"]


@dataclass(frozen=True)
class Settings(Declared):
    """A strategy in a standard, whose own keys come first in the JSON.

    `levels` marks each step as lawful or not and surveyed, predicted or neither; `replay` is what
    the settings do in the survey, read back from their bits, which is what the strategy does;
    `warnings` say what must be settled first.
    """

    read_point: str
    format: Form
    standard: Hidden[dict[str, Any]]
    levels: tuple[Step, ...]
    lawful: Lawful
    warnings: tuple[str, ...]
    replay: Replayed

    def to_json(self) -> dict[str, Any]:
        return self.standard | super().to_json()


def settings_of(
    read_point: ReadPoint, strategy: Strategy, form: Form, power_table: PowerTable | None = None
) -> Settings:
    """The settings, replayed. "llrp" needs the reader's
    own power table. Raises InputError without one, where a level of the strategy is not in it, and
    where whole numbers of dBm, as LLRP reports RSSI, do something else in the survey than the
    cutoffs of the strategy; DisagreementError where settings differ in anything else.
    """
    steps = steps_of(read_point, strategy.levels_dbm)
    document, again = _in_standard(read_point, strategy, form, power_table)
    if again.same is False:
        raise _not_as_proven(again)
    warnings = [*again.warnings, *steps.warnings]
    if again.same is None:
        warnings.insert(0, again.sentence)
    return Settings(
        read_point.name, form, document, steps.levels, steps.lawful, tuple(warnings), again
    )


def _not_as_proven(again: Replayed) -> InputError | DisagreementError:
    """What is said of settings that do something else than the strategy: none are given."""
    written, meant = again.strategy, again.meant
    assert again.outcome is not None and again.meant_outcome is not None
    if (written.cutoff, written.score) == (meant.cutoff, meant.score):
        return DisagreementError(
            f"settings read back do something else than was meant ({_counts(again.outcome)} for "
            f"{_counts(again.meant_outcome)}): please report this"
        )
    cutoff = "its cutoffs by antenna cannot be set"
    if written.cutoff != meant.cutoff and meant.cutoff is not None:
        unit = "dBm" if meant.cutoff_db is None else "dB"
        cutoff = f"its cutoff of {figure(meant.cutoff)} {unit} cannot be set"
    wrong = (
        f"LLRP reports RSSI in whole dBm, so {cutoff}; whole numbers would come to "
        f"{_counts(again.outcome)} in place of {_counts(again.meant_outcome)}"
    )
    todo = "Set reader.rssi_step_db to 1 in site.json and solve again: cutoffs are then whole."
    return InputError.one("strategy", "", todo, wrong=wrong)


def _in_standard(
    read_point: ReadPoint, strategy: Strategy, form: Form, power_table: PowerTable | None
) -> tuple[dict[str, Any], Replayed]:
    if form == "gen2":
        shortest = min((4 * len(tag.epc) for tag in read_point.survey.tags), default=None)
        document = gen2_document(strategy.masks, shortest)
        chain = chain_of_frames([one["frame"] for one in document["commands"]])
        return document, replayed(read_point, strategy, replace(strategy, masks=chain))
    if power_table is None:
        allowed = (
            "the reader's own table of transmit powers (index,power_dbm), since LLRP sets a power "
            "by its index in that table"
        )
        raise InputError.one("power table", "", allowed)
    step_s = strategy.step_s or read_point.policy.time.steps_s[-1]
    score = _named(strategy.score, read_point.survey)
    written = [
        _in_llrp(read_point, strategy, power_table, keep, step_s)
        for keep in keeps_of(score, strategy.cutoff)
    ]
    return min(written, key=lambda one: _worse(one[1]))  # the first of those that are as good


def _in_llrp(
    read_point: ReadPoint,
    strategy: Strategy,
    table: PowerTable,
    keep: Keep,
    step_s: float | None,
) -> tuple[dict[str, Any], Replayed]:
    document = llrp_document(
        strategy.levels_dbm,
        strategy.masks,
        table,
        stop_after=strategy.stop_after,
        keep=keep,
        step_s=step_s,
        in_turn=read_point.policy.time.in_turn and len(read_point.survey.antennas) > 1,
    )
    if keep.score is None or keep.score.on is None:
        steps = [of_llrp_step(step["bytes"]) for step in document["steps"]]
        written = Strategy(
            tuple(map(table.same_level, (index for index, _ in steps), strategy.levels_dbm)),
            document["stop_after"],
            document["keep_from_dbm"],
            steps[0][1],
            keep.score,
            step_s=strategy.step_s,
        )
    else:
        written = _of_ai_specs(document, strategy, table, keep)
    return document, replayed(read_point, strategy, written)


def _of_ai_specs(
    document: dict[str, Any], strategy: Strategy, table: PowerTable, keep: Keep
) -> Strategy:
    """The strategy that AISpecs say, with what the host keeps.

    Raises DisagreementError where their steps differ in more than the level.
    """
    specs = [of_ai_specs(step["bytes"]["AISpec"]) for step in document["steps"]]
    score, first = keep.score, specs[0]
    asked = dict(score.trim_db) if isinstance(score, Peak) else {}
    levels, trims = [], []
    for spec, level in zip(specs, strategy.levels_dbm, strict=True):
        power = {a: table.same_level(i, level + asked.get(a, 0.0)) for a, i in spec.power_index}
        base = next(iter(power))
        levels.append(round(power[base] - asked.get(base, 0.0), DECIMALS))
        own = {a: round(dbm - levels[-1], DECIMALS) for a, dbm in power.items()}
        trims.append(tuple((a, db) for a, db in own.items() if db))
        if (spec.chain, spec.seconds, trims[-1]) != (first.chain, first.seconds, trims[0]):
            raise DisagreementError("steps of the settings differ in more than the level")
    on = tuple(antenna for antenna, _ in first.power_index)
    cutoff: float | None = keep.at_least
    if isinstance(score, Peak):
        own_cutoffs = dict(keep.by_antenna)
        cutoff = own_cutoffs.get(on[0], keep.at_least)
        offsets = ((a, float(dbm - own_cutoffs[on[0]])) for a, dbm in own_cutoffs.items())
        score = replace(
            score, antennas=on, trim_db=trims[0], offset_db=tuple(one for one in offsets if one[1])
        )
    in_db = isinstance(score, Difference)
    return Strategy(
        tuple(levels),
        document["stop_after"],
        None if in_db else cutoff,
        first.chain or (),
        score,
        cutoff if in_db else None,
        strategy.step_s and first.seconds,
    )


def _named(score: AnyScore, survey: Survey) -> AnyScore:
    """A score with trims or offsets names the antennas that are on: all, where it names none."""
    if isinstance(score, Peak) and score.antennas is None and (score.trim_db or score.offset_db):
        return replace(score, antennas=survey.antennas)
    return score


def _worse(again: Replayed) -> tuple[bool, float]:
    """What written settings are chosen by: the same as the strategy, then the least loss."""
    return not again.same, 0.0 if again.outcome is None else again.outcome.loss
