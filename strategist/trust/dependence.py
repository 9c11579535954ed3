"""Are neighbouring passes alike? Then they tell less than as many independent ones.

Looked at in the survey's own order (that of the pass ids): how well each pass stands on the air,
and, where a strategy is given, what it came to. The intervals of rates take passes as independent;
where neighbours are alike, they count as fewer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from strategist.survey.answer import Declared
from strategist.survey.findings import Found
from strategist.survey.order import natural
from strategist.survey.profile import turn_on
from strategist.survey.records import Bools, Floats, Survey

if TYPE_CHECKING:
    from strategist.trust.evaluate import Outcome

PASSES_MIN = 10  # fewer tell nothing of their neighbours
ALPHA = 0.05 / 4  # four series are looked at, so that one in 20 independent surveys is called so
_SHUFFLES = 999
_SEED = 13
_DIGITS = 9  # of dB, so that the order in which tags are summed does not show
_WORTH = 1.5  # standard errors of the correlation below which chance need not be counted out
_SLOWEST = 0.97  # of the decay of a correlation; slower ones cannot be told in a survey


@dataclass(frozen=True)
class Alike(Declared):
    """One series of passes whose neighbours are alike.

    `lag1` is the correlation of neighbours, `chance` the share of random orders in which it is as
    large, `part` the share of the passes that counts.
    """

    what: str
    passes: int
    lag1: float
    chance: float
    part: float


@dataclass(frozen=True)
class Dependence(Declared):
    """The share (0 to 1) of the passes that counts, and why: the least that a series tells."""

    part: float
    alike: tuple[Alike, ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        """What neighbours have in common, as one sentence; empty where it is nothing."""
        if not self.alike:
            return ()
        said = ", ".join(
            f"{one.what} (lag-1 correlation {one.lag1:.2f}; as large in {100 * one.chance:.2g} % "
            "of random orders)"
            for one in self.alike
        )
        passes = max(one.passes for one in self.alike)
        return (
            f"Neighbouring passes are alike in {said}: {passes} passes tell as much as about "
            f"{self.part * passes:.2g} independent ones.",
        )


INDEPENDENT = Dependence(1.0, ())


def dependence_of(survey: Survey, outcome: Outcome | None = None) -> Dependence:
    """Which neighbours are alike, in the survey's links and in the outcome of a strategy.

    A link is the turn-on level of a tag, in dB from the mean of its tag type; a pass has the mean
    of its wanted tags and that of its strays. Of an outcome it is the share of wanted tags missed
    and the number of strays (for single tags this is the runs test of Wald and Wolfowitz: few runs
    are a high correlation). The correlation of neighbours is held against random orders.
    """
    series = [
        ("turn-on of wanted tags", _links(survey, survey.roster_wanted)),
        ("turn-on of strays", _links(survey, ~survey.roster_wanted)),
    ]
    if outcome is not None:
        passes = sorted(outcome.by_pass, key=lambda one: natural(one.pass_id))
        missed = [len(one.missed) / one.wanted for one in passes if one.wanted]
        stray = [len(one.stray) for one in passes]
        series += [("misses", np.array(missed, float)), ("strays reported", np.array(stray, float))]
    found = [_alike(what, values) for what, values in series]
    alike = tuple(one for one in found if one is not None)
    return Dependence(min((one.part for one in alike), default=1.0), alike)


def dependence_findings(dependence: Dependence) -> Found:
    """What neighbours have in common, with the passes that they count as."""
    advice = (
        "Mix loads, positions and conditions between passes, or survey on several days: neighbours "
        "that are alike tell little that is new. The intervals of the rates allow for it, roughly."
    )
    for warning in dependence.warnings:
        yield "weak", "passes_alike", warning, advice


def _links(survey: Survey, of_role: Bools) -> Floats:
    """Mean link of the tags of a role in each pass that has any, in dB from the usual."""
    if not of_role.any():
        return np.zeros(0)
    reached: Bools = np.logical_or.reduce(survey.tried, axis=0)
    tried = survey.as_measured().keep(levels=reached)
    levels = tried.levels_dbm
    beyond = levels[-1] + (float(np.diff(levels).min()) if len(levels) > 1 else 1.0)
    on_dbm = np.append(levels, beyond)[turn_on(tried).level]  # −1: read at no level
    kinds: dict[str | None, int] = {}
    of_tag = np.array([kinds.setdefault(tag.tag_type, len(kinds)) for tag in survey.tags])
    kind, number = of_tag[survey.roster_tag][of_role], survey.roster_pass[of_role]
    usual = _means(kind, on_dbm[of_role], len(kinds))
    found = _means(number, on_dbm[of_role] - usual[kind], len(survey.pass_ids))
    order = sorted(range(len(found)), key=lambda p: natural(survey.pass_ids[p]))
    found = found[order].round(_DIGITS)
    return found[np.isfinite(found)]


def _means(group: Any, values: Floats, groups: int) -> Floats:
    """Mean of the values of each group; NaN for one without any."""
    counts = np.bincount(group, minlength=groups)
    sums = np.bincount(group, values, groups)
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)


def _alike(what: str, series: Floats) -> Alike | None:
    """What neighbours have in common; None where chance does as much."""
    passes = len(series)
    if passes < PASSES_MIN or np.ptp(series) < 1e-9:
        return None
    away = series - series.mean()
    lags = _correlations(away, 3)
    if lags[0] * np.sqrt(passes) < _WORTH:
        return None
    generator = np.random.default_rng(_SEED)
    mixed = generator.permuted(np.tile(away, (_SHUFFLES, 1)), axis=1)
    by_chance = (mixed[:, 1:] * mixed[:, :-1]).sum(axis=1) / np.square(away).sum()
    chance = float((1 + (by_chance >= lags[0] - 1e-9).sum()) / (_SHUFFLES + 1))
    if chance >= ALPHA:
        return None
    return Alike(what, passes, float(lags[0]), chance, _part(lags, passes))


def _correlations(away: Floats, most: int) -> Floats:
    """Autocorrelation at lags 1 to `most` of values less their mean."""
    whole = np.square(away).sum()
    return np.array([(away[k:] * away[:-k]).sum() / whole for k in range(1, most + 1)])


def _part(lags: Floats, passes: int) -> float:
    """Share of the passes that counts: 1 / (1 + 2 times the sum of all correlations).

    The correlation begins with that of neighbours and falls by the slowest rate that the first
    three lags show (a series of noise on a slow drift begins low and falls slowly); each is first
    raised by its bias in a short series, (1 + 3 r) / n (Kendall 1954, from memory).
    """
    first, second, third = lags + (1 + 3 * lags) / passes
    decays = [first, second / first, third / second if second > 0.1 else 0.0]
    decay = min(_SLOWEST, max(decays))
    return float(max(1 / passes, 1 / (1 + 2 * first / (1 - decay))))
