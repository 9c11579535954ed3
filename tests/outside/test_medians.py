"""Few columns for many rows, held against a published p-median instance on roads.

`san_francisco.csv`: 205 census tracts, their people in the year 2000, and the way from each to 16
candidate sites in metres, to a tenth. Source: the test data of the Python package spopt 0.7.0
(PySAL, BSD 3-Clause: `SF_network_distance_candidateStore_16_censusTract_205_new.csv`), whose
notebook `facloc-real-world` publishes, by another model and solver (GLPK), for four sites the least
summed distance 2,848,268,129.7 m (2,982.1268579890657 a person, also held by its tests), the most
people within 5,000 m, 875,247, and the fewest sites within 5,000 m of all, 8. Beasley's p-median
files (OR-Library) are in no package found; for covering codes see `test_covering_codes`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from strategist.optimise.templates import choose_templates

TABLE = pd.read_csv(Path(__file__).parent / "san_francisco.csv", dtype={"tract": str})
PEOPLE = TABLE["people"].to_numpy()
METRES = TABLE.filter(like="site").to_numpy()
FAR = METRES > 5_000


def test_four_sites_come_to_the_published_least_distance() -> None:
    found = choose_templates(PEOPLE[:, None] * METRES, 4)
    assert found.proven and len(found.chosen) == 4 and METRES.shape == (205, 16)
    assert found.loss == pytest.approx(2_848_268_129.7145104, rel=1e-6)
    assert found.loss / PEOPLE.sum() == pytest.approx(2982.1268579890657, rel=1e-6)


def test_four_sites_leave_no_more_people_far_away_than_published() -> None:
    found = choose_templates(PEOPLE[:, None] * FAR.astype(float), 4)
    assert found.proven and PEOPLE.sum() - found.loss == 875_247


def test_as_many_sites_as_published_are_near_everybody() -> None:
    table = np.where(FAR, np.inf, 0.0)
    fewer, enough = (choose_templates(table, sites) for sites in (7, 8))
    assert fewer.proven and fewer.without > 0
    assert enough.proven and enough.without == 0
