"""The curve that can be walked, what-ifs, and what is asked of a whole batch."""

from __future__ import annotations

import json
import re
import threading
from typing import Any
from xml.etree import ElementTree

import pytest

from api.pages.curve import (
    Losses,
    best_at,
    curve_of,
    follows,
    in_100_passes,
    losses_at,
    ratios_of,
    sturdiest,
)
from api.service import Service
from api.work import Task
from strategist.errors import InputError
from tests.api.given import case_document
from tests.api.live import wait_until
from tests.api.pages.browsing import Browser
from tests.api.pages.test_pages import document, place

POINTS: list[dict[str, Any]] = [
    {"missed": 2, "stray": 57, "guarded": (4, 60), "best_for": {"low": 17.0}},
    {"missed": 3, "stray": 52, "guarded": (5, 56), "best_for": None},
    {"missed": 6, "stray": 5, "guarded": (18, 17), "best_for": {"low": 0.5, "high": 17}},
    {"missed": 16, "stray": 0, "guarded": (20, 2), "best_for": {"low": 0, "high": 0.5}},
]
WEIGHTS = {"missed": 6.0, "stray": 2.0}
for _one in POINTS:
    _one["guarded_missed"], _one["guarded_stray"] = _one.pop("guarded")
    if _one["best_for"]:
        _one["best_for"].setdefault("high", None)


@pytest.mark.parametrize(
    ("ratio", "best"), [(0.1, 3), (0.5, 2), (0.51, 2), (10, 2), (12.99, 2), (13.01, 0), (100, 0)]
)
def test_the_best_point_for_a_ratio(ratio: float, best: int) -> None:
    """By hand: 6r + 5 = 2r + 57 at r = 13, 16r = 6r + 5 at r = 0.5, where fewer misses win."""
    assert best_at(POINTS, ratio) == best


def test_the_slider_goes_past_all_that_changes_the_best() -> None:
    low, high = ratios_of(POINTS, 1.5)
    assert best_at(POINTS, 10**low) == 3 and best_at(POINTS, 10**high) == 0
    assert 10**low < 0.5 and 10**high > 17
    assert ratios_of(POINTS[1:2], 1.0) == (-1.2, 2.2)


def test_places_of_the_picture() -> None:
    """More is further right, higher up; guarded above fitted; all within the panels."""
    curve = curve_of(POINTS, losses_at(POINTS, WEIGHTS, 3.0))
    assert [one.number for one in curve.marks] == [0, 1, 2, 3]
    assert sorted(one.x for one in curve.marks) == [one.x for one in curve.marks]
    assert sorted(one.y for one in curve.marks) == [one.y for one in curve.marks]
    for one in curve.marks:
        assert 84 <= one.x <= 622 and 16 <= one.y <= 236
        assert 280 <= one.guarded_y < one.loss_y <= 420
    assert [tick.words for tick in curve.across] == ["0", "5", "10", "15", "20"]
    assert curve.stairs.split()[:3] == ["137.8,27", "164.7,27", "164.7,45.3"]


def test_both_losses_follow_the_slider() -> None:
    """By hand: at 3 strays for a miss, each stray 2, the third point loses 2 (3·6 + 5) = 46 and,
    under the guard, 2 (3·18 + 17) = 142, the fourth 96 and 124; at a tenth of it the third 13.6."""
    losses = losses_at(POINTS, WEIGHTS, 3.0)
    assert losses[2:] == [Losses(46.0, 142.0), Losses(96.0, 124.0)]
    assert best_at(POINTS, 3.0) == 2 and sturdiest(losses) == 3, "the optimum is a fragile one"
    assert losses_at(POINTS, WEIGHTS, 0.3)[2] == Losses(13.6, 44.8)
    older = [{"missed": 1, "stray": 2, "loss": 7, "guarded_loss": 9}]
    assert losses_at(older, WEIGHTS, 0.3) == [Losses(7, 9)] and not follows(older)


