"""Where a recorded pair of tones runs clean: start, end, gaps, lost samples, overload."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.lattice_fit import fit_lattice, lattice_lines
from backtospec.analysis.notes import Note
from backtospec.analysis.quality import overload_fraction, quantisation_step, run_edges

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_SHORTEST_BLOCK_S = 0.01
_BLOCK_CYCLES = 3
_PLAYING = 0.7
#: A block whose level falls short of this may hold a little silence.
_FULL = 0.999
_SMALLEST_JUMP_RAD = math.radians(0.5)
#: Two tones never rest at zero; this many zeros on end are a gap.
_GAP_SAMPLES = 8
_REACH_BLOCKS = 6


@dataclass(frozen=True, slots=True)
class CleanPair:
    """The clean part of a recording of two tones.

    Parameters
    ----------
    start, end
        First sample of the tones and one past their last.
    positions
        Sample indices that one phase fits, without gaps of zeros.
    notes
        Gaps and lost samples.
    """

    start: int
    end: int
    positions: NDArray[np.int64]
    notes: tuple[Note, ...]


def find_clean_pair(samples: Array, rate_hz: float, hz: tuple[float, float]) -> CleanPair:
    """Return where two tones run clean; after lost samples, the longest stretch.

    Parameters
    ----------
    samples
        Shape (samples, channels), the channels that carry the tones.
    rate_hz, hz
        Sampling rate, and both tones to a few parts in ten thousand.
    """
    spacing_hz = min(hz[0], hz[1] - hz[0])
    block = math.ceil(max(_SHORTEST_BLOCK_S, _BLOCK_CYCLES / spacing_hz) * rate_hz)
    phasor = _phasors(samples, rate_hz, hz, min(block, len(samples)))
    first, last = _playing_blocks(phasor)
    start = first * block
    whole = last == len(phasor) and _plays_to_the_end(samples, rate_hz, hz, block, phasor)
    end = len(samples) if whole else last * block
    gaps = _gaps(samples[start:end], start)
    notes = [_gap_note(a, b, rate_hz) for a, b in gaps]
    clean = np.ones(len(phasor), dtype=bool)
    clean[:first] = clean[last:] = False
    for a, b in gaps:
        clean[a // block : (b - 1) // block + 1] = False
    breaks = []
    for before, after in _phase_breaks(phasor, np.flatnonzero(clean)):
        found = _locate_break(samples, rate_hz, hz, block, (before, after))
        if found is not None:
            breaks.append(found[0])
            notes.append(_break_note(*found, rate_hz))
    kept = np.ones(end - start, dtype=bool)
    for a, b in gaps:
        kept[max(a - 2 - start, 0) : b + 2 - start] = False
    # The located break may be a few samples off; keep clear of it.
    clear = block // 8
    inner = [edge for at in breaks for edge in (at - clear, at + clear)]
    pieces = list(pairwise([start, *inner, end]))[::2]
    a, b = max(pieces, key=lambda piece: int(kept[piece[0] - start : piece[1] - start].sum()))
    positions = a + np.flatnonzero(kept[a - start : b - start])
    return CleanPair(start, end, positions, tuple(notes))


def _phasors(samples: Array, rate_hz: float, hz: tuple[float, float], block: int) -> Complex:
    """Return both tones in blocks against steady carriers, shape (blocks, tones, channels)."""
    inside = np.arange(block) - (block - 1) / 2
    turns = np.exp(2j * np.pi * np.outer(hz, inside) / rate_hz)
    columns = np.stack([*turns.real, *turns.imag, np.ones(block), inside / block], axis=1)
    count = len(samples) // block
    blocks = samples[: count * block].reshape(count, block, -1)
    parts = np.einsum("pn,bnc->bpc", np.linalg.pinv(columns)[:4], blocks)
    cycles = np.outer(np.arange(count) * block + (block - 1) / 2, hz) / rate_hz
    carriers = np.exp(-2j * np.pi * (cycles - np.round(cycles)))
    return np.asarray((parts[:, :2] - 1j * parts[:, 2:]) * carriers[:, :, None])


def _playing_blocks(phasor: Complex) -> tuple[int, int]:
    """Return the blocks (first, one past the last) in which the tones have their full level."""
    level = np.sqrt(np.sum(np.abs(phasor) ** 2, axis=(1, 2)))
    usual = float(np.median(level[level > 0.3 * level.max()]))
    playing = np.flatnonzero(level > _PLAYING * usual)
    first, last = int(playing[0]), int(playing[-1]) + 1
    # A block at the edge of silence may hold the tones only in part.
    if (first > 0 or level[0] < _FULL * usual) and last - first > 3:
        first += 1
    if (last < len(level) or level[-1] < _FULL * usual) and last - first > 3:
        last -= 1
    return first, last


def _plays_to_the_end(
    samples: Array, rate_hz: float, hz: tuple[float, float], block: int, phasor: Complex
) -> bool:
    """Return whether the samples beyond the last whole block hold the tones at full level too."""
    if len(samples) == len(phasor) * block or len(phasor) <= 3:
        return True
    level = np.sqrt(np.sum(np.abs(phasor) ** 2, axis=(1, 2)))
    rest = _phasors(samples[-block:], rate_hz, hz, block)[0]
    return bool(np.sqrt(np.sum(np.abs(rest) ** 2)) >= _FULL * float(np.median(level)))


def _gaps(samples: Array, start: int) -> list[tuple[int, int]]:
    """Return runs of exact zeros in any channel, merged."""
    silent = np.any(samples == 0.0, axis=1)
    found = []
    for a, b in zip(*run_edges(silent), strict=True):
        if b - a >= _GAP_SAMPLES and np.any(np.all(samples[a:b] == 0.0, axis=0)):
            found.append((int(a) + start, int(b) + start))
    return found


def _gap_note(a: int, b: int, rate_hz: float) -> Note:
    text = (
        f"{(b - a) / rate_hz * 1e3:.1f} ms of zeros at {a / rate_hz:.3f} s. Figures come from "
        "the clean stretches."
    )
    return Note("dropout", text, at_s=a / rate_hz)


def _break_note(at: int, jump: float, rate_hz: float) -> Note:
    text = (
        f"Samples are missing at {at / rate_hz:.3f} s: the phase of the low tone jumps by "
        f"{math.degrees(jump):+.1f}°. Figures come from the longest clean stretch."
    )
    return Note("lost-samples", text, at_s=at / rate_hz, phase_jump_deg=math.degrees(jump))


def _phase_breaks(phasor: Complex, clean: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Return (last block before, first block after) of every suspected jump of either phase."""
    if len(clean) < 5:
        return []
    suspect = np.zeros(len(clean) - 2, dtype=bool)
    for tone in range(2):
        there = phasor[clean, tone]
        # The carrier is not quite the tone: what turns evenly is no jump.
        turn = np.angle(np.sum(there[1:] * there[:-1].conj(), axis=1))[np.diff(clean) == 1]
        even = np.exp(-1j * float(np.median(turn)) * clean) if len(turn) else 1.0
        there = there * np.reshape(even, (-1, 1))
        across = np.angle(np.sum(there[2:] * there[:-2].conj(), axis=1))
        across = across - np.median(across)
        scatter = 1.4826 * float(np.median(np.abs(across)))
        suspect |= np.abs(across) > max(8 * scatter, _SMALLEST_JUMP_RAD)
    breaks: list[tuple[int, int]] = []
    for at in np.flatnonzero(suspect):
        before, after = int(clean[at]), int(clean[at + 2])
        if breaks and before <= breaks[-1][1]:
            breaks[-1] = (breaks[-1][0], after)
        else:
            breaks.append((before, after))
    return breaks


