"""Laws of chance against scipy's, over the sizes that surveys have and beyond."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from strategist.survey.laws import (
    beta_quantile,
    beta_share,
    beta_upper_quantile,
    binomial_at_most,
    f_quantile,
    normal_shares,
    student_quantile,
)

RNG = np.random.default_rng(0)
SHAPES = 10 ** RNG.uniform(-1.5, [5, 1.5], (150, 2))
SHARES = (1e-6, 0.025, 0.05, 0.5, 0.95, 0.975, 0.999999)


def test_beta() -> None:
    for number, (a, b) in enumerate(np.concatenate([SHAPES, SHAPES[:, ::-1]]).tolist()):
        share = SHARES[number % len(SHARES)]
        low, high = special.betaincinv(a, b, share), special.betainccinv(a, b, share)
        assert beta_quantile(a, b, share) == pytest.approx(low, rel=1e-9, abs=1e-280)
        assert beta_upper_quantile(a, b, share) == pytest.approx(high, rel=1e-9, abs=1e-280)
        x = min(max(low * 1.1, 1e-9), 1 - 1e-9)
        assert beta_share(a, b, x) == pytest.approx(special.betainc(a, b, x), rel=1e-9, abs=1e-250)


def test_ends_of_beta() -> None:
    assert [beta_share(2, 3, x) for x in (-0.1, 0.0, 1.0, 1.1)] == [0, 0, 1, 1]
    assert [beta_quantile(2, 3, share) for share in (0.0, 1.0)] == [0, 1]
    for a, b in ((1e9 - 5, 6.0), (5e8, 5e8)):
        assert beta_quantile(a, b, 0.05) == pytest.approx(special.betaincinv(a, b, 0.05), rel=1e-9)


def test_student_f_and_binomial() -> None:
    for number, freedom in enumerate((1, 2, 3.5, 10, 59, 1999)):
        for share in (0.6, 0.9, 0.975, 0.995):
            found = student_quantile(freedom, share)
            assert found == pytest.approx(special.stdtrit(freedom, share), rel=1e-9)
        a, b = SHAPES[number]
        assert f_quantile(a, b, 0.975) == pytest.approx(special.fdtri(a, b, 0.975), rel=1e-8)
        n, chance = int(freedom) + 3, 0.3 / (1 + number)
        for events in range(n + 1):
            at_most = stats.binom.cdf(events, n, chance)
            assert binomial_at_most(events, n, chance) == pytest.approx(at_most, abs=1e-13)
    assert binomial_at_most(0, 5, 0.0) == 1 and binomial_at_most(4, 5, 1.0) == 0


def test_normal() -> None:
    values = np.concatenate([RNG.normal(scale=5, size=97), [-np.inf, 0.0, np.inf]]).reshape(10, 10)
    for given in (values, values.T):
        assert normal_shares(given) == pytest.approx(special.ndtr(given), rel=1e-12)
