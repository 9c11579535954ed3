"""Strategies side by side: rows are those of `evaluate`, differing passes, and changes, by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import strategist
from strategist import Mask, Side, Strategy, compare, comparison_text
from strategist.answers.changes import changes_between
from strategist.answers.compare import Comparison
from strategist.errors import InputError
from strategist.survey.policy import Loss
from tests.test_commands import W2, S, case


@pytest.fixture
def point(tmp_path: Path) -> strategist.ReadPoint:
    """W1 is read from 20 dBm on, W2 at 23 only (−50 dBm); stray S at 23 (−60 dBm), both in p2."""
    return strategist.read_case(case(tmp_path / "one", {"door": {}})).read_points[0]


def test_rows_are_those_of_evaluate(point: strategist.ReadPoint) -> None:
    low, high = Strategy((20.0,)), Strategy((23.0,), cutoff_dbm=-55.0)
    found = compare(point, [Side("low", low), Side("high", high)]).to_json()
    for row, strategy in zip(found["rows"], (low, high), strict=True):
        alone = strategist.evaluate_at(point, strategy).to_json()
        assert {key: row[key] for key in alone if key != "read_point"} == {
            key: value for key, value in alone.items() if key != "read_point"
        }
    assert found["least_loss"] == ["high"]


def test_a_side_alone_is_the_best_and_nothing_is_sturdier(point: strategist.ReadPoint) -> None:
    expected = replace(point, policy=replace(point.policy, aim="expected"))
    for given in (point, expected):
        found = compare(given, [Side("low", Strategy((20.0,)))])
        assert (found.least_loss, found.sturdier) == (("low",), None)
        assert (found.passes, found.changes) == ((), ())


@pytest.mark.parametrize(("a_pass", "little"), [(True, 0.75), (False, 1.0)])
def test_little_is_of_as_many_passes_as_surveyed(a_pass: bool, little: float) -> None:
    """A miss weighs 1, and 5 % of 15 a pass in ten passes are 7.5, or 0.75 a pass; of 15 in all
    they are less than a miss."""
    outcome = SimpleNamespace(passes=10)
    for extra, near in ((little - 0.125, True), (little, True), (little + 0.125, False)):
        losses = [(15.0, 40.0), (15.0 + extra, 20.0)]
        evaluations: Any = tuple(
            SimpleNamespace(
                loss=99.0 if a_pass else loss,
                outcome=outcome,
                standing=SimpleNamespace(guarded=SimpleNamespace(loss=99.0 if a_pass else drifted)),
            )
            for loss, drifted in losses
        )
        over: Any = tuple(
            SimpleNamespace(loss=loss, guarded_loss=drifted) if a_pass else None
            for loss, drifted in losses
        )
        sides = (Side("a", Strategy((20.0,))), Side("b", Strategy((21.0,))))
        found = Comparison("bay", Loss(1.0, 1.0), sides, evaluations, over, (), ())
        assert found.least_loss == ("a",)
        saved = {"name": "b", "than": "a", "extra_loss": extra, "guarded_saved": 20.0}
        assert found.sturdier == (saved if near else None)


def test_passes_are_those_that_differ_with_their_tags(point: strategist.ReadPoint) -> None:
    sides = [Side("low", Strategy((20.0,))), Side("high", Strategy((23.0,)))]
    found = compare(point, sides).to_json()["passes"]
    missing = {"missed": [W2], "stray": [], "steps": 1}
    straying = {"missed": [], "stray": [S], "steps": 1}
    assert found == [{"pass_id": "p2", "sides": [missing, straying]}]
    assert compare(point, [sides[0], sides[0]]).passes == ()


def test_what_is_enough_is_the_fewest_settings(point: strategist.ReadPoint) -> None:
    """20 dBm loses 5; at 23 dBm with the cutoff 0, of which the power alone leaves 1."""
    before = Strategy((20.0,), masks=(Mask("epc", 32, 8, "30"),))
    after = Strategy((23.0,), cutoff_dbm=-55.0)
    (changes,) = compare(point, [Side("a", before), Side("b", after)]).changes
    assert changes.loss_with_one_changed == {"levels_dbm": 1.0, "cutoff_dbm": 5.0, "masks": 5.0}
    assert (changes.enough, changes.enough_loss) == (("levels_dbm", "cutoff_dbm"), 0.0)
    (back,) = compare(point, [Side("b", after), Side("a", before)]).changes
    assert (back.enough, back.enough_loss) == ((), 0.0)


def words(before: Strategy, after: Strategy) -> list[str]:
    return [one.words for one in changes_between(before, after, lambda _: 0.0).changes]


def test_masks_are_replaced_one_by_one_in_their_order() -> None:
    """Two by three, joined by or: the third is new."""
    a, b, c, d, e = (Mask("epc", 32, 8, f"{n}0") for n in range(1, 6))
    found = changes_between(
        Strategy((20.0,), masks=(a, replace(b, join="or"))),
        Strategy((20.0,), masks=(c, replace(d, join="or"), replace(e, join="or"))),
        lambda _: 0.0,
    ).changes
    told = [tuple(m and m["pattern"] for m in (one.before, one.after)) for one in found]
    assert told == [("10", "30"), ("20", "40"), (None, "50")]
    assert [one.words.split(" (")[0].split(":")[0] for one in found] == [
        "replace mask 1",
        "replace mask 2",
        "add mask 3",
    ]


def test_changes_in_words() -> None:
    """Levels move the least sum of dB; the rest is added or taken away."""
    assert words(Strategy((18.0, 20.0, 30.0)), Strategy((20.0, 21.0, 29.0, 33.0))) == [
        "move the step of 18 dBm to 21 dBm",
        "move the step of 30 dBm to 29 dBm",
        "add a step of 33 dBm",
    ]
    assert words(Strategy((18.0,)), Strategy((20.0,))) == ["move the level of 18 dBm to 20 dBm"]
    assert words(Strategy((18.0, 20.0), 2, -60.0), Strategy((20.0,), 1, -58.5)) == [
        "take away the step of 18 dBm",
        "stop after 1 tag instead of 2",
        "raise the cutoff from -60 to -58.5 dBm",
    ]
    assert words(Strategy((20.0,)), Strategy((20.0,), 1, -60.0)) == ["set a cutoff of -60 dBm"]
    assert words(Strategy((20.0,), 1, 0.0), Strategy((20.0,))) == ["take away the cutoff of 0 dBm"]


def test_changes_of_masks_follow_the_chain() -> None:
    bag, sheet = Mask("epc", 72, 8, "0A"), Mask("epc", 72, 8, "14", join="or")
    maker = Mask("tid", 8, 24, "9F01A2", True, "and")
    chain = Strategy((20.0,), masks=(bag, sheet))
    assert words(Strategy((20.0,), masks=(bag,)), chain) == [
        "add mask 2: or EPC bank, pointer 72, length 8: 14 hex"
    ]
    assert words(chain, Strategy((20.0,), masks=(bag, maker))) == [
        "replace mask 2 (EPC bank, pointer 72, length 8: 14 hex) "
        "by and TID bank, pointer 8, length 24: not 9F01A2 hex"
    ]
    joined = Mask("epc", 72, 8, "14", join="and")
    assert words(chain, Strategy((20.0,), masks=(bag, joined))) == [
        "join mask 2 by and instead of or"
    ]
    first = Mask("epc", 72, 8, "14")
    assert words(chain, Strategy((20.0,), masks=(first,))) == [
        "take away mask 1: EPC bank, pointer 72, length 8: 0A hex"
    ]


def test_text_tells_what_differs_in_80_columns(point: strategist.ReadPoint) -> None:
    sides = [Side("today's settings, as found on site", Strategy((20.0,)))]
    sides += [Side("best", Strategy((23.0,), cutoff_dbm=-55.0))]
    text = comparison_text(compare(point, sides))
    assert max(map(len, text.splitlines())) <= 80
    assert "Passes in which they differ: 1 of 2" in text
    assert "(the same in all: stop rule after 1 tag; masks none)" in text
    assert "  - move the level of 20 dBm to 23 dBm\n" in text
    assert "Loss 5 now; with one setting changed alone: power 1, cutoff 5.\n" in text
    assert "  All of these settings are needed for that loss.\n" in text
    same = comparison_text(compare(point, [sides[0], sides[0]]))
    assert "nothing to change: they are the same" in same


def test_a_level_not_surveyed_is_named_by_its_source(point: strategist.ReadPoint) -> None:
    with pytest.raises(InputError, match=r"^mine\.json, levels_dbm\.0: 21 dBm was not surveyed"):
        compare(point, [Side("a", Strategy((21.0,)), "mine.json")])
    with pytest.raises(InputError, match="has no strategy"):
        compare(point, [])
