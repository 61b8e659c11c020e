"""How fast a long meter log is read, and how much memory it takes.

Run it by hand: ``python tests/benchmark/log_reading.py``. It prints, for three layouts of
500 000 rows, the time to read them, the time against splitting the same text into cells, and
the highest memory use against the size of the file.
"""

from __future__ import annotations

import datetime as dt
import time
import tracemalloc
from collections.abc import Callable

import numpy as np

from backtospec.sources.log_files import parse_log

ROWS = 500_000


def stamped() -> bytes:
    """Return ISO stamps with a decimal comma, unit per row, twice a second."""
    start = dt.datetime(2023, 11, 4, 19, 2, 10)  # noqa: DTZ001 a log's local time
    values = _values()
    lines = ["time;value;unit"]
    for row in range(ROWS):
        moment = start + dt.timedelta(milliseconds=500 * row)
        lines.append(
            f"{moment.isoformat(timespec='milliseconds')};{values[row]:.1f};mV".replace(
                ".", ",", 2
            ).replace(",", ".", 1)
        )
    return "\n".join(lines).encode()


def elapsed() -> bytes:
    """Return elapsed seconds with four decimals and 6½-digit readings."""
    values = _values()
    lines = ["t/s\tV"] + [f"{0.0625 * row:.4f}\t{values[row] / 1000:.7f}" for row in range(ROWS)]
    return "\n".join(lines).encode()


def american() -> bytes:
    """Return unpadded m/d/y stamps with AM and PM, two channels."""
    start = dt.datetime(2023, 11, 4, 19, 2, 10)  # noqa: DTZ001 a log's local time
    values = _values()
    lines = ["Sample,Date/Time,Left (mV),Right (mV)"]
    for row in range(ROWS):
        at = start + dt.timedelta(seconds=row)
        clock = f"{at.hour % 12 or 12}:{at:%M:%S} {'PM' if at.hour > 11 else 'AM'}"
        lines.append(
            f"{row + 1},{at.month}/{at.day}/{at.year} {clock},{values[row]:.1f},{values[-row]:.1f}"
        )
    return "\n".join(lines).encode()


def _values() -> list[float]:
    noise = np.random.default_rng(20).normal(0, 0.05, ROWS)
    curve = 12.3 - 4.9 * np.exp(-np.arange(ROWS) / 5e4)
    found: list[float] = (curve + noise).tolist()
    return found


def measure(name: str, make: Callable[[], bytes]) -> None:
    """Print the figures of one layout."""
    data = make()
    start = time.perf_counter()
    [line.split(",") for line in data.decode().split("\n")]
    split_s = time.perf_counter() - start
    start = time.perf_counter()
    reading = parse_log("log.csv", data)
    read_s = time.perf_counter() - start
    rows = sum(len(series.value) for series in reading.series)
    del reading
    tracemalloc.start()
    parse_log("log.csv", data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(
        f"{name}: {rows} readings in {read_s:.2f} s, {read_s / split_s:.1f} × the time to split "
        f"the text; {peak / 1e6:.0f} MB at most, {peak / len(data):.1f} × the file"
    )


def main() -> None:
    """Measure every layout and print its figures."""
    for layout in (stamped, elapsed, american):
        measure(layout.__name__, layout)


if __name__ == "__main__":
    main()
