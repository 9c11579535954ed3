"""Faults that users met, by what they typed and sent: the command line, HTTP and public names.

Nothing else of the package is used, so that earlier versions can be asked the same.
"""

from __future__ import annotations

import json
import random
import re
import resource
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from strategist import InputError, Strategy, evaluate_at, read_case, read_case_document
from strategist.__main__ import main
from tests.api.live import Live

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "cases/linen-service"

Read = tuple[str, bool, float | None]  # EPC, wanted, RSSI at the one level (None: not read)


def write_case(folder: Path, passes: Iterable[Iterable[Read]], policy: dict[str, Any]) -> Path:
    """A read point `door` that was surveyed at 30 dBm."""
    roster, reads = ["read_point,pass_id,epc,role"], ["read_point,pass_id,power_dbm,epc,rssi_dbm"]
    for number, entries in enumerate(passes):
        for epc, wanted, rssi in entries:
            roster.append(f"door,p{number},{epc},{'wanted' if wanted else 'stray'}")
            if rssi is not None:
                reads.append(f"door,p{number},30,{epc},{rssi}")
    folder.mkdir()
    (folder / "roster.csv").write_text("\n".join(roster) + "\n")
    (folder / "reads.csv").write_text("\n".join(reads) + "\n")
    site = {"site": "Made", "read_points": {"door": {"levels_dbm": [30]} | policy}}
    (folder / "site.json").write_text(json.dumps(site))
    return folder


def answer(capsys: Any, *arguments: object) -> Any:
    """What a command writes to standard output as JSON."""
    assert main([*map(str, arguments), "--out", "-"]) == 0
    return json.loads(capsys.readouterr().out)


def typed(*arguments: object, **more: Any) -> subprocess.CompletedProcess[str]:
    """A command in a process of its own."""
    command = [sys.executable, "-m", *map(str, arguments)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, **more)


def tools(seed: int = 15) -> list[list[Read]]:
    """In 60 passes one tool is carried through and three of the rack beyond are in reach: 174 of
    the rack are stronger than the weakest tool, at −65.9 dBm."""
    rng = np.random.default_rng(seed)
    wanted = np.round(-65.9 + np.concatenate([[0.0], rng.uniform(0.1, 5.0, 59)]), 1)
    rack = np.round(rng.uniform(-65.8, -58.0, 180), 1)
    rack[rng.choice(180, 6, replace=False)] = [-66.0, -66.2, -66.5, -66.7, -67.0, -67.3]
    return [
        [
            (f"AA{number:04X}", True, float(wanted[number])),
            *(
                (f"AA{1000 + n:04X}", False, float(rack[n]))
                for n in range(3 * number, 3 * number + 3)
            ),
        ]
        for number in range(60)
    ]


def test_what_is_no_better_than_silence_is_not_called_best(tmp_path: Path, capsys: Any) -> None:
    """A tag wanted in 60 passes, and half a dB stronger where it is a stray, in 180."""
    facing = np.round(np.random.default_rng(4).uniform(-62, -50, 60), 1).tolist()
    passes = [[("AA01", True, rssi)] for rssi in facing]
    passes += [[("AA01", False, rssi + 0.5)] for _ in range(3) for rssi in facing]
    policy = {"loss": {"missed": 2, "stray": 1}}
    found = answer(capsys, "solve", write_case(tmp_path / "case", passes, policy))
    assert found["loss"] >= 120
    assert found["status"] == "silent"
    assert found["silence_loss"] == 120


def test_more_slots_than_can_be_listed_keep_what_was_found(tmp_path: Path, capsys: Any) -> None:
    """The demo's cabinet with masks on any four bits: without masks it loses 253."""
    shutil.copytree(DEMO, tmp_path / "case")
    site = json.loads((DEMO / "site.json").read_text())
    point = site["read_points"]["shelf-cabinet"]
    point["serial_masks"] = True
    point["reader"] = point.get("reader", {}) | {"mask_slots": 4, "mask_step_bits": 4}
    (tmp_path / "case/site.json").write_text(json.dumps(site))
    asked = ("solve", tmp_path / "case", "--read-point", "shelf-cabinet", "--time-limit", 2)
    found = answer(capsys, *asked)
    assert found["strategy"]["masks"] and found["loss"] < 100
    assert found["bound"] > 0


def test_a_cutoff_can_be_set_and_the_sturdier_strategy_stands_beside(
    tmp_path: Path, capsys: Any
) -> None:
    policy = {"loss": {"missed": 5, "stray": 1}, "allow": ["power", "cutoff"]}
    found = answer(capsys, "solve", write_case(tmp_path / "case", tools(), policy))
    cutoff = found["strategy"]["cutoff_dbm"]
    assert cutoff is not None and (2 * cutoff).is_integer()
    assert found["guarded_loss"] > 250
    assert found["sturdier"]["loss"] == found["sturdier"]["guarded_loss"] == 180


