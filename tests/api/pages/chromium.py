"""A real browser, where there is one: what it says on its console, and whom it asks."""

from __future__ import annotations

import json
import shutil
import subprocess
import tarfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
BROWSER = next((found for name in NAMES if (found := shutil.which(name))), None)
_AXE = "axe-core@4"
_NPM_S = 60


@dataclass
class Seen:
    """What the browser did while a test used it."""

    page: Any
    own: str
    said: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)
    clicks: int = 0

    def click(self, role: str, name: str, **more: Any) -> None:
        self.clicks += 1
        self.page.get_by_role(role, name=name, **more).first.click()


@contextmanager
def opened(own: str, **options: Any) -> Iterator[Seen]:
    """A window on a server of ours; skips where no browser can be had."""
    library = pytest.importorskip("playwright.sync_api", reason="no playwright installed here")
    if BROWSER is None:
        pytest.skip("no Chromium on this machine")
    with library.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        context = browser.new_context(accept_downloads=True, **options)
        seen = Seen(context.new_page(), own)
        seen.page.set_default_timeout(300_000)
        seen.page.on("console", lambda message: seen.said.append(message.text))
        seen.page.on("pageerror", lambda error: seen.said.append(str(error)))
        seen.page.on("request", lambda asked: _note(seen, asked.url))
        try:
            yield seen
        finally:
            browser.close()


def _note(seen: Seen, address: str) -> None:
    if not address.startswith((seen.own, "data:")):
        seen.elsewhere.append(address)


def axe(folder: Path) -> str:
    """The source of axe-core, from the npm registry; skips where it cannot be had."""
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("no npm here to fetch axe-core with")
    try:
        command = [npm, "pack", "--silent", _AXE]
        done = subprocess.run(
            command, cwd=folder, capture_output=True, text=True, check=True, timeout=_NPM_S
        )
    except (subprocess.CalledProcessError, subprocess.TimeoutExpired):
        pytest.skip("axe-core cannot be fetched: no registry within reach")
    with tarfile.open(folder / done.stdout.split()[-1]) as packed:
        file = packed.extractfile("package/axe.min.js")
        assert file is not None
        return file.read().decode()


def grave(seen: Seen, source: str) -> list[str]:
    """What axe finds on the page that is serious or critical: the rule, and where."""
    seen.page.evaluate(source)
    found = json.loads(seen.page.evaluate("axe.run().then((found) => JSON.stringify(found))"))
    assert found["passes"], "it looked at something"
    return [
        f"{seen.page.url}: {one['id']} at {[node['target'] for node in one['nodes']][:3]}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
