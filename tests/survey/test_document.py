"""A case as one JSON document or as files in memory: the same case, faults with their places."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from strategist import read_case, read_case_document, read_case_files
from strategist.errors import InputError, MalformedError
from tests.survey.cases import READS, ROSTER, SITE, plain, write_case


def document(**more: Any) -> dict[str, Any]:
    tables = {
        name: list(csv.DictReader(io.StringIO(text)))
        for name, text in (("reads", READS), ("roster", ROSTER))
    }
    return {"site": json.loads(SITE), **tables, **more}


def faults_of(given: Any) -> set[tuple[Any, ...]]:
    data = given if isinstance(given, bytes) else json.dumps(given).encode()
    with pytest.raises(InputError) as refused:
        read_case_document(data)
    return {fault.path for fault in refused.value.faults}


def test_three_doors_give_one_case(tmp_path: Path) -> None:
    write_case(tmp_path)
    by_folder = read_case(tmp_path)
    files = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    by_files, by_document = (
        read_case_files(files),
        read_case_document(json.dumps(document()).encode()),
    )
    (first,) = by_folder.read_points
    for case in (by_files, by_document):
        (point,) = case.read_points
        assert plain(point.survey) == plain(first.survey)
        assert point.policy == first.policy


def test_numbers_and_texts_of_numbers_are_the_same() -> None:
    numbers = document()
    for row in numbers["reads"]:
        row |= {"power_dbm": float(row["power_dbm"]), "rssi_dbm": float(row["rssi_dbm"])}
    texts, same = (read_case_document(json.dumps(d).encode()) for d in (document(), numbers))
    assert plain(texts.read_points[0].survey) == plain(same.read_points[0].survey)


@pytest.mark.parametrize(
    ("value", "is_fault"), [(15, False), ("15", False), (True, True), ([15], True), ({}, True)]
)
def test_only_numbers_and_texts_are_numbers(value: Any, is_fault: bool) -> None:
    given = document()
    given["reads"][0]["power_dbm"] = value
    if is_fault:
        assert faults_of(given) == {("reads", 0, "power_dbm")}
    else:
        read_case_document(json.dumps(given).encode())


def test_faults_of_both_tables_have_their_places() -> None:
    given = document()
    given["reads"][3]["epc"] = "30X"
    given["roster"][1]["role"] = 7
    assert faults_of(given) == {("reads", 3, "epc"), ("roster", 1, "role")}


def test_fault_of_the_site_keeps_names_with_dots() -> None:
    given = document(site={"read_points": {"a.b": {"loss": {"missed": -1}}}})
    assert faults_of(given) == {("site", "read_points", "a.b", "loss", "missed")}


def test_levels_that_nobody_names() -> None:
    given = document(reads=[], site={"read_points": {"gate": {}}})
    assert ("site", "read_points", "gate", "levels_dbm") in faults_of(given)


@pytest.mark.parametrize("data", [b"{", b'{"a": 1, "a": 2}', b"\xff", b"[" * 100_000, b"1" * 5000])
def test_what_is_no_json_is_malformed(data: bytes) -> None:
    with pytest.raises(MalformedError):
        read_case_document(data)


def test_files_by_other_names_and_missing_ones() -> None:
    with pytest.raises(InputError) as refused:
        read_case_files({"reads.csv": b"", "rooster.csv": b""})
    said = str(refused.value)
    assert 'nearest: "roster.csv"' in said
    assert "site.json" in said
