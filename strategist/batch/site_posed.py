"""A case, with the cases of its options, as the problem of a site."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from strategist.errors import InputError
from strategist.optimise.problem import candidates_of
from strategist.optimise.site.asked import Alternative, ReaderOf, SiteProblem
from strategist.optimise.site.reader import COMBINATIONS_MAX
from strategist.radio.complete import complete
from strategist.radio.dwell import failed_reads, field_of, step_time
from strategist.radio.timing import LINK_PROFILES
from strategist.survey.case import Case
from strategist.survey.policy import InConditions, Policy
from strategist.survey.reading import read_case
from strategist.survey.records import ReadPoint, Survey
from strategist.survey.score import turns_of

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
    """The problem of a case, the read points behind it, and what is to say of it."""

    problem: SiteProblem
    notes: tuple[str, ...]

    @staticmethod
    def of(case: Case, options: Mapping[str, Case]) -> Posed:
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
        points = tuple(
            tuple(_alternatives(point, case, options, timed=p in timed, notes=notes))
            for p, point in enumerate(case)
        )
        for reader in readers:
            _refuse_unlike(reader, [points[p][0] for p in reader.points], names)
            _refuse_many(reader, [len(points[p]) for p in reader.points])
        cost = case.cost
        problem = SiteProblem(names, points, tuple(readers), cost.visit, cost.setting)
        return Posed(problem, tuple(notes))


def _alternatives(
    point: ReadPoint,
    case: Case,
    options: Mapping[str, Case],
    *,
    timed: bool,
    notes: list[str],
) -> Iterable[Alternative]:
    base = _alternative(None, point, timed=timed)
    yield base
    if point.policy.aim != "survey" or point.policy.conditions.aim != "mean":
        notes.append(f"{point.name}: a site is planned over the passes surveyed, each once")
    for name, option in point.policy.options:
        if option.case not in options:
            notes.append(f"{point.name}: the option {name} is left out, as it has no survey here")
            continue
        other = options[option.case][option.read_point or point.name]
        price = case.cost.option if option.price is None else option.price
        scale = len(base.survey.pass_ids) / len(other.survey.pass_ids)
        yield replace(_alternative(name, other, timed=timed), price=price, scale=scale)


def _alternative(option: str | None, point: ReadPoint, *, timed: bool) -> Alternative:
    """A read point with each pass counting once."""
    whole = complete(point)
    survey = whole.survey.each_once()
    policy = replace(whole.policy, aim="survey", conditions=InConditions())
    if policy.reader.antenna_power == "own":
        path = ("read_points", point.name, "reader", "antenna_power")
        wrong = "powers by antenna are not planned for a site"
        raise InputError.one("site.json", "own", "Give shared.", path=path, wrong=wrong)
    steps = _step_seconds(survey, policy) if timed else ()
    return Alternative(option, survey, policy, step_s=steps)


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
