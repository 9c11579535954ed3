"""JSON that is hostile costs no more than its length, and its faults are a list one can read."""

from __future__ import annotations

import difflib
import json
from typing import Any

import pytest

from strategist.errors import InputError
from strategist.survey.json_text import _KeyTwiceError, _Reader, parse_json
from strategist.survey.policy import Loss, Policy
from strategist.survey.site import SITE, Site


def test_a_key_given_twice_is_found_in_one_pass() -> None:
    """As many comparisons as keys, not their square: it took 17 s for 430 KB."""
    compared = [0]

    class Key(str):
        def __eq__(self, other: object) -> bool:
            compared[0] += 1
            return str.__eq__(self, other)

        __hash__ = str.__hash__

    pairs = [(Key(f"k{number}"), 1) for number in range(2000)]
    with pytest.raises(_KeyTwiceError, match="k1999"):
        _Reader().object([*pairs, (Key("k1999"), 2)])
    assert compared[0] < 4 * len(pairs)


def test_faults_of_json_are_worded_up_to_a_thousand(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rest is counted; the nearest name is sought for no more than are listed."""
    sought = []
    nearest = difflib.get_close_matches

    def counted(*given: Any, **more: Any) -> list[str]:
        sought.append(given)
        return nearest(*given, **more)

    monkeypatch.setattr(difflib, "get_close_matches", counted)
    text = json.dumps({f"levels{number}": 1 for number in range(5000)})
    with pytest.raises(InputError) as refused:
        parse_json(text.encode(), SITE, "site.json")
    assert len(refused.value.faults) == 1001 and refused.value.count == 5001
    assert refused.value.faults[-1].value == "4,001 more faults"
    assert len(sought) <= 1000


def test_words_of_a_fault_are_short() -> None:
    """A key of a megabyte is cut wherever it is said."""
    with pytest.raises(InputError) as refused:
        parse_json(json.dumps({"k" * 10**6: 1}).encode(), SITE, "site.json")
    assert len(str(refused.value)) < 3000


def test_keys_that_begin_with_two_slashes_are_notes() -> None:
    """Wherever they stand, whatever they hold, as often as one likes; nothing else is lost."""
    text = b"""{"//": "first", "//": "second", "read_points": {
        "// gate-2": {"levels_dbm": "not decided"},
        "gate-1": {"// why": ["a", 1], "stop_after": 2, "loss": {"//missed": 9, "stray": 2}}}}"""
    policy = Policy(stop_after=2, loss=Loss(stray=2.0))
    assert parse_json(text, SITE, "site.json") == Site({"gate-1": policy})
