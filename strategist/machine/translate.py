"""From a part of Python to the assembly language of LLVM: loops over arrays of numbers.

What may stand in a compiled function is said in `machine`. A value is a type with the names of its
registers: one for a number or flag; address and lengths for an array; those of all fields for a
record. A variable has a place on the stack for each register, which LLVM takes away again. Its type
is that of what it is first given.
"""

from __future__ import annotations

import ast
import struct
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TypeAlias

__all__ = ["ARRAYS", "UnknownError", "translated"]


@dataclass(frozen=True)
class Number:
    """A whole number (i64), a float (double) or a flag (i1)."""

    code: str


@dataclass(frozen=True)
class Array:
    """`item` is the type of an element, `stored` its type in memory, `numpy` the same to numpy."""

    item: Number
    stored: str
    axes: int
    numpy: str


@dataclass(frozen=True)
class Record:
    """A named tuple of arrays."""

    name: str
    fields: tuple[tuple[str, Array], ...]


@dataclass(frozen=True)
class Several:
    """A tuple of values: what a function returns, or the shape of an array."""

    types: tuple[Type, ...]


Type: TypeAlias = "Number | Array | Record | Several"
WHOLE, FLOAT, FLAG = Number("i64"), Number("double"), Number("i1")
NOTHING = Several(())
_OPERATIONS: dict[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("add nsw", "fadd"),
    ast.Sub: ("sub nsw", "fsub"),
    ast.Mult: ("mul nsw", "fmul"),
    ast.Div: ("", "fdiv"),
    ast.BitAnd: ("and", ""),
    ast.BitOr: ("or", ""),
    ast.RShift: ("ashr", ""),
    ast.LShift: ("shl", ""),
}
_COMPARISONS: dict[type[ast.cmpop], tuple[str, str]] = {
    ast.Eq: ("eq", "oeq"),
    ast.NotEq: ("ne", "une"),
    ast.Lt: ("slt", "olt"),
    ast.LtE: ("sle", "ole"),
    ast.Gt: ("sgt", "ogt"),
    ast.GtE: ("sge", "oge"),
}
_ITEMS = {
    "Ints": (WHOLE, "i64", "int64"),
    "Floats": (FLOAT, "double", "float64"),
    "Bools": (FLAG, "i8", "bool"),
    "Bytes": (WHOLE, "i8", "uint8"),
}
ARRAYS = {
    f"{name}{axes if axes > 1 else ''}": Array(item, stored, axes, numpy)
    for name, (item, stored, numpy) in _ITEMS.items()
    for axes in (1, 2, 3)
}  # by the names that annotations have
_TYPES: dict[str, Type] = {
    "int": WHOLE,
    "float": FLOAT,
    "bool": FLAG,
    "None": NOTHING,
    **ARRAYS,
}
_LIBRARY = ("erfc", "exp", "lgamma", "log", "log1p", "sqrt")  # of C, which `math` has, too
_SIZES = {"i64": 8, "double": 8, "i8": 1, "i32": 4}


class UnknownError(Exception):
    """Something stands in a compiled function that is not translated."""


@dataclass(frozen=True)
class Value:
    type: Type
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Signature:
    """What a function takes, by name, and gives back."""

    takes: tuple[tuple[str, Type], ...]
    gives: Type


def registers(of: Type) -> tuple[str, ...]:
    """The types of the registers of a value."""
    if isinstance(of, Number):
        return (of.code,)
    if isinstance(of, Array):
        return ("ptr", *("i64",) * of.axes)
    inner = [kind for _, kind in of.fields] if isinstance(of, Record) else of.types
    return tuple(code for kind in inner for code in registers(kind))


def translated(
    source: str, names: Mapping[str, object], functions: Sequence[str], doors: Sequence[str]
) -> str:
    """Functions of a file as one module. `names` are what the file knows; the `doors` can be called
    from outside, with the address of a block of 64-bit words: what is given back, then what is
    taken."""
    nodes = [one for one in ast.parse(source).body if isinstance(one, ast.FunctionDef)]
    known = _Known(names, {one.name: one for one in nodes if one.name in functions})
    lines = ["declare ptr @malloc(i64)", "declare void @free(ptr)"]
    lines += [f"declare double @{name}(double)" for name in _LIBRARY]
    for node in known.functions.values():
        lines += _Function(node, known).lines()
    for name in doors:
        lines += _door(name, known.signatures[name])
    return "\n".join(lines) + "\n"


