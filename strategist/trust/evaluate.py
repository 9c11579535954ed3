"""The independent evaluator: replays the raw reads of a survey under a strategy, step by step.

It knows nothing of the model. It shares with it the survey, the strategy and nothing else, so that
an error in the model's arithmetic cannot hide here.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.survey.records import Survey
from strategist.tags.mask import chain_accepts

__all__ = ["Outcome", "PassOutcome", "evaluate"]

_SAME_LEVEL_DB = 1e-6


@dataclass(frozen=True, slots=True)
class PassOutcome:
    """What one pass came to; tags as indices into the survey's `tags`, ascending.

    `steps` is the number of ladder steps that were walked, at least 1.
    """

    pass_id: str
    wanted: int
    missed: tuple[int, ...]
    stray: tuple[int, ...]
    steps: int


@dataclass(frozen=True)
class Outcome:
    """Counts over all passes of a survey; `loss` is weighted by the policy it was judged by."""

    passes: int
    wanted: int
    missed: int
    stray_presented: int
    stray: int
    loss: float
    by_pass: tuple[PassOutcome, ...]

    @property
    def missed_rate(self) -> float | None:
        """Missed per wanted tag presented; None where no wanted tag was presented."""
        return self.missed / self.wanted if self.wanted else None

    @property
    def stray_rate(self) -> float:
        """Stray tags reported per pass."""
        return self.stray / self.passes

    def to_json(self) -> dict[str, Any]:
        """The counts and rates, without the passes."""
        return {
            "passes": self.passes,
            "wanted": self.wanted,
            "missed": self.missed,
            "stray_presented": self.stray_presented,
            "stray": self.stray,
            "missed_rate": self.missed_rate,
            "stray_rate": self.stray_rate,
        }


def evaluate(survey: Survey, policy: Policy, strategy: Strategy) -> Outcome:
    """What `strategy` would have reported in each pass of the survey, and its loss.

    Raises InputError where the strategy uses a level that was not surveyed, at all or in some pass.
    """
    steps = _surveyed_steps(survey, strategy)
    reads = _reads_by_step(survey, strategy, steps)
    present: dict[int, tuple[set[int], set[int]]] = defaultdict(lambda: (set(), set()))
    for entry in range(len(survey.roster_pass)):
        wanted, stray = present[int(survey.roster_pass[entry])]
        tag = int(survey.roster_tag[entry])
        (wanted if survey.roster_wanted[entry] else stray).add(tag)

    passes = []
    for number, pass_id in enumerate(survey.pass_ids):
        reported: set[int] = set()
        walked = 0
        for step in steps:
            walked += 1
            reported |= reads.get((number, step), set())
            if len(reported) >= strategy.stop_after:
                break
        wanted, stray = present[number]
        passes.append(
            PassOutcome(
                pass_id,
                len(wanted),
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
        stray_presented=int((~survey.roster_wanted).sum()),
        stray=strays,
        loss=policy.loss.missed * missed + policy.loss.stray * strays,
        by_pass=tuple(passes),
    )


def _surveyed_steps(survey: Survey, strategy: Strategy) -> list[int]:
    """Level indices of the strategy's steps, lowest first."""
    steps = []
    surveyed = ", ".join(f"{level:g}" for level in survey.levels_dbm)
    for position, level in enumerate(strategy.levels_dbm):
        column, path = f"levels_dbm.{position}", ("levels_dbm", position)
        close = np.flatnonzero(np.abs(survey.levels_dbm - level) < _SAME_LEVEL_DB)
        if not len(close):
            allowed = f"a level surveyed here: {surveyed}"
            raise InputError.one("strategy", f"{level:g}", allowed, column=column, path=path)
        step = int(close[0])
        if not survey.tried[:, step].all():
            untried = survey.pass_ids[int(np.flatnonzero(~survey.tried[:, step])[0])]
            allowed = f"a level that every pass was tried at (pass {untried} was not)"
            raise InputError.one("strategy", f"{level:g}", allowed, column=column, path=path)
        steps.append(step)
    return steps


def _reads_by_step(
    survey: Survey, strategy: Strategy, steps: list[int]
) -> dict[tuple[int, int], set[int]]:
    """(pass, level index) -> tags accepted there: chain holds, one read reaches the cutoff."""
    through_masks = [chain_accepts(strategy.masks, tag) for tag in survey.tags]
    accepted: dict[tuple[int, int], set[int]] = defaultdict(set)
    for read in np.flatnonzero(np.isin(survey.read_level, steps)):
        tag = int(survey.read_tag[read])
        strong = strategy.cutoff_dbm is None or survey.read_rssi[read] >= strategy.cutoff_dbm
        if strong and through_masks[tag]:
            accepted[int(survey.read_pass[read]), int(survey.read_level[read])].add(tag)
    return accepted
