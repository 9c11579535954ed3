"""The plan of a site as a page: asked for on the page of its survey."""

from __future__ import annotations

import re
from pathlib import Path

from tests.api.pages.browsing import Browser
from tests.api.pages.test_pages import files, place
from tests.api.test_site_plans import small_site

NAMES = ("reads.csv", "roster.csv", "site.json")


def test_a_site_is_planned_on_the_page_of_its_survey(browser: Browser, tmp_path: Path) -> None:
    folder = small_site(tmp_path / "site")
    given = files(**{name: (folder / name).read_text() for name in NAMES})
    survey = place(browser.post("/surveys", **given))
    assert "Plan the whole site" in browser.get(survey).text
    wrong = browser.post(f"{survey}/site-plans", at_most="two", budget="")
    assert wrong.status_code == 422 and "At most is a number" in wrong.text
    plan = browser.get(place(browser.post(f"{survey}/site-plans", at_most="2", budget="400")))
    assert plan.status_code == 200
    words = re.sub(r"<[^>]*>|\s+", " ", plan.text)
    for said in ("at most 2 settings, budget 400", "What sharing costs", "masks, cutoff"):
        assert said in words, said
    assert "the option screen is left out" in words
