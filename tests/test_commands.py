"""The command line: what it prints, writes and returns, and that no traceback reaches a user."""

from __future__ import annotations

import json
import os
import re
import signal
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist.__main__ import main
from strategist.errors import DisagreementError, SolveError

# A read point worked by hand. Wanted W1 is read from 20 dBm on, W2 at 23 only; stray S at 23 and
# weaker than W2. At 23 dBm with a cutoff in (−60, −50] all is well; without one the stray costs 1.
# Under the guards W1 counts as read at 20 dBm with −57, S with −58: the cutoff goes in between.
W1, W2, S = "3034AA01", "3034AA02", "3034BB01"
READS = [
    ("p1", 20, W1, -55),
    ("p1", 23, W1, -50),
    ("p2", 23, W2, -50),
    ("p2", 23, S, -60),
]
ROSTER = [("p1", W1, "wanted"), ("p2", W2, "wanted"), ("p2", S, "stray")]


def case(folder: Path, points: dict[str, dict[str, Any]], reads: Any = READS) -> Path:
    """A case folder with the same survey at each of the read points."""
    folder.mkdir()
    rows = [f"{name},{p},{dbm},{epc},{rssi}" for name in points for p, dbm, epc, rssi in reads]
    header = "read_point,pass_id,power_dbm,epc,rssi_dbm"
    (folder / "reads.csv").write_text("\n".join([header, *rows]) + "\n")
    rows = [f"{name},{p},{epc},{role}" for name in points for p, epc, role in ROSTER]
    (folder / "roster.csv").write_text("\n".join(["read_point,pass_id,epc,role", *rows]) + "\n")
    site = {
        "site": "Made",
        "read_points": {
            n: {"levels_dbm": [20, 23], "aim": "survey"} | p for n, p in points.items()
        },
    }
    (folder / "site.json").write_text(json.dumps(site))
    return folder


@pytest.fixture
def one(tmp_path: Path) -> Path:
    return case(tmp_path / "one", {"door": {"allow": ["power", "cutoff"]}})


@pytest.fixture
def two(tmp_path: Path) -> Path:
    return case(
        tmp_path / "two", {"door": {"allow": ["power", "cutoff"]}, "dock": {"allow": ["power"]}}
    )


def run(capsys: pytest.CaptureFixture[str], *argv: object) -> tuple[int, str, str]:
    """(exit status, standard output, standard error) of a command in this process."""
    try:
        status = main([str(argument) for argument in argv])
    except SystemExit as error:  # argparse
        status = int(error.code or 0)
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return status, out, err


def shell(*argv: object, **how: Any) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own."""
    command = [sys.executable, "-m", "strategist", *map(str, argv)]
    return subprocess.run(command, capture_output=True, text=True, check=False, **how)


def test_solve_says_what_to_set_what_it_does_and_the_proof(capsys: Any, one: Path) -> None:
    status, out, err = run(capsys, "solve", one, "--detail")
    assert (status, err) == (0, "")
    assert out.startswith("door: best strategy, proven\n")
    assert "  power     23 dBm, fixed\n" in out
    assert "  cutoff    -57.5 dBm: drop every read with a weaker RSSI\n" in out
    assert "  masks     none\n" in out
    assert "  missed    0 of 2 wanted (0 %)\n" in out
    assert "  stray     0 of 1 stray reported (0 a pass)\n" in out
    assert "  loss      0 = 5 x 0 missed + 1 x 0 stray\n" in out
    assert "Proven: no strategy among 2 levels, 2 cutoffs and 0 masks has a lower" in out
    assert "radiated" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_solve_writes_the_result(capsys: Any, one: Path, tmp_path: Path) -> None:
    file = tmp_path / "result.json"
    assert run(capsys, "solve", one, "--out", file)[0] == 0
    found = json.loads(file.read_text())
    wanted = strategist.choose(strategist.read_case(one).read_points[0]).to_json()
    assert found | {"seconds": 0} == wanted | {"seconds": 0}
    assert stat.S_IMODE(file.stat().st_mode) & 0o400
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one", "result.json"]


@pytest.mark.parametrize("method", ["auto", "model"])
def test_solve_to_standard_output_is_json_alone(one: Path, method: str) -> None:
    """A process of its own: HiGHS writes to file descriptor 1 behind Python's back."""
    done = shell(
        "solve", one, "--out", "-", "--method", method, "--seed", "3", "--time-limit", "60"
    )
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert (found["status"], found["loss"], found["bound"]) == ("optimal", 0.0, 0.0)
    assert found["proof"]["by"] == {"auto": "search"}.get(method, method)


