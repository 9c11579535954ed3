"""The list of fields and candidate masks: counts by hand, the JSON, the text, the command."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import strategist
from strategist.__main__ import main
from strategist.answers.masks import list_masks
from strategist.report.lists import masks_text
from strategist.survey.policy import Reader
from strategist.survey.records import ReadPoint, Tag
from tests.optimise.made import survey_of
from tests.surveyed import surveyed_policy
from tests.tags.uris import encode

DEMO = Path(__file__).parents[2] / "cases" / "linen-service"


def epc(asset: int, serial: int) -> str:
    return encode(f"urn:epc:tag:grai-96:0.9521141.{asset}.{serial}")


BAG, OTHER_BAG, SHEET = epc(11200, 1), epc(11200, 2), epc(20810, 3)


def point(**policy: Any) -> ReadPoint:
    """Two passes: a bag is wanted, then stray beside another that is wanted; a sheet is by."""
    read = [-50.0]
    passes: list[list[tuple[str, bool, list[float | None]]]] = [
        [(BAG, True, [*read]), (SHEET, False, [*read])],
        [(BAG, False, [*read]), (OTHER_BAG, True, [*read]), (SHEET, False, [*read])],
    ]
    tags = {BAG: Tag(BAG, tid="E29F0345", user="0102")}
    return ReadPoint(survey_of([20.0], passes, tags), surveyed_policy(**policy))


def test_fields_with_their_values_and_presentations() -> None:
    found = list_masks(point())
    assert (found.presented.tags, found.presented.wanted, found.presented.stray) == (3, 2, 3)
    fields = {(f.bank, f.name): f for f in found.fields}
    assert [f.name for f in found.fields if f.bank == "epc"] == [
        "header",
        "filter",
        "partition",
        "company prefix",
        "asset type",
        "serial",
    ]
    asset = fields["epc", "asset type"]
    assert (asset.pointer, asset.length, asset.structural) == (70, 20, True)
    assert asset.values == 2 and asset.examples == ("asset type 11200", "asset type 20810")
    assert (asset.on.tags, asset.on.wanted, asset.on.stray) == (3, 2, 3)
    serial = fields["epc", "serial"]
    assert (serial.pointer, serial.structural, serial.values) == (90, False, 3)
    model = fields["tid", "model"]
    assert model.examples == ("model 345h",)
    assert (model.on.tags, model.on.wanted, model.on.stray) == (1, 1, 1)
    user = fields["user", "bits"]
    assert (user.length, user.structural, user.examples) == (16, False, ("user memory 0102",))


def test_fields_cover_every_bit_recorded() -> None:
    """Bits of fields times the tags that carry them are the bits of the records."""
    for one in (point(), *strategist.read_case(DEMO).read_points):
        covered = sum(field.length * field.on.tags for field in list_masks(one).fields)
        tags = one.survey.tags
        assert covered == sum(4 * len(t.epc + (t.tid or "") + (t.user or "")) for t in tags)


def test_candidates_say_whom_they_select() -> None:
    found = list_masks(point())
    (one,) = found.candidates
    assert (one.mask.pointer, one.mask.pattern, one.words) == (72, "0A", "part of asset type 11200")
    assert (one.selects.tags, one.selects.wanted, one.selects.stray) == (2, 2, 1)
    merged = {left.reason: left.masks for left in found.left_out}
    same = "equivalent to a kept mask, or to its negation"
    assert merged[same] == found.listed - 1
    assert "tells only whether the TID bank was recorded" in merged


@pytest.mark.parametrize(
    "name", ["soiled-chute", "sorting-belt", "clean-gate", "shelf-cabinet", "cart-portal"]
)
def test_the_list_is_what_solve_searches(name: str) -> None:
    """As many masks, and each selects in the roster what the list says."""
    (one,) = strategist.read_case(DEMO, name).read_points
    found = list_masks(one)
    survey = one.survey
    assert found.listed >= len(found.candidates) > 0
    for candidate in found.candidates:
        hit = np.array([candidate.mask.matches(tag) for tag in survey.tags])[survey.roster_tag]
        wanted = int((hit & survey.roster_wanted).sum())
        assert (candidate.selects.wanted, candidate.selects.stray) == (wanted, hit.sum() - wanted)
    power = replace(one.policy, allow=("power", "masks"), reader=replace(one.policy.reader))
    result = strategist.choose(ReadPoint(survey, power), strategist.Options(unseen=False))
    assert result.searched["masks"] == len(found.candidates)


@pytest.mark.parametrize(
    ("policy", "said"),
    [
        ({"allow": ("power",)}, "allow has no masks here"),
        ({"reader": Reader(mask_slots=0)}, "mask_slots is 0 here"),
    ],
)
def test_masks_that_are_not_searched_are_said_to_be(policy: dict[str, Any], said: str) -> None:
    found = list_masks(point(**policy))
    assert len(found.candidates) == 1
    assert any(warning.startswith(said) for warning in found.warnings)
    assert said in " ".join(masks_text(found).split())
    assert not any(warning.startswith(said) for warning in list_masks(point()).warnings)


def test_thin_wanted_classes_are_said() -> None:
    assert any("was seen on 2 tags only" in warning for warning in list_masks(point()).warnings)


def test_the_text_says_the_same_in_80_columns() -> None:
    found = list_masks(point())
    text = masks_text(found)
    words = " ".join(text.split())
    assert text.startswith("made: 3 tags, 2 wanted + 3 stray presentations\n")
    assert (
        "asset type at 70, length 20, structural: 2 values on 3 tags, 2 wanted + 3 stray" in words
    )
    assert "asset type 11200, asset type 20810" in words
    assert f"Candidates: {found.listed} before merging, 1 after" in text
    assert "1. EPC bank, pointer 72, length 8: 0A hex: 2 tags, 2 wanted + 1 stray" in words
    for left in found.left_out:
        assert f"{left.masks} {left.reason}" in words
    for one in strategist.read_case(DEMO).read_points:
        assert max(map(len, masks_text(list_masks(one)).splitlines())) <= 80


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    case, file = str(DEMO), tmp_path / "masks.json"
    assert main(["masks", case]) == 0
    out = capsys.readouterr().out
    assert out.count("\nFields, by bank and pointer\n") == 5 and out.count("\n\n") == 4
    assert main(["masks", case, "--read-point", "soiled-chute", "--out", str(file)]) == 0
    assert capsys.readouterr().out.startswith("soiled-chute: 295 tags, ")
    (one,) = strategist.read_case(DEMO, "soiled-chute").read_points
    document = json.loads(file.read_text())
    assert document == list_masks(one).to_json()
    assert (document["listed"], document["kept"]) == (32, 4) and len(document["candidates"]) == 4
    assert main(["masks", case, "--read-point", "soiled-chute", "--out", "-"]) == 0
    assert json.loads(capsys.readouterr().out) == document


def test_the_command_refuses(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    for arguments, said in (
        ([str(DEMO), "--read-point", "gate"], "clean-gate"),
        ([str(tmp_path / "none")], "no such folder"),
    ):
        assert main(["masks", *arguments]) == 2
        out, err = capsys.readouterr()
        assert out == "" and said in err
