"""A sound interface calibrated by one known sine: a meter's volts against the recorded level."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec.analysis.attenuator_remarks import HIGHEST_DBFS, LOWEST_DBFS
from backtospec.errors import BenchError
from backtospec.quantity import Measured

#: A meter reads the whole wave, the analysis its fundamental: with more distortion they differ.
MOST_THD_PERCENT = 1.0


@dataclass(frozen=True, slots=True)
class Calibration:
    """Peak volts at digital amplitude 1.0, and what speaks against trusting it."""

    full_scale_v: Measured
    doubts: tuple[str, ...]


def calibrate(
    level_dbfs: Measured, meter_v: Measured, *, thd_percent: float | None = None
) -> Calibration:
    """Return the peak volts at digital amplitude 1.0 from one sine.

    Parameters
    ----------
    level_dbfs
        Peak level of the recorded sine, dB re digital amplitude 1.0; below 0.
    meter_v
        What a meter showed at the same time, volts RMS, positive, with its uncertainty.
    thd_percent
        Distortion of the recorded sine, where known.

    Raises
    ------
    BenchError
        For a level above digital full scale, or without volts.

    Notes
    -----
    V = √2·U/10^(L/20). A meter that reads the mean is scaled for a sine and right on this one.
    Levels: audioxpress.com sound-card measurement series part 6 (2017-05-17).

    Examples
    --------
    2.000 V RMS recorded at −6.02 dBFS, meter good for 0.5 % (as a rectangle):

    >>> from backtospec.quantity import with_tolerance
    >>> print(calibrate(Measured(-6.0206), with_tolerance(2.0, 0.5)).full_scale_v)
    5.657 (u 0.016)
    """
    if level_dbfs.value > 0:
        raise BenchError(
            f"{level_dbfs.value:g} dBFS lies above digital full scale.",
            "recorded level",
            "Give the peak level, such as -12.",
        )
    if meter_v.value <= 0:
        raise BenchError(
            f"{meter_v.value:g} V is no volts of a sine.", "meter", "Give volts RMS, above zero."
        )
    full_scale_v = math.sqrt(2) * meter_v / 10 ** (level_dbfs / 20)
    doubts = []
    if level_dbfs.value > HIGHEST_DBFS:
        doubts.append("Recorded so near full scale that it may be clipped: play it 3 dB lower.")
    if level_dbfs.value < LOWEST_DBFS:
        doubts.append(
            f"Recorded below {LOWEST_DBFS:g} dBFS: noise counts. Play it louder.".replace("-", "−")
        )
    if thd_percent is not None and thd_percent > MOST_THD_PERCENT:
        doubts.append(
            f"The sine has {thd_percent:.2g} % distortion, which the meter reads too. Play a "
            "cleaner one."
        )
    return Calibration(full_scale_v, tuple(doubts))
