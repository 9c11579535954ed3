"""The one error tree.

    StrategistError
    ├── InputError          something the user gave is wrong; carries every fault found
    │   └── MalformedError  a text that should be JSON is none
    ├── SolveError          the solver ended without an answer it can stand by
    ├── DisagreementError   the model and the independent evaluator differ: a defect of ours
    └── NotCompiledError    what is compiled when strategist is installed is not there

Messages are whole: where, what was found, what is allowed. The library prints nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

__all__ = [
    "DisagreementError",
    "Fault",
    "InputError",
    "MalformedError",
    "NotCompiledError",
    "SolveError",
    "StrategistError",
]

_SHOWN_CHARACTERS = 60  # of an offending value: enough to find it, short enough for a terminal
_WORDS_CHARACTERS = 600  # of a place, and of what is allowed, which may list what a user gave


_VERBS = (
    "is ",
    "has ",
    "holds ",
    "cannot ",
    "takes ",
    "needs ",
    "was ",
    "may ",
)  # the place is the subject of what is wrong


@dataclass(frozen=True)
class Fault:
    """One thing wrong in what the user gave.

    `source` is a file name (or the name of a request part), `line` counts from 1 and is None
    where lines mean nothing, `column` is a column name or a JSON path such as
    `read_points.bay-1.loss`, `value` the text found (empty when something is missing). `wrong` says
    what is wrong with it (empty: that it is missing, or not valid). `allowed` says what would be
    accepted, to be read after "Give"; where it ends with a full stop, it is a sentence of its own
    on what to do. `path` is the place as keys and indices where it lies in JSON (empty: not known),
    since a key may hold the dots that join `column`. `count` is 1, or of the last fault of a long
    list how many more were found that are not listed.
    """

    source: str
    line: int | None
    column: str | None
    value: str
    allowed: str
    path: tuple[str | int, ...] = field(default=(), compare=False)
    count: int = field(default=1, compare=False)
    wrong: str = ""

    @property
    def where(self) -> str:
        """The place in words."""
        line = "" if self.line is None else f", line {self.line}"
        column = "" if self.column is None else f", {_cut(self.column)}"
        return f"{self.source}{line}{column}"

    @property
    def said(self) -> str:
        """What is wrong, with where, without a full stop."""
        value = self.value
        if len(value) > _SHOWN_CHARACTERS:
            value = f"{value[:_SHOWN_CHARACTERS]}… ({len(value)} characters)"
        if self.wrong:
            joint = " " if self.wrong.startswith(_VERBS) else ": "
            said = f"{self.where}{joint}{_cut(self.wrong)}"
        else:
            said = f'{self.where}: "{value}" is not valid' if value else f"{self.where} is missing"
        # A terminal must never be steered by what a file holds.
        return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in said)

    @property
    def todo(self) -> str:
        """What to do, in a sentence."""
        allowed = _cut(self.allowed)
        todo = allowed if self.allowed.endswith(".") else f"Give {allowed}."
        return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in todo)

    def __str__(self) -> str:
        """What is wrong, with where, and what to do."""
        return f"{self.said}. {self.todo}"


def _cut(text: str) -> str:
    return text if len(text) <= _WORDS_CHARACTERS else f"{text[:_WORDS_CHARACTERS]}…"


class StrategistError(Exception):
    """Base of every error that strategist raises on purpose."""


class InputError(StrategistError):
    """Something the user gave is wrong. `faults` holds all that was found, in file order."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    @property
    def count(self) -> int:
        """How many faults were found; those that are not listed are counted in the last."""
        return sum(fault.count for fault in self.faults)

    @classmethod
    def one(
        cls,
        source: str,
        value: object,
        allowed: str,
        *,
        line: int | None = None,
        column: str | None = None,
        path: tuple[str | int, ...] = (),
        wrong: str = "",
    ) -> InputError:
        """An error with a single fault; without `column`, the `path` says where."""
        where = column or ".".join(str(part) for part in path) or None
        return cls([Fault(source, line, where, str(value), allowed, path, wrong=wrong)])


class MalformedError(InputError):
    """A text that should be JSON is none: broken, not UTF-8, too deep, or with a key twice."""


class SolveError(StrategistError):
    """The solver ended without an answer that it can stand by (not: infeasible, not: timed out)."""


class DisagreementError(StrategistError):
    """The model's loss and the evaluator's loss of the same strategy differ: our defect."""


class NotCompiledError(StrategistError):
    """Loops were not compiled for this Python; as Python they would take a thousand times as
    long."""

    def __init__(self) -> None:
        super().__init__(
            "the loops are not compiled for this Python; install strategist again "
            "(`pip install -e .` in its folder)"
        )
