"""The link model of a tag, on made-up links whose truth is known."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

from strategist.radio.tag_link import (
    COMPRESSION_DB,
    SLOPE,
    Law,
    fill,
    likeliest_law,
    turn_on_law,
)

Floats = npt.NDArray[np.float64]
NAN, SILENT = np.nan, -np.inf
NO_LAW = Law(0.5, np.array([0.0]), np.array([np.inf]))


def one(levels: list[float], curve: list[float]) -> Floats:
    """What a tag's NaN cells are filled in with."""
    peaks = np.array([curve])
    kind = np.zeros(1, np.int64)
    found: Floats = fill(np.array(levels), peaks, kind, np.isnan(peaks)).peaks[0]
    return found


def links(count: int, spread_db: float, seed: int, offset_db: float = 0.0) -> tuple[Floats, Floats]:
    """(levels, RSSI) of made-up tags in steps of 0.25 dB: all that power and link decide."""
    rng = np.random.default_rng(seed)
    levels = np.arange(10.0, 30.01, 0.25)
    on = rng.uniform(11.0, 29.0, count)
    rssi_on = -38.0 + offset_db - on + rng.normal(0, spread_db, count)
    over = levels[None, :] - on[:, None]
    rssi = rssi_on[:, None] + 12.0 * np.log1p(np.maximum(over, 0) / 12.0)
    return levels, np.where(over >= 0, rssi, SILENT)


def test_both_neighbours_read() -> None:
    """Read between two reads, RSSI between theirs and, as the climb bends, above the chord."""
    (_, rssi, _) = one([20, 21, 22], [-50, NAN, -48.4])
    assert -49.2 <= rssi < -49.1


def test_neither_neighbour_read() -> None:
    assert one([20, 21, 22, 23], [SILENT, NAN, SILENT, -50])[1] == SILENT


def test_without_a_law_a_tag_turns_on_half_way() -> None:
    """Too few tags for a law: silent below the middle of the step, read from it upward; RSSI falls
    1 dB a dB below the read."""
    found = one([20, 20.5, 21, 21.5, 22], [SILENT, NAN, NAN, NAN, -50])
    assert found[1] == SILENT
    assert found[2:4] == pytest.approx([-51.0, -50.5], abs=0.05)


def test_reads_that_go_with_power_go_half_way() -> None:
    """Read at 20, silent at 22 (a spot gone cold): 20.5 as the nearer 20, the rest silent."""
    found = one([20, 20.5, 21, 21.5, 22], [-50, NAN, NAN, NAN, SILENT])
    assert found[1] == pytest.approx(-49.5, abs=0.05)
    assert (found[2:4] == SILENT).all()


def test_beyond_the_top_a_read_climbs_by_the_compression_and_silence_stays() -> None:
    """One read, turn-on taken at it: 1 dB more power gives a little less than 1 dB."""
    climb = COMPRESSION_DB * np.log1p(1 / COMPRESSION_DB)
    assert one([20, 21], [-50, NAN])[1] == pytest.approx(-50 + climb)
    assert one([20, 21], [SILENT, NAN])[1] == SILENT


def test_below_the_bottom_the_law_says_how_far_down() -> None:
    """Of two tags first read at the lowest level, the stronger one turned on further below."""
    levels, rssi = links(60, 0.2, 1)
    rows = np.vstack([rssi, np.full((2, len(levels)), NAN)])
    seen = levels >= 20
    rows[:60, ~seen] = NAN
    rows[60:, levels == 20] = [[-58.2], [-54.0]]  # at turn-on a tag has −58 there
    asked = np.isnan(rows) & (levels >= 19)
    asked[:60] = False
    found = fill(levels, rows, np.zeros(62, np.int64), asked).peaks[60:, levels == 19]
    assert found[0, 0] == SILENT
    assert found[1, 0] == pytest.approx(-55.0, abs=0.2)


def test_what_was_measured_stays() -> None:
    """Ragged reads, cells asked for at random: all others come back as they were."""
    rng = np.random.default_rng(3)
    levels = np.arange(10.0, 20.0)
    peaks = np.where(rng.random((40, 10)) < 0.6, rng.uniform(-80, -40, (40, 10)), SILENT)
    asked = rng.random((40, 10)) < 0.3
    given = np.where(asked, NAN, peaks)
    found = fill(levels, given, rng.integers(0, 2, 40), asked).peaks
    assert np.array_equal(found[~asked], peaks[~asked])
    assert not np.isnan(found).any()


@pytest.mark.parametrize("step", [4, 8, 12])
def test_made_up_links_come_back(step: int) -> None:
    """Steps of 1 to 3 dB, law with a spread of 0.4 dB: nine of ten turn-ons lie within the error
    that is claimed, RSSI within 0.5 dB, two types 6 dB apart told by their own laws."""
    (levels, a), (_, b) = links(80, 0.4, 5), links(80, 0.4, 6, offset_db=6.0)
    real = np.vstack([a, b])
    kept = np.zeros(len(levels), bool)
    kept[::-1][::step] = True
    kept[0] = True
    given = np.where(kept, real, NAN)
    filled = fill(levels, given, np.repeat([0, 1], 80), np.isnan(given))
    apart = (
        levels[np.isfinite(filled.peaks).argmax(axis=1)] - levels[np.isfinite(real).argmax(axis=1)]
    )
    assert (np.abs(apart) <= filled.turn_on_db + 0.25).mean() > 0.9
    both = np.isfinite(real) & np.isfinite(filled.peaks) & ~kept
    assert np.abs(filled.peaks[both] - real[both]).max() < 0.5