def test_solve_takes_every_read_point_in_turn(capsys: Any, two: Path) -> None:
    status, out, _ = run(capsys, "solve", two, "--detail")
    assert status == 0
    heads = [line for line in out.splitlines() if line.endswith("best strategy, proven")]
    assert heads == ["door: best strategy, proven", "dock: best strategy, proven"]
    assert out.count("Caution") == 1  # once, behind the last
    assert "  loss      1 = 5 x 0 missed + 1 x 1 stray\n" in out  # dock has no cutoff


def test_solve_of_one_read_point(capsys: Any, two: Path) -> None:
    status, out, _ = run(capsys, "solve", two, "--read-point", "dock", "--out", "-")
    assert (status, json.loads(out)["read_point"]) == (0, "dock")


def test_out_of_several_read_points_is_a_list(capsys: Any, two: Path, tmp_path: Path) -> None:
    """Which `compare`, `export`, `accept` and `report` take as they take one result."""
    file = tmp_path / "x.json"
    status, out, err = run(capsys, "solve", two, "--out", file)
    assert (status, err) == (0, "") and out.count(": best strategy, proven") == 2
    results = json.loads(file.read_text())
    alone = [
        run(capsys, "solve", two, "--read-point", n, "--out", "-")[1] for n in ("door", "dock")
    ]
    assert [one | {"seconds": 0} for one in results] == [
        json.loads(one) | {"seconds": 0} for one in alone
    ]
    given = ("--strategy", file)
    status, out, _ = run(capsys, "compare", two, *given, "--out", "-")
    assert [one["read_point"] for one in json.loads(out)] == ["door", "dock"]
    status, out, _ = run(capsys, "export", two, *given, "--format", "gen2", "--out", "-")
    assert [one["read_point"] for one in json.loads(out)] == ["door", "dock"]
    status, out, _ = run(capsys, "accept", two, *given, "--out", "-")
    assert (status, [one["read_point"] for one in json.loads(out)]) == (1, ["door", "dock"])
    status, out, err = run(capsys, "report", file, "--out", tmp_path / "page.html")
    assert (status, err) == (0, "") and "2 of 2 read points" in out
    status, out, _ = run(capsys, "compare", two, *given, "--read-point", "dock")
    assert (status, out.splitlines()[0]) == (0, "dock: x")
    file.write_text(json.dumps([results[0], results[0]]))
    status, out, err = run(capsys, "compare", two, *given)
    assert (status, out) == (2, "") and "different read points" in err


def test_some_of_the_read_points(capsys: Any, tmp_path: Path) -> None:
    names = ("gate", "door", "dock")
    three = case(tmp_path / "three", {name: {"allow": ["power"]} for name in names})
    asked = ("--read-point", "dock", "--read-point", "gate", "--out", "-")
    for command in ("solve", "masks", "assess", "trade-offs"):
        status, out, _ = run(capsys, command, three, *asked)
        assert status == 0
        assert [one["read_point"] for one in json.loads(out)] == ["gate", "dock"], command
    found = json.loads(run(capsys, "check", three, *asked)[1])
    assert [one["read_point"] for one in found["read_points"]] == ["gate", "dock"]
    status, out, err = run(capsys, "solve", three, "--read-point", "gate", "--read-point", "dor")
    assert (status, out) == (2, "") and 'nearest: "door"' in err


def test_one_unsolvable_read_point_does_not_stop_the_others(capsys: Any, two: Path) -> None:
    pairs = [("door", "p1", 20), ("door", "p1", 23), ("door", "p2", 23)]
    pairs += [("dock", p, dbm) for p in ("p1", "p2") for dbm in (20, 23)]
    text = "\n".join(["read_point,pass_id,power_dbm", *(f"{n},{p},{d}" for n, p, d in pairs)])
    (two / "tried.csv").write_text(text)
    status, out, err = run(capsys, "solve", two)
    assert status == 2
    assert out.startswith("dock: best strategy, proven")
    assert "read_points.door.untried" in err and "p2 at 20 dBm" in err
    status, out, err = run(capsys, "check", two)
    assert (status, err) == (1, "")
    assert out.endswith("Unusable: 1 of 2 read points cannot be solved as the case stands.\n")
    assert "unusable: site.json, read_points.door.untried" in out