def test_export_refuses_settings_that_do_something_else(tmp_path: Path, capsys: Any) -> None:
    """−68.8 is no whole dBm: −69 lets the stray at −68.9 through. A reader of whole dBm is given
    another strategy, which is written."""
    passes: list[list[Read]] = [[("AA01", True, -68.3), ("AA02", False, -68.9)]]
    case = write_case(tmp_path / "case", passes, {"allow": ["cutoff"]})
    strategy, table = tmp_path / "strategy.json", tmp_path / "table.csv"
    strategy.write_text(json.dumps({"levels_dbm": [30], "cutoff_dbm": -68.8}))
    table.write_text("index,power_dbm\n1,30\n")
    asked = ("export", case, "--strategy", strategy, "--format", "llrp", "--power-table", table)
    assert main([str(one) for one in asked]) == 2
    printed = capsys.readouterr()
    said = " ".join(printed.err.split())
    assert printed.out == "" and "in place of 0 missed and 0 stray (loss 0)" in said
    assert "Set reader.rssi_step_db to 1" in said
    whole = {"allow": ["cutoff"], "reader": {"rssi_step_db": 1}}
    case = write_case(tmp_path / "whole", passes, whole)
    solved = tmp_path / "solved.json"
    assert main(["solve", str(case), "--out", str(solved)]) == 0
    asked = ("export", case, "--strategy", solved, "--format", "llrp", "--power-table", table)
    capsys.readouterr()
    assert answer(capsys, *asked)["replay"]["same"] is True


