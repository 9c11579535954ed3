"""The plan of a site as a page: asked for on the page of its survey."""

from __future__ import annotations

import json
import re
from pathlib import Path

from tests.api.pages.browsing import Browser
from tests.api.pages.test_pages import files, place

DOORS = Path(__file__).parent.parent.parent.parent / "cases/two-doors"
NAMES = ("reads.csv", "roster.csv", "site.json")


def test_a_site_is_planned_on_the_page_of_its_survey(browser: Browser) -> None:
    texts = {name: (DOORS / name).read_text() for name in NAMES}
    rule = {"read_points": ["bag-door", "cart-door"]}
    site = json.loads(texts["site.json"]) | {"arbitration": {"doors": rule}}
    given = files(**texts | {"site.json": json.dumps(site)})
    survey = place(browser.post("/surveys", **given))
    page = browser.get(survey).text
    assert "Plan the whole site" in page
    wrong = browser.post(f"{survey}/site-plans", at_most="two", budget="")
    assert wrong.status_code == 422 and "At most is a number" in wrong.text
    plan = browser.get(place(browser.post(f"{survey}/site-plans", at_most="2", budget="400")))
    assert plan.status_code == 200
    words = re.sub(r"<[^>]*>|\s+", " ", plan.text)
    for said in (
        "at most 2 settings, budget 400",
        "Setting 2",
        "door-reader",
        "What the host discards",
        "so there is nothing to discard",
        "Losses are those",
    ):
        assert said in words, said
    assert "the option screen is left out" in words
