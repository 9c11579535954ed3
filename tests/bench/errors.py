"""Small errors in Python source: where one can be made, and the module with it."""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

__all__ = ["ROOT", "Mutant", "mutant_at", "places_of"]

ROOT = Path(__file__).parents[2]

_SWAPPED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
_NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}
_NAMES |= {"argmin": "argmax", "argmax": "argmin", "floor": "ceil", "ceil": "floor"}


@dataclass(frozen=True)
class Mutant:
    """One error: `text` is the expression before and after, which outlives a change of lines."""

    source: str
    line: int
    text: str
    tree: ast.Module

    @property
    def name(self) -> str:
        return f"{self.source}: {self.text}"


def places_of(source: str) -> list[tuple[str, int]]:
    """Where a source file can have an error: the file, and the number of the node."""
    nodes = _open_nodes(ast.parse((ROOT / source).read_text(encoding="utf-8")))
    return [(source, number) for number, (node, _) in enumerate(nodes) if _change_of(node)]


def mutant_at(source: str, number: int) -> Mutant:
    """The error at one of `places_of`."""
    tree = ast.parse((ROOT / source).read_text(encoding="utf-8"))
    node, around = _open_nodes(tree)[number]
    change = _change_of(node)
    assert change is not None
    before = _said(node, around)
    change(node)
    return Mutant(source, getattr(node, "lineno", 0), f"{before}  →  {_said(node, around)}", tree)


def _said(node: Any, around: ast.AST) -> str:
    """A node with the expression around it where it is a mere number or the sign of one; the test
    of a condition."""
    if isinstance(node, ast.If | ast.While):
        return ast.unparse(node.test)
    wide = ast.expr | ast.keyword | ast.Assign | ast.AnnAssign
    if isinstance(node, ast.Constant | ast.UnaryOp) and isinstance(around, wide):
        node = around
    return " ".join(ast.unparse(node).split())[:120]


def _open_nodes(tree: ast.Module) -> list[tuple[ast.AST, ast.AST]]:
    """What may be changed, and what is around it: no annotations, no words, nothing that only
    raises or is exported."""
    found: list[tuple[ast.AST, ast.AST]] = []

    def walk(node: ast.AST, around: ast.AST) -> None:
        found.append((node, around))
        outer = around if isinstance(node, ast.UnaryOp | ast.Slice) else node
        for name, value in ast.iter_fields(node):
            if name not in ("annotation", "returns", "decorator_list", "type_params"):
                for child in value if isinstance(value, list) else [value]:
                    if isinstance(child, ast.AST) and not _closed(child, node):
                        signed = isinstance(node, ast.keyword) and isinstance(child, ast.UnaryOp)
                        walk(child, around if signed else outer)

    walk(tree, tree)
    return found


def _closed(node: ast.AST, around: ast.AST) -> bool:
    if isinstance(node, ast.keyword) and isinstance(around, ast.Call):
        return node.arg == "strict" and ast.unparse(around.func) == "zip"
    if isinstance(node, ast.Assign):
        return ast.unparse(node.targets[0]) == "__all__"
    if isinstance(node, ast.If):
        return ast.unparse(node.test) == "TYPE_CHECKING"
    return isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom)


_Change = Callable[[Any], None]


def _change_of(node: Any) -> _Change | None:
    """How to make an error of a node, in place; None where none is made."""
    change = _operator(node) or _constant(node) or _name(node)
    if change is None and isinstance(node, ast.If | ast.IfExp | ast.While):
        change = lambda twin: setattr(twin, "test", ast.UnaryOp(ast.Not(), twin.test))  # noqa: E731
    return change


def _operator(node: Any) -> _Change | None:
    if isinstance(node, ast.Compare) and type(node.ops[0]) in _SWAPPED:
        return lambda twin: twin.ops.__setitem__(0, _SWAPPED[type(twin.ops[0])]())
    if isinstance(node, ast.BinOp | ast.BoolOp | ast.AugAssign) and type(node.op) in _SWAPPED:
        return lambda twin: setattr(twin, "op", _SWAPPED[type(twin.op)]())
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return lambda twin: setattr(twin, "op", ast.UAdd())
    return None


def _constant(node: Any) -> _Change | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        return lambda twin: setattr(twin, "value", not twin.value)
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return lambda twin: setattr(twin, "value", twin.value + 1)
    return None


def _name(node: Any) -> _Change | None:
    if isinstance(node, ast.Attribute) and node.attr in _NAMES:
        return lambda twin: setattr(twin, "attr", _NAMES[twin.attr])
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _NAMES:
        return lambda twin: setattr(twin.func, "id", _NAMES[twin.func.id])
    return None