def test_a_page_is_made_where_matplotlib_is_lacking(
    tmp_path: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = write_case(tmp_path / "case", tools(), {})
    result, page = tmp_path / "result.json", tmp_path / "page.html"
    assert main(["solve", str(case), "--out", str(result)]) == 0
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    assert main(["report", str(result), "--case", str(case), "--out", str(page)]) == 0
    assert "matplotlib" in capsys.readouterr().out
    assert "matplotlib could not be loaded" in page.read_text()


def rates_at(case: Path) -> dict[str, Any]:
    """Rates of the strategy that reports all that is read."""
    found: dict[str, Any] = evaluate_at(read_case(case).read_points[0], Strategy((30.0,))).to_json()
    return found["rates"]  # type: ignore[no-any-return]


def test_strays_to_come_are_not_known_where_all_of_these_were_reported(tmp_path: Path) -> None:
    """Two strays a pass in the mean, all read: 60 such surveys hold the true rate."""
    rng = np.random.default_rng(6)
    held = 0
    for number in range(60):
        passes = [
            [("AA01", True, -50.0), *((f"BB{n:02X}", False, -50.0) for n in range(rng.poisson(2)))]
            for _ in range(40)
        ]
        rate = rates_at(write_case(tmp_path / f"{number}", passes, {}))["stray_per_pass"]
        held += rate["low"] <= 2 <= rate["high"]
    assert held >= 0.9 * 60


def loads(rng: np.random.Generator, passes: int) -> tuple[Any, Any]:
    """How many tags the passes hold, and the chance at which each is missed: lognormal loads."""
    tags = np.maximum(1, np.exp(rng.normal(1.5, 0.9, passes)).astype(int))
    return tags, np.minimum(0.9, tags / 60)


def test_missed_tags_of_few_loads_of_which_large_ones_miss_more(tmp_path: Path) -> None:
    """The interval of 200 surveys of 12 passes holds the true rate in nine of ten at least."""
    tags, chance = loads(np.random.default_rng(1), 400_000)
    truth, rng, held = float((tags * chance).sum() / tags.sum()), np.random.default_rng(11), 0
    for number in range(200):
        passes = []
        for many, each in zip(*loads(rng, 12), strict=True):
            read = rng.random(many) >= each
            passes.append([(f"AA{n:04X}", True, -50.0 if read[n] else None) for n in range(many)])
        rate = rates_at(write_case(tmp_path / f"{number}", passes, {}))["missed_by_tag"]
        held += rate["low"] <= truth <= rate["high"]
    assert held >= 0.9 * 200


def test_passes_that_are_like_their_neighbours_are_said(tmp_path: Path, capsys: Any) -> None:
    """Wanted and stray come in runs of ten passes, read in one and not in the next."""
    rssi = [-50.0 if number // 10 % 2 else None for number in range(60)]
    passes: list[list[Read]] = [
        [(f"AA{n:02X}", True, one), (f"BB{n:02X}", False, one)] for n, one in enumerate(rssi)
    ]
    found = answer(capsys, "check", write_case(tmp_path / "case", passes, {}))
    assert "passes_alike" in json.dumps(found)


def test_the_time_of_a_ladder_is_called_what_it_is(tmp_path: Path, capsys: Any) -> None:
    case = write_case(
        tmp_path / "case", tools(), {"time": {"dwell_s": 2, "rf_mode": "miller4-256"}}
    )
    assert main(["solve", str(case), "--detail"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "99 % of steps" in said and "at worst" not in said.split("On the air")[1][:300]


def test_the_worst_of_partial_drifts_stands_beside_the_guarded_loss(
    tmp_path: Path, capsys: Any
) -> None:
    found = answer(capsys, "solve", write_case(tmp_path / "case", tools(), {}))
    assert found["worst_case_loss"] >= found["guarded_loss"]


def test_long_user_memory_takes_no_gigabytes(tmp_path: Path) -> None:
    """100 tags of 10 kB, masks of any number of bits: `masks` with 1 GiB of data."""
    rng = random.Random(1)
    reader = {"mask_step_bits": 1}
    case = write_case(
        tmp_path / "case", [[(f"AA{n:02X}", True, -50.0) for n in range(100)]], {"reader": reader}
    )
    lines = (case / "roster.csv").read_text().splitlines()
    lines = [lines[0] + ",user", *(f"{line},{rng.randbytes(10_000).hex()}" for line in lines[1:])]
    (case / "roster.csv").write_text("\n".join(lines) + "\n")

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_DATA, (2**30, 2**30))

    done = typed("strategist", "masks", case, preexec_fn=limited, timeout=900)
    assert done.returncode in (0, 1), done.stderr[-500:]
    assert "Traceback" not in done.stderr and "emory" not in done.stderr


def test_faults_of_a_body_are_counted_and_not_all_listed() -> None:
    points = {f"d{number}": {"bad": 1} for number in range(5_000)}
    document = {"site": {"site": "x", "read_points": points}, "reads": [], "roster": []}
    with pytest.raises(InputError) as refused:
        read_case_document(json.dumps(document).encode())
    assert len(refused.value.faults) == 1_001
    assert "Correct the first" in refused.value.faults[-1].allowed


def test_a_store_is_its_owners_alone(tmp_path: Path) -> None:
    made = typed("api", "token", "add", "planner", "--data", tmp_path / "store")
    assert made.returncode == 0
    (file,) = (path for path in (tmp_path / "store").iterdir() if is_database(path))
    assert file.stat().st_mode & 0o077 == 0


def test_the_page_of_a_batch_may_use_its_own_style(tmp_path: Path) -> None:
    """What the header of the API's answer allows: its policy goes before that of the page. And a
    body in an encoding is refused, as the server reads none."""
    reads = [{"read_point": "door", "pass_id": "p", "power_dbm": 15, "epc": "30", "rssi_dbm": -50}]
    roster = [{"read_point": "door", "pass_id": "p", "epc": "30", "role": "wanted"}]
    site = {"site": "x", "read_points": {"door": {"levels_dbm": [15]}}}
    with Live(tmp_path / "store", "--open", "--workers", "1") as live:
        survey = live.made("/v1/surveys", {"site": site, "reads": reads, "roster": roster})
        batch = live.made("/v1/batches", {"items": [{"survey": survey["id"]}]})
        page = live.ask("GET", f"/v1/batches/{batch['id']}/results", Accept="text/html")
        encoded = live.ask("POST", "/v1/surveys", b"{}", Content_Encoding="gzip")
        live.stop()
    assert page.status == 200
    assert "style-src" in page.headers["Content-Security-Policy"]
    assert encoded.status == 415


def is_database(path: Path) -> bool:
    try:
        with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
            return bool(connection.execute("SELECT name FROM sqlite_master").fetchall())
    except sqlite3.Error:
        return False


def test_a_figure_that_was_changed_in_the_results_is_not_believed(
    tmp_path: Path, capsys: Any
) -> None:
    case, out = write_case(tmp_path / "case", tools(), {}), tmp_path / "out"
    command = ["batch", str(case), "--out", str(out), "--workers", "1"]
    assert main(command) == 0
    results = out / "results.jsonl"
    first = results.read_text()
    loss = json.loads(first)["result"]["loss"]
    changed = re.sub(f'"loss": ?{loss}', '"loss":1.5', first)
    assert changed != first
    results.write_text(changed)
    assert main(command) == 0
    assert json.loads(results.read_text().splitlines()[-1])["result"]["loss"] == loss
    capsys.readouterr()
