"""The table of a batch: numbers in full, and no text that a spreadsheet would run."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import pytest

from strategist import (
    Options,
    choose,
    parse_results,
    read_case,
    report_document,
    run_batch,
    safe_cell,
)
from strategist.batch.tables import csv_row, table_row
from tests.batch.sites import rows, write_site
from tests.surveyed import as_surveyed

DEMO = Path(__file__).parents[2] / "cases/linen-service"


@pytest.mark.parametrize(
    "text",
    [
        "=1",
        "@x",
        " +1",
        "-1",
        "\t=1",
        "\tx",
        "\rx",
        "\nx",
        "\ufeff=1",
        "\u200b-1",
        "\uff1d1",
        "\uff20x",
    ],
)
def test_a_cell_that_would_be_a_formula(text: str) -> None:
    assert safe_cell(text) == f"'{text}"


@pytest.mark.parametrize("value", ["a", "a=1", "", " ", -1.5, 3, None])
def test_a_cell_that_is_none_stays_as_it_is(value: Any) -> None:
    assert safe_cell(value) == value


def test_numbers_stay_numbers() -> None:
    """Levels below 0 dBm are text of ours, and a program reads them back."""
    row = {"levels_dbm": "-3 -1", "predicted_dbm": "-1", "cutoff_dbm": -58.5, "stop_after": 1}
    assert csv_row(row) == row | {"cutoff_dbm": "-58.5"}
    assert csv_row({"loss": 0.1 + 0.2, "error": None}) == {"loss": repr(0.1 + 0.2), "error": None}


def test_a_score_has_its_columns() -> None:
    """Where antennas decide, the cutoff alone would mislead."""
    point = as_surveyed(read_case(DEMO)["cart-portal"])
    result = choose(point, Options(unseen=False, sturdier=False))
    row = table_row({"case": "demo", "read_point": point.name, "result": result.to_json()})
    strategy = result.strategy
    assert strategy.score is not None and row["cutoff_dbm"] is None
    assert row["cutoff_db"] == strategy.cutoff_db
    assert json.loads(row["score"]) == strategy.to_json()["score"]


def test_what_to_expect_has_its_columns(tmp_path: Path) -> None:
    point = read_case(write_site(tmp_path / "site", 1, policy={"aim": "expected"})).read_points[0]
    result = choose(point, Options(unseen=False, sturdier=False))
    row = table_row({"case": "demo", "read_point": point.name, "result": result.to_json()})
    assert result.expected is not None
    loss = result.expected.loss
    told = [row[f"expected_{name}"] for name in ("loss", "low", "high")]
    assert told == [loss.a_pass, loss.low, loss.high]


def test_the_table_counts_the_reasons_that_the_page_gives(tmp_path: Path) -> None:
    """Three read points with few passes each: as many reasons in the table as on the page."""
    folder = write_site(tmp_path / "site", 3)
    run_batch([folder], tmp_path / "out", Options(unseen=False))
    with (tmp_path / "out/summary.csv").open(newline="") as table:
        told = {row["read_point"]: row for row in csv.DictReader(table)}
    results = tmp_path / "out/results.jsonl"
    document = report_document(parse_results(results.read_bytes(), results.name))
    assert len(document["read_points"]) == 3
    for point in document["read_points"]:
        row = told[point["read_point"]]
        assert int(row["warnings"]) == len(point["visit"]) > 0
        assert row["visit"] == " ".join(point["visit"])


def test_the_page_of_a_batch_names_its_site_and_day(tmp_path: Path) -> None:
    folder = write_site(tmp_path / "site", 2)
    (folder / "site.json").write_text(
        json.dumps(json.loads((folder / "site.json").read_text()) | {"site": "Depot & Sons"})
    )
    run_batch([folder], tmp_path / "out", Options(unseen=False))
    assert {row["site"] for row in rows(tmp_path / "out")} == {"Depot & Sons"}
    page = (tmp_path / "out/report.html").read_text()
    assert ">Depot &amp; Sons</span>" in page
    assert re.search(r'Page made on <span data-path="/made_on">[0-9]{4}-[0-9]{2}-[0-9]{2}<', page)


def test_no_formula_in_summary_csv(tmp_path: Path) -> None:
    """A name that a spreadsheet would run is text in the table, and itself in the results."""
    folder = write_site(tmp_path / "site", 1)
    for file in folder.iterdir():
        file.write_text(file.read_text().replace("d00", "=1+1"))
    run_batch([folder], tmp_path / "out", Options(unseen=False, sturdier=False))
    with (tmp_path / "out/summary.csv").open(newline="") as table:
        (row,) = csv.DictReader(table)
    assert (row["read_point"], row["status"]) == ("'=1+1", "optimal")
    assert rows(tmp_path / "out")[0]["read_point"] == "=1+1"