def test_a_single_point_without_any_fault_is_drawn() -> None:
    none = {"missed": 0, "stray": 0, "guarded_missed": 0, "guarded_stray": 0, "best_for": None}
    curve = curve_of([none], losses_at([none], WEIGHTS, 3.0))
    assert (curve.marks[0].x, curve.marks[0].y, curve.marks[0].loss_y) == (84, 236, 420)
    assert [tick.words for tick in curve.up] == ["0", "1"]


def conflict() -> dict[str, Any]:
    """A read point at which a tag missed can be traded for strays: some strays are the stronger."""
    given = case_document(passes=4)
    given["site"]["read_points"]["gate-1"]["allow"] = ["power", "ladder", "cutoff"]
    for row in given["reads"]:
        if row["pass_id"] == "p1" and row["epc"].startswith("31"):
            row["rssi_dbm"] = -40.0
        if row["pass_id"] == "p1" and row["epc"].startswith("30"):
            row["rssi_dbm"] = -70.0
    given["reads"] = [
        row for row in given["reads"] if row["power_dbm"] == 16 or row["pass_id"] != "p1"
    ]
    return given


@pytest.fixture
def answer(browser: Browser) -> str:
    survey = place(browser.post("/surveys", **document(conflict())))
    asked = place(browser.post(f"{survey}/solve", point="0", seconds="30"))
    wait_until(lambda: "To set" in browser.get(asked).text)
    return asked


def test_the_curve_is_walked_by_links_and_by_the_slider(browser: Browser, answer: str) -> None:
    assert "Work out the trade-offs" in browser.get(f"{answer}/trade-offs").text
    walk = place(browser.post(f"{answer}/trade-offs"))
    assert place(browser.get(f"{answer}/trade-offs")) == walk, "it is worked out once"
    page = browser.shown(walk)
    svg = ElementTree.fromstring(
        re.findall(r"<svg.*?</svg>", page, re.S)[0].replace(" data-swap", "")
    )
    links = list(svg.iter("a"))
    assert len(links) >= 2
    for link in links:
        words = link.attrib["aria-label"]
        picked = browser.get(f"{walk}{link.attrib['href']}").text
        counts = re.match(r"\d+ missed, \d+ stray", words)
        assert counts and f'id="picked">{counts[0]}</h2>' in picked
        assert picked.count('aria-current="true"') == 1
    low, high = re.findall(r'min="([-.\d]+)" max="([-.\d]+)"', page)[0]
    ends = [
        re.findall(r'id="picked">(\d+) missed, (\d+)', browser.get(f"{walk}?weight={x}").text)
        for x in (low, high)
    ]
    assert int(ends[0][0][0]) > int(ends[1][0][0]) and int(ends[0][0][1]) < int(ends[1][0][1])


@pytest.mark.parametrize("query", ["weight=x", "weight=inf", "weight=1e9", "point=99", "point=-1"])
def test_nonsense_in_the_address_shows_a_point_all_the_same(
    browser: Browser, answer: str, query: str
) -> None:
    walk = place(browser.post(f"{answer}/trade-offs"))
    assert 'id="picked"' in browser.shown(f"{walk}?{query}")


def test_a_point_is_compared_and_handed_over(browser: Browser, answer: str) -> None:
    walk = place(browser.post(f"{answer}/trade-offs"))
    pages = [browser.shown(f"{walk}?point={n}") for n in (0, 1)]
    other = next(page for page in pages if "Compare with the answer" in page)
    fields = dict(re.findall(r'name="(name|strategy)" value="(.*?)"', other))
    fields["strategy"] = fields["strategy"].replace("&#34;", '"')
    compared = browser.shown(place(browser.post(f"{answer}/compare", **fields)))
    assert f"From {fields['name']} to answer" in compared
    given = json.loads(fields["strategy"])
    settings = browser.post(f"{answer}/hand-over", form_of="gen2", strategy=fields["strategy"])
    assert settings.json["replay"]["strategy"]["levels_dbm"] == given["levels_dbm"]
    bad = browser.post(f"{answer}/hand-over", form_of="gen2", strategy='{"levels_dbm": []}')
    assert bad.status_code == 422 and "levels_dbm" in bad.text


ALL_ON = {f"{what}_{one}": "1" for what in ("has", "allow") for one in ("power", "ladder", "masks")}