class _Known:
    """What the functions of a file may name."""

    def __init__(
        self, names: Mapping[str, object], functions: Mapping[str, ast.FunctionDef]
    ) -> None:
        self.functions = functions
        self.constants = {k: v for k, v in names.items() if isinstance(v, (int, float))}
        self.records = {
            k: _record(k, v)
            for k, v in names.items()
            if isinstance(v, type) and hasattr(v, "_fields")
        }
        self.signatures = {name: self._signature(node) for name, node in functions.items()}

    def _signature(self, node: ast.FunctionDef) -> Signature:
        takes = tuple((one.arg, self._type(one.annotation)) for one in node.args.args)
        return Signature(takes, self._type(node.returns))

    def _type(self, node: ast.expr | None) -> Type:
        words = "" if node is None else ast.unparse(node)
        if words in self.records:
            return self.records[words]
        if words.startswith("tuple["):
            assert isinstance(node, ast.Subscript)
            assert isinstance(node.slice, ast.Tuple)
            return Several(tuple(self._type(one) for one in node.slice.elts))
        if words not in _TYPES:
            raise UnknownError(f'"{words}" is no type of a compiled function')
        return _TYPES[words]


def _record(name: str, cls: object) -> Record:
    notes = cls.__annotations__
    fields = {key: getattr(note, "__forward_arg__", note) for key, note in notes.items()}
    kinds = {key: _TYPES[note] for key, note in fields.items()}
    return Record(name, tuple((k, v) for k, v in kinds.items() if isinstance(v, Array)))


def _given(of: Type) -> str:
    codes = registers(of)
    if not codes:
        return "void"
    return codes[0] if len(codes) == 1 else "{ " + ", ".join(codes) + " }"


def _door(name: str, signature: Signature) -> Iterator[str]:
    """The function that reads its arguments from a block of words, and writes what it gives."""
    results = registers(signature.gives)
    yield f"define void @{name}(ptr %block) {{"
    passed = []
    taken = [code for _, kind in signature.takes for code in registers(kind)]
    for number, code in enumerate(taken, len(results)):
        yield f"  %a{number} = getelementptr i64, ptr %block, i64 {number}"
        if code == "i1":
            yield f"  %w{number} = load i64, ptr %a{number}"
            yield f"  %v{number} = icmp ne i64 %w{number}, 0"
        else:
            yield f"  %v{number} = load {code}, ptr %a{number}"
        passed.append(f"{code} %v{number}")
    called = f"call {_given(signature.gives)} @_{name}({', '.join(passed)})"
    yield f"  {'%r = ' if results else ''}{called}"
    for number, code in enumerate(results):
        found = "%r"
        if len(results) > 1:
            found = f"%r{number}"
            yield f"  {found} = extractvalue {_given(signature.gives)} %r, {number}"
        written = f"{code} {found}"
        if code == "i1":
            yield f"  %z{number} = zext i1 {found} to i64"
            written = f"i64 %z{number}"
        yield f"  %o{number} = getelementptr i64, ptr %block, i64 {number}"
        yield f"  store {written}, ptr %o{number}"
    yield "  ret void"
    yield "}"


