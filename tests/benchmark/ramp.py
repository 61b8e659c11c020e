"""A long volume ramp: time over reading it alone, and peak memory, with one and two processes.

Run ``python -m tests.benchmark.ramp``. Prints ratios of minima over rounds in which reading and
analysing take turns, by the clock and by processor time: on a busy machine only the second says
something. The spread of the reading times tells how busy it is. Every measurement has a process
of its own, so that its peak of memory is its own.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import backtospec  # noqa: F401  # isort: skip  # before numpy: one thread of linear algebra
import numpy as np
import soundfile

from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.waveforms import level_plan_db, phase_cycles, white_noise
from backtospec.bench.captures import analyse_file

RATE_HZ = 96_000


@dataclass(frozen=True)
class Cost:
    """Seconds by the clock and of the busiest processor, and peak memory in MB."""

    clock_s: float
    processor_s: float
    peak_mb: float
    worker_mb: float


def write_long_ramp(path: Path, minutes: float) -> None:
    """Write a volume turned up and down, two channels, 24 bits."""
    plan = level_plan_db((-40, -30, -20, -12, -6, -12, -20, -30), 6.0, 1.5, RATE_HZ)
    wave = 10 ** (plan / 20) * np.cos(2 * np.pi * phase_cycles(len(plan), RATE_HZ, 997.01))
    pair = np.stack([wave, 0.97 * wave], axis=1) + white_noise((len(wave), 2), 3e-6, 1)
    with soundfile.SoundFile(path, "w", RATE_HZ, 2, "PCM_24") as file:
        for _ in range(max(1, round(minutes * 60 * RATE_HZ / len(plan)))):
            file.write(pair)


def read_alone(path: Path) -> Cost:
    """Return what it takes only to read the file in blocks."""
    clock_s, processor_s = time.perf_counter(), time.process_time()
    with soundfile.SoundFile(path) as file:
        for _ in file.blocks(blocksize=131_072, dtype="float64"):
            pass
    return _cost(time.perf_counter() - clock_s, time.process_time() - processor_s)


def analyse(path: Path, processes: int) -> Cost:
    """Return what the complete analysis takes."""
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0)
    clock_s, processor_s, workers_s = time.perf_counter(), time.process_time(), _workers_s()
    analyse_file(path, "ramp", setup, processes=processes)
    clock_s, processor_s = time.perf_counter() - clock_s, time.process_time() - processor_s
    return _cost(clock_s, processor_s + (_workers_s() - workers_s) / processes)


def _workers_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _cost(clock_s: float, processor_s: float) -> Cost:
    own, workers = (
        resource.getrusage(who).ru_maxrss / 1024
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return Cost(clock_s, processor_s, own, workers)


def _alone(task: Callable[..., Any], *given: object) -> Any:
    """Return the outcome of a task in a fresh process, which starts out small."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(task, *given).result()


def _least(costs: list[Cost]) -> Cost:
    return Cost(*(min(getattr(one, name) for one in costs) for name in Cost.__annotations__))


def compare(path: Path, minutes: float, rounds: int) -> None:
    """Print how the analysis compares with reading alone."""
    reading: list[Cost] = []
    analysing: dict[int, list[Cost]] = {1: [], 2: []}
    for _ in range(rounds):
        reading.append(_alone(read_alone, path))
        for processes, costs in analysing.items():
            costs.append(_alone(analyse, path, processes))
    base = _least(reading)
    print(
        f"{minutes:g} min: reading alone {base.processor_s:.2f} s of processor time; by the clock "
        f"{base.clock_s:.2f} to {max(one.clock_s for one in reading):.2f} s in {rounds} rounds"
    )
    for processes, costs in analysing.items():
        cost = _least(costs)
        peak = max(one.peak_mb for one in costs)
        worker = max(one.worker_mb for one in costs)
        print(
            f"  {processes} process(es): {cost.clock_s / base.clock_s:.2f} of it by the clock, "
            f"{cost.processor_s / base.processor_s:.2f} by the processor; peak {peak:.0f} MB"
            + (f", a worker {worker:.0f} MB" if processes > 1 else "")
        )


def main() -> None:
    """Print ratios and memory."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, nargs="+", default=[10.0, 60.0])
    parser.add_argument("--kind", choices=("wav", "flac"), default="wav")
    parser.add_argument("--rounds", type=int, default=3)
    given = parser.parse_args()
    for minutes in given.minutes:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"long.{given.kind}"
            _alone(write_long_ramp, path, minutes)
            compare(path, minutes, given.rounds)


if __name__ == "__main__":
    main()