def test_what_if(browser: Browser, answer: str) -> None:
    """A technique switched off, what planners ask most, and each technique, told apart."""
    off = {name: value for name, value in ALL_ON.items() if name != "allow_ladder"}
    path = place(browser.post(f"{answer}/what-if", ask="one", cable="−1", stray="2", **off))
    page = browser.shown(path)
    assert "without ladder, loss.stray 2.0, cable -1 dB" in page
    assert "becomes power, cutoff<" in page
    usual = browser.shown(place(browser.post(f"{answer}/what-if", ask="usual")))
    assert "2 dB more cable loss" in usual and "as it is" in usual
    each = browser.shown(place(browser.post(f"{answer}/what-if", ask="techniques")))
    assert "cutoff alone" in each and "all together" in each
    listed = browser.get(f"{answer}/what-if").text
    assert listed.count("/what-if/tr_") == 3 and path in listed


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        (ALL_ON, "Nothing was changed"),
        (ALL_ON | {"mask_slots": "many"}, "not a whole number"),
        (ALL_ON | {"mask_slots": "99"}, "mask_slots"),
        (ALL_ON | {"stray": "nan"}, "not finite"),
        (ALL_ON | {"cable": "99"}, "added_cable_loss_db"),
    ],
)
def test_what_cannot_be_asked(
    browser: Browser, answer: str, fields: dict[str, str], said: str
) -> None:
    """What was filled in stays in the form."""
    refused = browser.post(f"{answer}/what-if", ask="one", **fields)
    assert refused.status_code in (400, 422) and said in refused.text, refused.text
    assert "What then?" in refused.text
    for name in fields.keys() - ALL_ON.keys():
        assert f'value="{fields[name]}"' in refused.text


def test_answers_of_one_read_point_are_not_shown_at_another(browser: Browser, answer: str) -> None:
    survey = place(browser.post("/surveys", **document(case_document())))
    other = place(browser.post(f"{survey}/solve", point="0", seconds="30"))
    wait_until(lambda: "To set" in browser.get(other).text)
    walk = place(browser.post(f"{answer}/trade-offs")).rsplit("/", 1)[-1]
    compared = place(browser.post(f"{answer}/compare", levels="16")).rsplit("/", 1)[-1]
    for path in (f"trade-offs/{walk}", f"compare/{compared}"):
        browser.shown(f"{answer}/{path}")
    assert browser.get(f"{other}/trade-offs/{walk}").status_code == 404
    assert browser.get(f"{other}/what-if/{walk}").status_code == 404
    assert browser.get(f"{other}/compare/{compared}").status_code == 404
    assert "Work out" in browser.get(f"{other}/trade-offs").text


def test_all_read_points_of_a_batch_together(browser: Browser) -> None:
    given = case_document(3)
    for row in given["roster"]:
        if row["read_point"] == "gate-2":  # wanted at the first gate, heard at the second
            row["role"] = "stray" if row["epc"].startswith("30") else "wanted"
    survey = place(browser.post("/surveys", **document(given)))
    batch = place(browser.post(f"{survey}/solve", seconds="30"))
    wait_until(lambda: "Done." in browser.get(batch).text)
    found = browser.shown(place(browser.post(f"{batch}/templates", at_most="2")))
    assert "At most 2 templates" in found and "Template 1" in found and "gate-3" in found
    reads = browser.shown(place(browser.post(f"{batch}/cross-reads")))
    assert re.search(r"gate-1</span></th><td[^>]*><span>gate-2", reads)
    page = browser.get(f"{batch}/together").text
    assert page.count("/templates/te_") == 1 and page.count("/cross-reads/c") == 1
    for wrong, said in (("x", "whole number"), ("0", "at_most")):
        refused = browser.post(f"{batch}/templates", at_most=wrong)
        assert refused.status_code == 422 and said in refused.text
    other = place(browser.post(f"{survey}/solve", point="0", seconds="30"))
    wait_until(lambda: "To set" in browser.get(other).text)
    another = re.findall(r"/batches/ba_\w+", browser.get(other).text)[0]
    path = re.findall(r"/templates/te_\w+", page)[0]
    assert browser.get(f"{another}{path}").status_code == 404


