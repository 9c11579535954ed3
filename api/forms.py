"""The parts of a form: which of an endpoint's forms they make, and what is wrong with them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from strategist.errors import Fault, InputError

from .endpoints import Form

Parts = Sequence[
    tuple[str, bytes]
]  # name and content; the names that clients give files are unused


def files_of_form(forms: Sequence[Form], given: Parts, what: str = "part") -> dict[str, bytes]:
    """The parts by name, of the form that has the most of them.

    Raises InputError: parts that are unknown, given twice, or missing; `what` is what they are
    called.
    """
    names = [name for name, _ in given]
    form = max(forms, key=lambda one: sum(name in one.parts for name in names))
    faults = [*_unfit(form, names, what, forms), *_missing(form, names, what)]
    if faults:
        raise InputError(faults)
    found: dict[str, bytes] = {}
    for name, content in given:
        number = sum(known == name or known.startswith(f"{name}-") for known in found)
        found[f"{name}-{number + 1}" if number else name] = content
    return found


def _unfit(form: Form, names: Sequence[str], what: str, forms: Sequence[Form]) -> list[Fault]:
    known = "; or ".join(", ".join(one.parts) for one in forms)
    faults = []
    for name, count in Counter(names).items():
        if name not in form.parts:
            todo, wrong = f"Known {what}s: {known}.", f'unknown {what} "{name}"'
            faults.append(Fault("form", None, name, name, todo, wrong=wrong))
        elif count > 1 and name not in form.repeated:
            wrong = f'the {what} "{name}" is given {count} times'
            faults.append(Fault("form", None, name, name, "it once", wrong=wrong))
    return faults


def _missing(form: Form, names: Sequence[str], what: str) -> list[Fault]:
    todo = f"Send the {what}s {', '.join(form.needed)}."
    return [
        Fault("form", None, name, "", todo, wrong=f'the {what} "{name}" is missing')
        for name in form.needed
        if name not in names
    ]
