"""How well RSSI parts wanted from stray reads: the area under the curve and its error."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from strategist.survey.profile import turn_on
from strategist.survey.records import Tag
from strategist.survey.rssi import TypeOffset, _student, area, type_offsets
from tests.optimise.made import survey_of


def test_the_area_and_its_error_by_hand() -> None:
    """Three of four pairs are in order. Hanley and McNeil 1982 (from memory): Q1 = a / (2 − a) =
    0.6, Q2 = 2 a² / (1 + a) = 9/14."""
    found = area([-50, -52], [-51, -60])
    assert (found.area, found.wanted, found.stray) == (0.75, 2, 2)
    variance = (0.75 * 0.25 + (0.6 - 0.5625) + (9 / 14 - 0.5625)) / 4
    assert found.error == pytest.approx(math.sqrt(variance))
    of_three = area([-50, -52], [-51, -60, -53])
    a = 5 / 6
    q1, q2 = a / (2 - a), 2 * a * a / (1 + a)
    variance = (a * (1 - a) + (q1 - a * a) + 2 * (q2 - a * a)) / 6
    assert (of_three.area, of_three.error) == pytest.approx((a, math.sqrt(variance)))


def test_equal_reads_count_half_and_full_order_has_no_error() -> None:
    assert area([-50], [-50]).area == 0.5
    assert area([-50, -49], [-60, -55]).area == 1 and area([-50, -49], [-60, -55]).error == 0
    with pytest.raises(ValueError, match="both samples"):
        area([], [-50])


@pytest.mark.parametrize(
    ("low", "high", "real"),
    [(0.1, 2, True), (0, 2, False), (-2, 0, False), (-2, -0.1, True), (-1, 1, False)],
)
def test_an_offset_is_real_where_its_interval_leaves_out_0(
    low: float, high: float, real: bool
) -> None:
    assert TypeOffset("hard", "soft", (low + high) / 2, low, high, 9, 9).real is real


def test_the_interval_of_an_offset_at_equal_power_is_students() -> None:
    """Five tags of one type and seven of another, all turned on at 20 dBm."""
    rssi = {"hard": [-50.0, -51, -49, -53, -50], "soft": [-55.0, -54, -57, -52, -56, -55, -53]}
    tags, entries = {}, []
    for kind, values in rssi.items():
        for number, value in enumerate(values):
            epc = f"{kind.encode().hex()}{number:02X}".upper()
            tags[epc] = Tag(epc, None, None, kind)
            entries.append((epc, True, [value]))
    survey = survey_of([20.0], [entries], tags)
    (found,) = type_offsets(survey, turn_on(survey))
    exact = stats.ttest_ind(rssi["hard"], rssi["soft"]).confidence_interval(0.95)
    assert (found.low_db, found.high_db) == pytest.approx((exact.low, exact.high))


@pytest.mark.parametrize("freedom", [*range(1, 40), 99, 100, 5001])
def test_the_quantile_of_students_law_is_that_of_scipy(freedom: int) -> None:
    assert _student(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-11)
