"""The signals to play into an amplifier, made by name; and what a description says was played."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from backtospec.analysis import stimuli
from backtospec.analysis.stimulus_playing import PlayedSignal, Playing
from backtospec.errors import BenchError
from backtospec.sources.stimulus_files import read_frequencies, write_stimulus

#: The kinds of signal that each kind of analysis takes.
_PLAYED_FOR: dict[str, tuple[str, ...]] = {
    "tone": ("tone",),
    "ramp": ("stepped-level", "swept-level", "tone"),
    "control": ("tone",),
    "two-tone": ("two-tone",),
    "sweep": ("sweep",),
    "stepped": ("stepped-tones",),
    "burst": ("burst",),
    "square": ("square",),
}


def stated_frequencies(path: Path, kind: str) -> tuple[float, ...]:
    """Return the one or two frequencies that a description states for a kind of analysis.

    Parameters
    ----------
    path
        The JSON file beside the signal.
    kind
        Of the analysis. For a sweep and for stepped tones nothing is returned: their
        description is read in full where they are analysed.

    Raises
    ------
    BenchError
        Where it describes another signal, or is faulty.
    """
    if kind not in _PLAYED_FOR:
        raise BenchError(
            f"a description of what was played is of no use for {kind}.",
            "--stimulus",
            "Leave it out.",
        )
    return read_frequencies(path, _PLAYED_FOR[kind])


def hold_to_description(path: Path, kind: str, given_hz: tuple[float, ...]) -> None:
    """Raise where frequencies as given are not those of the signal that was played.

    Parameters
    ----------
    path, kind
        As for :func:`stated_frequencies`.
    given_hz
        As the person gave them.
    """
    stated = sorted(stated_frequencies(path, kind))
    if not stated:
        return
    alike = len(stated) == len(given_hz) and all(
        abs(given - own) <= 0.01 * own for given, own in zip(sorted(given_hz), stated, strict=True)
    )
    if not alike:
        given = ", ".join(f"{hz:g}" for hz in given_hz)
        own = ", ".join(f"{hz:g}" for hz in stated)
        raise BenchError(
            f"{given} Hz is given, while {path.name} describes {own} Hz.",
            "--nominal-hz",
            "Leave it out, or name the description of the signal that was played.",
        )


_Hz = tuple[float, ...]


def _one(hz: _Hz) -> float:
    if len(hz) > 1:
        raise BenchError(
            f"{len(hz)} frequencies are given for a signal of one.",
            "--hz",
            "Give one, such as 997.",
        )
    return hz[0] if hz else 997.0


def _tone(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    return stimuli.tone(_one(hz), seconds, playing)


def _two_tone(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    if len(hz) != 2:
        raise BenchError("two tones need two frequencies.", "--hz", "Give both, such as 60,7000.")
    low, high = sorted(hz)
    ratio = 4.0 if high / low > 2 else 1.0
    return stimuli.two_tone(low, high, ratio, seconds, playing)


def _sweep(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    if len(hz) not in (0, 2):
        raise BenchError(
            "a sweep has a start and an end.", "--hz", "Give both, such as 14,20800, or neither."
        )
    low, high = sorted(hz) if hz else (14.0, min(20_800.0, 0.45 * playing.rate_hz))
    wanted = stimuli.synchronised(low, high, seconds, drive_fs=playing.peak)
    return stimuli.sweep(wanted, playing)


def _stepped_level(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    levels = [-6.0 * step for step in range(9, -1, -1)]
    return stimuli.stepped_level(_one(hz), levels, seconds / len(levels), playing=playing)


def _swept_level(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    return stimuli.swept_level(_one(hz), -60.0, seconds, playing)


def _stepped_tones(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    wanted = hz or stimuli.STEPPED_HZ
    return stimuli.stepped_tones(wanted, seconds / len(wanted), playing)


def _burst(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    return stimuli.burst(_one(hz), max(1, round(seconds / 0.5)), playing)


def _square(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    return stimuli.square(_one(hz), seconds, playing)


def _pink(hz: _Hz, seconds: float, playing: Playing) -> PlayedSignal:
    if len(hz) not in (0, 2):
        raise BenchError(
            "pink noise has a band.", "--hz", "Give both ends, such as 20,20000, or neither."
        )
    low, high = sorted(hz) if hz else (20.0, min(20_000.0, 0.45 * playing.rate_hz))
    return stimuli.pink_noise(seconds, playing, low_hz=low, high_hz=high)


_SIGNALS: dict[str, Callable[[_Hz, float, Playing], PlayedSignal]] = {
    "tone": _tone,
    "steps": _stepped_level,
    "rise": _swept_level,
    "stepped-tones": _stepped_tones,
    "two-tone": _two_tone,
    "sweep": _sweep,
    "burst": _burst,
    "square": _square,
    "pink": _pink,
}

SIGNALS = tuple(_SIGNALS)
"""Every signal that can be made."""


def make_signal(
    kind: str, path: Path, hz: tuple[float, ...], seconds: float, playing: Playing
) -> Path:
    """Write a signal to play as a WAV file with its description beside it; return the latter.

    Parameters
    ----------
    kind
        One of :data:`SIGNALS`.
    path
        Where the sound goes, ending in ``.wav``.
    hz
        Its frequency or frequencies; none for the usual ones.
    seconds
        How long it plays, without the silence around it.
    playing
        Sampling rate, level, silence before it, dither.

    Raises
    ------
    BenchError
        For an unknown kind, or figures out of range.
    """
    make = _SIGNALS.get(kind)
    if make is None:
        names = ", ".join(SIGNALS)
        raise BenchError(f'"{kind}" is none of {names}.', "signal", "Name one of them.")
    return write_stimulus(path, make(hz, seconds, playing))


def playing_from(
    rate_hz: int, level_dbfs: float, dither_bits: int | None, lead_in_s: float = 0.5
) -> Playing:
    """Return how a signal is played."""
    return replace(
        Playing(),
        rate_hz=rate_hz,
        level_dbfs_peak=level_dbfs,
        dither_bits=dither_bits,
        lead_in_s=lead_in_s,
    )
