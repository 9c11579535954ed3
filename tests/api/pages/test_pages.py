"""The job, page by page, without script; every page with every other visitor; texts that bite."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from api.pages.routes import PAGES
from api.service import Service
from api.store.tokens import add_token
from tests.api.given import case_document
from tests.api.live import wait_until
from tests.api.pages.browsing import Browser
from tests.survey.cases import READS, ROSTER, SITE

BITES = '<script>alert("1")</script>&<img src=x onerror=alert(1)>'


def files(**named: str) -> dict[str, Any]:
    """Files of a form, with the names that a disk gives them."""
    return {"files": [(io.BytesIO(text.encode()), name) for name, text in named.items()]}


def case(**more: str) -> dict[str, Any]:
    return files(**{"reads.csv": READS, "roster.csv": ROSTER, "site.json": SITE} | more)


def document(given: dict[str, Any]) -> dict[str, Any]:
    return files(**{"case.json": json.dumps(given)})


def place(reply: TestResponse) -> str:
    assert reply.status_code == 303, reply.text
    return reply.headers["Location"]


@pytest.fixture
def survey(browser: Browser) -> str:
    """The page of a survey with one read point."""
    return place(browser.post("/surveys", **document(case_document()), label="a"))


@pytest.fixture
def answer(browser: Browser, survey: str) -> str:
    """The page of its answer."""
    asked = place(browser.post(f"{survey}/solve", point="0", seconds="30"))
    wait_until(lambda: "To set" in browser.get(asked).text)
    return asked


def test_from_files_to_settings(browser: Browser, answer: str) -> None:
    """What is understood, the sheet, and what is taken away."""
    wait_until(lambda: "being drawn" not in browser.get(answer).text)
    sheet = browser.get(answer)
    assert "Proven" in sheet.text and "<h3>To set</h3>" in sheet.text
    assert sheet.text.count("<svg") >= 2, "the plots of the survey, as on the report's page"
    kept = browser.get(f"{answer}/sheet.html")
    assert kept.headers["Content-Disposition"] == 'attachment; filename="gate-1.html"'
    assert "<h3>To set</h3>" in kept.text and re.search("Site: <[^>]*>Test<", kept.text)
    assert kept.text.count("<svg") >= 2, "plots of the survey"
    result = browser.get(f"{answer}/result.json").json
    assert result["status"] == "optimal" and result["read_point"] == "gate-1"
    gen2 = browser.post(f"{answer}/hand-over", form_of="gen2")
    assert gen2.json["format"] == "gen2" and gen2.json["replay"]["same"] is True
    llrp = browser.post(f"{answer}/hand-over", form_of="llrp", table="index,power_dbm\n1,15\n2,16")
    assert llrp.json["format"] == "llrp" and len(llrp.json["steps"]) >= 1
    listed = browser.get("/").text
    assert listed.count(answer) == 1 and "gate-1" in browser.get("/answers").text


def test_files_are_known_by_their_names(browser: Browser) -> None:
    """Whatever a browser adds to the name of a second download."""
    named = {"reads (1).csv": READS, "ROSTER.csv": ROSTER, "site(2).json": SITE}
    survey = browser.get(place(browser.post("/surveys", **files(**named))))
    assert survey.status_code == 200
    assert set(re.findall(r"files/([a-z.]+)", survey.text)) == {
        "reads.csv",
        "roster.csv",
        "site.json",
    }


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "No file was chosen"),
        (files(**{"reads.csv": READS}), "roster.csv"),
        (case(**{"notes.txt": "x"}), "notes.txt"),
        (case(**{"reads.csv": READS.replace("-", "x", 1)}), "line"),
        (document({"site": {}}), "roster"),
    ],
)
def test_what_is_wrong_with_files_is_said_on_the_page(
    browser: Browser, given: dict[str, Any], said: str
) -> None:
    refused = browser.post("/surveys", **given)
    assert refused.status_code == 422 and refused.mimetype == "text/html"
    assert said in refused.text and 'id="files"' in refused.text
    assert "None." in browser.get("/surveys").text, "nothing was kept"


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"form_of": "llrp"}, "power table"),
        ({"form_of": "llrp", "table": "1;15"}, "whole number, a comma"),
        ({"form_of": "llrp", "table": "1,3"}, "power_table"),
        ({"form_of": "other"}, "gen2"),
    ],
)
def test_settings_that_cannot_be_written(
    browser: Browser, answer: str, fields: dict[str, str], said: str
) -> None:
    refused = browser.post(f"{answer}/hand-over", **fields)
    assert refused.status_code == 422 and said in refused.text and "Gen2" in refused.text


def test_beside_the_settings_of_today(browser: Browser, answer: str) -> None:
    """By figures, by a text, by a file and by another answer: both sides, and what to change."""
    result = browser.get(f"{answer}/result.json").data
    mask = {"bank": "epc", "pointer": 32, "length": 8, "pattern": "30"}
    text = json.dumps({"levels_dbm": [16], "masks": [mask]})
    ways: list[dict[str, Any]] = [
        {"levels": "15, 16", "cutoff": "−70", "stop_after": "2", "name": "today"},
        {"strategy": text, "name": "a colleague's"},
        {"file": (io.BytesIO(result), "result.json")},
        {"other": answer.rsplit("/", 1)[-1]},
    ]
    for number, way in enumerate(ways):
        page = browser.shown(place(browser.post(f"{answer}/compare", **way)))
        assert "From " in page, way
        assert ("do the same in every pass" in page) == (number != 0)
    form = browser.get(f"{answer}/compare").text
    assert form.count("/compare/co_") == 4 and "a colleague&#39;s</a>" in form
    first = re.findall(r"/answers/\w+/compare/co_\w+", form)[0]
    assert place(browser.post(f"{first}/delete")) == f"{answer}/compare"
    assert browser.get(first).status_code == 404


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, "Give the power that is set today"),
        ({"levels": "strong"}, "are numbers"),
        ({"levels": "99"}, "levels_dbm"),
        ({"levels": "15.5"}, "15.5"),
        ({"strategy": "{"}, "the settings given"),
        ({"other": "st_0"}, "strategy_id"),
        ({"levels": "16", "name": "a\tb"}, "printable"),
    ],
)
def test_settings_that_cannot_be_compared(
    browser: Browser, answer: str, fields: dict[str, str], said: str
) -> None:
    """The form comes back with what was filled in, and what is wrong with it."""
    refused = browser.post(f"{answer}/compare", **fields)
    assert refused.status_code in (400, 422) and said in refused.text, refused.text
    assert 'id="levels"' in refused.text
    for value in fields.values():
        assert value.split("\t")[0] in refused.text


def test_a_batch_by_page_order_and_name(browser: Browser) -> None:
    given = document(case_document(12))
    survey = place(browser.post("/surveys", **given))
    batch = place(browser.post(f"{survey}/solve", seconds="30"))
    wait_until(lambda: "Done." in browser.get(batch).text)
    rows = re.findall(r'<th scope="row"><a href="(.*?)">(.*?)</a>', browser.get(batch).text)
    assert [name for _, name in rows] == [f"gate-{n}" for n in range(1, 13)]
    assert "To set" in browser.get(rows[3][0]).text
    text = browser.get(f"{batch}?sort=-name&q=gate-1").text
    assert re.findall(r">(gate-\d+)</a>", text) == ["gate-12", "gate-11", "gate-10", "gate-1"]
    assert "12 of 12" in browser.get(f"{batch}?state=done").text
    assert ">None.<" in browser.get(f"{batch}?state=failed").text
    assert browser.get(f"{batch}/results.csv").text.count("gate-") == 12
    assert browser.get(f"{batch}/sheets.html").text.count("<section") == 12
    assert browser.post(f"{rows[0][0]}/delete").status_code == 409
    assert place(browser.post(f"{batch}/delete")) == "/batches"
    assert browser.get(batch).status_code == 404


@pytest.mark.usefixtures("flask_client")  # where surveys are checked, and nothing is solved
def test_what_is_not_solved_can_be_stopped(app: Flask, service: Service) -> None:
    """A page that waits looks again by itself, without script, too; a stopped one does not."""
    browser = Browser(app).signed_in(add_token(service.database, "patient"))
    survey = place(browser.post("/surveys", **document(case_document(3))))
    answer = place(browser.post(f"{survey}/solve", point="1"))
    batch = place(browser.post(f"{survey}/solve"))
    for path in (answer, batch):
        page = browser.get(path).text
        assert "Waiting for a worker" in page and 'data-again="1000"' in page
        assert '<noscript><meta http-equiv="refresh"' in page
    assert browser.post(f"{survey}/delete").status_code == 409
    assert browser.post(f"{batch}/delete").status_code == 409
    part = re.findall(r"/answers/st_\w+", browser.get(batch).text)[0]
    assert browser.post(f"{part}/stop").status_code == 409, "the others would go with it"
    assert "with <a href=" in browser.get(part).text and "Stop" not in browser.get(part).text
    for path in (answer, batch):
        assert place(browser.post(f"{path}/stop")) == path
        page = browser.get(path).text
        assert "refresh" not in page and "data-again" not in page
    assert "3 cancelled" in browser.get(batch).text
    assert browser.get(f"{answer}/result.json").status_code == 404
    assert place(browser.post(f"{answer}/delete")) == "/answers"


def test_deleting(browser: Browser, survey: str, answer: str) -> None:
    assert place(browser.post(f"{answer}/delete")) == "/answers"
    assert browser.get(answer).status_code == 404
    assert "None." in browser.get("/batches").text, "its batch of one goes with it"
    assert place(browser.post(f"{survey}/delete")) == "/"
    assert browser.get(survey).status_code == 404


def addresses(ids: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Method and address of every page, with the first client's ids (what was asked by the part of
    the path before it)."""
    for page in PAGES:
        rule = page.rule.replace("<kind>", "templates")
        rule = re.sub(r"([\w-]+)/<asked_id>", lambda it: f"{it[1]}/{ids[it[1]]}", rule)
        yield page.method, re.sub(r"<(\w+)>", lambda name: ids[name[1]], rule)


