"""Time of one warm-up prediction, over a plain least-squares fit of the same readings.

Run ``python -m tests.benchmark.warm_up``. The package is imported before numpy, as a person's
command does it: it asks for one thread of linear algebra.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import backtospec  # noqa: F401  # isort: skip
import numpy as np

from backtospec.analysis.least_squares import fit_least_squares
from backtospec.analysis.warm_up import analyse_warm_up

GOAL_MS = 50


def _best_ms(work: Callable[[], object], rounds: int = 9) -> float:
    """Return the processor time of the best of several rounds, the first one left out."""
    work()
    spent = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return 1e3 * min(spent)


def main() -> None:
    """Print one line for each length of log, settling and settled."""
    random = np.random.default_rng(1)
    print(f"prediction goal: under {GOAL_MS} ms; processor time, best of nine")
    for points in (8, 40, 120, 360, 3600):
        for name, minutes in (("settling", 12), ("settled", 60)):
            time_s = np.linspace(0, 60 * minutes, points)
            true = 0.012 - 0.003 * np.exp(-time_s / 120) - 0.002 * np.exp(-time_s / 480)
            value = np.round(true + random.normal(0, 0.06e-3, points), 4)
            spent = _best_ms(lambda: analyse_warm_up(time_s, value, step_v=1e-4))  # noqa: B023
            plain = _best_ms(
                lambda: fit_least_squares(
                    lambda t, p: p[0] + p[1] * np.exp(-t / p[2]),
                    [0.012, -0.004, 200.0],
                    time_s,  # noqa: B023
                    value,  # noqa: B023
                )
            )
            print(
                f"{points:5d} readings, {name:8s}: {spent:6.1f} ms, "
                f"{spent / plain:5.1f} × one plain exponential"
            )


if __name__ == "__main__":
    main()
