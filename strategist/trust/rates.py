"""Missed and stray rates of an outcome with their intervals, and the plain sentence.

By pass is the count to trust first: passes are independent, tags within a pass may fail together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from strategist.trust.evaluate import Outcome
from strategist.trust.intervals import Rate, bootstrap_rate, clopper_pearson, rate_sentence

__all__ = ["Rates", "rate_json", "rates_of"]

_SEED = 7  # of the bootstrap, fixed: the same outcome has the same interval


@dataclass(frozen=True)
class Rates:
    """The rates of one outcome, each with a 95 % interval of the true rate.

    `missed_by_tag`: missed per wanted tag presented; exact (Clopper–Pearson) where no pass
    presents more than one, else with the trials that independent tags with the same spread over
    passes would have. `missed_by_pass`: passes with a miss per pass with a wanted tag.
    `stray_by_pass`: passes with a stray per pass (both exact). `stray_per_pass`: strays reported
    per pass, the `stray_rate` of limits; its interval allows for strays that come together.
    """

    missed_by_tag: Rate
    missed_by_pass: Rate
    stray_by_pass: Rate
    stray_per_pass: Rate

    @property
    def sentences(self) -> tuple[str, str]:
        """What the counts by pass allow the true rates to be."""
        missed, stray = self.missed_by_pass, self.stray_by_pass
        return (
            rate_sentence(missed.events, missed.trials, _passes(missed.events, "a miss")),
            rate_sentence(stray.events, stray.trials, _passes(stray.events, "a stray")),
        )

    def spanning(self, other: Rates) -> Rates:
        """These rates with intervals that reach over those of `other`, too."""
        return Rates(
            _spanning(self.missed_by_tag, other.missed_by_tag),
            _spanning(self.missed_by_pass, other.missed_by_pass),
            _spanning(self.stray_by_pass, other.stray_by_pass),
            _spanning(self.stray_per_pass, other.stray_per_pass),
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "missed_by_tag": rate_json(self.missed_by_tag),
            "missed_by_pass": rate_json(self.missed_by_pass),
            "stray_by_pass": rate_json(self.stray_by_pass),
            "stray_per_pass": rate_json(self.stray_per_pass),
            "sentences": list(self.sentences),
        }


def rates_of(outcome: Outcome) -> Rates:
    """The rates of an outcome, from its passes."""
    passes = sorted(outcome.by_pass, key=lambda p: p.pass_id)  # their order must not show
    missed = [len(p.missed) for p in passes]
    wanted = [p.wanted for p in passes]
    if max(wanted, default=0) > 1:
        by_tag = bootstrap_rate(missed, wanted, _SEED)
    else:
        by_tag = clopper_pearson(sum(missed), sum(wanted))
    return Rates(
        by_tag,
        clopper_pearson(sum(m > 0 for m in missed), sum(w > 0 for w in wanted)),
        clopper_pearson(sum(bool(p.stray) for p in passes), len(passes)),
        _per_pass([len(p.stray) for p in passes], [p.stray_presented for p in passes]),
    )


def _per_pass(stray: list[int], presented: list[int]) -> Rate:
    """Strays per pass: the rate per stray presented, times the strays presented per pass."""
    passes = len(stray)
    share = bootstrap_rate(stray, presented, _SEED)
    each = sum(presented) / passes
    return replace(
        share,
        trials=passes,
        rate=sum(stray) / passes,
        low=share.low * each,
        high=share.high * each,
    )


def _spanning(one: Rate, other: Rate) -> Rate:
    low, high = min(one.low, other.low), max(one.high, other.high)
    if (low, high) == (one.low, one.high):
        return one
    return replace(one, low=low, high=high, method=f"{one.method}, spanning the fitted")


def rate_json(rate: Rate) -> dict[str, Any]:
    """A rate as plain JSON values; `rate` is null without trials."""
    return {
        "events": rate.events,
        "trials": rate.trials,
        "rate": rate.rate,
        "low": rate.low,
        "high": rate.high,
        "confidence": rate.confidence,
        "method": rate.method,
    }


def _passes(events: int, what: str) -> str:
    return f"pass{'' if events == 1 else 'es'} with {what}"