def test_limit_that_cannot_be_kept_is_named_with_its_excess(capsys: Any, tmp_path: Path) -> None:
    policy = {"allow": ["power"], "limits": {"missed_rate_max": 0.1, "stray_rate_max": 0.25}}
    status, out, _ = run(capsys, "solve", case(tmp_path / "c", {"door": policy}), "--detail")
    assert status == 0
    assert out.startswith("door: no strategy keeps the limits; this one exceeds them least\n")
    # 20 dBm: missed 0.5, over by 0.4. 23 dBm: one stray in two passes, over by 0.25.
    assert "  limit     missed rate 0 %, at most 10 %: kept\n" in out
    assert "  limit     stray 0.5 a pass, at most 0.25: EXCEEDED by 0.25\n" in out
    assert "keeps the limits, and none exceeds them less" in re.sub(r"\s+", " ", out)


def test_masks_are_said_in_words(capsys: Any, monkeypatch: pytest.MonkeyPatch, one: Path) -> None:
    """What a mask of a result stands for is said beside it."""
    result = strategist.choose(strategist.read_case(one).read_points[0])
    mask = strategist.Mask("epc", 32, 8, "30")
    strategy = replace(result.strategy, masks=(mask,))
    told = replace(result, strategy=strategy, mask_words=("scheme SGTIN-96",))
    monkeypatch.setattr(strategist, "choose", lambda *_, **__: told)
    out = run(capsys, "solve", one)[1]
    assert "            EPC bank, pointer 32, length 8: 30 hex (scheme SGTIN-96)\n" in out


def test_time_that_runs_out_is_said_with_the_true_gap(
    capsys: Any, monkeypatch: pytest.MonkeyPatch, one: Path
) -> None:
    """The words only: a result as the clock would leave it."""
    result = strategist.choose(strategist.read_case(one).read_points[0])
    stopped = replace(result, status="feasible", loss=8.0, bound=2.0)
    monkeypatch.setattr(strategist, "choose", lambda *_, **__: stopped)
    status, out, _ = run(capsys, "solve", one, "--detail")
    words = re.sub(r"\s+", " ", out)
    assert status == 0
    assert out.startswith("door: best strategy found in time, not proven\n")
    assert "has a loss below 2; this one has 8, a gap of 75 %." in words


STRATEGY = {
    "levels_dbm": [20, 23],
    "stop_after": 2,
    "cutoff_dbm": None,
    "masks": [
        {"bank": "epc", "pointer": 48, "length": 8, "pattern": "AA"},
        {"join": "or", "bank": "epc", "pointer": 32, "length": 5, "pattern": "30", "negate": True},
        {"join": "and", "bank": "tid", "pointer": 0, "length": 8, "pattern": "e2", "negate": True},
    ],
}


def test_compare_with_one_strategy_evaluates_it(capsys: Any, one: Path, tmp_path: Path) -> None:
    """By hand: the masks keep W1 and W2 (AA; no TID, so not E2) and silence the stray."""
    file = tmp_path / "strategy.json"
    file.write_text(json.dumps(STRATEGY))
    status, out, err = run(capsys, "compare", one, "--strategy", file)
    assert (status, err) == (0, "")
    assert out.startswith("door: strategy\n")
    assert "  power     step ladder: 20, 23 dBm, in this order\n" in out
    assert "once 2 tags are accepted in all steps so far" in out
    assert "keep a tag when, taken one after the other, (pointers" in out
    assert "            1.     EPC bank, pointer 48, length 8: AA hex\n" in out
    assert "            2. or  EPC bank, pointer 32, length 5: not 00110 binary\n" in out
    assert "            3. and TID bank, pointer 0, length 8: not E2 hex\n" in out
    assert "  missed    0 of 2 wanted (0 %)\n" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_compare_says_which_passes(capsys: Any, one: Path, tmp_path: Path) -> None:
    file = tmp_path / "strategy.json"
    file.write_text('{"levels_dbm": [20]}')
    out = run(capsys, "compare", one, "--strategy", file)[1]
    assert "  missed    1 of 2 wanted (50 %), in 1 pass: p2\n" in out
    status, out, _ = run(capsys, "compare", one, "--strategy", file, "--out", "-")
    (found,) = json.loads(out)["rows"]
    assert (status, found["loss"], found["outcome"]["missed"]) == (0, 5.0, 1)
    standing = ["guarded_loss", "guarded", "worst_case_loss", "worst_case", "rates", "margins"]
    standing += ["predicted"]
    on_air = ["lawful", "exposure", "time"]
    keys = [
        "name",
        "chosen",
        "weights",
        "status",
        "loss_own_weights",
        "loss",
        "silence_loss",
        "per_pass",
        "strategy",
        "outcome",
        *standing,
        *on_air,
        "warnings",
    ]
    assert list(found) == keys


