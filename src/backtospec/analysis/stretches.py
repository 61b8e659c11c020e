"""Where a recorded tone runs clean: its start and end, gaps of zeros, lost samples, a thump."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.line_fit import Family, LineFit, fit_lines
from backtospec.analysis.notes import Note
from backtospec.analysis.quality import quantisation_step, run_edges

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_SHORTEST_BLOCK_S = 0.004
_BLOCK_CYCLES = 4
_SMALLEST_JUMP_RAD = np.radians(0.4)


@dataclass(frozen=True, slots=True)
class Envelope:
    """The tone in short blocks: complex amplitude against a steady carrier.

    Parameters
    ----------
    block
        Samples per block.
    phasor
        Shape (blocks, channels), phase relative to ``hz`` counted from sample 0.
    hz
        The carrier.
    """

    block: int
    phasor: Complex
    hz: float


@dataclass(frozen=True, slots=True)
class Stretches:
    """Clean stretches of a tone.

    Parameters
    ----------
    start, end
        First sample of the tone and one past its last.
    groups
        Stretches (first, one past the last sample); within a group time runs on unbroken, so
        one phase fits all of it. Samples were lost between groups.
    notes
        Gaps, lost samples and thump.
    """

    start: int
    end: int
    groups: tuple[tuple[tuple[int, int], ...], ...]
    notes: tuple[Note, ...]

    @property
    def longest(self) -> NDArray[np.int64]:
        """Sample indices of the group that holds the most samples."""
        group = max(self.groups, key=lambda g: sum(b - a for a, b in g))
        return np.concatenate([np.arange(a, b) for a, b in group])


def demodulate(samples: Array, rate_hz: float, hz: float) -> Envelope:
    """Return the tone's complex amplitude in blocks of four cycles or more.

    Parameters
    ----------
    samples
        Shape (samples, channels).
    hz
        Carrier, near the tone.
    """
    block = int(np.ceil(max(_SHORTEST_BLOCK_S, _BLOCK_CYCLES / hz) * rate_hz))
    block = min(block, len(samples))
    count = len(samples) // block
    inside = np.arange(block) - (block - 1) / 2
    turn = np.exp(2j * np.pi * hz * inside / rate_hz)
    columns = np.stack([turn.real, turn.imag, np.ones(block), inside / block], axis=1)
    inverse = np.linalg.pinv(columns)[:2]
    blocks = samples[: count * block].reshape(count, block, -1)
    parts = np.einsum("pn,bnc->pbc", inverse, blocks)
    centres = np.arange(count) * block + (block - 1) / 2
    cycles = hz * centres / rate_hz
    carrier = np.exp(-2j * np.pi * (cycles - np.round(cycles)))
    return Envelope(block, (parts[0] - 1j * parts[1]) * carrier[:, None], hz)


def find_stretches(samples: Array, rate_hz: float, hz: float) -> Stretches:
    """Return where the tone runs clean.

    Parameters
    ----------
    samples
        Shape (samples, channels), the channels that carry a tone.
    rate_hz, hz
        Sampling rate, and the tone to a few parts in ten thousand.
    """
    envelope = demodulate(samples, rate_hz, hz)
    first, last = _playing_blocks(envelope)
    start = first * envelope.block
    end = len(samples) if last == len(envelope.phasor) else last * envelope.block
    gaps, notes = _gaps(samples, rate_hz, envelope, start, end)
    clean = _clean_blocks(envelope, first, last, gaps)
    envelope = _follow_frequency(envelope, clean, rate_hz)
    breaks = []
    for before, after in _phase_breaks(envelope, clean):
        found = _locate_break(samples, rate_hz, envelope, before, after)
        if found is not None:
            at, jump = found
            breaks.append(at)
            notes.append(
                Note(
                    "lost-samples",
                    f"Samples are missing at {at / rate_hz:.3f} s: the phase jumps by "
                    f"{np.degrees(jump):+.1f}°. Figures come from the clean stretches.",
                    at_s=at / rate_hz,
                    phase_jump_deg=float(np.degrees(jump)),
                )
            )
    groups = _groups(start, end, gaps, breaks, envelope.block)
    return Stretches(start, end, groups, tuple(notes))


def _playing_blocks(envelope: Envelope) -> tuple[int, int]:
    """Return the blocks (first, one past the last) in which the tone has its full level."""
    level = np.sqrt(np.sum(np.abs(envelope.phasor) ** 2, axis=1))
    usual = float(np.median(level[level > 0.3 * level.max()]))
    playing = np.flatnonzero(level > 0.7 * usual)
    first, last = int(playing[0]), int(playing[-1]) + 1
    change = np.abs(np.diff(level)) / usual
    if not len(change):
        return first, last
    quiet = max(0.002, 8 * float(np.median(change[first : max(last - 1, first + 1)], axis=0)))
    if first > 0:
        while first < last - 3 and change[first] > quiet:
            first += 1
        first += 1 if first < last - 3 else 0
    if last < len(level):
        while last > first + 3 and change[last - 2] > quiet:
            last -= 1
        last -= 1 if last > first + 3 else 0
    return first, last


def _gaps(
    samples: Array, rate_hz: float, envelope: Envelope, start: int, end: int
) -> tuple[list[tuple[int, int]], list[Note]]:
    """Return runs of exact zeros where the tone should have been heard, and their notes."""
    smallest = max(2 * quantisation_step(samples[start:end]), 2.0**-22)
    level = np.abs(envelope.phasor)
    usual = np.median(level[level.sum(axis=1) > 0.3 * level.sum(axis=1).max()], axis=0)
    found: list[tuple[int, int]] = []
    for channel in range(samples.shape[1]):
        starts, ends = run_edges(samples[start:end, channel] == 0.0)
        long = ends - starts >= 4
        for a, b in zip(starts[long] + start, ends[long] + start, strict=True):
            # The sine moves on by this much over half the run, at the least.
            half_turn = min((b - a) / 2 * envelope.hz / rate_hz, 0.25) * 2 * np.pi
            if usual[channel] * np.sin(half_turn) > max(smallest, 0.05 * usual[channel]):
                found.append((int(a), int(b)))
    merged: list[tuple[int, int]] = []
    for a, b in sorted(found):
        if merged and a <= merged[-1][1] + 1:
            merged[-1] = (merged[-1][0], max(b, merged[-1][1]))
        else:
            merged.append((a, b))
    notes = [
        Note(
            "dropout",
            f"{(b - a) / rate_hz * 1e3:.1f} ms of zeros at {a / rate_hz:.3f} s. Figures come "
            "from the clean stretches.",
            at_s=a / rate_hz,
        )
        for a, b in merged
    ]
    return merged, notes


def _clean_blocks(
    envelope: Envelope, first: int, last: int, gaps: list[tuple[int, int]]
) -> NDArray[np.int64]:
    clean = np.zeros(len(envelope.phasor), dtype=bool)
    clean[first:last] = True
    for a, b in gaps:
        clean[a // envelope.block : (b - 1) // envelope.block + 1] = False
    return np.flatnonzero(clean)


def _follow_frequency(envelope: Envelope, clean: NDArray[np.int64], rate_hz: float) -> Envelope:
    """Return the envelope against a carrier moved onto the tone."""
    phasor = envelope.phasor[clean]
    follow = np.diff(clean) == 1
    turns = np.angle(np.sum(phasor[1:] * phasor[:-1].conj(), axis=1))[follow]
    turn = float(np.median(turns)) if len(turns) else 0.0
    shift_hz = turn / (2 * np.pi) * rate_hz / envelope.block
    centres = np.arange(len(envelope.phasor)) * envelope.block + (envelope.block - 1) / 2
    carrier = np.exp(-2j * np.pi * shift_hz * centres / rate_hz)
    return Envelope(envelope.block, envelope.phasor * carrier[:, None], envelope.hz + shift_hz)


def _phase_breaks(envelope: Envelope, clean: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Return (last block before, first block after) of every suspected jump of phase."""
    if len(clean) < 5:
        return []
    phasor = envelope.phasor[clean]
    across = np.angle(np.sum(phasor[2:] * phasor[:-2].conj(), axis=1))
    across = across - np.median(across)
    scatter = 1.4826 * float(np.median(np.abs(across)))
    suspect = np.flatnonzero(np.abs(across) > max(8 * scatter, _SMALLEST_JUMP_RAD))
    breaks: list[tuple[int, int]] = []
    for at in suspect:
        before, after = int(clean[at]), int(clean[at + 2])
        if breaks and before <= breaks[-1][1]:
            breaks[-1] = (breaks[-1][0], after)
        else:
            breaks.append((before, after))
    return breaks


