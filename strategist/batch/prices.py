"""What each read point of a batch loses with each of some strategies: the independent evaluator's
word, from surveys at hand or from cases on disk."""

from __future__ import annotations

import functools
import itertools
import json
import math
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from strategist.answers.over import Passes, passes_over
from strategist.answers.per_pass import judged_over
from strategist.batch.engine import carry_out, engine_for
from strategist.errors import InputError, StrategistError
from strategist.optimise.clock import Clock
from strategist.optimise.installable import installable
from strategist.optimise.problem import value
from strategist.optimise.strategy import Strategy, read_strategy
from strategist.radio.complete import complete
from strategist.radio.lawful import lawful_at, strictest_radio
from strategist.survey.parts import Part, open_case
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from strategist.trust.evaluation import silence_loss
from strategist.trust.foreseen import foreseen_of

_SAME = 1e-6

Results = Mapping[tuple[str, str], dict[str, Any]]  # (case, read point) to its result as JSON
_Strategies = tuple[Strategy, ...]


@dataclass(frozen=True)
class Prices:
    """`loss[c]` is what a read point loses with candidate c; inf where that may not be set there,
    exceeds hard limits by more than its own strategy does, is no better than silence where limits
    allow that, or was not looked at in time. Losses are by what its policy aims at, for as many
    passes as surveyed: `own` is what its own strategy loses, `silence` what silence does, and
    `silent` says that limits allow silence and nothing looked at is better. `tried` counts the
    candidates that were looked at.
    `predicted[c]` are the levels (dBm) of candidate c that were predicted there and not surveyed;
    `lawful_dbm` is the highest lawful level there, None where none can be named."""

    own: float
    silence: float
    silent: bool
    tried: int
    missed_weight: float
    loss: tuple[float, ...]
    predicted: tuple[tuple[float, ...], ...]
    lawful_dbm: float | None


def strategy_text(result: dict[str, Any]) -> str:
    """The strategy of a result as JSON text, the same for the same strategy."""
    return json.dumps(result["strategy"], sort_keys=True)


def prices_of(
    own: Results,
    read_points: Iterable[tuple[str, ReadPoint]],
    candidates: _Strategies,
    clock: Clock,
) -> dict[tuple[str, str], Prices]:
    """The prices at each read point of `own`, by its case and name; others are passed over.

    Where the clock runs out only read points looked at so far, or one, are there. Raises InputError
    where a result is not that of its survey, or its survey is not given.
    """
    found: dict[tuple[str, str], Prices] = {}
    for case, point in read_points:
        result = own.get((case, point.name))
        if result is not None:
            price = _price_point(point, _Given.of(result), candidates, clock)
            found[case, point.name] = _known(case, point.name, price)
            if clock.expired():
                return found
    return _all(own, found)


def prices_from_cases(
    own: Results, candidates: _Strategies, workers: int, scheduler: str | None, clock: Clock
) -> dict[tuple[str, str], Prices]:
    """`prices_of` where the cases are folders, by the workers of a batch."""
    found: dict[tuple[str, str], Prices] = {}
    here = clock if scheduler is None else Clock()  # another machine's clock is another one
    run = functools.partial(_price, candidates=candidates, clock=here)
    engine = engine_for(workers, scheduler)
    answers = carry_out(_tasks(own, clock), run, engine, _died, len(own))
    for task, answer in itertools.chain.from_iterable(answers):
        case, name = task.part.case, task.part.read_point
        found[case, name] = _known(case, name, answer)
    return found if clock.expired() else _all(own, found)


def _all(own: Results, found: dict[tuple[str, str], Prices]) -> dict[tuple[str, str], Prices]:
    for case, name in own:
        if (case, name) not in found:
            wrong = f'has no read point "{name}" any more'
            raise InputError.one(case, name, "Run the batch again.", wrong=wrong)
    return found


def _known(case: str, name: str, answer: Prices | str) -> Prices:
    if isinstance(answer, str):
        wrong = f"is not as it was in the batch: {answer.removesuffix('.')}"
        raise InputError.one(f"{case}, {name}", answer, "Run the batch again.", wrong=wrong)
    return answer


