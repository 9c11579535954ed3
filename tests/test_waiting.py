"""While an answer takes long a line says how far it is: at a terminal, and nowhere else."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist.__main__ import main
from strategist.commands import waiting
from strategist.survey.policy import InConditions
from tests.answers.test_conditions import two_places
from tests.answers.test_expected import expecting
from tests.faults import raw
from tests.faults.provoked import READS, write
from tests.optimise.made import random_read_point
from tests.optimise.test_scores import drawn
from tests.test_commands import case, run


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_search_tells_its_incumbent_and_a_bound() -> None:
    """The bound never falls, no loss is below it, and the last loss is the answer's."""
    told: list[tuple[float, float]] = []
    with strategist.watched_by(lambda it: told.append((it.loss or 0.0, it.bound or 0.0))):
        found = strategist.solve(random_read_point(8, 1))
    assert told and told[-1][0] == found.loss
    assert all(bound <= loss for loss, bound in told)
    bounds = [bound for _, bound in told]
    assert bounds == sorted(bounds)
    told.clear()
    strategist.solve(random_read_point(8, 1))
    assert told == [], "nobody watches any more"


def test_a_terminal_gets_a_line_that_is_gone_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(waiting, "_QUIET_S", 0.0)
    monkeypatch.setattr(waiting, "_EVERY_S", 0.001)
    with waiting.waiting_for("door"):
        strategist.solve(random_read_point(8, 1))
        while " found, none below " not in terminal.getvalue():
            pass  # until the line was drawn once more
    said = terminal.getvalue()
    assert said.startswith("\rdoor: 0 s") and said.endswith("\r\x1b[K")
    assert all(len(line) <= 80 for line in said.replace("\x1b[K", "").split("\r"))


LONG = {  # commands that may take over two seconds, on files that are sound (batch has its own)
    "check": "check case",
    "masks": "masks case",
    "solve": "solve case",
    "trade-offs": "trade-offs case",
    "compare": "compare case --strategy strategy.json",
    "export": "export case --strategy strategy.json --format gen2",
    "accept": "accept case --strategy strategy.json",
    "plan": "plan case",
    "site": "site case --workers 1",
    "new": "new fresh",
    "import": raw.GIVEN,
}


@pytest.mark.parametrize("command", LONG)
def test_each_command_that_may_take_long_says_how_far_it_is(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    write(tmp_path, raw.raw() | {"fresh/reads.csv": READS})
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(waiting, "_QUIET_S", 0.0)
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    assert main(LONG[command].split()) in (0, 1)
    assert re.search(r"\r[\w./-]+: 0 s", terminal.getvalue())


def test_nothing_is_said_where_it_is_short_or_no_terminal(
    capsys: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = case(tmp_path / "c", {"door": {}})
    monkeypatch.setattr(waiting, "_QUIET_S", 0.0)
    assert run(capsys, "solve", folder)[2] == ""
    monkeypatch.setattr(waiting, "_QUIET_S", 60.0)
    monkeypatch.setattr(sys, "stderr", Terminal())
    assert run(capsys, "solve", folder)[0] == 0
    assert isinstance(sys.stderr, Terminal) and sys.stderr.getvalue() == ""


def stages(answer: Callable[[], Any]) -> tuple[Any, list[strategist.Reached]]:
    told: list[strategist.Reached] = []
    with strategist.watched_by(told.append):
        return answer(), told


def test_a_choice_among_scores_tells_what_is_known_of_all() -> None:
    """No bound is above the loss that comes out, whichever score is at hand; losses never rise."""
    found, told = stages(lambda: strategist.solve(drawn(1)))
    assert {one.stage.split(" of ")[0] for one in told} > {"score 1"}
    assert all(one.bound is not None and one.bound <= found.loss for one in told)
    losses = [one.loss for one in told if one.loss is not None]
    assert losses == sorted(losses, reverse=True) and losses[-1] == found.loss


def test_over_copies_and_conditions_the_losses_of_the_survey_stay_beside() -> None:
    point = expecting(random_read_point(8, 1))
    found, told = stages(lambda: strategist.solve(point))
    over = [one for one in told if one.stage.startswith("over 30 copies of the survey")]
    assert over and {one.loss for one in over} == {found.over.own.loss}
    a_pass, none = re.findall(r"([\d.]+) a pass found, none below ([\d.]+)$", over[-1].stage)[0]
    assert float(none) <= float(a_pass)
    worst = two_places(conditions=InConditions(aim="worst"))
    _, told = stages(lambda: strategist.solve(worst))
    assert re.search(r"over the conditions.*, [\d.]+ a pass found, none below", told[-1].stage)


def test_answers_of_several_solves_say_which_is_at_hand() -> None:
    point = random_read_point(8, 1)
    _, told = stages(lambda: strategist.compare_techniques(point))
    assert "without masks (10 of 11)" in {one.stage for one in told}
    _, told = stages(lambda: strategist.what_if(point, {"loss.stray": 9.0}))
    assert {one.stage for one in told} == {"as it is", "changed"}
    _, told = stages(lambda: strategist.trace_frontier(random_read_point(2, 2)))
    assert re.fullmatch(r"\d+ trade-offs? found", told[-1].stage)