def _locate_break(
    samples: Array, rate_hz: float, envelope: Envelope, before: int, after: int
) -> tuple[int, float] | None:
    """Return (sample, jump in radians) of lost samples, or ``None`` when the phase holds on.

    Both sides are carried on towards each other; the break is where changing from one to the
    other leaves the least.
    """
    block = envelope.block
    reach = max(16 * block, int(0.06 * rate_hz))
    earlier = (max(0, before * block - reach), before * block)
    later = ((after + 1) * block, min(len(samples), (after + 1) * block + reach))
    if earlier[1] - earlier[0] < 2 * block or later[1] - later[0] < 2 * block:
        return None
    region = np.arange(before * block, (after + 1) * block, dtype=float)
    left, jump_from = _carried_on(samples, rate_hz, envelope.hz, earlier, region)
    right, jump_to = _carried_on(samples, rate_hz, envelope.hz, later, region)
    jump = float(np.angle(np.sum(jump_to * jump_from.conj())))
    if abs(jump) < _SMALLEST_JUMP_RAD:
        return None
    here = samples[region.astype(int)]
    worse = np.sum((here - left) ** 2 - (here - right) ** 2, axis=1)
    cost = np.concatenate(([0.0], np.cumsum(worse)))
    return int(region[0]) + int(np.argmin(cost)), jump


