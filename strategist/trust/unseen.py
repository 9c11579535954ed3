"""Do the masks hold for tags that were not surveyed? Leave tags out, choose again, and look.

Masks are judged alone here, tag by tag: a wanted tag that the chain rejects can never be reported,
and a stray tag that it rejects never will be, whatever power and cutoff do.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, Hidden
from strategist.survey.records import Bools, Ints, ReadPoint, Survey
from strategist.tags.candidates import tag_fields
from strategist.tags.fields import words_of
from strategist.tags.mask import Mask, accepted_by
from strategist.trust.intervals import Rate, clopper_pearson

FOLDS = 4  # parts that are left out in turn; each costs one more choice
SOLVES_MAX = 2 * FOLDS  # once by tag, once by class
THIN_CLASS = 5  # a wanted kind of item seen on fewer tags than this is said
_REAL = 0.05  # a gap is called real below this probability that chance alone made it


@dataclass(frozen=True)
class Held(Declared):
    """What a chain does to tags: wanted ones rejected, strays let through, each once per role."""

    wanted_rejected: Rate
    stray_let_through: Rate


@dataclass(frozen=True)
class Unseen(Declared):
    """The chain on the tags it was fitted to, and re-chosen chains on the tags they never saw.

    `by_tag` leaves out single tags of known classes, `by_class` whole kinds of item at a time (None
    where there are too few to leave any out). `warnings` are sentences, for gaps that are real.
    """

    fitted: Held
    by_tag: Held | None
    by_class: Held | None
    warnings: Hidden[tuple[str, ...]]


def item_class(survey: Survey, tag: int) -> str:
    """What the structure of a tag's EPC says it is, in words; plain data goes by its length."""
    fields = [field for field in tag_fields(survey.tags[tag], "epc") if field.structural]
    return words_of(fields) if fields else f"plain data of {4 * len(survey.tags[tag].epc)} bits"


def thin_classes(survey: Survey) -> tuple[str, ...]:
    """One sentence for each wanted kind of item that was seen on few tags."""
    seen: dict[str, set[int]] = defaultdict(set)
    for tag in np.unique(survey.roster_tag[survey.roster_wanted]).tolist():
        seen[item_class(survey, tag)].add(tag)
    return tuple(
        f"wanted {words} was seen on {len(tags)} tag{'s' if len(tags) > 1 else ''} only: "
        f"survey at least {THIN_CLASS}"
        for words, tags in sorted(seen.items())
        if len(tags) < THIN_CLASS
    )


@dataclass(frozen=True, eq=False)
class LeftOut:
    """The read point without some of its tags at a time: single tags, then whole kinds of item.

    `by_tag[i]` and `by_class[i]` mark the tags that part i lacks; `parts` are in that order.
    """

    by_tag: tuple[Bools, ...]
    by_class: tuple[Bools, ...]
    parts: tuple[ReadPoint, ...]


def leave_out(read_point: ReadPoint) -> LeftOut:
    """Leave out tags, one of `FOLDS` parts at a time.

    The parts are made by tag number within the survey's order, so the answer is repeatable. One
    that would leave no wanted or no stray tag is not made.
    """
    survey = read_point.survey
    classes = [item_class(survey, tag) for tag in range(len(survey.tags))]
    names = {name: number for number, name in enumerate(sorted(set(classes)))}
    by_class_part = np.array([names[name] for name in classes])
    within: dict[str, int] = defaultdict(int)
    by_tag_part = np.zeros(len(classes), np.int64)
    for tag, name in enumerate(classes):  # every class is spread over all parts
        by_tag_part[tag] = (within[name] + names[name]) % FOLDS
        within[name] += 1
    by_tag = _parts(read_point, by_tag_part)
    by_class = _parts(read_point, by_class_part % FOLDS) if len(names) > 1 else []
    return LeftOut(
        tuple(out for out, _ in by_tag),
        tuple(out for out, _ in by_class),
        tuple(part for _, part in (*by_tag, *by_class)),
    )


