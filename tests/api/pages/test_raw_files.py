"""Raw files at the pages: dropped, read, and what was understood of them shown."""

from __future__ import annotations

import io
import json
import re

from cases.raw_log import FOLDER
from tests.api.given import case_document
from tests.api.pages.browsing import Browser
from tests.api.test_raw_files import LOG, TAGS


def part(text: str | bytes, name: str) -> tuple[io.BytesIO, str]:
    return io.BytesIO(text.encode() if isinstance(text, str) else text), name


def test_what_was_understood_is_shown(browser: Browser) -> None:
    """Of the demo's raw files: columns, units, what was assumed; and the case can be solved."""
    raw = {name: (FOLDER / f"{name}.csv").read_bytes() for name in ("log", "runs", "tags")}
    made = browser.post(
        "/surveys",
        log=[part(raw["log"], "reader 3.csv")],
        run_sheet=part(raw["runs"], "runs.csv"),
        tags=part(raw["tags"], "tags.csv"),
        read_point="soiled-chute",
    )
    assert made.status_code == 303, made.text
    page = browser.get(made.headers["Location"]).text
    assert "How the raw files were read" in page
    assert "Leistung (mW)" in page and "power (mw)" in page
    assert "the times on the run sheet" in page
    assert "soiled-chute" in page and "Solve this read point" in page
    mapping = re.search(r'href="([^"]*mapping.json)"', page)
    assert mapping is not None and browser.get(mapping[1]).json["read_point"] == "soiled-chute"


def test_a_survey_of_a_case_says_nothing_of_raw_files(browser: Browser) -> None:
    case = part(json.dumps(case_document()), "case.json")
    survey = browser.post("/surveys", files=[case]).headers["Location"]
    assert "How the raw files were read" not in browser.get(survey).text


def test_what_cannot_be_read_is_said_on_the_first_page(browser: Browser) -> None:
    """With the file and what to write into a mapping; texts of the log stay text."""
    bad = LOG.replace("epc", "<script>")
    refused = browser.post("/surveys", log=[part(bad.replace("3034", "zz"), "log.csv")])
    assert refused.status_code == 422
    assert "mapping file" in refused.text and "<script>&" not in refused.text
    assert "&lt;script&gt;" in refused.text
    twice = browser.post(
        "/surveys", log=[part(LOG, "a")], tags=[part(TAGS, "b"), part(TAGS, "c")], read_point="gate"
    )
    assert twice.status_code == 422 and "2 times" in twice.text
