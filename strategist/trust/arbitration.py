"""A rule that discards one of two reports of a tag, replayed from the raw reads of both.

Written apart from `optimise/site/contested.py`, which the choice of the rule rests on: the two are
compared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Policy
from strategist.survey.records import Survey
from strategist.trust.evaluate import Outcome, surveyed_steps
from strategist.trust.scores import scores_at

__all__ = ["Discarded", "Reporting", "discarded"]

_DIGITS = 4  # of a dB; a difference is held against the threshold to this


@dataclass(frozen=True, eq=False)
class Reporting:
    """A read point with what it is set to, and its outcome before any rule."""

    survey: Survey
    policy: Policy
    strategy: Strategy
    outcome: Outcome


@dataclass(frozen=True)
class Discarded:
    """Reports of wanted tags and of strays that the host discards at one of the two."""

    wanted: int = 0
    stray: int = 0


def discarded(
    both: Sequence[Reporting], threshold_db: float | None, facing: int | None
) -> tuple[Discarded, Discarded]:
    """What a rule discards at each of two read points.

    Of two reports of a tag in one pass that of the weaker read goes, where the strongest reads of
    the two are `threshold_db` or more apart; where one is `facing` (0 or 1), the other's, where it
    is not stronger than that by more than −`threshold_db` (None: always).
    """
    first, second = (_reports(one) for one in both)
    counts = [[0, 0], [0, 0]]
    for key in first.keys() & second.keys():
        (rssi, _), (against, _) = first[key], second[key]
        for loser, above in ((1, rssi - against), (0, against - rssi)):
            enough = threshold_db is None or round(above, _DIGITS) >= threshold_db
            if facing != loser and (facing is not None or above > 0) and enough:
                wanted = (first, second)[loser][key][1]
                counts[loser][0 if wanted else 1] += 1
    return Discarded(*counts[0]), Discarded(*counts[1])


def _reports(one: Reporting) -> dict[tuple[str, str], tuple[float, bool]]:
    """By pass id and EPC, of each tag reported: the strongest read (dBm), and whether it is
    wanted."""
    survey = one.survey
    steps = surveyed_steps(survey, one.strategy)
    at = [scores_at(survey, one.policy, one.strategy, step) for step in steps]
    wanted: dict[int, set[int]] = {}
    for number, tag, belongs in zip(
        survey.roster_pass.tolist(),
        survey.roster_tag.tolist(),
        survey.roster_wanted.tolist(),
        strict=True,
    ):
        if belongs:
            wanted.setdefault(number, set()).add(tag)
    found = {}
    for number, of_pass in enumerate(one.outcome.by_pass):
        belong = wanted.get(number, set())
        for tag in (belong - set(of_pass.missed)) | set(of_pass.stray):
            heard = [
                scores[number, tag] for scores in at[: of_pass.steps] if (number, tag) in scores
            ]
            found[of_pass.pass_id, survey.tags[tag].epc] = max(heard), tag in belong
    return found