def _carried_on(
    samples: Array, rate_hz: float, hz: float, stretch: tuple[int, int], region: Array
) -> tuple[Array, Complex]:
    """Return the tone of one stretch extrapolated, and its phasors at the region's centre."""
    most = max(1, min(8, int(0.45 * rate_hz / hz)))
    orders = tuple(range(1, most + 1))
    positions = np.arange(*stretch, dtype=float)
    fit = fit_lines(samples[slice(*stretch)], positions, rate_hz, (Family(hz, orders, free=False),))
    lines = fit.amplitudes[0]
    turn = np.exp(2j * np.pi * hz * (region - fit.centre) / rate_hz)
    powers = turn[:, None] ** np.array(orders)
    middle = np.exp(2j * np.pi * hz * (region.mean() - fit.centre) / rate_hz)
    return np.real(powers @ lines) + fit.dc, lines[0] * middle


def _groups(
    start: int, end: int, gaps: list[tuple[int, int]], breaks: list[int], block: int
) -> tuple[tuple[tuple[int, int], ...], ...]:
    edges = [start, *sorted(breaks), end]
    groups = []
    for left, right in pairwise(edges):
        # The located break may be a few samples off; keep clear of it.
        a = left + (block // 4 if left != start else 0)
        b = right - (block // 4 if right != end else 0)
        pieces = []
        for gap_start, gap_end in gaps:
            if a < gap_start < b:
                pieces.append((a, gap_start - 2))
            if a < gap_end < b:
                a = gap_end + 2
        pieces.append((a, b))
        kept = tuple((x, y) for x, y in pieces if y - x > 2)
        if kept:
            groups.append(kept)
    return tuple(groups)


def thump_end(fit: LineFit, rate_hz: float) -> int:
    """Return how many samples at the start a transient spoils; 0 where there is none.

    Parameters
    ----------
    fit
        The tone already removed; its residual starts at the start of the tone.
    """
    block = max(32, int(0.01 * rate_hz))
    count = len(fit.residual) // block
    if count < 10:
        return 0
    blocks = fit.residual[: count * block].reshape(count, block, -1)
    rms = np.sqrt(np.mean(blocks**2, axis=(1, 2)))
    usual = float(np.median(rms))
    scatter = 1.4826 * float(np.median(np.abs(rms - usual)))
    loud = float(np.sqrt(np.sum(np.abs(fit.amplitudes[0][0]) ** 2)))
    if rms[0] < max(4 * usual, usual + 10 * scatter, 3e-5 * loud):
        return 0
    calm = rms <= max(1.5 * usual, usual + 4 * scatter)
    settled = np.flatnonzero(calm[:-1] & calm[1:])
    blocks_spoiled = int(settled[0]) + 1 if len(settled) else 0
    return blocks_spoiled * block if blocks_spoiled < 0.7 * count else 0
