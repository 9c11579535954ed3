"""Read points made of a measured power sweep, against brute force in plain numpy.

The figures are RSSI against transmit power of real tags, two types (A, B), five of each, at 2 … 8
m. Only the EPCs are made up, all of one kind, so that masks could not help. Wanted are the tags at
one distance, each in a pass of its own; stray in every pass are the same types at greater
distances. `main` prints what was found.

Source: the partial data set published with "Decoding RSSI Compression in RFID: Dynamic RCS Modeling
and Tag-Intrinsic Power Metrics for Reliable Backscatter Networks" (text files of RSSI by distance,
tag and power). No licence is stated there, so the figures stay outside the project: the environment
variable OPEN_DATA names the folder that holds them as `power_sweep.csv`.
"""

from __future__ import annotations

import itertools
import os
import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from strategist.answers.assessment import choose
from strategist.answers.solution import Method, Options
from strategist.survey.policy import Loss, Reader
from strategist.survey.records import ReadPoint, Survey, Tag
from tests.surveyed import surveyed_policy
from tests.tags.uris import encode

Floats = npt.NDArray[np.float64]
PLACES = {"4 m from 5-8 m": (4, (5, 6, 7, 8)), "6 m from 7-8 m": (6, (7, 8))}
TYPES = {"A": ("A",), "B": ("B",), "A and B": ("A", "B")}
SPOTS = [(place, types) for place in PLACES for types in TYPES]
MISSED, STRAY = 5.0, 1.0


@dataclass(frozen=True)
class Sweep:
    """`wanted[p, l]` and `strays[s, l]` in dBm; −inf where the tag was not read at level l."""

    levels: Floats
    wanted: Floats
    strays: Floats


@cache
def curves_of(every: int) -> tuple[Floats, pd.DataFrame]:
    """Levels in dBm, every so-manieth from the top down, and RSSI by (distance, type, tag)."""
    folder = os.environ.get("OPEN_DATA")
    if not folder:
        pytest.skip("skipped: no open data")
    rows = pd.read_csv(Path(folder) / "power_sweep.csv")
    curves = rows.pivot_table(
        index=["distance_m", "tag_type", "tag"],
        columns="power_dbm",
        values="rssi_dbm",
        dropna=False,
    )
    curves = curves.iloc[:, ::-1].iloc[:, ::every].iloc[:, ::-1].fillna(-np.inf)
    return curves.columns.to_numpy(float), curves


def measured(place: str, types: str, every: int = 1) -> Sweep:
    """The curves of one read point, at every so-manieth level from the top down."""
    levels, curves = curves_of(every)
    curves = curves[curves.index.isin(TYPES[types], level="tag_type")]
    near, far = PLACES[place]
    return Sweep(
        levels,
        curves.loc[near].to_numpy(float),
        np.vstack([curves.loc[distance].to_numpy(float) for distance in far]),
    )


def read_point_of(sweep: Sweep, steps: int) -> ReadPoint:
    """Pass p: the wanted tag p, and all the strays."""
    passes, strays = len(sweep.wanted), len(sweep.strays)
    epcs = [encode(f"urn:epc:tag:sgtin-96:1.9521141.012345.{n}") for n in range(passes + strays)]
    stray_pass, stray_tag = (a.ravel() for a in np.indices((passes, strays)))
    roster_pass = np.concatenate([np.arange(passes), stray_pass])
    roster_tag = np.concatenate([np.arange(passes), passes + stray_tag])
    rssi = np.vstack([sweep.wanted, sweep.strays])[roster_tag]
    entry, level = np.nonzero(np.isfinite(rssi))
    survey = Survey(
        read_point="measured",
        levels_dbm=sweep.levels.copy(),
        pass_ids=tuple(f"p{p:02d}" for p in range(passes)),
        tags=tuple(Tag(epc) for epc in epcs),
        roster_pass=roster_pass,
        roster_tag=roster_tag,
        roster_wanted=roster_tag < passes,
        roster_listed=np.ones(len(roster_tag), bool),
        read_pass=roster_pass[entry],
        read_level=level,
        read_tag=roster_tag[entry],
        read_rssi=rssi[entry, level],
        tried=np.ones((passes, len(sweep.levels)), bool),
    )
    policy = surveyed_policy(
        loss=Loss(MISSED, STRAY),
        allow=("power", "ladder", "cutoff"),
        reader=Reader(ladder_steps_max=steps, rssi_step_db=None),  # means of reads: finer than set
    )
    return ReadPoint(survey, policy)


