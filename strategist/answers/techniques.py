"""What each technique buys: the best loss with some of them, and with less work to install."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Literal

from pydantic import Field

from strategist.answers.per_pass import PER_PASS, PerPass, beside_silence
from strategist.answers.solution import Bounded, Counted, Deadline, Options, Solution, Status, solve
from strategist.answers.sturdier import Sturdier, SturdierSearch, sturdier_than
from strategist.optimise.clock import Clock
from strategist.optimise.problem import value
from strategist.optimise.progress import at_stage
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Hidden, Seconds
from strategist.survey.policy import TECHNIQUES, Policy, Technique
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import Outcome
from strategist.trust.evaluation import silence_loss, silence_warnings
from strategist.trust.guarded import guarded_loss

Group = Literal["all", "alone", "without", "work"]


@dataclass(frozen=True)
class Variant(Bounded, Counted):
    """The best strategy when a read point may use some techniques only, or so many masks.

    `group` says what the variant is for: "all" that the policy allows, one of them "alone" (none:
    "nothing"), all "without" one, or a limit on the "work" to install. `allow` and `masks_max` are
    what it may use; `extra_loss` is its loss less that of "all" (in the survey, where it may be
    negative if others than each pass surveyed are chosen over: `extra_a_pass` is then what counts).
    `status`, `bound` and `gap` are as in a result.
    """

    name: str
    group: Group
    allow: tuple[Technique, ...]
    masks_max: int
    status: Status
    outcome: Hidden[Outcome]
    loss: float
    bound: float
    extra_loss: Annotated[float, Field(description="On top of the loss of all together")]
    per_pass: Annotated[PerPass | None, Field(description=PER_PASS)]
    extra_a_pass: Annotated[float | None, Field(description="As extra_loss, of per_pass")]
    guarded_loss: float
    strategy: Strategy
    mask_words: tuple[str, ...]


@dataclass(frozen=True)
class Techniques(Declared):
    """The variants of a read point, "all" first; `seconds` is the time of all of them.

    `silence_loss` is what is lost where nothing is reported; `sturdier` stands drift better than
    the strategy of "all" and loses little more (None: as in a result).
    """

    read_point: str
    variants: tuple[Variant, ...]
    silence_loss: float
    sturdier: Sturdier | None
    warnings: tuple[str, ...]
    seconds: Seconds


def compare_techniques(read_point: ReadPoint, options: Options | None = None) -> Techniques:
    """The best strategy of each variant of a read point's policy, proven and checked.

    Without power the level is the highest surveyed; without a ladder there is one level. Each
    variant has the whole time limit and its share of the total one; those that come to the same
    choice are solved once. Variants are held against each other by what the policy aims at. Where
    time runs out, each variant is given the best strategy found for it or for fewer techniques,
    with the best bound of it or of more: none is better than one that allows more. Variants that a
    total limit leaves no time for are left out, and a warning says which. Raises what `choose`
    raises.
    """
    options = options or Options()
    started, deadline = time.monotonic(), Deadline.of(options)
    whole = complete(read_point)
    asked = tuple(_policies(whole.policy, len(whole.survey.antennas)))
    policies = list(dict.fromkeys(policy for _, _, policy in asked))
    solved: dict[Policy, _Solved] = {}
    for number, policy in enumerate(policies):
        if solved and deadline.passed():
            break
        own = options.share(len(policies) + 1 - number, time.monotonic() - started)
        part = replace(whole, policy=policy)
        name = next(name for name, _, other in asked if other == policy)
        with at_stage(f"{name} ({number + 1} of {len(policies)})"):
            found = solve(part, own, _inside(policy, solved), clock=Clock(own.time_limit_s))
        guarded = guarded_loss(whole.survey, policy, found.strategy)
        solved[policy] = _Solved(found, guarded)
    best = {policy: _best_known(policy, solved) for policy in solved}
    variants = tuple(
        _variant(name, group, policy, best[policy], best[policies[0]].found)
        for name, group, policy in asked
        if policy in best
    )
    first = best[policies[0]].found
    sturdier = SturdierSearch()
    if options.sturdier and first.problem is solved[policies[0]].found.problem:
        own = options.share(1, time.monotonic() - started)
        sturdier = sturdier_than(first, Clock(own.time_limit_s))
    warnings = (
        *silence_warnings(whole.policy, first.outcome, beside_silence(first.per_pass)),
        *whole.warnings,
        *_late(name for name, _, policy in asked if policy not in best),
    )
    silent = silence_loss(whole.policy, first.outcome)
    seconds = time.monotonic() - started
    return Techniques(read_point.name, variants, silent, sturdier.found, warnings, seconds)


def _late(names: Iterable[str]) -> Iterator[str]:
    """What to know where the time limit left some variants out."""
    listed = ", ".join(names)
    if listed:
        yield f"The time limit left no time for: {listed}. Allow more time."


@dataclass(frozen=True)
class _Solved:
    found: Solution
    guarded_loss: float


def _inside(policy: Policy, solved: Mapping[Policy, _Solved]) -> Strategy | None:
    """The best strategy known that a policy allows, to begin with."""
    inside = [one for other, one in solved.items() if _within(other, policy)]
    return min(inside, key=lambda one: one.found.rank).found.strategy if inside else None


def _best_known(policy: Policy, solved: Mapping[Policy, _Solved]) -> _Solved:
    """The best answer that a policy allows, of all that were found, with the best bound known.

    Where time ran out, the search with fewer techniques may have found the better strategy, which
    more techniques allow as well; and no strategy of theirs is below a bound that holds for more.
    """
    own = solved[policy]
    inside = [one for other, one in solved.items() if _within(other, policy)]
    best = min([own, *inside], key=lambda one: one.found.rank)
    wider = [one.found for other, one in solved.items() if _within(policy, other)]
    return replace(best, found=best.found.bounded_by(wider))


def _within(fewer: Policy, more: Policy) -> bool:
    """Whether all that one policy allows is allowed by another one of the same read point."""
    return set(fewer.allow) <= set(more.allow) and _masks_max(fewer) <= _masks_max(more)


def _masks_max(policy: Policy) -> int:
    return policy.reader.mask_slots if "masks" in policy.allow else 0


def _variant(name: str, group: Group, policy: Policy, best: _Solved, first: Solution) -> Variant:
    found = best.found
    per_pass, least = found.per_pass, first.per_pass
    more = None if per_pass is None or least is None else value(per_pass.loss - least.loss)
    return Variant(
        name=name,
        group=group,
        allow=policy.allow,
        masks_max=_masks_max(policy),
        status=found.status,
        loss=found.loss,
        bound=found.bound,
        extra_loss=value(found.loss - first.loss),
        per_pass=per_pass,
        extra_a_pass=more,
        guarded_loss=best.guarded_loss,
        strategy=found.strategy,
        outcome=found.outcome,
        mask_words=found.mask_words,
    )


def _policies(policy: Policy, antennas: int) -> Iterator[tuple[str, Group, Policy]]:
    """(name, group, policy) of each variant, techniques in the order of the model."""
    slots = policy.reader.mask_slots
    idle = {name for name, use in (("masks", slots > 0), ("antennas", antennas > 1)) if not use}
    usable = [t for t in TECHNIQUES if t in policy.allow and t not in idle]
    yield "all together", "all", _allowing(policy, usable, slots)
    yield "nothing", "alone", _allowing(policy, [], slots)
    for one in usable:
        yield f"{one} alone", "alone", _allowing(policy, [one], slots)
    for one in usable:
        rest = [other for other in usable if other != one]
        yield f"without {one}", "without", _allowing(policy, rest, slots)
    for name, out in (
        ("one level", {"ladder"}),
        ("no cutoff", {"cutoff"}),
        ("one level, no cutoff", {"ladder", "cutoff"}),
    ):
        if out <= set(usable):
            yield name, "work", _allowing(policy, [t for t in usable if t not in out], slots)
    if "masks" in usable:
        for most in range(slots + 1):
            name = "no mask" if not most else f"at most {most} mask{'s' if most > 1 else ''}"
            yield name, "work", _allowing(policy, usable, most)


def _allowing(policy: Policy, allow: list[Technique], slots: int) -> Policy:
    """The policy with these techniques and so many mask slots; no slot is no masks."""
    if "masks" not in allow or not slots:
        allow, slots = [t for t in allow if t != "masks"], policy.reader.mask_slots
    return replace(policy, allow=tuple(allow), reader=replace(policy.reader, mask_slots=slots))