def test_compare_takes_a_result_and_its_read_point(capsys: Any, two: Path, tmp_path: Path) -> None:
    file = tmp_path / "result.json"
    run(capsys, "solve", two, "--read-point", "dock", "--out", file)
    status, out, _ = run(capsys, "compare", two, "--strategy", file)
    assert (status, out.splitlines()[0]) == (0, "dock: result")
    status, out, _ = run(capsys, "compare", two, "--strategy", file, "--read-point", "door")
    assert (status, out.splitlines()[0]) == (0, "door: result")
    file.write_text(json.dumps(json.loads(file.read_text())["strategy"]))
    status, out, _ = run(capsys, "compare", two, "--strategy", file)
    assert status == 0, "one that names no read point is for all of them"
    heads = [line for line in out.splitlines() if line.endswith(": result")]
    assert heads == ["door: result", "dock: result"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"levels_dbm": [21]}', "levels_dbm.0"),
        ('{"levels": [20]}', 'nearest: "levels_dbm"'),
        ('{"strategy": {"levels_dbm": [23, 20]}}', "strategy.levels_dbm"),
        ('{"strategy": {"levels_dbm": [20]}, "strategy": 1}', "each key once"),
        ("[1]", "Give an object"),
        ('{"levels_dbm": [20', "line 1"),
        ("", "line 1"),
        ("\udcff", "UTF-8"),
    ],
)
def test_bad_strategy_is_refused(
    capsys: Any, one: Path, tmp_path: Path, text: str, said: str
) -> None:
    file = tmp_path / "strategy.json"
    file.write_bytes(text.encode(errors="surrogateescape"))
    status, out, err = run(capsys, "compare", one, "--strategy", file)
    assert (status, out) == (2, "")
    assert said in err


def test_export_gen2(capsys: Any, one: Path, tmp_path: Path) -> None:
    file = tmp_path / "strategy.json"
    file.write_text(json.dumps(STRATEGY))
    status, out, _ = run(capsys, "export", one, "--strategy", file, "--format", "gen2")
    assert (status, out.count("Select SL, action")) == (0, 3)
    assert max(len(line) for line in out.splitlines()) <= 80
    made = tmp_path / "gen2.json"
    assert run(capsys, "export", one, "--strategy", file, "--format", "gen2", "--out", made)[0] == 0
    document = json.loads(made.read_text())
    assert (document["format"], len(document["commands"])) == ("gen2", 3)


