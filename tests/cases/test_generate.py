"""The generator: same seed, same bytes; tags and field are what they claim to be."""

from __future__ import annotations

import csv
import itertools
import math
import random
from collections import Counter
from pathlib import Path

import pytest

from cases.generate import FOLDER, draw, mint, write_case
from cases.linen import CABINET, CHUTE, KINDS, MOULDED, PLACES, TEXTILE, Kind
from cases.physics import FREQUENCY_HZ, POLARISATION_DB, TAG_GAIN_DBI, Chip, Field, answer_dbm


def test_the_committed_case_is_what_the_generator_writes(tmp_path: Path) -> None:
    write_case(tmp_path)
    for name in ("reads.csv", "roster.csv", "site.json"):
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes(), name
    assert sum(file.stat().st_size for file in tmp_path.iterdir()) < 3_000_000


@pytest.mark.parametrize(
    ("kind", "serial", "epc"),
    [  # GS1 TDS 2.3, Annex E.3
        (Kind(0x33, 12345, 20, filter=3), 5678, "3376451FD40C0E400000162E"),
        (Kind(0x32, 12345, 17, filter=3), 5678, "3276451FD46072000000162E"),
        (Kind(0x34, 0, 0, filter=3), 5678, "3476451FD40000000000162E"),
    ],
)
def test_epc_fields_lie_where_gs1_puts_them(kind: Kind, serial: int, epc: str) -> None:
    assert kind.epc(serial) == epc


@pytest.mark.parametrize("kind", KINDS)
def test_minted_tags_are_new_each_time_and_share_their_class(kind: str) -> None:
    rng = random.Random(7)
    tags = [mint(kind, rng) for _ in range(200)]
    assert len({tag.epc for tag in tags}) == len({tag.tid for tag in tags}) == 200
    assert len({int(tag.epc, 16) >> (58 - KINDS[kind].reference_bits) for tag in tags}) == 1
    models = {TEXTILE.name: TEXTILE.model, MOULDED.name: MOULDED.model}
    for tag in tags:  # TDS 16: E2h, then X S F, 9 bits of maker, 12 bits of model
        assert tag.tid.startswith("E2") and len(tag.tid) == 24
        assert int(tag.tid[:8], 16) & 0xFFF == models[tag.tag_type]


def test_without_mirrors_the_path_is_friis() -> None:
    """31.2032 dB at 1 m and 51.2032 dB at 10 m, 866.5 MHz (pycraf free_space_loss)."""
    shift = 20 * math.log10(866.5e6 / FREQUENCY_HZ)
    bare = Field((), gain_dbi=0.0, cable_db=0.0)
    for metres, loss in ((1.0, 31.2032), (10.0, 51.2032)):
        gain = bare.gain_db((metres, 0.0, 0.0)) - TAG_GAIN_DBI + POLARISATION_DB
        assert gain == pytest.approx(shift - loss, abs=1e-3)


def test_the_field_has_cold_spots_near_and_hot_spots_far() -> None:
    rng = random.Random(3)

    def gains(near: float, far: float) -> list[float]:
        spots = [
            (rng.uniform(near, far), rng.uniform(-1, 1), rng.uniform(-0.8, 0)) for _ in "x" * 500
        ]
        return sorted(CHUTE.radio.gain_db(spot) for spot in spots)

    close, distant = gains(1.2, 1.8), gains(2.6, 4.0)
    assert close[250] > distant[250] + 3  # the middle of them falls off with distance
    assert distant[450] > close[25]  # and a far tenth still beats a near twentieth


def test_rssi_rises_a_decibel_a_decibel_then_less() -> None:
    rng = random.Random(5)
    chip = Chip(sensitivity_dbm=-16.0, answer_loss_db=5.0)

    def mean(incident: float) -> float:
        return sum(answer_dbm(chip, -30.0, incident, rng) for _ in range(4000)) / 4000

    assert mean(-12) - mean(-14) == pytest.approx(2.0, abs=0.1)
    assert mean(20) - mean(16) == pytest.approx(2.0, abs=0.1)
    assert answer_dbm(chip, -30.0, -12.0, rng) % 0.5 == 0


@pytest.mark.parametrize("name", PLACES)
def test_readability_is_not_monotonic_in_power(name: str) -> None:
    levels: dict[tuple[str, str], set[int]] = {}
    for _, pass_id, power, epc, *_ in draw(name, 30, 1).reads:
        levels.setdefault((pass_id, epc), set()).add(int(power))
    top = PLACES[name].levels_dbm[-1]
    gaps = [tag for tag, read in levels.items() if len(read) < top - min(read) + 1]
    assert 0.02 < len(gaps) / len(levels) < 0.9


def test_a_new_seed_is_a_new_survey_of_the_same_site() -> None:
    one, same, other = (draw("shelf-cabinet", 5, seed) for seed in (1, 1, 2))
    assert one == same
    shared = {row[2] for row in one.roster} & {row[2] for row in other.roster}
    labels = {row[2] for row in one.roster if row[2].startswith("32")}
    assert shared == labels and len(labels) == CABINET.groups[1].count[0]


def test_the_bag_of_the_next_pass_waited_in_this_one() -> None:
    by_pass: dict[str, dict[str, str]] = {}
    for _, pass_id, epc, role, *_ in draw("soiled-chute", 20, 4).roster:
        by_pass.setdefault(pass_id, {})[epc] = role
    passes = list(by_pass.values())
    for before, now in itertools.pairwise(passes):
        (wanted,) = (epc for epc, role in now.items() if role == "wanted")
        assert before[wanted] == "stray"


def test_the_survey_has_the_size_that_was_asked_for() -> None:
    with (FOLDER / "roster.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    for name, place in PLACES.items():
        count = Counter(row["pass_id"] for row in rows if row["read_point"] == name)
        assert len(count) == place.passes and 40 <= place.passes <= 60
        assert 15 <= len(place.levels_dbm) <= 21