@pytest.fixture
def ids(browser: Browser, survey: str, answer: str) -> dict[str, str]:
    """One of everything that a client may have."""
    batch = re.findall(r"/batches/ba_[0-9a-f]+", browser.get(answer).text)[0]
    made = {"survey_id": survey, "answer_id": answer, "batch_id": batch}
    for at, name, given in (
        (answer, "trade-offs", {}),
        (answer, "what-if", {"ask": "one", "stray": "2"}),
        (answer, "compare", {"levels": "16"}),
        (batch, "templates", {"at_most": "1"}),
        (batch, "cross-reads", {}),
        (survey, "site-plans", {}),
        (survey, "plans", {"point": "0"}),
    ):
        made[name] = place(browser.post(f"{at}/{name}", **given))
        browser.shown(made[name])
    made["plan_id"] = made["site-plans"]
    (file,) = re.findall(r"/files/([^\"]+)", browser.get(survey).text)
    return {name: path.rsplit("/", 1)[-1] for name, path in made.items()} | {"name": file}


def test_every_page_with_another_clients_session(
    app: Flask, browser: Browser, stranger: Browser, ids: dict[str, str]
) -> None:
    """What is another's is not there; and nobody without a session sees any page."""
    nobody = Browser(app)
    seen = 0
    for method, address in addresses(ids):
        has_id = re.search(r"_[0-9a-f]{32}", address) is not None
        if method == "GET":
            assert nobody.get(address).headers["Location"].startswith("/sign-in"), address
            shown = stranger.get(address)
        else:
            assert nobody.post(address).status_code == 401, address
            shown = stranger.post(address) if has_id else None
        if has_id:
            seen += 1
            assert shown is not None and shown.status_code == 404, address
            assert "gate-1" not in shown.text
        elif shown is not None:
            assert shown.status_code == 200 and "gate-1" not in shown.text, address
    assert seen > 28
    for method, address in addresses(ids):
        if method == "GET":
            assert browser.get(address).status_code in (200, 303), f"{address} is the owner's"