def test_export_offers_truncation_where_it_is_permitted(
    capsys: Any, one: Path, tmp_path: Path
) -> None:
    """A mask that ends inside the shortest EPC of the survey (32 bits), and one that does not."""
    file = tmp_path / "strategy.json"
    for length, permitted in ((32, True), (40, False)):
        pattern = "3034AA0100"[: length // 4]
        mask = {"bank": "epc", "pointer": 32, "length": length, "pattern": pattern}
        file.write_text(json.dumps({"levels_dbm": [20], "masks": [mask]}))
        _, out, _ = run(capsys, "export", one, "--strategy", file, "--format", "gen2")
        words = re.sub(r"\s+", " ", out)
        assert ("Truncate may be set in the last Select." in words) is permitted
        assert ("no PC word, so the host learns neither the length" in words) is permitted


def test_a_mask_on_the_pc_word_is_warned_of(capsys: Any, one: Path, tmp_path: Path) -> None:
    file = tmp_path / "strategy.json"
    mask = {"bank": "epc", "pointer": 16, "length": 5, "pattern": "10"}
    file.write_text(json.dumps({"levels_dbm": [23], "masks": [mask]}))
    for command in (("compare",), ("export", "--format", "gen2")):
        status, out, _ = run(capsys, command[0], one, "--strategy", file, *command[1:])
        assert status == 0
        assert "A mask tests the CRC or PC word" in re.sub(r"\s+", " ", out)


def test_export_llrp_needs_the_readers_own_table(capsys: Any, one: Path, tmp_path: Path) -> None:
    file, table = tmp_path / "strategy.json", tmp_path / "table.csv"
    file.write_text(json.dumps(STRATEGY))
    argv = ("export", one, "--strategy", file, "--format", "llrp")
    status, _, err = run(capsys, *argv)
    assert status == 2 and "reader's own table" in err
    table.write_text("index,power_dbm\n1,20\n4,23\n")
    status, out, _ = run(capsys, *argv, "--power-table", table, "--out", "-")
    steps = json.loads(out)["steps"]
    power = [step["parameters"]["RFTransmitter"]["TransmitPower"] for step in steps]
    assert (status, power) == (0, [1, 4])
    status, out, _ = run(capsys, *argv, "--power-table", table)
    assert status == 0 and max(len(line) for line in out.splitlines()) <= 80
    table.write_text("index,power_dbm\n1,20\n4,22\n")
    status, _, err = run(capsys, *argv, "--power-table", table)
    assert status == 2 and "23 dBm" in err
    table.write_bytes(b"index,power_dbm\n1,\xff\n")
    status, _, err = run(capsys, *argv, "--power-table", table)
    assert status == 2 and f"{table}, line 2" in err
    status, _, err = run(capsys, *argv[:-1], "gen2", "--power-table", table)
    assert status == 2 and "Add --format llrp" in err


def test_check_as_json(capsys: Any, one: Path) -> None:
    """The same findings as the text, alone on standard output."""
    status, out, _ = run(capsys, "check", one, "--out", "-")
    assert status == 0
    found = json.loads(out)
    case = strategist.read_case(one)
    assert found == strategist.check(case).to_json()
    assert found["read_points"][0]["usable"]
    assert {finding["kind"] for finding in found["read_points"][0]["findings"]} >= {"few_passes"}


def test_check_groups_findings_and_ends_with_a_verdict(capsys: Any, one: Path) -> None:
    status, out, err = run(capsys, "check", one)
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "Made"
    assert lines[2].startswith(
        "door: passes 2; levels 2 (20 to 23 dBm); tags presented 2 wanted, 1"
    )
    assert any(line.startswith("  weak: Only 2 passes") for line in lines)
    assert any(line.startswith("    -> Survey at least 30 passes.") for line in lines)
    assert lines[-1] == "Usable, with weak points: 1 of 1 read point."
    assert max(len(line) for line in lines) <= 80


BROKEN = {
    "empty": ("reads.csv", b""),
    "binary": ("roster.csv", bytes(range(256))),
    "cut off": ("site.json", b'{"site": "Made", "read_po'),
    "a quote left open": ("reads.csv", b'read_point,pass_id,power_dbm,epc,rssi_dbm\n"door,p1'),
    "not UTF-8": ("roster.csv", "read_point,pass_id,epc,role\ntür,p,30,wanted".encode("latin-1")),
    "a wrong role": ("roster.csv", b"read_point,pass_id,epc,role\ndoor,p1,30,wnted\n"),
    "steering": ("roster.csv", b"read_point,pass_id,epc,role\ndoor,p1,30,\x1b[2J\n"),
}


@pytest.mark.parametrize("defect", BROKEN)
def test_broken_case(capsys: Any, one: Path, defect: str) -> None:
    name, data = BROKEN[defect]
    (one / name).write_bytes(data)
    status, out, err = run(capsys, "solve", one)
    assert (status, out) == (2, "")
    assert err.startswith(name) or f"\n{name}" in err
    assert err.endswith(".\n") and "\x1b" not in err
    status, out, said = run(capsys, "check", one)
    assert (status, out) == (1, "")
    assert said.startswith(err) and said[len(err) :].startswith("Unusable: ")


def test_folder_that_is_not_there(capsys: Any, tmp_path: Path) -> None:
    status, out, err = run(capsys, "solve", tmp_path / "none")
    assert (status, out) == (2, "")
    assert "no such folder" in err


@pytest.mark.parametrize(
    "argv",
    [
        [],
        ["solv"],
        ["solve"],
        ["solve", "x", "--time-limit", "0"],
        ["solve", "x", "--time-limit", "nan"],
        ["solve", "x", "--time-limit", "soon"],
        ["solve", "x", "--seed", "-1"],
        ["solve", "x", "--seed", "1e3"],
        ["solve", "x", "--seed", "99999999999"],
        ["solve", "x", "--method", "guess"],
        ["solve", "x", "--read", "door"],
        ["compare", "x"],
        ["export", "x", "--strategy", "y", "--format", "tape"],
    ],
)
def test_wrong_usage(capsys: Any, argv: list[str]) -> None:
    status, out, err = run(capsys, *argv)
    assert (status, out) == (2, "")
    assert err.startswith("strategist") and err.endswith("--help.\n") and err.count("\n") == 1


def test_targets_that_cannot_be_written(capsys: Any, one: Path, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for target, said in (
        (tmp_path, "a folder"),
        (tmp_path / "none" / "x.json", "does not exist"),
        (tmp_path / "pipe", "is no regular file"),
        (tmp_path / ("x" * 300), "too long"),
        ("/dev/null", "is no regular file"),
    ):
        status, out, err = run(capsys, "solve", one, "--out", target)
        assert (status, out) == (2, ""), target
        assert said in err
    assert Path("/dev/null").is_char_device()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one", "pipe"]


def test_failed_write_leaves_the_old_file(
    capsys: Any, monkeypatch: pytest.MonkeyPatch, one: Path, tmp_path: Path
) -> None:
    file = tmp_path / "result.json"
    file.write_text("old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    status, out, err = run(capsys, "solve", one, "--out", file)
    assert (status, out) == (2, "")
    assert "no space left on device" in err
    assert file.read_text() == "old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one", "result.json"]


def test_a_link_stays_a_link(capsys: Any, one: Path, tmp_path: Path) -> None:
    real, link = tmp_path / "real.json", tmp_path / "link.json"
    link.symlink_to(real)
    assert run(capsys, "solve", one, "--out", link)[0] == 0
    assert link.is_symlink() and json.loads(real.read_text())["read_point"] == "door"


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (SolveError("HiGHS ended with Unknown"), 3, "HiGHS ended with Unknown"),
        (DisagreementError("1 and 2"), 3, "1 and 2"),
        (MemoryError(), 3, "not enough memory"),
        (KeyboardInterrupt(), 130, "Interrupted."),
    ],
)
def test_errors_have_a_status_and_a_sentence(
    request: pytest.FixtureRequest, one: Path, error: BaseException, status: int, said: str
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise error

    request.getfixturevalue("monkeypatch").setattr(strategist, "choose", fail)
    found, out, err = run(request.getfixturevalue("capsys"), "solve", one)
    assert (found, out) == (status, "")
    assert said in err and err.count("\n") == 1


def test_output_that_nobody_reads_is_quiet(one: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "strategist", "check", str(one)]
    done = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, text=True, check=False)
    os.close(write)
    assert (done.returncode, done.stderr) == (128 + signal.SIGPIPE, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_full_output_is_said(one: Path) -> None:
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "strategist", "check", str(one)]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, done.stderr) == (2, "standard output: No space left on device\n")


