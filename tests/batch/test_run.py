"""A batch gives what `choose` gives, isolates what is bad, and carries on where it stopped."""

from __future__ import annotations

import csv
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist import InputError, Options, Progress, run_batch
from tests.batch.sites import rows, write_site
from tests.test_words import told

HANG_S = 600.0  # what takes longer hangs, however loaded the machine is
QUICK = Options(unseen=False, sturdier=False)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return write_site(tmp_path / "site", 7, bad=(2,))


def command(*argv: object) -> list[str]:
    return [sys.executable, "-m", "strategist", "batch", *map(str, argv)]


def test_each_row_is_what_choose_gives(tmp_path: Path) -> None:
    folder = write_site(tmp_path / "site", 5)
    told: list[Progress] = []
    summary = run_batch([folder], tmp_path / "out", QUICK, progress=told.append)
    found = rows(tmp_path / "out")
    points = strategist.read_case(folder).read_points
    assert [row["read_point"] for row in found] == [point.name for point in points]
    for row, point in zip(found, points, strict=True):
        assert row["case"] == str(folder)
        assert row["result"] == strategist.choose(point, QUICK).to_json() | {"seconds": 0}
    assert (summary.total, summary.failed, summary.kept) == (5, 0, 0)
    assert [t.done for t in told] == [0, 1, 2, 3, 4, 5]
    assert told[-1].rate is not None and told[-1].left_s == 0


def test_a_bad_read_point_and_a_bad_case_are_rows(site: Path, tmp_path: Path) -> None:
    summary = run_batch([tmp_path / "none", site], tmp_path / "out", QUICK)
    found = rows(tmp_path / "out")
    assert len(found) == 8
    assert found[0]["read_point"] is None and "no such folder" in found[0]["error"]["message"]
    bad = [row["read_point"] for row in found[1:] if "error" in row]
    assert bad == ["d02"]
    assert "reads.csv, line " in found[3]["error"]["message"]
    assert '"loud" is not valid' in found[3]["error"]["message"]
    assert summary.failed == 2
    said = " ".join(summary.text.split())  # lines break where the names of folders are long
    assert "d02" in said and "no such folder" in said
    with (tmp_path / "out/summary.csv").open() as file:
        table = list(csv.DictReader(file))
    assert [row["status"] == "error" for row in table] == ["error" in row for row in found]
    for row, line in zip(table, found, strict=True):
        if "result" in line:
            assert float(row["loss"]) == line["result"]["loss"]
            assert json.loads(row["masks"]) == line["result"]["strategy"]["masks"]


def test_predicted_steps_are_listed(tmp_path: Path) -> None:
    """Only 22 dBm may be set, 1 dB above what was surveyed: table and text ask for a survey."""
    policy = {"levels_dbm": [15, 18, 21, 22], "allow": ["cutoff"], "predict_levels": True}
    summary = run_batch([write_site(tmp_path / "site", 1, policy=policy)], tmp_path / "out", QUICK)
    with (tmp_path / "out" / "summary.csv").open(newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["levels_dbm"], row["predicted_dbm"]) == ("22", "22")
    said = " ".join(summary.text.split())  # lines break where the names of folders are long
    assert "survey them before hand-over" in said and ": 22" in said


