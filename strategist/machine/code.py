"""Loops over arrays as machine code: a part of Python, compiled by LLVM.

A function of a file that is `compiled` can be called from outside, one that is `inner` by those
alone. What may stand in them: whole numbers, floats, flags, arrays in C order, named tuples of
arrays; assignments, `for` over a range, `while`, `if`, `break`, `continue`, `return`; arithmetic,
comparisons, `and`, `or`, `not`, a value by a condition, `min` and `max` of two, `len`, `abs`, some
functions of `math`; rows, elements and leading slices of arrays, `np.empty` outside of loops;
functions of the file. All parameters say their type: the names of arrays end with the number of
their axes where there is more than one. All means what it means in Python, but that places in
arrays are not checked, and whole numbers have 64 bits. So each function runs as Python, too
(`set_interpreted`): that is how the machine code is tested.

The functions of a file are compiled together, when one is first called, in some tenths of a
second. Machine code is kept beside the file, else in the user's folder for such things; the key of
what is kept is all that it is made from. No lock is held while it runs, Python's neither.
"""

from __future__ import annotations

import contextlib
import ctypes
import functools
import hashlib
import os
import struct
import sys
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeAlias, TypeVar, cast

import numpy as np
import numpy.typing as npt

from strategist.machine.translate import ARRAYS, translated

__all__ = [
    "FOLDER",
    "Bools2",
    "Bytes",
    "Bytes2",
    "Floats2",
    "Floats3",
    "Ints2",
    "compiled",
    "inner",
    "set_interpreted",
]

Bools2: TypeAlias = npt.NDArray[np.bool_]
Floats2: TypeAlias = npt.NDArray[np.float64]
Floats3: TypeAlias = npt.NDArray[np.float64]
Ints2: TypeAlias = npt.NDArray[np.int64]
Bytes: TypeAlias = npt.NDArray[np.uint8]
Bytes2: TypeAlias = npt.NDArray[np.uint8]
F = TypeVar("F", bound=Callable[..., Any])
FOLDER = "STRATEGIST_CODE_DIR"  # where compiled code is kept, if not in the usual places
_MARK = 32  # bytes of a digest
_RECORDS = 8  # that are remembered
_NUMBERS = {"int": "q", "bool": "q", "float": "d"}


def compiled(function: F) -> F:
    """A function that can be called from outside."""
    return cast(F, _Door(function))


def inner(function: F) -> F:
    """A function for those of the same file; called from outside it runs as Python."""
    _unit_of(function).functions.append(function.__name__)
    return function


def set_interpreted(on: bool) -> None:
    """Whether compiled functions run as Python."""
    _Door.interpreted = on


