"""`report`: results as one page for whoever sets the readers, and whoever pays."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import Any

import strategist
from strategist.commands.arguments import OK, Commands, add_command, give, placed, refuse_out
from strategist.commands.waiting import waiting_for
from strategist.errors import InputError


def add(commands: Commands) -> None:
    what = "write results as one page that prints: what to set, what to expect, why"
    command = add_command(commands, "report", _report, what)
    command.add_argument(
        "results",
        metavar="RESULT",
        nargs="+",
        help="JSON of solve or assess, or of compare with one strategy; or the folder or "
        "results.jsonl of a batch",
    )
    command.add_argument("--out", required=True, metavar="FILE", help="the page, HTML")
    command.add_argument(
        "--case",
        dest="cases",
        action="append",
        default=[],
        metavar="CASE",
        help="a case that results were made from: adds plots",
    )
    command.add_argument(
        "--today",
        action="append",
        default=[],
        metavar="FILE",
        help="settings in use, as a strategy or result: adds what changes (needs --case)",
    )
    command.add_argument(
        "--trade-offs",
        dest="frontiers",
        action="append",
        default=[],
        metavar="FILE",
        help="JSON of trade-offs: adds its plot",
    )
    command.add_argument(
        "--data", metavar="FILE", help="every figure of the page, as JSON (-: standard output)"
    )


def _report(arguments: argparse.Namespace) -> int:
    strategist.refuse_target(arguments.out)
    refuse_out(arguments.data)
    given = [one for name in arguments.results for one in _results(name)]
    today = date.today().isoformat()
    with placed({"surveys": "--case"}), waiting_for(arguments.out):
        document = strategist.report_document(given, _backing(arguments), made_on=today)
    page = strategist.report_page(document)
    strategist.write_whole(arguments.out, page)
    give(arguments.data, document, _said(document, arguments.out))
    return OK


def _results(name: str) -> list[strategist.GivenResult]:
    if Path(name).is_dir():
        name = str(Path(name) / "results.jsonl")
    return strategist.parse_results(strategist.read_file(name), name)


def _backing(arguments: argparse.Namespace) -> strategist.Backing:
    if arguments.today and not arguments.cases:
        wrong, todo = "needs --case", "Add --case FOLDER, by which it is judged."
        raise InputError.one("--today", arguments.today[0], todo, wrong=wrong)
    cases = [(case, strategist.read_case(case)) for case in arguments.cases]
    today = [strategist.parse_strategy_file(strategist.read_file(f), f) for f in arguments.today]
    return strategist.Backing(
        [(case, point) for case, read in cases for point in read.read_points],
        [(file.read_point, file.strategy) for file in today],
        [
            strategist.parse_frontier(strategist.read_file(name), name)
            for name in arguments.frontiers
        ],
        {case: read.site for case, read in cases},
    )


def _said(document: dict[str, Any], out: str) -> str:
    summary = document["summary"]
    text = (
        f"{out}: {summary['answered']} of {summary['read_points']} read points, "
        f"{summary['to_visit']} to visit"
    )
    pictured = any(point["picture"] or point["frontier"] for point in document["read_points"])
    if pictured and not strategist.can_plot():
        text += "\nWithout plots: matplotlib could not be loaded; the page gives their figures."
    return text
