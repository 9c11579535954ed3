"""The scores to choose from, as one problem each.

For a fixed score (and a fixed dwell of a step) the choice is that of a point with one antenna, with
the score in place of the strongest read. So the least over the scores is the least of all; `outer`
goes through them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from strategist.errors import InputError
from strategist.optimise.problem import Problem, candidates_of, pose
from strategist.optimise.tuning import DEFAULT, Tuning
from strategist.radio.dwell import turns_of
from strategist.radio.lawful import choosable_levels, strictest_radio
from strategist.survey.copies import Sample
from strategist.survey.policy import Policy
from strategist.survey.records import Bools, Survey
from strategist.survey.score import Difference, Nth, Peak, Scored, scored
from strategist.tags.candidates import Candidates

__all__ = ["Part", "Parts", "dwells_of", "over", "parts_of", "posed_over", "scores_of"]

AnyScore: TypeAlias = Peak | Nth | Difference | None

_Thought: TypeAlias = tuple[
    tuple[float, ...], bytes, AnyScore, float | None, Scored, Bools, int
]  # what a score is preferred by: its work, what it hears; then all to pose its part
_READS_MAX = 12  # of a tag that are counted at most
_PAIRS_OF_ALL = 5  # antennas up to which any are compared with any others, and counted alone


@dataclass(frozen=True, eq=False)
class Part:
    """The choice with one score and dwell.

    Of equally good strategies that of the lesser `work` is preferred: fewer kinds of work for the
    host, then fewer antennas switched off; `index` tells apart what is left, by what is heard and
    not by the numbers of antennas, where they differ in that.
    """

    work: tuple[float, ...]
    index: int
    problem: Problem


@dataclass(frozen=True, eq=False)
class Parts:
    """All parts, in order of `work` and `index`; `scores` that were thought of, and how many of
    these hear the same as a simpler one."""

    parts: tuple[Part, ...]
    scores: int
    alike: int

    @staticmethod
    def of(problem: Problem) -> Parts:
        """A problem where there is nothing else to choose."""
        return Parts((Part((), 0, problem),), 1, 0)

    def searched(self) -> dict[str, int]:
        """As an answer tells it; nothing where there is no choice."""
        if self.scores == 1:
            return {}
        return {"scores": self.scores, "scores_alike": self.alike}


def parts_of(
    survey: Survey,
    policy: Policy,
    tuning: Tuning = DEFAULT,
    candidates: Candidates | None = None,
    sample: Sample | None = None,
) -> Parts:
    """The parts of a completely surveyed read point, with other masks than its own to choose from
    where `candidates` are given, over the passes of a `sample` of it (None: those surveyed). Raises
    what `pose` raises, where no score is left."""
    candidates = candidates or candidates_of(survey, policy)
    if not _is_choice(survey, policy):
        own = replace(policy, radio=strictest_radio(policy))
        heard = scored(survey, own, None, own.time.steps_s[-1])
        assert heard is not None
        turns = turns_of(survey, own.time, None)
        passes = None if sample is None else _heard(sample, own, None)
        return Parts.of(
            pose(heard.survey, own, tuning, candidates=candidates, turns=turns, sample=passes)
        )
    found: dict[bytes, _Thought] = {}
    refused: InputError | None = None
    thought = 0
    for step_s, score in itertools.product(dwells_of(survey, policy), scores_of(survey, policy)):
        thought += 1
        time, radio = (
            policy.time.listening(step_s),
            strictest_radio(policy, None if score is None else score.on),
        )
        own = replace(policy, time=time, radio=radio)
        heard = scored(survey, own, score or Peak(), own.time.steps_s[-1])
        assert heard is not None  # no trims
        try:
            levels = choosable_levels(heard.survey, own)
        except InputError as error:
            refused = refused or error
            continue
        chosen = step_s if isinstance(policy.time.step_s, tuple) else None
        turns = turns_of(survey, time, score)
        signature = _signature(heard, levels, turns)
        work = (*_work(survey, score), step_s or 0.0)
        entry = (work, signature, score and heard.score, chosen, heard, levels, turns)
        same = found.get(signature)
        if same is None or work < same[0]:
            found[signature] = entry
    ordered = sorted(found.values(), key=lambda one: one[:2])
    parts: list[Part] = []
    for work, _, score, step_s, heard, levels, turns in ordered:
        try:
            problem = pose(
                *(heard.survey, heard.policy, tuning),
                candidates=candidates,
                levels=levels,
                turns=turns,
                sample=None if sample is None else _heard(sample, heard.policy, score),
            )
        except InputError as error:
            refused = refused or error
            continue
        problem = replace(problem, score=score, step_s=step_s)
        parts.append(Part(work, len(parts), problem))
    if not parts:
        assert refused is not None
        raise refused
    return Parts(tuple(parts), thought, thought - len(found))


def over(parts: Parts, sample: Sample) -> Parts:
    """The same choices over other passes than those surveyed."""
    posed = (replace(one, problem=posed_over(one.problem, sample)) for one in parts.parts)
    return replace(parts, parts=tuple(posed))


def posed_over(problem: Problem, sample: Sample) -> Problem:
    """What may be chosen in a problem, over the passes of a sample of its read point."""
    passes = _heard(sample, problem.policy, problem.score)
    levels = np.isin(passes.survey.levels_dbm, problem.profile.levels_dbm)
    posed = pose(
        *(passes.survey, problem.policy, problem.tuning),
        candidates=problem.candidates,
        levels=levels,
        sample=passes,
    )
    return replace(
        posed,
        steps_by_masks=problem.steps_by_masks,
        slots=problem.slots,
        score=problem.score,
        step_s=problem.step_s,
    )


def _heard(sample: Sample, policy: Policy, score: AnyScore) -> Sample:
    """The sample with the score in place of raw reads."""
    heard = scored(sample.survey, policy, score, policy.time.steps_s[-1])
    assert heard is not None  # the sample has the levels of the survey
    return replace(sample, survey=heard.survey)


def _is_choice(survey: Survey, policy: Policy) -> bool:
    """Whether there is more than the strongest read of all antennas, and one dwell of a step."""
    antennas = "antennas" in policy.allow and len(survey.antennas) > 1
    return antennas or isinstance(policy.time.step_s, tuple)


def dwells_of(survey: Survey, policy: Policy) -> tuple[float | None, ...]:
    """The dwells of a step to choose from: the longest where reads do not tell when they came."""
    given = policy.time.steps_s
    return given if survey.read_t_s is not None else given[-1:]


def scores_of(survey: Survey, policy: Policy) -> Iterator[AnyScore]:
    """The strongest read of all antennas; where antennas may be chosen, of some of them, the n-th
    strongest of all or some, and each side against another."""
    yield None
    antennas = survey.antennas
    if "antennas" not in policy.allow or len(antennas) < 2:
        return
    for some in _subsets(antennas):
        if len(some) < len(antennas):
            yield Peak(antennas=some)
    for some in _subsets(antennas):
        if len(antennas) <= _PAIRS_OF_ALL or some == antennas:
            assert survey.read_antenna is not None
            heard = survey.with_reads(np.isin(survey.read_antenna, some))
            for n in range(2, _most_reads(heard) + 1):
                yield Nth("nth", n, None if some == antennas else some)
    for facing in _subsets(antennas):
        others = tuple(one for one in antennas if one not in facing)
        for against in _subsets(others):
            if len(antennas) <= _PAIRS_OF_ALL or against == others or len(facing + against) == 2:
                yield Difference("difference", facing, against)


def _subsets(antennas: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    for size in range(1, len(antennas) + 1):
        yield from itertools.combinations(antennas, size)


def _most_reads(survey: Survey) -> int:
    """The most reads of a tag at a level of a pass, as far as they are counted; 0 where rows sum up
    reads or hold predicted ones."""
    summed_up = survey.read_count is not None and (survey.read_count > 1).any()
    if summed_up or survey.predicted is not None or not len(survey.read_tag):
        return 0
    levels, tags = len(survey.levels_dbm), len(survey.tags)
    key = (survey.read_pass * levels + survey.read_level) * tags + survey.read_tag
    return min(_READS_MAX, int(np.unique(key, return_counts=True)[1].max()))


def _work(survey: Survey, score: AnyScore) -> tuple[float, ...]:
    """The work that a score makes: for the host, reads to count, antennas to switch off."""
    if score is None:
        return 0.0, 0.0, 0.0
    kind = (Peak, Nth, Difference).index(type(score))
    off = len(survey.antennas) - len(score.on or survey.antennas)
    return float(kind), float(score.n if isinstance(score, Nth) else 0), float(off)


def _signature(heard: Scored, levels: Bools, turns: int) -> bytes:
    """What a score hears: wanted reads first, the more the better, then strays, then all of it."""
    survey = heard.survey
    tags = len(survey.tags)
    wanted = survey.roster_pass[survey.roster_wanted] * tags
    wanted = wanted + survey.roster_tag[survey.roster_wanted]
    of_wanted = int(np.isin(survey.read_pass * tags + survey.read_tag, wanted).sum())
    strays = len(survey.read_tag) - of_wanted
    key = (survey.read_pass * len(levels) + survey.read_level) * tags + survey.read_tag
    order = np.argsort(key, kind="stable")
    steps = np.array([heard.policy.time.steps_s[-1] or 0.0, turns, heard.policy.guard.rssi_db])
    return b"".join(
        (
            (2**62 - of_wanted).to_bytes(8, "big"),
            strays.to_bytes(8, "big"),
            *(
                np.ascontiguousarray(column).tobytes()
                for column in (survey.levels_dbm, levels, steps, key[order])
            ),
            np.ascontiguousarray(survey.read_rssi[order]).tobytes(),
        )
    )
