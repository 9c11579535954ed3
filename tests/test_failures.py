"""What a command says where something goes wrong that is no fault of its input, or is absurd."""

from __future__ import annotations

import copy
import errno
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist import Options, Strategy, choose, read_case, read_strategy
from strategist.__main__ import main
from tests.batch.sites import write_site


def failing(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    def fail(*_: Any, **__: Any) -> Any:
        raise error

    monkeypatch.setattr(strategist, "read_case", fail)


@pytest.mark.parametrize("error", [ValueError("what\never"), KeyError("x"), RecursionError("deep")])
def test_a_defect_is_one_line(
    error: Exception, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    failing(monkeypatch, error)
    assert main(["check", "case"]) == 3
    said = capsys.readouterr().err
    assert said.startswith("A defect of strategist (test_failures.py, line ")
    assert type(error).__name__ in said and said.count("\n") == 1


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (FileNotFoundError(errno.ENOENT, "No such file", "there/x"), "there/x: No such file\n"),
        (
            BlockingIOError(errno.EAGAIN, "Resource temporarily unavailable"),
            "The system refused what the command needs: Resource temporarily unavailable.\n",
        ),
    ],
)
def test_the_system_refuses_something_else_than_output(
    error: OSError, said: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was told as trouble with standard output."""
    failing(monkeypatch, error)
    assert main(["check", "case"]) in (2, 3)
    assert capsys.readouterr().err == said


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    site = write_site(tmp_path_factory.mktemp("absurd") / "site", 1)
    found = choose(read_case(site).read_points[0], Options(unseen=False)).to_json()
    beside = {"strategy": found["strategy"], "mask_words": found["mask_words"]}
    rare = {  # what only some results hold
        "silence_loss": 2.0,
        "worst_case": {"loss": 2.0, "missed": 1, "stray": 1},
        "predicted": {"steps_dbm": [15.0]},
        "sturdier": beside | {"gives_up": "little", "gains": "much"},
        "time": {"expected_s": 1.0, "worst_s": 1.0, "step_worst_s": 1.0, "quantile": 0.9}
        | {"dwell_s": None, "fits": None},
    }
    return rare | {
        key: value for key, value in found.items() if value is not None or key not in rare
    }


def numbers(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The place of each number in a document; of a list only that of the first two items."""
    if isinstance(value, dict):
        for key, one in value.items():
            yield from numbers(one, (*path, key))
    elif isinstance(value, list):
        for place, one in enumerate(value[:2]):
            yield from numbers(one, (*path, place))
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield path


@pytest.mark.parametrize("absurd", [10**400, 1e308, -(10**18)])
def test_a_report_of_absurd_figures(
    result: dict[str, Any], tmp_path: Path, absurd: float, capsys: pytest.CaptureFixture[str]
) -> None:
    """Refused by the name of the figure, or of no matter to the page; never an OverflowError."""
    file, refused = tmp_path / "result.json", 0
    for path in numbers(result):
        document = copy.deepcopy(result)
        inner: Any = document
        for part in path[:-1]:
            inner = inner[part]
        inner[path[-1]] = absurd
        file.write_text(json.dumps(document))
        status = main(["report", str(file), "--out", str(tmp_path / "page.html")])
        said = capsys.readouterr().err
        assert status in (0, 2), said
        assert status == 0 or str(path[0]) in said
        refused += status == 2
    assert refused > 20


def test_lists_of_a_strategy_have_an_end() -> None:
    mask = {"bank": "epc", "pointer": 32, "length": 8, "pattern": "30"}
    masks = [mask, *[mask | {"join": "or"}] * 100]
    for given, found in (
        ({"levels_dbm": [number / 100 for number in range(1001)]}, "levels_dbm"),
        ({"levels_dbm": [15], "masks": masks}, "masks"),
    ):
        with pytest.raises(strategist.InputError, match=found) as refused:
            read_strategy(json.dumps(given).encode(), "strategy")
        assert refused.value.count == 1
    with pytest.raises(strategist.InputError, match="stop_after"):
        read_strategy(b'{"levels_dbm": [15], "stop_after": 1%s}' % (b"0" * 400), "strategy")
    assert Strategy((15.0,), 10**6).stop_after == 10**6
