"""Chosen masks on tags that were not in the survey: fields hold, serial numbers do not."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from cases.generate import draw, mint
from cases.linen import PLACES
from strategist.answers.assessment import Assessment, choose
from strategist.answers.solution import Options
from strategist.survey.policy import Loss, Reader
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint, Survey, Tag
from strategist.tags.mask import Mask, chain_accepts
from strategist.trust.intervals import Rate, clopper_pearson
from tests.cases.sweep import DEMO
from tests.optimise.made import survey_of
from tests.surveyed import as_surveyed, surveyed_policy

NEW_TAGS = 1000
SEED = 99
Tagged = tuple[Tag, frozenset[str]]  # a tag and the roles that it had


def surveyed(survey: Survey) -> list[Tagged]:
    roles: list[set[str]] = [set() for _ in survey.tags]
    for tag, wanted in zip(survey.roster_tag.tolist(), survey.roster_wanted.tolist(), strict=True):
        roles[tag].add("wanted" if wanted else "stray")
    return [(tag, frozenset(had)) for tag, had in zip(survey.tags, roles, strict=True)]


def new_tags(read_point: str, known: set[str]) -> list[Tagged]:
    """The first thousand tags of new passes at the same site that the survey does not hold.

    As in a survey, a tag that is read without being on the roster is stray, its TID not recorded.
    """
    drawn = draw(read_point, 400, SEED)
    found: dict[str, tuple[Tag, set[str]]] = {}
    rows = [(row[1], 0, row[2], row[3], row[4], row[5]) for row in drawn.roster]
    rows += [(row[1], 1, row[3], "stray", "", "") for row in drawn.reads]
    listed = {row[2] for row in drawn.roster}
    for _, unlisted, epc, role, tid, user in sorted(rows):
        if epc not in known and not (unlisted and epc in listed):
            found.setdefault(epc, (Tag(epc, tid or None, user or None), set()))[1].add(role)
    return [(tag, frozenset(roles)) for tag, roles in list(found.values())[:NEW_TAGS]]


def rates(masks: Sequence[Mask], tags: Sequence[Tagged]) -> tuple[Rate, Rate]:
    """Wanted tags that the chain rejects and strays that it lets through, 95 % intervals."""
    wanted = [chain_accepts(masks, tag) for tag, roles in tags if "wanted" in roles]
    stray = [chain_accepts(masks, tag) for tag, roles in tags if "stray" in roles]
    rejected = clopper_pearson(len(wanted) - sum(wanted), len(wanted))
    return rejected, clopper_pearson(sum(stray), len(stray))


def within(rate: Rate, fitted: Rate) -> bool:
    return rate.rate is not None and fitted.low <= rate.rate <= fitted.high


@pytest.mark.parametrize("name", PLACES)
def test_masks_keep_their_fitted_rates_on_a_thousand_new_tags(name: str) -> None:
    """Each rate on new tags lies within the interval of the fitted one."""
    point = as_surveyed(read_case(DEMO)[name])
    masks = choose(point, Options(unseen=False)).strategy.masks
    assert masks
    fitted = rates(masks, surveyed(point.survey))
    tags = new_tags(name, {tag.epc for tag in point.survey.tags})
    assert len(tags) == NEW_TAGS
    for was, now in zip(fitted, rates(masks, tags), strict=True):
        assert within(now, was), (was, now)


def test_an_unrecorded_tid_flatters_the_mask_on_it() -> None:
    """Parcels pass by unlisted, so nobody recorded their TID: the mask rejects each of them in the
    survey and would let each of them through. The result warns of just these tags."""
    point = as_surveyed(read_case(DEMO)["shelf-cabinet"])
    result = choose(point, Options(unseen=False))
    about = "TID memory, which was not recorded for 10 of 300 tags"
    assert sum(about in warning for warning in result.warnings) == 1
    unlisted = [tag for tag in point.survey.tags if tag.tid is None]
    assert len(unlisted) == 10
    assert not any(chain_accepts(result.strategy.masks, tag) for tag in unlisted)
    rng = random.Random(SEED)
    parcels = [mint("parcel", rng) for _ in range(100)]
    assert all(chain_accepts(result.strategy.masks, Tag(p.epc, p.tid)) for p in parcels)


def lockers(serial_masks: bool) -> ReadPoint:
    """Twelve passes of one wanted tunic and two stray ones; only their serials differ."""
    rng = random.Random(1)
    passes = [
        [(mint("tunic", rng).epc, place == 0, [-50.0]) for place in range(3)] for _ in range(12)
    ]
    policy = surveyed_policy(
        loss=Loss(2, 1),
        reader=Reader(mask_slots=3, mask_step_bits=1),
        serial_masks=serial_masks,
    )
    return ReadPoint(survey_of([20.0], passes), policy)


@pytest.fixture(scope="module")
def serial() -> Assessment:
    return choose(lockers(True))


def test_serial_masks_do_not_keep_their_fitted_rates(serial: Assessment) -> None:
    """Three bits of the serial look good on 36 tags; new tunics they treat as chance would."""
    rng = random.Random(SEED)
    new: list[Tagged] = [
        (Tag(mint("tunic", rng).epc), frozenset({"stray" if n % 3 else "wanted"}))
        for n in range(NEW_TAGS)
    ]
    fitted = rates(serial.strategy.masks, surveyed(lockers(True).survey))
    for was, now in zip(fitted, rates(serial.strategy.masks, new), strict=True):
        assert now.low > was.high, (was, now)


def test_masks_that_only_fit_the_survey_are_caught_by_leaving_tags_out(serial: Assessment) -> None:
    """Before a single new tag is seen, the tags left out in turn tell."""
    assert serial.loss < choose(lockers(False)).loss
    assert serial.unseen is not None and serial.unseen.by_tag is not None
    fitted, left_out = serial.unseen.fitted, serial.unseen.by_tag
    assert (left_out.wanted_rejected.rate or 0) > fitted.wanted_rejected.high
    assert (left_out.stray_let_through.rate or 0) > fitted.stray_let_through.high
    said = [w for w in serial.warnings if w.startswith("The masks fit the surveyed tags better")]
    assert len(said) == 2


def test_without_serial_masks_there_is_nothing_to_fit() -> None:
    result = choose(lockers(False))
    assert result.searched["masks"] == 0 and result.strategy.masks == ()
