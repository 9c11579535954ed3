"""site.json taken apart says what the whole says, or that it is not sound."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from strategist.survey import walk
from strategist.survey.faults import FaultList
from strategist.survey.walk import UnsoundError, loose_policies, policies_of

SOUND = [
    '{"site": "A", "read_points": {"a": {"levels_dbm": [15, 16.5]}, "b": {}, "c": 12, "d": null}}',
    '{"read_points": {}}',
    '{"read_points": {"a": 1}, "site": "q"}  \n',
    '\ufeff{"read_points":{"b":[1,{"a":"}"}],"\\u00e9é":{"k":1e5}}}',
    '{ "site" :"" ,\r\n "read_points"\t:{ "a,b" : 5 , "{" : "\\"" } }',
    '{"read_points": {"a": NaN, "b": 1e999, "c": 123456789012345678901234567890}}',
]
UNSOUND = [
    "",
    "[1]",
    "12",
    '"',
    "{",
    '{"site": "A"}',
    '{"site": 5, "read_points": {"a": 1}}',
    '{"read_points": 4}',
    '{"read_point": {"a": {}}}',
    '{"read_points": {"a": {}}, "read_points": {}}',
    '{"read_points": {"a": {"b": 1, "b": 2}}}',
    '{"read_points": {"a": 1} "site": ""}',
    '{"read_points": {"a": 1},}',
    '{"read_points": {"a": 1,}}',
    '{"read_points": {"a": 1}} x',
    '{"read_points": {"a" 1}}',
    '{"read_points": {"a": tru',
    '{"read_points": {"": 1}}',
    '{"read_points": {"a\\n": 1}}',
    '{"read_points": {"\\ud800": 1}}',
    '{"read_points": {"a": "\udcff"}}',
    '{"read_points": {"a": ' + "[" * 3000 + "]" * 3000 + "}}",
    '{"read_points": {"a": ' + "1" * 5000 + "}}",
]


def written(folder: Path, text: str) -> Path:
    path = folder / "site.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    return path


@pytest.fixture(params=[1, 5, 1 << 16])
def blocks(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """However the text is cut into blocks."""
    monkeypatch.setattr(walk, "_BLOCK", request.param)


@pytest.mark.usefixtures("blocks")
@pytest.mark.parametrize("text", SOUND)
def test_the_policies_are_those_of_the_whole(tmp_path: Path, text: str) -> None:
    faults = FaultList()
    path = written(tmp_path, text)
    assert plain(dict(policies_of(path))) == plain(dict(loose_policies(path, faults)))
    assert not faults


def plain(policies: dict[str, Any]) -> str:
    return json.dumps(policies)  # NaN is like NaN, and the order counts


@pytest.mark.usefixtures("blocks")
@pytest.mark.parametrize("text", UNSOUND)
def test_what_the_whole_refuses_is_not_sound(tmp_path: Path, text: str) -> None:
    faults = FaultList()
    path = written(tmp_path, text)
    list(loose_policies(path, faults))
    assert faults
    with pytest.raises(UnsoundError):
        list(policies_of(path))


def test_a_missing_file_is_not_sound(tmp_path: Path) -> None:
    with pytest.raises(UnsoundError):
        list(policies_of(tmp_path / "site.json"))


def test_values_are_read_one_at_a_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first policy is out before the file has been read to its end."""
    monkeypatch.setattr(walk, "_BLOCK", 100)
    points = {f"rp{n}": {"levels_dbm": [15, 16]} for n in range(100)}
    text = json.dumps({"read_points": points})
    policies = policies_of(written(tmp_path, text + " no JSON"))
    assert [next(policies) for _ in range(100)] == list(points.items())
    with pytest.raises(UnsoundError):
        next(policies)
