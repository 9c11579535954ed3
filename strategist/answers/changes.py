"""What to change at a reader to get from one strategy to another, and what each change is worth."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from strategist.answers.by_antenna import antenna_settings, cutoff_words
from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared
from strategist.survey.late import optimize
from strategist.survey.order import figure
from strategist.survey.score import Difference, Nth
from strategist.tags.mask import Mask, mask_text

Setting = Literal["levels_dbm", "stop_after", "score", "cutoff_dbm", "masks", "step_s"]
_CUTOFFS = ("cutoff_dbm", "cutoff_db")
_MOVED: dict[Setting, tuple[str, ...]] = {  # what a setting is made of
    "levels_dbm": ("levels_dbm",),
    "stop_after": ("stop_after",),
    "score": ("score", *_CUTOFFS),
    "cutoff_dbm": _CUTOFFS,
    "masks": ("masks",),
    "step_s": ("step_s",),
}
_SAME_LOSS = 1e-6


@dataclass(frozen=True)
class Change(Declared):
    """One act at the reader: a level, the stop rule, the cutoff, a mask (its JSON), the dwell of a
    step, or what antennas and reads are held to (the JSON of the score, its cutoff with it).

    `before` None: there was none; `after` None: it goes.
    """

    setting: Setting
    before: Any
    after: Any
    words: str


@dataclass(frozen=True)
class Changes(Declared):
    """The changes from one strategy to another (by the names of their sides), fewest acts.

    `loss_with_one_changed` is the loss when one setting that differs is changed and the others are
    left as they were (a pass, where `per_pass` is what counts). `enough` is the fewest settings (of
    equals the least loss) after whose change the loss is no higher than the other strategy's;
    empty: it is not now.
    """

    before: Annotated[str, "as from"]
    to: str
    changes: tuple[Change, ...]
    loss_with_one_changed: dict[Setting, float]
    enough: Annotated[
        tuple[Setting, ...],
        Field(description="Fewest settings whose change gives as low a loss"),
    ]
    enough_loss: float


def changes_between(
    before: Strategy,
    after: Strategy,
    loss_of: Callable[[Strategy], float],
    names: tuple[str, str] = ("before", "after"),
) -> Changes:
    """The changes from `before` to `after`; `loss_of` judges what lies between (15 at most)."""
    other_score = before.score != after.score
    differ = [
        setting
        for setting, names in _MOVED.items()
        if any(getattr(before, name) != getattr(after, name) for name in names)
        and setting != ("cutoff_dbm" if other_score else "score")
    ]

    def changed(settings: Sequence[Setting]) -> float:
        moved = [name for setting in settings for name in _MOVED[setting]]
        return loss_of(replace(before, **{name: getattr(after, name) for name in moved}))

    aim = loss_of(after)
    alone = {one: changed([one]) for one in differ}
    enough, loss = tuple(differ), aim
    for size in range(len(differ)):
        tried = itertools.combinations(differ, size)
        found, some = min(((changed(one), one) for one in tried), key=lambda pair: pair[0])
        if found <= aim + _SAME_LOSS:
            enough, loss = some, found
            break
    return Changes(*names, tuple(_listed(before, after)), alone, enough, loss)


def _listed(before: Strategy, after: Strategy) -> Iterator[Change]:
    yield from _levels(before.levels_dbm, after.levels_dbm)
    if before.stop_after != after.stop_after:
        old, new = before.stop_after, after.stop_after
        tags = "tag" if new == 1 else "tags"
        yield Change("stop_after", old, new, f"stop after {new} {tags} instead of {old}")
    if before.score != after.score:
        yield _score(before, after)
    elif before.cutoff != after.cutoff:
        unit = "dBm" if before.cutoff_db is None and after.cutoff_db is None else "dB"
        yield _cutoff(before.cutoff, after.cutoff, unit)
    yield from _masks(before.masks, after.masks)
    if before.step_s != after.step_s:
        old_s, new_s = before.step_s, after.step_s
        said = "as long as before" if new_s is None else f"{figure(new_s)} s"
        yield Change("step_s", old_s, new_s, f"listen {said} at each step")


def _score(before: Strategy, after: Strategy) -> Change:
    told = [f"{label}: {text}" for label, text in antenna_settings(after)]
    words = f"tell antennas or reads apart ({'; '.join(told)})"
    if after.score is None or not told:
        words = "take the strongest read of all antennas"
    if not isinstance(after.score, Nth | Difference):
        words += f"; cutoff {cutoff_words(after)}"
    scores = [None if one.score is None else one.score.to_json() for one in (before, after)]
    return Change("score", scores[0], scores[1], words)


def _levels(before: Sequence[float], after: Sequence[float]) -> Iterator[Change]:
    """Levels moved (least sum of dB), taken away, added: in ascending order of each kind."""
    gone = sorted(set(before) - set(after))
    new = sorted(set(after) - set(before))
    apart = np.abs(np.subtract.outer(gone, new))
    left, right = optimize.linear_sum_assignment(apart) if apart.size else ((), ())
    pairs = [(int(i), int(j)) for i, j in zip(left, right, strict=True)]
    moved_from, moved_to = {i for i, _ in pairs}, {j for _, j in pairs}
    what = "step" if len(before) > 1 or len(after) > 1 else "level"
    for i, j in pairs:
        words = f"move the {what} of {figure(gone[i])} dBm to {figure(new[j])} dBm"
        yield Change("levels_dbm", gone[i], new[j], words)
    for i, level in enumerate(gone):
        if i not in moved_from:
            yield Change("levels_dbm", level, None, f"take away the step of {figure(level)} dBm")
    for j, level in enumerate(new):
        if j not in moved_to:
            yield Change("levels_dbm", None, level, f"add a step of {figure(level)} dBm")


def _cutoff(before: float | None, after: float | None, unit: str) -> Change:
    if after is None:
        words = f"take away the cutoff of {figure(before or 0.0)} {unit}"
    elif before is None:
        words = f"set a cutoff of {figure(after)} {unit}"
    else:
        way = "lower" if after < before else "raise"
        words = f"{way} the cutoff from {figure(before)} to {figure(after)} {unit}"
    return Change("cutoff_dbm", before, after, words)


def _masks(before: Sequence[Mask], after: Sequence[Mask]) -> Iterator[Change]:
    """Masks replaced, taken away and added by their place in the chain; joins last."""
    old = [replace(mask, join=None) for mask in before]
    new = [replace(mask, join=None) for mask in after]
    for kind, i, i_end, j, j_end in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        for step in range(max(i_end - i, j_end - j)):
            one = before[i + step] if i + step < i_end else None
            other = after[j + step] if j + step < j_end else None
            if kind == "equal" and one is not None and other is not None:
                if one.join != other.join and one.join and other.join:
                    words = f"join mask {j + step + 1} by {other.join} instead of {one.join}"
                    yield Change("masks", one.to_json(), other.to_json(), words)
            else:
                yield _mask(one, i + step + 1, other, j + step + 1)


def _mask(before: Mask | None, old: int, after: Mask | None, new: int) -> Change:
    joined = f"{after.join} " if after is not None and after.join else ""
    if before is None and after is not None:
        words = f"add mask {new}: {joined}{mask_text(after)}"
    elif after is None and before is not None:
        words = f"take away mask {old}: {mask_text(before)}"
    else:
        assert before is not None and after is not None
        words = f"replace mask {old} ({mask_text(before)}) by {joined}{mask_text(after)}"
    told = [None if mask is None else mask.to_json() for mask in (before, after)]
    return Change("masks", told[0], told[1], words)
