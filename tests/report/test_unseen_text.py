"""The rates of masks on tags left out stand in the text of a result."""

from __future__ import annotations

from dataclasses import replace

from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.report.text import result_text
from strategist.trust.intervals import clopper_pearson
from strategist.trust.unseen import Held, Unseen
from tests.trust.test_unseen import ONE_KIND, made

HEAD = "The masks alone, on fitted and on held-out tags (95 % intervals)\n"


def test_rates_and_their_intervals_are_printed() -> None:
    """0 of 20: up to 16.84 % (Clopper-Pearson; Newcombe 1998, Table I, from memory)."""
    point = made(*ONE_KIND)
    result = choose(point)
    fitted = Held(clopper_pearson(0, 20), clopper_pearson(10, 20))
    by_tag = Held(clopper_pearson(1, 29), clopper_pearson(15, 148))
    by_class = Held(clopper_pearson(0, 0), clopper_pearson(0, 20))
    told = replace(result, unseen=Unseen(fitted, by_tag, by_class, ()))
    text = result_text(told, point.policy, detail=True)
    words = " ".join(text.split())
    assert HEAD in text
    assert "wanted rejected stray let through fitted 0 of 20 (0 % to 16.8 %) 10 of 20" in words
    assert "10 of 20 (27.2 % to 72.8 %) held-out tags 1 of 29 (" in words
    assert "% to 17.8 %) 15 of 148 (" in words and "held-out kinds 0 of 0 0 of 20 (" in words
    assert max(map(len, text.splitlines())) <= 80
    without = replace(result, unseen=Unseen(fitted, by_tag, None, ()))
    assert "held-out kinds" not in result_text(without, point.policy, detail=True)


def test_the_real_rates_are_printed_and_nothing_where_none_were_asked_for() -> None:
    point = made(*ONE_KIND)
    result = choose(point)
    assert result.unseen is not None and HEAD in result_text(result, point.policy, detail=True)
    quick = choose(point, Options(unseen=False))
    assert HEAD not in result_text(quick, point.policy, detail=True)
