"""The page of a batch as the API sends it: styled, by the policy that the page gives itself."""

from __future__ import annotations

import http.server
import shutil
import subprocess
import threading
from pathlib import Path
from typing import Any

import pytest

from strategist import page_policy
from tests.api.given import Client

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
BROWSER = next((found for name in NAMES if (found := shutil.which(name))), None)
QUIET = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run")


@pytest.fixture
def sent(client: Client, survey: str) -> Any:
    """The page of a batch whose only read point nobody has solved yet."""
    made = client.post("/v1/batches", {"items": [{"survey": survey}]})
    page = client.get(f"{made.headers['Location']}/results", Accept="text/html")
    assert page.status_code == 200 and page.mimetype == "text/html"
    return page


def test_the_header_is_the_page_s_own_policy_and_stricter_in_frames_alone(sent: Any) -> None:
    policy = sent.headers["Content-Security-Policy"]
    assert policy.startswith(page_policy(sent.text)) and "unsafe" not in policy
    assert "style-src 'sha256-" in policy and "frame-ancestors 'none'" in policy


@pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine")
def test_a_browser_refuses_nothing_of_pages_that_the_api_sends(
    client: Client, sent: Any, tmp_path: Path
) -> None:
    """With the header of all other answers it would refuse the style, and says so."""
    bare = {"Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'"}
    docs = client.get("/docs/reference")
    pages = {"/sent": (sent.text, sent.headers), "/docs": (docs.text, docs.headers)}
    pages["/bare"] = (sent.text, bare)
    refused = refusals(pages, tmp_path)
    assert refused["/sent"] == refused["/docs"] == []
    assert any("style" in line for line in refused["/bare"])


def refusals(pages: dict[str, Any], folder: Path) -> dict[str, list[str]]:
    """What Chromium writes on its console about each page, served with its policy."""

    class Pages(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            text, headers = pages.get(self.path, ("", {}))
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            policy = headers.get("Content-Security-Policy", "default-src 'none'")
            self.send_header("Content-Security-Policy", policy)
            self.end_headers()
            self.wfile.write(text.encode())

        def log_message(self, format: str, *args: Any) -> None:
            pass

    assert BROWSER is not None
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Pages)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        found = {}
        for path in pages:
            address = f"http://127.0.0.1:{server.server_address[1]}{path}"
            profile = f"--user-data-dir={folder / 'profile'}"
            command = [BROWSER, "--headless", "--dump-dom", "--enable-logging=stderr", *QUIET]
            done = subprocess.run(
                [*command, profile, address], capture_output=True, text=True, check=True
            )
            found[path] = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
        return found
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
