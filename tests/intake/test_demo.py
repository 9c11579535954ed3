"""The raw files of the demo are as drawn, and come to the demo's own case."""

from __future__ import annotations

from dataclasses import replace

import strategist
from cases.generate import FOLDER as CASE
from cases.raw_log import FOLDER, facts, files


def test_the_files_are_as_drawn() -> None:
    assert {path.name: path.read_text() for path in FOLDER.glob("*.csv")} == files(facts())


def test_they_come_to_the_read_point_of_the_demo() -> None:
    mapping = strategist.ImportMapping(read_point="soiled-chute")
    made = strategist.import_log(
        {"log.csv": FOLDER / "log.csv"},
        run_sheet={"runs.csv": FOLDER / "runs.csv"},
        tags={"tags.csv": FOLDER / "tags.csv"},
        mapping=replace(mapping, levels_dbm=tuple(map(float, range(10, 31)))),
    )
    names = ("reads.csv", "roster.csv", "site.json")
    (point,) = strategist.read_case_files({name: made.files[name].encode() for name in names})
    known = strategist.read_case(CASE, "soiled-chute")["soiled-chute"].survey
    for kind in ("reads", "roster"):
        found = point.survey.to_frame(kind)  # type: ignore[arg-type]
        wanted = known.to_frame(kind)  # type: ignore[arg-type]
        assert found[wanted.columns].equals(wanted)
