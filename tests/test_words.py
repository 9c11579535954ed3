"""What users read (help, errors, answers, the page and the description of the API, each text in the
source), against phrases that said too little or too much, and terms that mean two things."""

from __future__ import annotations

import argparse
import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.__main__ import _parser as api_parser
from api.app import ENDPOINTS
from api.openapi import describe
from api.page import page
from strategist.__main__ import command_parser, main
from tests.faults import asked
from tests.faults.provoked import write
from tests.faults.test_faults import TYPED

ROOT = Path(__file__).parent.parent

STOCK = (  # of the library that judges values
    *("Field required", "Extra inputs are not permitted", "Input should be", "should have at"),
    *("String should match", "should match pattern", "valid array", "valid integer"),
    *("valid number", "unexpected keyword", "Value error", "valid dictionary", "valid boolean"),
    *("unable to parse", "type=missing", "JSON decode", "Expecting value", "Extra data"),
    # of those that read arguments, tables, archives, XML and requests
    *("invalid choice", "unrecognized arguments", "ignored explicit", "expected one argument"),
    *("arguments are required", "unexpected end of data", "not a zip file", "mismatched tag"),
    *("not well-formed (", "requested URL", "server could not verify", "did not understand"),
)
PHRASES = (  # elliptic, or in a manner of our own
    *("found nothing", "; allowed:", "Mend what", "keys once", "for sure"),
    *("all that was surveyed, no further stray", "truly fails", "after a look at it shows less"),
    *("stood by", "the run is no pass", "there the answer turns", "would have set others"),
    *("rates flatter", "counts carry", "If all drifts", "the bits are:", "is left to the others"),
    *("part them", "parts them", "Do not build on", "treats the types unequally"),
    *("Chance of passing", "passes easily", "as 0.05", "others work", "the same command again"),
    *("Yours, for", "Yours, new", "requests are welcome", "docs of the project", "not claimed"),
    *("leave the search", "less what the gain", "stand drift better", "inside it alone"),
    *("as varied as a serial", "or exactly the others", "no such thing here"),
    *("own programs only", "Something in the request", "It is still needed", "so many:"),
    *("as on its data sheet", "of the solver (0)", "waiting_prompt", "prompt-only"),
    *("that nothing beats", "no other betters", "told nothing", "as asked for, and"),
    *(
        "passed the masks",
        "silenced by",
        "The figures</",
        "all that was surveyed",
        "go the wrong way; the best",
        "hold step_s nor link",
        "neither step_s nor link",
        "passed cutoff",
    ),
)
TERMS = (  # one word for one thing
    *("FCC reference level", "rate_limit", "may_pay", "may-pay", "prover", "coupling"),
    *("item class", "failures_allowed", "plan-acceptance"),
)
FORBIDDEN = (*STOCK, *PHRASES, *TERMS)
# Where a forbidden text stands for something else.
MEANT = {
    ("strategist/survey/refused.py", "Value error"),  # taken off
    ("strategist/survey/json_text.py", "Expecting value"),  # translated
    ("strategist/survey/json_text.py", "Extra data"),
    ("api/store/schema.py", "coupling"),  # older stores are brought up to date by it
    ("api/store/schema.py", "prover"),
    ("strategist/commands/parser.py", "invalid choice"),  # put in words of our own
    ("strategist/commands/parser.py", "unrecognized arguments"),
    ("strategist/commands/parser.py", "ignored explicit"),
    ("strategist/commands/parser.py", "expected one argument"),
    ("strategist/commands/parser.py", "arguments are required"),
}


def told(text: str) -> list[str]:
    """The forbidden texts in one that a user reads; lines and spaces do not matter."""
    plain = " ".join(text.split())
    return [one for one in FORBIDDEN if one.lower() in plain.lower()]


def helps(parser: argparse.ArgumentParser) -> Iterator[str]:
    """The help of a parser and of all commands in it."""
    yield parser.format_help()
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                yield from helps(inner)


def test_each_phrase_would_be_seen() -> None:
    for one in FORBIDDEN:
        assert one in told(f"Something\n  {one} else.".replace(" ", "  "))
    assert told("A pass is a load.") == []


def test_help() -> None:
    texts = [*helps(command_parser()), *helps(api_parser())]
    assert len(texts) > 15
    assert [(text.split("\n")[0], found) for text in texts if (found := told(text))] == []


def test_errors() -> None:
    """Those that are provoked one by one (tests/faults holds each of them to its words)."""
    texts = [one.said for one in TYPED] + [one.detail for one in asked.ALL]
    assert len(texts) > 250
    assert [(text, found) for text in texts if (found := told(text))] == []


def test_the_description_and_its_page() -> None:
    assert told(json.dumps(describe(ENDPOINTS), ensure_ascii=False)) == []
    assert told(page(describe(ENDPOINTS))) == []


@pytest.mark.parametrize("argv", ["check case", "solve case", "masks case", "keys"])
def test_answers(argv: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    write(tmp_path, {})
    monkeypatch.chdir(tmp_path)
    assert main(argv.split()) == 0
    assert told(capsys.readouterr().out) == []


def texts_of(path: Path) -> Iterator[str]:
    """The texts in a source that may be shown: all but docstrings; of a template all."""
    source = path.read_text(encoding="utf-8")
    if path.suffix != ".py":
        yield re.sub(r"\{[#%].*?[#%]\}", " ", source, flags=re.S)
        return
    tree = ast.parse(source)
    documents = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        is_text = isinstance(node, ast.Constant) and isinstance(node.value, str)
        if is_text and id(node) not in documents:
            yield node.value


SHOWN = (".py", ".pyi", ".j2", ".html", ".js")


def sources() -> list[Path]:
    found = [ROOT / "README.md", ROOT / "cases/linen-service/README.md"]
    for folder in ("strategist", "api"):
        found += [p for p in (ROOT / folder).rglob("*") if p.suffix in SHOWN]
    return found


@pytest.mark.parametrize("path", sources(), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_texts_in_the_source(path: Path) -> None:
    name = path.relative_to(ROOT).as_posix()
    found = {
        (one, text[:80])
        for text in texts_of(path)
        for one in told(text)
        if (name, one) not in MEANT
    }
    assert found == set()
