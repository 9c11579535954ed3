"""A case read point by read point gives what the whole case gives, and isolates what is wrong."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from strategist.errors import InputError
from strategist.survey.order import natural
from strategist.survey.parts import Part, open_case
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint
from tests.survey.cases import plain, write_case

LINEN = Path(__file__).parents[2] / "cases/linen-service"


def parts(folder: Path) -> list[Part]:
    case = open_case(folder)
    found = list(case)
    assert len(case) == len(found)
    assert list(case.names()) == [part.read_point for part in found]
    return found


def same(one: ReadPoint, other: ReadPoint) -> bool:
    return (plain(one.survey), one.policy, one.warnings) == (
        plain(other.survey),
        other.policy,
        other.warnings,
    )


def all_same(folder: Path) -> bool:
    whole = read_case(folder).read_points
    found = [part.read() for part in parts(folder)]
    return len(whole) == len(found) and all(map(same, whole, found))


def test_the_demo_case_comes_out_the_same() -> None:
    assert all_same(LINEN)


def test_read_points_that_site_json_lacks_come_last_by_name(tmp_path: Path) -> None:
    """ "x2" before "x10"; the policies of the others in the order of the file."""
    names = ["x10", "z", "x2", "X3", "a", "x2b"]
    roster = [f"{name},p1,3001,wanted" for name in names]
    folder = write_case(
        tmp_path / "case",
        roster="\n".join(["read_point,pass_id,epc,role", *roster]),
        site='{"read_points": {"z": {}, "a": {}}}',
    )
    assert [part.read_point for part in parts(folder)][:2] == ["z", "a"]
    assert [part.read_point for part in parts(folder)][2:] == sorted(
        {*names, "gate"} - {"z", "a"}, key=natural
    )


def mixed(folder: Path, end: str = "\n", quote: str = "") -> Path:
    """Three read points whose rows stand mixed, blank lines between them."""
    rng = random.Random(4)
    names = ["b2", "x10", "x9"]
    roster = [
        f"{quote}{n}{quote},p{p},30{t:02d},wanted" for n in names for p in (1, 2) for t in (1, 2)
    ]
    reads = [
        f"30{t:02d},{quote} {n}{quote},p{p},{dbm},{-50 - t - p}"
        for n in names
        for p in (1, 2)
        for t in (1, 2, 3)
        for dbm in (15, 16)
    ]
    tried = [f"{dbm},p{p},{quote}{n}{quote}" for n in names for p in (1, 2, 3) for dbm in (15, 16)]
    rng.shuffle(tried)
    rng.shuffle(roster)
    rng.shuffle(reads)
    reads.insert(5, "")
    return write_case(
        folder,
        end.join(["epc,read_point,pass_id,power_dbm,rssi_dbm", *reads]),
        end.join(["", "read_point,pass_id,epc,role", *roster, "", ""]),
        '{"read_points": {"b2": {"levels_dbm": [15, 16]}}}',
        end.join(["power_dbm,pass_id,read_point", *tried]),
    )


@pytest.mark.parametrize("quote", ["", '"'])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_mixed_rows_come_out_the_same(tmp_path: Path, end: str, quote: str) -> None:
    """Whatever ends the lines and however they are quoted; order: site.json, then by name."""
    folder = mixed(tmp_path / "case", end, quote)
    assert [part.read_point for part in parts(folder)] == ["b2", "x9", "x10"]
    assert all_same(folder)


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("reads.csv", "-52", "loud"),
        ("reads.csv", ",p1,15,", ",p1,15,9,"),
        ("roster.csv", "wanted", "seen"),
        ("roster.csv", "3001,wanted", '"3001\nx",wanted'),
        ("reads.csv", "3002", "30\udc80"),
    ],
)
@pytest.mark.parametrize("quote", ["", '"'])
def test_a_fault_names_its_line_and_spoils_one_read_point(
    tmp_path: Path, file: str, old: str, new: str, quote: str
) -> None:
    """The faults are those of the whole case, letter for letter; the other read points are read."""
    folder = mixed(tmp_path / "case", "\n", quote)
    text = (folder / file).read_text()
    (folder / file).write_text(text.replace(old, new, 1), errors="surrogateescape")
    found, sound = [], 0
    for part in parts(folder):
        try:
            part.read()
            sound += 1
        except InputError as error:
            found.append(error)
    with pytest.raises(InputError) as whole:
        read_case(folder)
    assert sound == 2
    if new == "30\udc80":  # of the whole file only the first bad byte is named, by offset
        assert found[0].faults[0].line == whole.value.faults[0].line
    else:
        assert found[0].faults == whole.value.faults


def test_a_bad_policy_spoils_one_read_point(tmp_path: Path) -> None:
    site = {"read_points": {"gate": {"stop_afer": 2}, "gate.2": {}}}
    write_case(tmp_path / "case", site=json.dumps(site))
    gate, other = parts(tmp_path / "case")
    with pytest.raises(InputError) as error:
        gate.read()
    (fault,) = error.value.faults
    assert (fault.source, fault.column) == ("site.json", "read_points.gate.stop_afer")
    assert "stop_after" in fault.allowed
    with pytest.raises(InputError, match=r'roster.csv.*at least one row of read point "gate.2"'):
        other.read()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"reads": "read_point,pass\n"}, "reads.csv, line 1"),
        ({"reads": ""}, "reads.csv is missing"),
        ({"roster": "read_point,pass_id,epc,role\n"}, "at least one row below the header"),
        (
            {"roster": 'read_point,pass_id,epc,role\ngate,p1,"3001,wanted\n'},
            "Write quotes in pairs",
        ),
        ({"site": "{"}, "site.json, line 1"),
        (
            {"site": '{"read_points": {"gate": {}, "gate": {}}}'},
            '"gate" stands twice.*each key once',
        ),
        ({"site": '{"read_points": {"gate": {}}, "sight": "x"}'}, 'nearest: "site"'),
        ({"tried": "a;b\n"}, "tried.csv, line 1"),
    ],
)
def test_a_case_that_cannot_be_read_as_a_whole(
    tmp_path: Path, change: dict[str, str], words: str
) -> None:
    write_case(tmp_path / "case", **change)
    with pytest.raises(InputError, match=words):
        parts(tmp_path / "case")


def test_missing_files_are_all_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        open_case(tmp_path / "nowhere")
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError) as error:
        open_case(tmp_path / "empty")
    assert {fault.source for fault in error.value.faults} == {
        "site.json",
        "reads.csv",
        "roster.csv",
    }


def test_a_file_that_changes_under_the_walk_is_refused(tmp_path: Path) -> None:
    folder = write_case(tmp_path / "case")
    case = open_case(folder)
    with (folder / "reads.csv").open("a") as file:
        file.write("gate,p2,15,3001,-49\n")
    with pytest.raises(InputError, match="has changed"):
        list(case)


def test_the_digest_is_of_content(tmp_path: Path) -> None:
    """Rows of others before it change nothing; a value of its own, its policy, options do."""
    reads = "read_point,pass_id,power_dbm,epc,rssi_dbm\ngate,p1,15,3001,-50\n"
    other = reads.replace("gate", "yard,p1,15,3001,-50\ngate")
    site = '{"read_points": {"gate": {"levels_dbm": [15, 16]}, "yard": {}}}'

    def digest(name: str, *also: str, **files: str) -> str:
        files = {"reads": reads, "site": site} | files
        folder = write_case(tmp_path / name, **files)
        return next(iter(parts(folder))).digest(*also)

    plain_ = digest("plain")
    assert digest("other", reads=other) == plain_
    assert digest("spaced", site=site.replace(": ", ":")) == plain_
    assert digest("value", reads=reads.replace("-50", "-51")) != plain_
    assert digest("policy", site=site.replace("15, 16", "15")) != plain_
    assert digest("options", "x") != plain_
    assert digest("options", "x", "y") != digest("options", "xy")
