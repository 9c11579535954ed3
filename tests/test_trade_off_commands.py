"""`trade-offs` in its views: the JSON of the library, a text that fits a terminal."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import strategist
from tests.test_commands import case, run

QUICK = strategist.Options(unseen=False)
ONE = {"door": {"allow": ["power", "ladder", "cutoff", "masks"], "reader": {"mask_slots": 1}}}
NEITHER = {"dock": {"allow": ["power"], "limits": {"missed_rate_max": 0, "stray_rate_max": 0}}}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return case(tmp_path / "two", ONE | NEITHER)


def timeless(document: Any) -> Any:
    if isinstance(document, dict):
        return {key: timeless(value) for key, value in document.items() if key != "seconds"}
    return [timeless(one) for one in document] if isinstance(document, list) else document


def frontier(point: Any) -> Any:
    return strategist.trace_frontier(point)


def techniques(point: Any) -> Any:
    return strategist.compare_techniques(point, QUICK)


def usual(point: Any) -> Any:
    return strategist.usual_what_ifs(point, QUICK)


def changed(point: Any) -> Any:
    sets = {"reader.mask_slots": 2, "untried": "leave_out_pass", "loss": {"missed": 2}}
    return strategist.what_if(point, sets, options=QUICK)


def cabled(point: Any) -> Any:
    return strategist.what_if(point, {}, added_cable_loss_db=-3.0, options=QUICK)


def walked(point: Any) -> Any:
    return strategist.trace_frontier(point, sets={"allow": ["power"], "stop_after": 2})


CHANGED = ["--set", "reader.mask_slots=2", "--set", "untried=leave_out_pass"]
CHANGED += ["--set", 'loss={"missed": 2}']


@pytest.mark.parametrize(
    ("argv", "expected"),
    [
        ([], frontier),
        (["--view", "counts"], frontier),
        (["--view", "techniques"], techniques),
        (["--view", "changes"], usual),
        (["--view", "changes", *CHANGED], changed),
        (["--added-cable-loss", "-3"], cabled),
        (["--view", "counts", "--set", 'allow=["power"]', "--set", "stop_after=2"], walked),
    ],
    ids=["default", "counts", "techniques", "usual", "changed", "cabled", "walked"],
)
@pytest.mark.parametrize("name", ["door", "dock"])
def test_json_of_the_library_and_a_text(
    capsys: Any, folder: Path, argv: list[str], expected: Callable[[Any], Any], name: str
) -> None:
    out = folder.parent / "out.json"
    asked = ["trade-offs", folder, "--read-point", name, *argv]
    status, text, err = run(capsys, *asked, "--out", out)
    assert (status, err) == (0, "")
    (point,) = strategist.read_case(folder, name).read_points
    document = expected(point).to_json()
    assert timeless(json.loads(out.read_text())) == timeless(document)
    assert name in text.splitlines()[0]
    assert max(map(len, text.splitlines())) <= 80
    status, alone, err = run(capsys, *asked, "--out", "-")
    assert (status, err) == (0, "")
    assert timeless(json.loads(alone)) == timeless(document)


def test_what_the_texts_say(capsys: Any, folder: Path) -> None:
    """At the door all is well with a cutoff alone; without a mask nothing is lost either."""
    at = [folder, "--read-point", "door"]
    points = json.loads(run(capsys, "trade-offs", *at, "--out", "-")[1])["points"]
    assert [(point["missed"], point["stray"]) for point in points] == [(0, 0)]
    variants = json.loads(run(capsys, "trade-offs", *at, "--view", "techniques", "--out", "-")[1])[
        "variants"
    ]
    losses = {one["name"]: one["loss"] for one in variants}
    # By hand: the highest level reads all three tags, so without more the stray costs 1.
    assert (losses["nothing"], losses["cutoff alone"], losses["all together"]) == (1, 0, 0)
    text = run(capsys, "trade-offs", *at, "--set", "allow=[]")[1]
    assert "0" in text and "allow" in text


def test_long_settings_keep_to_the_width(folder: Path) -> None:
    """Five steps, a cutoff and masks are wrapped in their own column."""
    (point,) = strategist.read_case(folder, "door").read_points
    mask = strategist.Mask("epc", 32, 8, "30")
    masks = (mask, replace(mask, join="or", pattern="31"))
    long = strategist.Strategy((16.5, 19.5, 21.5, 23.5, 27.5), 1, -57.5, masks)
    traced = strategist.trace_frontier(point)
    traced = replace(traced, points=tuple(replace(p, strategy=long) for p in traced.points))
    bought = techniques(point)
    bought = replace(bought, variants=tuple(replace(v, strategy=long) for v in bought.variants))
    asked = usual(point)
    asked = replace(asked, before=replace(asked.before, strategy=long))
    for text in (
        strategist.frontier_text(traced),
        strategist.techniques_text(bought),
        strategist.what_ifs_text(asked),
    ):
        assert "16.5/19.5/21.5/23.5/27.5," in text
        assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (
            ["--set", "reader.mask_slot=3"],
            'reader.mask_slot: unknown key "mask_slot". Known keys: ',
        ),
        (["--set", "reader.mask_slot=3"], '(nearest: "mask_slots")'),
        (["--set", "mask_slots=3"], '(nearest: "reader.mask_slots")'),
        (["--set", "loss.missed=-1"], "loss.missed: -1 is too small. Give a number from 0.001"),
        (["--set", "loss.missed=much"], '"much" is not valid'),
        (["--set", "unlisted=ignore"], "site.json"),
        (["--set", "loss.missed=5"], "no key differs"),
        (["--set", "loss.missed"], "KEY=VALUE"),
        (["--set", "=1"], "KEY=VALUE"),
        (["--added-cable-loss", "40.7"], "cable: a change of 40.7 dB takes every level out"),
        (["--added-cable-loss", "61"], "a number of dB"),
        (["--set", "stop_after=2", "--view", "techniques"], "--view: techniques are told of"),
    ],
)
def test_a_change_that_is_none(capsys: Any, folder: Path, argv: list[str], said: str) -> None:
    target = folder.parent / "out.json"
    asked = ["trade-offs", folder, "--read-point", "door", *argv, "--out", target]
    status, out, err = run(capsys, *asked)
    assert (status, out) == (2, "")
    assert said in err
    assert not target.exists()
