"""`new`: a first site.json, for a survey or before there is one."""

from __future__ import annotations

import argparse
from pathlib import Path

import strategist
from strategist.commands.arguments import OK, Commands, add_command, number
from strategist.commands.waiting import waiting_for
from strategist.errors import InputError

_dbm = number("levels from -20 to 40 (dBm), e.g. 15,20,25,30", lambda found: -20 <= found <= 40)


def _levels(text: str) -> tuple[float, ...]:
    return tuple(map(_dbm, text.split(",")))


def add(commands: Commands) -> None:
    what = (
        "write a first site.json, with notes: for the read points found in reads.csv, or for those "
        "that are named before anything is measured"
    )
    command = add_command(commands, "new", _new, what)
    command.add_argument("folder", metavar="FOLDER", help="folder with reads.csv, or to be made")
    command.add_argument(
        "--read-point",
        dest="read_points",
        action="append",
        default=[],
        metavar="NAME",
        help="a read point of which nothing is measured yet; may be repeated",
    )
    command.add_argument(
        "--levels",
        type=_levels,
        metavar="DBM",
        help="levels to survey there, e.g. 15,20,25,30 (with --read-point)",
    )


def _new(arguments: argparse.Namespace) -> int:
    folder = Path(arguments.folder)
    target, reads = folder / "site.json", folder / "reads.csv"
    if target.exists():
        todo = "Edit it, or move it away and try again."
        raise InputError.one(str(target), "a file", todo, wrong="there is one already")
    if arguments.read_points or arguments.levels:
        text = _unmeasured(arguments, reads)
        folder.mkdir(exist_ok=True)
    else:
        if not reads.exists():
            todo = "Put it there, or name read points that are still to be measured (--read-point)."
            raise InputError.one(str(reads), "", todo, wrong="no such file")
        with waiting_for(str(reads)):
            text = strategist.starter_site(strategist.read_file(reads))
    strategist.write_whole(target, text)
    print(f"{target} is written. Now")
    if reads.exists() and not (folder / "roster.csv").exists():
        print("- write roster.csv: read_point,pass_id,epc,role (wanted or stray), a row for each")
        print("  tag present in a pass, read or not;")
    print("- edit site.json: its notes say what each key is for;")
    if reads.exists():
        print(f"- run: strategist check {folder}")
    else:
        print(f"- run: strategist plan {folder} (what to measure first).")
    return OK


def _unmeasured(arguments: argparse.Namespace, reads: Path) -> str:
    if reads.exists():
        wrong = f"is of no use beside {reads}, which names the read points and levels"
        raise InputError.one("--read-point", "", "Leave it out.", wrong=wrong)
    for option, given in (("--read-point", arguments.read_points), ("--levels", arguments.levels)):
        if not given:
            todo = "Give it, too: without reads.csv both are needed."
            raise InputError.one(option, "", todo)
    names = dict.fromkeys(arguments.read_points)
    return strategist.unmeasured_site(dict.fromkeys(names, arguments.levels))
