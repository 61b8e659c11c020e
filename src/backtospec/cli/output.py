"""How a command answers: one JSON document, or words for people."""

from __future__ import annotations

import json
import sys
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from backtospec.bench.jobs import Bench


class Status(IntEnum):
    """Exit status."""

    DONE = 0
    FAILED = 1
    UNUSABLE = 2


@dataclass(frozen=True, slots=True)
class Output:
    """The global options, and the two ways to answer."""

    as_json: bool
    data_dir: Path | None

    def document(self, name: str, body: dict[str, Any]) -> None:
        """Print one JSON document under its schema's name."""
        document = {"schema": f"backtospec/{name}/1", **body}
        json.dump(document, sys.stdout, ensure_ascii=False, indent=2, allow_nan=False)
        sys.stdout.write("\n")

    def console(self) -> Console:
        """Return the console for words; colours only on a terminal."""
        from rich.console import Console

        return Console(highlight=False, width=None if sys.stdout.isatty() else 120)

    def open_bench(self) -> AbstractContextManager[Bench]:
        """Open the data folder."""
        from backtospec.bench.jobs import open_bench

        return open_bench(self.data_dir)


def output_of(context: typer.Context) -> Output:
    """Return the global options of a command's context."""
    found = context.obj
    assert isinstance(found, Output)
    return found
