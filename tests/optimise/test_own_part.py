"""The selections of mask chains that own powers are chosen for: none that could be best is lost,
and where some were not looked at the bound says so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from strategist.optimise.chains import Chains
from strategist.optimise.clock import Clock
from strategist.optimise.own_heard import _undominated
from strategist.optimise.own_part import is_own, with_own_powers
from strategist.optimise.own_powers import OFF
from strategist.optimise.scores import parts_of
from strategist.optimise.tuning import DEFAULT
from strategist.survey.policy import TECHNIQUES, Policy, Reader
from strategist.survey.records import Bools
from tests.optimise.made import survey_of


def as_good(one: Bools, other: Bools, wanted: Bools, stray: Bools) -> bool:
    """All wanted classes of the other, and no further stray ones."""
    return bool((one | ~other)[wanted].all() and (other | ~one)[stray].all())


@pytest.mark.parametrize("seed", range(20))
def test_each_selection_has_one_that_stays_and_is_as_good(seed: int) -> None:
    rng = np.random.default_rng(seed)
    through = np.unique(rng.random((12, 5)) < 0.5, axis=0)
    rng.shuffle(through)
    wanted, stray = rng.random((2, 5)) < 0.6
    kept = through[_undominated(through, wanted, stray)]
    for row in through:
        assert any(as_good(one, row, wanted, stray) for one in kept)
    for number, one in enumerate(kept):
        others = np.delete(kept, number, axis=0)
        assert not any(as_good(other, one, wanted, stray) for other in others)


def test_where_chains_were_not_all_listed_nothing_is_proven_of_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two antennas that hear a wanted tag and a stray alike: a mask tells them apart. Where chains
    are joined as they are needed, and so not listed, the bound is 0 and not the loss without."""
    passes = [[(f"30{n:02X}", True, [-50.0]), (f"35{n:02X}", False, [-50.0])] for n in range(4)]
    survey = survey_of([20.0], passes)
    names = ("read_pass", "read_level", "read_tag", "read_rssi")
    twice = {name: np.repeat(getattr(survey, name), 2) for name in names}
    antenna = np.resize([1, 2], len(twice["read_tag"]))
    survey = replace(survey, **twice, read_antenna=antenna, antennas=(1, 2))
    reader = Reader(1, mask_slots=1, antenna_power="own")
    policy = Policy(reader=reader, allow=TECHNIQUES)
    assert is_own(survey, policy)
    for joined, (loss, bound) in ((False, (0.0, 0.0)), (True, (4.0, 0.0))):
        monkeypatch.setattr(Chains, "joins", lambda _, masks, now=joined: now)
        parts = parts_of(survey, policy, DEFAULT)
        found = with_own_powers(parts, survey, policy, Clock())[1]
        assert (found.proven.key[1], found.bound[1]) == (loss, bound)


@pytest.mark.parametrize(("power", "levels", "loss"), [(True, {0}, 0.0), (False, {1}, 4.0)])
def test_without_power_to_choose_each_antenna_that_is_on_has_its_highest_level(
    power: bool, levels: set[int], loss: float
) -> None:
    """Two antennas that hear a wanted tag at 20 dBm and a stray at 23, too."""
    passes = [[("3001", True, [-50.0, -47.0]), ("3501", False, [None, -40.0])]] * 4
    survey = survey_of([20.0, 23.0], passes)  # type: ignore[arg-type]
    names = ("read_pass", "read_level", "read_tag", "read_rssi")
    twice = {name: np.repeat(getattr(survey, name), 2) for name in names}
    antenna = np.resize([1, 2], len(twice["read_tag"]))
    survey = replace(survey, **twice, read_antenna=antenna, antennas=(1, 2))
    allow = ("antennas", *(("power",) if power else ()))
    policy = Policy(reader=Reader(1, mask_slots=0, antenna_power="own"), allow=allow)
    parts = parts_of(survey, policy, DEFAULT)
    found = with_own_powers(parts, survey, policy, Clock())[1]
    assert found is not None
    own = found.proven.own
    assert {level for level in own.level if level != OFF} == levels
    assert found.proven.key[1] == loss
