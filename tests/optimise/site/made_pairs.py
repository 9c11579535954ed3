"""Small made-up pairs of read points that hear the same tags, and brute force over every plan:
each strategy at either, each threshold of the rule and none, written out plainly."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from strategist.optimise.site.asked import Alternative, Pair, ReaderOf, SiteProblem
from strategist.survey.policy import TECHNIQUES, Limits, Loss, Policy, Reader
from strategist.survey.records import Survey
from strategist.survey.site import SharedPart
from strategist.tags.candidates import find_candidates
from strategist.tags.mask import chain_accepts
from tests.optimise.made import chains, survey_of

Key = tuple[float, float]  # excess, loss
Acts = tuple[frozenset[str], float, tuple[float, ...]]  # EPCs let through, cutoff, ladder
Heard = dict[tuple[str, str], float]  # by pass and EPC: the strongest read reported
EPCS = ("3001", "3002", "3501", "3601")
LEVELS = [10.0, 11.0]


def random_pair(
    seed: int, shares: tuple[SharedPart, ...], *, facing: bool, passes: int = 4
) -> SiteProblem:
    """Two read points at which the same passes are presented: what one wants the other mostly
    hears as stray. They share a reader where `shares` has something."""
    rng = np.random.default_rng(seed)
    reader = Reader(2, mask_slots=1, rssi_step_db=(None, 1.0)[seed % 2])
    entries: tuple[list[list[tuple[str, bool, list[float | None]]]], ...] = ([], [])
    for _ in range(passes):
        here: tuple[list[tuple[str, bool, list[float | None]]], ...] = ([], [])
        for epc in rng.choice(EPCS, int(rng.integers(1, 4)), replace=False):
            at, strength = int(rng.integers(2)), float(rng.integers(-62, -58))
            for side in (0, 1):
                if side != at and rng.random() < 0.2:
                    continue
                near = side == at
                turn_on = int(rng.integers(0, 2 + (not near)))
                base = strength - (not near) * float(rng.integers(-1, 6))
                curve = [base + step if step >= turn_on else None for step in range(2)]
                here[side].append((str(epc), near and rng.random() < 0.9, curve))
        for side in (0, 1):
            entries[side].append(here[side])
    points = []
    stop_after = int(rng.choice([1, 3]))
    for side in (0, 1):
        limits = Limits(
            missed_rate_max=0.3 if rng.random() < 0.25 else None,
            stray_rate_max=0.5 if seed % 4 == 1 else None,
        )
        policy = Policy(
            aim="survey",
            loss=Loss(float(rng.choice([1, 2, 3])), float(rng.choice([1, 2]))),
            stop_after=stop_after,
            reader=reader,
            limits=limits,
            allow=TECHNIQUES,
            serial_masks=True,
        )
        points.append((Alternative(None, survey_of(LEVELS, entries[side]), policy),))
    readers: tuple[ReaderOf, ...] = (ReaderOf("one", (0, 1), shares),)
    if not shares:
        readers = (ReaderOf("one", (0,)), ReaderOf("two", (1,)))
    pair = Pair("doors", (0, 1), facing=int(rng.integers(2)) if facing else None, price=3.0)
    return SiteProblem(("a", "b"), tuple(points), readers, visit=2.0, pairs=(pair,))


@dataclass(frozen=True)
class Done:
    """What a strategy (None: silence) does at a read point."""

    acts: Acts | None
    heard: Heard


class Brute:
    def __init__(self, site: SiteProblem) -> None:
        self.site = site
        self.roles = [_roles(some[0].survey) for some in site.points]
        self.done = [list(self._done(some[0])) for some in site.points]

    def best(
        self, at_most: int | None = None, budget: float | None = None, *, rules: bool = True
    ) -> Key:
        """The least (excess, loss)."""
        best = (float("inf"), float("inf"))
        kinds = [self._kinds(one, apart=at_most is not None) for one in self.done]
        for first, second in itertools.product(*kinds):
            both = first.acts is not None and second.acts is not None
            if both and not self._agree(first, second):
                continue
            if at_most == 1 and both and first.acts != second.acts:
                continue
            money = float("inf") if budget is None else budget - self._visits(first, second)
            if money < 0:
                continue
            for above in self._thresholds(first, second) if rules else [None]:
                if above is not None and self.site.pairs[0].price > money:
                    continue
                best = min(best, self._key(first, second, above))
        return round(best[0], 6), round(best[1], 6)

    def _visits(self, first: Done, second: Done) -> float:
        set_up = {0: first, 1: second}
        return self.site.visit * sum(
            any(set_up[p].acts is not None for p in one.points) for one in self.site.readers
        )

    def _agree(self, first: Done, second: Done) -> bool:
        if len(self.site.readers) > 1:
            return True
        assert first.acts is not None and second.acts is not None
        parts = [("masks", "cutoff", "ladder").index(one) for one in self.site.readers[0].shares]
        return all(first.acts[part] == second.acts[part] for part in parts)

    def _kinds(self, done: list[Done], *, apart: bool) -> list[Done]:
        """One of those that do the same."""
        shares = self.site.readers[0].shares if len(self.site.readers) == 1 else ()
        found: dict[object, Done] = {}
        for one in done:
            value: object = one.acts
            if one.acts is not None and not apart:
                whole = dict(zip(("masks", "cutoff", "ladder"), one.acts, strict=True))
                value = tuple(whole[part] for part in shares)
            found.setdefault((value, tuple(sorted(one.heard.items()))), one)
        return list(found.values())

    def _thresholds(self, first: Done, second: Done) -> Iterator[float | None]:
        """None, and one for each way to discard reports."""
        yield None
        differences = [first.heard[k] - second.heard[k] for k in first.heard if k in second.heard]
        facing = self.site.pairs[0].facing
        signed = differences if facing == 0 else [-one for one in differences]
        values = {abs(one) for one in differences if one} if facing is None else set(signed)
        yield from values

    def _key(self, first: Done, second: Done, above: float | None) -> Key:
        gone: tuple[set[tuple[str, str]], ...] = (set(), set())
        facing = self.site.pairs[0].facing
        for key in set(first.heard) & set(second.heard):
            if above is None:
                break
            difference = first.heard[key] - second.heard[key]
            if difference >= above and facing != 1:
                gone[1].add(key)
            if -difference >= above and facing != 0:
                gone[0].add(key)
        keys = [self.key(p, set(one.heard) - gone[p]) for p, one in enumerate((first, second))]
        return keys[0][0] + keys[1][0], keys[0][1] + keys[1][1]

    def key(self, p: int, reported: set[tuple[str, str]]) -> Key:
        """What a read point comes to that reports this, in the end."""
        policy = self.site.points[p][0].policy
        passes = len(self.site.points[p][0].survey.pass_ids)
        wanted = {key for key, role in self.roles[p].items() if role}
        missed, stray = len(wanted - reported), len(reported - wanted)
        most, excess = policy.limits, 0.0
        if most.missed_rate_max is not None and wanted:
            excess += max(0.0, missed / len(wanted) - most.missed_rate_max)
        if most.stray_rate_max is not None:
            excess += max(0.0, stray / passes - most.stray_rate_max)
        return excess, policy.loss.missed * missed + policy.loss.stray * stray

    def _done(self, one: Alternative) -> Iterator[Done]:
        yield Done(None, {})
        every = [some[0] for some in self.site.points]
        tags = sorted({tag for of in every for tag in of.survey.tags}, key=lambda tag: tag.epc)
        masks = find_candidates(tags, one.policy.reader, serial_masks=True).masks
        selections = {
            frozenset(tag.epc for tag in tags if chain_accepts(chain, tag))
            for chain in chains(masks, one.policy.reader.mask_slots)
        }
        values = sorted({rssi for of in every for rssi in of.survey.read_rssi.tolist()})
        ladders = [x for n in (1, 2) for x in itertools.combinations(LEVELS, n)]
        for through, cutoff, ladder in itertools.product(
            sorted(selections, key=sorted), [-np.inf, *values[1:]], ladders
        ):
            yield Done((through, cutoff, ladder), _heard(one, through, cutoff, ladder))


def _roles(survey: Survey) -> dict[tuple[str, str], bool]:
    return {
        (survey.pass_ids[p], survey.tags[t].epc): bool(wanted)
        for p, t, wanted in zip(
            survey.roster_pass, survey.roster_tag, survey.roster_wanted, strict=True
        )
    }


def _heard(
    one: Alternative, through: frozenset[str], cutoff: float, ladder: tuple[float, ...]
) -> Heard:
    survey, found = one.survey, {}
    for p, name in enumerate(survey.pass_ids):
        heard: dict[tuple[str, str], float] = {}
        for level in ladder:
            for q, at, tag, rssi in zip(
                survey.read_pass,
                survey.levels_dbm[survey.read_level],
                survey.read_tag,
                survey.read_rssi,
                strict=True,
            ):
                epc = survey.tags[tag].epc
                if q == p and at == level and epc in through and rssi >= cutoff:
                    heard[name, epc] = max(float(rssi), heard.get((name, epc), -np.inf))
            if len(heard) >= one.policy.stop_after:
                break
        found.update(heard)
    return found