def least_loss(sweep: Sweep, steps: int) -> tuple[float, int]:
    """Least loss over every ladder of up to `steps` steps × every cutoff, and how many those are.

    A reader that stops after one tag reports what it accepts at the first step at which it accepts
    anything, so a pass costs what that level costs, or the top level if it accepts nothing at all.
    """
    levels = len(sweep.levels)
    ladders = [
        np.array(list(itertools.combinations(range(levels), n))) for n in range(1, steps + 1)
    ]
    rssi = np.concatenate([sweep.wanted.ravel(), sweep.strays.ravel()])
    cutoffs = np.unique(rssi[np.isfinite(rssi)])
    best = np.inf
    for cutoff in cutoffs:  # the weakest value is no cutoff at all
        found, strays = sweep.wanted >= cutoff, (sweep.strays >= cutoff).sum(axis=0)
        cost = MISSED * ~found + STRAY * strays
        anything = found | (strays > 0)
        for ladder in ladders:
            total = np.zeros(len(ladder))
            for accepts, pays in zip(anything, cost, strict=True):
                stops = accepts[ladder]
                step = np.where(stops.any(axis=1), stops.argmax(axis=1), -1)
                total += pays[ladder[np.arange(len(ladder)), step]]
            best = min(best, float(total.min()))
    return best, len(cutoffs) * sum(map(len, ladders))


def assert_like_brute_force(sweep: Sweep, steps: int, method: Method) -> None:
    options = Options(method=method, unseen=False, sturdier=False)
    result = choose(read_point_of(sweep, steps), options)
    assert result.status == "optimal"
    assert result.bound == result.loss == least_loss(sweep, steps)[0]


@pytest.mark.parametrize("steps", [1, 2])
@pytest.mark.parametrize(("place", "types"), SPOTS)
def test_all_levels(place: str, types: str, steps: int) -> None:
    """91 levels: every power, and every ladder of two steps, × every cutoff."""
    assert_like_brute_force(measured(place, types), steps, "search")


@pytest.mark.parametrize(("place", "types"), SPOTS)
def test_every_fourth_level_three_steps(place: str, types: str) -> None:
    """23 levels: every ladder of up to three steps × every cutoff."""
    assert_like_brute_force(measured(place, types, 4), 3, "search")


@pytest.mark.parametrize(("place", "types"), [spot for spot in SPOTS if len(TYPES[spot[1]]) == 1])
def test_model_on_every_eighteenth_level(place: str, types: str) -> None:
    """6 levels, two steps, by the mixed-integer model, which is slow with so many RSSI values."""
    assert_like_brute_force(measured(place, types, 18), 2, "model")


@pytest.mark.parametrize("place", PLACES)
def test_more_steps_and_levels_never_worsen(place: str) -> None:
    """Each wider choice holds the narrower one, up to 46 levels and five steps."""
    options = Options(method="search", unseen=False, sturdier=False)
    widening = [(4, 1), (4, 3), (2, 3), (2, 5)]
    results = [choose(read_point_of(measured(place, "A", e), s), options) for e, s in widening]
    assert {result.status for result in results} == {"optimal"}
    losses = [result.loss for result in results]
    assert losses == sorted(losses, reverse=True)


def main() -> None:
    """Print for each read point what was chosen and what brute force finds."""
    for (place, types), (every, steps) in itertools.product(
        SPOTS, [(1, 1), (1, 2), (4, 5), (1, 5)]
    ):
        sweep = measured(place, types, every)
        started = time.monotonic()
        result = choose(read_point_of(sweep, steps), Options(method="search", unseen=False))
        seconds = time.monotonic() - started
        brute = "not by brute force"
        if every > 1 or steps <= 2:
            started = time.monotonic()
            least, tried = least_loss(sweep, steps)
            brute = f"brute force {least:g} of {tried} in {time.monotonic() - started:.1f} s"
        strategy, outcome = result.strategy, result.outcome
        print(
            f"{place}, {types}: {len(sweep.levels)} levels, up to {steps} steps: "
            f"{result.status} {result.loss:g} (missed {outcome.missed} of {outcome.wanted}, stray "
            f"{outcome.stray} of {outcome.stray_presented}) in {seconds:.2f} s; {brute}; "
            f"levels {strategy.levels_dbm} cutoff {strategy.cutoff_dbm}",
            flush=True,
        )


if __name__ == "__main__":
    main()