def test_scripts_in_texts_are_inert(browser: Browser) -> None:
    """In the names of the site, of a read point, of a pass, of a survey and of a file."""
    given = case_document(2)
    text = json.dumps(given).replace("gate-1", json.dumps(BITES)[1:-1])
    given = json.loads(text.replace('"Test"', json.dumps(BITES)))
    survey = place(browser.post("/surveys", **document(given), label=BITES))
    pages = [browser.get(path).text for path in (survey, "/", "/surveys")]
    answer = place(browser.post(f"{survey}/solve", point="0", seconds="30"))
    wait_until(lambda: "To set" in browser.get(answer).text)
    pages += [browser.get(f"{answer}{path}").text for path in ("", "/hand-over", "/sheet.html")]
    batch = place(browser.post(f"{survey}/solve", seconds="30"))
    wait_until(lambda: "Done." in browser.get(batch).text)
    pages += [browser.get(path).text for path in (batch, "/answers", "/batches")]
    pages.append(browser.post("/surveys", **files(**{BITES: "x"})).text)
    for page in pages:
        assert "&lt;script&gt;" in page and "<script>alert" not in page and "<img" not in page
    assert "<" not in browser.get(f"{answer}/sheet.html").headers["Content-Disposition"]


def test_every_page_has_the_policy_that_lets_no_script_in(browser: Browser, answer: str) -> None:
    for path in ("/", "/surveys", answer, "/sign-in", "/answers/st_0"):
        policy = browser.get(path).headers["Content-Security-Policy"]
        assert "unsafe" not in policy and "default-src 'none'" in policy and "*" not in policy
        assert browser.get(path).headers["X-Frame-Options"] == "DENY"
    page = browser.get(answer).text
    assert not re.search(
        r" style=| on[a-z]+=|<style|<script>|javascript:|https?://(?!www\.w3)", page
    )


def test_the_first_view_is_light(browser: Browser) -> None:
    """With all that goes with it."""
    page = browser.get("/")
    files = [browser.get(path) for path in re.findall(r'(?:href|src)="(/pages/[^"]+)"', page.text)]
    assert len(files) == 3
    assert sum(len(one.data) for one in (page, *files)) < 60_000


def test_the_files_that_go_with_pages(browser: Browser) -> None:
    """Ours alone, kept by browsers for as long as they stay the same."""
    for path in re.findall(r'(?:href|src)="(/pages/[^"]+)"', browser.get("/").text):
        found = browser.get(path)
        assert found.status_code == 200 and "immutable" in found.headers["Cache-Control"]
        assert "http" not in found.text.replace("http-equiv", "")
    assert browser.get("/pages/none.css").status_code == 404
    assert browser.get("/pages/..%2Frender.py").status_code == 404
