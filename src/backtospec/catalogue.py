"""Finds the checks; fails loudly where one is broken.

A file in the ``checks`` package, or in a folder named by ``BACKTOSPEC_CHECKS``, that defines a
module-level ``CHECK`` is all it takes.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import pkgutil
from functools import cache
from pathlib import Path
from types import ModuleType

from backtospec import checks
from backtospec.check import Check
from backtospec.errors import BenchError

EXTRA_FOLDER = "BACKTOSPEC_CHECKS"


@cache
def all_checks() -> tuple[Check, ...]:
    """Return every check, in the order the work is done.

    Raises
    ------
    BenchError
        Where a file defines no check, a broken one, or an id that is already taken.
    """
    found: dict[str, Check] = {}
    for module in _modules():
        check = getattr(module, "CHECK", None)
        if not isinstance(check, Check):
            raise BenchError(
                "defines no CHECK.", f"check file {module.__name__}", "Define CHECK = Check(…)."
            )
        if check.id in found:
            raise BenchError(
                f'the id "{check.id}" is taken by another check.',
                f"check file {module.__name__}",
                "Give it another id.",
            )
        _refuse_incomplete(check, module.__name__)
        found[check.id] = check
    return tuple(sorted(found.values(), key=lambda c: (c.stage, c.id)))


def check_of(check_id: str) -> Check:
    """Return one check by its id.

    Raises
    ------
    BenchError
        Where there is no such check; it names those that there are.
    """
    for check in all_checks():
        if check.id == check_id:
            return check
    names = ", ".join(check.id for check in all_checks())
    raise BenchError(f'there is no check "{check_id}".', "check", f"Choose one of {names}.")


def _modules() -> list[ModuleType]:
    modules = [
        importlib.import_module(f"{checks.__name__}.{info.name}")
        for info in pkgutil.iter_modules(checks.__path__)
    ]
    extra = os.environ.get(EXTRA_FOLDER)
    for path in sorted(Path(extra).glob("*.py")) if extra else []:
        spec = importlib.util.spec_from_file_location(f"extra_check_{path.stem}", path)
        if spec is None or spec.loader is None:
            raise BenchError("cannot be loaded.", f"check file {path}", "Make it a Python file.")
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        modules.append(module)
    return modules


def _refuse_incomplete(check: Check, where: str) -> None:
    needed = {
        "cautions": check.cautions,
        "steps": check.steps,
        "inputs": check.inputs,
        "results": check.results,
        "examples": check.examples,
        "sources": check.sources,
        "power_states": check.power_states,
    }
    missing = [name for name, value in needed.items() if not value]
    if missing:
        raise BenchError(f"declares no {', '.join(missing)}.", f"check file {where}", "Add them.")
    keys = [item.key for item in check.inputs]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise BenchError(f"declares {', '.join(twice)} twice.", f"check file {where}", "Rename.")
