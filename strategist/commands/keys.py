"""`keys`: what may stand in site.json."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import OK, Commands, add_command, add_out, give, refuse_out


def add(commands: Commands) -> None:
    what = "list the keys of site.json: meaning, unit, default, what is allowed, when to set it"
    command = add_command(commands, "keys", _keys, what)
    command.add_argument(
        "keys", nargs="*", metavar="KEY", help="all about this key, e.g. reader.mask_slots"
    )
    add_out(command)


def _keys(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    found = strategist.site_keys(arguments.keys)
    text = strategist.keys_text(found, brief=not arguments.keys)
    if not arguments.keys:
        text += "\n\nstrategist keys KEY tells all about one; a key that begins with // is a note."
    give(arguments.out, found.to_json(), text)
    return OK
