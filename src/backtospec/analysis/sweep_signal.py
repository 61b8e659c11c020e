"""The synchronised logarithmic sweep with its pilot tone: what is stated, and its waveform."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backtospec.errors import BenchError

Array = NDArray[np.float64]

_FREQUENCY_RANGE_HZ = (1.0, 200_000.0)
_DURATION_RANGE_S = (0.2, 120.0)
_PILOT_RANGE_S = (0.2, 30.0)
_LATEST_S = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stimulus:
    """A sweep as it was played: x(t) = drive·sin(2π·f1·L·(exp(t/L) − 1)), after a pilot tone.

    Parameters
    ----------
    f1, f2
        Start and end frequency in Hz, 1…200 000 Hz, the first the lower.
    L_s
        Rate constant in seconds: the frequency grows by e in this time.
    Td_s
        Duration in seconds, L·ln(f2/f1); 0.2…120 s.
    pilot_hz, pilot_start_s, pilot_len_s
        The pilot tone, which tells the clocks apart; it ends before the sweep starts.
    sweep_start_s
        Start of the sweep. Only its distance from the pilot matters: a recorder may be
        started at any time.
    drive_fs
        Peak digital amplitude of the sweep as played, above 0 up to 1.
    fade_in_s, fade_out_s
        Half-cosine fades at the ends of the sweep.

    Raises
    ------
    BenchError
        All faults at once, each with the key it concerns.

    Notes
    -----
    Where f1·L is a whole number the sweep is synchronised: its k-th harmonic is the sweep
    itself, earlier by L·ln k.

    Examples
    --------
    >>> from backtospec.analysis.stimuli import synchronised
    >>> sweep = synchronised(14.0, 20_800.0, 5.2)
    >>> f"{sweep.f1 * sweep.L_s:.6f} {sweep.Td_s:.4f} s"
    '10.000000 5.2169 s'
    >>> round(sweep.hz_at(sweep.Td_s))
    20800
    """

    f1: float
    f2: float
    L_s: float
    Td_s: float
    pilot_hz: float
    pilot_start_s: float
    pilot_len_s: float
    sweep_start_s: float
    drive_fs: float = 1.0
    fade_in_s: float = 0.02
    fade_out_s: float = 0.001

    def __post_init__(self) -> None:
        faults = [
            *_range_faults("f1", self.f1, *_FREQUENCY_RANGE_HZ, "Hz"),
            *_range_faults("f2", self.f2, *_FREQUENCY_RANGE_HZ, "Hz"),
            *_range_faults("L_s", self.L_s, 0.01, _LATEST_S, "s"),
            *_range_faults("Td_s", self.Td_s, *_DURATION_RANGE_S, "s"),
            *_range_faults("pilot_hz", self.pilot_hz, 20.0, 50_000.0, "Hz"),
            *_range_faults("pilot_start_s", self.pilot_start_s, 0.0, _LATEST_S, "s"),
            *_range_faults("pilot_len_s", self.pilot_len_s, *_PILOT_RANGE_S, "s"),
            *_range_faults("sweep_start_s", self.sweep_start_s, 0.0, _LATEST_S, "s"),
            *_range_faults("drive_fs", self.drive_fs, 1e-6, 1.0, "of full scale"),
            *_range_faults("fade_in_s", self.fade_in_s, 0.0, 0.5, "s"),
            *_range_faults("fade_out_s", self.fade_out_s, 0.0, 0.5, "s"),
        ] or self._mismatches()
        if faults:
            raise BenchError.of(faults)

    def _mismatches(self) -> list[BenchError]:
        faults = []
        if self.f2 < 2 * self.f1:
            what = f"a sweep from {self.f1:g} to {self.f2:g} Hz covers less than an octave."
            faults.append(BenchError(what, "f2", "Give an end of at least twice the start."))
            return faults
        whole_s = self.L_s * math.log(self.f2 / self.f1)
        if abs(self.Td_s - whole_s) > 1e-3 * self.L_s:
            what = (
                f"{self.Td_s:g} s does not agree with L·ln(f2/f1) = {whole_s:.6g} s "
                "(within 0.1 % of L)."
            )
            faults.append(BenchError(what, "Td_s", "Give the figures of one and the same sweep."))
        if self.fade_in_s + self.fade_out_s > 0.5 * self.Td_s:
            what = "the fades take more than half of the sweep."
            faults.append(BenchError(what, "fade_in_s", "Shorten the fades."))
        pilot_end_s = self.pilot_start_s + self.pilot_len_s
        if pilot_end_s > self.sweep_start_s:
            what = f"the pilot ends at {pilot_end_s:g} s, after the sweep has started."
            faults.append(BenchError(what, "sweep_start_s", "Let the pilot end before the sweep."))
        return faults

    @property
    def gap_s(self) -> float:
        """Silence between the pilot and the sweep."""
        return self.sweep_start_s - self.pilot_start_s - self.pilot_len_s

    def hz_at(self, time_s: float) -> float:
        """Return the momentary frequency at a time after the start of the sweep."""
        return self.f1 * math.exp(time_s / self.L_s)

    def time_of(self, hz: float) -> float:
        """Return the seconds after the start at which the sweep passes a frequency."""
        return self.L_s * math.log(hz / self.f1)


def sweep_wave(stimulus: Stimulus, time_s: Array) -> Array:
    """Return the sweep, amplitude 1, at times after its start; 0 before and after.

    Parameters
    ----------
    stimulus
        The sweep.
    time_s
        Seconds by the generator's clock, ascending or not.

    Notes
    -----
    A. Novak, P. Lotton, L. Simon, "Synchronized swept-sine", J. Audio Eng. Soc. 63 (2015),
    from memory.
    """
    inside = np.clip(time_s, 0.0, stimulus.Td_s)
    cycles = stimulus.f1 * stimulus.L_s * np.expm1(inside / stimulus.L_s)
    wave = np.sin(2 * np.pi * (cycles - np.round(cycles)))
    wave *= fade(time_s, stimulus.Td_s, stimulus.fade_in_s, stimulus.fade_out_s)
    return np.asarray(wave)


def fade(time_s: Array, length_s: float, in_s: float, out_s: float) -> Array:
    """Return a factor 0…1 that rises and falls as half a cosine, and is 0 outside 0…length.

    Examples
    --------
    >>> fade(np.array([-1.0, 0.0, 0.5, 2.0, 4.0]), 4.0, 1.0, 0.0).round(3).tolist()
    [0.0, 0.0, 0.5, 1.0, 1.0]
    """
    factor = np.where((time_s >= 0) & (time_s <= length_s), 1.0, 0.0)
    for since_s, lasts_s in ((time_s, in_s), (length_s - time_s, out_s)):
        if lasts_s > 0:
            factor *= 0.5 - 0.5 * np.cos(np.pi * np.clip(since_s / lasts_s, 0.0, 1.0))
    return np.asarray(factor)


def _range_faults(key: str, value: float, low: float, high: float, unit: str) -> list[BenchError]:
    if math.isfinite(value) and low <= value <= high:
        return []
    what = f"{value:g} {unit} is outside {low:g}…{high:g} {unit}."
    return [BenchError(what, key, "Give the figure the sweep was made with.")]
