"""The rooms that `tests.bench.mutants` draws errors from, and the tests that answer for each."""

from __future__ import annotations

from dataclasses import dataclass

from tests.bench.errors import ROOT

__all__ = ["ROOMS", "Room"]

# How hard is tried before something else is: another number there takes more or less time, and the
# answers stay the same.
_EQUIVALENT = ("strategist/optimise/tuning.py",)


@dataclass(frozen=True)
class Room:
    """Modules by glob, less those of other rooms, and test files or folders."""

    sources: tuple[str, ...]
    tests: tuple[str, ...]
    less: tuple[str, ...] = ()

    def modules(self) -> list[str]:
        """Its source files that errors are made in."""
        left_out = {*_EQUIVALENT, *_found(self.less)}
        return [name for name in _found(self.sources) if name not in left_out]


def _found(patterns: tuple[str, ...]) -> list[str]:
    found = {path for pattern in patterns for path in ROOT.glob(pattern)}
    return sorted(str(path.relative_to(ROOT)) for path in found if path.name != "__init__.py")


def _named(folder: str, *names: str) -> tuple[str, ...]:
    return tuple(f"{folder}{name}.py" for name in names)


_PASSES = (
    *_named("strategist/survey/", "copies", "occasions", "variation"),
    *_named("strategist/answers/", "conditions", "expected", "over"),
    "strategist/optimise/conditions.py",
    "strategist/trust/in_conditions.py",
)
_SCORES = (
    *_named("strategist/survey/", "antennas", "score"),
    *_named("strategist/optimise/", "outer", "scores"),
    "strategist/optimise/own_*.py",
    "strategist/trust/scores.py",
)

ROOMS = {
    "optimise": Room(
        ("strategist/optimise/*.py",),
        (
            *_named("tests/optimise/test_", "chains", "finish", "known", "node", "search"),
            "tests/second_reading/test_second_reading.py",
            *_named("tests/optimise/test_", "templates", "frontier", "sturdy", "invariants"),
            *_named("tests/optimise/test_", "next_pairs", "reference", "solver", "watch"),
            *_named("tests/recorded/test_", "search", "chosen", "loops", "own"),
            "tests/batch/test_templates.py",
        ),
        (*_PASSES, *_SCORES),
    ),
    "loops": Room(  # less those that hold what is compiled against its own lines
        ("strategist/optimise/loops/*.py",),
        (
            *_named("tests/optimise/test_", "chains", "node", "search", "frontier", "reference"),
            "tests/second_reading/test_second_reading.py",
            *_named("tests/optimise/test_", "own_powers", "own_part", "brute_force"),
            "tests/recorded/test_loops.py",
        ),
    ),
    "scores": Room(
        _SCORES,
        (
            *_named("tests/survey/test_", "antennas", "score"),
            *_named("tests/optimise/test_", "scores", "own_powers", "own_part", "own_ladders"),
            *("tests/optimise/test_sturdy.py", "tests/trust/test_steps.py"),
            "tests/second_reading/test_second_reading.py",
            *_named("tests/answers/test_", "by_antenna", "settings_by_antenna"),
            *_named("tests/recorded/test_", "parts", "own"),
        ),
    ),
    "site": Room(
        ("strategist/optimise/site/*.py",),
        (
            "tests/optimise/site",
            *_named("tests/batch/test_site_", "aim", "plan", "rules"),
            "tests/recorded/test_site_planned.py",
        ),
    ),
    "trust": Room(
        ("strategist/trust/*.py",),
        (
            "tests/trust",
            *_named("tests/recorded/test_", "counts", "inside", "judged", "said"),
            "tests/batch/test_site_rules.py",
            "tests/outside/test_statistics.py",
            "tests/answers/test_settings_by_antenna.py",
            "tests/test_silence.py",
        ),
        (*_PASSES, *_SCORES),
    ),
    "answers": Room(
        ("strategist/answers/*.py",),
        (
            "tests/answers",
            *_named("tests/recorded/test_", "asked", "inside", "passes", "said"),
            "tests/trust/test_dependence.py",
            "tests/test_silence.py",
        ),
        _PASSES,
    ),
    "passes": Room(
        _PASSES,
        (
            *_named("tests/survey/test_", "copies", "occasions", "variation", "variation_again"),
            *_named("tests/answers/test_", "conditions", "expected"),
            *_named("tests/recorded/test_", "passes", "inside", "said", "asked"),
            "tests/optimise/test_conditions.py",
        ),
    ),
    "intake": Room(
        ("strategist/intake/*.py",),
        ("tests/intake", *_named("tests/recorded/test_", "intake", "intake_drawn")),
    ),
    "tags": Room(
        ("strategist/tags/*.py",),
        (
            "tests/tags",
            *_named("tests/outside/test_", "gen2", "llrp", "tag_data_standard"),
            "tests/answers/test_masks.py",
            *_named("tests/recorded/test_", "tags", "tags_drawn"),
        ),
    ),
    "survey": Room(
        (
            *_named("strategist/survey/", "build", "tables", "rssi", "profile", "columns", "rows"),
            *_named("strategist/survey/", "findings", "numbering", "soundness", "suspected"),
            *_named("strategist/survey/", "many", "plain_csv", "tried", "refused", "records"),
            "strategist/survey/loops/*.py",
        ),
        ("tests/survey", "tests/recorded/test_survey.py"),
    ),
    "radio": Room(
        ("strategist/radio/*.py",),
        (
            *("tests/radio", "tests/trust/test_on_air.py", "tests/recorded/test_radio.py"),
            *_named("tests/outside/test_", "radio", "timing", "measured_levels"),
        ),
    ),
    "batch": Room(
        _named("strategist/batch/", "templates", "prices", "cross_reads"),
        (
            *_named("tests/batch/test_", "templates", "cross_reads"),
            "tests/recorded/test_batch.py",
        ),
    ),
    "store": Room(
        ("api/store/*.py",),
        (
            *_named("tests/api/test_", "shares", "clocks", "batches", "of_batch", "supervised"),
            *_named("tests/api/test_", "surveys", "tokens", "store", "requests", "start"),
            *("tests/api/pages/test_sessions.py", "tests/recorded/test_store.py"),
        ),
    ),
}
