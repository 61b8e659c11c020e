"""Crosstalk: what of the driven channel's tone appears in the channel that is not driven."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np

from backtospec.analysis.distortion import decibels, total
from backtospec.analysis.tone_fit import FittedTone
from backtospec.analysis.tone_search import UNDRIVEN_RATIO

_DB = 20 / math.log(10)


@dataclass(frozen=True, slots=True)
class Crosstalk:
    """The tone in an undriven channel over that in the driven one, in volts over volts.

    Parameters
    ----------
    db, db_u
        Ratio in decibels and its standard uncertainty; ``None`` where noise hides the line.
    db_at_most
        Bound at three standard deviations, where ``db`` is ``None``.
    phase_deg, phase_deg_u
        Phase of the undriven channel's line after the driven one's, −180…180: near 0 or 180
        for a resistive path, near 90 for a capacitive one.
    """

    db: float | None
    db_u: float | None
    db_at_most: float | None
    phase_deg: float | None
    phase_deg_u: float | None


def read_crosstalk(
    fitted: FittedTone, undriven: int, driven: int, full_scale_ratio: float
) -> Crosstalk | None:
    """Return the crosstalk of one column of a joint fit, or ``None`` where that one is driven too.

    Parameters
    ----------
    fitted
        Both channels, fitted jointly.
    undriven, driven
        Their columns.
    full_scale_ratio
        Full-scale volts of the undriven channel over those of the driven one.

    Notes
    -----
    Undriven is a channel whose line, by three standard deviations, lies 20 dB or more below the
    other's. Assumes that what is left beside the lines is white near the tone.
    """
    line, reference = fitted.harmonics[0, undriven], fitted.harmonics[0, driven]
    doubt, size = float(fitted.amplitude_u[undriven]), float(abs(reference))
    if size < 6 * fitted.amplitude_u[driven] or abs(line) + 3 * doubt > UNDRIVEN_RATIO * size:
        return None
    found = total(np.array([abs(line)]), doubt, size)
    if found.ratio is None or found.ratio_u is None:
        bound = decibels((found.at_most or 0.0) * full_scale_ratio)
        return Crosstalk(None, None, bound, None, None)
    return Crosstalk(
        db=decibels(found.ratio * full_scale_ratio),
        db_u=_DB * found.ratio_u / found.ratio,
        db_at_most=None,
        phase_deg=math.degrees(cmath.phase(line / reference)),
        phase_deg_u=math.degrees(doubt / abs(line)),
    )
