"""Equal-loudness contours, and what a loudness control would add by them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from backtospec.errors import BenchError

Array = NDArray[np.float64]

_RANGE_PHON = (20.0, 90.0)
#: Frequency in Hz, exponent, transfer normalised at 1 kHz in dB, threshold of hearing in dB.
_CONTOUR = np.array(
    [
        (20, 0.532, -31.6, 78.5),
        (25, 0.506, -27.2, 68.7),
        (31.5, 0.480, -23.0, 59.5),
        (40, 0.455, -19.1, 51.1),
        (50, 0.432, -15.9, 44.0),
        (63, 0.409, -13.0, 37.5),
        (80, 0.387, -10.3, 31.5),
        (100, 0.367, -8.1, 26.5),
        (125, 0.349, -6.2, 22.1),
        (160, 0.330, -4.5, 17.9),
        (200, 0.315, -3.1, 14.4),
        (250, 0.301, -2.0, 11.4),
        (315, 0.288, -1.1, 8.6),
        (400, 0.276, -0.4, 6.2),
        (500, 0.267, 0.0, 4.4),
        (630, 0.259, 0.3, 3.0),
        (800, 0.253, 0.5, 2.2),
        (1000, 0.250, 0.0, 2.4),
        (1250, 0.246, -2.7, 3.5),
        (1600, 0.244, -4.1, 1.7),
        (2000, 0.243, -1.0, -1.3),
        (2500, 0.243, 1.7, -4.2),
        (3150, 0.243, 2.5, -6.0),
        (4000, 0.242, 1.2, -5.4),
        (5000, 0.242, -2.1, -1.5),
        (6300, 0.245, -7.1, 6.0),
        (8000, 0.254, -11.2, 12.6),
        (10_000, 0.271, -10.7, 13.9),
        (12_500, 0.301, -3.1, 12.3),
    ]
)


def equal_loudness_db(phon: float) -> dict[float, float]:
    """Return the sound pressure level by frequency that is as loud as 1 kHz at a level.

    Parameters
    ----------
    phon
        Loudness level, 20…90 phon; above 4 kHz the standard ends at 80.

    Raises
    ------
    BenchError
        Outside that range.

    Notes
    -----
    ISO 226:2003, clause 4.1 and table 1; restated from memory.

    Examples
    --------
    >>> contour = equal_loudness_db(40.0)
    >>> round(contour[1000.0], 1), round(contour[100.0], 1)
    (40.0, 64.4)
    """
    low, high = _RANGE_PHON
    if not (math.isfinite(phon) and low <= phon <= high):
        raise BenchError(
            f"{phon:g} phon is outside {low:g}…{high:g} phon.",
            "loudness",
            "Give loudness levels at which people listen, such as 60 and 85 phon.",
        )
    hz, exponent, transfer, threshold = _CONTOUR.T
    heard = (0.4 * 10 ** ((threshold + transfer) / 10 - 9)) ** exponent
    loud = 4.47e-3 * (10 ** (0.025 * phon) - 1.15) + heard
    level = 10 / exponent * np.log10(loud) - transfer + 94
    return dict(zip(hz.tolist(), level.tolist(), strict=True))


def loudness_compensation_db(quiet_phon: float, loud_phon: float) -> dict[float, float]:
    """Return by frequency what must be added, re 1 kHz, so that quiet sounds as loud did.

    Parameters
    ----------
    quiet_phon, loud_phon
        Level listened at, and level the music was balanced for.

    Examples
    --------
    >>> added = loudness_compensation_db(60.0, 85.0)
    >>> round(added[100.0], 1), round(added[1000.0], 1)
    (7.7, 0.0)
    """
    quiet, loud = equal_loudness_db(quiet_phon), equal_loudness_db(loud_phon)
    return {hz: (level - quiet[1000.0]) - (loud[hz] - loud[1000.0]) for hz, level in quiet.items()}
