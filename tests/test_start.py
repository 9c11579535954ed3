"""What a command puts off when it begins is there all the same for whoever asks for it."""

from __future__ import annotations

import subprocess
import sys

import pytest

BEGUN = "import sys; from strategist.commands import start; start.begin(); "


def told(code: str) -> str:
    """What Python of its own prints, once a command has begun."""
    done = subprocess.run(
        [sys.executable, "-c", BEGUN + code], check=True, capture_output=True, text=True
    )
    return done.stdout.strip()


def test_metadata_is_put_off_and_there() -> None:
    code = (
        "print('importlib.metadata' in sys.modules); "
        "from importlib.metadata import entry_points, version; "
        "print(version('strategist') != '', len(entry_points(group='console_scripts')) > 1)"
    )
    assert told(code).split() == ["False", "True", "True"]


def test_whoever_asks_for_plugins_gets_them() -> None:
    code = (
        "import os; os.environ['PYDANTIC_DISABLE_PLUGINS'] = ''; "
        "from strategist.commands import start; start.begin(); "
        "import pydantic.dataclasses; pydantic.dataclasses.dataclass(type('A', (), {})); "
        "print('importlib.metadata' in sys.modules)"
    )
    whole = [sys.executable, "-c", f"import sys; {code}"]
    assert subprocess.run(whole, check=True, capture_output=True, text=True).stdout == "True\n"


@pytest.mark.parametrize(
    "ask",
    [
        "np.ma.array([1, 1, 2], mask=[0, 0, 1])",
        "__import__('numpy.ma').ma.array([1, 1, 2], mask=[0, 0, 1])",
        "__import__('pandas') and np.ma.array([1, 1, 2], mask=[0, 0, 1])",
    ],
)
def test_masked_arrays_are_put_off_and_there(ask: str) -> None:
    """Before they are loaded nothing is masked; after, numpy knows them as ever."""
    code = (
        "import numpy as np; early = np.ma; "
        "print(np.unique([2, 1, 2]).tolist(), np.median([1.0, 3.0]), 'numpy.ma' in sys.modules); "
        f"some = {ask}; "
        "print(np.ma.__spec__ is not None, np.ma.is_masked(some), early.is_masked(some), "
        "early.isMaskedArray(some), early.masked is np.ma.masked, len(np.unique(some)))"
    )
    assert told(code).splitlines() == ["[1, 2] 2.0 False", "True True True True True 2"]


@pytest.mark.parametrize("first", ["special", "scipy"])
def test_functions_of_scipy_by_themselves(first: str) -> None:
    """They are scipy's own, whichever of the two was loaded first."""
    ask = {
        "special": "from strategist.survey.late import special; special.ndtr; ",
        "scipy": "import scipy.special; from strategist.survey.late import special; special.ndtr; ",
    }[first]
    code = (
        f"{ask}print('scipy.special' in sys.modules); import scipy.special as whole; "
        "names = ('ndtr', 'ndtri', 'stdtrit', 'betaincinv', 'betainccinv', 'betaincc', 'fdtri'); "
        "print(all(getattr(special, n) is getattr(whole._ufuncs, n) for n in names)); "
        "print(whole.ndtr(0.3) == special.ndtr(0.3), whole.logsumexp([0.0, 0.0]) > 0)"
    )
    assert told(code).split() == [str(first == "scipy"), "True", "True", "True"]


def test_functions_of_scipy_that_stand_elsewhere() -> None:
    """In a version without the module that they are taken from, all of the package is loaded."""
    code = (
        "from pathlib import Path; import strategist.survey.late as late; "
        "late.Path = lambda _: Path('/nowhere/at.all'); "
        "print(late.special.ndtr(0.0), 'scipy.special' in sys.modules)"
    )
    assert told(code) == "0.5 True"


def test_types_of_annotations_and_help_texts_are_put_off_and_there() -> None:
    """What else numpy spares is loaded by whoever asks for it, and nothing stays in its place."""
    code = (
        "import numpy as np; names = ('numpy._typing', 'numpy._core._add_newdocs'); "
        "print([name in sys.modules for name in names]); "
        "import numpy.typing as npt; print(npt.NDArray is not np.linalg._linalg.NDArray); "
        "values = np.linalg.eigh(np.eye(2)); print(values.eigenvalues.tolist()); "
        "import pandas, scipy.stats; print(scipy.stats.norm.cdf(0.0))"
    )
    assert told(code).splitlines() == ["[False, False]", "True", "[1.0, 1.0]", "0.5"]


@pytest.mark.parametrize("columns", ["57", "", "wide", "0"])
def test_help_is_as_wide_as_the_terminal(columns: str) -> None:
    """As wide as argparse makes it by itself, where the terminal says how wide it is and where
    none does."""
    code = (
        "import argparse, os; from strategist.__main__ import command_parser; "
        f"os.environ['COLUMNS'] = {columns!r}; parser = command_parser(); ours = "
        "parser.format_help(); parser.formatter_class = argparse.HelpFormatter; "
        "print(ours == parser.format_help(), len(max(ours.splitlines(), key=len)))"
    )
    same, width = told(code).split()
    assert same == "True"
    assert (int(width) <= 55) == (columns == "57")


_CLASSES = """
import dataclasses, pickle
from dataclasses import FrozenInstanceError, dataclass, field

@dataclass(frozen=True, order=True)
class Pair:
    a: int
    b: list = field(default_factory=list, compare=False)

@dataclass(slots=True)
class Loop:
    own: object = None

def refused(act):
    try:
        act()
    except (FrozenInstanceError, TypeError) as error:
        return type(error).__name__, str(error)

one, same, more, loop = Pair(1), Pair(1, [2]), Pair(3), Loop()
loop.own = loop
for _ in range(2):
    print(one == same, one == more, one != same, one == 1, one < more, more <= one, one > same)
    print(repr(same), repr(loop), hash(one) == hash(same), {one: 5}[same], sorted([more, one]))
    print(refused(lambda: setattr(one, "a", 2)), refused(lambda: delattr(one, "a")), one.a)
    print(refused(lambda: setattr(one, "c", 2)), refused(lambda: hash(loop)))
    print(refused(lambda: one < 1), dataclasses.replace(one, a=4), pickle.loads(pickle.dumps(one)))
print(Pair.__eq__.__qualname__, Pair.__eq__.__name__, Pair.__repr__.__name__)
print(Pair.__eq__.__code__.co_filename, file=sys.stderr)
"""


def test_methods_that_are_written_later_are_those_of_dataclasses() -> None:
    def run(code: str) -> tuple[str, str]:
        whole = [sys.executable, "-c", code + _CLASSES]
        done = subprocess.run(whole, check=True, capture_output=True, text=True)
        return done.stdout, done.stderr

    (later, put_off), (at_once, written) = run(BEGUN + BEGUN), run("import sys; ")
    assert later == at_once
    assert "start.py" not in written
    assert ("start.py" in put_off) == (sys.version_info < (3, 13))
