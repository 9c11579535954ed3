"""Missed and stray rates of an outcome with their intervals, and the plain sentence.

By pass is the count to trust first: tags within a pass may fail together. Passes are taken as
independent; where neighbours are alike (`trust.dependence`), they count as fewer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from strategist.survey.answer import Declared, told
from strategist.trust.by_pass import missed_rate, stray_count
from strategist.trust.dependence import INDEPENDENT, Dependence
from strategist.trust.evaluate import Outcome
from strategist.trust.intervals import Rate, clopper_pearson, rate_sentence


@dataclass(frozen=True)
class Rates(Declared):
    """The rates of one outcome, each with a 95 % interval of the true rate.

    `missed_by_tag`: missed per wanted tag presented; exact (Clopper–Pearson) where no pass
    presents more than one, else by pass (`trust.by_pass`). `missed_by_pass`: passes with a miss per
    pass with a wanted tag. `stray_by_pass`: passes with a stray per pass (both exact).
    `stray_per_pass`: strays reported per pass, the `stray_rate` of limits, by pass for any law of
    strays a pass. `dependence`: how many of the passes all these count.
    """

    missed_by_tag: Rate
    missed_by_pass: Rate
    stray_by_pass: Rate
    stray_per_pass: Rate
    dependence: Dependence = INDEPENDENT

    @told(after="stray_per_pass")
    def sentences(self) -> tuple[str, str]:
        """What the counts by pass allow the true rates to be."""
        return (
            _sentence(self.missed_by_pass, "a miss", self.dependence.part),
            _sentence(self.stray_by_pass, "a stray", self.dependence.part),
        )

    def spanning(self, other: Rates) -> Rates:
        """These rates with intervals that reach over those of `other`, too."""
        return Rates(
            _spanning(self.missed_by_tag, other.missed_by_tag),
            _spanning(self.missed_by_pass, other.missed_by_pass),
            _spanning(self.stray_by_pass, other.stray_by_pass),
            _spanning(self.stray_per_pass, other.stray_per_pass),
            self.dependence,
        )


def rates_of(outcome: Outcome, dependence: Dependence = INDEPENDENT) -> Rates:
    """The rates of an outcome, from its passes, of which `dependence` lets a part count."""
    passes = sorted(outcome.by_pass, key=lambda p: p.pass_id)  # sums must not show their order
    part = dependence.part
    missed = [len(p.missed) for p in passes]
    return Rates(
        missed_rate(missed, [p.wanted for p in passes], part=part),
        _exact(sum(m > 0 for m in missed), sum(p.wanted > 0 for p in passes), part),
        _exact(sum(bool(p.stray) for p in passes), len(passes), part),
        stray_count([len(p.stray) for p in passes], [p.stray_presented for p in passes], part=part),
        dependence,
    )


def _exact(events: int, passes: int, part: float) -> Rate:
    return replace(clopper_pearson(events, passes, part=part), effective_passes=part * passes)


def _spanning(one: Rate, other: Rate) -> Rate:
    low, high = min(one.low, other.low), max(one.high, other.high)
    if (low, high) == (one.low, one.high):
        return one
    return replace(one, low=low, high=high, method=f"{one.method}, spanning the fitted")


def _sentence(rate: Rate, what: str, part: float) -> str:
    passes = f"pass{'' if rate.events == 1 else 'es'} with {what}"
    return rate_sentence(rate.events, rate.trials, passes, part=part)
