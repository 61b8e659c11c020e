"""What is kept of a long recording: a few numbers for each quarter frame, packed tightly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.ramp_grid import Single

#: Quarters kept whole because something breaks in them.
_MOST_TORN = 256
#: Half precision holds −144 dB of full scale undiminished, and 64 times full scale at the most.
_SLOW_SCALE = np.float32(2**10)


@dataclass(slots=True)
class Quarters:
    """What is kept of each quarter frame; first axis quarters, second channels.

    Memory is about 65 bytes a quarter and channel: 0.4 MB a minute for two channels.

    Parameters
    ----------
    phasor
        Fundamental against the carrier.
    dc, noise
        Mean, and mean square of what the fit leaves (harmonics above the tenth included, unless
        they were looked at).
    squares
        Sum of the squared amplitudes of H2 and up to the tenth harmonic, noise included.
    slow
        Means of what the harmonics leave over short steps, relative to ``dc``, third axis, in
        half precision: hum shows in them; see :func:`pack_slow`.
    harmonics, spans
        H2 and up, turned so that the fundamental's phase is 0; third axis orders. Each row is
        the mean over one quarter, or over a frame in which nothing changes; ``spans`` says over
        how many quarters.
    bands
        Mean square of what the harmonics leave by band, for whole frames: first axis frames. NaN
        where the level moves.
    close_at, close
        Rows of (quarter, channel) that were looked at closely, in order of time; and of each the
        sum of squared amplitudes beyond the tenth harmonic, noise included (NaN where it does
        not matter), and what the positive and the negative crest lose.
    fine_at, fine
        Rows of (quarter, channel) in which a moving level nears a criterion; and of each its
        steps, second axis, as amplitude and sum of squared harmonics, third axis.
    zeros
        Rows of (channel, first sample, one past the last) of runs of exact zeros.
    torn, torn_at
        Samples of quarters that hold a sudden break, shape (quarters, samples, channels), and
        the index of each one's first sample.
    rails
        Samples on a converter's rail, per channel.
    step
        Step of an integer recording in digital amplitude; 0 for floating point, infinity for
        silence.
    same
        Whether both channels held the same samples.
    """

    phasor: NDArray[np.complex64]
    dc: Single
    noise: Single
    squares: Single
    slow: NDArray[np.float16]
    harmonics: NDArray[np.complex64]
    spans: NDArray[np.uint8]
    bands: Single
    close_at: NDArray[np.int32]
    close: Single
    fine_at: NDArray[np.int32]
    fine: Single
    zeros: NDArray[np.int64]
    torn: Single
    torn_at: NDArray[np.int64]
    rails: NDArray[np.float64]
    step: float
    same: bool

    @classmethod
    def joined(cls, parts: Sequence[Quarters]) -> Quarters:
        """Return consecutive parts as one; the parts are emptied, so that little is held twice."""
        if len(parts) == 1:
            return parts[0]
        joined: dict[str, Any] = {
            "rails": np.sum([part.rails for part in parts], axis=0),
            "step": min(part.step for part in parts),
            "same": all(part.same for part in parts),
        }
        for name in (f.name for f in fields(cls) if f.name not in joined):
            joined[name] = np.concatenate([getattr(part, name) for part in parts])
            for part in parts:
                setattr(part, name, joined[name][:0])
        joined["torn"] = joined["torn"][:_MOST_TORN]
        joined["torn_at"] = joined["torn_at"][:_MOST_TORN]
        return cls(**joined)

    @property
    def harmonics_at(self) -> NDArray[np.int64]:
        """First quarter of each row of ``harmonics``."""
        return np.cumsum(self.spans, dtype=np.int64) - self.spans

    def closely(self, channel: int, first: int, end: int) -> tuple[NDArray[np.int64], Single]:
        """Return (quarters, rows of ``close``) of one channel between two quarters."""
        a, b = np.searchsorted(self.close_at[:, 0], (first, end))
        mine = a + np.flatnonzero(self.close_at[a:b, 1] == channel)
        return self.close_at[mine, 0].astype(np.int64), self.close[mine]


def pack_slow(slow: Single) -> NDArray[np.float16]:
    """Return short means in half precision; infinite beyond 64 times full scale."""
    with np.errstate(over="ignore"):
        return (slow * _SLOW_SCALE).astype(np.float16)


def unpack_slow(packed: NDArray[np.float16]) -> NDArray[np.float64]:
    """Return short means as digital amplitude.

    Examples
    --------
    >>> bool(unpack_slow(pack_slow(np.float32([0.25])))[0] == 0.25)
    True
    """
    return packed.astype(np.float64) / float(_SLOW_SCALE)
