"""Two tones of any length: fitted piece by piece, averaged in phase with the tones."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.hum import Mains
from backtospec.analysis.lattice_fit import LatticeFit, Line
from backtospec.analysis.notes import Note
from backtospec.analysis.quality import quantisation_step
from backtospec.analysis.two_tone_fit import FittedPair, find_pair, fit_pair
from backtospec.analysis.two_tone_stretch import find_clean_pair, rail_fraction
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_SILENT_RMS = 1e-5
_PIECE_SAMPLES = 2**19
_PIECE_CYCLES = 100


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of the recording, measured.

    Parameters
    ----------
    start, end
        Where the tones play in it, samples of the file.
    alive
        Channels that are neither silent nor overloaded.
    overloaded
        By channel the share of samples on the recorder's rail, ``None`` where it is silent.
    steps
        By channel, of an integer recording, or 0.
    same_samples
        Whether two channels hold the very same samples.
    pair
        The fit; ``None`` where no channel is alive.
    notes
        Gaps and lost samples.
    """

    start: int
    end: int
    alive: tuple[int, ...]
    overloaded: tuple[float | None, ...]
    steps: tuple[float, ...]
    same_samples: bool
    pair: FittedPair | None
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Whole(Piece):
    """All pieces together.

    Parameters
    ----------
    channels
        How many the recording has.
    moved_db
        By column of the fit, how far the level of either tone moves from piece to piece.
    """

    channels: int
    moved_db: tuple[float, ...]


