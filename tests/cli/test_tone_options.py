"""What a tone's options and a turned control give on the command line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from backtospec.analysis.waveforms import harmonic_wave, phase_cycles, white_noise
from tests.cli.conftest import Command
from tests.unit.test_docs_json import document_faults

RATE_HZ = 48_000
CALIBRATION = ("--full-scale-volts", "40", "--load-ohm", "8", "--nominal-hz", "997")


def written(path: Path, left: float, right: float, seed: int) -> Path:
    cycles = phase_cycles(24_000, RATE_HZ, 997.03)
    wave = harmonic_wave(cycles, {1: 1.0, 2: 1e-3})
    samples = np.column_stack((left * wave, right * wave)) + white_noise((24_000, 2), 3e-6, seed)
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    return path


def test_bands_weightings_and_the_residual_are_printed(command: Command, tmp_path: Path) -> None:
    path = written(tmp_path / "tone.wav", 0.5, 5e-4, 1)
    words = ("analyse", str(path), "--kind", "tone", "--bands", "400-15000", *CALIBRATION)
    ran = command(*words)
    assert ran.status == 0, ran.err
    assert document_faults(ran.document) == []
    left, right = ran.document["channels"]["L"], ran.document["channels"]["R"]
    assert {"20-20000", "400-15000", "A", "468"} <= set(left["snr_db"])
    assert {"20-20000", "400-15000", "A", "468"} <= set(left["thdn_percent"])
    assert left["weighting_detector"] == "rms"
    assert left["cross_check"]["agrees"] is True
    assert left["cycle"]["shape"] == "bend"
    assert right["driven"] is False
    assert right["crosstalk_db"] == pytest.approx(-60, abs=0.01)
    shown = command(*words, as_json=False).out
    for words_said in ("residual:", "A-weighted, rms", "crosstalk", "not driven"):
        assert words_said in shown.replace("\n", " ")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--kind", "tone", "--bands", "20-80000"), "24000"),
        (("--kind", "tone", "--bands", "400"), "dash"),
        (("--kind", "tone", "--bands", "4000-400"), "lower end first"),
        (("--kind", "noise", "--bands", "20-2000"), "belongs to the kind tone"),
        (("--kind", "tone", "--turn-s", "1-3"), "belongs to the kind control"),
        (("--kind", "control", "--turn-s", "1"), "start and an end"),
    ],
)
def test_an_option_that_does_not_fit_is_refused(
    command: Command, tmp_path: Path, options: tuple[str, ...], says: str
) -> None:
    path = written(tmp_path / "tone.wav", 0.5, 0.5, 1)
    ran = command("analyse", str(path), *options, *CALIBRATION)
    assert ran.status == 2
    assert says in str(ran.document["error"])


def test_an_open_recording_gives_the_output_resistance(command: Command, tmp_path: Path) -> None:
    loaded = written(tmp_path / "loaded.wav", 0.490, 0.5, 1)
    unloaded = written(tmp_path / "open.wav", 0.500, 0.5, 2)
    words = ("--kind", "tone", "--open-circuit", str(unloaded), *CALIBRATION)
    ran = command("analyse", str(loaded), *words)
    assert ran.status == 0, ran.err
    assert document_faults(ran.document) == []
    left, right = ran.document["channels"]["L"], ran.document["channels"]["R"]
    assert left["output_resistance_ohm"] == pytest.approx(8 * (0.5 / 0.49 - 1), abs=1e-4)
    assert left["damping_factor"] == pytest.approx(49, rel=1e-3)
    assert left["output_resistance_ohm_u"] > 0.004
    assert "output_resistance_ohm" not in right
    assert right["output_resistance_ohm_at_most"] < 0.015
    assert right["damping_factor_at_least"] > 500


def test_a_turned_control_is_read(command: Command, tmp_path: Path) -> None:
    length = 4 * RATE_HZ
    turned: NDArray[np.float64] = np.linspace(0.02, 0.3, length)
    wave = turned * harmonic_wave(phase_cycles(length, RATE_HZ, 997.03), {1: 1.0})
    wave = wave + white_noise(length, 1e-5, 4)
    wave[2 * RATE_HZ : 2 * RATE_HZ + 60] += 0.05 * white_noise(60, 1.0, 5)
    path = tmp_path / "turn.wav"
    soundfile.write(path, wave, RATE_HZ, subtype="PCM_24")
    ran = command("analyse", str(path), "--kind", "control", *CALIBRATION)
    assert ran.status == 0, ran.err
    assert document_faults(ran.document) == []
    (event,) = ran.document["channels"]["M"]["events"]
    assert event["kind"] == "crackle"
    assert event["start_s"] == pytest.approx(2.0, abs=0.01)
    assert event["rotation_percent"] == pytest.approx(50, abs=0.5)
    halved = command("analyse", str(path), "--kind", "control", "--turn-s", "0-3", *CALIBRATION)
    assert halved.document["channels"]["M"]["events"][0]["rotation_percent"] == pytest.approx(
        66.7, abs=0.5
    )
    shown = command("analyse", str(path), "--kind", "control", *CALIBRATION, as_json=False).out
    assert "crackle" in shown
