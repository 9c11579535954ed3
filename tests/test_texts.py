"""What the commands print: five lines first, forty in all, none wider than a terminal."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist.__main__ import command_parser
from strategist.answers.headline import Headline
from strategist.survey.records import ReadPoint
from tests.optimise.made import random_read_point
from tests.surveyed import surveyed_case
from tests.test_commands import run
from tests.test_words import told

DEMO = Path(__file__).parent.parent / "cases/linen-service"
POINTS = tuple(json.loads((DEMO / "site.json").read_text())["read_points"])
COMMANDS = tuple(
    name
    for action in command_parser()._actions
    if isinstance(action, argparse._SubParsersAction)
    for name in action.choices
)
LABELS = ("answer", "set", "expect", "robust", "next")


def fits(text: str) -> bool:
    return max(map(len, text.splitlines())) <= 80


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What `solve` writes for the demo, chosen for the passes surveyed, with its text beside it;
    and, as `to-come`, what it writes for the chute as it stands there."""
    folder = tmp_path_factory.mktemp("demo")
    case = strategist.read_case(surveyed_case(DEMO, folder / "case"))
    found = {point.name: _told(folder, point.name, point) for point in case}
    (folder / "results.json").write_text(json.dumps(list(found.values())))
    chute = strategist.read_case(DEMO)["soiled-chute"]
    (folder / "to-come.json").write_text(json.dumps(_told(folder, "to-come", chute, unseen=False)))
    return folder


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder to work in, with a site.json of which nothing is measured."""
    folder = tmp_path_factory.mktemp("made")
    (folder / "first").mkdir()
    (folder / "first/site.json").write_bytes((DEMO / "site.json").read_bytes())
    return folder


def _told(folder: Path, name: str, point: ReadPoint, *, unseen: bool = True) -> dict[str, Any]:
    result = strategist.choose(point, strategist.Options(unseen=unseen))
    text = strategist.result_text(result, point.policy)
    (folder / f"{name}.txt").write_text(text)
    detail = strategist.result_text(result, point.policy, detail=True)
    (folder / f"{name}-detail.txt").write_text(detail)
    return result.to_json()


@pytest.mark.parametrize("name", [*POINTS, "to-come"])
def test_a_summary_of_the_demo_is_short_and_its_five_lines_come_first(
    results: Path, name: str
) -> None:
    text = (results / f"{name}.txt").read_text()
    lines = text.splitlines()
    assert len(lines) <= 40 and fits(text)
    labelled = [line[2:12].strip() for line in lines[1 : lines.index("To set")]]
    assert tuple(filter(None, labelled)) == LABELS
    heads = [line for line in lines if not line.startswith(" ")]
    assert heads[1:] == ["To set", "Warnings", "In brief", "Caution"]
    detail = (results / f"{name}-detail.txt").read_text()
    assert told(text) == told(detail) == []
    assert fits(detail) and len(detail.splitlines()) > len(lines)
    found = {one["read_point"]: one for one in json.loads((results / "results.json").read_text())}
    found["to-come"] = json.loads((results / "to-come.json").read_text())
    assert lines[0] == f"{found[name]['read_point']}: best strategy, proven"
    words = " ".join(text.split())
    assert ("Expect a loss of" in words) == (name == "to-come")
    for sentence in found[name]["headline"].values():
        assert " ".join(sentence.split()) in words


@pytest.mark.parametrize("command", COMMANDS)
def test_help_fits_a_terminal(command: str, capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    status, out, _ = run(capsys, command, "--help")
    assert status == 0 and fits(out)


def test_the_front_page_names_every_command(capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    status, out, _ = run(capsys, "--help")
    assert status == 0 and fits(out)
    assert all(f"\n    {command}" in out for command in COMMANDS)


@pytest.mark.parametrize(
    "argv",
    [
        ("check",),
        ("masks",),
        ("compare", "--strategy", "{results}"),
        ("compare", "--strategy", "{results}", "--strategy", "{today}"),
        ("export", "--strategy", "{results}", "--format", "gen2"),
        ("accept", "--strategy", "{results}", "--against", "{case}"),
        ("trade-offs", "--read-point", "shelf-cabinet"),
        ("trade-offs", "--read-point", "shelf-cabinet", "--view", "techniques"),
        ("trade-offs", "--read-point", "shelf-cabinet", "--view", "changes"),
        ("assess", "--read-point", "shelf-cabinet"),
    ],
    ids=" ".join,
)
def test_texts_of_the_demo_fit_a_terminal(
    argv: tuple[str, ...], results: Path, capsys: Any
) -> None:
    today = results / "today.json"
    today.write_text('{"levels_dbm": [28]}')
    places = {"results": results / "results.json", "today": today}
    places["case"] = results / "case"
    command, *rest = (part.format(**places) for part in argv)
    status, out, err = run(capsys, command, places["case"], *rest)
    assert (status in (0, 1), err) == (True, "")
    assert fits(out) and told(out) == []


SITE = Path(__file__).parent.parent / "cases/two-doors"
RAW = Path(__file__).parent.parent / "cases/raw-log"
GIVEN = ("--run-sheet", f"{RAW}/runs.csv", "--tags", f"{RAW}/tags.csv", "--read-point", "chute")


@pytest.mark.parametrize(
    "argv",
    [
        ("import", f"{RAW}/log.csv", *GIVEN, "--out", "made"),
        ("new", "starter", "--read-point", "dock-1", "--levels", "15,20,25"),
        ("plan", "first"),
        ("plan", f"{DEMO}", "--read-point", "shelf-cabinet"),
        ("keys",),
        ("keys", "readers", "radio", "time"),
        ("lawful", "--region", "etsi-865-868", "--gain", "8.5", "--polarisation", "circular"),
        ("lawful", "--region", "fcc-902-928", "--gain", "6", "--hops", "50"),
        ("accept",),
        ("site", f"{SITE}", "--at-most", "2", "--budget", "400", "--workers", "1"),
    ],
    ids=" ".join,
)
def test_texts_of_other_commands_fit_a_terminal(
    argv: tuple[str, ...], made: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those of batch and templates are held to it where they are run (tests/batch)."""
    monkeypatch.chdir(made)
    status, out, _ = run(capsys, *argv)
    assert status == 0 and out and fits(out)
    assert told(out) == []


def test_what_is_no_answer_is_said_in_the_first_line() -> None:
    """A read point of chance, told as each status would be."""
    point = random_read_point(8, 1)
    result = strategist.choose(point, strategist.Options(unseen=False))

    def verdict(**changed: Any) -> Headline:
        return replace(result, **changed).headline

    silent = verdict(status="silent")
    assert silent.verdict.startswith("Report nothing: ") and silent.set.startswith("Nothing. ")
    assert silent.next_step.startswith("Change the set-up")
    infeasible = verdict(status="infeasible")
    assert infeasible.verdict.startswith("No strategy searched keeps the limits")
    assert infeasible.set.startswith("Nothing. ")
    assert verdict(status="undecided").verdict.startswith("Undecided: time ran out")
    late = verdict(status="feasible", bound=0.0, loss=result.silence_loss)
    assert late.verdict.startswith("Do not install: ")
    everything = result.weights.stray * result.outcome.stray_presented
    half = 0.5 * min(result.silence_loss, everything)
    bad = verdict(status="optimal", loss=half)
    assert bad.verdict.startswith("The techniques cannot separate wanted from stray here")
    assert bad.next_step.startswith("Change the set-up")
    good = verdict(status="optimal", loss=half - 0.01)
    assert good.verdict.startswith("The survey carries an answer")
