"""Run commands as a person would, in a data folder of their own."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from backtospec.cli.app import run_command_line


@dataclass(frozen=True)
class Ran:
    """What one command printed, and its exit status."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        """The JSON document it printed."""
        found = json.loads(self.out)
        assert isinstance(found, dict)
        return found


Command = Callable[..., Ran]


@pytest.fixture
def command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Command:
    """Return a function that runs one command line."""

    def run(*words: str, as_json: bool = True) -> Ran:
        options = ["--data-dir", str(tmp_path / "data"), *(["--json"] if as_json else [])]
        capsys.readouterr()
        status = run_command_line([*words, *options])
        captured = capsys.readouterr()
        return Ran(status, captured.out, captured.err)

    return run


@pytest.fixture
def job(command: Command, tmp_path: Path) -> str:
    """Return a job on an amplifier with a spec sheet."""
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET, encoding="utf-8")
    return str(command("add", "--spec", str(sheet), "--serial", "7").document["job"])


SHEET = """\
maker = "Lindqvist"
model = "A-30"
year = 1979
topology = "complementary"
mains = "220 V 50 Hz"
rail = "34 V"
source = "service manual p. 2"

[[rating]]
power = "33 W"
load = "8 ohm"
channels_driven = "both"
thd = "0.1 %"
from = "0.25 W"

[idle]
across = "resistor pair"
reading = "9 to 13 mV"
emitter = "0R22"
warm = "30 min"

[offset]
limit = "20 mV"
adjustable = true
"""
