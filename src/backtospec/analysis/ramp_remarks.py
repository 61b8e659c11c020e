"""What a ramp has to say in words: refused channels, clipping, hum, channels that are mixed up."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.notes import FileFacts, Note
from backtospec.analysis.ramp_quarters import Quarters
from backtospec.analysis.ramp_results import ChannelRamp, RampAnalysis, Step
from backtospec.analysis.thresholds import PowerAtThd

SILENT_AMPLITUDE = 1e-5
"""A channel that never gets louder than this holds no tone."""

_OPPOSITE = math.radians(150)
#: Hum is spoken of from 0.1 % of the tone.
_HUM_RATIO = 1e-3
_NOTHING = "Nothing but silence was recorded."


def silent_ramp(file: FileFacts, names: tuple[str, ...]) -> RampAnalysis:
    """Return the analysis of a recording that holds nothing."""
    return RampAnalysis(
        file,
        {name: ChannelRamp(False, "silence") for name in names},
        notes=tuple(Note("silence", _NOTHING, name) for name in names),
    )


def refuse_channels(
    quarters: Quarters, names: tuple[str, ...], file: FileFacts
) -> tuple[dict[str, ChannelRamp], list[Note]]:
    """Return (channels that cannot be believed, why): the recorder overloaded, or silence."""
    refused, notes = {}, []
    for index, name in enumerate(names):
        if quarters.rails[index] > 0:
            share = 100 * quarters.rails[index] / max(file.frames, 1)
            refused[name] = ChannelRamp(False, "adc-overload")
            text = (
                f"The recorder was overloaded: {share:.2g} % of the samples sit on its rail. "
                "Turn its input down and record again."
            )
            notes.append(Note("adc-overload", text, name))
        elif float(np.max(np.abs(quarters.phasor[:, index]), initial=0.0)) < SILENT_AMPLITUDE:
            refused[name] = ChannelRamp(False, "silence")
            notes.append(Note("silence", _NOTHING, name))
    return refused, notes


def clipping_notes(name: str, channel: ChannelRamp, at_one: PowerAtThd) -> list[Note]:
    """Return the remarks on an amplifier that clips, and whether it does so unevenly."""
    if not at_one.reached or channel.first_clipping is None or channel.crest_loss is None:
        return []
    sides = {"positive": "the positive side first", "negative": "the negative side first"}
    side = sides.get(channel.first_clipping, "both sides alike")
    text = f"The amplifier clips, {side}: 1 % THD at {at_one.power_w:.3g} W."
    notes = [Note("amplifier-clipping", text, name)]
    if channel.crest_loss.asymmetric:
        loss = channel.crest_loss
        text = (
            f"The crests are cut unevenly: {100 * loss.positive:.1f} % off the positive, "
            f"{100 * loss.negative:.1f} % off the negative."
        )
        notes.append(Note("asymmetric", text, name))
    return notes


def hum_notes(name: str, steps: tuple[Step, ...]) -> list[Note]:
    """Return the remark on hum, as a share of the tone on the loudest plateau that shows it."""
    humming = [
        (tone.level_dbfs_peak, tone.distortion.hum_db)
        for step in steps
        if (tone := step.channels[name]).distortion is not None
        and tone.level_dbfs_peak is not None
        and tone.distortion.hum_db
    ]
    if not humming:
        return []
    _, lines = max(humming, key=lambda found: found[0])
    hum = math.sqrt(sum(10 ** (db / 10) for db in lines.values()))
    if hum < _HUM_RATIO:
        return []
    loudest = max(lines, key=lambda hz: lines[hz])
    text = (
        f"Hum: {100 * hum:.2g} % of the tone at its loudest, strongest at {loudest} Hz "
        f"({lines[loudest]:.1f} dB)."
    )
    return [Note("hum", text, name)]


def pair_notes(
    quarters: Quarters, playing: NDArray[np.bool_], valid: list[int], names: tuple[str, ...]
) -> list[Note]:
    """Return the remarks on two channels that are one, or of which one is inverted."""
    if valid != [0, 1]:
        return []
    notes = []
    if quarters.same:
        text = "Both channels hold the very same samples: one was recorded twice."
        notes.append(Note("mono", text))
    both = playing.all(axis=1)
    turn = np.sum(quarters.phasor[both, 1] * quarters.phasor[both, 0].conj())
    if both.any() and abs(float(np.angle(turn))) > _OPPOSITE:
        text = "The channels are of opposite polarity: one is inverted."
        notes.append(Note("inverted", text, names[1]))
    return notes
