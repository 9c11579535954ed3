"""The templates of a site in words, for a person at a terminal."""

from __future__ import annotations

from strategist.batch.templates import SiteTemplates
from strategist.report.lines import paragraph
from strategist.report.text import what_to_set
from strategist.survey.order import figure, some


def templates_text(site: SiteTemplates) -> str:
    """The curve, the templates with who uses them, and who needs its own."""
    chosen = site.chosen
    served = _count(len(site.points) - len(site.silent), "read point")
    lines = [f"{served}: summed loss {figure(site.own_loss)} with a strategy of its own each"]
    for number, one in enumerate(site.curve, 1):
        doubt = "" if one.proven else f" (not proven: {figure(one.bound)} or more)"
        covers = len(site.points) - len(site.silent) - site.without(one)
        said = f"covers {covers} of {served}, loss {figure(one.loss)}{doubt}"
        lines.append(f"  {_count(number, 'template') + ':':<13} {said}")
    for number, column in enumerate(chosen.chosen, 1):
        users = [place for place, used in enumerate(chosen.use) if used == column]
        names = [_name(site, place) + _mark(site, place) for place in users]
        lines.append(f"Template {number}, for {_count(len(users), 'read point')}")
        lines += what_to_set(site.candidates[column])[1:]
        lines += paragraph(f"used by   {some(names)}", hanging=10)
    lines += _silent(site)
    lines += _needy(site)
    if len(site.candidates) < site.candidates_of:
        lines += paragraph(
            f"Only {len(site.candidates)} of the {site.candidates_of} different strategies were "
            "candidates; others might do better.",
            0,
        )
    if site.warnings:
        lines.append("Warnings")
        lines += [x for text in site.warnings for x in paragraph(f"- {text}", hanging=2)]
    if site.left_out:
        lines += paragraph(f"Left out, as they have no result: {some(site.left_out)}.", 0)
    return "\n".join(lines)


def _silent(site: SiteTemplates) -> list[str]:
    lines = [
        line
        for place, point in enumerate(site.points)
        if point.silent
        for line in paragraph(
            f"- {_name(site, place)}: to report nothing loses {figure(point.silence)}", hanging=2
        )
    ]
    return ["Silence: no strategy is better there, install none", *lines] if lines else []


def _needy(site: SiteTemplates) -> list[str]:
    lines: list[str] = []
    for place, point in enumerate(site.points):
        pays = site.pays(place)
        if not site.needs_own(place):
            continue
        why = "no template may be set there, or none is better than silence"
        if pays is not None:
            why = f"extra loss {figure(pays)} (own strategy: {figure(point.own_loss)})"
        lines += paragraph(f"- {_name(site, place)}: {why}", hanging=2)
    return ["Need a strategy of their own", *lines] if lines else []


def _mark(site: SiteTemplates, place: int) -> str:
    steps = ", ".join(figure(step) for step in site.predicted(place))
    return f" [{steps} dBm predicted]" if steps else ""


def _name(site: SiteTemplates, place: int) -> str:
    point = site.points[place]
    several = len({one.case for one in site.points}) > 1
    return f"{point.read_point} ({point.case})" if several else point.read_point


def _count(number: int, one: str) -> str:
    return f"{number} {one}{'' if number == 1 else 's'}"
