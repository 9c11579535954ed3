"""The least of a read point with parts of its strategy given, against all strategies that have
these parts."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
import pytest

from strategist.optimise.site.asked import Alternative
from strategist.optimise.site.member import Given, Member, members_of
from strategist.survey.policy import Limits, Loss, Policy, Reader, Technique
from strategist.survey.records import Survey
from strategist.tags.candidates import Candidates
from strategist.tags.mask import chain_accepts
from tests.optimise.made import chains
from tests.optimise.site.made import Key, _key, _rows, random_survey, rounded

SLOTS = 2


def read_point(seed: int) -> tuple[Survey, Policy]:
    """In half of them the highest level has to be in the ladder; limits in a third."""
    rng = np.random.default_rng(seed)
    allow: tuple[Technique, ...] = ("ladder", "cutoff", "masks", *["power"] * (seed % 2))
    policy = Policy(
        loss=Loss(float(rng.choice([1, 2, 5])), float(rng.choice([1, 2]))),
        stop_after=int(rng.integers(1, 3)),
        reader=Reader(2 + seed % 2, mask_slots=SLOTS),
        limits=Limits(missed_rate_max=None if seed % 3 else 0.3),
        allow=allow,
        serial_masks=True,
    )
    return random_survey(rng), policy


def ladders_of(survey: Survey, policy: Policy) -> Iterator[tuple[float, ...]]:
    levels = survey.levels_dbm.tolist()
    for n in range(1, policy.reader.ladder_steps_max + 1):
        for ladder in itertools.combinations(levels, n):
            if "power" in policy.allow or ladder[-1] == levels[-1]:
                yield ladder


def least(one: Alternative, joint: Candidates, given: Given, through: np.ndarray | None) -> Key:
    survey, policy = one.survey, one.policy
    tags = sorted(survey.tags, key=lambda tag: tag.epc)
    rows, values = _rows(survey), sorted(set(survey.read_rssi.tolist()))
    selections = {
        tuple(chain_accepts(chain, tag) for tag in tags) for chain in chains(joint.masks, SLOTS)
    }
    if through is not None:
        selections = {tuple(through[joint.tag_class].tolist())}
    cutoffs = [-np.inf, *values] if given.least is None else [given.least]
    found = [one.silence]
    for ladder in ladders_of(survey, policy):
        if given.ladder in (None, ladder) and len(ladder) <= (given.steps or len(ladder)):
            for selected in selections:
                let = dict(zip(tags, selected, strict=True))
                found += [_key(one, rows, let, cutoff, ladder) for cutoff in cutoffs]
    return rounded(min(found))


def some_given(one: Alternative, rng: np.random.Generator) -> Iterator[tuple[Given, bool]]:
    """Every kind of what may be given, twice, and whether masks are."""
    levels = one.survey.levels_dbm.tolist()
    values = sorted(set(one.survey.read_rssi.tolist()))
    for masks, cutoff, ladder, steps in 2 * list(itertools.product([False, True], repeat=4)):
        size = int(rng.integers(1, 3))
        yield (
            Given(
                selection=0 if masks else None,
                masks=int(masks),
                least=float(rng.choice([-np.inf, *values])) if cutoff else None,
                ladder=tuple(sorted(rng.choice(levels, size, False).tolist())) if ladder else None,
                steps=1 if steps else None,
            ),
            masks,
        )


@pytest.mark.parametrize("seed", range(10))
def test_the_least_with_parts_given_is_that_of_all_strategies_that_have_them(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one = Alternative(None, *read_point(seed))
    joint, (member,) = members_of([one])
    assert isinstance(member, Member)
    for given, masks in some_given(one, rng):
        through = rng.random(joint.matches.shape[1]) < 0.7 if masks else None
        if through is not None and not through.any():
            continue
        found = member.least(given, through)
        assert rounded(found.key[:2]) == least(one, joint, given, through)
