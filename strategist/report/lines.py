"""Lines of 80 columns: paragraphs, and labels with hanging text."""

from __future__ import annotations

import textwrap

WIDTH = 80
_INDENT, _LABEL = 2, 10


def paragraph(text: str, indent: int = _INDENT, hanging: int = 0) -> list[str]:
    """A text in lines; those after the first stand `hanging` columns further in."""
    first = " " * indent
    wrapped = textwrap.wrap(
        plain(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=first + " " * hanging,
        break_on_hyphens=False,
    )
    return wrapped or [""]


def heading(name: str, text: str) -> list[str]:
    """The first lines of a text: which read point, and what is said of it."""
    return paragraph(f"{name}: {text}", 0, 2)


def labelled(label: str, text: str) -> list[str]:
    """A label and, in a column of its own, a text."""
    lines = paragraph(text, _INDENT + _LABEL)
    lines[0] = f"{'':{_INDENT}}{label:<{_LABEL}}{lines[0][_INDENT + _LABEL :]}"
    return lines


def in_column(start: str, text: str) -> list[str]:
    """The start of a row and, in a column of its own behind it, a text."""
    first, *rest = paragraph(text, len(start))
    return [start + first[len(start) :], *rest]


def plain(text: str) -> str:
    """The text without characters that could steer a terminal."""
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)
