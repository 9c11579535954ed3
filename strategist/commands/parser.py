"""A parser of arguments whose errors say what is wrong and what to do."""

from __future__ import annotations

import argparse
import difflib
import re
from typing import NoReturn

_CHOICE = re.compile(r"argument (.+?): invalid choice: '(.*?)' \(choose from (.+)\)", re.S)
_BAD_INPUT = 2


class Parser(argparse.ArgumentParser):
    """A parser that ends with one line on standard error, and exit status 2."""

    def error(self, message: str) -> NoReturn:
        self.exit(_BAD_INPUT, f"{self.prog}: {_said(message)} See {self.prog} --help.\n")


def _said(message: str) -> str:
    """What argparse found, in our words."""
    choice = _CHOICE.fullmatch(message)
    if choice is not None:
        where, found, listed = choice.groups()
        known = [one.strip(" '") for one in listed.split(",")]
        if where == "COMMAND":
            near = difflib.get_close_matches(found, known, n=1)
            hint = f" (nearest: {near[0]})" if near else ""
            return f'there is no command "{found}"{hint}.'
        return f'{where}: "{found}" is not valid. Give one of {", ".join(known)}.'
    for begin, end in (
        ("the following arguments are required: ", "{} is missing."),
        ("unrecognized arguments: ", "{} is not known here."),
    ):
        if message.startswith(begin):
            return end.format(message.removeprefix(begin))
    message = re.sub(r"^argument ", "", message)
    message = message.replace("expected one argument", "a value is missing")
    message = message.replace("expected at least one argument", "a value is missing")
    return message if message.endswith(".") else f"{message}."
