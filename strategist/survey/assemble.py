"""From the tables of a case to its read points: the one entry for files and HTTP bodies."""

from __future__ import annotations

import numpy as np

from strategist.errors import Fault, InputError
from strategist.survey.bounds import Bounds
from strategist.survey.build import PointRows, build
from strategist.survey.faults import FaultList, nearest_hint
from strategist.survey.judge import Rows, judge
from strategist.survey.order import natural, some
from strategist.survey.policy import Policy, Site
from strategist.survey.records import Case, ReadPoint
from strategist.survey.tables import Tables

__all__ = ["NO_BOUNDS", "assemble", "policy_of"]

NO_BOUNDS = Bounds()


def assemble(
    site: Site,
    tables: Tables,
    read_point: str | None = None,
    *,
    site_source: str = "site.json",
    bounds: Bounds = NO_BOUNDS,
) -> Case:
    """The case that a site's policies and its tables describe; with `read_point` that one only.

    Read points come in the order of the site, then those of the tables that the site lacks, by
    name, with the default policy and a warning. A pass exists when any table names it; one that
    is not on the roster is an empty presentation, and a warning says so. The order of rows does
    not matter: passes stand in natural order ("p2" before "p10"), tags by EPC, roster entries by
    pass and tag, reads by pass, level, tag and RSSI.

    Raises InputError with the faults of all tables: those of the values, or, when every value is
    sound, those between rows and between files; and before that where it is beyond the `bounds`.
    """
    bounds.of_site(site, site_source)
    for table in (tables.roster, tables.reads, tables.tried):
        if table is not None:
            bounds.of_table(table)
    faults = FaultList()
    roster = judge(tables.roster, faults)
    reads = judge(tables.reads, faults)
    tried = None if tables.tried is None else judge(tables.tried, faults)
    faults.raise_any()
    for rows in (roster, tried):
        if rows is not None and not len(rows):
            faults.add(Fault(rows.source, None, None, "", "at least one row below the header"))
    faults.raise_any()
    files = [
        ({} if rows is None else rows.by_read_point(), rows) for rows in (roster, reads, tried)
    ]
    in_tables = sorted({name for parts, _ in files for name in parts}, key=natural)
    known = list(dict.fromkeys([*site.read_points, *in_tables]))
    if read_point is not None and read_point not in known:
        allowed = f"{some(known)}{nearest_hint(read_point, known)}"
        raise InputError.one("read point", read_point, allowed)
    bounds.of_points(known, [parts for parts, _ in files])
    points: list[ReadPoint] = []
    for name in known if read_point is None else [read_point]:
        its_roster, its_reads, its_tried = (
            None if rows is None else parts.get(name, _none_of(rows)) for parts, rows in files
        )
        assert its_roster is not None and its_reads is not None
        policy, warnings = policy_of(site, name, site_source)
        point = PointRows(name, policy, its_roster, its_reads, its_tried, site_source)
        points += build(point, warnings, faults)
    faults.raise_any()
    return Case(site.site, tuple(points))


def _none_of(rows: Rows) -> Rows:
    return rows.take(np.empty(0, np.int64))


def policy_of(site: Site, name: str, site_source: str) -> tuple[Policy, list[str]]:
    """The policy of a read point, and a warning when the site has none for it."""
    if name in site.read_points:
        return site.read_points[name], []
    hint = nearest_hint(name, site.read_points)
    return Policy(), [f'{site_source} lacks the read point "{name}"{hint}: defaults are used.']
