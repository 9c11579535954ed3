"""A plan of measurements from the page of a survey: its run sheet, and the settings once it is
enough."""

from __future__ import annotations

import json
import re

from tests.api.given import case_document
from tests.api.pages.browsing import Browser
from tests.api.pages.test_pages import document, files, place, survey
from tests.api.test_plans import in_part

__all__ = ["survey"]  # a fixture


def test_what_to_measure_next_is_had_on_the_page_of_a_survey(browser: Browser) -> None:
    survey = place(browser.post("/surveys", **document(in_part())))
    page = browser.get(survey).text
    assert "What to measure next" in page and "pairs of pass and level were not tried" in page
    wrong = browser.post(f"{survey}/plans", point="0", within="a lot")
    assert wrong.status_code == 422 and "Within is a number" in wrong.text
    plan = place(browser.post(f"{survey}/plans", point="0", minutes_a_pass="2"))
    words = re.sub(r"<[^>]*>|\s+", " ", browser.shown(plan))
    for said in ("gate-1: a first look at few levels", "(67 %)", "Run sheet to print", "p3"):
        assert said in words, said
    sheet = browser.get(f"{plan}/run-sheet.html")
    assert sheet.status_code == 200 and sheet.text.count('class="box"') == 2
    assert place(browser.post(f"{plan}/delete")) == survey
    assert browser.get(plan).status_code == 404


def test_of_a_site_alone_it_says_what_to_measure_first(browser: Browser) -> None:
    site = {"read_points": {"bay-1": {"levels_dbm": [15, 20, 25, 30]}}}
    page = browser.post("/surveys", **files(**{"site.json": json.dumps(site)})).text
    words = re.sub(r"<[^>]*>|\s+", " ", page)
    assert "bay-1" in words and "59 passes at 15 / 20 / 25 / 30 dBm" in words
    given = {"read_point": "bay-1", "policy": json.dumps(site["read_points"]["bay-1"])}
    sheet = browser.post("/first-plans/run-sheet.html", **given)
    assert sheet.text.count('class="box"') == 59 * 4
    for wrong in ("[]", json.dumps({"read_points": {"bay-1": {}}})):
        refused = browser.post("/surveys", **files(**{"site.json": wrong}))
        assert refused.status_code == 422 and "New survey" in refused.text


def test_where_it_is_enough_the_settings_are_one_step_away(browser: Browser, survey: str) -> None:
    plan = place(browser.post(f"{survey}/plans", point="0"))
    page = browser.shown(plan)
    assert "enough is measured" in page and "To set" in page
    made = browser.post(f"{plan}/settings", form_of="gen2")
    assert made.mimetype == "application/json"
    assert json.loads(made.text)["replay"]["strategy"]["levels_dbm"]
    refused = browser.post(f"{plan}/settings", form_of="llrp", table="")
    assert refused.status_code == 422 and "power table" in refused.text


def test_where_no_strategy_keeps_the_limits_nothing_is_to_be_installed(browser: Browser) -> None:
    given = case_document()
    given["roster"].append(
        {"read_point": "gate-1", "pass_id": "p1", "epc": "32FF", "role": "wanted"}
    )
    (policy,) = given["site"]["read_points"].values()
    policy["limits"] = {"missed_rate_max": 0}
    plan = place(
        browser.post(f"{place(browser.post('/surveys', **document(given)))}/plans", point="0")
    )
    words = re.sub(r"<[^>]*>|\s+", " ", browser.shown(plan))
    assert "No strategy keeps the hard limits" in words and "Do not install" in words
    assert "To set" not in words and "Gen2" not in words
    policy["limits"] = {"missed_rate_max": 0.5}
    plan = place(
        browser.post(f"{place(browser.post('/surveys', **document(given)))}/plans", point="0")
    )
    words = re.sub(r"<[^>]*>|\s+", " ", browser.shown(plan))
    assert "The strategy in hand keeps the hard limits" in words and "To set" in words
