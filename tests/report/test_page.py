"""The report page: every number is one of its document, nothing is fetched, texts cannot steer."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import sys
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from strategist import (
    Backing,
    GivenResult,
    Strategy,
    choose,
    evaluate_at,
    page_policy,
    parse_frontier,
    parse_results,
    read_case,
    report_document,
    report_page,
)
from strategist.errors import InputError
from strategist.report import plots
from strategist.report.figures import FORMS, resolve
from tests.test_commands import case, run

VOID = {"meta", "link", "br", "img"}
LIMITED = {"limits": {"stray_rate_max": 0.1}, "allow": ["power"]}


# What a result holds where antenna, region and dwell are known, and a step was predicted.
ON_AIR = {
    "lawful": {"reason": "At most 30 dBm.", "caution": "No permission."},
    "exposure": {"caution": "Keep 0.2 m away."},
    "time": {
        "expected_s": 0.0301,
        "worst_s": 0.12341,
        "step_worst_s": 0.061705,
        "quantile": 0.99,
        "dwell_s": 0.1,
        "fits": False,
    },
    "predicted": {"steps_dbm": [20.0]},
}


class Page(HTMLParser):
    """Marked numbers and texts, and all other text outside of plots and style."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.marked: list[tuple[str, dict[str, str | None], str]] = []
        self.rest: list[str] = []
        self.ids: list[str] = []
        self._open: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self._open.append((tag, dict(attrs)))
        self.ids += [value for name, value in attrs if name == "id" and value]
        if "data-path" in dict(attrs):
            self.marked.append((tag, dict(attrs), ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.ids += [value for name, value in attrs if name == "id" and value]

    def handle_endtag(self, tag: str) -> None:
        while self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        names = {tag for tag, _ in self._open}
        if self._open and "data-path" in self._open[-1][1]:
            tag, attrs, text = self.marked[-1]
            self.marked[-1] = (tag, attrs, text + data)
        elif not names & {"svg", "style"}:
            self.rest.append(data)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two read points, one with a limit of strays; the other's name is markup."""
    return case(tmp_path_factory.mktemp("page") / "site", {"<b>door</b>": {}, "dock": LIMITED})


@pytest.fixture(scope="module")
def document(site: Path) -> dict[str, Any]:
    points = read_case(site).read_points
    results = [choose(point).to_json() | ON_AIR for point in points]
    for result in results:  # as in one of `judge`, where there are passes enough
        result["cross_validation"] = {"folds": 5, "held_out": result["rates"]}
    both = zip(points, results, strict=True)
    given = [GivenResult("x.json", str(site), point.name, result) for point, result in both]
    given.append(GivenResult("x.json", str(site), "gone", None, "reads.csv, line 3: loud"))
    ratios = [{"low": 1.0, "high": None}, {"low": 0.0, "high": 1.0}, None]
    compromises = [
        {"missed": number, "stray": 2 - number, "loss": 2.0 + number, "best_for": ratios[number]}
        for number in range(3)
    ]
    frontier = parse_frontier(
        json.dumps({"read_point": "dock", "points": compromises}).encode(), "f.json"
    )
    backing = Backing(
        [(str(site), point) for point in points], [(None, Strategy((20.0,)))], [frontier]
    )
    return json.loads(json.dumps(report_document(given, backing)))


@pytest.fixture(scope="module")
def page(document: dict[str, Any]) -> str:
    pytest.importorskip("matplotlib")
    return report_page(document)


def test_every_number_on_the_page_is_the_one_in_the_document(
    document: dict[str, Any], page: str
) -> None:
    """Exact in the attribute, rounded to what is shown, and no digit stands anywhere else."""
    read = Page(page)
    assert len(read.marked) > 200
    for tag, attrs, text in read.marked:
        value = resolve(document, str(attrs["data-path"]))
        if tag != "data":
            assert text == str(value)
            continue
        if isinstance(value, list):
            value = len(value)
        assert json.loads(str(attrs["value"])) == value
        if value is None:
            assert text == "not known"
            continue
        shown = float(re.sub(r" ?%", "", text).replace("\u2212", "-"))
        share = "%" in text
        # Rounded it has two figures of a share, whole ones with two digits, three of all others.
        room = 0.06 if share else 0.01
        off = abs(shown / (100 if share else 1) - value)
        assert off <= 1e-12 or (off <= room * abs(value) and _figures(text) >= 2 + (not share))
    assert not [text for text in read.rest if re.search(r"\d", text)]


def _figures(text: str) -> int:
    """Significant figures of a printed number."""
    return len(re.sub(r"[^0-9]|^[0.\u2212]*", "", text.split(" ", maxsplit=1)[0]))


def test_ids_are_unique_and_nothing_is_fetched(page: str) -> None:
    ids = Page(page).ids
    assert len(ids) == len(set(ids))
    assert "<script" not in page and "<b>door" not in page and "&lt;b&gt;door" in page
    links = re.findall(r'(?:href|src|url)\s*[=(]\s*["\']?([^"\')\s>]*)', page)
    assert links and all(link.startswith(("#", "data:,")) for link in links)
    outside = set(re.findall(r"https?://[^\"'\s<]*", page))
    assert outside <= {"http://www.w3.org/1999/xlink"}  # the name of a namespace
    assert len(re.findall(r'<svg[^>]*role="img" aria-label="[^"]+"><title>', page)) == 7


def test_plots_hold_only_what_is_drawn(page: str) -> None:
    """Hundreds of them on a page: no id that nothing refers to, no bare group, no style sheet, and
    still one element in another as XML has it."""
    plots = re.findall(r"<svg.*?</svg>", page, re.S)
    assert len(plots) == 7
    for plot in plots:
        refers = set(re.findall(r'(?:url\(#|xlink:href="#)([^")]+)', plot))
        assert set(re.findall(r' id="([^"]+)"', plot)) == refers
        assert "<g>" not in plot and "<style" not in plot and "font-family" not in plot
        ElementTree.fromstring(plot)
        words = re.findall(r"<text[^>]*>([^<]*)</text>", plot)
        assert any(" " in word for word in words), "blanks between words stay"


def test_a_plot_has_the_same_bytes_each_time(document: dict[str, Any]) -> None:
    pytest.importorskip("matplotlib")
    picture = document["read_points"][0]["picture"]
    first, again = (plots.silenced_plot("a", "Strays", picture) for _ in range(2))
    assert first == again and 'id="a-' in first and "<metadata" not in first


def test_order_visits_and_totals(document: dict[str, Any]) -> None:
    """By hand: with its limit the dock has to miss W2, which costs 5."""
    dock, door = document["read_points"]
    assert (dock["read_point"], door["read_point"]) == ("dock", "<b>door</b>")
    assert (dock["result"]["loss"], door["result"]["loss"]) == (5.0, 0.0)
    assert dock["result"]["status"] == "optimal"
    summary = document["summary"]
    assert (summary["read_points"], summary["answered"], summary["failed"]) == (3, 2, 1)
    assert summary["loss"] == 5 and summary["missed"] == 1
    assert document["errors"][0]["message"] == "reads.csv, line 3: loud"
    assert door["comparison"]["rows"][0]["loss"] == 5


def test_a_page_without_matplotlib_says_so_and_gives_the_figures(
    document: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    given = [
        GivenResult("x", None, point["read_point"], point["result"])
        for point in document["read_points"]
    ]
    given += [GivenResult("x", "site", None, None, "no roster.csv")] * 2
    plain = report_document(given, at_most=1)
    summary = plain["summary"]
    assert (summary["left_out"], summary["errors_left_out"]) == (1, 1)
    assert [point["read_point"] for point in plain["read_points"]] == ["dock"]
    assert (summary["loss"], summary["failed"], len(plain["errors"])) == (5.0, 2, 1)
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    assert not plots.can_plot()
    assert "<svg" not in report_page(plain) and "matplotlib" not in report_page(plain)
    lacking = report_page(document)
    assert "<svg" not in lacking and lacking.count("The plots are lacking, since matplotlib") == 2
    assert lacking.count("<figure>") == report_page_of_plots(document, monkeypatch)


def report_page_of_plots(document: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> int:
    """How many figures the page has with matplotlib: the same ones."""
    monkeypatch.undo()
    return report_page(document).count("<figure>")


def test_the_report_command_without_matplotlib(
    capsys: Any, site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result, page = tmp_path / "r.json", tmp_path / "page.html"
    assert run(capsys, "solve", site, "--read-point", "dock", "--out", result)[0] == 0
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    status, out, err = run(capsys, "report", result, "--case", site, "--out", page)
    assert (status, err) == (0, "")
    assert "Without plots: matplotlib could not be loaded" in out
    assert "matplotlib could not be loaded where this page was made" in page.read_text()


def test_the_policy_names_the_style_and_nothing_is_styled_inline(page: str) -> None:
    """The hash of CSP (base64 of SHA-256) over the one style element, as a browser counts it."""
    (css,) = re.findall(r"<style>(.*?)</style>", page, re.S)
    digest = base64.b64encode(hashlib.sha256(css.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in page_policy(page)
    assert "unsafe" not in page_policy(page) and " style=" not in page


def test_limits_and_proof_ask_for_a_visit(site: Path) -> None:
    """23 dBm at the dock: one stray in two passes, where a tenth is the limit."""
    point = read_case(site, "dock").read_points[0]
    found = evaluate_at(point, Strategy((23.0,))).to_json()
    given = GivenResult("x", None, "dock", found)
    backed = report_document([given], Backing([("site", point)]))
    assert "a hard limit is exceeded" in backed["read_points"][0]["visit"]
    late = GivenResult("x", None, "dock", found | {"status": "feasible", "bound": 0.0})
    assert "not proven the best: time ran out" in report_document([late])["read_points"][0]["visit"]


def test_a_proof_over_copies_is_not_said_of_the_survey(tmp_path: Path) -> None:
    """In the survey another strategy may lose less."""
    point = read_case(case(tmp_path / "case", {"door": {"aim": "expected"}})).read_points[0]
    given = GivenResult("x", None, "door", choose(point).to_json())
    words = " ".join(re.sub(r"<[^>]*>", " ", report_page(report_document([given]))).split())
    assert "none of the settings searched loses less over 30 copies of the survey" in words
    assert "has a lower loss" not in words


def test_the_survey_of_another_result_is_refused(site: Path) -> None:
    point = read_case(site, "dock").read_points[0]
    found = evaluate_at(point, Strategy((23.0,))).to_json()
    found["outcome"]["stray"] = 9
    with pytest.raises(InputError, match=r"has 9\. Give the survey that the result was made from"):
        report_document([GivenResult("x", None, "dock", found)], Backing([("site", point)]))


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("r.json", "{", "JSON"),
        ("r.json", '{"levels_dbm": [20]}', "is a strategy alone"),
        ("r.jsonl", '{"case": "a"}\n', "read_point"),
        ("r.jsonl", "what\n", "line 1"),
    ],
)
def test_what_is_no_result_is_refused(name: str, text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        parse_results(text.encode(), name)


def test_report_command(capsys: Any, site: Path, tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    result, page, data = tmp_path / "r.json", tmp_path / "page.html", tmp_path / "page.json"
    assert run(capsys, "solve", site, "--read-point", "dock", "--out", result)[0] == 0
    status, out, err = run(capsys, "report", result, "--case", site, "--out", page, "--data", data)
    assert (status, err) == (0, "")
    assert out == f"{page}: 1 of 1 read points, 1 to visit\n"
    assert page.read_text() == report_page(json.loads(data.read_text()))
    status, _, err = run(capsys, "report", result, "--today", result, "--out", page)
    assert (status, "needs --case" in err) == (2, True)


def test_what_some_results_hold_beside_is_on_the_page(page: str) -> None:
    text = " ".join("".join(re.findall(r">([^<]*)<", page)).replace("&nbsp;", " ").split())
    assert "99 % of steps take 0.0618 s or less, a ladder of such steps 0.124 s" in text
    assert "0.124 s, which does not fit the 0.1 s" in text
    assert "20 dBm, fixed (predicted)" in text and "not surveyed: survey them before" in text
    assert "Held out: each of 5 blocks" in text
    assert "No permission." in text and "Keep 0.2 m away." in text


def test_site_and_day_stand_on_top_and_no_raw_keys_anywhere(tmp_path: Path) -> None:
    """A limit that the passes cannot show, and today's level above the lawful one."""
    own = {"dbm": 28, "kind": "eirp", "low_mhz": 865, "high_mhz": 868}
    radio = {"limit": own, "antenna_gain_dbi": 6, "polarisation": "linear"}
    policy = {"limits": {"missed_rate_max": 0.1}, "allow": ["power"], "radio": radio}
    point = read_case(case(tmp_path / "site", {"dock": policy})).read_points[0]
    given = [GivenResult("x", None, "dock", choose(point).to_json())]
    today = [(None, Strategy((23.0,)))]
    backing = Backing([("site", point)], today, sites={"site": "Depot <North>"})
    made = report_page(report_document(given, backing, made_on="2026-03-04"))
    text = " ".join(
        re.sub(r"<style>.*?</style>|<svg.*?</svg>|<[^>]*>", " ", made, flags=re.S).split()
    )
    assert "Site: Depot &lt;North&gt; . Page made on 2026-03-04" in text
    assert "Today: UNLAWFUL as far as is known here: 23 dBm." in text
    assert "limit on missed tags of 10 %" in text
    assert not re.search(r"\b[a-z]+_[a-z_]+\b", text)


def test_forms() -> None:
    assert (FORMS["seconds_up"](0.12341), FORMS["seconds_up"](2.0)) == ("0.124", "2")
    assert FORMS["plain"](-58.5) == "\u221258.5"
    assert FORMS["whole_percent"](0.95) == "95 %"


def test_todays_settings_for_every_read_point_may_not_fit_one(site: Path) -> None:
    """A level that was not surveyed is said on the page; of a named read point it is an error."""
    point = read_case(site, "dock").read_points[0]
    given = [GivenResult("x", None, "dock", evaluate_at(point, Strategy((23.0,))).to_json())]
    points = [("site", point)]
    found = report_document(given, Backing(points, [(None, Strategy((21.0,)))]))["read_points"][0]
    assert found["comparison"] is None
    assert found["not_today"] == "They use 21 dBm, which was not surveyed here."
    with pytest.raises(InputError, match="today's settings"):
        report_document(given, Backing(points, [("dock", Strategy((21.0,)))]))