def test_names_outside_the_terminals_alphabet(tmp_path: Path) -> None:
    folder = case(tmp_path / "c", {"Tür\u2192": {}})
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = shell("check", folder, env=environment)
    assert (done.returncode, done.stderr) == (0, "")
    assert "T\\xfcr\\u2192: passes 2" in done.stdout


def test_survey_without_a_single_read(capsys: Any, tmp_path: Path) -> None:
    """Nothing read at all: every strategy misses both, and that is said."""
    folder = case(tmp_path / "c", {"door": {}}, reads=[])
    status, out, _ = run(capsys, "solve", folder, "--detail")
    assert status == 0
    assert "  missed    2 of 2 wanted (100 %), in 2 passes: p1, p2\n" in out
    status, out, _ = run(capsys, "check", folder)
    assert status == 0 and "2 of 2 wanted tags presented were read at no level" in re.sub(
        r"\s+", " ", out
    )


def test_version(capsys: Any) -> None:
    assert run(capsys, "--version")[:2] == (0, f"{strategist.__version__}\n")


def test_predicted_levels_are_marked(capsys: Any, tmp_path: Path) -> None:
    """A level between two that were surveyed: searched, marked where it is used, asked to survey,
    and refused while `predict_levels` is off."""
    policy = {"levels_dbm": [20, 21.5, 23], "allow": ["power"], "predict_levels": True}
    folder = case(tmp_path / "case", {"door": policy})
    status, out, _ = run(capsys, "check", folder)
    assert status == 0
    assert "21.5 dBm" in out and "predicted" in out
    status, out, _ = run(capsys, "solve", folder, "--detail")
    assert status == 0
    assert "3 levels, 1 of them predicted" in " ".join(out.split())
    (tmp_path / "strategy.json").write_text('{"levels_dbm": [21.5]}')
    given = (folder, "--detail", "--strategy", tmp_path / "strategy.json")
    given += ("--out", tmp_path / "out.json")
    status, out, _ = run(capsys, "compare", *given)
    assert status == 0
    for words in (
        "21.5 dBm, fixed (predicted)",
        "rest on reads that were not measured",
        "at predicted steps",
        "21.5 dBm was predicted, not surveyed: survey it here before",
    ):
        assert words in " ".join(out.split()), words
    assert all(len(line) <= 80 for line in out.splitlines())
    assert json.loads((tmp_path / "out.json").read_text())["rows"][0]["predicted"]["steps_dbm"] == [
        21.5
    ]
    site = (folder / "site.json").read_text()
    (folder / "site.json").write_text(site.replace('"predict_levels": true', '"untried": "refuse"'))
    rows = [f"door,{p},{level}" for p in ("p1", "p2") for level in (20, 23)]
    (folder / "tried.csv").write_text("\n".join(["read_point,pass_id,power_dbm", *rows]) + "\n")
    status, _, err = run(capsys, "solve", folder)
    assert status == 2
    assert "21.5 dBm" in err