def unseen_rates(
    survey: Survey, strategy: Strategy, left_out: LeftOut, strategies: Sequence[Strategy]
) -> Unseen:
    """Test each chain of `strategies`, chosen for `left_out.parts`, on the tags it never saw.

    Rates carry 95 % Clopper–Pearson intervals; a gap is real when Fisher's exact test says so.
    """
    fitted = _held([_count(survey, strategy.masks, np.ones(len(survey.tags), bool))])
    singles = len(left_out.by_tag)
    by_tag = _tested(survey, left_out.by_tag, strategies[:singles])
    by_class = _tested(survey, left_out.by_class, strategies[singles:])
    warnings = [
        *_gaps(fitted, by_tag, "The masks fit the surveyed tags better than others of their kind"),
        *_gaps(fitted, by_class, "A new kind of item may need a new survey"),
    ]
    return Unseen(fitted, by_tag, by_class, tuple(warnings))


Tally = tuple[int, int, int, int]  # wanted rejected, wanted, strays let through, strays


def _parts(read_point: ReadPoint, part: Ints) -> list[tuple[Bools, ReadPoint]]:
    """The tags of each part, and the read point without them."""
    found = []
    for number in range(FOLDS):
        out = part == number
        kept = read_point.survey.without_tags(out)
        if out.any() and kept.roster_wanted.any() and not kept.roster_wanted.all():
            found.append((out, ReadPoint(kept, read_point.policy)))
    return found


def _tested(survey: Survey, outs: Sequence[Bools], strategies: Sequence[Strategy]) -> Held | None:
    """What chains chosen without a part of the tags do to that part, over all parts."""
    tallies = [
        _count(survey, strategy.masks, out) for strategy, out in zip(strategies, outs, strict=True)
    ]
    return _held(tallies) if tallies else None


def _count(survey: Survey, chain: Sequence[Mask], of: Bools) -> Tally:
    """A tag counts once as wanted and once as stray, for the roles it had."""
    accepted = np.array(accepted_by(chain, survey.tags), bool)
    wanted, stray = np.zeros(len(of), bool), np.zeros(len(of), bool)
    wanted[survey.roster_tag[survey.roster_wanted]] = True
    stray[survey.roster_tag[~survey.roster_wanted]] = True
    wanted, stray = wanted & of, stray & of
    return (
        int((wanted & ~accepted).sum()),
        int(wanted.sum()),
        int((stray & accepted).sum()),
        int(stray.sum()),
    )


def _held(tallies: list[Tally]) -> Held:
    rejected, wanted, through, stray = np.sum(tallies, axis=0).tolist()
    return Held(clopper_pearson(rejected, wanted), clopper_pearson(through, stray))


def _gaps(fitted: Held, unseen: Held | None, lesson: str) -> list[str]:
    """A sentence with its lesson for each rate that is really worse on tags left out in turn."""
    if unseen is None:
        return []
    said = []
    for before, after, do, role in (
        (fitted.wanted_rejected, unseen.wanted_rejected, "reject", "wanted"),
        (fitted.stray_let_through, unseen.stray_let_through, "let through", "stray"),
    ):
        if _as_many_by_chance(after, before) < _REAL:
            said.append(
                f"{lesson}: chosen without them, the masks {do} {_of(after)} {role} tags; with "
                f"them, {before.events}."
            )
    return said


def _as_many_by_chance(after: Rate, before: Rate) -> float:
    """Fisher's exact test: the chance that of the events of both so many or more are in the first,
    if either is as likely for each trial (a hypergeometric tail, by whole numbers)."""
    trials, events = after.trials + before.trials, after.events + before.events
    ways = sum(
        math.comb(after.trials, k) * math.comb(before.trials, events - k)
        for k in range(after.events, min(events, after.trials) + 1)
    )
    return ways / math.comb(trials, events)


def _of(rate: Rate) -> str:
    return f"{rate.events} of {rate.trials}"