def test_what_takes_long_is_watched(
    browser: Browser, answer: str, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The address is there at once, says how far it is, and can be left; or why it is refused."""
    monkeypatch.setattr("api.pages.later._PATIENCE_S", 0.0)
    monkeypatch.setattr("api.work._VERBS", {"comparison": _slow, "trade_offs": _refused})
    compared = place(browser.post(f"{answer}/compare", levels="16"))
    wait_until(lambda: "3 of 7" in browser.get(compared).text)
    page = browser.get(compared).text
    assert "Being worked out." in page and 'data-again="1000"' in page and "refresh" in page
    for words, value in (("loss of the best so far", 5), ("no settings are below", 2)):
        assert f"{words}</dt><dd>{value}<" in page
    assert "being worked out" in browser.get(f"{answer}/compare").text
    assert place(browser.post(f"{compared}/delete")) == f"{answer}/compare"
    wait_until(lambda: browser.get(compared).status_code == 404)
    _ENOUGH.set()
    asked = place(browser.post(f"{answer}/what-if", ask="one", stray="3"))
    wait_until(lambda: "The request is invalid" in browser.get(asked).text)
    assert "What then?" in browser.get(asked).text, "with the form"


_ENOUGH = threading.Event()


def _slow(task: Task) -> dict[str, Any]:
    while not _ENOUGH.wait(0.1):
        task.tell({"elapsed_s": 1.5, "loss": 5.0, "bound": 2.0, "stage": "score 3 of 7"})
    return {}


def _refused(task: Task) -> dict[str, Any]:
    raise InputError.one("set", "3", "less")


def test_techniques_are_switched_off_on_the_curve(browser: Browser, answer: str) -> None:
    """The curve without stands beside that of all, at the same weights; it is asked for once."""
    whole = place(browser.post(f"{answer}/trade-offs"))
    page = browser.get(f"{whole}?weight=0.3").text
    names = re.findall(r'type="checkbox" id="use-(\w+)"[^>]* checked', page)
    assert names == ["power", "ladder", "cutoff"], (
        "what the policy allows; one antenna is no choice"
    )
    on = {f"has_{one}": "1" for one in names} | {"allow_power": "1", "weight": "0.3"}
    without = place(browser.post(f"{answer}/trade-offs", **on))
    assert without != whole and without.endswith("?weight=0.3")
    page = browser.get(without).text
    assert "Without step ladder, signal cutoff:" in page and "With all techniques the best" in page
    assert 'class="beside"' in page and page.count(" checked>") == 1
    assert place(browser.post(f"{answer}/trade-offs", **on)) == without
    every = on | {f"allow_{one}": "1" for one in names}
    assert place(browser.post(f"{answer}/trade-offs", **every)) == f"{whole}?weight=0.3"
    assert place(browser.get(f"{answer}/trade-offs")) == whole
    assert "trade-offs without" not in browser.get(f"{answer}/what-if").text
    assert browser.get(f"{answer}/sheet.html").text.count("<svg") >= 3


def test_a_curve_over_copies_is_counted_in_100_passes() -> None:
    means = {"missed": 0.04, "stray": 0.125, "loss": 0.45, "guarded_loss": 0.9}
    point = {"missed": 1, "stray": 3, "loss": 11.0, "guarded_loss": 20.0, "guarded_missed": 2}
    over = {"passes": 600, "wanted": 1200, "stray": 1800}
    weights = {"missed": 5.0, "stray": 2.0}
    frontier = {"points": [{**point, "per_pass": means}], "over": over, "weights": weights}
    shown = in_100_passes(frontier)
    (one,) = shown["points"]
    assert (one["missed"], one["stray"], one["loss"]) == (4, 12.5, 45)
    assert (one["guarded_loss"], one["missed_rate"]) == (90, 0.02)
    assert (shown["presented"]["wanted"], shown["silence_loss"]) == (200, 1000)
    assert curve_of(shown["points"], losses_at(shown["points"], weights, 2.5), []).marks
    survey = {**frontier, "over": None}
    assert in_100_passes(survey) is survey