def test_assess_says_how_far_to_trust_the_answer(capsys: Any, two: Path, tmp_path: Path) -> None:
    """And nothing that `solve` says: neither the settings in full nor the proof."""
    status, out, err = run(capsys, "assess", two)
    assert (status, err) == (0, "")
    assert out.count(": how far to trust the best strategy") == 2
    assert out.count("To measure next") == 2
    assert out.count("Caution") == 1
    assert "To set" not in out and "Proven" not in out
    assert max(len(line) for line in out.splitlines()) <= 80
    file = tmp_path / "assessed.json"
    assert run(capsys, "assess", two, "--read-point", "dock", "--out", file)[0] == 0
    assessed = json.loads(file.read_text())
    assert assessed["next_survey"]["passes"] > 0
    status, out, _ = run(capsys, "compare", two, "--strategy", file)
    assert (status, out.splitlines()[0]) == (0, "dock: assessed")
    assert run(capsys, "report", file, "--out", tmp_path / "page.html")[0] == 0


def test_plan_acceptance(capsys: Any, tmp_path: Path) -> None:
    status, out, err = run(capsys, "accept", "--miss-rate-max", "0.05")
    assert (status, err) == (0, "")
    assert "Run 59 independent passes" in out
    assert "if the true rate is      5 %:   4.8 %" in out  # 0.95^59 = 0.0485
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "from 0.000001 to 0.999" in run(capsys, "accept", "--miss-rate-max", "5")[2]
    status, _, err = run(capsys, "accept", "--confidence", "0.2")
    assert status == 2 and "a share from 0.5 to 0.999999" in err
    status, _, err = run(capsys, "accept", "--allowed-failures", "-1")
    assert status == 2 and "a whole number from 0 to 1000" in err
    file = tmp_path / "strategy.json"
    file.write_text('{"levels_dbm": [23]}')
    for argv, said in (
        (["--strategy", file], "CASE"),
        ([tmp_path], "--strategy"),
        ([tmp_path, "--strategy", file, "--allowed-failures", "1"], "--allowed-failures"),
    ):
        status, out, err = run(capsys, "accept", *argv)
        assert (status, out) == (2, "") and err.startswith(said)


def test_accept_ends_with_the_verdict(capsys: Any, one: Path, tmp_path: Path) -> None:
    """Two passes show nothing at 5 %; at 80 % with 60 % confidence none missed is enough."""
    file = tmp_path / "strategy.json"
    file.write_text('{"levels_dbm": [23]}')
    status, out, err = run(capsys, "accept", one, "--strategy", file)
    assert (status, err) == (1, "")
    assert out.startswith("door: INCONCLUSIVE: too few passes to say\n")
    loose = ("--miss-rate-max", "0.8", "--confidence", "0.6")
    status, out, _ = run(capsys, "accept", one, "--strategy", file, *loose, "--against", one)
    assert status == 0
    assert out.startswith("door: ACCEPTED\n")
    assert "Drift since the survey (3 tags in both)" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    file.write_text('{"levels_dbm": [20]}')
    status, out, _ = run(
        capsys, "accept", one, "--strategy", file, "--miss-rate-max", "0.01", "--out", "-"
    )
    found = json.loads(out)
    assert (status, found["verdict"], found["failures"]) == (1, "rejected", 1)


ETSI = {"region": "etsi-865-868", "antenna_gain_dbi": 14, "polarisation": "circular"}


def test_a_level_above_the_lawful_one_is_left_out_and_named(capsys: Any, tmp_path: Path) -> None:
    """2 W e.r.p. less 14 dBi: 21.159 dBm, so 23 dBm is out and the second pass is missed."""
    folder = case(tmp_path / "c", {"door": {"allow": ["power", "cutoff"], "radio": ETSI}})
    status, out, _ = run(capsys, "solve", folder, "--detail")
    words = re.sub(r"\s+", " ", out)
    assert status == 0
    assert "  power     20 dBm, fixed\n" in out
    assert "At most 21.15 dBm at the reader port. ETSI EN 302 208" in words
    assert "Left out of the search: 23 dBm." in words
    assert "keep people 0.22 m away" in words and "the local authority" in words
    assert max(len(line) for line in out.splitlines()) <= 80
    file = tmp_path / "strategy.json"
    file.write_text('{"levels_dbm": [23]}')
    status, out, _ = run(capsys, "compare", folder, "--strategy", file)
    words = re.sub(r"\s+", " ", out)
    assert status == 0 and "UNLAWFUL as far as is known here: 23 dBm" in words
    assert "note: 1 of 2 levels surveyed are above" in re.sub(
        r"\s+", " ", run(capsys, "check", folder)[1]
    )


