"""Recordings of the invented amplifier, as a sound interface would take them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from backtospec.demo.amplifier import FloatArray, PowerAmplifier

#: The output stage is computed at this multiple of the sampling rate, then filtered down as a
#: converter does, so that the harmonics of hard clipping do not fold back.
_OVERSAMPLING = 4
_BLOCK = 65_536
_QUIET_S = 0.4
#: The mains is never quite at its nominal frequency.
_MAINS_RUNS = 1.0003


@dataclass(frozen=True, slots=True)
class SoundInterface:
    """The recorder: calibration, clock, and its own noise and distortion.

    Parameters
    ----------
    full_scale_v
        Peak volts at the speaker terminals that read 1.0, left and right, divider included.
    clock_ppm
        How far a frequency in the file lies above the true one.
    noise_dbfs
        Root-mean-square noise of each channel, decibels below full scale.
    second_db, third_db
        Its own harmonics at full scale, relative to the fundamental.
    """

    full_scale_v: tuple[float, float] = (50.0, 49.7)
    clock_ppm: float = -31.0
    noise_dbfs: float = -108.0
    second_db: float = -106.0
    third_db: float = -112.0


@dataclass(frozen=True, slots=True)
class VolumeControl:
    """How far the right channel lies above the left, in decibels, along the turn.

    The three figures hold at 40 dB below full rotation, at 20 dB below it, and fully up.
    """

    low_db: float
    middle_db: float
    high_db: float

    def mistracking_db(self, gain_db: FloatArray) -> FloatArray:
        """Return level right minus level left for the given attenuation in decibels."""
        points = (self.low_db, self.middle_db, self.high_db)
        return np.asarray(np.interp(gain_db, (-40.0, -20.0, 0.0), points))


@dataclass(frozen=True, slots=True)
class VolumePlan:
    """A tone whose volume a hand turns up, with pauses.

    Parameters
    ----------
    powers_w
        What the left channel would deliver into 8 Ω at each pause if it never clipped.
    pause_s, turn_s
        Mean length of a pause and of the turn to the next.
    nominal_hz
        Frequency the generator is set to.
    """

    powers_w: tuple[float, ...] = (0.2, 0.6, 2.0, 6.0, 15.0, 28.0, 40.0, 46.0, 62.0)
    pause_s: float = 0.95
    turn_s: float = 0.6
    nominal_hz: float = 997.0


def render_ramp(
    amplifier: PowerAmplifier,
    control: VolumeControl,
    plan: VolumePlan,
    interface: SoundInterface,
    *,
    rate_hz: int = 48_000,
    seed: int = 0,
) -> FloatArray:
    """Return a recorded volume ramp, both channels driven.

    Parameters
    ----------
    amplifier, control, plan, interface
        What is recorded, and how.
    rate_hz
        Sampling rate.
    seed
        Decides the noise and the unsteadiness of the hand; equal seeds give equal files.

    Returns
    -------
    ndarray
        Shape (frames, 2), digital amplitude.
    """
    from scipy.signal import resample_poly

    chance = np.random.default_rng(seed)
    fine_hz = rate_hz * _OVERSAMPLING
    left_db, playing = _turn_by_hand(plan, fine_hz, chance)
    start, mains_start = chance.uniform(size=2)
    mains_hz = amplifier.supply.mains_hz * _MAINS_RUNS
    full_v = np.sqrt(2 * 8.0 * plan.powers_w[-1])
    output_v = np.empty((len(left_db), 2))
    for first in range(0, len(left_db), _BLOCK):
        part = slice(first, min(first + _BLOCK, len(left_db)))
        # Time of the world: the recorder's clock runs off by some parts per million.
        time_s = np.arange(part.start, part.stop) * (1 + interface.clock_ppm * 1e-6) / fine_hz
        right_db = left_db[part] + control.mistracking_db(left_db[part])
        both_db = np.column_stack((left_db[part], right_db))
        envelope_v = full_v * 10 ** (both_db / 20) * playing[part, None]
        wave = np.cos(2 * np.pi * (plan.nominal_hz * time_s + start))
        output_v[part] = amplifier.drive(
            envelope_v * wave[:, None], envelope_v, mains_hz * time_s + mains_start
        )
    recorded = resample_poly(output_v, 1, _OVERSAMPLING, axis=0) / np.array(interface.full_scale_v)
    recorded = (
        recorded
        + 2 * 10 ** (interface.second_db / 20) * recorded**2
        + 4 * 10 ** (interface.third_db / 20) * recorded**3
    )
    noise = chance.standard_normal(recorded.shape) * 10 ** (interface.noise_dbfs / 20)
    return np.asarray(recorded + noise)


def write_capture(path: Path, samples: FloatArray, rate_hz: int = 48_000) -> None:
    """Write samples as 24-bit sound; the ending of the name decides between FLAC and WAV."""
    soundfile.write(path, samples, rate_hz, subtype="PCM_24")


def _turn_by_hand(
    plan: VolumePlan, rate_hz: int, chance: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Return attenuation in decibels below the last pause, and where the tone plays (0…1)."""
    levels_db = 10 * np.log10(np.array(plan.powers_w) / plan.powers_w[-1])
    pieces = [np.full(int(_QUIET_S * rate_hz), levels_db[0])]
    for count, level_db in enumerate(levels_db):
        if count:
            turn = np.linspace(0.0, 1.0, int(plan.turn_s * chance.uniform(0.85, 1.15) * rate_hz))
            # A hand starts and stops gently and is never quite even.
            uneven = chance.uniform(-0.03, 0.03) * np.sin(2 * np.pi * turn) ** 2
            eased = turn * turn * (3 - 2 * turn) + uneven * turn * (1 - turn)
            before_db = levels_db[count - 1]
            pieces.append(before_db + (level_db - before_db) * eased)
        pieces.append(np.full(int(plan.pause_s * chance.uniform(0.95, 1.1) * rate_hz), level_db))
    pieces.append(np.full(int(_QUIET_S * rate_hz), levels_db[-1]))
    gain_db = np.concatenate(pieces)
    quiet, fade = int(_QUIET_S * rate_hz), int(0.01 * rate_hz)
    rise = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, fade))
    playing = np.ones(len(gain_db))
    playing[:quiet] = playing[-quiet:] = 0.0
    playing[quiet : quiet + fade] = rise
    playing[-quiet - fade : -quiet] = rise[::-1]
    return gain_db, playing