def test_the_largest_turn_on_error_is_claimed_not_a_middling_one() -> None:
    """No law. Five tags turned on between 20 and 22 dBm, within 0.95 dB; one between 20 and 24,
    within 1.9 dB: what holds for all is the last."""
    levels = np.arange(20.0, 25.0)
    near = [[SILENT, NAN, -50, -49, -48]] * 5
    peaks = np.array([*near, [SILENT, NAN, NAN, NAN, -50]])
    found = fill(levels, peaks, np.arange(6), np.isnan(peaks))
    assert found.turn_on_db == pytest.approx(0.475 * 4)
    assert fill(levels, peaks[:5], np.arange(5), np.isnan(peaks[:5])).turn_on_db == pytest.approx(
        0.475 * 2
    )


@pytest.mark.parametrize(("tags", "spread"), [(6, 1.3997), (18, 1.1926)])
def test_a_spread_from_few_turn_ons_is_taken_for_more(tags: int, spread: float) -> None:
    """Turn-ons 1 dB above and below a law of slope 1/2 in turn: the variance, 6/5 from six of them
    and 18/17 from eighteen, is raised by its own standard error, √(2/5) and √(2/17) of it."""
    middle = np.array([20.0 + (-1) ** n for n in range(tags)])
    kind, hair = np.zeros(tags, np.int64), 1e-4
    level = middle + hair / 2
    law = turn_on_law(kind, middle - hair / 2, level, level - 70.0, 1)
    assert law.spread_db[0] == pytest.approx(spread, abs=5e-4)


def test_the_law_finds_its_line() -> None:
    """Turn-on = 19 + (level − RSSI)/2 is the line that the links were made by; the spread too."""
    levels, rssi = links(400, 0.6, 7)
    levels, rssi = levels[::4], rssi[:, ::4]
    read = np.isfinite(rssi)
    first = read.argmax(axis=1)
    rows = np.flatnonzero(read.any(axis=1) & (first > 0))
    law = turn_on_law(
        np.zeros(len(rows), np.int64),
        levels[first[rows] - 1],
        levels[first[rows]],
        rssi[rows, first[rows]],
        1,
    )
    middle = float(np.median(levels[first[rows]] - rssi[rows, first[rows]]))
    assert law.slope == pytest.approx(0.5, abs=0.02)
    assert law.intercept[0] + law.slope * middle == pytest.approx(-19 + middle / 2, abs=0.1)
    assert law.spread_db[0] == pytest.approx(0.3, abs=0.05)


def test_a_turn_on_by_hand() -> None:
    """Law 20.4 ± 0.25 dBm between 20 and 21: the normal cut off at both, from scipy's own."""
    law = Law(0.5, np.array([-14.6]), np.array([0.25]))
    where = (np.zeros(1, np.int64), np.array([20.0]), np.array([21.0]), np.array([-49.0]))
    on, error = law.turn_on(*where)
    cut = stats.truncnorm(-0.4 / 0.25, 0.6 / 0.25, loc=20.4, scale=0.25)
    assert on[0] == pytest.approx(cut.median())
    assert error[0] == pytest.approx((cut.ppf(0.975) - cut.ppf(0.025)) / 2)
    on, error = NO_LAW.turn_on(*where)
    assert (on[0], error[0]) == (20.5, pytest.approx(0.475))
    on, error = NO_LAW.turn_on(where[0], np.array([-np.inf]), where[2], where[3])
    assert (on[0], error[0]) == (-np.inf, np.inf)


def test_a_tag_far_off_the_law_has_none() -> None:
    """A read 40 dB off the law does not follow it: the tag turned on half-way, as without a law."""
    law = Law(0.5, np.array([-14.6]), np.array([0.25]))
    kind = np.zeros(2, np.int64)
    levels = np.full(2, 20.0), np.full(2, 21.0)
    on, error = law.turn_on(kind, *levels, np.array([-89.0, -9.0]))
    assert on == pytest.approx([20.5, 20.5])
    assert error == pytest.approx([0.475, 0.475])


@pytest.mark.parametrize("spread", [1.0, 2.5])
def test_the_likeliest_law_sees_through_steps_that_are_wider_than_its_spread(spread: float) -> None:
    """Turn-ons of a known line and spread, told only to lie in a step of 6 dB: both come back."""
    rng = np.random.default_rng(11)
    levels, above = np.arange(0.0, 43.0, 6.0), rng.uniform(62.0, 78.0, 4000)
    on = SLOPE * above - 14.0 + rng.normal(0, spread, len(above))
    first = np.searchsorted(levels, on)
    peaks = np.where(np.arange(len(levels)) < first[:, None], SILENT, -10.0)
    peaks[np.arange(len(on)), first] = levels[first] - above
    law = likeliest_law(levels, peaks, np.zeros(len(on), np.int64))
    assert law.intercept[0] == pytest.approx(-14.0, abs=0.2)
    assert law.spread_db[0] == pytest.approx(spread, rel=0.06)
