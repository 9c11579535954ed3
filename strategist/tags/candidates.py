"""Candidate masks: which masks are worth considering for the tags of a survey."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strategist.survey.policy import Reader
from strategist.survey.records import Bools, Ints, Tag
from strategist.tags.mask import Bank, Mask, bank_bits, window

__all__ = ["Candidates", "find_candidates"]

_SHARED_BY = 2  # a value seen on one tag alone says nothing about the tags of next week


@dataclass(frozen=True, eq=False)
class Candidates:
    """The masks that may enter a chain, each with a selection of its own.

    `matches[m, k]` says whether mask m (never negated here) matches the tags of class k;
    `tag_class[t]` is the class of tag t: tags that no candidate tells apart share one. `listed`
    counts the masks before those with the same selection (or the opposite one) were merged.
    """

    masks: tuple[Mask, ...]
    matches: Bools
    tag_class: Ints
    listed: int


def no_candidates(tags: Sequence[Tag]) -> Candidates:
    """No mask at all: every tag is of class 0."""
    return Candidates((), np.zeros((0, 1), bool), np.zeros(len(tags), np.int64), 0)


def find_candidates(tags: Sequence[Tag], reader: Reader) -> Candidates:
    """Common prefixes and whole aligned fields of EPC and TID, merged where they select the same.

    A mask starts and ends on a multiple of `reader.mask_step_bits` of its bank's data, is at most
    `reader.mask_bits_max` long and is shared by at least two tags of the survey. Of masks with the
    same selection, or with the opposite one (a mask can be negated), the shortest is kept.
    """
    found: dict[Mask, frozenset[int]] = {}
    for bank in ("epc", "tid"):
        for pointer, length in _windows(tags, bank, reader):
            by_value: dict[int, set[int]] = defaultdict(set)
            for number, tag in enumerate(tags):
                value = window(tag, bank, pointer, length)
                if value is not None:
                    by_value[value].add(number)
            for value, selected in by_value.items():
                if _SHARED_BY <= len(selected) < len(tags):
                    found[Mask.of_value(bank, pointer, length, value)] = frozenset(selected)
    return _merge(found, len(tags))


def _windows(tags: Sequence[Tag], bank: Bank, reader: Reader) -> list[tuple[int, int]]:
    """(pointer, length) of every prefix, and of every single step, that the longest tag holds."""
    recorded = [bits for tag in tags if (bits := bank_bits(tag, bank)) is not None]
    if not recorded:
        return []
    start = recorded[0][2]
    step = reader.mask_step_bits
    steps = max(bits for _, bits, _ in recorded) // step
    prefixes = [(start, step * n) for n in range(1, steps + 1)]
    fields = [(start + step * n, step) for n in range(1, steps)]
    return [(p, length) for p, length in prefixes + fields if length <= reader.mask_bits_max]


def _merge(found: dict[Mask, frozenset[int]], tags: int) -> Candidates:
    kept: dict[frozenset[int], Mask] = {}
    for mask in sorted(found, key=lambda m: (m.length, m.bank, m.pointer, m.pattern)):
        selected = found[mask]
        opposite = frozenset(range(tags)) - selected
        if selected not in kept and opposite not in kept:
            kept[selected] = mask
    by_tag = np.zeros((len(kept), tags), bool)
    for row, selected in enumerate(kept):
        by_tag[row, list(selected)] = True
    columns, tag_class = np.unique(by_tag, axis=1, return_inverse=True)
    return Candidates(tuple(kept.values()), columns, tag_class.reshape(-1), len(found))
