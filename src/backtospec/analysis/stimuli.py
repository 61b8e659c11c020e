"""The signals to play into an amplifier, each with a description that can be kept beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.stimulus_playing import (
    PLAIN,
    PlayedSignal,
    Playing,
    dithered,
    finished,
    head,
    range_faults,
    refuse,
    repeated_faults,
    sine,
    times_of,
)
from backtospec.analysis.sweep_signal import Stimulus, fade, sweep_wave
from backtospec.analysis.waveforms import level_plan_db
from backtospec.errors import BenchError

Array = NDArray[np.float64]
_TAIL_S = 1.0
_HOLD_S = 0.1
#: From here up a tone at full power heats the output's damping network: seconds only.
_SHORT_FROM_HZ = 10_000.0
_SHORT_S = 2.0
_BETWEEN_S = 0.1
#: Longer pink noise repeats this much of it.
_PINK_PERIOD_S = 60.0

#: Frequencies of the stepped tones, unless others are asked for.
STEPPED_HZ = (20.0, 40.0, 100.0, 400.0, 1000.0, 4000.0, 10_000.0, 20_000.0)


def tone(hz: float, duration_s: float, playing: Playing = PLAIN) -> PlayedSignal:
    """Return a steady sine.

    Parameters
    ----------
    hz
        Frequency, up to 0.49 of the sampling rate. 997 Hz rather than 1000 Hz: it meets every
        code of a converter and lies on no hum line.
    duration_s
        Without the silence around it, 0.01…3600 s.

    Examples
    --------
    >>> played = tone(997.0, 1.0, Playing(level_dbfs_peak=-6.0, lead_in_s=0.5))
    >>> played.samples.shape, f"{20 * math.log10(abs(played.samples).max()):.2f} dBFS"
    ((96000,), '-6.00 dBFS')
    """
    time_s = times_of(duration_s, playing, hz)
    wave = playing.peak * sine(hz * time_s)
    return finished("tone", wave, playing, {"frequency_hz": hz, "duration_s": duration_s})


def stepped_level(
    hz: float,
    levels_dbfs: Sequence[float],
    pause_s: float,
    turn_s: float = 0.1,
    playing: Playing = PLAIN,
) -> PlayedSignal:
    """Return a sine that rests at each level and moves evenly in decibels between them.

    Parameters
    ----------
    hz
        Frequency.
    levels_dbfs
        Peak level of each rest relative to the level of ``playing``, 0 dB or below.
    pause_s, turn_s
        Length of a rest, and of the way to the next.
    """
    if not levels_dbfs or not all(math.isfinite(db) and -140 <= db <= 0 for db in levels_dbfs):
        given = ", ".join(f"{db:g}" for db in levels_dbfs)
        what = f"{given or 'nothing'} is not a list of levels within -140…0 dB."
        raise BenchError(what, "levels", "Give each step in decibels below the highest.")
    duration_s = len(levels_dbfs) * pause_s + (len(levels_dbfs) - 1) * turn_s
    times_of(duration_s, playing, hz)
    plan_db = level_plan_db(levels_dbfs, pause_s, turn_s, playing.rate_hz)
    cycles = hz * np.arange(len(plan_db)) / playing.rate_hz
    wave = playing.peak * 10 ** (plan_db / 20) * sine(cycles)
    facts = {
        "frequency_hz": hz,
        "levels_db": [float(db) for db in levels_dbfs],
        "pause_s": pause_s,
        "turn_s": turn_s,
        "duration_s": len(wave) / playing.rate_hz,
    }
    return finished("stepped-level", wave, playing, facts)


def swept_level(
    hz: float, from_db: float, duration_s: float, playing: Playing = PLAIN
) -> PlayedSignal:
    """Return a sine that rises evenly in decibels to the level of ``playing`` and holds it 0.1 s.

    Parameters
    ----------
    hz
        Frequency.
    from_db
        Where it starts, relative to its end, −140…0 dB.
    duration_s
        Of the rise, 0.01…3600 s.
    """
    refuse(range_faults(from_db, "start level", -140.0, 0.0, "dB"))
    times_of(duration_s, playing, hz)
    time_s = times_of(duration_s + _HOLD_S, playing)
    level_db = from_db * np.maximum(1 - time_s / duration_s, 0.0)
    wave = playing.peak * 10 ** (level_db / 20) * sine(hz * time_s)
    facts = {
        "frequency_hz": hz,
        "from_db": from_db,
        "rise_s": duration_s,
        "duration_s": duration_s + _HOLD_S,
    }
    return finished("swept-level", wave, playing, facts)


def stepped_tones(
    frequencies_hz: Sequence[float], each_s: float, playing: Playing = PLAIN
) -> PlayedSignal:
    """Return sines one after another, a tenth of a second of silence between them.

    Parameters
    ----------
    frequencies_hz
        2…60 frequencies, such as :data:`STEPPED_HZ`; one of them should lie at 1 kHz, to which
        the response refers.
    each_s
        How long each lasts, 0.3…60 s. From 10 kHz up a tone lasts two seconds at most: at full
        power more would heat the damping network at the output. The description states what
        was made of each.

    Examples
    --------
    >>> played = stepped_tones((100.0, 1000.0, 10_000.0), 3.0)
    >>> [tone["duration_s"] for tone in played.description["tones"]]
    [3.0, 3.0, 2.0]
    """
    refuse(
        [
            *range_faults(len(frequencies_hz), "frequencies", 2, 60, ""),
            *range_faults(each_s, "duration of each tone", 0.3, 60.0, "s"),
            *repeated_faults(frequencies_hz),
        ]
    )
    lasting = [min(each_s, _SHORT_S) if hz >= _SHORT_FROM_HZ else each_s for hz in frequencies_hz]
    pieces, tones, start_s = [], [], playing.lead_in_s
    between = np.zeros(round(_BETWEEN_S * playing.rate_hz))
    for hz, lasts_s in zip(frequencies_hz, lasting, strict=True):
        time_s = times_of(lasts_s, playing, hz)
        ends = fade(time_s, float(time_s[-1]), playing.fade_s, playing.fade_s)
        pieces += [playing.peak * ends * sine(hz * time_s), between]
        tones.append({"frequency_hz": float(hz), "start_s": start_s, "duration_s": lasts_s})
        start_s += (len(time_s) + len(between)) / playing.rate_hz
    wave = np.concatenate(pieces[:-1])
    facts = {"tones": tones, "duration_s": len(wave) / playing.rate_hz}
    return finished("stepped-tones", wave, playing, facts)


def synchronised(
    low_hz: float,
    high_hz: float,
    about_s: float,
    *,
    drive_fs: float = 0.7,
    pilot_hz: float = 1000.0,
    pilot_start_s: float = 0.5,
    pilot_len_s: float = 0.5,
    gap_s: float = 0.25,
) -> Stimulus:
    """Return a synchronised sweep of about a duration: f1·L is a whole number.

    Parameters
    ----------
    low_hz, high_hz
        From where to where; a response is read from about half an octave above the start.
    about_s
        Wanted duration.
    drive_fs
        Peak digital amplitude.
    """
    rough_s = about_s / math.log(high_hz / low_hz) if 0 < low_hz < high_hz else math.nan
    cycles = max(1, round(low_hz * rough_s)) if math.isfinite(rough_s) else 1
    constant_s = cycles / low_hz if low_hz > 0 else math.nan
    ratio = high_hz / low_hz if low_hz > 0 else math.nan
    return Stimulus(
        f1=low_hz,
        f2=high_hz,
        L_s=constant_s,
        Td_s=constant_s * math.log(ratio) if ratio > 0 else math.nan,
        pilot_hz=pilot_hz,
        pilot_start_s=pilot_start_s,
        pilot_len_s=pilot_len_s,
        sweep_start_s=pilot_start_s + pilot_len_s + gap_s,
        drive_fs=drive_fs,
    )


def sweep(stimulus: Stimulus, playing: Playing = PLAIN) -> PlayedSignal:
    """Return a synchronised sweep after its pilot, with a second of silence behind.

    Parameters
    ----------
    stimulus
        The sweep; its own start, drive and fades hold.
    playing
        Sampling rate and dither.

    Examples
    --------
    >>> played = sweep(synchronised(14.0, 20_800.0, 5.2))
    >>> f"{len(played.samples) / played.rate_hz:.2f} s"
    '7.47 s'
    """
    times_of(stimulus.Td_s, playing, stimulus.f2)
    frames = round((stimulus.sweep_start_s + stimulus.Td_s + _TAIL_S) * playing.rate_hz)
    time_s = np.arange(frames) / playing.rate_hz
    since_s = time_s - stimulus.pilot_start_s
    pilot = fade(since_s, stimulus.pilot_len_s, 0.01, 0.01) * sine(stimulus.pilot_hz * since_s)
    wave = stimulus.drive_fs * (pilot + sweep_wave(stimulus, time_s - stimulus.sweep_start_s))
    description = {
        **head("sweep", playing),
        "level_dbfs_peak": 20 * math.log10(stimulus.drive_fs),
        "lead_in_s": stimulus.pilot_start_s,
        "duration_s": frames / playing.rate_hz,
        **asdict(stimulus),
    }
    return PlayedSignal("sweep", playing.rate_hz, dithered(wave, playing), description)


def two_tone(
    low_hz: float,
    high_hz: float,
    ratio: float,
    duration_s: float,
    playing: Playing = PLAIN,
) -> PlayedSignal:
    """Return two sines together; the level is the peak of their sum.

    Parameters
    ----------
    low_hz, high_hz
        Frequencies, such as 60 and 7000 Hz at 4 to 1, or 19 and 20 kHz at 1 to 1.
    ratio
        Amplitude of the low tone over the high one, 0.01…100.
    """
    refuse(range_faults(ratio, "ratio", 0.01, 100.0, "to 1"))
    time_s = times_of(duration_s, playing, low_hz, high_hz)
    both = ratio * sine(low_hz * time_s) + sine(high_hz * time_s)
    wave = playing.peak / (ratio + 1) * both
    facts = {"frequencies_hz": [low_hz, high_hz], "ratio": ratio, "duration_s": duration_s}
    return finished("two-tone", wave, playing, facts)


def burst(
    hz: float,
    count: int,
    playing: Playing = PLAIN,
    *,
    on_s: float = 0.020,
    off_s: float = 0.480,
    rest_db: float = -20.0,
) -> PlayedSignal:
    """Return bursts of a sine that never stops: loud for 20 ms, then 20 dB lower for 480 ms.

    Parameters
    ----------
    hz
        Frequency; with whole cycles per burst the level changes at zero crossings.
    count
        Bursts, 1…1000; each is preceded by a rest, and a rest ends the signal.
    on_s, off_s
        Length of burst and rest.
    rest_db
        Level of the rests relative to the bursts, −140…0 dB.

    Notes
    -----
    IHF-A-202 dynamic headroom, from memory.
    """
    refuse(
        [
            *range_faults(count, "bursts", 1, 1000, ""),
            *range_faults(on_s, "burst", 1e-3, 60.0, "s"),
            *range_faults(off_s, "rest", 1e-3, 60.0, "s"),
            *range_faults(rest_db, "level of the rest", -140.0, 0.0, "dB"),
        ]
    )
    duration_s = count * (on_s + off_s) + off_s
    time_s = times_of(duration_s, playing, hz)
    loud = (np.round(time_s * 1e9) % round((on_s + off_s) * 1e9)) >= round(off_s * 1e9)
    wave = playing.peak * np.where(loud, 1.0, 10 ** (rest_db / 20)) * sine(hz * time_s)
    facts = {
        "frequency_hz": hz,
        "count": count,
        "on_s": on_s,
        "off_s": off_s,
        "rest_db": rest_db,
        "duration_s": duration_s,
    }
    return finished("burst", wave, playing, facts)


def square(hz: float, duration_s: float, playing: Playing = PLAIN) -> PlayedSignal:
    """Return a square wave of odd harmonics below 0.45 of the sampling rate.

    Parameters
    ----------
    hz
        Frequency, such as 1000 or 10 000 Hz.

    Notes
    -----
    Cut off there, the edges overshoot by 9 %; the level is the peak of the overshoot, and the
    flat top is stated in the description as ``top_fs``.
    """
    time_s = times_of(duration_s, playing, hz)
    wave = np.zeros_like(time_s)
    orders = range(1, max(1, int(0.45 * playing.rate_hz / hz)) + 1, 2)
    for order in orders:
        wave += 4 / math.pi / order * sine(order * hz * time_s)
    scale = playing.peak / float(np.abs(wave).max())
    facts = {
        "frequency_hz": hz,
        "top_fs": scale,
        "highest_order": orders[-1],
        "duration_s": duration_s,
    }
    return finished("square", scale * wave, playing, facts)


def pink_noise(
    duration_s: float,
    playing: Playing = PLAIN,
    *,
    low_hz: float = 20.0,
    high_hz: float = 20_000.0,
) -> PlayedSignal:
    """Return noise of equal power per octave within a band; the level is its highest peak.

    Parameters
    ----------
    low_hz, high_hz
        The band.

    Notes
    -----
    Made in the frequency domain with random phases and Rayleigh amplitudes: Gaussian noise.
    What lasts longer than a minute repeats its first minute, without a seam.
    """
    count = len(times_of(duration_s, playing, low_hz, high_hz))
    period = min(count, round(_PINK_PERIOD_S * playing.rate_hz))
    chance = np.random.default_rng(playing.seed)
    bins_hz = np.fft.rfftfreq(period, 1 / playing.rate_hz)
    inside = (bins_hz >= low_hz) & (bins_hz <= high_hz)
    spectrum = np.zeros(len(bins_hz), dtype=np.complex128)
    parts = chance.standard_normal((2, int(inside.sum())))
    spectrum[inside] = (parts[0] + 1j * parts[1]) / np.sqrt(bins_hz[inside])
    noise = np.resize(np.fft.irfft(spectrum, period), count)
    wave = playing.peak / float(np.abs(noise).max()) * noise
    facts = {
        "low_hz": low_hz,
        "high_hz": high_hz,
        "seed": playing.seed,
        "period_s": period / playing.rate_hz,
        "rms_dbfs": 20 * math.log10(float(np.sqrt(np.mean(wave**2)))),
        "duration_s": duration_s,
    }
    return finished("pink-noise", wave, playing, facts)
