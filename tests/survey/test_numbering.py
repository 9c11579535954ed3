"""A roster that is shifted by a pass is suspected, with its counts; a sound one is not."""

from __future__ import annotations

import argparse
import csv
import io

import pytest

from cases.generate import READS, ROSTER, draw
from cases.linen import PLACES
from strategist.errors import InputError
from strategist.survey.findings import Finding
from strategist.survey.reading import read_case_files
from strategist.survey.records import ReadPoint
from strategist.survey.soundness import soundness
from strategist.trust.diagnosis import diagnose

DRAWN = 50  # surveys of each read point


def csv_of(columns: tuple[str, ...], rows: list[tuple[str, ...]]) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerows([columns, *rows])
    return text.getvalue().encode()


def shifted(
    name: str, seed: int, by: int, passes: int = 12, *, begin: int = 1, unlisted: str = "stray"
) -> ReadPoint:
    """A drawn survey whose roster numbers the loads from pass `begin` on higher by `by`."""
    drawn = draw(name, passes, seed)
    numbers = {f"p{n:04d}": f"p{n + by * (n >= begin):04d}" for n in range(1, passes + 1)}
    kept = set(numbers)
    roster = {  # a load that two numbers meet is given once for each tag
        (row[0], numbers[row[1]], row[2]): (row[0], numbers[row[1]], *row[2:])
        for row in drawn.roster
        if numbers[row[1]] in kept
    }
    site = f'{{"read_points": {{"{name}": {{"unlisted": "{unlisted}"}}}}}}'
    files = {
        "reads.csv": csv_of(READS, drawn.reads),
        "roster.csv": csv_of(ROSTER, list(roster.values())),
        "site.json": site.encode(),
    }
    (point,) = read_case_files(files).read_points
    return point


def suspicion(point: ReadPoint) -> str | None:
    return next((text for _, kind, text, _ in soundness(point.survey) if "shifted" in kind), None)


@pytest.mark.parametrize("name", PLACES)
def test_no_drawn_survey_is_suspected_and_each_shifted_one_is(name: str) -> None:
    assert suspicion(shifted(name, 2024, 0, PLACES[name].passes)) is None
    for seed in range(DRAWN // 10):
        assert suspicion(shifted(name, seed, 0)) is None, seed
        for by, way in ((1, "previous"), (-1, "next")):
            said = suspicion(shifted(name, seed, by))
            assert said is not None and f"in the {way} pass" in said, (seed, by)


@pytest.mark.parametrize("name", PLACES)
def test_a_shift_from_the_middle_on_is_suspected_there(name: str) -> None:
    """A load that was presented and not written down: all that follow are one number too low."""
    said = suspicion(shifted(name, 7, -1, passes=20, begin=11))
    assert said is not None and "(p0011 to p0019)" in said


def test_the_numbering_comes_first_and_tags_and_antennas_after() -> None:
    found = diagnose(shifted("soiled-chute", 1, -1, passes=40))
    weak = [finding for finding in found if finding.severity == "weak"]
    assert weak[0].kind == "passes_shifted"
    assert "of 39 passes" in weak[0].text and "Check the numbering first" in weak[0].advice
    blamed: list[Finding] = [f for f in found if f.kind == "wanted_never_read"]
    assert blamed == [] or "before you check tags or antennas" in blamed[0].advice


def test_reads_that_are_ignored_or_refused_are_compared_before() -> None:
    (warning,) = [
        one
        for one in shifted("soiled-chute", 1, 1, unlisted="ignore").warnings
        if "numbering" in one
    ]
    assert "read more in the previous pass" in warning
    with pytest.raises(InputError) as refused:
        shifted("soiled-chute", 1, 1, unlisted="error")
    assert any("fit the previous one's reads better" in str(one) for one in refused.value.faults)


if __name__ == "__main__":  # python -m tests.survey.test_numbering: the counts of many surveys
    parser = argparse.ArgumentParser(prog="python -m tests.survey.test_numbering")
    parser.add_argument("read_points", nargs="*", choices=[*PLACES, []], default=[])
    for place in parser.parse_args().read_points or PLACES:
        sound = sum(suspicion(shifted(place, seed, 0)) is not None for seed in range(DRAWN))
        seen = [
            sum(suspicion(shifted(place, seed, by)) is not None for seed in range(DRAWN))
            for by in (1, -1)
        ]
        print(f"{place}: suspected {sound} of {DRAWN} sound, {seen} of {DRAWN} shifted by 1, -1")
