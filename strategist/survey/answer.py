"""Answers, declared once: from the fields of a frozen dataclass follow its JSON, the model that
reads this JSON and describes it in OpenAPI, and the rows of tables.

The keys of an answer's JSON are its fields, in order, each followed by the `told` properties that
name it. Marks in a field's type say what else is to know:

- `Hidden[T]`: no key; other code needs it.
- `Flat[T]`: an answer whose keys stand here.
- `Annotated[T, "as from"]`: the key is called `from`.
- `Annotated[T, Field(description=…)]`: words for OpenAPI.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from types import UnionType
from typing import (
    Annotated,
    Any,
    Generic,
    TypeVar,
    Union,
    get_args,
    get_origin,
    get_type_hints,
    overload,
)

from pydantic import ConfigDict, Field, create_model
from pydantic.dataclasses import is_pydantic_dataclass

__all__ = ["Declared", "Flat", "Hidden", "Seconds", "reading", "to_json", "told"]

T = TypeVar("T")

_HIDDEN, _FLAT, _ROUNDED, _AS = "hidden", "flat", "rounded", "as "
Hidden = Annotated[T, _HIDDEN]
Flat = Annotated[T, _FLAT]
Seconds = Annotated[float, _ROUNDED]  # to milliseconds

_NUMBERS = {  # more is no figure of anything surveyed
    int: Annotated[int, Field(ge=-(10**15), le=10**15)],
    float: Annotated[float, Field(ge=-1e15, le=1e15)],
}
_SHAPE = ConfigDict(extra="allow", strict=True, allow_inf_nan=False)


class _Told(property, Generic[T]):
    """A property that is a key of the answer's JSON, after another key."""

    def __init__(self, getter: Callable[[Any], T], after: str) -> None:
        super().__init__(getter)
        self.after = after

    @overload
    def __get__(self, of: None, kind: type) -> _Told[T]: ...
    @overload
    def __get__(self, of: object, kind: type | None = None) -> T: ...
    def __get__(self, of: Any, kind: Any = None) -> Any:
        return super().__get__(of, kind)


def told(after: str = "") -> Callable[[Callable[[Any], T]], _Told[T]]:
    """Declare a property as a key of the answer's JSON that follows another (none: the first)."""
    return lambda getter: _Told(getter, after)


@dataclass(frozen=True)
class _Key:
    """A key of an answer's JSON: its name, the attribute that holds it, its type without our marks,
    and these marks."""

    name: str
    attribute: str
    type: Any
    marks: frozenset[str]


class Declared:
    """Base of what is answered: a frozen dataclass whose JSON follows from its fields."""

    def to_json(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        found: dict[str, Any] = {}
        kind: Any = type(self)
        for key in _keys(kind):
            value = getattr(self, key.attribute)
            if _FLAT in key.marks:
                found |= to_json(value)
            elif _ROUNDED in key.marks:
                found[key.name] = round(value, 3)
            else:
                found[key.name] = to_json(value)
        return found

    @classmethod
    def shape(cls) -> Any:
        """The pydantic type that describes the answer's JSON; further keys are allowed."""
        return _DESCRIBED.of(cls)


def to_json(value: Any) -> Any:
    """An answer, a dataclass or a collection of them as plain JSON values."""
    if hasattr(value, "to_json"):
        return value.to_json()
    if isinstance(value, (tuple, list)):
        return [to_json(one) for one in value]
    if isinstance(value, dict):
        return {key: to_json(one) for key, one in value.items()}
    if is_dataclass(value):
        return {field.name: to_json(getattr(value, field.name)) for field in fields(value)}
    return value


@cache
def _keys(kind: Any) -> tuple[_Key, ...]:
    hints = get_type_hints(kind, include_extras=True)
    after: dict[str, list[str]] = {}
    for name, value in ((n, v) for c in reversed(kind.__mro__) for n, v in vars(c).items()):
        if isinstance(value, _Told):
            hints[name] = get_type_hints(value.fget, include_extras=True)["return"]
            after.setdefault(value.after, []).append(name)
    found: list[_Key] = []

    def add(name: str) -> None:
        marks, of = _marks(hints[name])
        if _HIDDEN not in marks:
            found.append(_Key(_name(marks) or name, name, of, marks))
        for other in after.get(name, ()):
            add(other)

    for name in after.get("", ()):
        add(name)
    for field in fields(kind):
        add(field.name)
    return tuple(found)


def _name(marks: frozenset[str]) -> str | None:
    return next((mark.removeprefix(_AS) for mark in marks if mark.startswith(_AS)), None)


def _marks(of: Any) -> tuple[frozenset[str], Any]:
    """Our marks on a type, and the type without them."""
    if get_origin(of) is not Annotated:
        return frozenset(), of
    base, *all_marks = get_args(of)
    marks = frozenset(mark for mark in all_marks if isinstance(mark, str))
    rest = tuple(mark for mark in all_marks if not isinstance(mark, str))
    return marks, Annotated[(base, *rest)] if rest else base


class _Shapes:
    """Makes the models of answers.

    `needed` None: for a description, where every key is there. Else for reading: of each answer
    the keys by these names (parted by blanks) must be there and no others, and numbers are ones
    that can be worked with.
    """

    def __init__(self, needed: Mapping[Any, str] | None = None) -> None:
        self._needed = needed
        self._made: dict[Any, Any] = {}

    def of(self, kind: Any) -> Any:
        """The model of a kind of answer."""
        if is_pydantic_dataclass(kind):
            return kind
        if kind not in self._made:
            self._made[kind] = create_model(
                kind.__name__,
                __config__=_SHAPE,
                __module__=kind.__module__,
                __doc__=kind.__doc__,
                **dict(self._fields(kind, kind)),
            )
        return self._made[kind]

    def _fields(self, kind: Any, whole: Any) -> Iterator[tuple[str, Any]]:
        for key in _keys(kind):
            if _FLAT in key.marks:
                yield from self._fields(key.type, whole)
            elif self._needed is None or key.name in self._needed.get(whole, "").split():
                yield key.name, (self._type(key.type), ...)
            else:
                yield key.name, (self._type(key.type), None)

    def _type(self, of: Any) -> Any:
        """The type of a value in JSON: that of an answer is its model."""
        if isinstance(of, type) and issubclass(of, Declared):
            return self.of(of)
        if self._needed is not None and of in (int, float):
            return _NUMBERS[of]
        origin, inside = get_origin(of), get_args(of)
        if origin is Annotated:
            base, rest = self._type(inside[0]), [x for x in inside[1:] if not isinstance(x, str)]
            return Annotated[(base, *rest)] if rest else base
        if origin in (Union, UnionType):
            return Union[tuple(map(self._type, inside))]  # noqa: UP007 (made at run time)
        if origin in (tuple, list, dict):
            return origin[tuple(one if one is ... else self._type(one) for one in inside)]
        return of


_DESCRIBED = _Shapes()


def reading(kinds: Sequence[Any], needed: Mapping[Any, str]) -> list[Any]:
    """The pydantic types that read the JSON of answers.

    `needed` names the keys that must be there, by kind of answer and parted by blanks; others may
    lack, and further ones are allowed.
    """
    shapes = _Shapes(needed)
    return [shapes.of(kind) for kind in kinds]