def test_two_workers_give_the_same_bytes(site: Path, tmp_path: Path) -> None:
    """The order of finishing does not show, and neither does who worked."""
    run_batch([site], tmp_path / "one", QUICK)
    run_batch([site], tmp_path / "two", QUICK, workers=2)
    assert rows(tmp_path / "one") == rows(tmp_path / "two")
    for name in ("tags.jsonl", "cross_reads.json", "summary.txt"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_only_what_changed_is_solved_again(site: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run_batch([site], out, QUICK)
    before = (out / "results.jsonl").read_text().splitlines()
    assert run_batch([site], out, QUICK).kept == 6  # the bad one is tried again
    after = (out / "results.jsonl").read_text().splitlines()
    assert after == before  # timings and all
    reads = (site / "reads.csv").read_text().replace("loud", "-50")
    (site / "reads.csv").write_text(reads.replace("\nd04,p0,", "\n\nd04,p0,", 1))
    summary = run_batch([site], out, QUICK)
    assert (summary.kept, summary.failed) == (5, 0)  # d02 mended, d04 touched
    policy = json.loads((site / "site.json").read_text())
    policy["read_points"]["d05"]["loss"] = {"missed": 2}
    (site / "site.json").write_text(json.dumps(policy))
    assert run_batch([site], out, QUICK).kept == 6
    assert run_batch([site], out, Options(unseen=False, seed=1)).kept == 0


def test_cases_may_join_but_not_leave(site: Path, tmp_path: Path) -> None:
    other = write_site(tmp_path / "other", 2, seed=5)
    run_batch([site], tmp_path / "out", QUICK)
    assert run_batch([other, site], tmp_path / "out", QUICK).kept == 6
    assert [row["case"] for row in rows(tmp_path / "out")] == [str(other)] * 2 + [str(site)] * 7
    with pytest.raises(InputError, match=r"holds results of .*site, which is not among the cases"):
        run_batch([other], tmp_path / "out", QUICK)
    with pytest.raises(InputError, match="each case once"):
        run_batch([other, f"{other}/."], tmp_path / "out", QUICK)


def test_a_torn_line_is_cut_off_and_a_strange_one_refused(site: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run_batch([site], out, QUICK)
    whole = rows(out)
    for name in ("results.jsonl", "tags.jsonl"):
        data = (out / name).read_bytes()
        (out / name).write_bytes(data[:-40])
        assert run_batch([site], out, QUICK).kept == 5
        assert rows(out) == whole
    (out / "results.jsonl").write_text("[1]\n")
    with pytest.raises(InputError, match=r"results.jsonl, line 1.*move the file away"):
        run_batch([site], out, QUICK)
    assert (out / "results.jsonl").read_text() == "[1]\n"


def test_results_without_their_tags_are_made_again(site: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run_batch([site], out, QUICK)
    whole = rows(out, "tags.jsonl")
    (out / "tags.jsonl").unlink()
    assert run_batch([site], out, QUICK).kept == 0
    assert rows(out, "tags.jsonl") == whole


def test_two_runs_on_one_folder_refuse(site: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"

    def again(_: Progress) -> None:
        with pytest.raises(InputError, match="is in use by process"):
            run_batch([site], out, QUICK)

    run_batch([site], out, QUICK, progress=again)
    run_batch([site], out, QUICK)


@pytest.mark.parametrize("left", [["a file"], []])
def test_an_out_that_is_no_folder_is_refused(site: Path, tmp_path: Path, left: list[str]) -> None:
    out = tmp_path / "out"
    out.write_text("")
    with pytest.raises(InputError, match="a folder that you may write to"):
        run_batch([site], out / "/".join(left) if left else out, QUICK)


def test_results_that_cannot_be_written_end_the_run(site: Path, tmp_path: Path) -> None:
    (tmp_path / "out/results.jsonl").mkdir(parents=True)
    with pytest.raises(InputError, match=r"results\.jsonl.*cannot be written"):
        run_batch([site], tmp_path / "out", QUICK)


def test_kill_at_random_moments_loses_nothing(tmp_path: Path) -> None:
    """kill -9 of the run, resumed each time: the bytes of an uninterrupted run, no worker left."""
    folder = write_site(tmp_path / "site", 20, bad=(7,))
    run_batch([folder], tmp_path / "whole", QUICK)
    out = tmp_path / "out"
    kills = 0
    for at in (2, 6, 12):  # lines
        process = subprocess.Popen(
            command(folder, "--out", out, "--workers", 2),
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        while process.poll() is None and count(out) < at:
            time.sleep(0.002)
        kills += process.poll() is None
        process.send_signal(signal.SIGKILL)
        process.wait()
        wait_for_all_to_end(process.pid)
    assert kills == 3
    kept = solved(out)
    done = subprocess.run(
        command(folder, "--out", out, "--workers", 2), capture_output=True, text=True, check=False
    )
    assert done.returncode == 1  # one read point is bad
    assert f" {kept} kept" in done.stderr
    assert rows(out) == rows(tmp_path / "whole")
    for name in ("tags.jsonl", "cross_reads.json", "summary.txt"):
        assert (out / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()


def count(out: Path) -> int:
    try:
        return (out / "results.jsonl").read_bytes().count(b"\n")
    except FileNotFoundError:
        return 0


def solved(out: Path) -> int:
    """How many read points have a whole line with a result: what a next run need not do again."""
    whole = (out / "results.jsonl").read_bytes().rpartition(b"\n")[0]
    lines = [json.loads(line) for line in whole.splitlines()]
    return len({line["read_point"] for line in lines if "result" in line})


def wait_for_all_to_end(session: int) -> None:
    deadline = time.monotonic() + HANG_S
    while alive(session):
        assert time.monotonic() < deadline, "workers outlive their parent"
        time.sleep(0.05)


def alive(session: int) -> list[str]:
    """The processes of a session."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[3]) == session and fields[0] != "Z":
            found.append(stat.parent.name)
    return found


def test_a_killed_worker_is_survived(site: Path, tmp_path: Path) -> None:
    """A worker that is killed once costs time, no answer."""
    killed = []

    def kill_one(progress: Progress) -> None:
        if progress.done >= 1 and not killed:
            worker = multiprocessing.active_children()[0]
            assert worker.pid is not None
            os.kill(worker.pid, signal.SIGKILL)
            killed.append(worker.pid)

    run_batch([site], tmp_path / "out", QUICK, workers=2, progress=kill_one)
    run_batch([site], tmp_path / "whole", QUICK)
    assert killed
    assert rows(tmp_path / "out") == rows(tmp_path / "whole")


def test_interrupt_leaves_a_folder_to_carry_on_with(tmp_path: Path) -> None:
    folder = write_site(tmp_path / "site", 60)
    process = subprocess.Popen(
        command(folder, "--out", tmp_path / "out", "--workers", 2),
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # a run in the background of a shell hands down an ignored SIGINT
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    )
    while count(tmp_path / "out") < 2:
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=HANG_S)
    assert process.returncode == 130
    assert "Interrupted." in err and "Traceback" not in err
    wait_for_all_to_end(process.pid)
    assert run_batch([folder], tmp_path / "out", QUICK).kept >= 2


def test_the_command(site: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        command(site, "--out", tmp_path / "out", "--workers", 1),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stdout == (tmp_path / "out/summary.txt").read_text()
    assert done.stderr.splitlines()[-1].startswith("7 of 7 done, 1 failed, ")
    assert max(map(len, done.stdout.splitlines())) <= 80 and told(done.stdout) == []
    parted = {path.name for path in (tmp_path / "out").iterdir()} - {"summary.parquet"}
    assert parted == {
        ".lock",
        "cross_reads.json",
        "report.html",
        "results.jsonl",
        "summary.csv",
        "summary.txt",
        "tags.jsonl",
    }


def test_the_parquet_table_is_the_csv(site: Path, tmp_path: Path) -> None:
    parquet: Any = pytest.importorskip("pyarrow.parquet")
    run_batch([site], tmp_path / "out", QUICK)
    table = parquet.read_table(tmp_path / "out/summary.parquet").to_pylist()
    with (tmp_path / "out/summary.csv").open() as file:
        for row, plain in zip(table, csv.DictReader(file), strict=True):
            assert {k: "" if v is None else str(v) for k, v in row.items()} == plain


def test_a_scheduler_that_is_not_there(site: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="scheduler"):
        run_batch([site], tmp_path / "out", QUICK, scheduler="no address")
