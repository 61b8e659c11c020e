"""THD against a circuit simulator's own Fourier analysis, on a class-AB output stage."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from backtospec.analysis.line_fit import Family, fit_lines

DATA = Path(__file__).parent / "data"
ROWS: list[dict[str, Any]] = json.loads((DATA / "class_ab_table.json").read_text())["rows"]
SIMULATOR = shutil.which("ngspice")
PERIOD_S = 1e-3


def thd_percent(harmonics_db: list[float]) -> float:
    return 100 * math.sqrt(sum(10 ** (db / 10) for db in harmonics_db))


def labelled(row: dict[str, Any]) -> str:
    return f"{row['vb']:g}V-{row['vpk']:g}V"


@pytest.mark.parametrize("row", ROWS, ids=labelled)
def test_the_table_agrees_with_itself(row: dict[str, Any]) -> None:
    """THD of the fitted harmonics is the simulator's, and power is volts squared over 8 ohms."""
    ratio = thd_percent(row["h_dB"]) / row["thd_spice"]
    assert abs(20 * math.log10(ratio)) < 0.01
    assert row["P"] == pytest.approx(row["Vrms"] ** 2 / 8, rel=1e-9)
    assert row["Vboth_mV"] == pytest.approx(row["Ve1_mV"] + row["Ve2_mV"], rel=1e-9)
    # What the output draws through the load makes the two drops differ; their mean is the idle.
    assert row["Ve1_mV"] == pytest.approx(0.22 * row["Iq_mA"], rel=0.01)


@pytest.mark.skipif(SIMULATOR is None, reason="the circuit simulator is not installed")
@pytest.mark.parametrize("row", ROWS[::6], ids=labelled)
def test_a_simulated_waveform_as_fitted(row: dict[str, Any], tmp_path: Path) -> None:
    netlist = (DATA / "class_ab.cir").read_text()
    netlist = netlist.replace("HALF", repr(row["vb"] / 2)).replace("VPK", repr(row["vpk"]))
    (tmp_path / "stage.cir").write_text(netlist)
    printed = subprocess.run(
        [str(SIMULATOR), "-b", "-n", "stage.cir"],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    ).stdout
    stated = re.search(r"THD:\s*([0-9.eE+-]+)\s*%", printed)
    assert stated is not None
    assert float(stated[1]) == pytest.approx(row["thd_spice"], rel=1e-3)
    time_s, volts = np.loadtxt(tmp_path / "waveform.dat").T[:2]
    # The simulator chooses its own steps: the fit takes each sample at its own time.
    last = time_s >= time_s[-1] - 10 * PERIOD_S
    tone = Family(1.0, tuple(range(1, 40)), free=False)
    weight = np.gradient(time_s[last])
    even = np.arange(time_s[last][0], time_s[-1], float(np.min(weight[weight > 0.1e-6])))
    from scipy.interpolate import CubicSpline

    known = np.concatenate(([True], np.diff(time_s) > 0))
    wave = CubicSpline(time_s[known], volts[known])(even)
    fit = fit_lines(wave[:, None], even / PERIOD_S, 1.0, (tone,))
    lines = np.abs(fit.amplitudes[0][:, 0])
    found = 100 * math.sqrt(float(np.sum(lines[1:10] ** 2))) / float(lines[0])
    assert 20 * math.log10(found / float(stated[1])) == pytest.approx(0, abs=0.01)
