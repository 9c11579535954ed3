"""Which levels are predicted, how they are marked, and that it is off by default."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.radio.complete import complete, within_reach
from strategist.survey.policy import Policy
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint
from tests.optimise.made import survey_of
from tests.survey.cases import write_case

LEVELS = [20.0, 21.0, 22.0, 23.0]
FORESEEN = Policy(predict_levels=True)


def point(
    passes: Any, untried: list[tuple[int, int]], policy: Policy = FORESEEN, levels: Any = LEVELS
) -> ReadPoint:
    """A read point at which some (pass, level) pairs were not tried."""
    survey = survey_of(levels, passes)
    tried = np.ones_like(survey.tried)
    for place in untried:
        tried[place] = False
    return ReadPoint(replace(survey, tried=tried), policy)


def pairs(levels: list[float], tried: str) -> str:
    """What is within reach, as marks, of levels tried (x) and not (.) in one pass."""
    row = np.array([[mark == "x" for mark in tried]])
    return "".join("p" if found else "-" for found in within_reach(np.array(levels), row)[0])


def test_reach_by_hand() -> None:
    """Between levels 4 dB apart, not 5; 1 dB beyond the last, not 2; alone, 1 dB about it."""
    assert pairs([10, 12, 14], "x.x") == "-p-"
    assert pairs([10, 12, 15], "x.x") == "---"
    assert pairs([8, 9, 10, 11, 12], "..x..") == "-p-p-"
    assert pairs([10, 11], "..") == "--"
    assert pairs([10, 10.5, 15], "x.x") == "---"


def test_predicted_reads_are_marked_and_measured_ones_stay() -> None:
    """Pass 0 lacks 21 and 22; pass 1 lacks nothing and is left alone, silent cells included."""
    given = point(
        [[("3001", True, [-52, None, None, -50])], [("3001", True, [None, -60, None, -58])]],
        [(0, 1), (0, 2)],
    )
    found = complete(given)
    survey, predicted = found.survey, found.survey.predicted
    assert predicted is not None
    assert predicted.pairs.tolist() == [[False, True, True, False], [False] * 4]
    assert survey.tried.all() and survey.measured.tolist() == given.survey.tried.tolist()
    assert list(zip(survey.read_pass.tolist(), survey.read_level.tolist(), strict=True)) == [
        (0, 0), (0, 1), (0, 2), (0, 3), (1, 1), (1, 3),
    ]  # fmt: skip
    assert "2 of 8 pairs" in found.warnings[-1] and "at 21, 22 dBm" in found.warnings[-1]
    back = survey.as_measured()
    assert back.predicted is None
    for name in ("read_pass", "read_level", "read_tag", "read_rssi", "tried"):
        assert np.array_equal(getattr(back, name), getattr(given.survey, name)), name


def test_off_by_default() -> None:
    given = point([[("3001", True, [-52, None, -51, -50])]], [(0, 1)], Policy())
    with pytest.raises(InputError, match="untried: 1 pair"):
        complete(given)


def test_what_is_out_of_reach_goes_the_way_of_untried() -> None:
    """20 is 2 dB below the lowest level tried: left out, or refused with the reach named."""
    curve = [("3001", True, [None, None, -51, -50])]
    leaving = replace(FORESEEN, untried="leave_out_level")
    found = complete(point([curve], [(0, 0), (0, 1)], leaving))
    assert found.survey.levels_dbm.tolist() == [21.0, 22.0, 23.0]
    assert found.survey.predicted is not None
    assert found.survey.predicted.pairs.tolist() == [[True, False, False]]
    with pytest.raises(InputError, match="at most 4 dB apart, or 1 dB beyond"):
        complete(point([curve], [(0, 0), (0, 1)]))


@pytest.mark.parametrize(
    ("values", "step"), [((-57, -50), 1.0), ((-57, -56.5), 0.5), ((-57, -56.97), 0.1)]
)
def test_rssi_keeps_to_the_steps_of_the_survey(values: tuple[float, float], step: float) -> None:
    """Foretold in whole dBm where the reads are, in halves where they are; never finer than 0.1."""
    low, high = values
    passes = [[("3001", True, [low, None, high])], [("3001", True, [low, low, high])]]
    survey = complete(point(passes, [(0, 1)], levels=[20.0, 20.3, 21.0])).survey
    (rssi,) = survey.read_rssi[(survey.read_level == 1) & (survey.read_pass == 0)]
    assert rssi == round(round(rssi / step) * step, 6)
    assert low - step <= rssi <= high + step


def test_few_cells_claim_the_widest_step() -> None:
    """One tag tells nothing of errors: the step of 3 dB for RSSI, half of it (95 %) for turn-on."""
    found = complete(point([[("3001", True, [None, None, None, -50])]], [(0, 1), (0, 2)]))
    predicted = found.survey.predicted
    assert predicted is not None
    assert (predicted.rssi_db, predicted.turn_on_db, predicted.right) == (3.0, 1.5, None)
    assert "too few cells" in found.warnings[-1]


def test_reads_at_random_are_called_so() -> None:
    """Where reads come and go by chance, hiding levels shows it, and the warning says it."""
    rng = np.random.default_rng(1)
    levels = [20.0 + i for i in range(9)]
    passes = [
        [("3001", True, [float(x) if x > -60 else None for x in rng.uniform(-70, -50, 9)])]
        for _ in range(30)
    ]
    for entries in passes:
        entries[0][2][4] = None
    found = complete(point(passes, [(p, 4) for p in range(30)], levels=levels))
    predicted = found.survey.predicted
    assert predicted is not None and predicted.right is not None
    assert predicted.right < 0.7
    assert predicted.rssi_db > 4
    assert "come and go" in found.warnings[-1]


def test_order_of_passes_and_tags_does_not_show() -> None:
    rng = np.random.default_rng(2)
    passes = [
        [
            (f"30{t:02d}", t % 2 == 0, [float(x) for x in rng.integers(-70, -50, 4)])
            for t in range(5)
        ]
        for _ in range(6)
    ]
    for entries in passes:
        for _, _, curve in entries:
            curve[1] = None  # type: ignore[call-overload]
    untried = [(p, 1) for p in range(6)]
    first = complete(point(passes, untried)).survey
    turned = complete(point([entries[::-1] for entries in passes[::-1]], untried)).survey
    assert sorted(first.read_rssi.tolist()) == sorted(turned.read_rssi.tolist())


def case(folder: Path, *, tried: bool, predict: bool = True) -> Path:
    """A case with reads at 15 and 17 dBm and levels 15, 16, 17."""
    policy = {"levels_dbm": [15, 16, 17], "predict_levels": predict, "allow": ["power"]}
    site = {"read_points": {"gate": policy}}
    reads = [
        ["gate", p, level, "3001", -50 + level - 15] for p in ("p1", "p2") for level in (15, 17)
    ]
    rows = [["gate", p, level] for p in ("p1", "p2") for level in (15, 17)]

    def text(head: str, body: list[list[Any]]) -> str:
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows([head.split(","), *body])
        return out.getvalue()

    return write_case(
        folder,
        reads=text("read_point,pass_id,power_dbm,epc,rssi_dbm", reads),
        roster=text(
            "read_point,pass_id,epc,role", [["gate", p, "3001", "wanted"] for p in ("p1", "p2")]
        ),
        site=json.dumps(site),
        tried=text("read_point,pass_id,power_dbm", rows) if tried else None,
    )


def test_without_tried_csv_a_level_that_no_read_names_counts_as_not_surveyed(
    tmp_path: Path,
) -> None:
    (listed,) = read_case(case(tmp_path / "a", tried=True)).read_points
    (guessed,) = read_case(case(tmp_path / "b", tried=False)).read_points
    (plain,) = read_case(case(tmp_path / "c", tried=False, predict=False)).read_points
    assert (
        listed.survey.tried.tolist() == guessed.survey.tried.tolist() == [[True, False, True]] * 2
    )
    assert plain.survey.tried.all()
    assert listed.warnings == plain.warnings == ()
    assert "16 dBm" in guessed.warnings[0] and "tried.csv" in guessed.warnings[0]
    assert complete(guessed).survey.read_rssi.tolist() == [-50, -49, -48] * 2


def test_each_antenna_is_predicted_by_its_own_reads() -> None:
    """The second hears all that the first does, 10 dB weaker: so do its predicted reads."""
    given = point([[("3001", True, [-52, None, None, -50])]], [(0, 1), (0, 2)])
    one, alone = given.survey, complete(given).survey
    twice = {n: np.tile(getattr(one, n), 2) for n in ("read_pass", "read_level", "read_tag")}
    both = replace(
        one,
        **twice,
        read_rssi=np.concatenate([one.read_rssi, one.read_rssi - 10.0]),
        read_antenna=np.repeat([1, 2], len(one.read_rssi)),
        antennas=(1, 2),
    )
    found = complete(replace(given, survey=both)).survey
    assert found.read_antenna is not None
    for antenna, weaker in ((1, 0.0), (2, 10.0)):
        own = found.read_antenna == antenna
        assert np.array_equal(found.read_level[own], alone.read_level)
        assert np.array_equal(found.read_rssi[own], alone.read_rssi - weaker)