def _locate_break(
    samples: Array, rate_hz: float, hz: tuple[float, float], block: int, around: tuple[int, int]
) -> tuple[int, float] | None:
    """Return (sample, jump of the low tone in radians) of lost samples, or ``None`` for none.

    Both sides are carried on towards each other; the break is where changing from one to the
    other leaves the least.
    """
    before, after = around
    reach = _REACH_BLOCKS * block
    earlier = np.arange(max(0, before * block - reach), before * block)
    later = np.arange((after + 1) * block, min(len(samples), (after + 1) * block + reach))
    if min(len(earlier), len(later)) < block:
        return None
    region = np.arange(before * block, (after + 1) * block, dtype=float)
    lines = lattice_lines(hz, rate_hz, block, (1, 1, 1))
    start_hz = np.array(hz)
    # From whichever side is longer: a short side cannot tell the frequency well enough.
    longer = earlier if len(earlier) >= len(later) else later
    exact = fit_lattice(samples[longer], longer.astype(float), rate_hz, start_hz, lines).hz
    sides = [
        fit_lattice(samples[side], side.astype(float), rate_hz, exact, lines, free=False)
        for side in (earlier, later)
    ]
    worse = [
        np.sum((samples[region.astype(int)] - side.wave(region)) ** 2, axis=1) for side in sides
    ]
    jumps = []
    for line in ((1, 0), (0, 1)):
        held = [side.line(line) for side in sides]
        if held[0] is None or held[1] is None:
            return None
        cycles = float(np.array(line) @ exact) * (sides[1].centre - sides[0].centre) / rate_hz
        carried = held[0] * np.exp(2j * np.pi * (cycles - round(cycles)))
        jumps.append(float(np.angle(np.sum(held[1] * carried.conj()))))
    if max(abs(jump) for jump in jumps) < _SMALLEST_JUMP_RAD:
        return None
    cost = np.concatenate(([0.0], np.cumsum(worse[0] - worse[1])))
    return int(region[0]) + int(np.argmin(cost)), jumps[0]


def rail_fraction(samples: Array, cycle_samples: float) -> float:
    """Return the share of samples on a converter's rail; 0 when it did not overload.

    Parameters
    ----------
    samples
        One channel of two tones, shape (samples,).
    cycle_samples
        Samples per cycle of the high tone.

    Notes
    -----
    Where one tone rests a while at its crest, two tones hardly ever meet at theirs: beside what
    :func:`~backtospec.analysis.quality.overload_fraction` finds, any crowd of equal samples at
    the very end of the scale is the converter's.
    """
    share = overload_fraction(samples, cycle_samples)
    if share > 0:
        return share
    step = max(quantisation_step(samples), 2.0**-22)
    crowd = 0
    for signed in (samples, -samples):
        top = float(signed.max(initial=0.0))
        at_rail = int(np.sum(signed >= top - step / 2))
        # Density of the sum of two sines near its peak, at most 0.7 for the ratios in use.
        if top >= 1 - 2.0**-15 and at_rail > 20 + 4 * step * len(samples):
            crowd += at_rail
    return crowd / len(samples)
