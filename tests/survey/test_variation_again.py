"""What may vary, worked out a second time in plain Python, on surveys of all sorts."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from functools import cache
from statistics import fmean, pvariance

import pytest

from strategist.survey import variation
from strategist.survey.records import Survey, Tag
from strategist.survey.variation import Variation, variation_of
from tests.optimise.made import survey_of

SEEDS = range(40)
KERNELS_DB = (0.0, 0.1, 0.15, 0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6)


@dataclass(frozen=True)
class Entry:
    """One presentation; `curve` maps each level's index to RSSI where the tag was read."""

    of_pass: int
    tag: int
    kind: tuple[bool, str, bool]
    curve: dict[int, float]


@dataclass(frozen=True)
class Where:
    low: float
    high: float
    middle: float

    @property
    def width(self) -> float:
        return self.high - self.low if math.isfinite(self.high - self.low) else 0.0


def made(seed: int) -> Survey:
    """Levels unevenly apart, one or two types, tags that stay, gaps, and turn-ons in two places, on
    the range or beyond its ends."""
    rng = random.Random(seed)
    levels = sorted(rng.sample([x / 2 for x in range(20, 60)], rng.randint(4, 12)))
    spread, gaps = rng.choice([0.2, 1.0, 4.0]), rng.choice([0.0, 0.1, 0.3])
    middle = [rng.uniform(levels[0] - 4, levels[-1] + 4) for _ in range(2)]
    types = ["", "a"][: rng.randint(1, 2)]
    passes = []
    for p in range(rng.randint(2, 12)):
        entries = [(f"{100 + t:04X}", bool(t % 2)) for t in range(rng.randint(0, 2))]
        entries += [
            (f"{16 * p + t + 1000:04X}", rng.random() < 0.6) for t in range(rng.randint(1, 4))
        ]
        curves = []
        for epc, wanted in entries:
            on = rng.gauss(rng.choice(middle), spread)
            first = round(rng.gauss(-60 - (on - 20) * rng.random(), 0.7), 1)
            climb = rng.choice([0.4, 0.9])
            read = [dbm >= on and rng.random() >= gaps for dbm in levels]
            curve = [
                round(first + climb * (dbm - on), 1) if one else None
                for dbm, one in zip(levels, read, strict=True)
            ]
            curves.append((epc, wanted, curve))
        passes.append(curves)
    tags = {
        epc: Tag(epc, tag_type=rng.choice(types) or None) for one in passes for epc, _, _ in one
    }
    return survey_of(levels, passes, tags)


def entries_of(survey: Survey) -> list[Entry]:
    passes, found = len(survey.pass_ids), []
    roster = list(zip(survey.roster_pass.tolist(), survey.roster_tag.tolist(), strict=True))
    for (p, tag), wanted in zip(roster, survey.roster_wanted.tolist(), strict=True):
        seen = sum(other == tag for _, other in roster)
        kind = (wanted, survey.tags[tag].tag_type or "", seen > max(passes / 2, 1))
        reads = zip(
            survey.read_pass, survey.read_tag, survey.read_level, survey.read_rssi, strict=True
        )
        curve = {int(level): float(x) for q, t, level, x in reads if (q, t) == (p, tag)}
        found.append(Entry(p, tag, kind, curve))
    return found


def turned_on(one: Entry, levels: list[float]) -> tuple[float, float]:
    """The levels between which a tag turns on."""
    if not one.curve:
        return levels[-1], math.inf
    first = min(one.curve)
    return (levels[first - 1] if first else -math.inf), levels[first]


def beyond(near: int, seen: int) -> float:
    return min(max(4.0 * near / max(seen, 0.5), 1.0), 40.0)


def below(x: float) -> float:
    """The standard normal distribution."""
    return math.erfc(-x / math.sqrt(2)) / 2


def likelihoods(some: list[Entry], where: list[Where], fixed: bool) -> list[float] | None:
    """Of each kernel, leaving out; None where too few are left to judge by."""
    others = [
        [j for j, b in enumerate(some) if b.of_pass != a.of_pass and (fixed or b.tag != a.tag)]
        for a in some
    ]
    judged = [i for i, of in enumerate(others) if len(of) >= 2]
    if len(judged) < 3:
        return None
    span = max(one.middle for one in where) - min(one.middle for one in where)
    found = []
    for kernel in KERNELS_DB:
        total = 0.0
        for i in judged:
            share = min(max(where[i].width / (span + 4.0), 1e-3), 1.0)
            for j in others[i]:
                scale = math.sqrt(kernel**2 + where[j].width ** 2 / 12 + 1e-12)
                share += below((where[i].high - where[j].middle) / scale)
                share -= below((where[i].low - where[j].middle) / scale)
            total += math.log(share / (len(others[i]) + 1))
        found.append(total)
    return found


def assert_likeliest(kernel: float, some: list[Entry], where: list[Where], fixed: bool) -> None:
    """The narrowest of those that are likeliest."""
    found = likelihoods(some, where, fixed)
    if found is None:
        assert kernel == 0.0
        return
    (likeliest, *_) = (k for k, x in zip(KERNELS_DB, found, strict=True) if x > max(found) - 1e-9)
    assert kernel == likeliest


