"""A case, with the cases of its options, as the problem of a site."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from strategist.errors import InputError
from strategist.optimise.problem import candidates_of
from strategist.optimise.site.asked import Alternative, Pair, ReaderOf, SiteProblem
from strategist.optimise.site.reader import COMBINATIONS_MAX
from strategist.radio.complete import complete
from strategist.radio.dwell import failed_reads, field_of, step_time, turns_of
from strategist.radio.timing import LINK_PROFILES
from strategist.survey.case import Case
from strategist.survey.copies import copies_for, drawn_copies
from strategist.survey.faults import nearest_hint
from strategist.survey.order import some as listed
from strategist.survey.policy import InConditions, Option, Policy
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint, Survey
from strategist.survey.variation import variation_of

__all__ = ["Posed", "read_options"]


def read_options(folder: str | Path, case: Case) -> dict[str, Case]:
    """The cases of the options that read points of a case name, by folder as it is named there.

    Raises InputError with the place in site.json where one cannot be read.
    """
    found: dict[str, Case] = {}
    for point in case:
        for name, option in point.policy.options:
            if option.case in found:
                continue
            try:
                found[option.case] = read_case(Path(folder) / option.case)
            except InputError as error:
                place = f"{point.name}, option {name}"
                raise InputError(
                    replace(fault, source=f"{place}: {fault.source}") for fault in error.faults
                ) from None
    return found


@dataclass(frozen=True, eq=False)
class Posed:
    """The problem of a case, and what is to say of it. `surveyed[p][a]` is the survey itself where
    an alternative of the problem has copies of it, drawn with a `seed`."""

    problem: SiteProblem
    surveyed: tuple[tuple[Survey, ...], ...]
    aims: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def over_survey(self) -> SiteProblem | None:
        """The problem over the passes surveyed; None: it is that."""
        if "expected" not in self.aims:
            return None
        points = []
        for some, surveys in zip(self.problem.points, self.surveyed, strict=True):
            passes = len(surveys[0].pass_ids)
            each = zip(some, surveys, strict=True)
            points.append(
                tuple(
                    replace(one, survey=own.each_once(), scale=passes / len(own.pass_ids))
                    for one, own in each
                )
            )
        return replace(self.problem, points=tuple(points))

    @staticmethod
    def of(case: Case, options: Mapping[str, Case], seed: int = 0) -> Posed:
        notes: list[str] = []
        names = tuple(point.name for point in case)
        served = {name: key for key, one in case.readers.items() for name in one.read_points}
        readers = [
            ReaderOf(
                name,
                tuple(names.index(one) for one in shared.read_points if one in names),
                shared.shares,
                shared.cycle_s,
            )
            for name, shared in case.readers.items()
        ]
        readers = [one for one in readers if one.points]
        readers += [ReaderOf(n, (p,)) for p, n in enumerate(names) if n not in served]
        timed = {p for one in readers if one.cycle_s is not None for p in one.points}
        drawn = [
            tuple(_alternatives(point, case, options, _Drawn(p in timed, seed), notes))
            for p, point in enumerate(case)
        ]
        points = tuple(tuple(one for one, _ in some) for some in drawn)
        surveyed = tuple(tuple(survey for _, survey in some) for some in drawn)
        aims = tuple(point.policy.aim for point in case)
        for reader in readers:
            _refuse_unlike(reader, [points[p][0] for p in reader.points], names)
            _refuse_many(reader, [len(points[p]) for p in reader.points])
        cost = case.cost
        problem = SiteProblem(
            names, points, tuple(readers), cost.visit, cost.setting, tuple(_pairs(case, names))
        )
        return Posed(problem, surveyed, aims, tuple(notes))


def _pairs(case: Case, names: Sequence[str]) -> Iterable[Pair]:
    """Pairs whose read points are both there."""
    for name, one in case.arbitration.items():
        if all(point in names for point in one.read_points):
            first, second = map(names.index, one.read_points)
            facing = None if one.facing is None else names.index(one.facing)
            yield Pair(name, (first, second), facing, one.price)


def _alternatives(
    point: ReadPoint,
    case: Case,
    options: Mapping[str, Case],
    drawn: _Drawn,
    notes: list[str],
) -> Iterable[tuple[Alternative, Survey]]:
    base, passes = _alternative(None, point, drawn)
    yield base, passes
    weights = passes.pass_weight
    if point.policy.conditions.aim != "mean" or (weights is not None and len(set(weights)) > 1):
        notes.append(f"{point.name}: a site is planned with each pass once, whatever its weight")
    for name, option in point.policy.options:
        if option.case not in options:
            notes.append(f"{point.name}: the option {name} is left out, as it has no survey here")
            continue
        other = _of_option(point.name, name, option, options[option.case])
        own = replace(other, policy=replace(other.policy, aim=point.policy.aim))
        price = case.cost.option if option.price is None else option.price
        one, survey = _alternative(name, own, drawn)
        scale = one.scale * len(passes.pass_ids) / len(survey.pass_ids)
        yield replace(one, price=price, scale=scale), survey


def _of_option(read_point: str, name: str, option: Option, case: Case) -> ReadPoint:
    """The read point in the case of an option. Raises InputError with the place of its name."""
    wanted = option.read_point or read_point
    known = [one.name for one in case]
    if wanted not in known:
        path = ("read_points", read_point, "options", name, "read_point")
        wrong = f'the case {option.case} has no read point "{wanted}"'
        todo = f"the name that it has there: {listed(known)}{nearest_hint(wanted, known)}"
        raise InputError.one("site.json", wanted, todo, path=path, wrong=wrong)
    return case[wanted]


@dataclass(frozen=True)
class _Drawn:
    """How alternatives are made: `timed` where a step's length is asked for; the seed of copies."""

    timed: bool
    seed: int