def piece_edges(
    frames: int, rate_hz: float, hz: tuple[float, float]
) -> tuple[tuple[int, int], ...]:
    """Return (first frame, one past the last) of every piece of a recording, nearly equal.

    Parameters
    ----------
    frames, rate_hz
        Length and sampling rate of the recording.
    hz
        Both tones, the low one first.

    Examples
    --------
    >>> piece_edges(96_000, 48_000, (60.0, 7000.0))
    ((0, 96000),)
    >>> len(piece_edges(28_800_000, 48_000, (60.0, 7000.0)))
    55
    """
    spacing_hz = min(hz[0], hz[1] - hz[0])
    length = max(_PIECE_SAMPLES, _PIECE_CYCLES * rate_hz / spacing_hz)
    count = max(1, round(frames / length))
    edges = [frames * index // count for index in range(count + 1)]
    return tuple(pairwise(edges))


def measure_pieces(
    pieces: Iterable[Array], rate_hz: float, hz: tuple[float, float], mains_hz: float | None
) -> Whole:
    """Return the fit of two tones over all pieces of a recording.

    Parameters
    ----------
    pieces
        Shape (samples, channels) each, following on each other.
    rate_hz, hz
        Sampling rate, and both nominal frequencies, the low one first.
    mains_hz
        50, 60 or ``None``.

    Raises
    ------
    BenchError
        Where no piece holds the tones.

    Notes
    -----
    A piece without the tones is left out, and said where it lies between others.
    """
    measured: list[Piece] = []
    without: list[tuple[int, int]] = []
    failed: BenchError | None = None
    at = 0
    for samples in pieces:
        try:
            measured.append(_measure(samples, at, float(rate_hz), hz, mains_hz))
        except BenchError as error:
            failed = failed or error
            without.append((at, at + len(samples)))
        at += len(samples)
    if not measured or not any(piece.pair for piece in measured):
        if failed and not any(_is_overloaded(piece) for piece in measured):
            raise failed
        return _join(measured)
    sounding = [piece for piece in measured if piece.pair or _is_overloaded(piece)]
    whole = _join(sounding)
    lost = [(a, b) for a, b in without if sounding[0].start < a < sounding[-1].end]
    return replace(whole, notes=whole.notes + tuple(_lost_note(a, b, rate_hz) for a, b in lost))


def _is_overloaded(piece: Piece) -> bool:
    return any(share for share in piece.overloaded)


def _lost_note(a: int, b: int, rate_hz: float) -> Note:
    text = f"From {a / rate_hz:.1f} to {b / rate_hz:.1f} s the two tones are not there."
    return Note("dropout", text, at_s=a / rate_hz)


def _measure(
    samples: Array, at: int, rate_hz: float, nominal_hz: tuple[float, float], mains_hz: float | None
) -> Piece:
    """Return one piece, its residual dropped."""
    count = samples.shape[1]
    alive = [i for i in range(count) if float(np.std(samples[:, i])) > _SILENT_RMS]
    overloaded: list[float | None] = [0.0 if i in alive else None for i in range(count)]
    piece = Piece(
        start=at,
        end=at + len(samples),
        alive=(),
        overloaded=tuple(overloaded),
        steps=tuple(quantisation_step(samples[:, i]) for i in range(count)),
        same_samples=count == 2 and np.array_equal(samples[:, 0], samples[:, 1]),
        pair=None,
        notes=(),
    )
    if not alive:
        return piece
    hz = find_pair(samples[:, alive], rate_hz, nominal_hz)
    clean = find_clean_pair(samples[:, alive], rate_hz, hz)
    for index in list(alive):
        share = rail_fraction(samples[clean.start : clean.end, index], rate_hz / hz[1])
        if share > 0:
            alive.remove(index)
            overloaded[index] = share
    notes = tuple(replace(note, at_s=(note.at_s or 0.0) + at / rate_hz) for note in clean.notes)
    piece = replace(
        piece,
        start=at + clean.start,
        end=at + clean.end,
        alive=tuple(alive),
        overloaded=tuple(overloaded),
        notes=notes,
    )
    if not alive:
        return piece
    positions = clean.positions.astype(float)
    pair = fit_pair(samples[clean.positions][:, alive], positions, rate_hz, hz, mains_hz)
    bare = replace(pair.fit, residual=pair.fit.residual[:0].copy(), centre=pair.fit.centre + at)
    return replace(piece, pair=replace(pair, fit=bare))


def _join(pieces: Sequence[Piece]) -> Whole:
    """Return all pieces as one."""
    first, channels = pieces[0], len(pieces[0].overloaded)
    shares = [[piece.overloaded[i] for piece in pieces] for i in range(channels)]
    overloaded = tuple(max((s for s in share if s is not None), default=None) for share in shares)
    fitted = [piece for piece in pieces if piece.pair]
    alive = Counter(piece.alive for piece in fitted).most_common(1)[0][0] if fitted else ()
    used = [piece.pair for piece in fitted if piece.alive == alive and piece.pair]
    return Whole(
        start=first.start,
        end=pieces[-1].end,
        alive=alive,
        overloaded=overloaded,
        steps=tuple(max(piece.steps[i] for piece in pieces) for i in range(channels)),
        same_samples=all(piece.same_samples for piece in pieces),
        pair=_average(used) if used else None,
        notes=tuple(note for piece in pieces for note in piece.notes),
        channels=channels,
        moved_db=_moved_db([pair.fit for pair in used]),
    )


def _average(pairs: Sequence[FittedPair]) -> FittedPair:
    """Return the mean of fits, weighted with their samples.

    A product of order m, n turns with m times the low tone's phase and n times the high one's,
    so that it is averaged against both; noise turns at random and averages out.
    """
    if len(pairs) == 1:
        return pairs[0]
    fits = [pair.fit for pair in pairs]
    counts = np.array([fit.count for fit in fits], dtype=np.float64)
    share = counts / counts.sum()
    common = set.intersection(*({_orders(line) for line in fit.lines} for fit in fits))
    hum = [pair for pair in pairs if pair.mains]
    with_hum = hum if 2 * len(hum) >= len(pairs) else []
    shared_hum = (
        set.intersection(*(_hum_orders(pair.fit) for pair in with_hum)) if with_hum else set()
    )
    products = [
        orders for line in fits[0].lines if (orders := _orders(line)) in common and any(orders)
    ]
    leading = int(np.argmax(np.abs(_tones(fits[0])[1])))
    amplitudes = [
        sum(w * _against_tones(fit, orders, leading) for w, fit in zip(share, fits, strict=True))
        for orders in products
    ]
    more = (0,) if shared_hum else ()
    lines: list[Line] = [(*orders, *more) for orders in products]
    hz, hz_u = _mean_hz([fit.hz[:2] for fit in fits], [fit.hz_u[:2] for fit in fits])
    mains = None
    if shared_hum:
        orders_of_hum = tuple(sorted(shared_hum))
        lines += [(0, 0, order) for order in orders_of_hum]
        amplitudes += [
            np.sqrt(
                np.mean([np.abs(_line(pair.fit, (0, 0, order))) ** 2 for pair in with_hum], axis=0)
            ).astype(np.complex128)
            for order in orders_of_hum
        ]
        at, at_u = _mean_hz(
            [pair.fit.hz[2:] for pair in with_hum], [pair.fit.hz_u[2:] for pair in with_hum]
        )
        hz, hz_u = np.append(hz, at), np.append(hz_u, at_u)
        mains = Mains(float(at[0]), orders_of_hum, ())
    return FittedPair(
        LatticeFit(
            hz=hz,
            hz_u=hz_u,
            lines=tuple(lines),
            amplitudes=np.array(amplitudes),
            dc=share @ np.array([fit.dc for fit in fits]),
            residual=fits[0].residual,
            variance=share @ np.array([fit.variance for fit in fits]),
            rate_hz=fits[0].rate_hz,
            centre=fits[0].centre,
            count=int(counts.sum()),
        ),
        mains,
    )


def _orders(line: Line) -> tuple[int, int]:
    """Return how often the two tones are taken; (0, 0) for hum."""
    return line[0], line[1]


def _hum_orders(fit: LatticeFit) -> set[int]:
    return {line[2] for line in fit.lines if len(line) > 2 and line[2]}


def _line(fit: LatticeFit, line: Line) -> Complex:
    return np.asarray(fit.amplitudes[fit.lines.index(line)], dtype=np.complex128)


def _tones(fit: LatticeFit) -> tuple[Complex, Complex]:
    """Return the amplitudes of both tones by channel."""
    more = (0,) * (len(fit.hz) - 2)
    return _line(fit, (1, 0, *more)), _line(fit, (0, 1, *more))


def _against_tones(fit: LatticeFit, orders: tuple[int, int], leading: int) -> Complex:
    """Return a product's amplitude by channel, its phase taken against one channel's tones."""
    low, high = (tone[leading] / abs(tone[leading]) for tone in _tones(fit))
    turn = low ** orders[0] * high ** orders[1]
    more = (0,) * (len(fit.hz) - 2)
    return np.asarray(_line(fit, (*orders, *more)) * np.conj(turn))


def _mean_hz(each: Sequence[Array], each_u: Sequence[Array]) -> tuple[Array, Array]:
    weight = np.maximum(np.array(each_u), 1e-12) ** -2.0
    total = weight.sum(axis=0)
    return (weight * np.array(each)).sum(axis=0) / total, np.asarray(total**-0.5)


def _moved_db(fits: Sequence[LatticeFit]) -> tuple[float, ...]:
    """Return by column how far the level of the tone that moves more is apart between pieces."""
    if len(fits) < 2:
        return (0.0,) * (len(fits[0].dc) if fits else 0)
    levels = np.abs(np.array([_tones(fit) for fit in fits]))
    apart = levels.max(axis=0) / np.maximum(levels.min(axis=0), 1e-300)
    return tuple(20 * math.log10(float(most)) for most in apart.max(axis=0))
