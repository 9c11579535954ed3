"""Small made-up sites, and brute force over every plan of them, written out plainly."""

from __future__ import annotations

import itertools
from bisect import bisect_left
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from strategist.optimise.site.asked import Alternative, ReaderOf, SiteProblem
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import TECHNIQUES, Limits, Loss, Policy, Reader
from strategist.survey.records import Survey, Tag
from strategist.survey.site import SharedPart
from strategist.tags.candidates import find_candidates
from strategist.tags.mask import chain_accepts
from tests.optimise.made import chains, survey_of

Key = tuple[float, float]  # excess, loss
Acts = tuple[tuple[bool, ...], float, tuple[float, ...]]  # tags let through, cutoff, ladder
EPCS = ("3001", "3002", "3501", "3502", "3601")


def random_survey(rng: np.random.Generator) -> Survey:
    """Three to eight passes of up to four tags at two or three levels."""
    first = float(rng.integers(10, 12))
    levels = [first + step for step in range(int(rng.integers(2, 4)))]
    passes = []
    for _ in range(int(rng.integers(3, 9))):
        entries = []
        for epc in rng.choice(EPCS, int(rng.integers(1, 5)), replace=False):
            turn_on, base = rng.integers(0, len(levels) + 1), float(rng.integers(-65, -60))
            curve = [base + step if step >= turn_on else None for step in range(len(levels))]
            entries.append((str(epc), bool(rng.random() < 0.6), curve))
        passes.append(entries)
    return survey_of(levels, passes)


def random_site(seed: int, shares: tuple[SharedPart, ...]) -> SiteProblem:
    """Three read points, the first two on one reader; in half of the sites the last has an option.

    With limits in a quarter of the read points.
    """
    rng = np.random.default_rng(seed)
    reader = Reader(2, mask_slots=int(rng.integers(1, 3)), rssi_step_db=(None, 1.0)[seed % 2])
    stop_after = int(rng.choice([1, 1, 2]))
    points = []
    for _ in range(3):
        policy = Policy(
            loss=Loss(float(rng.choice([1, 2, 5])), float(rng.choice([1, 2]))),
            stop_after=stop_after,
            reader=reader,
            limits=Limits(missed_rate_max=0.3 if rng.random() < 0.25 else None),
            allow=TECHNIQUES,
            serial_masks=True,
        )
        points.append([Alternative(None, random_survey(rng), policy)])
    if seed % 2:
        base = points[2][0]
        survey = random_survey(rng)
        scale = len(base.survey.pass_ids) / len(survey.pass_ids)
        points[2].append(Alternative("screen", survey, base.policy, 3.0, scale))
    readers = (ReaderOf("one", (0, 1), shares), ReaderOf("two", (2,), shares))
    every = tuple(map(tuple, points))
    return SiteProblem(("a", "b", "c"), every, readers, visit=2.0, setting=1.0)


@dataclass(frozen=True)
class Brute:
    """What each strategy that acts differently comes to at each alternative of each read point."""

    site: SiteProblem
    keys: dict[tuple[int, int], dict[Acts, Key]]
    silence: tuple[Key, ...]
    tags: tuple[Tag, ...]
    values: tuple[float, ...]  # of RSSI, ascending

    def best(self, at_most: int | None = None, budget: float | None = None) -> Key:
        """The least (excess, loss) over every plan."""
        found = [
            self._least(plan)
            for plan in self._plans()
            if (at_most is None or len(plan) <= at_most)
            and (budget is None or self._price(plan) <= budget + 1e-9)
        ]
        return min(rounded(one) for one in found)

    def with_shared_parts_of(self, strategy: Strategy, point: int) -> Key:
        """The least of a read point on the shared reader with what that has of a strategy."""
        shares, least = self.site.readers[0].shares, strategy.cutoff_dbm
        through = tuple(chain_accepts(strategy.masks, tag) for tag in self.tags)

        def alike(acts: Acts) -> bool:
            at = (0 if c is None else bisect_left(self.values, c) for c in (acts[1], least))
            same = {
                "masks": acts[0] == through,
                "cutoff": len(set(at)) == 1,
                "ladder": acts[2] == strategy.levels_dbm,
            }
            return all(same[part] for part in shares)

        found = [key for acts, key in self.keys[point, 0].items() if alike(acts)]
        return min(found, default=(np.inf, np.inf))

    def _plans(self) -> Iterator[tuple[frozenset[tuple[int, int]], ...]]:
        """Groups of (read point, alternative) that have the same strategy; others are silent."""
        points = range(len(self.site.points))
        for labels in itertools.product(range(-1, len(points)), repeat=len(points)):
            used = [label for label in labels if label >= 0]
            if sorted(set(used)) != list(range(len(set(used)))):
                continue
            for some in itertools.product(*(range(len(a)) for a in self.site.points)):
                if any(a and labels[p] < 0 for p, a in enumerate(some)):
                    continue
                yield tuple(
                    frozenset((p, some[p]) for p in points if labels[p] == label)
                    for label in sorted(set(used))
                )

    def _price(self, plan: tuple[frozenset[tuple[int, int]], ...]) -> float:
        served = {p for group in plan for p, _ in group}
        visits = sum(bool(served & set(reader.points)) for reader in self.site.readers)
        options = sum(self.site.points[p][a].price for group in plan for p, a in group)
        return self.site.visit * visits + self.site.setting * len(plan) + options

    def _least(self, plan: tuple[frozenset[tuple[int, int]], ...]) -> Key:
        """With the groups of the shared reader agreeing in what it shares."""
        served = {p for group in plan for p, _ in group}
        total = summed(self.silence[p] for p in range(len(self.site.points)) if p not in served)
        tied = [g for g in plan if {p for p, _ in g} & set(self.site.readers[0].points)]
        for group in plan:
            if group not in tied:
                total = summed([total, min(self._of(group).values(), default=(np.inf, np.inf))])
        if tied:
            shared = [self._by_value(group) for group in tied]
            common = set.intersection(*(set(one) for one in shared))
            ways = [summed(one[v] for one in shared) for v in common]
            total = summed([total, min(ways, default=(np.inf, np.inf))])
        return total

    def _of(self, group: frozenset[tuple[int, int]]) -> dict[Acts, Key]:
        tables = [self.keys[place] for place in sorted(group)]
        return {
            acts: summed(table[acts] for table in tables)
            for acts in set.intersection(*(set(table) for table in tables))
        }

    def _by_value(self, group: frozenset[tuple[int, int]]) -> dict[tuple[object, ...], Key]:
        parts = [("masks", "cutoff", "ladder").index(one) for one in self.site.readers[0].shares]
        found: dict[tuple[object, ...], Key] = {}
        for acts, key in self._of(group).items():
            value = tuple(acts[part] for part in parts)
            found[value] = min(key, found.get(value, key))
        return found