@dataclass(frozen=True)
class _Given:
    """Of a result: its strategy, what the batch said that this loses, the seed of its copies."""

    strategy: Strategy
    loss: float
    seed: int

    @staticmethod
    def of(result: dict[str, Any]) -> _Given:
        strategy = read_strategy(strategy_text(result).encode(), "results")
        seed = result.get("proof", {}).get("seed", 0)
        return _Given(strategy, float(result["loss"]), int(seed))


@dataclass(frozen=True)
class _Task:
    part: Part
    given: _Given

    @property
    def size(self) -> int:
        return self.part.size


def _died(task: _Task) -> Prices | str:
    return "its worker died"


def _tasks(own: Results, clock: Clock) -> Iterator[_Task]:
    """Those that are begun in time, at least one."""
    index = sqlite3.connect("")
    try:
        for case in dict.fromkeys(case for case, _ in own):
            for part in open_case(case, case, index):
                result = own.get((case, part.read_point))
                if result is not None:
                    yield _Task(part, _Given.of(result))
                    if clock.expired():
                        return
    finally:
        index.close()


def _price(tasks: Sequence[_Task], candidates: _Strategies, clock: Clock) -> list[Prices | str]:
    return [_price_part(task, candidates, clock) for task in tasks]


def _price_part(task: _Task, candidates: _Strategies, clock: Clock) -> Prices | str:
    try:
        point = task.part.read()
    except (StrategistError, MemoryError) as error:
        return _words(error)
    return _price_point(point, task.given, candidates, clock)


@dataclass(frozen=True)
class _Judge:
    """What strategies lose at a read point by what its policy aims at: over the passes surveyed, or
    in the mean of as many of those chosen over."""

    point: ReadPoint
    passes: Passes | None

    def of(self, strategy: Strategy) -> tuple[float, float, float, float]:
        """Excess over the limits and loss, then those of silence."""
        survey, policy = self.point.survey, self.point.policy
        if self.passes is not None:
            times = len(survey.pass_ids)
            excess, loss, at_silence, silence = judged_over(self.passes, policy, strategy)
            return excess, value(times * loss), at_silence, value(times * silence)
        outcome, limits = evaluate(survey, policy, strategy), policy.limits
        excess = limits.excess(outcome.missed_rate, outcome.stray_rate)
        at_silence = limits.excess(1.0 if outcome.wanted else None, 0.0)
        return excess, outcome.loss, at_silence, silence_loss(policy, outcome)


def _price_point(
    surveyed: ReadPoint, given: _Given, candidates: _Strategies, clock: Clock
) -> Prices | str:
    """The prices at a read point, or what is wrong with it in words."""
    strategy = given.strategy
    try:
        point = complete(surveyed)
        survey, policy = point.survey, point.policy
        found = evaluate(survey, policy, strategy).loss
        judge = _Judge(point, passes_over(point, given.seed))
        own = judge.of(strategy)
    except (StrategistError, MemoryError) as error:
        return _words(error)
    if abs(found - given.loss) > _SAME * max(1.0, found):
        return f"a loss of {found:g} for a result of {given.loss:g}"
    excess, silence = own[0] + _SAME, own[3]
    may_be_silent = own[2] <= excess

    def price(judged: tuple[float, float, float, float]) -> float:
        beaten = may_be_silent and judged[1] >= silence - _SAME
        return math.inf if judged[0] > excess or beaten else judged[1]

    losses, predicted, tried = [], [], 0
    for candidate in candidates:
        loss = math.inf
        late = clock.expired()
        if candidate == strategy:
            loss = price(own)
        elif not late and installable(candidate, policy, survey):
            loss = price(judge.of(candidate))
        tried += candidate == strategy or not late
        losses.append(loss)
        foreseen = foreseen_of(survey, candidate) if loss < math.inf else None
        predicted.append(() if foreseen is None else foreseen.steps_dbm)
    return Prices(
        own=own[1],
        silence=silence,
        silent=math.isinf(price(own)) and math.isinf(min(losses, default=math.inf)),
        tried=tried,
        missed_weight=policy.loss.missed,
        loss=tuple(losses),
        predicted=tuple(predicted),
        lawful_dbm=lawful_at(survey.levels_dbm, strictest_radio(policy)).level.dbm,
    )


def _words(error: Exception) -> str:
    return str(error) or "not enough memory"
