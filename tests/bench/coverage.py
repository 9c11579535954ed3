"""Do intervals hold the truth, and does cross-validation tell it? Surveys with known true rates.

`python -m tests.bench.coverage [SURVEYS [CHOSEN]] [READ_POINT…]` draws so many surveys (500) of
each read point of the demo site, of the size that its survey has. True rates are those of thousands
of new passes. Printed are the coverage of the 95 % intervals of a fixed strategy, and the fitted,
held-out and true rates where the whole choice is made anew and cross-validated in CHOSEN of the
surveys (all); there without masks and with two steps at most, since it takes six choices each.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache, partial
from multiprocessing import get_context

import numpy as np
import numpy.typing as npt

from cases.generate import SEED
from cases.linen import PLACES
from strategist.answers.solution import solve
from strategist.optimise.strategy import Strategy
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.folds import cross_validate, without_folds
from strategist.trust.intervals import Rate, clopper_pearson
from strategist.trust.rates import Rates, rates_of
from tests.bench.drawn import drawn_read_point

TRUE_PASSES, TRUE_SEED, FIRST_SEED = 4000, 99, 100_000
NAMES = ("missed_by_tag", "missed_by_pass", "stray_by_pass", "stray_per_pass")
KINDS = ("held out, spanning the fitted", "held out alone", "fitted alone")
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Judged:
    """One survey: per-pass losses and missed rates. `held` says for each of `KINDS` whether the
    intervals of passes with a miss and with a stray hold the true rates of the answer, and `wide`
    how wide they are: shape (kinds, 2)."""

    fitted: float
    held_out: float
    true: float
    true_folds: float
    missed: tuple[float, float, float]
    held: Floats
    wide: Floats


def plain(point: ReadPoint) -> ReadPoint:
    """The read point with a choice that is quickly made."""
    reader = replace(point.policy.reader, ladder_steps_max=2)
    policy = replace(point.policy, allow=("power", "ladder", "cutoff"), reader=reader)
    return replace(point, policy=policy)


@cache
def future(name: str) -> ReadPoint:
    """The thousands of passes that say what is true."""
    return drawn_read_point(name, TRUE_PASSES, TRUE_SEED)


def outcome_of(point: ReadPoint, strategy: Strategy) -> Outcome:
    return evaluate(point.survey, point.policy, strategy)


def holds(rate: Rate, truth: Rate) -> bool:
    assert truth.rate is not None
    return rate.low <= truth.rate <= rate.high


def covered(name: str, strategy: Strategy, truth: Rates, seed: int) -> tuple[bool, ...]:
    """Whether each interval of one survey holds the truth of a strategy fitted elsewhere."""
    found = rates_of(outcome_of(drawn_read_point(name, PLACES[name].passes, seed), strategy))
    return tuple(holds(getattr(found, what), getattr(truth, what)) for what in NAMES)


def judged(name: str, seed: int) -> Judged:
    """Choose in one survey, cross-validate, and hold it against the truth."""
    point = plain(drawn_read_point(name, PLACES[name].passes, seed))
    strategy = solve(point).strategy
    outcome = outcome_of(point, strategy)
    chosen = [solve(part).strategy for part in without_folds(point)]
    cross = cross_validate(point, strategy, outcome, chosen)
    assert cross is not None
    true = outcome_of(future(name), strategy)
    folds = [outcome_of(future(name), one).loss / TRUE_PASSES for one in cross.strategies]
    truth = rates_of(true)
    held, fitted = cross.held_out, cross.fitted
    pairs = [[getattr(one, name) for name in NAMES[1:3]] for one in (held, held, fitted)]
    pairs[1] = [clopper_pearson(rate.events, rate.trials) for rate in pairs[1]]
    truths = (truth.missed_by_pass, truth.stray_by_pass)
    return Judged(
        cross.fitted,
        cross.loss_per_pass.held_out,
        true.loss / TRUE_PASSES,
        float(np.mean(folds)),
        tuple(float(r.missed_by_tag.rate or 0) for r in (fitted, held, truth)),  # type: ignore[arg-type]
        np.array([[holds(*both) for both in zip(pair, truths, strict=True)] for pair in pairs]),
        np.array([[rate.high - rate.low for rate in pair] for pair in pairs]),
    )


def told(values: Iterable[float]) -> str:
    """A mean with its standard error."""
    found = np.array(list(values))
    return f"{found.mean():+.4f} ± {found.std(ddof=1) / np.sqrt(len(found)):.4f}"


def lines(name: str, surveys: int, chosen: int, pool: ProcessPoolExecutor) -> Iterator[str]:
    """What is found at one read point, as printed."""
    seeds = range(FIRST_SEED, FIRST_SEED + surveys)
    fixed = solve(drawn_read_point(name, PLACES[name].passes, SEED)).strategy
    truth = rates_of(outcome_of(future(name), fixed))
    hits = np.array(list(pool.map(partial(covered, name, fixed, truth), seeds, chunksize=10)))
    share = ", ".join(f"{w} {100 * s:.1f} %" for w, s in zip(NAMES, hits.mean(axis=0), strict=True))
    yield f"{name}: {surveys} surveys; 95 % intervals of a fixed strategy hold the truth: {share}"
    found: list[Judged] = []
    for one in pool.map(partial(judged, name), seeds[:chosen], chunksize=2):
        found.append(one)
        if len(found) % 100 == 0 or len(found) == chosen:
            yield from _chosen(name, found)


def _chosen(name: str, found: list[Judged]) -> Iterator[str]:
    """Fitted, held out and true, over the surveys so far."""
    yield (
        f"{name}: chosen anew in {len(found)}: loss per pass: "
        f"fitted {np.mean([j.fitted for j in found]):.3f}, "
        f"held out {np.mean([j.held_out for j in found]):.3f}, "
        f"true {np.mean([j.true for j in found]):.3f}"
    )
    yield f"{name}: fitted - true: {told(j.fitted - j.true for j in found)}"
    yield f"{name}: held out - true of the folds: {told(j.held_out - j.true_folds for j in found)}"
    yield f"{name}: held out - true of the answer: {told(j.held_out - j.true for j in found)}"
    missed = np.array([j.missed for j in found])
    yield f"{name}: missed rate: fitted, held out, true {np.round(missed.mean(axis=0), 4).tolist()}"
    yield f"{name}: intervals of passes with a miss, with a stray hold the truth of the answer:"
    shares = 100 * np.mean([j.held for j in found], axis=0)
    widths = 100 * np.mean([j.wide for j in found], axis=0)
    for kind, share, wide in zip(KINDS, shares.round(1), widths.round(1), strict=True):
        yield f"{name}: {kind}: {share.tolist()} %, {wide.tolist()} % wide in the mean"


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.coverage", description=__doc__)
    parser.add_argument("counts", nargs="*", type=_count_or_name, metavar="COUNT|READ_POINT")
    given = parser.parse_args(arguments).counts
    counts = [one for one in given if isinstance(one, int)]
    if len(counts) > 2:
        parser.error("at most two counts: surveys drawn, and of those chosen anew (500 each)")
    surveys, chosen = (counts * 2)[:2] if counts else (500, 500)
    names = [one for one in given if isinstance(one, str)] or list(PLACES)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for name in names:
            for line in lines(name, surveys, min(chosen, surveys), pool):
                print(line, flush=True)


def _count_or_name(text: str) -> int | str:
    """How many surveys, or which read point."""
    if text.isdigit() and int(text) > 0:
        return int(text)
    if text not in PLACES:
        known = ", ".join(PLACES)
        raise argparse.ArgumentTypeError(f'found "{text}"; allowed: a count, or one of {known}')
    return text


if __name__ == "__main__":
    main(sys.argv[1:])
