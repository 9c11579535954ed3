"""A roster that is shifted by a pass is suspected, with its counts; a sound one is not."""

from __future__ import annotations

import argparse
import csv
import io
from collections.abc import Iterable

import numpy as np
import pytest

from cases.generate import READS, ROSTER, draw
from cases.linen import PLACES
from strategist.errors import InputError
from strategist.survey.findings import Finding
from strategist.survey.numbering import Shift, shift_of
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


Cells = list[tuple[int, int, int]]  # pass, level, tag


def judged(reads: Cells, passes: int = 4, stray: Cells | None = None) -> Shift | None:
    """Tag n is wanted in pass n; strays by pass and tag."""
    listed = [(n, n) for n in range(passes)] + [(p, tag) for p, _, tag in stray or []]
    wanted = np.arange(len(listed)) < passes
    return shift_of(np.array(listed), wanted, np.array(reads, np.int64).reshape(-1, 3), passes)


def read(tags: Iterable[int], by: int, levels: int, first: int = 0) -> Cells:
    """Tag n in pass n + `by`, at so many levels."""
    return [(n + by, level, first + n) for n in tags for level in range(levels)]


def test_a_shift_is_told_by_its_counts() -> None:
    """Read at two levels in the next pass: the last pass has none to compare with. Three of their
    own are fewer than two there, and as many are no fewer."""
    later = read(range(3), 1, 2)
    assert judged(later) == judged(later + later) == Shift(1, 3, 3, 6, 0, 0, 2)
    assert judged(later + read(range(4), 0, 1)) == Shift(1, 3, 3, 6, 3, 0, 2)
    assert judged(later + read(range(4), 0, 2)) is None
    assert judged(read(range(1, 4), -1, 1)) == Shift(-1, 3, 3, 3, 0, 1, 3)
    assert judged(later[:4]) is None, "two passes may be luck"
    assert judged([]) is None


@pytest.mark.parametrize(("passes", "told"), [(16, True), (17, False)])
def test_a_fifth_of_the_passes_that_can_tell_has_to_fit_the_neighbour(
    passes: int, told: bool
) -> None:
    """Three of fifteen, or of sixteen."""
    found = judged(read(range(3), 1, 1), passes)
    assert (found == Shift(1, 15, 3, 3, 0, 0, 2)) if told else found is None


def test_a_tag_that_waits_as_a_stray_tells_where_its_own_pass_never_read_it() -> None:
    """In the next pass each tag is a stray, and read at two levels."""
    later, stray = read(range(3), 1, 2), read(range(3), 1, 1)
    assert judged(later, stray=stray) == Shift(1, 3, 3, 6, 0, 0, 2)
    assert judged(later + read(range(3), 0, 1), stray=stray) is None


def test_a_tag_that_tells_nothing_adds_nothing_to_another_of_its_pass() -> None:
    """Of two wanted tags a pass one waits in the next and was read at one level, as the other was
    there alone: one against one."""
    roster = [(n, n) for n in range(4)] + [(n, 4 + n) for n in range(4)]
    waits = [(n + 1, n) for n in range(3)]
    wanted = np.arange(len(roster) + len(waits)) < len(roster)
    reads = read(range(3), 1, 2) + read(range(3), 0, 1) + read(range(3), 1, 1, 4)
    assert shift_of(np.array(roster + waits), wanted, np.array(reads), 4) is None
    more = reads + [(n + 1, 1, 4 + n) for n in range(3)]
    found = shift_of(np.array(roster + waits), wanted, np.array(more), 4)
    assert found == Shift(1, 3, 3, 6, 3, 0, 2)


def test_tags_on_no_roster_are_no_others() -> None:
    """Four more are read in each pass, with numbers above those of the roster."""
    unlisted = read(range(4), 0, 2, 4)
    assert judged(read(range(4), 0, 1) + unlisted) is None


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
