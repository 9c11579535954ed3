"""From indices to dBm: where the cutoff is put, and what is said of hard limits; worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.answers.assessment import Assessment, choose
from strategist.answers.solution import Options
from strategist.survey.policy import Guard, Limits, Loss, Reader, Technique
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import evaluate
from tests.optimise.made import random_read_point, survey_of
from tests.surveyed import surveyed_policy

WANTED, STRAY = True, False


def answer(
    tags: list[tuple[bool, float]],
    allow: tuple[Technique, ...] = ("cutoff",),
    limits: Limits | None = None,
    step_db: float | None = None,
) -> Assessment:
    """One pass, one level: tags by role and RSSI. A missed tag counts as much as a stray."""
    entries: list[tuple[str, bool, list[float | None]]] = [
        (f"AB{number:02X}", wanted, [rssi]) for number, (wanted, rssi) in enumerate(tags)
    ]
    policy = surveyed_policy(
        loss=Loss(1, 1),
        allow=allow,
        guard=Guard(0.0, 0.0),
        limits=limits or Limits(),
        reader=Reader(rssi_step_db=step_db),
    )
    return choose(ReadPoint(survey_of([20.0], [entries]), policy), Options(unseen=False))


@pytest.mark.parametrize(
    ("stray", "wanted", "cutoff"),
    [
        (-64.0, -60.0, -62.0),  # the middle is on the raster
        (-63.0, -60.5, -62.0),  # −61.75 is as far from −61.5: the weaker one
        (-60.3, -60.0, -60.0),  # −60.15 rounded stays inside: the strongest may be the cutoff
        (-60.5, -60.1, -60.3),  # −60.5 is the stray itself: nothing of the raster is inside
        (-60.3, -60.1, -60.2),
    ],
)
def test_cutoff_in_the_middle_of_its_range(stray: float, wanted: float, cutoff: float) -> None:
    result = answer([(STRAY, stray), (WANTED, wanted)])
    assert result.loss == 0
    assert result.strategy.cutoff_dbm == pytest.approx(cutoff, abs=1e-9)


@pytest.mark.parametrize(
    ("stray", "wanted", "step_db", "cutoff"),
    [
        (-64.0, -60.0, 1.0, -62.0),
        (-63.0, -60.5, 1.0, -62.0),  # −61.75: −62 is nearest
        (-62.9, -62.1, 0.1, -62.5),  # on the raster, which can be set
        (-62.45, -62.1, 0.1, -62.3),  # −62.275: nothing of the raster inside, but of the step
        (-62.9, -59.1, 0.4, -61.2),  # −61 is no multiple of 0.4; −60.8 and −61.2 are as near
        (-62.9, -59.1, 3.0, -60.0),
    ],
)
def test_a_cutoff_that_can_be_set(
    stray: float, wanted: float, step_db: float, cutoff: float
) -> None:
    result = answer([(STRAY, stray), (WANTED, wanted)], step_db=step_db)
    assert (result.loss, result.strategy.cutoff_dbm) == (0, cutoff)


@pytest.mark.parametrize("step_db", [0.5, 1.0])
def test_a_cutoff_that_cannot_be_set_is_not_proposed(step_db: float) -> None:
    """Between −65.98 and −65.92 lies no half dB: what is proven is what can be set."""
    tags = [(STRAY, -65.98), (WANTED, -65.92), (WANTED, -40.0)]
    assert answer(tags).loss == 0
    result = answer(tags, step_db=step_db)
    assert (result.status, result.loss, result.strategy.cutoff_dbm) == ("optimal", 1, None)


def test_half_a_db_is_the_step_unless_another_is_given() -> None:
    assert Reader().rssi_step_db == 0.5


def test_no_cutoff_before_a_cutoff() -> None:
    """A cutoff in (−64, −60] would change nothing for the better."""
    result = answer([(WANTED, -64.0), (WANTED, -60.0)])
    assert result.loss == 0 and result.strategy.cutoff_dbm is None


def test_the_widest_of_ranges_with_the_same_loss() -> None:
    """(−70, −69] lets one stray through, (−60, −50] misses one wanted tag: the second is wider."""
    result = answer([(STRAY, -70.0), (WANTED, -69.0), (STRAY, -60.0), (WANTED, -50.0)])
    assert result.loss == 1 and result.status == "optimal"
    assert result.strategy.cutoff_dbm == -55.0
    assert (result.outcome.missed, result.outcome.stray) == (1, 0)


def test_of_ranges_as_wide_the_weaker_one() -> None:
    """(−70, −60] lets a stray through, (−55, −45] misses a wanted tag: both are 10 dB wide."""
    result = answer([(STRAY, -70.0), (WANTED, -60.0), (STRAY, -55.0), (WANTED, -45.0)])
    assert result.loss == 1
    assert result.strategy.cutoff_dbm == -65.0


def test_a_limit_that_cannot_hold_is_exceeded_least() -> None:
    """No technique but the cutoff, and two strays stronger than the wanted tag: both come along."""
    tags = [(WANTED, -60.0), (STRAY, -50.0), (STRAY, -40.0)]
    result = answer(tags, limits=Limits(stray_rate_max=0.0))
    assert result.status == "infeasible"
    assert (result.outcome.missed, result.outcome.stray) == (1, 1)  # cutoff in (−50, −40]
    assert result.strategy.cutoff_dbm == -45.0


def test_a_limit_goes_before_the_loss() -> None:
    """Without the limit 3 strays are let through for 4 wanted tags; with it the 4 are given up."""
    tags = [*[(WANTED, -60.0)] * 4, *[(STRAY, -55.0)] * 3, (WANTED, -50.0)]
    assert answer(tags).loss == 3
    limited = answer(tags, limits=Limits(stray_rate_max=2.5))
    assert (limited.status, limited.loss) == ("optimal", 4)
    assert limited.outcome.missed == 4 and limited.strategy.cutoff_dbm == -52.5


@pytest.mark.parametrize("seed", range(500, 530))
def test_cutoffs_nearby_do_the_same(seed: int) -> None:
    """The cutoff stands inside a range: the values measured next to it bound what changes."""
    point = random_read_point(seed, 1)
    result = choose(point, Options(unseen=False))
    cutoff = result.strategy.cutoff_dbm
    if cutoff is None:
        return
    values = np.unique(point.survey.read_rssi)
    low, high = values[values < cutoff].max(), values[values >= cutoff].min()
    for other in (low + 1e-3, (low + high) / 2, high):
        moved = replace(result.strategy, cutoff_dbm=float(other))
        assert evaluate(point.survey, point.policy, moved).by_pass == result.outcome.by_pass


def test_among_equal_losses_the_level_in_the_middle_of_the_window() -> None:
    """20, 23 and 26 dBm all have no loss. 3 dB down 20 misses the wanted tag, 3 dB up 26 hears
    the stray; 23 stands both, though 20 would be less power."""
    wanted: list[float | None] = [None, -60.0, -57.0, -54.0, -51.0]
    stray: list[float | None] = [None, None, None, None, -60.0]
    survey = survey_of(
        [17.0, 20.0, 23.0, 26.0, 29.0], [[("AB01", WANTED, wanted), ("AB02", STRAY, stray)]]
    )
    unguarded = surveyed_policy(allow=("power",), guard=Guard(0.0, 0.0))
    guarded = surveyed_policy(allow=("power",), guard=Guard(3.0, 0.0))
    levels = [
        choose(ReadPoint(survey, policy), Options(unseen=False)).strategy.levels_dbm
        for policy in (unguarded, guarded)
    ]
    assert levels == [(20.0,), (23.0,)]
