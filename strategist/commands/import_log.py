"""`import`: a case from the raw log of a reader, the run sheet and the tag list."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path
from textwrap import fill

import strategist
from strategist.commands.arguments import OK, Commands, add_command, placed, seconds
from strategist.commands.waiting import waiting_for
from strategist.errors import InputError

_COLUMNS = 80


def add(commands: Commands) -> None:
    what = "make a case of a reader's raw log, a run sheet and a tag list"
    command = add_command(commands, "import", _import, what)
    command.add_argument("logs", nargs="+", metavar="LOG", help="raw log of a reader")
    command.add_argument(
        "--run-sheet", metavar="FILE", help="the passes: times, levels, tags, conditions"
    )
    command.add_argument("--tags", metavar="FILE", help="the tags, and which are wanted")
    command.add_argument(
        "--mapping", metavar="FILE", help="how to read the files: mapping.json of an import before"
    )
    command.add_argument(
        "--read-point", metavar="NAME", help="the read point, where no file names it"
    )
    command.add_argument(
        "--pause", type=seconds, metavar="S", help="pauses of so many seconds part the passes"
    )
    command.add_argument(
        "--out", required=True, metavar="FOLDER", help="the case: a folder that does not exist yet"
    )


def _import(arguments: argparse.Namespace) -> int:
    strategist.refuse_folder(arguments.out)
    for name in arguments.logs:
        if arguments.logs.count(name) > 1:
            raise InputError.one(name, "", "each log once", wrong="is given twice")
    own = {} if arguments.mapping is None else {"mapping file": arguments.mapping}
    with placed(own), waiting_for(arguments.logs[0]):
        imported = strategist.import_log(
            {name: Path(name) for name in arguments.logs},
            run_sheet=_given(arguments.run_sheet),
            tags=_given(arguments.tags),
            mapping=_mapping(arguments),
        )
    told = json.dumps(imported.to_json(), indent=1, ensure_ascii=False, allow_nan=False)
    files = {**imported.files, "import.json": f"{told}\n"}
    strategist.write_case(arguments.out, files)
    print(strategist.import_text(imported))
    told = f"Written to {arguments.out}: {', '.join(sorted(files))}."
    print(fill(told, _COLUMNS, break_on_hyphens=False, break_long_words=False))
    return OK


def _given(name: str | None) -> dict[str, Path]:
    return {} if name is None else {name: Path(name)}


def _mapping(arguments: argparse.Namespace) -> strategist.ImportMapping:
    mapping = strategist.ImportMapping()
    if arguments.mapping is not None:
        data = strategist.read_file(arguments.mapping)
        mapping = strategist.parse_mapping(data, arguments.mapping)
    if arguments.read_point is not None:
        mapping = replace(mapping, read_point=arguments.read_point)
    if arguments.pause is not None:
        mapping = replace(mapping, passes_by="pauses", pause_s=arguments.pause)
    return mapping
