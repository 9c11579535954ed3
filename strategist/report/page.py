"""A report document as one HTML page that needs nothing else: no network, no script."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined
from jinja2.bccache import Bucket
from markupsafe import Markup

from strategist.report.figures import Figures
from strategist.report.plots import (
    can_plot,
    frontier_plot,
    held_against,
    read_rate_plot,
    rssi_plot,
    silenced_plot,
)

_SHEETS = Path(__file__).parent / "sheets"
_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')


class _Compiled(BytecodeCache):
    """Templates are compiled once, though each document has an environment of its own."""

    def __init__(self) -> None:
        self._known: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        if bucket.key in self._known:
            bucket.bytecode_from_string(self._known[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        self._known[bucket.key] = bucket.bytecode_to_string()


_COMPILED = _Compiled()


def report_page(document: Mapping[str, Any]) -> str:
    """The page of a document of `report_document`.

    Plots are drawn where the document has pictures or frontiers; without matplotlib the page gives
    their figures and says that the plots are lacking.
    """
    css = report_style()
    template = _environment(document).get_template("site.html.j2")
    several = len({point["case"] for point in document["read_points"]}) > 1
    return template.render(
        css=Markup(css), policy=Markup(style_policy(css)), several_cases=several, **_drawn(document)
    )


def report_sections(document: Mapping[str, Any]) -> str:
    """The sheets of a document alone, for a page that has a frame of its own and `report_style`."""
    return _environment(document).get_template("sections.html.j2").render(**_drawn(document))


def report_style() -> str:
    """The style of sheets, as CSS."""
    return (_SHEETS / "page.css").read_text(encoding="utf-8")


def _environment(document: Mapping[str, Any]) -> Environment:
    """Templates that print figures of the document by their place in it."""
    figures = Figures(document)
    made = Environment(
        loader=FileSystemLoader(_SHEETS),
        autoescape=True,
        undefined=StrictUndefined,
        bytecode_cache=_COMPILED,
    )
    made.globals.update(n=figures.number, t=figures.text, v=figures.value, count=figures.count)
    return made


def _drawn(document: Mapping[str, Any]) -> dict[str, Any]:
    """The plots of each read point, and whether there could be any."""
    drawn = can_plot()
    points = document["read_points"]
    plots = [list(_plots(number, point, drawn)) for number, point in enumerate(points)]
    return {"plots": plots, "drawn": drawn}


def page_policy(page: str) -> str:
    """The Content-Security-Policy that a page gives itself; a server sends the same.

    Where both are given a browser keeps both, so a stricter one would leave the page unstyled.
    """
    found = _POLICY.search(page)
    return found[1] if found else "default-src 'none'"


def style_policy(css: str) -> str:
    """Nothing but the page's one style element, named by its hash."""
    digest = base64.b64encode(hashlib.sha256(css.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:"


def _plots(number: int, point: Mapping[str, Any], drawn: bool) -> Iterator[dict[str, Any]]:
    """Kind, question and SVG of each plot of a read point (without SVG where none is drawn)."""
    picture, strategy = point["picture"], point["result"]["strategy"]
    cutoff, ident = strategy.get("cutoff_dbm", strategy.get("cutoff_db")), f"p{number}"

    def plot(kind: str, question: str, svg: Callable[[], str]) -> dict[str, Any]:
        return {"kind": kind, "question": question, "svg": Markup(svg() if drawn else "")}

    if picture is not None:
        question = "How much power do the wanted tags need, and how many strays answer then?"
        alt = "Share of wanted and stray tags read, by conducted power, with the steps that are set"
        levels = strategy["levels_dbm"]
        svg = partial(read_rate_plot, f"{ident}a", alt, picture, levels)
        yield plot("read_rate", question, svg)
    if picture is not None and picture["rssi"]["low_dbm"]:
        question = "What does the signal cutoff reject?"
        if cutoff is None:
            question = "Would a signal cutoff separate wanted from stray?"
        counts = held_against(strategy.get("score"))
        alt = f"Wanted and stray tags by their {counts}, with the cutoff"
        svg = partial(rssi_plot, f"{ident}b", alt, picture["rssi"], strategy)
        yield plot("rssi", question, svg)
    if picture is not None and picture["stray_at_top"] and picture["techniques"]:
        alt = "Stray tags that each technique suppresses alone, and all of them together"
        svg = partial(silenced_plot, f"{ident}c", alt, picture)
        yield plot("silenced", "Which technique suppresses which strays?", svg)
    if point["frontier"] is not None:
        alt = "Wanted tags missed against stray tags reported: the non-dominated trade-offs"
        trade_offs = point["frontier"]["points"]
        svg = partial(frontier_plot, f"{ident}d", alt, trade_offs, _marked(point))
        yield plot("frontier", "What does each trade-off cost?", svg)


def _marked(point: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    marked = [("these settings", point["result"]["outcome"])]
    if point["comparison"] is not None:
        marked.append(("today's", point["comparison"]["rows"][0]["outcome"]))
    return marked
