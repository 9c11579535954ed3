"""What a survey looks like round a strategy: the figures that plots and tables draw from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.policy import TECHNIQUES
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, Ints, ReadPoint, Survey
from strategist.survey.score import Difference
from strategist.tags.mask import accepted_by
from strategist.trust.evaluate import Outcome, evaluate, surveyed_steps
from strategist.trust.scores import as_heard

_BINS_MAX = 40
_WIDTHS_DB = (0.5, 1.0, 2.0, 5.0)


@dataclass(frozen=True)
class RssiBins(Declared):
    """Tags by the highest of what the cutoff is held against, at the steps that the ladder walked
    in their pass, in bins: RSSI, or the strategy's score (in dB where that is a difference).

    Bin i holds low_dbm[i] ≤ RSSI < low_dbm[i] + width_db; nothing read: no bins. `stray` are those
    that the masks let through, `stray_masked` those that they reject. `wanted_below` of
    `wanted_read` and `stray_below` of `stray_read` are weaker than the cutoff (None: no cutoff).
    """

    width_db: float
    low_dbm: tuple[float, ...]
    wanted: tuple[int, ...]
    stray: tuple[int, ...]
    stray_masked: tuple[int, ...]
    wanted_read: int
    stray_read: int
    wanted_below: int | None
    stray_below: int | None
    weakest_wanted_dbm: float | None
    strongest_stray_dbm: float | None


@dataclass(frozen=True)
class Technique(Declared):
    """What one technique of a strategy does to the strays that the highest level alone reports.

    `silences`: strays that this technique alone, added to that, silences; `misses`: wanted tags
    missed then. `silences_without`: those that the strategy without this technique silences,
    `misses_without` the wanted tags missed then.
    """

    name: Literal["power", "ladder", "cutoff", "masks", "antennas"]
    silences: int
    misses: int
    silences_without: int
    misses_without: int


@dataclass(frozen=True)
class Picture(Declared):
    """A survey round a strategy, in counts over all passes.

    `wanted_read[l]`, `stray_read[l]`: tags presented and read at level l, whatever their RSSI and
    data, of `wanted` and `stray` presented. `stray_at_top` of them the highest level alone
    reports, and the strategy silences `silenced` of these. `missed_at_top`: wanted tags that the
    highest level alone misses.
    """

    read_point: Hidden[str]
    levels_dbm: tuple[float, ...]
    wanted: int
    stray: int
    wanted_read: tuple[int, ...]
    stray_read: tuple[int, ...]
    rssi: RssiBins
    stray_at_top: int
    missed_at_top: int
    silenced: int
    missed: int
    techniques: tuple[Technique, ...]

    @told(after="stray_read")
    def wanted_read_rate(self) -> list[float | None]:
        return _rates(self.wanted_read, self.wanted)

    @told(after="stray_read")
    def stray_read_rate(self) -> list[float | None]:
        return _rates(self.stray_read, self.stray)


def picture_of(read_point: ReadPoint, strategy: Strategy) -> Picture:
    """The picture of a read point round a strategy.

    Raises InputError as `evaluate` does.
    """
    point = complete(read_point)
    survey = point.survey
    rssi = peaks(survey)
    heard, _, held = as_heard(survey, point.policy, strategy)
    at_steps = peaks(heard)[:, surveyed_steps(heard, held)]
    wanted = survey.roster_wanted
    read = np.isfinite(rssi)
    top = float(survey.levels_dbm[-1])
    plain = Strategy((top,), strategy.stop_after)
    at_top, done = _judged(point, plain), _judged(point, strategy)
    return Picture(
        read_point.name,
        tuple(survey.levels_dbm.tolist()),
        int(wanted.sum()),
        int((~wanted).sum()),
        tuple(read[wanted].sum(axis=0).tolist()),
        tuple(read[~wanted].sum(axis=0).tolist()),
        _bins(survey, strategy, at_steps, done.steps),
        len(at_top.strays),
        at_top.missed,
        len(at_top.strays - done.strays),
        done.missed,
        tuple(_techniques(point, strategy, at_top.strays)),
    )


def _rates(read: tuple[int, ...], presented: int) -> list[float | None]:
    return [count / presented if presented else None for count in read]


def _bins(survey: Survey, strategy: Strategy, rssi: Floats, walked: Ints) -> RssiBins:
    """`rssi[e, i]`: what counts of entry e at step i; `walked[p]`: steps walked in pass p."""
    reached = np.arange(rssi.shape[1])[None, :] < walked[survey.roster_pass][:, None]
    strongest = np.where(reached, rssi, -np.inf).max(axis=1, initial=-np.inf)
    through = np.array(accepted_by(strategy.masks, survey.tags), bool)
    seen, wanted = np.isfinite(strongest), survey.roster_wanted
    parts = [seen & wanted, seen & ~wanted & through[survey.roster_tag]]
    parts.append(seen & ~wanted & ~through[survey.roster_tag])
    width, low, counts = _counted(strongest, parts)
    cutoff = strategy.cutoff
    of_wanted, of_stray = (strongest[part] for part in parts[:2])
    return RssiBins(
        width_db=width,
        low_dbm=low,
        wanted=counts[0],
        stray=counts[1],
        stray_masked=counts[2],
        wanted_read=len(of_wanted),
        stray_read=len(of_stray),
        wanted_below=None if cutoff is None else int((of_wanted < cutoff).sum()),
        stray_below=None if cutoff is None else int((of_stray < cutoff).sum()),
        weakest_wanted_dbm=float(of_wanted.min()) if len(of_wanted) else None,
        strongest_stray_dbm=float(of_stray.max()) if len(of_stray) else None,
    )


def _counted(
    strongest: Floats, parts: Sequence[Bools]
) -> tuple[float, tuple[float, ...], list[tuple[int, ...]]]:
    """Width of the bins, their lower ends, and how many of each part fall into them."""
    seen = np.logical_or.reduce(parts)
    if not seen.any():
        return _WIDTHS_DB[0], (), [() for _ in parts]
    low, high = float(strongest[seen].min()), float(strongest[seen].max())
    width = next((w for w in _WIDTHS_DB if (high - low) / w < _BINS_MAX - 1), _WIDTHS_DB[-1])
    first = int(np.floor(low / width))
    count = int(np.floor(high / width)) - first + 1
    counts = []
    for part in parts:
        place = np.floor(strongest[part] / width).astype(np.int64) - first
        counts.append(tuple(np.bincount(place, minlength=count).tolist()))
    return width, tuple(((first + np.arange(count)) * width).tolist()), counts


@dataclass(frozen=True, eq=False)
class _Judged:
    strays: frozenset[tuple[int, int]]  # (pass, tag)
    missed: int
    steps: Ints  # walked, by pass


def _judged(point: ReadPoint, strategy: Strategy) -> _Judged:
    outcome: Outcome = evaluate(point.survey, point.policy, strategy)
    strays = ((p, tag) for p, of_pass in enumerate(outcome.by_pass) for tag in of_pass.stray)
    steps = np.array([of_pass.steps for of_pass in outcome.by_pass], np.int64)
    return _Judged(frozenset(strays), outcome.missed, steps)


def _techniques(
    point: ReadPoint, strategy: Strategy, strays: frozenset[tuple[int, int]]
) -> Iterator[Technique]:
    """Each technique that the strategy uses: alone, and the strategy without it. A cutoff that is a
    difference belongs to the antennas that are compared."""
    top = float(point.survey.levels_dbm[-1])
    joint = {"antennas", "cutoff"} if isinstance(strategy.score, Difference) else {"antennas"}
    plain = strategy.without(*TECHNIQUES, top_dbm=top)
    for name in TECHNIQUES:
        own = joint if name == "antennas" else {name}
        others = (other for other in TECHNIQUES if other not in own)
        alone, without = (strategy.without(*of, top_dbm=top) for of in (others, own))
        if alone == plain:
            continue
        one, rest = _judged(point, alone), _judged(point, without)
        yield Technique(
            name, len(strays - one.strays), one.missed, len(strays - rest.strays), rest.missed
        )
