"""A folder of results that was damaged: what is bad is done again, and nothing else is touched.

Each fault is put into a finished folder; the batch run again must give the bytes of the first run.
"""

from __future__ import annotations

import json
import os
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from strategist import InputError, Options, Progress, run_batch
from strategist.__main__ import main
from strategist.report.output import is_sealed, sealed
from tests.batch.sites import rows, write_site

QUICK = Options(unseen=False)
POINTS = 5
Harm = Callable[[bytes, random.Random], bytes]


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A case and the folder of its results."""
    folder = tmp_path_factory.mktemp("damage")
    site = write_site(folder / "site", POINTS)
    run_batch([site], folder / "out", QUICK)
    return site, folder / "out"


def flipped(data: bytes, rng: random.Random) -> bytes:
    place = rng.randrange(len(data) - 1)  # not the end of the last line, whose lack is a torn line
    return data[:place] + bytes([data[place] ^ 1 << rng.randrange(8)]) + data[place + 1 :]


def other_digit(data: bytes, rng: random.Random) -> bytes:
    """A result that says another figure and is sound JSON."""
    digits = [place for place, byte in enumerate(data) if chr(byte).isdigit()]
    place = rng.choice(digits)
    return data[:place] + str((int(data[place : place + 1]) + 1) % 10).encode() + data[place + 1 :]


def truncated(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data))]


def line_lost(data: bytes, rng: random.Random) -> bytes:
    lines = data.splitlines(keepends=True)
    del lines[rng.randrange(len(lines))]
    return b"".join(lines)


def line_twice(data: bytes, rng: random.Random) -> bytes:
    lines = data.splitlines(keepends=True)
    return b"".join([*lines, lines[rng.randrange(len(lines))]])


def bytes_zeroed(data: bytes, rng: random.Random) -> bytes:
    """What a file system may leave of a block that was never written."""
    place = rng.randrange(len(data))
    return data[:place] + bytes(min(300, len(data) - place)) + data[place + 300 :]


def odd_line(data: bytes, rng: random.Random) -> bytes:
    """JSON that no batch writes, with a checksum of its own or without."""
    lines = data.splitlines(keepends=True)
    odd = rng.choice(
        [
            '{"case":7,"read_point":"d01","hash":"x","result":{}}',
            '{"case":"site","read_point":["d01"],"hash":"x","result":{}}',
            '{"case":"site","read_point":"d01","hash":{},"result":{}}',
            '{"case":"site","read_point":"d01","hash":"x","result":1}',
            '{"case":"site","read_point":"d01","hash":"x","error":[]}',
            '{"case":"site","read_point":"d01","hash":"x"}',
            '{"case":' + "[" * 5000 + "]" * 5000 + "}",
            '{"case":1e999}',
            "[1]",
            "null",
            "",
        ]
    )
    ours = sealed(odd) if odd.startswith("{") and rng.random() < 0.5 else odd
    lines.insert(rng.randrange(len(lines)), ours.encode() + b"\n")
    return b"".join(lines)


HARMS = [flipped, other_digit, truncated, line_lost, line_twice, bytes_zeroed, odd_line]


@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: harm.__name__)
@pytest.mark.parametrize("name", ["results.jsonl", "tags.jsonl"])
@pytest.mark.parametrize("seed", range(4))
def test_what_is_bad_is_done_again(
    finished: tuple[Path, Path], tmp_path: Path, harm: Harm, name: str, seed: int
) -> None:
    site, whole = finished
    out = tmp_path / "out"
    shutil.copytree(whole, out)
    data = (out / name).read_bytes()
    (out / name).write_bytes(harm(data, random.Random(seed)))
    told: list[Progress] = []
    summary = run_batch([site], out, QUICK, progress=told.append)
    assert rows(out) == rows(whole)
    assert (out / "tags.jsonl").read_bytes() == (whole / "tags.jsonl").read_bytes()
    assert summary.failed == 0
    if harm is not truncated:  # which may take several
        assert summary.kept >= POINTS - 2
    if harm in (flipped, other_digit):
        assert told[-1].doubtful >= 1 and summary.kept < POINTS


def test_lines_without_a_checksum_are_not_believed(
    finished: tuple[Path, Path], tmp_path: Path
) -> None:
    """Those of an older version: done again, and said."""
    site, whole = finished
    out = tmp_path / "out"
    shutil.copytree(whole, out)
    plain = [json.dumps(row, separators=(",", ":")) for row in rows(whole)]
    (out / "results.jsonl").write_text("".join(f"{line}\n" for line in plain))
    told: list[Progress] = []
    assert run_batch([site], out, QUICK, progress=told.append).kept == 0
    assert told[-1].doubtful == POINTS
    assert rows(out) == rows(whole)


def test_whoever_reads_results_does_not_believe_a_damaged_line(
    finished: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, whole = finished
    out = tmp_path / "out"
    shutil.copytree(whole, out)
    text = (out / "results.jsonl").read_text()
    (out / "results.jsonl").write_text(text.replace('"loss":', '"loss":1', 1))
    for command in (["templates", str(out)], ["report", str(out), "--out", str(tmp_path / "p")]):
        assert main(command) == 2
        assert "results.jsonl, line 1: the line is damaged" in capsys.readouterr().err


def test_a_file_of_another_program_is_left_as_it_is(
    finished: tuple[Path, Path], tmp_path: Path
) -> None:
    """Even its last line without an end."""
    site, _ = finished
    for text in ('{"my": "notes"}\n{"more": 1}', "no end", "\n"):
        for name in ("results.jsonl", "tags.jsonl"):
            out = tmp_path / f"{len(text)}{name}"
            out.mkdir()
            (out / name).write_text(text)
            with pytest.raises(InputError, match="move the file away"):
                run_batch([site], out, QUICK)
            assert (out / name).read_text() == text


NAMES = (
    *(".lock", "results.jsonl", "tags.jsonl"),
    *("summary.csv", "summary.txt", "cross_reads.json", "report.html", "summary.parquet"),
)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("there", [True, False])
def test_no_link_is_followed(
    finished: tuple[Path, Path], tmp_path: Path, name: str, there: bool
) -> None:
    """What it leads to is neither overwritten nor made."""
    site, whole = finished
    out, target = tmp_path / "out", tmp_path / "precious"
    shutil.copytree(whole, out)
    (out / name).unlink(missing_ok=True)
    (out / name).symlink_to(target)
    if there:
        target.write_text("precious")
    with pytest.raises(InputError, match="is a link"):
        run_batch([site], out, QUICK)
    assert (target.read_text() == "precious") if there else not target.exists()


@pytest.mark.parametrize("name", NAMES[:3])
def test_no_other_file_is_taken_for_one_of_a_batch(
    finished: tuple[Path, Path], tmp_path: Path, name: str
) -> None:
    """A hard link to a file of somebody's, a pipe, a folder."""
    site, _ = finished
    for kind in ("hard", "pipe", "folder"):
        out = tmp_path / kind
        out.mkdir()
        precious = tmp_path / f"precious-{kind}"
        precious.write_text("precious\n")
        if kind == "hard":
            (out / name).hardlink_to(precious)
        elif kind == "pipe":
            os.mkfifo(out / name)
        else:
            (out / name).mkdir()
        with pytest.raises(InputError, match=name):
            run_batch([site], out, QUICK)
        assert precious.read_text() == "precious\n"


@pytest.mark.parametrize("at", [0, 2, POINTS])
def test_a_folder_that_goes_while_a_batch_runs(
    tmp_path: Path, at: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Said as what it is, not as trouble with standard output."""
    site, out = write_site(tmp_path / "site", POINTS), tmp_path / "out"

    class Remover:
        def __call__(self, progress: Progress) -> None:
            if progress.done == at:
                shutil.rmtree(out, ignore_errors=True)

    monkeypatch.setattr("strategist.commands.batch.Teller", Remover)
    assert main(["batch", str(site), "--out", str(out), "--workers", "1"]) == 2
    said = capsys.readouterr().err
    assert "out/" in said and "while a batch runs" in said
    assert "standard output" not in said and "Traceback" not in said


def test_seals() -> None:
    line = sealed('{"case":"a","loss":3.5}').encode()
    assert json.loads(line)["loss"] == 3.5
    assert is_sealed(line) is True
    assert is_sealed(line.replace(b"3.5", b"3.6")) is False
    assert is_sealed(b'{"case":"a"}') is None
    for place in range(len(line)):
        for bit in range(8):
            harmed = line[:place] + bytes([line[place] ^ 1 << bit]) + line[place + 1 :]
            assert not is_sealed(harmed)
