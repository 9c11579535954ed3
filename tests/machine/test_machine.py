"""Machine code does what its functions do as Python, wherever it is kept."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest

from strategist.machine import code as machine
from strategist.machine.code import compiled, inner, set_interpreted
from strategist.machine.translate import UnknownError, translated
from strategist.optimise.clock import Clock
from strategist.optimise.problem import Answer, pose
from strategist.optimise.search import search
from strategist.optimise.tuning import Tuning
from strategist.survey.records import Bools, Floats, Ints
from tests.optimise.made import random_read_point

ROOT = Path(__file__).parents[2]
NOBODY = ("setpriv", "--reuid", "65534", "--regid", "65534", "--clear-groups")
_HALF = 0.5


@pytest.fixture
def as_python() -> Iterator[None]:
    set_interpreted(True)
    yield
    set_interpreted(False)


@inner
def _sum_of_some(values: Floats, taken: Bools, least: float) -> tuple[float, int]:
    total, number = 0.0, 0
    for i in range(len(values)):
        if (taken[i] and values[i] >= least) or i == 0:
            total += values[i]
            number += 1
    return total, number


@compiled
def mixed(values: Floats, taken: Bools, places: Ints, deep: int) -> tuple[float, int, bool]:
    """A bit of everything that may stand in a compiled function."""
    rows = np.empty((deep, 2))
    for i in range(deep - 1, -1, -1):
        row = rows[i]
        row[0], row[1] = float(i), _HALF if i > 1 else -i
    total, number = _sum_of_some(values[1:], taken[1 : len(taken)], -np.inf)
    turns, found = 0, False
    while True:
        turns += 1
        if turns > 100:
            break
        if turns < 3 or not found:
            found = 2 < turns <= 5 and not taken[0]
            continue
        total -= abs(min(rows[turns - 3, 1], max(total, 0.0))) / 2
        if turns - 2 >= deep:
            break
    for k in range(len(places)):
        places[k] = (places[k] >> 1 | number << 2) & 255
    return total, turns, found


def test_machine_code_does_what_python_does(as_python: None) -> None:
    rng = np.random.default_rng(0)
    for size in (1, 2, 7, 30):
        values, taken = rng.normal(size=size), rng.random(size) < 0.5
        places, deep = rng.integers(0, 99, size), 1 + size % 5
        found = []
        for on in (False, True):
            set_interpreted(on)
            own = places.copy()
            found.append((*mixed(values, taken, own, deep), own.tolist()))
        assert found[0] == found[1]


@pytest.mark.parametrize("seed", range(5))
def test_a_search_is_the_same_in_machine_code(seed: int, as_python: None) -> None:
    """Bounds, fixing, cuts, joins, ladders: answer and effort, to the last bit."""
    read_point = random_read_point(seed, size=1 + seed % 2)
    tuning = Tuning(few=0, sieved=2, cut_sample=20, joins_few=0, at_once=7, many=seed % 3)
    found: list[Answer] = []
    for on in (False, True):
        set_interpreted(on)
        found.append(search(pose(read_point.survey, read_point.policy, tuning), Clock()))
    assert found[0] == found[1]


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("x += [1]", "is not translated"),
        ("x = y", "is not known"),
        ("x = 1.5", "is not"),
        ("for k in a: x = k", "loops go over a range"),
        ("x = a[-1]", "counted from the start"),
        ("for k in range(3): b = np.empty(k)", "outside of loops"),
        ("a = a[::2]", "without steps"),
    ],
)
def test_what_is_not_translated_is_refused(line: str, why: str) -> None:
    source = f"def one(a: Ints) -> int:\n    x = 1\n    {line}\n    return x\n"
    with pytest.raises(UnknownError, match=why):
        translated(source, {}, ["one"], ["one"])


def test_arrays_are_those_of_the_annotations() -> None:
    for wrong in (np.zeros(3, np.float32), np.zeros((2, 2)), np.zeros(6)[::2]):
        with pytest.raises(TypeError, match="Floats wanted"):
            mixed(wrong, np.ones(3, bool), np.zeros(1, np.int64), 1)


SUMS = """
import numpy, sys
from strategist.optimise import walks
print(int(walks.sums_of_bytes(numpy.array([1.0, 2.0, 0, 0, 0, 0, 0, 0])).max()))
"""


def run(python: Sequence[str], **more: str) -> None:
    """Three is the answer, and nothing else is said."""
    environment = os.environ | {"HOME": "/nonexistent", "PYTHONDONTWRITEBYTECODE": "1"} | more
    done = subprocess.run(
        [*python, "-c", SUMS],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "3\n", "")


def test_code_is_kept_and_what_is_damaged_is_made_again(tmp_path: Path) -> None:
    folder = tmp_path / "code"
    given = {machine.FOLDER: str(folder)}
    run([sys.executable], **given)
    (kept,) = folder.iterdir()
    whole = kept.read_bytes()
    before = kept.stat().st_mtime_ns
    run([sys.executable], **given)
    assert kept.stat().st_mtime_ns == before
    for damaged in (whole[:-9], b"?" + whole[1:]):
        kept.write_bytes(damaged)
        run([sys.executable], **given)
        assert kept.read_bytes() == whole


def test_nowhere_to_keep_it(tmp_path: Path) -> None:
    """It is compiled in memory: as a user without rights and without a home, too."""
    (tmp_path / "file").touch()
    run([sys.executable], **{machine.FOLDER: str(tmp_path / "file")})
    if os.geteuid() != 0 or shutil.which(NOBODY[0]) is None:
        pytest.skip("needs root and setpriv")
    if subprocess.run([*NOBODY, sys.executable, "-c", "import numpy"], check=False).returncode:
        pytest.skip("another user cannot read this installation")
    run([*NOBODY, sys.executable])
