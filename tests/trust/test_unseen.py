"""What masks do to tags that were left out, on read points small enough to see through."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from strategist.answers.assessment import choose
from strategist.optimise.strategy import Strategy
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from strategist.trust.intervals import clopper_pearson
from strategist.trust.unseen import (
    FOLDS,
    THIN_CLASS,
    LeftOut,
    _as_many_by_chance,
    leave_out,
    thin_classes,
    unseen_rates,
)
from tests.optimise.made import survey_of
from tests.surveyed import surveyed_policy
from tests.tags.uris import encode


def sgtin(company_item: str, serial: int) -> str:
    return encode(f"urn:epc:tag:sgtin-96:0.{company_item}.{serial}")


def made(wanted: list[str], stray: list[str], tags: int = 40) -> ReadPoint:
    passes = [
        [
            (sgtin(wanted[i % len(wanted)], 1000 + i), True, [-50.0]),
            (sgtin(stray[i % len(stray)], 5000 + i), False, [-50.0]),
        ]
        for i in range(tags)
    ]
    return ReadPoint(survey_of([20.0], passes), surveyed_policy())


ONE_KIND = (["9521141.000100"], ["9520001.000900", "9520001.000901"])


def test_structural_masks_hold_for_tags_left_out() -> None:
    """One wanted company: no tag left out is treated otherwise than those fitted to."""
    result = choose(made(*ONE_KIND))
    assert result.loss == 0
    assert result.unseen is not None and result.unseen.by_tag is not None
    held = result.unseen.by_tag
    assert (held.wanted_rejected.events, held.wanted_rejected.trials) == (0, 40)
    assert (held.stray_let_through.events, held.stray_let_through.trials) == (0, 40)
    assert result.unseen.warnings == ()


def test_masks_of_item_classes_do_not_hold_for_a_new_class() -> None:
    """Wanted and stray classes under several companies: a class left out is not known to masks."""
    wanted = ["9521141.000100", "9520001.200100", "9525555.300100"]
    stray = ["9521141.700900", "9520001.800900", "9525555.900900"]
    result = choose(made(wanted, stray, 60))
    assert result.loss == 0
    assert result.unseen is not None and result.unseen.by_class is not None
    by_class = result.unseen.by_class
    assert by_class.wanted_rejected.events + by_class.stray_let_through.events > 0
    assert any(warning.startswith("A new kind of item") for warning in result.unseen.warnings)


def test_the_choice_is_made_without_the_tags_left_out() -> None:
    """Each part is gone from the survey that the chooser sees, tags and all."""
    point = made(*ONE_KIND)
    left_out = leave_out(point)
    seen = [{tag.epc for tag in part.survey.tags} for part in left_out.parts]
    everything = {tag.epc for tag in point.survey.tags}
    by_tag = seen[:FOLDS]
    assert all(len(part) < len(everything) for part in seen)
    assert set.union(*by_tag) == everything
    assert sum(len(everything - part) for part in by_tag) == len(everything)


def crib() -> ReadPoint:
    """30 passes of a tool (its own asset reference) beside one rack tag that never moves.

    The rack tag's reference holds 2F at bits 104–111, as do two of the plain tags passing by.
    """
    rack = encode("urn:epc:tag:giai-96:0.9521141." + str(0x2F0102))
    passes = [
        [
            (encode(f"urn:epc:tag:giai-96:0.9521141.{0x100000 + 0x10001 * n}"), True, [-50.0]),
            (rack, False, [-50.0]),
            (f"AB00000000000000{n % 3:02X}{0x2F if n < 2 else n:02X}{n:04X}", False, [None]),
        ]
        for n in range(30)
    ]
    return ReadPoint(survey_of([20.0], passes), surveyed_policy())


def test_no_mask_silences_one_tag_by_its_serial() -> None:
    """However often it was presented: one rack tag in 30 passes is the evidence of one tag.

    Each pass then reports tool and rack tag, or the ladder finds nothing at all.
    """
    result = choose(crib())
    assert result.loss == 30
    assert result.outcome.missed == 0 and result.outcome.stray == 30
    assert result.strategy.masks == ()


def test_kinds_are_left_out_where_there_are_two() -> None:
    """Two kinds, each wanted and stray: each is left out once. Of one kind alone nothing would be
    left without it."""
    kinds = ["9521141.000100", "9520001.000900"]
    left_out = leave_out(made(kinds, kinds[::-1], 8))
    assert [int(out.sum()) for out in left_out.by_class] == [8, 8]
    assert not (left_out.by_class[0] & left_out.by_class[1]).any()
    assert len(left_out.by_tag) == FOLDS
    alone = leave_out(made(kinds[:1], kinds[:1], 8))
    assert (len(alone.by_tag), alone.by_class) == (FOLDS, ())


def test_unseen_rates_count_a_tag_once() -> None:
    """Each presented in three passes: 40 wanted and 40 stray tags are 40 trials, not 120."""
    point = made(*ONE_KIND)
    thrice = [
        [(point.survey.tags[t].epc, bool(w), [-50.0]) for t, w in zip(tags, wanted, strict=True)]
        for _ in range(3)
        for tags, wanted in [(point.survey.roster_tag, point.survey.roster_wanted)]
    ]
    result = choose(ReadPoint(survey_of([20.0], thrice), surveyed_policy()))
    assert result.unseen is not None and result.unseen.by_tag is not None
    for held in (result.unseen.fitted, result.unseen.by_tag):
        assert (held.wanted_rejected.trials, held.stray_let_through.trials) == (40, 40)


@pytest.mark.parametrize(("rejected", "real"), [(6, True), (4, False), (2, False)])
def test_a_gap_is_real_where_fishers_exact_test_says_so(rejected: int, real: bool) -> None:
    """One of ten wanted is rejected by the chain fitted to them; of ten left out, six (0.029 by
    chance alone), four (0.15) or two (0.5)."""
    tags = [f"A{number}" for number in range(10)]
    survey = survey_of([20.0], [[(epc, True, [-50.0]) for epc in tags]])
    but_one = Strategy((20.0,), masks=(Mask("epc", 36, 4, "90", negate=True),))
    passing = {6: Mask("epc", 36, 2, "00"), 2: Mask("epc", 36, 1, "00")}
    passing[4] = Mask("epc", 37, 2, "00")  # A0, A1, A8, A9 alone
    others = Strategy((20.0,), masks=(replace(passing[rejected], negate=rejected == 4),))
    left_out = LeftOut((np.ones(10, bool),), (), (ReadPoint(survey, surveyed_policy()),))
    found = unseen_rates(survey, but_one, left_out, [others])
    assert found.by_tag is not None and found.by_tag.wanted_rejected.events == rejected
    assert bool(found.warnings) is real


def test_thin_wanted_classes_are_said() -> None:
    """A wanted class on fewer tags than the least is named, one on enough is not."""
    few = made(*ONE_KIND, tags=THIN_CLASS - 1)
    enough = made(*ONE_KIND, tags=THIN_CLASS)
    (sentence,) = thin_classes(few.survey)
    assert "9521141" in sentence and str(THIN_CLASS - 1) in sentence
    assert thin_classes(enough.survey) == ()


def test_without_tags_numbers_the_rest_anew() -> None:
    """Roster and reads point at the same EPCs as before."""
    survey = made(*ONE_KIND).survey
    out = np.arange(len(survey.tags)) % 3 == 0
    rest = survey.without_tags(out)
    before = [survey.tags[t].epc for t in survey.roster_tag if not out[t]]
    assert [rest.tags[t].epc for t in rest.roster_tag] == before
    reads = [survey.tags[t].epc for t in survey.read_tag if not out[t]]
    assert [rest.tags[t].epc for t in rest.read_tag] == reads


@pytest.mark.parametrize("trials", [(1, 1), (9, 4), (60, 60), (400, 390)])
def test_the_chance_of_a_gap_is_that_of_fishers_exact_test_in_scipy(
    trials: tuple[int, int],
) -> None:
    for events in {0, 1, trials[0] // 3, trials[0]}:
        for before in {0, 1, trials[1] // 4}:
            table = [[events, trials[0] - events], [before, trials[1] - before]]
            expected = stats.fisher_exact(table, alternative="greater").pvalue
            rates = clopper_pearson(events, trials[0]), clopper_pearson(before, trials[1])
            assert _as_many_by_chance(*rates) == pytest.approx(expected, rel=1e-9)
