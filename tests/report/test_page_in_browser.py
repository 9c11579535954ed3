"""The page as a browser lays it out: nothing fetched, no error, nothing wider than the window."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from strategist import (
    Backing,
    GivenResult,
    Strategy,
    evaluate_at,
    read_case,
    report_document,
    report_page,
)
from strategist.tags.mask import Mask
from tests.test_commands import case

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
BROWSER = next((found for name in NAMES if (found := shutil.which(name))), None)
pytestmark = pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine")

# The tests may run as root, for whom there is no sandbox; the browser asks for nothing of its own.
QUIET = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run")

A4_PX = round((210 - 2 * 13) / 25.4 * 96)  # between the margins of the printed page
# In a frame as wide as the window to be: what sticks out of it, written where --dump-dom shows it.
PROBE = """<script>
const wide = [...document.querySelectorAll('body *')].filter(e => !e.closest('svg') && e.tagName
  !== 'SCRIPT' && (e.getBoundingClientRect().right > innerWidth + 1 ||
  (e.tagName === 'TABLE' && e.scrollWidth > e.clientWidth + 1))).map(e => e.outerHTML.slice(0, 90));
parent.document.getElementById(window.name).title = JSON.stringify([innerWidth,
  document.documentElement.scrollWidth, wide]);
</script></body>"""


def dom(page: Path, *flags: str) -> subprocess.CompletedProcess[str]:
    assert BROWSER is not None
    command = [BROWSER, "--headless", "--dump-dom", *QUIET, *flags]
    profile = f"--user-data-dir={page.parent / 'profile'}"
    return subprocess.run(
        [*command, profile, page.as_uri()], capture_output=True, text=True, check=True, timeout=600
    )


def probed(folder: Path, pages: dict[int, str]) -> dict[int, list[Any]]:
    """[inner width, scroll width, what sticks out] of pages in windows of so many pixels."""
    frames = []
    for width, page in pages.items():
        document = re.sub(r"<meta http-equiv=[^>]*>|content-visibility: auto;", "", page)
        document = document.replace("</body>", PROBE)
        style = f'style="width:{width}px;height:900px;border:0"'
        names = f'id="w{width}" name="w{width}"'
        frames.append(f'<iframe {names} {style} srcdoc="{html.escape(document)}"></iframe>')
    file = folder / "frames.html"
    file.write_text(f"<!doctype html><meta charset=utf-8>{''.join(frames)}")
    shown = dom(file, "--hide-scrollbars").stdout
    found = re.findall(r'<iframe id="w([0-9]+)"[^>]*? title="([^"]*)"', shown)
    return {int(width): json.loads(html.unescape(title)) for width, title in found}


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Long names, a long mask, a ladder, and every plot that there is."""
    pytest.importorskip("matplotlib")
    name = "gate of the soiled linen at the far end of the long corridor"
    folder = case(tmp_path_factory.mktemp("browser") / "site", {name: {}})
    point = read_case(folder).read_points[0]
    mask = Mask("epc", 32, 96, "303400000000000000000001", True)
    strategy = Strategy((20.0, 23.0), 2, -55.0, (mask, Mask("tid", 0, 8, "E2", join="or")))
    given = GivenResult("x", "site", name, evaluate_at(point, strategy).to_json())
    frontier = {
        "read_point": name,
        "points": [{"missed": 0, "stray": 1, "loss": 1.0, "best_for": None}],
    }
    backing = Backing([("site", point)], [(None, Strategy((20.0,)))], [frontier])
    document = report_document([given], backing)
    document["read_points"][0]["result"]["margins"]["power"]["wanted"]["epc"] = 62 * "A5"
    for one in document["read_points"][0]["picture"]["techniques"]:  # as large as they may be
        one |= {name: 123456 for name, value in one.items() if isinstance(value, int)}
    return report_page(document)


def logged(file: Path, page: str) -> list[str]:
    """What the browser writes on its console about a page."""
    file.write_text(page)
    lines = dom(file, "--enable-logging=stderr").stderr.splitlines()
    return [line for line in lines if "CONSOLE" in line]


def test_nothing_leaves_and_no_error_is_logged(page: str, tmp_path: Path) -> None:
    """The page forbids itself to ask for anything: a browser logs what it refuses, as it does in
    the second page, and the first has nothing to be refused."""
    assert logged(tmp_path / "page.html", page) == []
    asks = '<img src="http://127.0.0.1:9/x.png"><script>document.title = ""</script></body>'
    refused = logged(tmp_path / "control.html", page.replace("</body>", asks))
    assert len(refused) == 2 and all("Content Security Policy" in line for line in refused)


def test_it_fits_the_window_and_the_paper(page: str, tmp_path: Path) -> None:
    """For paper the rules for print, in a window as wide as the paper between its margins."""
    printed = page.replace("@media print", "@media all").replace("@media screen", "@media print")
    assert printed != page
    pages = {360: page, 1280: page, A4_PX: printed}
    assert probed(tmp_path, pages) == {width: [width, width, []] for width in pages}
    torn = page.replace("<h1>", '<p style="width:500px">wide</p><h1>')
    (found,) = probed(tmp_path, {360: torn}).values()
    assert found[1] > 360 and len(found[2]) == 1
