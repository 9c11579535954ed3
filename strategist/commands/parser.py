"""A parser of arguments whose errors say what is wrong and what to do."""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

_CHOICE = re.compile(r"argument (.+?): invalid choice: '(.*?)' \(choose from (.+)\)", re.S)
_NO_VALUE = re.compile(r"argument (.+?): ignored explicit argument '(.*)'", re.S)
_REQUIRED = "the following arguments are required: "
_OF_COMMANDS = ("COMMAND", "ACTION")
_BAD_INPUT = 2
_COLUMNS = 80  # where no terminal tells its width


class _Help(argparse.HelpFormatter):
    """Asks for the terminal's width as argparse does, without all of `shutil`, 3 ms: one is made of
    every command that begins."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, width=_columns() - 2)


def _columns() -> int:
    told = os.environ.get("COLUMNS", "")
    if told.isdecimal() and int(told):
        return int(told)
    try:
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or _COLUMNS  # type: ignore[union-attr]
    except (AttributeError, OSError, ValueError):  # there is none
        return _COLUMNS


class CommandParser(argparse.ArgumentParser):
    """A parser that ends with one line on standard error, and exit status 2.

    What is typed and not known is told by the command that it was typed for.
    """

    def __init__(self, **given: Any) -> None:
        super().__init__(**{"formatter_class": _Help, **given})

    def parse_known_args(  # type: ignore[override]  # argparse overloads it
        self, args: Sequence[str] | None = None, namespace: Any = None
    ) -> tuple[argparse.Namespace, list[str]]:
        self._typed = sys.argv[1:] if args is None else list(args)
        found, unknown = super().parse_known_args(args, namespace)
        if unknown:
            self._refuse(unknown[0])
        return found, unknown

    def error(self, message: str) -> NoReturn:
        typed, choice = self._typed, _CHOICE.fullmatch(message)
        if choice is not None and choice[1] in _OF_COMMANDS:
            typed = typed[: typed.index(choice[2])]  # options of a command stand behind it
        if message.startswith(_REQUIRED) or choice is not None:  # which a mistyped option leads to
            for one in typed:
                if (
                    one.startswith("--")
                    and one.partition("=")[0] not in self._option_string_actions
                ):
                    self._refuse(one)
        self._end(_said(message))

    def _refuse(self, unknown: str) -> NoReturn:
        if not unknown.startswith("-") or unknown == "-":
            self._end(f'"{unknown}" is one argument too many.')
        name, known = unknown.partition("=")[0], list(self._option_string_actions)
        near = _nearest(name, known)
        self._end(f"there is no option {name}{near}.")

    def _end(self, said: str) -> NoReturn:
        self.exit(_BAD_INPUT, f"{self.prog}: {said} See {self.prog} --help.\n")


def _nearest(name: str, known: list[str]) -> str:
    """A hint at the known name that is most like one."""
    import difflib  # noqa: PLC0415 (slow to load)

    near = difflib.get_close_matches(name, known, n=1)
    return f" (nearest: {near[0]})" if near else ""


def _said(message: str) -> str:
    """What argparse found, in our words."""
    choice = _CHOICE.fullmatch(message)
    if choice is not None:
        where, found, listed = choice.groups()
        known = [one.strip(" '") for one in listed.split(",")]
        if where in _OF_COMMANDS:
            near = _nearest(found, known)
            return f'there is no {where.lower()} "{found}"{near}.'
        return f'{where}: "{found}" is not valid. Give one of {", ".join(known)}.'
    extra = _NO_VALUE.fullmatch(message)
    if extra is not None:
        return f'{extra[1]} takes no value. Leave "{extra[2]}" out.'
    if message.startswith(_REQUIRED):
        *names, last = message.removeprefix(_REQUIRED).split(", ")
        return f"{', '.join(names)} and {last} are missing." if names else f"{last} is missing."
    message = re.sub(r"^argument ", "", message)
    message = message.replace("expected one argument", "a value is missing")
    message = message.replace("expected at least one argument", "a value is missing")
    return message if message.endswith(".") else f"{message}."
