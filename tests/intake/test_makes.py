"""Logs of more than twenty makes come to the same case, byte for byte."""

from __future__ import annotations

import json

import pytest

import strategist
from tests.intake.given import case_files, drawn, of_case
from tests.intake.writers import MAKES, Written


def taken(written: Written, read_point: str) -> strategist.Imported:
    mapping = json.dumps({"read_point": read_point} | written.mapping).encode()
    return strategist.import_log(
        written.logs,
        run_sheet=None if written.sheet is None else {"runs": written.sheet},
        tags={"tags": written.tags},
        mapping=strategist.parse_mapping(mapping, "mapping"),
    )


@pytest.mark.parametrize("read_point", ["sorting-belt", "shelf-cabinet"])
@pytest.mark.parametrize("make", MAKES)
def test_each_make_comes_to_the_same_case(make: str, read_point: str) -> None:
    made = drawn(read_point)
    written = MAKES[make](made)
    found = taken(written, read_point)
    extra = {name: getattr(written, name) for name in ("antenna", "all_levels", "t_s")}
    expected = case_files(written.facts or made, **extra)
    assert of_case(found.files) == expected
    assert found.tally.reads == found.tally.rows == len(made.reads)
    assert found.findings == ()


def test_there_are_twenty() -> None:
    assert len(MAKES) >= 20


@pytest.mark.parametrize("make", MAKES)
def test_the_mapping_written_is_enough_for_the_next_import(make: str) -> None:
    made = drawn("sorting-belt")
    written = MAKES[make](made)
    first = taken(written, made.read_point)
    mapping = strategist.parse_mapping(first.files["mapping.json"].encode(), "mapping")
    again = strategist.import_log(
        written.logs,
        run_sheet=None if written.sheet is None else {"runs": written.sheet},
        tags={"tags": written.tags},
        mapping=mapping,
    )
    assert again.files == first.files
