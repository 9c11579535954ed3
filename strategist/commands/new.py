"""`new`: a first site.json for a survey."""

from __future__ import annotations

import argparse
from pathlib import Path

import strategist
from strategist.commands.arguments import OK, Commands, add_command
from strategist.errors import InputError


def add(commands: Commands) -> None:
    what = "write a first site.json, with notes, for the read points found in reads.csv"
    command = add_command(commands, "new", _new, what)
    command.add_argument("folder", metavar="FOLDER", help="folder with reads.csv")


def _new(arguments: argparse.Namespace) -> int:
    folder = Path(arguments.folder)
    target = folder / "site.json"
    if target.exists():
        todo = "Edit it, or move it away and try again."
        raise InputError.one(str(target), "a file", todo, wrong="there is one already")
    text = strategist.starter_site(strategist.read_file(folder / "reads.csv"))
    strategist.write_whole(target, text)
    print(f"{target} is written. Now")
    if not (folder / "roster.csv").exists():
        print("- write roster.csv: read_point,pass_id,epc,role (wanted or stray), a row for each")
        print("  tag present in a pass, read or not;")
    print("- edit site.json: its notes say what each key is for;")
    print(f"- run: strategist check {folder}")
    return OK
