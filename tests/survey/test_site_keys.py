"""The reference of site.json's keys: whole, true, and written once."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import TypeAdapter

import strategist
from strategist import InputError, SiteKey, site_keys, starter_site
from strategist.__main__ import main
from strategist.survey.json_text import parse_json
from strategist.survey.key_words import KEY_WORDS
from strategist.survey.policy import (
    POLICY,
    PREDICT_BETWEEN_DB,
    PREDICT_BEYOND_DB,
    Policy,
    Reader,
)
from strategist.survey.reading import read_case_files
from strategist.survey.site import SITE

KEYS = {one.name: one for one in site_keys().keys}
OF_SITE = ("read_points", "site", "readers", "cost", "arbitration")
OF_POINT = [name for name in KEYS if name.split(".")[0] not in OF_SITE]
# Keys that are taken only beside others.
BESIDE: dict[str, dict[str, Any]] = {
    "time.dwell_s": {"step_s": 0.1},
    "time.tags_in_field": {"rf_mode": "fm0-640"},
    "time.overhead_s": {"rf_mode": "fm0-640"},
    "options.N.read_point": {"case": "x"},
    "options.N.price": {"case": "x"},
    "time.failed_read_rate": {"rf_mode": "fm0-640"},
    "arbitration.N.keep": {"facing": "dock-1"},
    "arbitration.N.facing": {"keep": "facing"},
}


def named(kind: Any, before: str = "") -> set[str]:
    """The keys of a policy by its fields, however deep; found without the reference."""
    names = set()
    for name, field in kind.__pydantic_fields__.items():
        names.add(f"{before}{name}")
        for inner in types_in(field.annotation):
            if hasattr(inner, "__pydantic_fields__"):
                names |= named(inner, f"{before}{name}.")
    return names


def types_in(annotation: Any) -> Iterator[Any]:
    yield annotation
    for inner in get_args(annotation):
        yield from types_in(inner)


def within(name: str, value: Any) -> dict[str, Any]:
    """A policy in which a key has a value, with what it needs beside it."""
    *outer, last = name.split(".")
    found: dict[str, Any] = {last: value} | BESIDE.get(name, {})
    if outer[-1:] == ["limit"]:
        found = KEYS["radio.limit"].example | found
    for part in reversed(outer):
        found = {"7": found} if part == "N" else {part: found}
    return found


def test_each_key_is_in_the_reference() -> None:
    assert named(Policy) == {name.replace("N.", "") for name in OF_POINT}
    assert set(KEYS) == set(KEY_WORDS)


@pytest.mark.parametrize("one", KEYS.values(), ids=KEYS)
def test_each_key_is_explained(one: SiteKey) -> None:
    assert one.means and one.when and one.allowed not in ("", "any value")
    assert not one.when.endswith(".") and not one.means.endswith(".")
    assert one.example is not None and one.example != one.default


@pytest.mark.parametrize("name", OF_POINT)
def test_each_example_is_taken_and_changes_something(name: str) -> None:
    given = json.dumps(within(name, KEYS[name].example))
    assert parse_json(given.encode(), POLICY, "example") != Policy()


SINGLE = [name for name in OF_POINT if not (KEYS[name].holds or KEYS[name].required)]


def test_each_example_of_the_site_is_taken_and_changes_something() -> None:
    plain: dict[str, Any] = {"read_points": {"dock-1": {}, "dock-2": {}}}
    before = parse_json(json.dumps(plain).encode(), SITE, "example")
    for name in (one for one in KEYS if one.split(".")[0] in OF_SITE[1:]):
        given: dict[str, Any] = within(name, KEYS[name].example)
        for key, served in (("readers", ["dock-1"]), ("arbitration", ["dock-1", "dock-2"])):
            if name.startswith(f"{key}.N."):
                (one,) = given[key].values()
                given[key] = {"7": {"read_points": served} | one}
        assert parse_json(json.dumps(plain | given).encode(), SITE, "example") != before, name


@pytest.mark.parametrize("name", SINGLE)
def test_each_default_is_what_holds_without_the_key(name: str) -> None:
    policies = []
    for given in (within(name, KEYS[name].default), within(name, None)):
        inner: Any = given
        for part in name.replace("N", "7").split(".")[:-1]:
            inner = inner[part]
        if policies:
            del inner[name.rsplit(".", 1)[-1]]
        policies.append(parse_json(json.dumps(given).encode(), POLICY, "default"))
    assert policies[0] == policies[1]


@pytest.mark.parametrize("name", OF_POINT)
def test_what_is_not_allowed_is_told_in_the_words_of_the_reference(name: str) -> None:
    """A value of a kind that no key takes."""
    wrong: Any = ["x"] if KEYS[name].allowed.startswith(("a number", "a whole", "true")) else -1e9
    with pytest.raises(InputError) as refused:
        parse_json(json.dumps(within(name, wrong)).encode(), POLICY, "site.json")
    said = str(refused.value)
    assert said.startswith(f"site.json, {name.replace('N', '7')}"), said
    if name != "time.step_s":  # a list is allowed, too, and its entries are told
        assert said.endswith(f"Give {KEYS[name].allowed}."), said


def test_the_words_name_the_spans_of_prediction() -> None:
    means = KEY_WORDS["predict_levels"].means
    assert f"at most {PREDICT_BETWEEN_DB:g} dB apart" in means
    assert f"at most {PREDICT_BEYOND_DB:g} dB beyond" in means


def test_a_name_that_is_no_key_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match=r'nearest: "reader\.mask_slots"'):
        site_keys(["reader.mask_slot"])


def test_the_description_of_the_site_has_the_same_words() -> None:
    schema = json.dumps(SITE.json_schema())
    assert all(words.means in json.loads(f'"{words.means}"') for words in KEY_WORDS.values())
    assert all(json.dumps(words.means)[1:-1] in schema for words in KEY_WORDS.values())


def test_keys_and_all_about_one(capsys: Any) -> None:
    assert main(["keys"]) == 0
    brief = capsys.readouterr().out
    assert all(f"\n{name}\n" in f"\n{brief}" for name in KEYS)
    assert main(["keys", "reader.mask_slots"]) == 0
    one = " ".join(capsys.readouterr().out.split())
    assert "MaxNumSelectFiltersPerQuery" in one and '"mask_slots": 2' in one
    assert max(map(len, brief.splitlines())) <= 80
    assert main(["keys", "reader", "--out", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [key["key"] for key in found["keys"]][:2] == ["reader", "reader.ladder_steps_max"]
    TypeAdapter(strategist.SiteKeys.shape()).validate_json(json.dumps(found))


READS = b"""read_point,pass_id,power_dbm,epc,rssi_dbm
gate-10,p1,16,AA,-50
gate-2,p1,17,AA,-50
gate-2,p1,15.5,AA,-50
"""
ROSTER = b"read_point,pass_id,epc,role\ngate-10,p1,AA,wanted\ngate-2,p1,AA,wanted\n"


def test_a_starter_is_a_site_of_the_levels_found(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "reads.csv").write_bytes(READS)
    assert main(["new", str(tmp_path)]) == 0
    assert "roster.csv" in capsys.readouterr().out
    text = (tmp_path / "site.json").read_bytes()
    case = read_case_files({"reads.csv": READS, "roster.csv": ROSTER, "site.json": text})
    assert [point.name for point in case] == ["gate-2", "gate-10"]
    assert case["gate-2"].policy == Policy((15.5, 17.0))
    assert main(["new", str(tmp_path)]) == 2
    assert (tmp_path / "site.json").read_bytes() == text


def test_a_starter_before_anything_is_measured_is_what_plan_takes(
    tmp_path: Path, capsys: Any
) -> None:
    folder = tmp_path / "new"
    named = ["--read-point", "gate-2", "--read-point", "gate-10", "--levels", "17,15.5"]
    assert main(["new", str(folder), *named]) == 0
    assert "strategist plan" in capsys.readouterr().out
    site = parse_json((folder / "site.json").read_bytes(), SITE, "site.json")
    assert site.read_points == {name: Policy((15.5, 17.0)) for name in ("gate-2", "gate-10")}
    assert main(["plan", str(folder)]) == 0


def test_every_note_of_a_starter_is_taken_when_its_mark_is_taken_away() -> None:
    """What is noted are a reader's assumptions and examples, which then are the planner's word."""
    lines = starter_site(READS).splitlines()
    used = "\n".join(line.replace('"//', '"', 1) if '"// ' not in line else line for line in lines)
    used = used.replace('"": "A key', '"//": "A key', 1)
    site = parse_json(used.encode(), SITE, "site.json")
    for policy in site.read_points.values():
        assert policy.reader == Reader() and policy.reader.assumed() == ()
        assert policy.radio.region and policy.time.dwell_s and policy.limits.missed_rate_max


def test_what_is_assumed_of_the_reader_is_said_until_it_is_set() -> None:
    def warnings(point: dict[str, Any]) -> str:
        site = {"read_points": {"gate-2": {"levels_dbm": [15.5, 17]} | point}}
        files = {"reads.csv": READS, "roster.csv": ROSTER, "site.json": json.dumps(site).encode()}
        return "\n".join(read_case_files(files)["gate-2"].warnings)

    said = warnings({})
    assert "at most 5 levels" in said and "MaxNumSelectFiltersPerQuery" in said
    assert "reader.ladder_steps_max, reader.mask_slots and reader.mask_step_bits" in said
    some = warnings({"reader": {"mask_slots": 3}})
    assert "levels" in some and "MaxNum" not in some and "reader.mask_slots" not in some
    every = {"ladder_steps_max": 5, "mask_slots": 3, "mask_step_bits": 8}
    assert warnings({"reader": every}) == ""
    assert "reader." not in warnings({"allow": ["power", "cutoff"]})


def test_what_the_survey_gives_nothing_for_is_said() -> None:
    asked = {"conditions": {"aim": "worst"}, "reader": {"antenna_power": "own"}}
    site = {"read_points": {"gate-2": {"levels_dbm": [15.5, 17]} | asked}}
    files = {"reads.csv": READS, "roster.csv": ROSTER, "site.json": json.dumps(site).encode()}
    said = "\n".join(read_case_files(files)["gate-2"].warnings)
    assert "conditions in site.json changes nothing here" in said
    assert "antenna_power is own, which changes nothing here" in said
    named = b"read_point,pass_id,condition\ngate-2,p1,full\n"
    told = read_case_files(files | {"passes.csv": named})["gate-2"].warnings
    assert not any("conditions in site.json" in text for text in told)


def test_the_old_name_of_a_key_is_refused_with_the_new_one() -> None:
    with pytest.raises(InputError, match=r'"link" has another name now\. Write rf_mode\.$'):
        parse_json(b'{"time": {"link": "fm0-640"}}', POLICY, "site.json")
