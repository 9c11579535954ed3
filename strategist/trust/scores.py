"""The score of each tag, replayed from the raw reads: what a strategy holds its cutoff against.

Written apart from `survey/score.py`, which the optimiser's choice rests on: the two are compared.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import DECIMALS, SAME_DB, Policy
from strategist.survey.records import Bools, Survey
from strategist.survey.score import Difference, Nth, Peak, scored

__all__ = ["as_heard", "guard_times", "reads_alone", "refuse_unheard", "scores_at", "tried_with"]

Heard = Mapping[int, Sequence[float]]  # antenna → RSSI of its reads of one tag
_ALL = 0  # the antenna of a survey that names none


def refuse_unheard(survey: Survey, strategy: Strategy) -> None:
    """Raises InputError where the survey does not tell a strategy's score: an antenna that it does
    not know, or reads counted that it sums up or predicts."""
    score = strategy.score
    if score is None:
        return
    listed = ", ".join(map(str, survey.antennas)) or "none, since no read names its antenna"
    named = {"antennas": score.on or ()}
    if isinstance(score, Difference):
        named = {"antennas": score.antennas, "against": score.against}
    elif isinstance(score, Peak):
        named |= {"trim_db": tuple(dict(score.trim_db)), "offset_db": tuple(dict(score.offset_db))}
    for key, antennas in named.items():
        for antenna in antennas:
            if antenna not in survey.antennas:
                raise InputError.one(
                    "strategy",
                    antenna,
                    f"antennas of {survey.read_point}: {listed}",
                    column=f"score.{key}",
                    path=("score", key),
                    wrong=f"no read names antenna {antenna}",
                )
    if isinstance(score, Nth) and score.n > 1 and not counts_reads(survey):
        wrong = (
            f"{score.n} cannot be judged: rows of reads.csv sum up several reads, or levels were "
            "predicted, so that the strongest read alone is known"
        )
        path = ("score", "n")
        raise InputError.one("strategy", score.n, "1", column="score.n", path=path, wrong=wrong)


def reads_alone(survey: Survey, strategy: Strategy) -> bool:
    """Whether each read is held against the cutoff by itself: the strongest read counts, whenever
    it came."""
    return strategy.score is None and survey.read_t_s is None


def counts_reads(survey: Survey) -> bool:
    """Whether each row is one read."""
    summed_up = survey.read_count is not None and bool((survey.read_count > 1).any())
    return not summed_up and survey.predicted is None


def guard_times(strategy: Strategy) -> int:
    """How many times the guard of RSSI may move a score: both sides of a difference drift."""
    return 2 if isinstance(strategy.score, Difference) else 1


def _radiated(survey: Survey, strategy: Strategy) -> dict[int, dict[int, int]]:
    """For each antenna that is on: the level index that it radiates at each step (level index),
    where that was surveyed."""
    score = strategy.score
    on = None if score is None else score.on
    trims = dict(score.trim_db) if isinstance(score, Peak) else {}
    levels = survey.levels_dbm.tolist()
    found: dict[int, dict[int, int]] = {}
    for antenna in survey.antennas or (_ALL,) if on is None else on:
        trim = trims.get(antenna, 0.0)
        found[antenna] = {
            step: other
            for step, level in enumerate(levels)
            for other, radiated in enumerate(levels)
            if abs(radiated - level - trim) < SAME_DB
        }
    return found


def tried_with(survey: Survey, strategy: Strategy) -> tuple[Bools, Bools, Bools]:
    """Which (pass, level) pairs were tried with all antennas, each at its trim; of which some reads
    were predicted; and which levels may be steps at all."""
    predicted = np.zeros_like(survey.tried) if survey.predicted is None else survey.predicted.pairs
    if not (isinstance(strategy.score, Peak) and strategy.score.trim_db):
        return survey.tried, predicted, np.ones(len(survey.levels_dbm), bool)
    tried, foreseen = np.ones_like(survey.tried), np.zeros_like(survey.tried)
    usable = np.ones(len(survey.levels_dbm), bool)
    for at in _radiated(survey, strategy).values():
        for step in range(len(usable)):
            if step in at:
                tried[:, step] &= survey.tried[:, at[step]]
                foreseen[:, step] |= predicted[:, at[step]]
            else:
                usable[step] = False
    tried[:, ~usable] = foreseen[:, ~usable] = False
    return tried, foreseen & tried, usable


def as_heard(survey: Survey, policy: Policy, strategy: Strategy) -> tuple[Survey, Policy, Strategy]:
    """A read point whose reads are the scores of a strategy, and that strategy, which now holds its
    cutoff against each of them; as they are where each read counts by itself."""
    if reads_alone(survey, strategy):
        return survey, policy, strategy
    latest = policy.time.listening(strategy.step_s).step_s
    assert latest is None or isinstance(latest, float)
    found = scored(survey, policy, strategy.score, latest)
    assert found is not None  # its steps were surveyed
    if isinstance(strategy.score, Difference):
        return found.survey, found.policy, strategy
    return found.survey, found.policy, replace(strategy, score=None)


def scores_at(
    survey: Survey, policy: Policy, strategy: Strategy, step: int
) -> dict[tuple[int, int], float]:
    """(pass, tag) → score at a step (level index), of the tags that have one."""
    latest = policy.time.listening(strategy.step_s).step_s
    assert latest is None or isinstance(latest, float)
    heard: dict[tuple[int, int], dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    for antenna, at in _radiated(survey, strategy).items():
        chosen = survey.read_level == at[step]
        if survey.read_antenna is not None:
            chosen &= survey.read_antenna == antenna
        if latest is not None and survey.read_t_s is not None:
            chosen &= ~(survey.read_t_s > latest + SAME_DB / 2)
        columns = (survey.read_pass, survey.read_tag, survey.read_rssi)
        for number, tag, rssi in zip(*(column[chosen].tolist() for column in columns), strict=True):
            heard[number, tag][antenna].append(rssi)
    weakest = float(survey.read_rssi.min()) if len(survey.read_rssi) else 0.0
    found = {key: _score(strategy, reads, weakest) for key, reads in heard.items()}
    return {key: round(score, DECIMALS) for key, score in found.items() if score is not None}


def _score(strategy: Strategy, heard: Heard, weakest: float) -> float | None:
    """The score of a tag with such reads; None where it has none."""
    score = strategy.score
    if isinstance(score, Nth):
        reads = sorted((rssi for of in heard.values() for rssi in of), reverse=True)
        return reads[score.n - 1] if len(reads) >= score.n else None
    if isinstance(score, Difference):
        floor = weakest - 1 if score.floor_dbm is None else score.floor_dbm
        facing, against = (
            max([floor, *(rssi for antenna in side for rssi in heard.get(antenna, ()))])
            for side in (score.antennas, score.against)
        )
        return facing - against
    offsets = dict(score.offset_db) if score is not None else {}
    return max(max(of) - offsets.get(antenna, 0.0) for antenna, of in heard.items())
