"""The independent evaluator: replays the raw reads of a survey under a strategy, step by step.

It knows nothing of the model. It shares with it the survey, the strategy and nothing else, so that
an error in the model's arithmetic cannot hide here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import numpy as np
from pydantic import Field

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.kept import kept
from strategist.survey.policy import Policy
from strategist.survey.records import Survey
from strategist.tags.mask import accepted_by
from strategist.trust.scores import reads_alone, refuse_unheard, scores_at, tried_with

if TYPE_CHECKING:
    import pandas as pd

_SAME_LEVEL_DB = 1e-6


@dataclass(frozen=True, slots=True)
class PassOutcome:
    """What one pass came to; tags as indices into the survey's `tags`, ascending.

    `wanted` and `stray_presented` count the tags that were there; `steps` is the number of ladder
    steps that were walked, at least 1.
    """

    pass_id: str
    wanted: int
    stray_presented: int
    missed: tuple[int, ...]
    stray: tuple[int, ...]
    steps: int


@dataclass(frozen=True)
class Resting(Declared):
    """How much of an outcome rests on predicted reads: of each of its counts, so many.

    `passes` walked up to a step that was predicted for them. In these, a tag that the masks let
    through rests on prediction unless a measured read, on a step walked, had it reported.
    """

    passes: int
    wanted: int
    missed: int
    stray_presented: int
    stray: int


@dataclass(frozen=True)
class Outcome(Declared):
    """Counts over all passes of a survey; `loss` is weighted by the policy it was judged by.

    `predicted` is None where the survey holds no predicted reads, or where none were looked at.
    """

    passes: int
    wanted: int
    missed: int
    stray_presented: int
    stray: int
    loss: Hidden[float]
    by_pass: Hidden[tuple[PassOutcome, ...]]
    predicted: Annotated[
        Resting | None,
        Field(description="How much of each count rests on predicted reads; null: none"),
    ] = None

    def __repr__(self) -> str:
        return (
            f"Outcome({self.passes} passes: {self.missed} of {self.wanted} wanted missed, "
            f"{self.stray} of {self.stray_presented} strays reported, loss {self.loss:g})"
        )

    def to_frame(self) -> pd.DataFrame:
        """A row a pass, by its id: tags there and missed or reported, and ladder steps walked."""
        import pandas as pd  # noqa: PLC0415 (slow to load)

        rows = [
            (p.pass_id, p.wanted, len(p.missed), p.stray_presented, len(p.stray), p.steps)
            for p in self.by_pass
        ]
        names = ["pass_id", "wanted", "missed", "stray_presented", "stray", "steps"]
        return pd.DataFrame(rows, columns=names).set_index("pass_id")

    @told(after="by_pass")
    def missed_rate(self) -> float | None:
        """Missed per wanted tag presented; None where no wanted tag was presented."""
        return self.missed / self.wanted if self.wanted else None

    @told(after="by_pass")
    def stray_rate(self) -> float:
        """Stray tags reported per pass."""
        return self.stray / self.passes


def evaluate(survey: Survey, policy: Policy, strategy: Strategy) -> Outcome:
    """What `strategy` would have reported in each pass of the survey, and its loss.

    Raises InputError where the strategy uses a level that was not surveyed, at all or in a pass
    that walks up to it, and where the reads do not tell its score.
    """
    refuse_unheard(survey, strategy)
    steps = surveyed_steps(survey, strategy)
    accepted = _accepted_by(survey, policy, strategy, steps)
    outcome = replay(survey, policy, strategy, accepted)
    tried = tried_with(survey, strategy)[0]
    for number, one in enumerate(outcome.by_pass):
        for position, step in enumerate(steps[: one.steps]):
            if not tried[number, step]:
                raise InputError.one(
                    "strategy",
                    f"{strategy.levels_dbm[position]:g}",
                    "a level at which every pass was tried",
                    column=f"levels_dbm.{position}",
                    wrong=f"pass {one.pass_id} was not tried at "
                    f"{strategy.levels_dbm[position]:g} dBm",
                )
    return replace(outcome, predicted=_resting(survey, strategy, steps, accepted, outcome))


def _resting(
    survey: Survey,
    strategy: Strategy,
    steps: Sequence[int],
    accepted: Sequence[Mapping[int, Set[int]]],
    outcome: Outcome,
) -> Resting | None:
    """What of an outcome rests on predicted reads; None where the survey has none."""
    if survey.predicted is None:
        return None
    pairs = tried_with(survey, strategy)[1]
    through = accepted_by(strategy.masks, survey.tags)
    counts = [0, 0, 0, 0, 0]
    for number, one in enumerate(outcome.by_pass):
        walked = range(one.steps)
        foreseen = {place for place in walked if pairs[number, steps[place]]}
        if not foreseen:
            continue
        sure: set[int] = set()
        for place in set(walked) - foreseen:
            sure |= accepted[place].get(number, set())
        here = survey.roster_pass == number
        open_tags = {t for t in survey.roster_tag[here].tolist() if through[t] and t not in sure}
        wanted = open_tags & set(survey.roster_tag[here & survey.roster_wanted].tolist())
        missed, stray = open_tags & set(one.missed), open_tags & set(one.stray)
        found = (1, len(wanted), len(missed), len(open_tags - wanted), len(stray))
        counts = [so_far + more for so_far, more in zip(counts, found, strict=True)]
    return Resting(*counts)


def replay(
    survey: Survey,
    policy: Policy,
    strategy: Strategy,
    accepted: Sequence[Mapping[int, Set[int]]],
) -> Outcome:
    """Walk the ladder in each pass: `accepted[i]` maps a pass index to the tags that step i adds.

    A pass that a step's map lacks adds nothing there.
    """
    present = _presented(survey)
    passes = []
    for number, pass_id in enumerate(survey.pass_ids):
        reported: set[int] = set()
        walked = 0
        for step in accepted:
            walked += 1
            reported |= step.get(number, set())
            if len(reported) >= strategy.stop_after:
                break
        wanted, stray = present[number]
        passes.append(
            PassOutcome(
                pass_id,
                len(wanted),
                len(stray),
                tuple(sorted(wanted - reported)),
                tuple(sorted(stray & reported)),
                walked,
            )
        )
    missed = sum(len(p.missed) for p in passes)
    strays = sum(len(p.stray) for p in passes)
    return Outcome(
        passes=len(passes),
        wanted=sum(p.wanted for p in passes),
        missed=missed,
        stray_presented=sum(p.stray_presented for p in passes),
        stray=strays,
        loss=policy.loss.missed * missed + policy.loss.stray * strays,
        by_pass=tuple(passes),
    )


@kept
def _presented(survey: Survey) -> Mapping[int, tuple[Set[int], Set[int]]]:
    """The wanted tags and the strays of each pass."""
    present: dict[int, tuple[set[int], set[int]]] = defaultdict(lambda: (set(), set()))
    columns = (survey.roster_pass, survey.roster_tag, survey.roster_wanted)
    for number, tag, belongs in zip(*(column.tolist() for column in columns), strict=True):
        present[number][0 if belongs else 1].add(tag)
    return present


def surveyed_steps(survey: Survey, strategy: Strategy) -> list[int]:
    """Level indices of the strategy's steps, lowest first; InputError for a level not surveyed."""
    steps = []
    usable = tried_with(survey, strategy)[2]
    surveyed = ", ".join(f"{level:g}" for level in survey.levels_dbm[usable])
    for position, level in enumerate(strategy.levels_dbm):
        close = np.flatnonzero(np.abs(survey.levels_dbm - level) < _SAME_LEVEL_DB)
        if not len(close) or not usable[close[0]]:
            raise InputError.one(
                "strategy",
                f"{level:g}",
                f"one that was: {surveyed}",
                column=f"levels_dbm.{position}",
                path=("levels_dbm", position),
                wrong=f"{level:g} dBm was not surveyed{', with every trim' * (not usable.all())}",
            )
        steps.append(int(close[0]))
    return steps


