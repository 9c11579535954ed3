"""The fields that a read point's tags carry, the masks that may be chosen, and why not others."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

import numpy as np

from strategist.survey.answer import Declared, Flat, Hidden, told
from strategist.survey.records import Bools, ReadPoint, Survey
from strategist.tags.candidates import find_candidates, tag_fields
from strategist.tags.fields import long_banks
from strategist.tags.left_out import LeftOut
from strategist.tags.mask import Bank, Mask
from strategist.trust.unseen import thin_classes

_EXAMPLES = 3


_BANKS: tuple[Bank, ...] = ("epc", "tid", "user")


@dataclass(frozen=True)
class Presented(Declared):
    """Tags, and how often they were presented as wanted and as stray, over all passes."""

    tags: int
    wanted: int
    stray: int


@dataclass(frozen=True)
class CarriedField(Declared):
    """A field at bits `pointer … pointer+length−1` of a bank, on the tags counted in `on`.

    `values` is the number of distinct contents, `examples` the commonest of them in words.
    `structural` is True for what many tags share and False for serial and unstructured data.
    """

    bank: Bank
    name: str
    pointer: int
    length: int
    structural: bool
    values: int
    examples: tuple[str, ...]
    on: Flat[Presented]


@dataclass(frozen=True)
class CandidateMask(Declared):
    """A mask that may enter a chain, what it stands for, and the tags that match it."""

    mask: Hidden[Mask]
    words: str
    selects: Flat[Presented]

    @told(after="mask")
    def bank(self) -> Bank:
        return self.mask.bank

    @told(after="mask")
    def pointer(self) -> int:
        return self.mask.pointer

    @told(after="mask")
    def length(self) -> int:
        return self.mask.length

    @told(after="mask")
    def pattern(self) -> str:
        return self.mask.pattern


@dataclass(frozen=True)
class MaskList(Declared):
    """What `solve` may choose masks from at a read point, and what it may not.

    `listed` counts the masks before those with the same selection, or the opposite one, were
    merged into the `candidates`. `warnings` are whole sentences.
    """

    read_point: str
    presented: Flat[Presented]
    fields: tuple[CarriedField, ...]
    candidates: tuple[CandidateMask, ...]
    listed: int
    left_out: tuple[LeftOut, ...]
    warnings: tuple[str, ...]

    @told(after="listed")
    def kept(self) -> int:
        return len(self.candidates)


def list_masks(read_point: ReadPoint) -> MaskList:
    """The fields and candidate masks of a read point under its policy.

    Candidates are listed even where the policy allows no masks; a warning then says so.
    """
    survey, policy = read_point.survey, read_point.policy
    found = find_candidates(survey.tags, policy.reader, serial_masks=policy.serial_masks)
    candidates = tuple(
        CandidateMask(mask, words, _presented(survey, matches[found.tag_class]))
        for mask, words, matches in zip(found.masks, found.words, found.matches, strict=True)
    )
    merged = found.listed - len(candidates)
    same = LeftOut("equivalent to a kept mask, or to its negation", merged)
    warnings = [*read_point.warnings, *thin_classes(survey), *long_banks(survey.tags)]
    if "masks" not in policy.allow:
        warnings.append("allow has no masks here, so none of them is searched.")
    elif not policy.reader.mask_slots:
        warnings.append("mask_slots is 0 here, so none of them is searched.")
    return MaskList(
        read_point.name,
        _presented(survey, np.ones(len(survey.tags), bool)),
        _fields(survey),
        candidates,
        found.listed,
        (*([same] if merged else []), *found.left_out),
        tuple(warnings),
    )


def _presented(survey: Survey, tags: Bools) -> Presented:
    """The presentations of the tags that are marked in `tags`."""
    entries = tags[survey.roster_tag]
    wanted = int((entries & survey.roster_wanted).sum())
    return Presented(int(tags.sum()), wanted, int(entries.sum()) - wanted)


def _fields(survey: Survey) -> tuple[CarriedField, ...]:
    """The fields of all tags, by bank and pointer."""
    carriers: dict[tuple[int, int, int, str, bool], list[int]] = defaultdict(list)
    contents: dict[tuple[int, int, int, str, bool], Counter[tuple[int, str]]] = defaultdict(Counter)
    for number, tag in enumerate(survey.tags):
        for place, bank in enumerate(_BANKS):
            for field in tag_fields(tag, bank):
                key = (place, field.pointer, field.length, field.name, field.structural)
                carriers[key].append(number)
                contents[key][field.value, field.words] += 1
    found = []
    for key in sorted(carriers):
        place, pointer, length, name, structural = key
        common = sorted(contents[key].items(), key=lambda item: (-item[1], item[0]))
        examples = tuple(words for (_, words), _ in common[:_EXAMPLES])
        on = np.zeros(len(survey.tags), bool)
        on[carriers[key]] = True
        found.append(
            CarriedField(
                _BANKS[place],
                name,
                pointer,
                length,
                structural,
                len(common),
                examples,
                _presented(survey, on),
            )
        )
    return tuple(found)