def test_without_a_region_nothing_is_claimed(capsys: Any, one: Path) -> None:
    words = re.sub(r"\s+", " ", run(capsys, "solve", one, "--detail")[1])
    assert (
        "No lawful level can be named: the region is not given. Levels were not checked." in words
    )
    assert "No distance for exposure can be named (region and gain not given)" in words
    assert "time not known" in words
    assert "Levels were not checked" in re.sub(r"\s+", " ", run(capsys, "check", one)[1])


@pytest.mark.parametrize(
    ("policy", "said"),
    [
        ({"radio": ETSI | {"antenna_gain_dbi": 20}}, "read_points.door.levels_dbm"),
        ({"time": {"dwell_s": 0.1, "step_s": 0.2}}, "read_points.door.time.dwell_s"),
    ],
)
def test_where_nothing_may_be_set_the_case_is_unusable(
    capsys: Any, tmp_path: Path, policy: dict[str, Any], said: str
) -> None:
    folder = case(tmp_path / "c", {"door": policy})
    status, out, err = run(capsys, "solve", folder)
    assert (status, out) == (2, "") and f"site.json, {said}: " in err
    status, out, _ = run(capsys, "check", folder)
    assert status == 1 and f"unusable: site.json, {said}" in out


def test_the_time_of_a_ladder_is_said(capsys: Any, tmp_path: Path) -> None:
    """W1 answers at the first step, W2 at the second: 0.15 s on average, 0.2 s at worst."""
    policy = {"allow": ["power", "ladder"], "time": {"dwell_s": 0.25, "step_s": 0.1}}
    folder = case(tmp_path / "c", {"door": policy})
    file = tmp_path / "strategy.json"
    file.write_text('{"levels_dbm": [20, 23]}')
    _, out, _ = run(capsys, "compare", folder, "--strategy", file, "--detail")
    words = re.sub(r"\s+", " ", out)
    assert "expected 0.15 s a pass; the whole ladder 0.2 s: fits the 0.25 s" in words
    assert "(up to 2 steps)" in run(capsys, "solve", folder, "--detail")[1]
    found = json.loads(run(capsys, "solve", folder, "--out", "-")[1])
    assert found["time"]["steps_max"] == [2]


def test_compare_gives_the_json_of_the_library(capsys: Any, two: Path, tmp_path: Path) -> None:
    """A result names its read point; files of two read points need one to be named."""
    low, best, other = (tmp_path / name for name in ("low.json", "best.json", "other.json"))
    low.write_text('{"levels_dbm": [20]}')
    assert run(capsys, "solve", two, "--read-point", "door", "--out", best)[0] == 0
    assert run(capsys, "solve", two, "--read-point", "dock", "--out", other)[0] == 0
    status, out, _ = run(
        capsys, "compare", two, "--strategy", low, "--strategy", best, "--out", "-"
    )
    point = strategist.read_case(two, "door").read_points[0]
    sides = [
        strategist.Side(file.stem, strategist.parse_strategy_file(file.read_bytes(), "").strategy)
        for file in (low, best)
    ]
    assert status == 0
    assert json.loads(out) == strategist.compare(point, sides).to_json()
    both = ("--strategy", best, "--strategy", other)
    status, out, _ = run(capsys, "compare", two, *both)
    heads = [line for line in out.splitlines() if line in ("door: best", "dock: other")]
    assert (status, len(heads)) == (0, 2), "each where it is for"
    status, out, _ = run(capsys, "compare", two, *both, "--read-point", "dock")
    assert out.startswith("dock: 2 strategies on the same 2 passes\n")


def test_a_page_of_a_given_strategy(capsys: Any, one: Path, tmp_path: Path) -> None:
    """What `compare` says of one is a result for `report`; of two it is not."""
    given, made = tmp_path / "given.json", tmp_path / "compared.json"
    given.write_text('{"levels_dbm": [20]}')
    page = ("--case", one, "--out", tmp_path / "page.html")
    assert run(capsys, "compare", one, "--strategy", given, "--out", made)[0] == 0
    assert run(capsys, "report", made, *page)[0] == 0
    assert "Settings as given" in (tmp_path / "page.html").read_text()
    sides = ("--strategy", given, "--strategy", given)
    assert run(capsys, "compare", one, *sides, "--out", made)[0] == 0
    status, _, err = run(capsys, "report", made, *page)
    assert status == 2 and "a comparison of one strategy" in err
