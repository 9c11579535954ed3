"""What a worker does with a read point: read it, choose, and put the answer into JSON lines."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.batch.cross_reads import tags_of
from strategist.errors import DisagreementError, InputError, SolveError
from strategist.radio.complete import complete
from strategist.survey.parts import Part

_FAULTS_SHOWN = 10  # in a row; `check` lists them all


@dataclass(frozen=True)
class Task:
    """A read point to solve; `digest` is the hash of what decides its answer."""

    part: Part
    digest: str

    @property
    def size(self) -> int:
        return self.part.size

    @property
    def place(self) -> tuple[str, str]:
        return self.part.case, self.part.read_point


@dataclass(frozen=True)
class Done:
    """The line of results.jsonl, and where there is a result that of tags.jsonl."""

    row: str
    tags: str | None

    @property
    def ok(self) -> bool:
        return self.tags is not None


def solve(tasks: Sequence[Task], options: Options) -> list[Done]:
    """The answers to some read points, in order. Never raises: an error is an answer too."""
    return [_solve(task, options) for task in tasks]


def _solve(task: Task, options: Options) -> Done:
    try:
        point = task.part.read()
        result = choose(point, options)
        tags = tags_of(complete(point), result.strategy)
    except InputError as error:
        shown = [str(fault) for fault in error.faults[:_FAULTS_SHOWN]]
        if len(error.faults) > _FAULTS_SHOWN:
            shown.append(f"… {len(error.faults)} faults in all")
        return failed(task, "input", "\n".join(shown))
    except (SolveError, DisagreementError) as error:
        return failed(task, "solver", str(error))
    except MemoryError:
        return failed(task, "memory", "not enough memory for this read point")
    except Exception as error:  # one read point never ends the batch
        return failed(task, "defect", f"{type(error).__name__}: {error}")
    place = _place(task)
    return Done(_line(place | {"result": result.to_json()}), _line(place | tags))


def failed(task: Task, kind: str, message: str) -> Done:
    """The answer where there is none; `kind` is input, solver, memory, worker or defect."""
    return Done(_line(_place(task) | {"error": {"kind": kind, "message": message}}), None)


def _place(task: Task) -> dict[str, Any]:
    part = task.part
    site = {"site": part.site} if part.site else {}
    return {"case": part.case, "read_point": part.read_point, "hash": task.digest, **site}


def _line(found: dict[str, Any]) -> str:
    return json.dumps(found, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
