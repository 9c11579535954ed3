"""What `export` writes is replayed: set is what was proven, or nothing is given out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import MonkeyPatch

from strategist import DisagreementError, InputError, PowerTable, settings_of, settings_text
from strategist.answers import settings
from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Guard, Loss, Reader
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from strategist.trust.evaluate import evaluate
from tests.cases.razor import quadrants
from tests.optimise.made import survey_of
from tests.surveyed import surveyed_policy

TABLE = PowerTable(((1, 20.0),))
TAGS = [
    *((True, rssi) for rssi in (-50.0, -55.0, -60.0, -68.4, -68.6)),
    *((False, rssi) for rssi in (-69.0, -70.0, -71.0)),
]


def depot(step_db: float | None = None) -> ReadPoint:
    """The weakest wanted tags lie at −68.4 and −68.6 dBm, the strongest stray at −69."""
    entries: list[tuple[str, bool, list[float | None]]] = [
        (f"AB{number:02X}", wanted, [rssi]) for number, (wanted, rssi) in enumerate(TAGS)
    ]
    reader = Reader(rssi_step_db=step_db)
    policy = surveyed_policy(
        loss=Loss(5, 1), guard=Guard(0.0, 0.0), reader=reader, allow=("cutoff",)
    )
    return ReadPoint(survey_of([20.0], [entries]), policy)


def test_a_cutoff_that_whole_numbers_cannot_stand_for_is_refused_with_the_counts() -> None:
    """−68.8 becomes −68, which misses two wanted tags, or −69, which lets a stray through: the
    second loses less, and its counts are those of the evaluator. LLRP alone reports whole dBm; at
    a reader of whole dBm the strategy is another one from the start."""
    point, meant = depot(), Strategy((20.0,), 1, -68.8)
    lost = evaluate(point.survey, point.policy, replace(meant, cutoff_dbm=-69)).loss
    with pytest.raises(InputError) as raised:
        settings_of(point, meant, "llrp", TABLE)
    (fault,) = raised.value.faults
    assert "its cutoff of -68.8 dBm cannot be set" in fault.said
    assert f"0 missed and 1 stray (loss {lost:g}) in place of 0 missed and 0 stray" in fault.said
    assert "Set reader.rssi_step_db to 1 in site.json and solve again" in fault.todo
    assert settings_of(point, meant, "gen2").replay.same


def test_settings_that_differ_in_more_than_a_cutoff_are_our_error(monkeypatch: MonkeyPatch) -> None:
    """A mask that is read back as another one is no fault of the strategy."""
    meant = Strategy((20.0,), 1, None, (Mask("epc", 32, 8, "AB"),))
    monkeypatch.setattr(settings, "chain_of_frames", lambda _: (Mask("epc", 32, 8, "AC"),))
    with pytest.raises(DisagreementError, match="please report this"):
        settings_of(depot(), meant, "gen2")


def test_the_whole_cutoff_that_does_the_same_is_written() -> None:
    """Where both neighbours do the same the stronger one is written, as from −64.5 −64."""
    for cutoff, whole in ((-64.5, -64), (-69.5, -69), (-68.0, -68), (-54.5, -54), (-60.5, -60)):
        found = settings_of(depot(), Strategy((20.0,), 1, cutoff), "llrp", TABLE)
        document = found.to_json()
        assert (document["keep_from_dbm"], document["replay"]["same"]) == (whole, True)


def test_the_weaker_one_is_written_where_it_alone_does_the_same() -> None:
    """−54.9 keeps the tag at −54.6: −54 would lose it, −55 keeps it and no other."""
    point = depot()
    reads = np.where(point.survey.read_rssi == -55.0, -54.6, point.survey.read_rssi)
    point = replace(point, survey=replace(point.survey, read_rssi=reads))
    found = settings_of(point, Strategy((20.0,), 1, -54.9), "llrp", TABLE)
    document = found.to_json()
    assert (document["keep_from_dbm"], document["replay"]["same"]) == (-55, True)


@pytest.mark.parametrize("form", ["llrp", "gen2"])
def test_at_a_reader_of_whole_dbm_what_is_proven_is_written(form: str) -> None:
    point = depot(1.0)
    result = choose(point, Options(unseen=False))
    found = settings_of(point, result.strategy, form, TABLE if form == "llrp" else None)  # type: ignore[arg-type]
    document = found.to_json()
    again = document["replay"]
    assert again["same"] and again["loss"] == again["meant_loss"] == result.loss
    assert "as it should be" in " ".join(settings_text(found).split())


def test_levels_that_were_not_surveyed_cannot_be_replayed_and_that_is_said() -> None:
    table = PowerTable(((1, 23.0),))
    found = settings_of(depot(), Strategy((23.0,)), "llrp", table)
    document = found.to_json()
    assert document["replay"]["same"] is None and document["replay"]["loss"] is None
    assert "could not be replayed on the survey" in document["warnings"][0]


def test_settings_no_better_than_silence_are_warned_of_on_top() -> None:
    point = quadrants()
    strategy = choose(point, Options(unseen=False)).strategy
    warnings = settings_of(point, strategy, "gen2").warnings
    assert "no better than silence: its loss is 121" in warnings[0]


def test_what_the_reader_cannot_be_set_to_is_said() -> None:
    reader = Reader(rssi_step_db=0.5, power_levels_dbm=(19.0, 21.0))
    point = depot()
    point = replace(point, policy=replace(point.policy, reader=reader))
    said = " ".join(settings_of(point, Strategy((20.0,), 1, -68.8), "gen2").warnings)
    assert "cannot be set to 20 dBm" in said and "cutoff of -68.8 dBm" in said


@pytest.mark.parametrize(("bits", "permitted"), [(8, True), (16, True), (20, False), (24, False)])
def test_a_mask_that_ends_behind_the_shortest_epc_is_not_truncated(
    bits: int, permitted: bool
) -> None:
    """Tags of 16 and of 24 bits."""
    entries = [("3001", True, [-60.0]), ("300102", True, [-61.0])]
    point = ReadPoint(survey_of([20.0], [entries]), surveyed_policy())  # type: ignore[list-item]
    strategy = Strategy(
        (20.0,), masks=(Mask("epc", 32, bits, "300102"[: bits // 4] if bits != 20 else "300100"),)
    )
    found = settings_of(point, strategy, "gen2").to_json()
    assert found["truncation"]["permitted"] is permitted