def _accepted_by(
    survey: Survey, policy: Policy, strategy: Strategy, levels: Sequence[int]
) -> list[dict[int, set[int]]]:
    """For each of the level indices: pass -> tags whose score passes the cutoff, and the chain."""
    if reads_alone(survey, strategy):
        return accepted_at(survey, strategy, levels)
    through = accepted_by(strategy.masks, survey.tags)
    found = []
    for level in levels:
        step: dict[int, set[int]] = defaultdict(set)
        for (number, tag), score in scores_at(survey, policy, strategy, level).items():
            if through[tag] and (strategy.cutoff is None or score >= strategy.cutoff):
                step[number].add(tag)
        found.append(step)
    return found


def accepted_at(
    survey: Survey, strategy: Strategy, levels: Sequence[int]
) -> list[dict[int, set[int]]]:
    """For each of the level indices: pass -> tags with a read that passes chain and cutoff."""
    through_masks = accepted_by(strategy.masks, survey.tags)
    found: dict[int, dict[int, set[int]]] = {level: defaultdict(set) for level in levels}
    passes = (
        np.isin(survey.read_level, list(found)) & np.array(through_masks, bool)[survey.read_tag]
    )
    if strategy.cutoff is not None:
        passes &= survey.read_rssi >= strategy.cutoff
    columns = (survey.read_level, survey.read_pass, survey.read_tag)
    for level, number, tag in zip(*(column[passes].tolist() for column in columns), strict=True):
        found[level][number].add(tag)
    return [found[level] for level in levels]
