"""In a real browser: the whole job by clicks, without a word on the console, for everybody."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.api.live import ROOT, Live, client_token
from tests.api.pages.chromium import Seen, axe, grave, opened

CASE = ROOT / "cases/linen-service"
FILES = [str(CASE / name) for name in ("reads.csv", "roster.csv", "site.json")]


@dataclass(frozen=True)
class Server:
    """A server, the link that it printed (good once), and a token of the same client."""

    live: Live
    link: str
    token: str


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    data = tmp_path_factory.mktemp("pages") / "data"
    token = client_token(data)
    with Live(data, "--workers", "1") as live:
        assert live.process is not None and live.process.stdout is not None
        link = live.process.stdout.readline().split()[1]
        yield Server(live.ready(), link, token)


def enter(seen: Seen, server: Server) -> None:
    page = seen.page
    page.goto(f"{server.live.url}/sign-in")
    page.get_by_label("Token").fill(server.token)
    seen.click("button", "Sign in")
    page.get_by_role("heading", name="New survey").wait_for()


def solved(seen: Seen) -> None:
    """From the first page to the sheet of a read point."""
    page = seen.page
    seen.clicks += 1  # the dialogue that chooses the files
    page.set_input_files("#files", FILES)
    seen.click("button", "Take it in")
    page.wait_for_url("**/surveys/su_*")
    seen.clicks += 1
    page.locator("article", has_text="sorting-belt").get_by_role("button").click()
    page.get_by_role("navigation", name="About this answer").wait_for()


def test_the_whole_job_in_under_ten_clicks(server: Server) -> None:
    """From three files to a strategy that was compared with today's and is handed over."""
    with opened(server.live.url) as seen:
        page = seen.page
        page.goto(server.link)
        seen.click("button", "Sign in as planner")
        solved(seen)
        assert "Proven" in page.inner_text("#live")
        seen.click("link", "Compare")
        page.fill("#levels", "30")
        seen.click("button", "Compare")
        page.wait_for_url("**/compare/co_*")
        page.get_by_role("heading", name="From today to answer", exact=True).wait_for()
        seen.click("link", "Hand over")
        with page.expect_download() as download:
            seen.click("button", "Gen2 settings (JSON)")
        settings = json.loads(Path(download.value.path()).read_text())
        assert download.value.suggested_filename == "sorting-belt-gen2.json"
        assert settings["replay"]["same"] is True and settings["commands"]
        assert seen.clicks < 10, seen.clicks
        assert seen.said == [] and seen.elsewhere == []


def test_the_curve_by_keyboard_and_by_touch(server: Server) -> None:
    """The slider moves along it and keeps the focus; a point is a link; the address says which."""
    with opened(server.live.url) as seen:
        page = seen.page
        enter(seen, server)
        solved(seen)
        seen.click("link", "Trade-offs")
        seen.click("button", "Work out the trade-offs")
        page.locator(".curve").wait_for()
        middle = page.inner_text("#picked")
        page.focus("#weight")
        page.keyboard.press("End")
        page.wait_for_url("**weight=*")
        page.wait_for_function(
            "said => document.getElementById('picked').innerText != said", arg=middle
        )
        assert page.evaluate("document.activeElement.id") == "weight"
        fewest = page.inner_text("#picked").split()[0]
        assert float(fewest) < float(middle.split()[0])
        link_of = page.locator(".curve a").last
        words = link_of.get_attribute("aria-label")
        link_of.focus()
        page.keyboard.press("Enter")
        page.wait_for_url("**point=*")
        page.wait_for_function(
            "said => document.getElementById('picked').innerText != said", arg=f"{fewest} missed"
        )
        assert words.startswith(page.inner_text("#picked"))
        page.reload()
        assert words.startswith(page.inner_text("#picked"))
        page.focus("#use-masks")
        page.keyboard.press("Space")
        page.get_by_text("Without masks on tag data:").wait_for()
        assert page.evaluate("document.activeElement.id") == "use-masks"
        assert page.locator(".curve .beside").count() == 1
        assert seen.said == [] and seen.elsewhere == []


def test_without_script(server: Server) -> None:
    """Submitted, watched (the page asks again by itself) and read."""
    with opened(server.live.url, java_script_enabled=False) as seen:
        enter(seen, server)
        solved(seen)
        assert seen.page.locator("text=To set").first.is_visible()
        assert seen.said == [] and seen.elsewhere == []


def views(seen: Seen, server: Server) -> Iterator[str]:
    """Every kind of page, one after the other."""
    page = seen.page
    page.goto(seen.own + "/sign-in")
    yield "sign-in"
    enter(seen, server)
    solved(seen)
    answer = page.url
    page.locator(".plots svg").first.wait_for()
    yield "sheet"
    for name in ("", "/surveys", "/answers", "/batches", "/docs"):
        page.goto(seen.own + name)
        yield name or "first"
    page.goto(seen.own + "/batches")
    page.locator("tbody a").first.click()
    yield "batch"
    for name in ("trade-offs", "compare", "what-if", "hand-over"):
        page.goto(f"{answer}/{name}")
        yield name
    page.goto(f"{answer}/compare")
    page.fill("#levels", "30")
    page.get_by_role("button", name="Compare").click()
    page.wait_for_url("**/compare/co_*")
    page.locator("table").first.wait_for()
    yield "compared"
    page.goto(f"{answer}/trade-offs")
    page.get_by_role("button", name="Work out").click()
    page.locator(".curve").wait_for()
    yield "curve"
    page.goto(f"{answer}/what-if")
    page.get_by_role("button", name="What each technique buys").click()
    page.wait_for_url("**/what-if/tr_*")
    page.locator("table").first.wait_for()
    yield "each technique"
    page.goto(seen.own + "/surveys")
    page.locator("tbody a").first.click()
    yield "survey"


@pytest.mark.parametrize(
    "options",
    [
        {"viewport": {"width": 1280, "height": 900}},
        {"viewport": {"width": 360, "height": 800}, "color_scheme": "dark", "has_touch": True},
    ],
    ids=["wide", "narrow and dark"],
)
def test_nothing_serious_for_axe_and_nothing_too_wide(
    server: Server, tmp_path: Path, options: dict[str, Any]
) -> None:
    """Labels, names, contrast, order; and no page that has to be scrolled sideways."""
    source = axe(tmp_path)
    with opened(server.live.url, **options) as seen:
        found: list[str] = []
        for name in views(seen, server):
            found += grave(seen, source)
            wide = seen.page.evaluate("document.documentElement.scrollWidth - innerWidth")
            if wide > 0:
                found.append(f"{name} is {wide} too wide")
        assert found == []
        assert seen.said == [] and seen.elsewhere == []
