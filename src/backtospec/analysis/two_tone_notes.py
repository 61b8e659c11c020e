"""Remarks on a recording of two tones: hum, resolution, hidden products, polarity, drift."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.hum import UNRESOLVED_CYCLES
from backtospec.analysis.notes import Note
from backtospec.analysis.quality import is_quantisation_limited, is_undithered
from backtospec.analysis.two_tone_fit import FittedPair
from backtospec.analysis.two_tone_products import Intermodulation, ToneRatio

Array = NDArray[np.float64]

#: Hum is spoken of from 0.1 % of the tones, DC from 0.1 % of full scale.
_HUM_RATIO = 1e-3
_DC_FULL_SCALE = 1e-3
#: A level that moves less than this through a long recording is steady.
_STEADY_DB = 0.05
_OPPOSITE = math.radians(150)


def overload_note(name: str, share: float) -> Note:
    """Return the remark on a channel whose recorder was overloaded."""
    text = (
        f"The recorder was overloaded: {100 * share:.2g} % of the samples sit on its rail. "
        "Turn its input down and record again."
    )
    return Note("adc-overload", text, name)


def channel_notes(
    name: str, pair: FittedPair, column: int, found: Intermodulation, ratio: ToneRatio, step: float
) -> list[Note]:
    """Return the remarks on one valid channel.

    Parameters
    ----------
    name
        ``L``, ``R`` or ``M``.
    pair, column
        The fit, and which channel of it.
    found, ratio
        As read from the fit.
    step
        Of an integer recording, or 0.
    """
    fit, notes = pair.fit, []
    lines = np.abs(fit.amplitudes[:, column])
    is_hum = np.array([any(line[2:]) for line in fit.lines])
    hum = float(np.sqrt(np.sum(lines[is_hum] ** 2)))
    tones = float(np.sqrt(np.sum(lines[~is_hum] ** 2)))
    if hum >= _HUM_RATIO * tones:
        loudest_hz = float(fit.line_hz[is_hum][np.argmax(lines[is_hum])])
        text = f"Hum: {100 * hum / tones:.2g} % of the tones, strongest at {loudest_hz:.0f} Hz."
        notes.append(Note("hum", text, name))
    noise_rms = math.sqrt(float(fit.variance[column]))
    if is_undithered(noise_rms, step):
        text = (
            "A 16-bit recording without dither: the steps themselves make distortion. "
            "Record with 24 bits."
        )
        notes.append(Note("undithered", text, name))
    elif is_quantisation_limited(noise_rms, step):
        text = "The steps of the 16-bit recording set the noise floor."
        notes.append(Note("quantisation-limited", text, name))
    wanted = (found.imd_rms, found.d2, found.d3) if ratio == "4:1" else (found.d2, found.d3)
    if any(figure is None for figure in wanted):
        text = f"Products above {fit.rate_hz / 2:.0f} Hz are out of the band; figures are missing."
        notes.append(Note("harmonics-out-of-band", text, name))
    if any(figure is not None and figure.percent is None for figure in wanted):
        text = "The noise hides some of the intermodulation: a bound only."
        notes.append(Note("floor-limited", text, name))
    dc = float(fit.dc[column])
    if abs(dc) > _DC_FULL_SCALE:
        text = f"A steady {100 * dc:+.2f} % of full scale was recorded."
        notes.append(Note("dc", text, name))
    return notes


def ratio_note(name: str, low_over_high: float, ratio: ToneRatio) -> Note:
    """Return the remark on a channel whose tones are not in the ratio of the other channel's."""
    text = (
        f"The low tone is to the high tone as {low_over_high:.3g}:1, in the other channel as "
        f"{ratio}. Find out which part of the chain makes the channels differ."
    )
    return Note("tone-ratio", text, name)


def drift_notes(name: str, moved_db: float) -> list[Note]:
    """Return the remark on tones whose level moves through a long recording, if it does."""
    if moved_db < _STEADY_DB:
        return []
    text = f"The level moves by {moved_db:.2g} dB through the recording; figures are its mean."
    return [Note("drift", text, name)]


def whole_notes(
    pair: FittedPair,
    same_samples: bool,
    columns: Mapping[str, int],
    ratio: ToneRatio,
    mains_nominal_hz: float | None,
) -> list[Note]:
    """Return the remarks on the recording as a whole.

    Parameters
    ----------
    pair
        The fit.
    same_samples
        Whether both channels hold the very same samples.
    columns
        Column of the fit by name of each valid channel.
    ratio
        As found.
    mains_nominal_hz
        50, 60 or ``None``.
    """
    notes = []
    hidden = _product_on_hum(pair, ratio, mains_nominal_hz)
    if hidden:
        notes.append(Note("near-hum-line", hidden))
    if len(columns) < 2:
        return notes
    if same_samples:
        text = "Both channels hold the very same samples: one was recorded twice."
        notes.append(Note("mono", text))
    more = (0,) * (len(pair.fit.hz) - 2)
    tones = pair.fit.amplitudes[pair.fit.lines.index((0, 1, *more))]
    turn = tones[columns["R"]] / tones[columns["L"]]
    if abs(float(np.angle(turn))) > _OPPOSITE:
        text = "The channels are of opposite polarity: one is inverted."
        notes.append(Note("inverted", text, "R"))
    return notes


def _product_on_hum(
    pair: FittedPair, ratio: ToneRatio, mains_nominal_hz: float | None
) -> str | None:
    """Return what is said where hum, or ripple, falls on a product that counts."""
    fit = pair.fit
    low_hz, high_hz = float(fit.hz[0]), float(fit.hz[1])
    mains_hz = pair.mains.hz if pair.mains else mains_nominal_hz
    if mains_hz is None:
        return None
    # Without hum of its own to fit, the mains may lie anywhere within half a percent.
    reach_hz = UNRESOLVED_CYCLES * fit.rate_hz / fit.count + (0 if pair.mains else 0.005 * mains_hz)
    if ratio == "4:1":
        if abs(low_hz - mains_hz * max(1, round(low_hz / mains_hz))) > reach_hz:
            return None
        return (
            f"The low tone ({low_hz:.3f} Hz) sits on a hum line: ripple that modulates the high "
            "tone reads as intermodulation."
        )
    if pair.mains is None:
        return None
    for product_hz in (high_hz - low_hz, 2 * low_hz - high_hz):
        order = round(product_hz / mains_hz)
        if 1 <= order <= 20 and abs(product_hz - order * mains_hz) < reach_hz:
            return (
                f"The product at {product_hz:.3f} Hz sits on a hum line; the two cannot be told "
                "apart."
            )
    return None