def summed(keys: Iterable[Key]) -> Key:
    pairs = list(keys)
    return sum(key[0] for key in pairs), sum(key[1] for key in pairs)


def rounded(key: Key) -> Key:
    return round(key[0], 6), round(key[1], 6)


def brute_force(site: SiteProblem) -> Brute:
    """Every chain of the masks of all tags, cutoff between any two RSSI values, and ladder."""
    every = [(p, a, one) for p, some in enumerate(site.points) for a, one in enumerate(some)]
    tags = sorted({tag for *_, one in every for tag in one.survey.tags}, key=lambda tag: tag.epc)
    reader = site.points[0][0].policy.reader
    masks = find_candidates(tags, reader, serial_masks=True).masks
    selections = {
        tuple(chain_accepts(chain, tag) for tag in tags)
        for chain in chains(masks, reader.mask_slots)
    }
    values = sorted({rssi for *_, one in every for rssi in one.survey.read_rssi.tolist()})
    step = reader.rssi_step_db
    cutoffs = [(a + b) / 2 if step is None else b for a, b in itertools.pairwise(values)]
    keys, silence = {}, []
    for p, a, one in every:
        levels = one.survey.levels_dbm.tolist()
        ladders = [x for n in (1, 2) for x in itertools.combinations(levels, n)]
        rows = _rows(one.survey)
        keys[p, a] = {
            (through, cutoff, ladder): _key(
                one, rows, dict(zip(tags, through, strict=True)), cutoff, ladder
            )
            for through in selections
            for cutoff in [-np.inf, *cutoffs]
            for ladder in ladders
        }
        wanted = int(one.survey.roster_wanted.sum())
        nothing = _weighed(one, wanted, wanted, 0)
        if a == 0:
            silence.append(nothing)
        else:  # nobody buys an option to report nothing
            keys[p, a] = {acts: key for acts, key in keys[p, a].items() if key < nothing}
    return Brute(site, keys, tuple(silence), tuple(tags), tuple(values))


def _rows(survey: Survey) -> list[list[tuple[object, bool, dict[float, float]]]]:
    """(tag, wanted, RSSI by level) of each tag of each pass."""
    passes: list[dict[int, tuple[object, bool, dict[float, float]]]] = [{} for _ in survey.pass_ids]
    roster = zip(survey.roster_pass, survey.roster_tag, survey.roster_wanted, strict=True)
    for p, t, wanted in roster:
        passes[p][t] = survey.tags[t], bool(wanted), {}
    for p, level, t, rssi in zip(
        survey.read_pass, survey.read_level, survey.read_tag, survey.read_rssi, strict=True
    ):
        passes[p][t][2][float(survey.levels_dbm[level])] = float(rssi)
    return [list(one.values()) for one in passes]


def _key(
    one: Alternative,
    rows: list[list[tuple[object, bool, dict[float, float]]]],
    through: dict[object, bool],
    cutoff: float,
    ladder: tuple[float, ...],
) -> Key:
    wanted = missed = stray = 0
    for present in rows:
        reported: set[object] = set()
        for level in ladder:
            reported |= {
                tag
                for tag, _, rssi in present
                if through[tag] and rssi.get(level, -np.inf) >= max(cutoff, -1e9)
            }
            if len(reported) >= one.policy.stop_after:
                break
        wanted += sum(is_wanted for _, is_wanted, _ in present)
        missed += sum(is_wanted and tag not in reported for tag, is_wanted, _ in present)
        stray += sum(not is_wanted and tag in reported for tag, is_wanted, _ in present)
    return _weighed(one, wanted, missed, stray)


def _weighed(one: Alternative, wanted: int, missed: int, stray: int) -> Key:
    loss, most = one.policy.loss, one.policy.limits.missed_rate_max
    over = max(0.0, missed / wanted - most) if most is not None and wanted else 0.0
    return over, one.scale * (loss.missed * missed + loss.stray * stray)


def with_no_money(site: SiteProblem) -> SiteProblem:
    return replace(site, visit=0.0, setting=0.0)
