"""How well RSSI parts wanted from stray reads: the area under the curve and its error."""

from __future__ import annotations

import math

import pytest

from strategist.survey.rssi import TypeOffset, area


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