def common_of(some: list[Entry], middle: list[float]) -> float:
    by_pass: dict[int, list[float]] = {}
    for one, x in zip(some, middle, strict=True):
        by_pass.setdefault(one.of_pass, []).append(x)
    inside, n = sum(len(values) - 1 for values in by_pass.values()), len(some)
    if n <= 3 or not inside or pvariance(middle) < 1e-12:
        return 0.0
    within = sum((x - fmean(values)) ** 2 for values in by_pass.values() for x in values) / inside
    return min(max(1 - within / (pvariance(middle) * n / (n - 1)), 0.0), 1.0)


def rssi_at(some: list[Entry], levels: list[float]) -> list[Where]:
    """RSSI at turn-on of tags that were read, less what follows from turn-on."""
    x = [levels[min(one.curve)] for one in some]
    y = [one.curve[min(one.curve)] for one in some]
    x, y = ([value - fmean(of) for value in of] for of in (x, y))
    slope = sum(a * b for a, b in zip(x, y, strict=True)) - 25.0
    slope /= sum(a * a for a in x) + 25.0
    off = [b - slope * a for a, b in zip(x, y, strict=True)]
    return [Where(value - 0.25, value + 0.25, value) for value in off]


def gaps_of(some: list[Entry], levels: list[float]) -> tuple[int, int]:
    """Levels above turn-on at which a tag was not read, and all."""
    above = [len(levels) - 1 - min(one.curve) for one in some if one.curve]
    read = [len(one.curve) - 1 for one in some if one.curve]
    return sum(above) - sum(read), sum(above)


def assert_varies(found: Variation, survey: Survey, tried: int = 400) -> None:
    levels, entries = survey.levels_dbm.tolist(), entries_of(survey)
    kinds = sorted({one.kind for one in entries})
    assert found.group.tolist() == [kinds.index(one.kind) for one in entries]
    every_gap, every = gaps_of(entries, levels)
    for number, kind in enumerate(kinds):
        some = [one for one in entries if one.kind == kind]
        ends = [turned_on(one, levels) for one in some]
        top = [high for _, high in ends if high > levels[-1] - 4.0]
        bottom = [low for low, _ in ends if low < levels[0] + 4.0]
        over = beyond(len(top), sum(map(math.isfinite, top)))
        under = beyond(len(bottom), sum(map(math.isfinite, bottom)))
        assert found.above_db[number] == pytest.approx(over)
        assert found.below_db[number] == pytest.approx(under)
        where = [
            Where(low, high, high - math.log(2) * under)
            if low == -math.inf
            else Where(
                low, high, low + math.log(2) * over if high == math.inf else (low + high) / 2
            )
            for low, high in ends
        ]
        middle = [one.middle for one in where]
        assert found.common[number] == pytest.approx(common_of(some, middle), abs=1e-9)
        gaps, above = gaps_of(some, levels)
        fails = (gaps + 20.0 * every_gap / max(every, 1)) / (above + 20.0)
        assert found.fails[number] == pytest.approx(fails)
        at = [round(k * (len(some) - 1) / (tried - 1)) for k in range(tried)]
        at = at if len(some) > tried else list(range(len(some)))
        assert_likeliest(
            found.link_db[number], [some[k] for k in at], [where[k] for k in at], kind[2]
        )
        read = [one for one in some if one.curve]
        if len(read) >= 3 and tried == 400:
            assert_likeliest(found.rssi_db[number], read, rssi_at(read, levels), kind[2])
        elif len(read) < 3:
            assert found.rssi_db[number] == 0.0
    steps = [
        (one.curve[k + 1] - one.curve[k], levels[k + 1] - levels[k])
        for one in entries
        for k in range(len(levels) - 1)
        if k in one.curve and k + 1 in one.curve
    ]
    slope = sum(climb for climb, _ in steps) / sum(step for _, step in steps) if steps else 1.0
    assert found.slope == pytest.approx(min(max(slope, 0.0), 1.0))


@cache
def varied(seed: int) -> tuple[Survey, Variation]:
    survey = made(seed)
    return survey, variation_of(survey)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_may_vary_is_what_a_second_reading_says(seed: int) -> None:
    survey, found = varied(seed)
    assert_varies(found, survey)


@pytest.mark.parametrize("seed", [2, 5, 9])
def test_of_many_presentations_some_evenly_taken_are_tried(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(variation, "TRIED_MAX", 6)
    survey = made(seed)
    assert_varies(variation_of(survey), survey, 6)


def test_the_surveys_are_not_all_alike() -> None:
    """Otherwise the equality above would say little."""
    found = [varied(seed)[1] for seed in SEEDS]
    kernels = {float(x) for one in found for x in (*one.link_db, *one.rssi_db)}
    assert len(kernels) >= 9
    assert sum(0 < x < 1 for one in found for x in one.common) >= 10
    assert len({float(x) for one in found for x in (*one.above_db, *one.below_db)}) >= 20
    assert sum(0 < one.slope < 1 for one in found) >= 20
