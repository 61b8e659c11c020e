"""Remarks on a steady tone: clipping, hum, resolution, polarity, drift."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.distortion import Distortion
from backtospec.analysis.notes import Note
from backtospec.analysis.quality import is_clipping, is_quantisation_limited, is_undithered
from backtospec.analysis.residual import ResidualCycle
from backtospec.analysis.tone_crosscheck import ChannelFit, CheckedTone
from backtospec.analysis.tone_crosstalk import Crosstalk
from backtospec.analysis.tone_fit import FittedTone

Array = NDArray[np.float64]

#: Hum is spoken of from 0.1 % of the tone, DC from 0.1 % of full scale, drift from 0.01 dB.
_HUM_RATIO = 1e-3
_DC_FULL_SCALE = 1e-3
_DRIFT_DB = 0.01
_PLAINLY_CUT = 1e-2
_ORDERS_OF_A_SHAPE = 10
_OPPOSITE = math.radians(150)


def channel_notes(
    name: str,
    checked: CheckedTone,
    column: int,
    distortion: Distortion | None,
    cycle: ResidualCycle | None,
    rate_hz: float,
    step: float,
) -> list[Note]:
    """Return the remarks on one driven channel.

    Parameters
    ----------
    name
        ``L``, ``R`` or ``M``.
    checked, column
        The fit with its second opinion, and which channel of it.
    distortion
        As read from the fit.
    cycle
        The residual of its cycle, and what that looks like.
    rate_hz, step
        Sampling rate, and the step of an integer recording or 0.
    """
    if distortion is None:
        return []
    fitted = checked.fitted
    looks_otherwise = cycle is not None and _looks_otherwise(cycle, distortion, fitted)
    notes = [] if looks_otherwise else _clipping_notes(name, distortion)
    hum = math.sqrt(sum(10 ** (db / 10) for db in distortion.hum_db.values()))
    if hum >= _HUM_RATIO:
        loudest = max(distortion.hum_db, key=lambda hz: distortion.hum_db[hz])
        text = (
            f"Hum: {100 * hum:.2g} % of the tone, strongest at {loudest} Hz "
            f"({distortion.hum_db[loudest]:.1f} dB)."
        )
        notes.append(Note("hum", text, name))
    if fitted.mains and fitted.mains.hidden:
        text = (
            f"A harmonic of the tone ({fitted.hz:.3f} Hz) sits on a hum line; the two cannot be "
            "told apart. Use 997 Hz."
        )
        notes.append(Note("near-hum-line", text, name))
    notes.extend(_resolution_notes(name, fitted, column, distortion, rate_hz, step))
    dc = float(fitted.fit.dc[column])
    if abs(dc) > _DC_FULL_SCALE:
        text = f"A steady {100 * dc:+.2f} % of full scale was recorded."
        notes.append(Note("dc", text, name))
    change = float(fitted.level_change[column])
    change_db = 20 / math.log(10) * change
    doubt_db = 40 * float(fitted.amplitude_u[column] / abs(fitted.harmonics[0, column]))
    if abs(change_db) > max(_DRIFT_DB, 3 * doubt_db):
        text = f"The level moves by {change_db:+.2f} dB over the recording; it was followed."
        notes.append(Note("drift", text, name))
    if fitted.wander_hz:
        share = 100 * fitted.wander_hz / fitted.hz
        text = f"The frequency wavers by {share:.2g} % rms; its phase was followed."
        notes.append(Note("drift", text, name))
    return [*notes, *_check_notes(name, checked, column)]


def _check_notes(name: str, checked: CheckedTone, column: int) -> list[Note]:
    """Return what the second reading, through a window, says of the fit."""
    notes = []
    if checked.added:
        text = (
            f"A second reading through a window differed from the fit; {checked.added} "
            "was taken into the fit."
        )
        notes.append(Note("terms-added", text, name))
    check = checked.checks[column]
    if check.differing:
        worst = max(check.differing, key=lambda order: abs(check.lines[order].difference_db))
        line = "the tone" if worst == 1 else f"harmonic {worst}"
        text = (
            f"Two ways of reading {line} differ by {abs(check.lines[worst].difference_db):.2f} dB: "
            "something lies close beside it, or it does not hold still. Record it again."
        )
        notes.append(Note("methods-differ", text, name))
    return notes


def undriven_note(name: str, crosstalk: Crosstalk) -> Note:
    """Return the remark on a channel into which nothing was played."""
    heard = (
        f"{crosstalk.db:.1f} dB of the other channel's tone is heard in it"
        if crosstalk.db is not None
        else f"at most {crosstalk.db_at_most:.1f} dB of the other channel's tone is in it"
    )
    return Note("undriven", f"This channel is not driven: {heard}.", name)


def _looks_otherwise(cycle: ResidualCycle, distortion: Distortion, fitted: FittedTone) -> bool:
    """Whether crests that seem cut are chance: a few harmonics may add up there and fit no shape.

    Asked below 1 % only, and where there are harmonics enough to see a shape.
    """
    return (
        distortion.clipped_thd < _PLAINLY_CUT
        and len(fitted.orders) >= _ORDERS_OF_A_SHAPE
        and cycle.shape == "unclear"
        and cycle.confidence > 0.5
    )


def _clipping_notes(name: str, distortion: Distortion) -> list[Note]:
    crest = distortion.crest
    if not is_clipping(distortion.clipped_thd, crest):
        return []
    where = {"symmetric": "both sides", "positive": "the positive side"}
    side = where.get(crest.polarity, "the negative side")
    notes = [Note("amplifier-clipping", f"The amplifier clips, {side} first.", name)]
    if crest.polarity == "symmetric":
        notes = [Note("amplifier-clipping", "The amplifier clips on both sides.", name)]
    else:
        text = (
            f"The crests are cut unevenly: {100 * crest.positive:.1f} % off the positive, "
            f"{100 * crest.negative:.1f} % off the negative."
        )
        notes.append(Note("asymmetric", text, name))
    return notes


def _resolution_notes(
    name: str,
    fitted: FittedTone,
    column: int,
    distortion: Distortion,
    rate_hz: float,
    step: float,
) -> list[Note]:
    notes = []
    noise_rms = math.sqrt(float(fitted.variance[column]))
    if is_undithered(noise_rms, step):
        text = (
            "A 16-bit recording without dither: the steps themselves make distortion. "
            "Record with 24 bits."
        )
        notes.append(Note("undithered", text, name))
    elif is_quantisation_limited(noise_rms, step):
        text = "The steps of the 16-bit recording set the noise floor."
        notes.append(Note("quantisation-limited", text, name))
    if 10 * fitted.hz >= rate_hz / 2:
        orders = distortion.thd_harmonics
        held = f"H2…H{max(orders)}" if orders else "none"
        text = f"Harmonics above {rate_hz / 2:.0f} Hz are out of the band; included: {held}."
        notes.append(Note("harmonics-out-of-band", text, name))
    if distortion.thd_percent is None and distortion.thd_harmonics:
        notes.append(Note("floor-limited", "The noise hides the distortion: a bound only.", name))
    return notes


def whole_notes(
    samples: Array,
    fits: Mapping[int, ChannelFit],
    names: tuple[str, ...],
) -> list[Note]:
    """Return the remarks on the pair of channels: the same twice, or one turned over.

    Parameters
    ----------
    samples
        The whole recording, shape (frames, channels).
    fits
        Fit and column by channel index, of the driven channels.
    names
        Channel names.
    """
    if len(fits) < 2:
        return []
    notes = []
    if np.array_equal(samples[:, 0], samples[:, 1]):
        text = "Both channels hold the very same samples: one was recorded twice."
        notes.append(Note("mono", text))
    left, right = fits[0], fits[1]
    if left.checked is right.checked:
        harmonics = left.checked.fitted.harmonics[0]
        turn = harmonics[right.column] / harmonics[left.column]
        if abs(float(np.angle(turn))) > _OPPOSITE:
            text = "The channels are of opposite polarity: one is inverted."
            notes.append(Note("inverted", text, names[1]))
    return notes
