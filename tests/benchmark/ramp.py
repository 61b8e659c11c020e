"""A long volume ramp: time over reading it alone, and peak memory.

Run ``python tests/benchmark/ramp.py``. Prints ratios measured in one run; set
OPENBLAS_NUM_THREADS=1 so that one process is one processor.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.waveforms import level_plan_db, phase_cycles, white_noise
from backtospec.bench.captures import analyse_file

RATE_HZ = 96_000


def write_long_ramp(path: Path, minutes: float) -> None:
    """Write a volume turned up and down, two channels, 24 bits."""
    plan = level_plan_db((-40, -30, -20, -12, -6, -12, -20, -30), 6.0, 1.5, RATE_HZ)
    wave = 10 ** (plan / 20) * np.cos(2 * np.pi * phase_cycles(len(plan), RATE_HZ, 997.01))
    pair = np.stack([wave, 0.97 * wave], axis=1) + white_noise((len(wave), 2), 3e-6, 1)
    with soundfile.SoundFile(path, "w", RATE_HZ, 2, "PCM_24") as file:
        for _ in range(max(1, round(minutes * 60 * RATE_HZ / len(plan)))):
            file.write(pair)


def read_alone_s(path: Path) -> float:
    """Return the seconds that reading the file in blocks takes."""
    start = time.perf_counter()
    with soundfile.SoundFile(path) as file:
        for _ in file.blocks(blocksize=131_072, dtype="float64"):
            pass
    return time.perf_counter() - start


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    minutes = parser.parse_args().minutes
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        write_long_ramp(path, minutes)
        base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        alone_s = min(read_alone_s(path) for _ in range(3))
        for processes in (1, 2):
            start = time.perf_counter()
            found = analyse_file(path, "ramp", setup, processes=processes)
            ratio = (time.perf_counter() - start) / alone_s
            print(f"{minutes:g} min, {processes} process(es): {ratio:.2f} of reading alone")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        worker = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"memory: {base:.0f} MB after writing, {peak:.0f} MB peak, {worker:.0f} MB a worker")
        print(f"plateaus: {len(found.steps) if found.kind == 'ramp' else 0}")


if __name__ == "__main__":
    main()
