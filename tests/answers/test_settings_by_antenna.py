"""`export --as llrp` of strategies that tell antennas apart: replayed as written."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from strategist import Case, InputError, PowerTable, settings_of
from strategist.optimise.strategy import Strategy, read_strategy
from strategist.survey.policy import Reader
from strategist.survey.score import Difference, Peak
from strategist.trust.evaluate import evaluate
from strategist.trust.evaluation import not_settable
from tests.second_reading.drawn import NAME, antennas_of, case_with_antennas, score
from tests.second_reading.test_second_reading import given

SEEDS = [seed for seed in range(3000, 3100) if "tried" not in case_with_antennas(seed)][:40]
TABLE = PowerTable(tuple((number, 5 + number / 10) for number in range(1, 200)))


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_written_does_what_the_strategy_does(seed: int) -> None:
    """Scores of all kinds, with whole cutoffs: the strategy read back counts the same."""
    document = case_with_antennas(seed)
    chosen, point = score(seed, document), given(document)
    levels = document["site"]["read_points"][NAME]["levels_dbm"]
    strategy: dict[str, Any] = {"levels_dbm": levels[-2:], "stop_after": 1, "cutoff_dbm": -66}
    if chosen is not None:
        strategy["score"] = chosen
    if chosen is not None and chosen["kind"] == "difference":
        strategy["cutoff_db"] = strategy.pop("cutoff_dbm") + 68
    meant = read_strategy(json.dumps(strategy).encode(), "strategy")
    whole = isinstance(meant.score, Peak) and all(db % 1 == 0 for _, db in meant.score.offset_db)
    try:
        found = settings_of(point, meant, "llrp", TABLE)
    except InputError:
        assert isinstance(meant.score, Peak) and not whole, "cutoffs are whole"
        return
    if found.replay.same is None:  # not surveyed: a trimmed level, or antenna 9
        on = meant.score.on if meant.score else None
        assert (isinstance(meant.score, Peak) and meant.score.trim_db) or 9 in (on or ())
        return
    assert found.replay.same
    assert found.replay.outcome == evaluate(point.survey, point.policy, meant)


def test_own_cutoffs_between_whole_numbers_are_refused_where_they_count_otherwise() -> None:
    """Antenna 1 hears a wanted tag at −68.4 dBm and a stray at −68.9, antenna 2 both at −50 and
    −51.5: −68.6 and −51 part them, and with whole numbers one of them is lost or let through."""
    heard = [("AB01", 1, -68.4), ("AB02", 1, -68.9), ("AB03", 2, -50.0), ("AB04", 2, -51.5)]
    common = {"read_point": "door", "pass_id": "p1"}
    reads = pd.DataFrame(
        [
            {**common, "power_dbm": 20.0, "epc": epc, "rssi_dbm": dbm, "antenna": antenna}
            for epc, antenna, dbm in heard
        ]
    )
    roster = pd.DataFrame(
        [
            {**common, "epc": epc, "role": role}
            for (epc, _, _), role in zip(heard, ("wanted", "stray") * 2, strict=True)
        ]
    )
    point = Case.from_frames(reads, roster)["door"]
    own = Peak(antennas=(1, 2), offset_db=((2, 17.6),))
    with pytest.raises(InputError) as raised:
        settings_of(point, Strategy((20.0,), 1, -68.6, score=own), "llrp", TABLE)
    (fault,) = raised.value.faults
    assert "its cutoffs by antenna cannot be set" in fault.said or "-68.6 dBm cannot" in fault.said
    assert "(loss 1) in place of 0 missed and 0 stray (loss 0)" in fault.said


def test_the_written_score_is_the_one_of_the_bytes() -> None:
    """A difference comes back with its sides, floor and whole cutoff."""
    seed = next(s for s in SEEDS if antennas_of(case_with_antennas(s)) == [1, 2])
    document = case_with_antennas(seed)
    point, levels = given(document), document["site"]["read_points"][NAME]["levels_dbm"]
    facing = Difference("difference", (1,), (2,), -90.0)
    meant = Strategy((levels[-1],), score=facing, cutoff_db=2.0)
    found = settings_of(point, meant, "llrp", TABLE)
    assert found.replay.strategy == meant
    assert found.standard["keep_from_db"] == 2
    try:
        again = settings_of(point, replace(meant, cutoff_db=2.4), "llrp", TABLE)
    except InputError as error:
        assert "its cutoff of 2.4 dB cannot be set" in str(error)
    else:
        assert again.replay.strategy.cutoff_db in (2.0, 3.0)


def test_what_the_reader_cannot_be_set_to_is_said_by_antenna() -> None:
    """Trimmed levels and own cutoffs are held against the reader, not the shared ones alone."""
    reader = Reader(rssi_step_db=1.0, power_levels_dbm=(20.0, 22.0))
    own = Peak(antennas=(1, 2), trim_db=((2, -2.0),), offset_db=((2, 1.0),))
    assert not_settable(reader, Strategy((22.0,), 1, -60.0, score=own)) == ()
    other = Peak(antennas=(1, 2), trim_db=((2, -1.0),), offset_db=((2, 1.5),))
    said = " ".join(not_settable(reader, Strategy((22.0,), 1, -60.0, score=other)))
    assert "cannot be set to 21 dBm" in said and "a cutoff of -58.5 dBm" in said
    facing = Difference("difference", (1,), (2,), -90.0)
    (alone,) = not_settable(reader, Strategy((22.0,), score=facing, cutoff_db=2.5))
    assert "a cutoff of 2.5 dB:" in alone


@pytest.mark.parametrize(
    ("score", "levels", "cutoffs"),
    [
        (Peak(antennas=(1, 2), trim_db=((1, -1.0), (2, -2.0))), (18.0, 19.0), None),
        (Peak(trim_db=((1, -1.0),)), (19.0, 20.0), None),
        (Peak(antennas=(1, 2), offset_db=((1, 1.0), (2, -1.0))), None, 2.0),
        (None, (20.0,), None),
    ],
)
def test_levels_and_cutoffs_of_the_antennas_that_are_on_can_be_set(
    score: Peak | None, levels: tuple[float, ...] | None, cutoffs: float | None
) -> None:
    """Each at its trim or offset, and no others; all, where the score names none: one that it does
    not trim is among them. None is lacking, and without any of them one is."""
    cutoff = None if cutoffs is None else -61.0
    strategy = Strategy((20.0,), 1, cutoff, (), score)
    assert not_settable(Reader(rssi_step_db=cutoffs, power_levels_dbm=levels), strategy) == ()
    for one in levels or ():
        lacking = Reader(power_levels_dbm=(*(x for x in levels or () if x != one), 30.0))
        (said,) = not_settable(lacking, strategy)
        assert f"cannot be set to {one:g} dBm" in said
