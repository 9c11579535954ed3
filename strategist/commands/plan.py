"""`plan`: what to measure next; of a case that has site.json alone, what to measure first."""

from __future__ import annotations

import argparse
import textwrap
from datetime import date
from pathlib import Path
from typing import Any

import strategist
from strategist.commands.arguments import (
    OK,
    Answered,
    Commands,
    add_case,
    add_command,
    add_solving,
    case_of,
    each_point,
    give,
    refuse_out,
    write,
)
from strategist.commands.ask import add_parameters, answered, question_named
from strategist.errors import InputError


def add(commands: Commands) -> None:
    question = question_named("plan")
    command = add_command(commands, "plan", _plan, question.what)
    add_case(command)
    add_parameters(command, question)
    command.add_argument(
        "--sheet", metavar="FILE", help="write the run sheet, to print and fill in, as HTML"
    )
    add_solving(command)


def _plan(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    if arguments.sheet is not None:
        strategist.refuse_target(arguments.sheet)
    folder = Path(arguments.case)
    if (folder / "site.json").is_file() and not any(
        (folder / name).exists() for name in ("reads.csv", "roster.csv")
    ):
        return _first(arguments, folder / "site.json")
    case = case_of(arguments)
    _refuse_sheet(arguments, len(case))
    question = question_named("plan")

    def answer(point: strategist.ReadPoint, last: bool) -> Answered:
        document, text, status = answered(question, arguments, point, last=last)
        _write_sheet(arguments, document)
        return document, text + _settings_next(arguments, document), status

    return each_point(arguments, case, answer)


def _settings_next(arguments: argparse.Namespace, plan: dict[str, Any]) -> str:
    """How to go on from a plan that says it is enough."""
    limits = plan["limits"] or {}
    if plan["stage"] != "enough" or limits.get("verdict") == "exceeded":
        return ""
    kept = arguments.out if arguments.out not in (None, "-") else None
    first = "" if kept else "give this plan an --out FILE, then "
    given = f"strategist export {arguments.case} --strategy {kept or 'FILE'} --format gen2"
    return "\n" + textwrap.fill(
        f"To write them: {first}{given}",
        80,
        initial_indent="  ",
        subsequent_indent="    ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _first(arguments: argparse.Namespace, path: Path) -> int:
    """What to measure first at each read point of a site.json."""
    site = strategist.read_site(path)
    known = list(site.read_points)
    if not known:
        todo = "Give at least one read point, with its levels_dbm."
        raise InputError.one("site.json", "", todo, path=("read_points",), wrong="is empty")
    names = arguments.read_points or known
    for name in names:
        if name not in known:
            wrong, todo = f'there is no read point "{name}"', f"one of {', '.join(known)}"
            raise InputError.one("--read-point", name, todo, wrong=wrong)
    _refuse_sheet(arguments, len(names))
    effort = strategist.Effort(arguments.minutes_a_pass, arguments.seconds_a_level)
    plans = [
        strategist.plan_first_survey(site.read_points[name], name, effort=effort) for name in names
    ]
    documents = [plan.to_json() for plan in plans]
    _write_sheet(arguments, documents[0])
    text = "\n\n".join(map(strategist.survey_plan_text, plans))
    if len(plans) == 1:
        give(arguments.out, documents[0], text)
        return OK
    if arguments.out != "-":
        print(text)
    if arguments.out is not None:
        write(arguments.out, documents)
    return OK


def _refuse_sheet(arguments: argparse.Namespace, points: int) -> None:
    if arguments.sheet is not None and points != 1:
        todo = "Name one with --read-point."
        wrong = f"is of one read point, and there are {points}"
        raise InputError.one("--sheet", arguments.sheet, todo, wrong=wrong)


def _write_sheet(arguments: argparse.Namespace, plan: dict[str, Any]) -> None:
    if arguments.sheet is not None:
        page = strategist.run_sheet_page(plan, date.today().isoformat())
        strategist.write_whole(arguments.sheet, page)
