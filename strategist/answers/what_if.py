"""What if: the answer again with another policy, or with another cable, and what changed."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

import numpy as np
from pydantic import Field

from strategist.answers.assessment import Assessment, choose
from strategist.answers.cable import behind_cable
from strategist.answers.solution import Deadline, Options
from strategist.errors import InputError
from strategist.optimise.problem import value
from strategist.optimise.progress import at_stage
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.json_text import parse_json
from strategist.survey.order import figure
from strategist.survey.policy import POLICY, Loss, Policy
from strategist.survey.records import ReadPoint

_LATE = "the time limit left no time for it: allow more time"


@dataclass(frozen=True)
class Change(Declared):
    """A key of the policy (with dots, as in site.json) or "added_cable_loss_db"; its two values."""

    key: str
    before: Any
    after: Any


@dataclass(frozen=True)
class BeforeAfter(Declared):
    before: float
    after: float


@dataclass(frozen=True)
class Effect(Declared):
    """The answers before and after some changes.

    `settings` are the parts of the strategy that differ. `loss_after` is the loss of the second
    answer by the weights before, so that the two can be compared. `assumptions` say what the second
    answer takes for granted beyond the survey.
    """

    read_point: str
    changes: tuple[Change, ...]
    assumptions: tuple[str, ...]
    settings: tuple[Change, ...]
    weights: Hidden[Loss]
    before: Hidden[Assessment]
    after: Assessment

    @property
    def loss_after(self) -> float:
        outcome = self.after.outcome
        return value(self.weights.missed * outcome.missed + self.weights.stray * outcome.stray)

    @told(after="changes")
    def levels(self) -> BeforeAfter:
        return BeforeAfter(self.before.searched["levels"], self.after.searched["levels"])

    @told(after="settings")
    def missed(self) -> BeforeAfter:
        return BeforeAfter(self.before.outcome.missed, self.after.outcome.missed)

    @told(after="settings")
    def stray(self) -> BeforeAfter:
        return BeforeAfter(self.before.outcome.stray, self.after.outcome.stray)

    @told(after="settings")
    def loss(self) -> BeforeAfter:
        return BeforeAfter(self.before.loss, self.loss_after)

    @told(after="settings")
    def loss_a_pass(
        self,
    ) -> Annotated[BeforeAfter | None, Field(description="Of per_pass, by the weights before")]:
        before, after = self.before.per_pass, self.after.per_pass
        if before is None or after is None:
            return None
        return BeforeAfter(before.loss, after.under(self.weights))

    @told(after="settings")
    def guarded_loss(self) -> BeforeAfter:
        return BeforeAfter(self.before.standing.guarded_loss, self.after.standing.guarded_loss)


@dataclass(frozen=True)
class WhatIf(Effect):
    """An effect with the answer before it."""

    before: Assessment


@dataclass(frozen=True)
class Asked(Declared):
    """A question in words with its answer, or the reason why there is none."""

    question: str
    answer: Effect | None
    refused: str | None


@dataclass(frozen=True)
class WhatIfs(Declared):
    """The first answer, and what changes it in each of some questions."""

    read_point: str
    before: Assessment
    questions: tuple[Asked, ...]


def what_if(
    read_point: ReadPoint,
    sets: Mapping[str, Any],
    *,
    added_cable_loss_db: float = 0.0,
    options: Options | None = None,
    before: Assessment | None = None,
) -> WhatIf:
    """The answer of `choose`, and again with keys of the policy set and the cable changed.

    `sets` maps keys as in site.json, with dots ("reader.mask_slots"), to JSON values;
    `added_cable_loss_db` is by how much the new cable loses more (negative: less). `before` is the
    first answer where it is known. A total time limit is for both answers. Raises InputError where
    a key or a value is not one of a policy (its path: the keys as in site.json), or no level is
    left, and what `choose` raises.
    """
    options = replace(options or Options(), sturdier=False)
    started = time.monotonic()
    other, changes, assumptions = changed(read_point, sets, added_cable_loss_db)
    first = before
    if first is None:
        with at_stage("as it is"):
            first = choose(read_point, options.share(2, _since(started)))
    with at_stage("" if before else "changed"):
        second = choose(other, options.share(1, _since(started)), known=first.strategy)
    if before is None:
        first = _no_worse(read_point, first, [second.strategy], options)
    found = _effect(read_point, changes, first, second, assumptions)
    return WhatIf(**vars(found))


def changed(
    read_point: ReadPoint, sets: Mapping[str, Any], added_cable_loss_db: float
) -> tuple[ReadPoint, tuple[Change, ...], tuple[str, ...]]:
    """The read point with keys set and the cable changed as in `what_if`, what that changes, and
    what it takes for granted. Raises InputError where nothing changes, too."""
    policy, changes = _changed(read_point.policy, sets)
    other = _at_levels(replace(read_point, policy=policy))
    assumptions: tuple[str, ...] = ()
    if added_cable_loss_db:
        other, assumptions = behind_cable(complete(other), added_cable_loss_db)
        changes = (*changes, Change("added_cable_loss_db", 0.0, added_cable_loss_db))
    if not changes:
        wrong = "no key differs from what the policy says"
        raise InputError.one("set", "", "a value that differs", wrong=wrong)
    return other, changes, assumptions


def _effect(
    read_point: ReadPoint,
    changes: tuple[Change, ...],
    first: Assessment,
    second: Assessment,
    assumptions: tuple[str, ...],
) -> Effect:
    return Effect(
        read_point=read_point.name,
        changes=changes,
        before=first,
        after=second,
        weights=read_point.policy.loss,
        settings=tuple(_settings(first, second)),
        assumptions=assumptions,
    )


def usual_what_ifs(read_point: ReadPoint, options: Options | None = None) -> WhatIfs:
    """What planners ask most, each as `what_if` answers it; the first answer is found once.

    A question that makes no sense at the read point (no surveyed level is left) has its reason in
    place of an answer. All answers share a total time limit. Raises what `choose` raises.
    """
    options = replace(options or Options(), sturdier=False)
    started, deadline = time.monotonic(), Deadline.of(options)
    questions = tuple(_questions(read_point.policy))
    shares = 2 + len(questions)  # of the limit: the first answer, each question, and _no_worse
    with at_stage("as it is"):
        before = choose(read_point, options.share(shares, _since(started)))
    asked: list[Asked] = []
    for words, sets, added_cable_loss_db in questions:
        if deadline.passed():
            asked.append(Asked(words, None, _LATE))
            continue
        own = options.share(shares - 1 - len(asked), _since(started))
        try:
            with at_stage(f"{words} ({len(asked) + 1} of {len(questions)})"):
                found = what_if(
                    read_point,
                    sets,
                    added_cable_loss_db=added_cable_loss_db,
                    options=own,
                    before=before,
                )
        except InputError as error:
            asked.append(Asked(words, None, str(error)))
        else:
            asked.append(Asked(words, Effect(**vars(found)), None))
    others = [one.answer.after.strategy for one in asked if one.answer is not None]
    better = _no_worse(read_point, before, others, options)
    if better is not before:
        asked = [_after(read_point, better, one) for one in asked]
    return WhatIfs(read_point.name, better, tuple(asked))


def _after(read_point: ReadPoint, before: Assessment, asked: Asked) -> Asked:
    """The same question with another first answer."""
    if asked.answer is None:
        return asked
    one = asked.answer
    found = _effect(read_point, one.changes, before, one.after, one.assumptions)
    return replace(asked, answer=found)


def _no_worse(
    read_point: ReadPoint, first: Assessment, others: Sequence[Strategy], options: Options
) -> Assessment:
    """The first answer, or a better one of the others that its policy allows as well.

    That happens only where the first was not proven; what is known of the bound stays.
    """
    if first.status not in ("feasible", "undecided"):
        return first
    at_once = replace(options, time_limit_s=0.0, total_limit_s=0.0, unseen=False)
    own = first.strategy
    for strategy in [one for one in dict.fromkeys(others) if one != own]:
        found = choose(read_point, at_once, known=strategy)
        if _rank(read_point.policy, found) < _rank(read_point.policy, first):
            first = _bounded(found, first)
    return first


def _bounded(found: Assessment, first: Assessment) -> Assessment:
    """With what is known of the bound by the first answer."""
    over = found.per_pass
    if over is not None and first.per_pass is not None:
        over = replace(over, bound=first.per_pass.bound)
    return replace(found, bound=first.bound, per_pass=over, proof=first.proof, unseen=None)


def _rank(policy: Policy, result: Assessment) -> tuple[float, float, float]:
    outcome, over = result.outcome, result.per_pass
    if over is not None:
        return over.excess, over.loss, over.guarded_loss
    excess = value(policy.limits.excess(outcome.missed_rate, outcome.stray_rate))
    return excess, result.loss, result.standing.guarded.loss


def _since(started: float) -> float:
    return time.monotonic() - started


def _questions(policy: Policy) -> Iterator[tuple[str, dict[str, Any], float]]:
    """(question in words, keys to set, change of cable loss in dB)."""
    reader, loss = policy.reader, policy.loss
    if "masks" in policy.allow:
        yield "one more mask slot", {"reader.mask_slots": reader.mask_slots + 1}, 0.0
        aligned = 1 if reader.mask_step_bits == 8 else 8
        words = "masks on any bits" if aligned == 1 else "masks of whole bytes"
        yield words, {"reader.mask_step_bits": aligned}, 0.0
    if "ladder" in policy.allow:
        yield "one more ladder step", {"reader.ladder_steps_max": reader.ladder_steps_max + 1}, 0.0
    yield "a miss weighs twice", {"loss.missed": 2 * loss.missed}, 0.0
    yield "a stray weighs twice", {"loss.stray": 2 * loss.stray}, 0.0
    yield "2 dB less cable loss", {}, -2.0
    yield "2 dB more cable loss", {}, 2.0


def _changed(policy: Policy, sets: Mapping[str, Any]) -> tuple[Policy, tuple[Change, ...]]:
    """The policy with keys set, judged as site.json is, and the keys whose value differs."""
    if "unlisted" in sets:
        wrong, todo = "cannot be set here", "Change it in site.json: it counts when that is read."
        raise InputError.one("set", "unlisted", todo, path=("unlisted",), wrong=wrong)
    plain = POLICY.dump_python(policy, mode="json")
    given: dict[str, Any] = json.loads(json.dumps(plain))
    for key, new in sets.items():
        _refuse_short(plain, key)
        *path, last = key.split(".")
        place = given
        for part in path:
            inner = place.setdefault(part, {})
            if not isinstance(inner, dict):
                wrong = f'"{part}" holds a value and no keys'
                todo = f'Set "{part}" itself, or a key of a group such as loss.missed.'
                raise InputError.one("set", key, todo, path=(*path, last), wrong=wrong)
            place = inner
        place[last] = new
    changed = parse_json(json.dumps(given).encode(), POLICY, "set")
    after = POLICY.dump_python(changed, mode="json")
    changes = [
        Change(key, old, new)
        for key in sets
        if (old := _at(plain, key)) != (new := _at(after, key))
    ]
    return changed, tuple(changes)


def _refuse_short(policy: Mapping[str, Any], key: str) -> None:
    """Say which group a key is of where only its last part was given."""
    if key in policy:
        return
    for group, inner in policy.items():
        if isinstance(inner, dict) and key in inner:
            wrong, todo = f'unknown key "{key}"', f'Name its group, too (nearest: "{group}.{key}").'
            raise InputError.one("set", key, todo, path=(key,), wrong=wrong)


def _at(policy: Any, key: str) -> Any:
    for part in key.split("."):
        policy = policy[part]
    return policy


def _at_levels(read_point: ReadPoint) -> ReadPoint:
    """The read point with the levels that its policy names, which must have been surveyed."""
    named, survey = read_point.policy.levels_dbm, read_point.survey
    if named is None:
        return read_point
    keep = np.isin(survey.levels_dbm, named)
    if keep.sum() < len(named):
        levels = ", ".join(figure(level) for level in survey.levels_dbm)
        unknown = ", ".join(figure(one) for one in named if one not in survey.levels_dbm)
        allowed, key = f"surveyed levels: {levels}", "levels_dbm"
        wrong = f"{unknown} dBm was not surveyed"
        raise InputError.one("set", unknown, allowed, column=key, path=(key,), wrong=wrong)
    return read_point if keep.all() else replace(read_point, survey=survey.keep(levels=keep))


def _settings(before: Assessment, after: Assessment) -> Iterator[Change]:
    """The parts of the strategy that differ; null where one of the two lacks it."""
    old, new = before.strategy.to_json(), after.strategy.to_json()
    for key in dict.fromkeys((*old, *new)):
        if old.get(key) != new.get(key):
            yield Change(key, old.get(key), new.get(key))
