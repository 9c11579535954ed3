"""A report document as one HTML page that needs nothing else: no network, no script."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from strategist.report.figures import Figures
from strategist.report.plots import (
    frontier_plot,
    read_rate_plot,
    refuse_without_plots,
    rssi_plot,
    silenced_plot,
)

__all__ = ["report_page"]

_SHEETS = Path(__file__).parent / "sheets"


def report_page(document: Mapping[str, Any]) -> str:
    """The page of a document of `report_document`.

    Plots are drawn where the document has pictures or frontiers; InputError where matplotlib,
    the extra `report`, is missing then.
    """
    points = document["read_points"]
    if any(point["picture"] or point["frontier"] for point in points):
        refuse_without_plots()
    figures = Figures(document)
    environment = Environment(
        loader=FileSystemLoader(_SHEETS), autoescape=True, undefined=StrictUndefined
    )
    environment.globals.update(
        n=figures.number, t=figures.text, v=figures.value, count=figures.count
    )
    return environment.get_template("site.html.j2").render(
        css=Markup((_SHEETS / "page.css").read_text(encoding="utf-8")),
        plots=[list(_plots(number, point)) for number, point in enumerate(points)],
        several_cases=len({point["case"] for point in points}) > 1,
    )


def _plots(number: int, point: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Kind, question and SVG of each plot of a read point."""
    picture, strategy = point["picture"], point["result"]["strategy"]
    cutoff, ident = strategy.get("cutoff_dbm"), f"p{number}"

    def plot(kind: str, question: str, svg: str) -> dict[str, Any]:
        return {"kind": kind, "question": question, "svg": Markup(svg)}

    if picture is not None:
        question = "How much power do the wanted tags need, and how many strays answer then?"
        alt = "Share of wanted and stray tags read, by conducted power, with the steps that are set"
        levels = strategy["levels_dbm"]
        yield plot("read_rate", question, read_rate_plot(f"{ident}a", alt, picture, levels))
    if picture is not None and picture["rssi"]["low_dbm"]:
        question = "What does the signal cutoff reject?"
        if cutoff is None:
            question = "Would a signal cutoff part wanted from stray?"
        alt = "Wanted and stray tags by their strongest RSSI at the steps walked, with the cutoff"
        bins, masks = picture["rssi"], bool(strategy.get("masks"))
        yield plot("rssi", question, rssi_plot(f"{ident}b", alt, bins, cutoff, masks))
    if picture is not None and picture["stray_at_top"] and picture["techniques"]:
        alt = "Stray tags that each technique silences alone, and all of them together"
        svg = silenced_plot(f"{ident}c", alt, picture)
        yield plot("silenced", "Which technique silences which strays?", svg)
    if point["frontier"] is not None:
        alt = "Wanted tags missed against stray tags reported, for all strategies that none beats"
        svg = frontier_plot(f"{ident}d", alt, point["frontier"]["points"], _marked(point))
        yield plot("frontier", "What does each compromise cost?", svg)


def _marked(point: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    marked = [("these settings", point["result"]["outcome"])]
    if point["comparison"] is not None:
        marked.append(("today's", point["comparison"]["rows"][0]["outcome"]))
    return marked
