"""Do 95 % intervals hold the truth, whatever the law of misses and strays in a pass?

`python -m tests.bench.intervals [SURVEYS]` draws so many surveys (300) of 40 and of 60 passes under
each of some regimes, and of 12 for misses, and prints for each interval of a result how often it
holds the true rate and how wide it is in the mean: by the formulas of earlier versions, kept here,
and by those in use. Misses and strays of a regime are drawn apart and have nothing to do with each
other. In brackets are laws that ours does not hold: bursts so rare that many surveys meet
none or one, or the same size twice, or of sizes so wide that the largest are not met. Below that,
the same where neighbouring passes are alike, and how often that is said.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import stats

from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.trust.acceptance import judge_run
from strategist.trust.dependence import dependence_of
from strategist.trust.evaluate import Outcome, PassOutcome, evaluate
from strategist.trust.intervals import Rate, clopper_pearson
from strategist.trust.rates import rates_of
from tests.optimise.made import survey_of

Ints = npt.NDArray[np.int64]
Law = Callable[[np.random.Generator, int], tuple[Ints, Ints]]  # events and presented, by pass
Ends = tuple[float, float]

TRUE_PASSES, SIZES, FEW = 400_000, (40, 60), 12
NAMES = ("missed_by_tag", "missed_by_pass", "stray_by_pass", "stray_per_pass")


def of_each(presented: Callable[..., Ints], chance: float | Callable[..., Any]) -> Law:
    """So many presented, each reported or missed alone by the chance of its pass."""

    def law(generator: np.random.Generator, passes: int) -> tuple[Ints, Ints]:
        many = presented(generator, passes)
        each = chance(generator, many) if callable(chance) else chance
        return generator.binomial(many, each), many

    return law


def fixed(number: int) -> Callable[..., Ints]:
    return lambda generator, passes: np.full(passes, number)


def poisson(mean: float) -> Callable[..., Ints]:
    return lambda generator, passes: generator.poisson(mean, passes)


def rack(number: int, share: float) -> Callable[..., Ints]:
    return lambda generator, passes: number * (generator.random(passes) < share)


def sometimes(share: float, then: float) -> Callable[..., Any]:
    """A chance of `then` in this share of the passes, else none."""
    return lambda generator, many: np.where(generator.random(len(many)) < share, then, 0.0)


def loads(generator: np.random.Generator, passes: int) -> Ints:
    return generator.integers(1, 21, passes)


def odd_loads(generator: np.random.Generator, passes: int) -> Ints:
    return np.maximum(1, np.exp(generator.normal(1.5, 0.9, passes)).astype(int))


def negative_binomial(generator: np.random.Generator, passes: int) -> Ints:
    return generator.negative_binomial(0.25, 0.25 / 2.25, passes)


def bursts(share: float, size: Callable[[np.random.Generator, int], Any]) -> Law:
    """Unlisted strays in this share of the passes, of such numbers, all reported."""

    def many(generator: np.random.Generator, passes: int) -> Ints:
        there = generator.random(passes) < share
        return np.where(there, np.ceil(size(generator, passes)), 0).astype(np.int64)

    return of_each(many, 1.0)


def geometric(mean: float) -> Callable[..., Any]:
    return lambda generator, passes: generator.geometric(1 / mean, passes)


def lognormal(mean: float, spread: float) -> Callable[..., Any]:
    return lambda generator, passes: np.exp(generator.normal(mean, spread, passes))


STRAY: dict[str, Law] = {
    "two in each pass, half read": of_each(fixed(2), 0.5),
    "two in each pass, all read": of_each(fixed(2), 1.0),
    "Poisson(2), half read": of_each(poisson(2), 0.5),
    "Poisson(2), all read": of_each(poisson(2), 1.0),
    "a rack of twenty in one of ten": of_each(rack(20, 0.1), 1.0),
    "negative binomial (2, k = 0.25)": of_each(negative_binomial, 1.0),
    "rack of 12 in reach, rare bursts": of_each(fixed(12), sometimes(0.05, 0.7)),
    "more presented, more of it read": of_each(
        poisson(4), lambda _, many: np.minimum(0.9, many / 10)
    ),
    "none read": of_each(poisson(3), 0.0),
    "geometric bursts (10) in 8 %": bursts(0.08, geometric(10)),
    "geometric bursts (30) in 8 %": bursts(0.08, geometric(30)),
    "geometric bursts (10) in 15 %": bursts(0.15, geometric(10)),
    "bursts of 1 to 20 in 8 %": bursts(0.08, lambda g, n: g.integers(1, 21, n)),
    "lognormal bursts (12) in 10 %": bursts(0.1, lognormal(2, 1)),
    "(geometric bursts (3) in 8 %)": bursts(0.08, geometric(3)),
    "(geometric bursts (10) in 4 %)": bursts(0.04, geometric(10)),
    "(wide lognormal bursts in 10 %)": bursts(0.1, lognormal(1, 1.5)),
}
MISSED: dict[str, Law] = {
    "one tag, 8 % missed": of_each(fixed(1), 0.08),
    "five tags, 1.3 % each alone": of_each(fixed(5), 0.013),
    "eight tags, by rates that differ": of_each(
        fixed(8), lambda g, many: g.beta(0.32, 3.68, len(many))
    ),
    "eight tags, all together in 8 %": of_each(fixed(8), sometimes(0.08, 1.0)),
    "1 to 20 tags, 1 % each alone": of_each(loads, 0.01),
    "1 to 20 tags, large miss more": of_each(loads, lambda _, many: many / 50),
    "4 or 30 tags, 3 or 30 %": of_each(
        lambda g, n: np.where(g.random(n) < 0.2, 30, 4),
        lambda _, many: np.where(many > 4, 0.3, 0.03),
    ),
    "lognormal loads, large miss more": of_each(
        odd_loads, lambda _, many: np.minimum(0.9, many / 60)
    ),
    "none missed": of_each(fixed(5), 0.0),
}


def bootstrap_rate(events: Ints, presented: Ints) -> Ends:
    """What `missed_by_tag` was, and the share of strays behind `stray_per_pass`: effective trials
    from a bootstrap over passes."""
    some = presented > 0
    events, presented = events[some], presented[some]
    trials, passes = int(presented.sum()), int(some.sum())
    if trials == 0:
        return 0.0, 1.0
    rate, effective = events.sum() / trials, passes
    alike = np.all(events * trials == presented * events.sum())
    if passes > 1 and not alike:
        drawn = np.random.default_rng(7).integers(0, passes, (2000, passes))
        rates = events[drawn].sum(axis=1) / presented[drawn].sum(axis=1)
        shrink = stats.t.ppf(0.975, max(1, trials - 1)) / stats.t.ppf(0.975, passes - 1)
        variance = rates.var() * passes / (passes - 1)
        effective = math.floor(rate * (1 - rate) / variance * shrink**2) if variance else passes
    effective = max(1, min(trials, effective))
    fewest = math.floor(rate * effective + 1e-9)
    most = min(effective, math.ceil(rate * effective - 1e-9))
    return clopper_pearson(fewest, effective).low, clopper_pearson(most, effective).high


def earlier(outcome: Outcome) -> dict[str, Ends]:
    """The intervals as they were: passes independent, strays presented known beforehand."""
    passes = outcome.by_pass
    missed, wanted, stray, presented = np.array(
        [(len(p.missed), p.wanted, len(p.stray), p.stray_presented) for p in passes]
    ).T
    each = presented.sum() / len(passes)
    low, high = bootstrap_rate(stray, presented)
    with_miss = clopper_pearson(int((missed > 0).sum()), int((wanted > 0).sum()))
    with_stray = clopper_pearson(int((stray > 0).sum()), len(passes))
    return {
        "missed_by_tag": bootstrap_rate(missed, wanted),
        "missed_by_pass": (with_miss.low, with_miss.high),
        "stray_by_pass": (with_stray.low, with_stray.high),
        "stray_per_pass": (low * each, high * each),
    }


def outcome_of(missed: tuple[Ints, Ints], stray: tuple[Ints, Ints]) -> Outcome:
    """An outcome with these counts in its passes."""
    columns = zip(*(column.tolist() for column in (*missed, *stray)), strict=True)
    passes = tuple(
        PassOutcome(f"p{number}", wanted, there, tuple(range(lost)), tuple(range(seen)), 1)
        for number, (lost, wanted, seen, there) in enumerate(columns)
    )
    totals = [int(column.sum()) for column in (missed[1], missed[0], stray[1], stray[0])]
    return Outcome(len(passes), *totals, 0.0, passes)


@dataclass
class Score:
    """How often intervals held the truth, and their widths."""

    held: list[bool]
    wide: list[float]

    def add(self, ends: Ends, truth: float) -> None:
        self.held.append(ends[0] - 1e-12 <= truth <= ends[1] + 1e-12)
        self.wide.append(ends[1] - ends[0])

    @property
    def share(self) -> float:
        return float(np.mean(self.held))

    def __str__(self) -> str:
        return f"{100 * self.share:5.1f} % {np.mean(self.wide):6.3f}"


Scores = dict[str, tuple[Score, Score]]  # by the earlier formula and by that in use


def scores(names: tuple[str, ...]) -> Scores:
    return {name: (Score([], []), Score([], [])) for name in names}


def ends(rate: Rate) -> Ends:
    return rate.low, rate.high


def covered(law: Law, names: tuple[str, ...], passes: int, surveys: int, *, old: bool) -> Scores:
    """Coverage and widths of the intervals `names` of surveys drawn from a law."""
    generator = np.random.default_rng(11)
    events, presented = law(np.random.default_rng(1), TRUE_PASSES)
    by_tag, by_pass = events.sum() / max(1, presented.sum()), (events > 0).mean()
    truth = {
        "missed_by_tag": by_tag,
        "missed_by_pass": by_pass,
        "stray_by_pass": by_pass,
        "stray_per_pass": events.mean(),
    }
    none = (np.zeros(passes, int), np.ones(passes, int))
    found = scores(names)
    for _ in range(surveys):
        drawn = law(generator, passes)
        of_strays = names[0].startswith("stray")
        outcome = outcome_of(none, drawn) if of_strays else outcome_of(drawn, none)
        rates, before = rates_of(outcome), earlier(outcome) if old else {}
        for name in names:
            found[name][1].add(ends(getattr(rates, name)), truth[name])
            if old:
                found[name][0].add(before[name], truth[name])
    return found


LEVELS = [float(level) for level in range(16, 29)]
SET, NORMAL, SURE = Strategy((24.0,), stop_after=99), 20.0, 30.0


def neighbours(
    generator: np.random.Generator, passes: int, alike: float, curves: bool = True
) -> Any:
    """Wanted tags and strays whose turn-on drifts from pass to pass: (survey or counts, outcome).

    Turn-on of a tag is 21 dBm for a wanted and 27 for a stray, with a drift of 2 dB (standard
    deviation) that all tags of a pass share, `alike` from pass to pass, and 1.2 dB of its own.
    """
    steps = generator.normal(0, 1, passes)
    drift = np.empty(passes)
    drift[0] = steps[0]
    for number in range(1, passes):
        drift[number] = alike * drift[number - 1] + math.sqrt(1 - alike**2) * steps[number]
    own = generator.normal(0, 1.2, (passes, 4))
    turn_on = 2 * drift[:, None] + own + np.array([21.0, 21.0, 27.0, 27.0])
    if not curves:
        read = np.ceil(turn_on) <= SET.levels_dbm[0]
        wanted, stray = (~read[:, :2]).sum(axis=1), read[:, 2:].sum(axis=1)
        return (wanted, np.full(passes, 2)), (stray, np.full(passes, 2))
    entries = [
        [
            (
                f"30{number:04X}{tag:02X}",
                tag < 2,
                [-60.0 if level >= turn_on[number, tag] else None for level in LEVELS],
            )
            for tag in range(4)
        ]
        for number in range(passes)
    ]
    return survey_of(LEVELS, entries)


def dependent(alike: float, passes: int, surveys: int, *, old: bool) -> tuple[Scores, float]:
    """Coverage where neighbours are alike by `alike` (0: not), and how often that is said."""
    generator = np.random.default_rng(23)
    missed, stray = neighbours(np.random.default_rng(1), TRUE_PASSES, alike, curves=False)
    truth = {
        "missed_by_tag": missed[0].sum() / missed[1].sum(),
        "missed_by_pass": (missed[0] > 0).mean(),
        "stray_by_pass": (stray[0] > 0).mean(),
        "stray_per_pass": stray[0].mean(),
    }
    found, said = scores((*NAMES, "acceptance")), 0
    for _ in range(surveys):
        survey = neighbours(generator, passes, alike)
        outcome = evaluate(survey, Policy(), SET)
        dependence = dependence_of(survey, outcome)
        said += bool(dependence.alike)
        rates, before = rates_of(outcome, dependence), earlier(outcome) if old else {}
        for name in NAMES:
            if old:
                found[name][0].add(before[name], truth[name])
            found[name][1].add(ends(getattr(rates, name)), truth[name])
        for score, part in zip(found["acceptance"], (1.0, dependence.part), strict=True):
            seen = rates.missed_by_pass
            verdict = judge_run(0.05, seen.events, seen.trials, part=part)
            score.add((0.0, verdict.upper), truth["missed_by_pass"])
    return found, said / surveys


def lines(surveys: int) -> Iterator[str]:
    head = f"{'coverage and mean width':<36}{'passes':>6}  {'before':>14}  {'now':>14}"
    tables: tuple[tuple[dict[str, Law], tuple[str, ...], tuple[int, ...]], ...] = (
        (STRAY, NAMES[3:1:-1], SIZES),
        (MISSED, NAMES[:2], (FEW, *SIZES)),
    )
    for laws, names, sizes in tables:
        for name in names:
            yield ""
            yield f"{name}: {surveys} surveys"
            yield head
            for words, law in laws.items():
                for passes in sizes:
                    before, now = covered(law, (name,), passes, surveys, old=True)[name]
                    yield f"  {words:<34}{passes:>6}  {before}  {now}"
    for alike in (0.0, 0.5, 0.9):
        for passes in SIZES:
            found, said = dependent(alike, passes, surveys, old=True)
            yield ""
            yield f"neighbours alike by {alike:g}: said of {100 * said:.1f} % of {surveys} surveys"
            yield head
            for name, (before, now) in found.items():
                yield f"  {name:<34}{passes:>6}  {before}  {now}"


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.intervals", description=__doc__)
    parser.add_argument("surveys", nargs="?", type=int, default=300, metavar="SURVEYS")
    for line in lines(parser.parse_args().surveys):
        print(line, flush=True)


if __name__ == "__main__":
    main()