def _alternative(option: str | None, point: ReadPoint, drawn: _Drawn) -> tuple[Alternative, Survey]:
    """A read point with each pass counting once, and its survey; where it aims at passes to come,
    over copies of the survey, as in `solve`."""
    whole = complete(point)
    survey = whole.survey.each_once()
    policy = replace(whole.policy, aim="survey", conditions=InConditions())
    if policy.reader.antenna_power == "own":
        path = ("read_points", point.name, "reader", "antenna_power")
        wrong = "powers by antenna are not planned for a site"
        todo = (
            "Set it to shared, or leave this read point out of the site's case; `strategist solve` "
            "finds the powers of one read point by itself."
        )
        raise InputError.one("site.json", "own", todo, path=path, wrong=wrong)
    steps = _step_seconds(survey, policy) if drawn.timed else ()
    if point.policy.aim != "expected":
        return Alternative(option, survey, policy, step_s=steps), whole.survey
    copies = copies_for(len(survey.pass_ids))
    pooled = drawn_copies(survey, variation_of(survey), copies, (drawn.seed,))
    return Alternative(option, pooled, policy, scale=1 / copies, step_s=steps), whole.survey


def _step_seconds(survey: Survey, policy: Policy) -> tuple[float, ...]:
    """What a step takes at most with 0, 1, … masks, each as long as the longest."""
    time = policy.time
    if time.step_s is None and time.rf_mode is None:
        path = ("read_points", survey.read_point, "time")
        wrong = "its reader has a cycle_s, and nothing says how long a step takes"
        todo = "Give step_s (measured) or rf_mode (estimated)."
        raise InputError.one("site.json", "", todo, path=path, wrong=wrong)
    fields = [(mask.pointer, mask.length) for mask in candidates_of(survey, policy).masks]
    longest = []
    if time.rf_mode is not None and fields:
        profile = LINK_PROFILES[time.rf_mode]
        longest = [max(fields, key=lambda field: profile.select_us(field[1], field[0]))]
    tags, failed = field_of(survey, time), failed_reads(survey, time)
    turns, found = turns_of(survey, time, None), []
    for masks in range(policy.reader.mask_slots + 1):
        step = step_time(time, tags, longest * masks, failed)
        assert step is not None
        found.append(turns * step.worst_s)
    return tuple(found)


def _refuse_unlike(reader: ReaderOf, members: Sequence[Alternative], names: Sequence[str]) -> None:
    """What one reader is cannot differ between its read points."""
    if reader.free or len(members) < 2:
        return
    first = members[0].policy
    for p, one in zip(reader.points, members, strict=True):
        alike = one.policy.reader == first.reader and (
            one.policy.serial_masks == first.serial_masks
        )
        if not alike:
            path = ("read_points", names[p], "reader")
            wrong = f"is not that of {names[reader.points[0]]}, and both are on {reader.name}"
            todo = "Give both the same reader and serial_masks."
            raise InputError.one("site.json", "", todo, path=path, wrong=wrong)


def _refuse_many(reader: ReaderOf, alternatives: Sequence[int]) -> None:
    """Each combination of a reader's options is solved for itself."""
    many = math.prod(alternatives)
    if many > COMBINATIONS_MAX:
        wrong = f"the options of the read points on {reader.name} combine in {many:,} ways"
        todo = f"Leave some out: at most {COMBINATIONS_MAX} ways are weighed."
        raise InputError.one(
            "site.json", f"{many}", todo, path=("readers", reader.name), wrong=wrong
        )
