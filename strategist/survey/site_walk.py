"""site.json read point by read point, in memory that does not grow with their number.

The file is taken apart into a *frame*, which is the file without its read points, and a *piece* for
each of these. Where all of them are sound as documents of their own, so is the file, except for a
read point that comes twice, which the caller sees. Whatever is not sound is left to `parse_json`
over the whole, so that there is one way to say what is wrong.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

import pydantic
from pydantic import TypeAdapter

from strategist.errors import InputError
from strategist.survey.faults import FaultList
from strategist.survey.json_text import parse_json
from strategist.survey.policy import STRICT, Name
from strategist.survey.tables import read_bytes

__all__ = ["SITE", "UnsoundError", "loose_policies", "policies_of", "site_name"]

SITE = "site.json"
_BLOCK = 1 << 16  # characters read together
_BLANK = re.compile(r"[ \t\n\r]*")
_BEHIND = tuple(" \t\n\r,:}")  # what may stand behind a key or value
_DECODER = json.JSONDecoder()


@pydantic.dataclasses.dataclass(frozen=True, config=STRICT)
class _Site:
    """site.json with its policies unjudged: a bad one spoils its own read point alone."""

    read_points: dict[Name, Any]
    site: str = ""


_LOOSE: TypeAdapter[_Site] = TypeAdapter(_Site)


class UnsoundError(Exception):
    """Something in the file is not as it should be."""


def loose_policies(path: Path, faults: FaultList) -> dict[str, Any]:
    """The policies of a whole file, unjudged; empty after adding its faults."""
    data = read_bytes(path, SITE, faults)
    if data is None:
        return {}
    try:
        return parse_json(data.removeprefix(b"\xef\xbb\xbf"), _LOOSE, SITE).read_points
    except InputError as error:
        for fault in error.faults:
            faults.add(fault)
        return {}


def policies_of(path: Path) -> Iterator[tuple[str, Any]]:
    """(read point, policy) of each read point, unjudged, as they stand in the file.

    Raises UnsoundError, maybe after some of them, where the file is not sound.
    """
    if not path.is_file():
        raise UnsoundError
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            yield from _policies(_Text(file))
    except (InputError, ValueError, RecursionError, OSError):
        raise UnsoundError from None


def site_name(path: Path) -> str:
    """The name of the site; "" where the file has none or is not sound, which is told elsewhere."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            text = _Text(file)
            for key in text.members():
                if key == '"site"':
                    name = json.loads(text.value())
                    return name if isinstance(name, str) else ""
                if key == '"read_points"' and text.next() == "{":
                    for _ in text.members():  # one by one, in little memory
                        text.value()
                else:
                    text.value()
    except (UnsoundError, ValueError, RecursionError, OSError):
        pass
    return ""


def _policies(text: _Text) -> Iterator[tuple[str, Any]]:
    frame = []
    for key in text.members():
        value = "{}"
        if key == '"read_points"' and text.next() == "{":
            for name in text.members():
                piece = f'{{"read_points": {{{name}: {text.value()}}}}}'
                yield from parse_json(piece.encode(), _LOOSE, SITE).read_points.items()
        else:
            value = text.value()
        frame.append(f"{key}: {value}")
    if text.next():
        raise UnsoundError
    parse_json(f"{{{', '.join(frame)}}}".encode(), _LOOSE, SITE)


class _Text:
    """A JSON text that is read as far as it is needed, one value in memory at a time."""

    def __init__(self, file: TextIO) -> None:
        self._file = file
        self._text = ""
        self._at = 0

    def next(self) -> str:
        """The next character that is not blank, not taken; "" at the end."""
        while True:
            found = _BLANK.match(self._text, self._at)
            assert found is not None  # nothing matches, too
            self._at = found.end()
            if self._at < len(self._text):
                return self._text[self._at]
            if not self._read_on():
                return ""

    def members(self) -> Iterator[str]:
        """The keys of the object that comes, as JSON; whoever gets one takes its value."""
        self._take("{")
        mark = "" if self.next() == "}" else ","
        while mark == ",":
            if self.next() != '"':
                raise UnsoundError
            key = self.value()
            self._take(":")
            yield key
            mark = self.next()
            if mark == ",":
                self._take(",")
        self._take("}")

    def value(self) -> str:
        """The value that comes, as JSON."""
        self.next()
        while True:
            try:
                _, end = _DECODER.raw_decode(self._text, self._at)
            except ValueError:  # cut off by the end of what was read, or wrong
                end = len(self._text)
            if self._text[end : end + 1] in _BEHIND:  # not a number that goes on, such as 1|e5
                value = self._text[self._at : end]
                self._at = end
                return value
            if not self._read_on():
                raise UnsoundError

    def _take(self, mark: str) -> None:
        if self.next() != mark:
            raise UnsoundError
        self._at += 1

    def _read_on(self) -> bool:
        """Read as much as there is unread, at least a block, so that no value is tried often."""
        kept = self._text[self._at :]
        more = self._file.read(max(_BLOCK, len(kept)))
        self._text, self._at = kept + more, 0
        return bool(more)