class _Function:
    def __init__(self, node: ast.FunctionDef, known: _Known) -> None:
        self.node, self.known = node, known
        self.signature = known.signatures[node.name]
        self.code: list[str] = []
        self.places: list[str] = []  # of variables, made at the entry
        self.variables: dict[str, tuple[Type, tuple[str, ...]]] = {}
        self.held: list[str] = []  # places of memory that is let go of at the end
        self.loops: list[tuple[str, str]] = []  # where `continue` and `break` go
        self.count = 0
        self.ended = False  # whether the block that is written has its last line

    def lines(self) -> list[str]:
        name, takes = self.node.name, []
        for argument, kind in self.signature.takes:
            parts = tuple(f"%{argument}.{i}" for i in range(len(registers(kind))))
            takes += [f"{code} {part}" for code, part in zip(registers(kind), parts, strict=True)]
            self._set(argument, Value(kind, parts))
        self._all(self.node.body)
        if not self.ended:
            self._return(Value(NOTHING, ()))
        head = f"define internal {_given(self.signature.gives)} @_{name}({', '.join(takes)}) {{"
        held = [f"  store ptr null, ptr {place}" for place in self.held]
        return [head, *self.places, *held, *self.code, "}"]

    # writing

    def _fail(self, node: ast.AST, why: str) -> UnknownError:
        line = getattr(node, "lineno", 0)
        return UnknownError(f"{self.node.name}, line {line}: {why}: {ast.unparse(node)}")

    def _new(self) -> str:
        self.count += 1
        return f"%t{self.count}"

    def _label(self) -> str:
        self.count += 1
        return f"b{self.count}"

    def _put(self, line: str) -> None:
        if not self.ended:
            self.code.append(f"  {line}")

    def _make(self, line: str) -> str:
        name = self._new()
        self._put(f"{name} = {line}")
        return name

    def _go(self, label: str) -> None:
        self._put(f"br label %{label}")
        self.ended = True

    def _part(self, flag: str, yes: str, no: str) -> None:
        self._put(f"br i1 {flag}, label %{yes}, label %{no}")
        self.ended = True

    def _begin(self, label: str) -> None:
        if not self.ended:
            self._go(label)
        self.code.append(f"{label}:")
        self.ended = False

    @contextmanager
    def _aside(self, lines: list[str]) -> Iterator[None]:
        """What is written goes to other lines."""
        before, self.code = self.code, lines
        yield
        self.code = before

    def _place(self, code: str) -> str:
        self.count += 1
        name = f"%p{self.count}"
        self.places.append(f"  {name} = alloca {code}")
        return name

    # statements

    def _all(self, body: Sequence[ast.stmt]) -> None:
        for node in body:
            self._statement(node)

    def _statement(self, node: ast.stmt) -> None:
        if self.ended:
            return  # nothing comes here
        write = getattr(self, f"_of_{type(node).__name__.lower()}", None)
        if write is None:
            raise self._fail(node, "is not translated")
        write(node)

    def _of_expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):
            self._value(node.value)

    def _of_pass(self, _: ast.Pass) -> None:
        pass

    def _of_assign(self, node: ast.Assign) -> None:
        value = self._value(node.value)
        for target in node.targets:
            self._give(target, value)

    def _of_augassign(self, node: ast.AugAssign) -> None:
        value = self._binary(node, self._value(node.target), node.op, self._value(node.value))
        self._give(node.target, value)

    def _give(self, target: ast.expr, value: Value) -> None:
        if isinstance(target, ast.Name):
            self._set(target.id, value)
        elif isinstance(target, ast.Tuple):
            for one, part in zip(target.elts, self._apart(value), strict=True):
                self._give(one, part)
        elif isinstance(target, ast.Subscript):
            place = self._element(target)
            if not isinstance(place.type, Array) or place.type.axes:
                raise self._fail(target, "only elements are assigned to")
            found = self._as(value, place.type.item, target).parts[0]
            if place.type.stored != place.type.item.code:
                how = "zext" if place.type.item == FLAG else "trunc"
                found = self._make(f"{how} {place.type.item.code} {found} to {place.type.stored}")
            self._put(f"store {place.type.stored} {found}, ptr {place.parts[0]}")
        else:
            raise self._fail(target, "is not assigned to")

    def _set(self, name: str, value: Value) -> None:
        known = self.variables.get(name)
        if known is None:
            places = tuple(self._place(code) for code in registers(value.type))
            known = self.variables[name] = (value.type, places)
        kind, places = known
        if kind != value.type:
            value = self._as(value, kind, self.node)
        for code, part, place in zip(registers(kind), value.parts, places, strict=True):
            self._put(f"store {code} {part}, ptr {place}")

    def _of_if(self, node: ast.If) -> None:
        yes, no, after = self._label(), self._label(), self._label()
        self._part(self._flag(node.test), yes, no if node.orelse else after)
        self._begin(yes)
        self._all(node.body)
        if node.orelse:
            if not self.ended:
                self._go(after)
            self._begin(no)
            self._all(node.orelse)
        self._begin(after)

    def _of_while(self, node: ast.While) -> None:
        test, body, after = self._label(), self._label(), self._label()
        self._begin(test)
        self._part(self._flag(node.test), body, after)
        self._begin(body)
        self._loop(node.body, test, after)
        if not self.ended:
            self._go(test)
        self._begin(after)

    def _of_for(self, node: ast.For) -> None:
        called = node.iter
        if not (isinstance(called, ast.Call) and ast.unparse(called.func) == "range"):
            raise self._fail(node, "loops go over a range")
        bounds = [self._whole(one) for one in called.args]
        start, stop = ("0", bounds[0]) if len(bounds) == 1 else bounds[:2]
        step = bounds[2] if len(bounds) == 3 else "1"
        place = self._place("i64")
        test, body, more, after = (self._label() for _ in range(4))
        self._put(f"store i64 {start}, ptr {place}")
        self._begin(test)
        at = self._make(f"load i64, ptr {place}")
        how = "sgt" if step.startswith("-") else "slt"
        self._part(self._make(f"icmp {how} i64 {at}, {stop}"), body, after)
        self._begin(body)
        self._give(node.target, Value(WHOLE, (at,)))
        self._loop(node.body, more, after)
        self._begin(more)
        at = self._make(f"load i64, ptr {place}")
        self._put(f"store i64 {self._make(f'add nsw i64 {at}, {step}')}, ptr {place}")
        self._go(test)
        self._begin(after)

    def _loop(self, body: Sequence[ast.stmt], more: str, after: str) -> None:
        self.loops.append((more, after))
        self._all(body)
        self.loops.pop()

    def _of_break(self, _: ast.Break) -> None:
        self._go(self.loops[-1][1])

    def _of_continue(self, _: ast.Continue) -> None:
        self._go(self.loops[-1][0])

    def _of_return(self, node: ast.Return) -> None:
        self._return(Value(NOTHING, ()) if node.value is None else self._value(node.value))

    def _return(self, value: Value) -> None:
        gives = self.signature.gives
        value = self._as(value, gives, self.node)
        for place in self.held:
            self._put(f"call void @free(ptr {self._make(f'load ptr, ptr {place}')})")
        codes = registers(gives)
        if len(codes) < 2:
            self._put(f"ret {codes[0]} {value.parts[0]}" if codes else "ret void")
        else:
            found = "undef"
            for number, (code, part) in enumerate(zip(codes, value.parts, strict=True)):
                found = self._make(f"insertvalue {_given(gives)} {found}, {code} {part}, {number}")
            self._put(f"ret {_given(gives)} {found}")
        self.ended = True

    # values

    def _value(self, node: ast.expr) -> Value:
        find = getattr(self, f"_from_{type(node).__name__.lower()}", None)
        if find is None:
            raise self._fail(node, "is not translated")
        found: Value = find(node)
        return found

    def _apart(self, value: Value) -> list[Value]:
        if not isinstance(value.type, Several):
            raise UnknownError(f"{self.node.name}: one value for several")
        found, at = [], 0
        for kind in value.type.types:
            size = len(registers(kind))
            found.append(Value(kind, value.parts[at : at + size]))
            at += size
        return found

    def _as(self, value: Value, kind: Type, node: ast.AST) -> Value:
        """A value as one of another type: flags as whole numbers, these as floats."""
        if value.type == kind:
            return value
        if isinstance(kind, Several) and isinstance(value.type, Several):
            parts = zip(self._apart(value), kind.types, strict=True)
            return Value(kind, tuple(p for one, k in parts for p in self._as(one, k, node).parts))
        if value.type == FLAG and kind == WHOLE:
            return Value(kind, (self._make(f"zext i1 {value.parts[0]} to i64"),))
        if value.type == FLAG and kind == FLOAT:
            return Value(kind, (self._make(f"uitofp i1 {value.parts[0]} to double"),))
        if value.type == WHOLE and kind == FLOAT:
            return Value(kind, (self._make(f"sitofp i64 {value.parts[0]} to double"),))
        raise self._fail(node, f"{value.type} is not {kind}")

    def _whole(self, node: ast.expr) -> str:
        return self._as(self._value(node), WHOLE, node).parts[0]

    def _flag(self, node: ast.expr) -> str:
        return self._truth(self._value(node), node)

    def _truth(self, value: Value, node: ast.expr) -> str:
        if value.type == FLAG:
            return value.parts[0]
        if value.type == WHOLE:
            return self._make(f"icmp ne i64 {value.parts[0]}, 0")
        raise self._fail(node, "is neither true nor false")

    def _from_constant(self, node: ast.Constant) -> Value:
        return self._constant(node.value, node)

    def _constant(self, value: object, node: ast.AST) -> Value:
        if isinstance(value, bool):
            return Value(FLAG, (str(int(value)),))
        if isinstance(value, int):
            return Value(WHOLE, (str(value),))
        if isinstance(value, float):
            return Value(FLOAT, (f"0x{struct.pack('>d', value).hex().upper()}",))
        raise self._fail(node, "is no number")

    def _from_name(self, node: ast.Name) -> Value:
        known = self.variables.get(node.id)
        if known is not None:
            kind, places = known
            pairs = zip(registers(kind), places, strict=True)
            return Value(kind, tuple(self._make(f"load {c}, ptr {p}") for c, p in pairs))
        if node.id in self.known.constants:
            return self._constant(self.known.constants[node.id], node)
        raise self._fail(node, "is not known")

    def _from_attribute(self, node: ast.Attribute) -> Value:
        if ast.unparse(node) == "np.inf":
            return self._constant(float("inf"), node)
        value = self._value(node.value)
        if node.attr == "shape" and isinstance(value.type, Array):
            return Value(Several((WHOLE,) * value.type.axes), value.parts[1:])
        if isinstance(value.type, Record):
            at = 0
            for name, kind in value.type.fields:
                size = len(registers(kind))
                if name == node.attr:
                    return Value(kind, value.parts[at : at + size])
                at += size
        raise self._fail(node, "is not known")

    def _from_tuple(self, node: ast.Tuple) -> Value:
        values = [self._value(one) for one in node.elts]
        kinds = Several(tuple(one.type for one in values))
        return Value(kinds, tuple(part for one in values for part in one.parts))

    def _from_subscript(self, node: ast.Subscript) -> Value:
        base = node.value
        if isinstance(base, ast.Attribute) and base.attr == "shape":
            assert isinstance(node.slice, ast.Constant)
            assert isinstance(node.slice.value, int)
            return self._apart(self._value(base))[node.slice.value]
        place = self._element(node)
        assert isinstance(place.type, Array)
        if place.type.axes:
            return place
        stored, item = place.type.stored, place.type.item
        found = self._make(f"load {stored}, ptr {place.parts[0]}")
        if item == FLAG:
            found = self._make(f"icmp ne i8 {found}, 0")
        elif stored != item.code:
            how = "zext" if stored == "i8" else "sext"
            found = self._make(f"{how} {stored} {found} to {item.code}")
        return Value(item, (found,))

    def _element(self, node: ast.Subscript) -> Value:
        """A part of an array as an array, without axes where it is one element."""
        array = self._value(node.value)
        if not isinstance(array.type, Array):
            raise self._fail(node, "is no array")
        at = list(node.slice.elts) if isinstance(node.slice, ast.Tuple) else [node.slice]
        address, lengths = array.parts[0], array.parts[1:]
        if isinstance(at[0], ast.Slice):
            if len(at) > 1 or at[0].step is not None:
                raise self._fail(node, "slices are of the first axis, without steps")
            low = "0" if at[0].lower is None else self._whole(at[0].lower)
            high = lengths[0] if at[0].upper is None else self._whole(at[0].upper)
            many = self._make(f"sub nsw i64 {high}, {low}")
            return Value(
                array.type, (self._moved(array, address, [low], lengths), many, *lengths[1:])
            )
        index = [self._whole(one) for one in at]
        if any(place.startswith("-") for place in index):
            raise self._fail(node, "places are counted from the start")
        left = lengths[len(at) :]
        kind = replace(array.type, axes=len(left))
        return Value(kind, (self._moved(array, address, index, lengths), *left))

    def _moved(
        self, array: Value, address: str, index: Sequence[str], lengths: Sequence[str]
    ) -> str:
        assert isinstance(array.type, Array)
        offset = index[0]
        for number, length in enumerate(lengths[1:], 1):
            offset = self._make(f"mul nsw i64 {offset}, {length}")
            if number < len(index):
                offset = self._make(f"add nsw i64 {offset}, {index[number]}")
        stored = array.type.stored
        return self._make(f"getelementptr inbounds {stored}, ptr {address}, i64 {offset}")

    def _from_unaryop(self, node: ast.UnaryOp) -> Value:
        if isinstance(node.op, ast.Not):
            return Value(FLAG, (self._make(f"xor i1 {self._flag(node.operand)}, 1"),))
        if not isinstance(node.op, ast.USub):
            raise self._fail(node, "is not translated")
        if isinstance(node.operand, ast.Constant) and isinstance(node.operand.value, int):
            return self._constant(-node.operand.value, node)
        value = self._value(node.operand)
        if value.type == FLOAT:
            return Value(FLOAT, (self._make(f"fneg double {value.parts[0]}"),))
        whole = self._as(value, WHOLE, node).parts[0]
        return Value(WHOLE, (self._make(f"sub nsw i64 0, {whole}"),))

    def _from_binop(self, node: ast.BinOp) -> Value:
        return self._binary(node, self._value(node.left), node.op, self._value(node.right))

    def _binary(self, node: ast.AST, left: Value, op: ast.operator, right: Value) -> Value:
        whole, real = _OPERATIONS.get(type(op), ("", ""))
        kind = self._common(left, right) if whole else FLOAT
        how = whole if kind == WHOLE else real
        if not how:
            raise self._fail(node, "is not translated")
        one, other = (self._as(value, kind, node).parts[0] for value in (left, right))
        assert isinstance(kind, Number)
        return Value(kind, (self._make(f"{how} {kind.code} {one}, {other}"),))

    def _common(self, *values: Value) -> Type:
        kinds = [value.type for value in values]
        return FLOAT if FLOAT in kinds else WHOLE

    def _from_compare(self, node: ast.Compare) -> Value:
        left, flags = self._value(node.left), []
        for op, side in zip(node.ops, node.comparators, strict=True):
            right = self._value(side)
            kind = self._common(left, right)
            assert isinstance(kind, Number)
            one, other = (self._as(value, kind, node).parts[0] for value in (left, right))
            whole, real = _COMPARISONS[type(op)]
            how = f"icmp {whole}" if kind == WHOLE else f"fcmp {real}"
            flags.append(self._make(f"{how} {kind.code} {one}, {other}"))
            left = right
        found = flags[0]
        for flag in flags[1:]:
            found = self._make(f"and i1 {found}, {flag}")
        return Value(FLAG, (found,))

    def _from_boolop(self, node: ast.BoolOp) -> Value:
        place, after = self._place("i1"), self._label()
        for one in node.values:
            flag = self._flag(one)
            self._put(f"store i1 {flag}, ptr {place}")
            if one is not node.values[-1]:
                more = self._label()
                yes, no = (more, after) if isinstance(node.op, ast.And) else (after, more)
                self._part(flag, yes, no)
                self._begin(more)
        self._begin(after)
        return Value(FLAG, (self._make(f"load i1, ptr {place}"),))

    def _from_ifexp(self, node: ast.IfExp) -> Value:
        yes, no, after = self._label(), self._label(), self._label()
        self._part(self._flag(node.test), yes, no)
        sides: list[list[str]] = [[], []]
        values = []
        for label, one, lines in zip((yes, no), (node.body, node.orelse), sides, strict=True):
            self.ended = True
            with self._aside(lines):
                self._begin(label)
                values.append(self._value(one))
        kind = values[0].type if values[0].type == values[1].type else self._common(*values)
        places = [self._place(code) for code in registers(kind)]
        for value, lines in zip(values, sides, strict=True):
            with self._aside(lines):
                self.ended = False
                found = self._as(value, kind, node)
                for code, part, place in zip(registers(kind), found.parts, places, strict=True):
                    self._put(f"store {code} {part}, ptr {place}")
                self._go(after)
            self.code += lines
        self._begin(after)
        pairs = zip(registers(kind), places, strict=True)
        return Value(kind, tuple(self._make(f"load {c}, ptr {p}") for c, p in pairs))

    # calls

    def _from_call(self, node: ast.Call) -> Value:
        name = ast.unparse(node.func)
        own: dict[str, Callable[[ast.Call], Value]] = {
            "len": self._len,
            "min": self._least,
            "max": self._least,
            "abs": self._abs,
            "float": self._float,
            "int": self._int,
            "np.empty": self._empty,
        }
        if name in own:
            return own[name](node)
        values = [self._value(one) for one in node.args]
        if name.removeprefix("math.") in _LIBRARY and name.startswith("math."):
            number = self._as(values[0], FLOAT, node).parts[0]
            called = f"call double @{name.removeprefix('math.')}(double {number})"
            return Value(FLOAT, (self._make(called),))
        if name in self.known.records:
            parts = tuple(part for one in values for part in one.parts)
            return Value(self.known.records[name], parts)
        if name not in self.known.signatures:
            raise self._fail(node, "is not known")
        signature = self.known.signatures[name]
        takes, gives = signature.takes, signature.gives
        passed = []
        for value, (_, kind) in zip(values, takes, strict=True):
            found = self._as(value, kind, node)
            passed += [f"{c} {p}" for c, p in zip(registers(kind), found.parts, strict=True)]
        line = f"call {_given(gives)} @_{name}({', '.join(passed)})"
        codes = registers(gives)
        if not codes:
            self._put(line)
            return Value(NOTHING, ())
        result = self._make(line)
        if len(codes) == 1:
            return Value(gives, (result,))
        picked = (f"extractvalue {_given(gives)} {result}, {n}" for n in range(len(codes)))
        return Value(gives, tuple(self._make(one) for one in picked))

    def _len(self, node: ast.Call) -> Value:
        return Value(WHOLE, (self._value(node.args[0]).parts[1],))

    def _least(self, node: ast.Call) -> Value:
        one, other = (self._value(argument) for argument in node.args)
        kind = self._common(one, other)
        assert isinstance(kind, Number)
        first, second = (self._as(value, kind, node).parts[0] for value in (one, other))
        least = isinstance(node.func, ast.Name) and node.func.id == "min"
        how = ("slt" if least else "sgt") if kind == WHOLE else ("olt" if least else "ogt")
        test = f"{'icmp' if kind == WHOLE else 'fcmp'} {how} {kind.code} {second}, {first}"
        flag = self._make(test)
        code = kind.code
        return Value(kind, (self._make(f"select i1 {flag}, {code} {second}, {code} {first}"),))

    def _abs(self, node: ast.Call) -> Value:
        value = self._as(self._value(node.args[0]), FLOAT, node).parts[0]
        less = self._make(f"fneg double {value}")
        flag = self._make(f"fcmp olt double {value}, 0x0000000000000000")
        return Value(FLOAT, (self._make(f"select i1 {flag}, double {less}, double {value}"),))

    def _float(self, node: ast.Call) -> Value:
        return self._as(self._value(node.args[0]), FLOAT, node)

    def _int(self, node: ast.Call) -> Value:
        return self._as(self._value(node.args[0]), WHOLE, node)

    def _empty(self, node: ast.Call) -> Value:
        """Memory that the function lets go of where it ends."""
        if self.loops:
            raise self._fail(node, "memory is taken outside of loops")
        shape = node.args[0]
        each = shape.elts if isinstance(shape, ast.Tuple) else [shape]
        lengths = [self._whole(one) for one in each]
        of = ast.unparse(node.args[1]) if len(node.args) > 1 else "float"
        kind = ARRAYS[{"float": "Floats", "np.int64": "Ints", "np.bool_": "Bools"}[of]]
        kind = replace(kind, axes=len(lengths))
        size = str(_SIZES[kind.stored])
        for length in lengths:
            size = self._make(f"mul nsw i64 {size}, {length}")
        place = self._place("ptr")
        self.held.append(place)
        address = self._make(f"call ptr @malloc(i64 {size})")
        self._put(f"store ptr {address}, ptr {place}")
        return Value(kind, (address, *lengths))