class _Door:
    """What is called in place of a function: it lays arguments side by side in a block of words,
    where what is given back is written, too."""

    interpreted = False

    def __init__(self, function: Callable[..., Any]) -> None:
        functools.update_wrapper(self, function)
        self.function = function
        self.unit = _unit_of(function)
        self.unit.functions.append(function.__name__)
        self.unit.open.append(function.__name__)

    @functools.cached_property
    def _notes(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """What it takes and gives, by the words of its annotations."""
        notes = dict(self.function.__annotations__)
        gives = notes.pop("return").removeprefix("tuple[").removesuffix("]").split(", ")
        return tuple(notes.values()), () if gives == ["None"] else tuple(gives)

    @functools.cached_property
    def _of_records(self) -> dict[str, tuple[str, ...]]:
        """The kinds of the fields of each record that it takes."""
        found = {}
        for note in self._notes[0]:
            if note not in _NUMBERS and note not in ARRAYS:
                fields = self.function.__globals__[note].__annotations__.values()
                found[note] = tuple(getattr(x, "__forward_arg__", x) for x in fields)
        return found

    @functools.cached_property
    def _formats(self) -> tuple[str, str]:
        """Those of what it gives and takes, for `struct`."""
        takes, gives = self._notes
        parts = [part for note in takes for part in self._of_records.get(note, (note,))]
        words = (_NUMBERS.get(part) or "q" * (1 + ARRAYS[part].axes) for part in parts)
        return "".join(_NUMBERS[note] for note in gives), "".join(words)

    @functools.cached_property
    def _entry(self) -> Callable[[Any], None]:
        return self.unit.entry(self.function.__name__)

    def __call__(self, *given: Any) -> Any:
        if self.interpreted:
            return self.function(*given)
        takes, gives = self._notes
        results, arguments = self._formats
        words: list[float] = [0] * len(results)
        for value, kind in zip(given, takes, strict=True):
            if kind in _NUMBERS:
                words.append(value)
            elif kind in ARRAYS:
                words += _words(value, kind)
            else:
                words += _of_record(value, self._of_records[kind])
        block = bytearray(struct.pack(results + arguments, *words))
        self._entry((ctypes.c_char * len(block)).from_buffer(block))
        found = struct.unpack_from(results, block)
        found = tuple(bool(x) if g == "bool" else x for x, g in zip(found, gives, strict=True))
        return found[0] if len(found) == 1 else found or None


def _words(value: Any, kind: str) -> tuple[int, ...]:
    """The address and lengths of an array."""
    wanted = ARRAYS[kind]
    if value.dtype != wanted.numpy or value.ndim != wanted.axes or not value.flags.c_contiguous:
        raise TypeError(f"{kind} wanted, {value.dtype} with {value.ndim} axes given")
    return value.ctypes.data, *value.shape


_records: OrderedDict[int, tuple[Any, list[int]]] = OrderedDict()  # given of late, by identity


def _of_record(record: Any, kinds: tuple[str, ...]) -> list[int]:
    """The words of a named tuple of arrays: the same one is given many times in turn."""
    known = _records.get(id(record))
    if known is not None and known[0] is record:
        return known[1]
    words = [w for part, kind in zip(record, kinds, strict=True) for w in _words(part, kind)]
    _records[id(record)] = record, words
    while len(_records) > _RECORDS:
        with contextlib.suppress(KeyError):  # another thread was first
            _records.popitem(last=False)
    return words


class _Unit:
    """The compiled functions of one file."""

    def __init__(self, module: str) -> None:
        self.module = module
        self.functions: list[str] = []
        self.open: list[str] = []
        self._lock = threading.Lock()
        self._engine: Any = None

    def entry(self, name: str) -> Callable[[Any], None]:
        with self._lock:
            if self._engine is None:
                self._engine = self._loaded()
        address = self._engine.get_function_address(name)
        found: Callable[[Any], None] = ctypes.CFUNCTYPE(None, ctypes.c_void_p)(address)
        return found

    def _loaded(self) -> Any:
        """The machine code, ready to be called."""
        import llvmlite.binding as llvm  # noqa: PLC0415 (slow to load)

        llvm.initialize_native_target()
        llvm.initialize_native_asmprinter()
        cpu, features = llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten()
        target = llvm.Target.from_default_triple()
        machine = target.create_target_machine(
            cpu=cpu, features=features, opt=3, reloc="default", codemodel="jitdefault", jit=True
        )
        source = Path(str(sys.modules[self.module].__file__))
        here = Path(__file__)
        made_from = [path.read_bytes() for path in (source, here, here.with_name("translate.py"))]
        made_from += [repr((llvm.llvm_version_info, target.triple, cpu, features)).encode()]
        key = hashlib.sha256(b"".join(hashlib.sha256(one).digest() for one in made_from)).digest()
        code = _kept(source, key)
        if code is None:
            code = self._compiled(source, llvm, machine)
            _keep(source, key, code)
        engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), machine)
        engine.add_object_file(llvm.ObjectFileRef.from_data(code))
        engine.finalize_object()
        return engine

    def _compiled(self, source: Path, llvm: Any, machine: Any) -> bytes:
        names = vars(sys.modules[self.module])
        text = translated(source.read_text(encoding="utf-8"), names, self.functions, self.open)
        module = llvm.parse_assembly(text)
        module.verify()
        options = llvm.create_pipeline_tuning_options(speed_level=3)
        options.loop_vectorization = options.slp_vectorization = True
        builder = llvm.create_pass_builder(machine, options)
        builder.getModulePassManager().run(module, builder)
        code: bytes = machine.emit_object(module)
        return code


_units: dict[str, _Unit] = {}


def _unit_of(function: Callable[..., Any]) -> _Unit:
    return _units.setdefault(function.__module__, _Unit(function.__module__))


# what is kept


def _folders(source: Path) -> Iterator[Path]:
    """Where the code of a file may be kept."""
    given = os.environ.get(FOLDER)
    if given:
        yield Path(given)
        return
    yield source.parent / "__pycache__"
    home = os.environ.get("XDG_CACHE_HOME")
    with contextlib.suppress(RuntimeError):  # a user without a home
        yield (Path(home) if home else Path.home() / ".cache") / "strategist"


def _kept(source: Path, key: bytes) -> bytes | None:
    for folder in _folders(source):
        with contextlib.suppress(OSError):
            found = (folder / f"{source.stem}.machine").read_bytes()
            code = found[2 * _MARK :]
            if found[: 2 * _MARK] == key + hashlib.sha256(code).digest():
                return code
    return None


def _keep(source: Path, key: bytes, code: bytes) -> None:
    """Keep it in the first folder that can be written to, whole or not at all."""
    for folder in _folders(source):
        with contextlib.suppress(OSError):
            folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=folder)
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(key + hashlib.sha256(code).digest() + code)
                os.replace(name, folder / f"{source.stem}.machine")
            except OSError:
                os.unlink(name)
                raise
            return
