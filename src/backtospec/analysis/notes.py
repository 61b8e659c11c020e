"""What an analysis says beside its figures: notes, the facts of the file, and band names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from backtospec.errors import BenchError

NoteCode: TypeAlias = Literal[
    "adc-overload",
    "amplifier-clipping",
    "asymmetric",
    "hum",
    "dropout",
    "lost-samples",
    "thump",
    "silence",
    "undithered",
    "quantisation-limited",
    "inverted",
    "dc",
    "mono",
    "near-hum-line",
    "harmonics-out-of-band",
    "floor-limited",
    "drift",
    "undriven",
    "terms-added",
    "methods-differ",
    "no-output-resistance",
    "tone-ratio",
    "no-reference",
    "salvaged",
    "resampled",
    "level-control",
]


@dataclass(frozen=True, slots=True)
class Note:
    """One remark about a recording.

    Parameters
    ----------
    code
        Which remark; see :data:`NoteCode`.
    text
        The remark in words.
    channel
        ``L``, ``R``, ``M``, or ``None`` where it concerns the whole recording.
    at_s
        Seconds from the start of the file, where the remark has a place.
    phase_jump_deg
        For lost samples: jump of the tone's phase, −180…180 degrees, positive when the later
        tone is ahead.
    """

    code: NoteCode
    text: str
    channel: str | None = None
    at_s: float | None = None
    phase_jump_deg: float | None = None


@dataclass(frozen=True, slots=True)
class FileFacts:
    """Length, sampling rate and resolution of a sound file.

    Parameters
    ----------
    frames
        Samples per channel.
    sample_rate_hz
        Samples per second.
    valid_bits
        Bits per sample that carry sound: 16, 24 or 32; for floating point the bits of the
        mantissa, 24 or 53.
    """

    frames: int
    sample_rate_hz: int
    valid_bits: int


def channel_names(count: int) -> tuple[str, ...]:
    """Return ``("M",)`` for one channel, ``("L", "R")`` for two."""
    return ("M",) if count == 1 else ("L", "R")


def measuring_bands(rate_hz: float) -> tuple[tuple[str, float, float], ...]:
    """Return (name, low in Hz, high in Hz) of the bands for THD+N that a rate carries.

    Examples
    --------
    >>> [name for name, _, _ in measuring_bands(48_000)]
    ['20-20000', '20-22000']
    >>> [name for name, _, _ in measuring_bands(32_000)]
    ['20-16000']
    """
    edges = [edge for edge in (20_000, 22_000, 80_000) if edge <= rate_hz / 2]
    return tuple((f"20-{edge}", 20.0, float(edge)) for edge in edges or [int(rate_hz / 2)])


def refuse_bands(bands_hz: tuple[tuple[float, float], ...], rate_hz: float) -> None:
    """Raise where a sampling rate does not carry a band that was asked for.

    Parameters
    ----------
    bands_hz
        Low and high end of each.
    rate_hz
        Sampling rate.
    """
    for _, high in bands_hz:
        if high > rate_hz / 2:
            raise BenchError(
                f"a band to {high:g} Hz is not in a recording of {rate_hz:g} samples per second: "
                f"it ends at {rate_hz / 2:g} Hz.",
                "bands",
                "Record at a higher rate, or give a narrower band.",
            )
