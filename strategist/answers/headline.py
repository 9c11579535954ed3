"""What to know first of an answer, in five sentences: the same in text, JSON, page and API."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Protocol

from pydantic import Field

from strategist.answers.by_antenna import score_words
from strategist.answers.expected import Expected
from strategist.answers.per_pass import PerPass
from strategist.answers.sturdier import Sturdier
from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared
from strategist.survey.findings import Finding
from strategist.survey.order import figure, short
from strategist.survey.policy import Loss
from strategist.trust.acceptance import plan_acceptance
from strategist.trust.evaluate import Outcome
from strategist.trust.evaluation import Standing
from strategist.trust.intervals import Rate, percent, percent_up, upper_bound
from strategist.trust.margins import Margins
from strategist.trust.miss_rate_max import MISS_RATE_MAX

_INSEPARABLE = 0.5  # of the loss of reporting nothing or everything: from there on, no answer
_CONFIDENCE = 0.95


@dataclass(frozen=True)
class Headline(Declared):
    """Five plain sentences, or two where one does not do; None of them needs the rest."""

    verdict: Annotated[
        str, Field(description="Whether the survey carries an answer, and of which kind")
    ]
    set: Annotated[str, Field(description="What to set")]
    expect: Annotated[
        str, Field(description="What is missed and reported: counts, and upper rates")
    ]
    robustness: Annotated[str, Field(description="What drift would cost, and the least margin")]
    next_step: Annotated[str, Field(description="What to do next")]


class Told(Protocol):
    """What a headline is drawn from: an assessment."""

    @property
    def status(self) -> str: ...
    @property
    def loss(self) -> float: ...
    @property
    def bound(self) -> float: ...
    @property
    def silence_loss(self) -> float: ...
    @property
    def weights(self) -> Loss: ...
    @property
    def strategy(self) -> Strategy: ...
    @property
    def outcome(self) -> Outcome: ...
    @property
    def standing(self) -> Standing: ...
    @property
    def sturdier(self) -> Sturdier | None: ...
    @property
    def proof(self) -> Mapping[str, Any]: ...
    @property
    def searched(self) -> Mapping[str, int]: ...
    @property
    def findings(self) -> Sequence[Finding]: ...
    @property
    def per_pass(self) -> PerPass | None: ...
    @property
    def expected(self) -> Expected | None: ...


def headline_of(found: Told) -> Headline:
    """The five sentences of an answer."""
    return Headline(
        _verdict(found), _to_set(found), _expect(found), _robustness(found), _next_step(found)
    )


@dataclass(frozen=True)
class _Losses:
    """That of the strategy, a bound of any, and those where nothing is reported, and (at least)
    everything: in the survey, or a pass where that is what counts."""

    own: float
    bound: float
    silence: float
    everything: float
    unit: str = ""

    def said(self, loss: float) -> str:
        return f"{short(loss)}{self.unit}" if self.unit else figure(loss)


def _losses(found: Told) -> _Losses:
    over = found.per_pass
    if over is not None:
        bound = over.bound or 0.0
        return _Losses(over.loss, bound, over.silence_loss, over.everything_loss, " a pass")
    everything = found.weights.stray * found.outcome.stray_presented
    return _Losses(found.loss, found.bound, found.silence_loss, everything)


def is_idle(found: Told) -> bool:
    """Whether what was found is no better than silence, proven or not."""
    losses = _losses(found)
    return found.status == "silent" or (found.status == "feasible" and losses.own >= losses.silence)


def _inseparable(found: Told) -> bool:
    """Whether the best found saves less than half of what is lost without telling tags apart."""
    losses = _losses(found)
    least = min(losses.silence, losses.everything)
    return bool(losses.everything) and losses.own >= _INSEPARABLE * least


def _verdict(found: Told) -> str:
    losses = _losses(found)
    silence = losses.said(losses.silence)
    if found.status == "silent":
        first = (
            f"Report nothing: no strategy searched loses less than silence ({silence}). Nothing "
            "searched is worth installing."
        )
    elif found.status == "infeasible":
        first = (
            "No strategy searched keeps the limits; this one exceeds them least. Do not install it."
        )
    elif found.status == "undecided":
        first = "Undecided: time ran out before a strategy was found that keeps the limits."
    elif is_idle(found):
        first = (
            f"Do not install: nothing found in time loses less than silence ({silence}). Whether "
            "there is better is open."
        )
    elif _inseparable(found):
        first = (
            "The techniques cannot separate wanted from stray here: the best strategy found loses "
            f"{losses.said(losses.own)}; to report nothing loses {silence}, to report everything "
            f"{losses.said(losses.everything)} or more."
        )
    elif found.status == "feasible":
        first = (
            f"An answer, not proven the best: {_why_open(found)}. It loses "
            f"{losses.said(losses.own)}; none loses less than {losses.said(losses.bound)}."
        )
    else:
        first = ""
    return f"{first} {_carries(found)}".strip()


def _why_open(found: Told) -> str:
    if _own_over_others(found):
        return "powers by antenna were chosen over each pass surveyed, once"
    return "time ran out"


def _own_over_others(found: Told) -> bool:
    """Whether antennas have powers of their own, and others than each pass surveyed are chosen
    over, where nothing is proven of these."""
    return found.per_pass is not None and "own_powers" in found.proof


def _carries(found: Told) -> str:
    """Whether the survey carries an answer."""
    weak = [one.text for one in found.findings if one.severity == "weak"]
    surveyed = _count(found.outcome.passes, "pass", "passes")
    levels = _count(found.searched["levels"], "level", "levels")
    if not weak:
        return f"The survey carries an answer: {surveyed} at {levels}, nothing weak found."
    points = _count(len(weak), "weak point", "weak points")
    return f"The survey carries an answer, with {points} (see the warnings)."


def setting_words(one: Strategy) -> str:
    """A strategy in some words, without a full stop."""
    levels = ", ".join(map(figure, one.levels_dbm))
    ladder = len(one.levels_dbm) > 1
    unit = "dBm" if one.cutoff_db is None else "dB of difference"
    cutoff = "no cutoff" if one.cutoff is None else f"cutoff {figure(one.cutoff)} {unit}"
    masks = _count(len(one.masks), "mask", "masks") if one.masks else "no mask"
    parts = (
        f"{'Step ladder' if ladder else 'Power'} {levels} dBm",
        score_words(one),
        cutoff,
        masks,
    )
    return ", ".join(filter(None, parts))


def _to_set(found: Told) -> str:
    text = f"{setting_words(found.strategy)}."
    if found.status == "infeasible" or is_idle(found):
        return f"Nothing. The least loss has: {text[0].lower()}{text[1:]}"
    return text


def _expect(found: Told) -> str:
    outcome, rates = found.outcome, found.standing.rates
    missed = _most(rates.missed_by_pass, rates.dependence.part)
    stray = _most(rates.stray_by_pass, rates.dependence.part)
    return (
        f"{outcome.missed} of {outcome.wanted} wanted missed, {outcome.stray} of "
        f"{outcome.stray_presented} stray reported: loss {figure(outcome.loss)}. At 95 % "
        f"confidence up to {missed} of passes have a miss, {stray} a stray."
        f"{'' if found.expected is None else f' {found.expected.sentence}'}"
    )


def _most(rate: Rate, part: float) -> str:
    return percent_up(upper_bound(rate.events, rate.trials, _CONFIDENCE, part))


def _robustness(found: Told) -> str:
    over, loss = found.per_pass, figure(found.standing.guarded.loss)
    if over is not None:
        loss = f"{short(over.guarded_loss)} a pass"
    text = f"If every tag drifts the wrong way the loss is {loss}; {_least_guarded(found)}. "
    margin = _least_margin(found.standing.margins)
    return text + (f"Smallest margin: {margin}." if margin else "No margin is known.")


def _least_guarded(found: Told) -> str:
    """What is known of the guarded loss of other strategies."""
    least, over = found.proof.get("least_guarded"), found.per_pass
    guarded = found.standing.guarded.loss if over is None else over.guarded_loss
    if guarded == 0 or (least is not None and least >= guarded):
        return "no strategy has a lower one"
    if least is None:
        return "the least that any strategy has is not known"
    return f"no strategy's is below {figure(least) if over is None else short(least)}"


def _least_margin(margins: Margins) -> str:
    """The smallest of the four margins, and what it is to."""
    known = [
        (margin.db, f"{figure(margin.db)} dB {what}")
        for margin, what in (
            (margins.rssi_wanted, "of RSSI before a wanted tag is missed"),
            (margins.rssi_stray, "of RSSI before a stray tag is reported"),
        )
        if margin is not None
    ]
    known += [
        (power.holds_db, f"less than {figure(power.fails_db)} dB of power before a {what}")
        for power, what in (
            (margins.power_wanted, "wanted tag is missed"),
            (margins.power_stray, "stray tag is reported"),
        )
        if power is not None and power.fails_db is not None
    ]
    if not known:
        return ""
    return min(known)[1]


def _next_step(found: Told) -> str:
    weak = [one for one in found.findings if one.severity == "weak"]
    predicted = found.standing.predicted
    if found.status == "silent" or _inseparable(found):
        return (
            "Change the set-up (antenna, distance, shielding, tag data) and survey again; check "
            "says what the survey shows."
        )
    if found.status in ("feasible", "undecided"):
        proof = 'Solve with "aim": "survey" for a proof of the powers by antenna, and compare.'
        more = "Allow more time, or fewer levels and masks, then look again."
        return proof if _own_over_others(found) else more
    if found.status == "infeasible":
        return "Loosen the limits or change the set-up, then survey again."
    if predicted is not None and predicted.steps_dbm:
        levels = ", ".join(map(figure, predicted.steps_dbm))
        return f"Survey {levels} dBm, which was predicted, before anything is installed."
    test = _acceptance(found.standing.rates.missed_by_pass)
    if weak:
        return f"{weak[0].advice} Then {test}"
    return f"Write the settings (export), install them, then {test}"


def _acceptance(missed: Rate) -> str:
    """The run after installation; with the default limit where the survey keeps within it."""
    if missed.rate is not None and missed.rate > MISS_RATE_MAX:
        return (
            "an acceptance run (accept) at a rate that you can live with: "
            f"{percent(missed.rate)} of passes had a miss here."
        )
    return f"an acceptance run of {plan_acceptance(MISS_RATE_MAX).passes} passes (accept)."


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
