"""How a test signal is played: level, silence around it, fades, dither, and its description."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.sweep_signal import fade
from backtospec.errors import BenchError

Array = NDArray[np.float64]
StimulusKind: TypeAlias = Literal[
    "tone",
    "stepped-level",
    "swept-level",
    "stepped-tones",
    "sweep",
    "two-tone",
    "burst",
    "square",
    "pink-noise",
]

SCHEMA = "backtospec/stimulus/1"

_HIGHEST_SHARE = 0.49
_LONGEST_S = 3600.0
#: What fits into the memory of a small computer, in samples: 20 minutes at 48 kHz.
_MOST_SAMPLES = 60_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Playing:
    """How a signal is played, whatever it is.

    Parameters
    ----------
    rate_hz
        Sampling rate, 8 000…768 000 Hz.
    level_dbfs_peak
        Peak of the signal, −140…0 dB of full scale; dither comes on top.
    lead_in_s
        Silence before it, 0…60 s.
    fade_s
        Half-cosine fade at both ends, 0…1 s.
    dither_bits
        With 16 or 24: triangular dither of one step of that resolution either way is added,
        in the silence too.
    seed
        Of dither and noise; equal seeds give equal samples.

    Raises
    ------
    BenchError
        All faults at once.
    """

    rate_hz: int = 48_000
    level_dbfs_peak: float = -3.0
    lead_in_s: float = 0.5
    fade_s: float = 0.01
    dither_bits: int | None = None
    seed: int = 0

    def __post_init__(self) -> None:
        faults = [
            *range_faults(self.rate_hz, "sampling rate", 8_000, 768_000, "Hz"),
            *range_faults(self.level_dbfs_peak, "level", -140.0, 0.0, "dBFS"),
            *range_faults(self.lead_in_s, "lead-in", 0.0, 60.0, "s"),
            *range_faults(self.fade_s, "fade", 0.0, 1.0, "s"),
        ]
        if self.dither_bits not in (None, 16, 24):
            what = f"{self.dither_bits} bits are neither 16 nor 24."
            faults.append(BenchError(what, "dither", "Give the resolution of the file."))
        if faults:
            raise BenchError.of(faults)

    @property
    def peak(self) -> float:
        """Peak digital amplitude."""
        return float(10 ** (self.level_dbfs_peak / 20))


@dataclass(frozen=True, slots=True)
class PlayedSignal:
    """A signal ready to be played.

    Parameters
    ----------
    kind
        Which signal.
    rate_hz
        Sampling rate.
    samples
        Digital amplitude, shape (samples,).
    description
        What was made, ready for JSON; keys carry their unit. Of a sweep it holds what
        :class:`~backtospec.analysis.sweep_signal.Stimulus` needs.
    """

    kind: StimulusKind
    rate_hz: int
    samples: Array
    description: dict[str, Any]


def sine(cycles: Array) -> Array:
    """Return the sine of a phase in cycles."""
    return np.asarray(np.sin(2 * np.pi * (cycles - np.round(cycles))))


def times_of(duration_s: float, playing: Playing, *frequencies_hz: float) -> Array:
    """Return the time of each sample, refusing a duration or frequency that cannot be played."""
    highest_hz = _HIGHEST_SHARE * playing.rate_hz
    faults = range_faults(duration_s, "duration", 0.01, _LONGEST_S, "s")
    for hz in frequencies_hz:
        faults += range_faults(hz, "frequency", 1.0, highest_hz, "Hz")
    if not faults and duration_s * playing.rate_hz > _MOST_SAMPLES:
        what = (
            f"{duration_s:g} s at {playing.rate_hz} Hz are more than the "
            f"{_MOST_SAMPLES / playing.rate_hz:.0f} s that can be made in one piece."
        )
        faults.append(BenchError(what, "duration", "Make a shorter one and let it play in a loop."))
    refuse(faults)
    return np.asarray(np.arange(round(duration_s * playing.rate_hz)) / playing.rate_hz)


def finished(
    kind: StimulusKind, wave: Array, playing: Playing, facts: dict[str, Any]
) -> PlayedSignal:
    """Return a wave with fades, silence and dither, and its description."""
    length_s = (len(wave) - 1) / playing.rate_hz
    time_s = np.arange(len(wave)) / playing.rate_hz
    shaped = wave * fade(time_s, length_s, playing.fade_s, playing.fade_s)
    silence = np.zeros(round(playing.lead_in_s * playing.rate_hz))
    samples = dithered(np.concatenate((silence, shaped, silence)), playing)
    description = {
        **head(kind, playing),
        "level_dbfs_peak": playing.level_dbfs_peak,
        "lead_in_s": playing.lead_in_s,
        "fade_s": playing.fade_s,
        **facts,
    }
    return PlayedSignal(kind, playing.rate_hz, samples, description)


def head(kind: StimulusKind, playing: Playing) -> dict[str, Any]:
    """Return what every description begins with."""
    return {
        "schema": SCHEMA,
        "kind": kind,
        "sample_rate_hz": playing.rate_hz,
        "dither_bits": playing.dither_bits,
    }


def dithered(samples: Array, playing: Playing) -> Array:
    """Return samples with triangular dither, where it is asked for."""
    if playing.dither_bits is None:
        return samples
    chance = np.random.default_rng([playing.seed, 1])
    either_way = chance.uniform(-0.5, 0.5, (2, len(samples))).sum(axis=0)
    return np.asarray(samples + either_way * 2.0 ** (1 - playing.dither_bits))


def refuse(faults: list[BenchError]) -> None:
    """Raise all faults at once, if there are any."""
    if faults:
        raise BenchError.of(faults)


def range_faults(value: float, where: str, low: float, high: float, unit: str) -> list[BenchError]:
    """Return the fault of a figure outside its range, or nothing."""
    if math.isfinite(value) and low <= value <= high:
        return []
    what = f"{value:g} {unit}".rstrip() + f" is outside {low:g}…{high:g} {unit}".rstrip() + "."
    return [BenchError(what, where, "Choose a figure inside.")]


def repeated_faults(frequencies_hz: Sequence[float]) -> list[BenchError]:
    """Return the fault of a frequency that occurs twice, or nothing.

    Examples
    --------
    >>> repeated_faults((100.0, 1000.0, 100.0))[0].faults[0].what
    '100 Hz occurs twice.'
    """
    repeated = next((hz for hz in frequencies_hz if list(frequencies_hz).count(hz) > 1), None)
    if repeated is None:
        return []
    what = f"{repeated:g} Hz occurs twice."
    return [BenchError(what, "frequencies", "Give each frequency once.")]


#: 48 kHz, −3 dBFS, half a second of silence around it, no dither.
PLAIN = Playing()
