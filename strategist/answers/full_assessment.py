"""How far to trust the best strategy of a read point: the answer with everything that tests it."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Annotated

from pydantic import Field

from strategist.answers.assessment import UNSEEN_LATE, Assessment, choose
from strategist.answers.solution import Again, Deadline, Map, Options, again_in
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Seconds
from strategist.survey.records import ReadPoint
from strategist.trust.folds import FOLDS, CrossValidation, cross_validate, without_folds
from strategist.trust.next_survey import NextSurvey, next_survey
from strategist.trust.tag_types import TagTypes, judge_cutoff, measured_types, without_cutoff
from strategist.trust.unseen import SOLVES_MAX, leave_out, unseen_rates

_FURTHER_MAX = FOLDS + 1 + SOLVES_MAX  # choices: without passes, without a cutoff, without tags

_LATE = (
    "The time limit left no time to choose again without some of the passes: how the answer does "
    "on passes that it was not chosen from is not known. Allow more time."
)


@dataclass(frozen=True, repr=False)
class FullAssessment(Assessment):
    """An assessment with what choosing again without some passes and tags shows (None where there
    are too few passes).

    `tag_types` says what a cutoff costs over mixed types, `next_survey` what to measure next;
    `assessed_seconds` is the time of it all.
    """

    cross_validation: Annotated[CrossValidation | None, Field(description="null: too few passes")]
    tag_types: TagTypes
    next_survey: NextSurvey
    assessed_seconds: Seconds


def assess_fully(
    read_point: ReadPoint, options: Options | None = None, mapped: Map = map
) -> FullAssessment:
    """Choose, then choose again without some of the passes and tags, and say what that shows.

    `mapped` runs the further choices: the built-in `map` takes one after the other, that of a
    process pool begins with those without some passes while the answer is still being found. Of a
    `total_limit_s` the answer has half, and they share the rest evenly, so there they wait for
    it; what no time is left for is left out, and said. Raises what `choose` raises.
    """
    options = options or Options()
    started, deadline = time.monotonic(), Deadline.of(options)
    whole = complete(read_point)
    folds = without_folds(whole)
    begun = mapped(again_in(options, deadline), folds) if options.total_limit_s is None else None
    result = choose(read_point, replace(options, unseen=False).share(2, 0.0))
    again = again_in(options.share(_FURTHER_MAX, time.monotonic() - started), deadline)
    if begun is None:
        begun = mapped(again, folds)
    types = measured_types(whole)
    left_out = leave_out(whole) if options.unseen and result.strategy.masks else None
    tags = left_out.parts if left_out else ()
    plain = without_cutoff(whole, result.strategy, types)
    others = list(mapped(again, [*tags, *plain]))  # first, since workers began with the folds
    found = [*begun, *others]
    each = iter(found)
    warnings: list[str] = []
    without_some = _made(islice(each, len(folds)))
    cross = cross_validate(whole, result.strategy, result.outcome, without_some)
    if cross:
        warnings += cross.warnings
    elif folds:
        warnings.append(_LATE)
    if left_out:
        chosen = _made(islice(each, len(tags)))
        if len(chosen) == len(tags):
            unseen = unseen_rates(whole.survey, result.strategy, left_out, chosen)
            result = replace(result, unseen=unseen)
            warnings = [*unseen.warnings, *warnings]
        else:
            warnings.append(UNSEEN_LATE)
    types = judge_cutoff(whole, result.strategy, types, _made(each))
    if types.sentence is not None and not types.cutoff_stands:
        warnings.append(types.sentence)
    result = replace(result, warnings=(*result.warnings, *warnings, *_unproven(found)))
    following = next_survey(whole, result.strategy, result.outcome, cross)
    return FullAssessment(
        **vars(result),
        cross_validation=cross,
        tag_types=types,
        next_survey=following,
        assessed_seconds=time.monotonic() - started,
    )


def _made(found: Iterable[Again]) -> list[Strategy]:
    """The strategies of some further choices that belong together; none where one is lacking."""
    made = list(found)
    chosen = [one[0] for one in made if one is not None]
    return chosen if len(chosen) == len(made) else []


def _unproven(found: Sequence[Again]) -> list[str]:
    """What to know where further choices ran out of time."""
    made = [one for one in found if one is not None]
    missing = sum(not proven for _, proven in made)
    if not missing:
        return []
    return [
        f"{missing} of {len(made)} choices without some of the passes or tags "
        "were not proven in the time given: what they say of the answer is less sure"
    ]
