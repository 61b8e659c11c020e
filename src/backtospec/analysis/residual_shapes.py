"""Shapes that known faults leave in a cycle, as harmonics aligned to the fundamental."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.waveforms import clipped_cosine_harmonics

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

Fault: TypeAlias = Literal[
    "crossover", "symmetric-clipping", "clipping-positive", "clipping-negative", "slewing", "bend"
]

_POINTS = 4096
_CUTS = (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.04, 0.07, 0.11, 0.16, 0.22, 0.3, 0.4, 0.5)
_EVEN_CUT = 0.25
#: Idle drop across one emitter resistor, and its peak drop at full output, in thermal volts.
_IDLE_DROPS = (0.01, 0.05, 0.15, 0.3, 0.5, 0.75, 1.0, 1.3, 1.7, 2.2, 3.0, 4.5)
_PEAK_DROPS = (2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0)
#: Load over emitter resistance: hardly shapes the residual.
_LOAD_RATIO = 30.0
_SLEW_RATIOS = (0.99, 0.98, 0.96, 0.93, 0.9, 0.85, 0.8, 0.75, 0.7, 0.6)
#: A cut or a slope limit fixes the size of what it leaves as well as its shape.
_SIZE_LIMITS = (0.5, 2.0)
_LOWEST_ORDERS = 3
_NEARLY_ALL = 0.9


@dataclass(frozen=True, slots=True)
class ShapeMatch:
    """How much of a residual one kind of fault explains.

    Parameters
    ----------
    fault
        Which kind; ``bend`` is a second and a third harmonic, no more.
    explained
        Share of the residual's power, 0…1, noise bias removed.
    """

    fault: Fault
    explained: float


def match_shapes(lines: Complex, noise_square: float) -> tuple[ShapeMatch, ...]:
    """Return every kind of fault with what it explains, the best first.

    Parameters
    ----------
    lines
        Aligned harmonics over the fundamental, orders 2, 3, …, shape (orders,): the fundamental
        is a cosine of phase 0.
    noise_square
        Mean square that noise adds to each of them.

    Notes
    -----
    Each kind is a family of computed waves. A wave explains the power of its projection; cut
    crests and limited slopes must also have the right size, within a factor of two. Crossover is
    also tried as it looks behind feedback that falls with frequency: each order times its number,
    a quarter turn ahead.
    """
    power = max(float(np.sum(np.abs(lines) ** 2)) - noise_square * len(lines), 1e-300)
    best: dict[Fault, float] = {}
    for fault, template in _templates(len(lines)):
        overlap = float(np.real(np.vdot(template, lines)))
        own = float(np.sum(np.abs(template) ** 2))
        size = overlap / own
        low, high = _SIZE_LIMITS if fault != "crossover" else (0.0, np.inf)
        if low < size < high:
            share = (overlap**2 / own - noise_square / 2) / power
            best[fault] = max(best.get(fault, 0.0), share)
    bend = float(np.sum(np.abs(lines[: _LOWEST_ORDERS - 1]) ** 2))
    best["bend"] = (bend - (_LOWEST_ORDERS - 1) * noise_square) / power
    found = [ShapeMatch(fault, float(np.clip(share, 0, 1))) for fault, share in best.items()]
    return tuple(sorted(found, key=lambda match: (not _cornered(match, best), -match.explained)))


def _cornered(match: ShapeMatch, best: Mapping[Fault, float]) -> bool:
    """Whether a shape has a right to be named before a plain bend that explains nearly all."""
    bend = best["bend"]
    if match.fault == "bend" or bend < _NEARLY_ALL:
        return True
    return match.fault != "crossover" and 1 - match.explained < 0.2 * (1 - bend)


@lru_cache(maxsize=16)
def _templates(count: int) -> tuple[tuple[Fault, Complex], ...]:
    """Return (kind, aligned harmonics of orders 2 to count + 1)."""
    found: list[tuple[Fault, Complex]] = list(_clipped(count))
    for idle in _IDLE_DROPS:
        for peak in _PEAK_DROPS:
            plain = aligned(_class_ab_cycle(idle, peak), count)
            behind_feedback = plain * 1j * np.arange(2, count + 2)
            found.extend((("crossover", plain), ("crossover", behind_feedback)))
    found.extend(("slewing", aligned(cycle, count)) for cycle in _slewed_cycles().T)
    return tuple(found)


def aligned(cycle: Array, count: int) -> Complex:
    """Return harmonics of orders 2 to count + 1 over the fundamental, which is turned to phase 0.

    Parameters
    ----------
    cycle
        One cycle, evenly sampled.
    count
        How many orders.
    """
    spectrum = np.fft.rfft(cycle)[1 : count + 2]
    turn = np.exp(-1j * np.angle(spectrum[0]) * np.arange(1, len(spectrum) + 1))
    return np.asarray((spectrum * turn)[1:] / abs(spectrum[0]))


def _clipped(count: int) -> list[tuple[Fault, Complex]]:
    cuts = np.array((0.0, *_CUTS))
    upper, lower = (side.ravel() for side in np.meshgrid(1 - cuts, 1 - cuts))
    _, lines = clipped_cosine_harmonics(upper, lower, list(range(1, count + 2)))
    found: list[tuple[Fault, Complex]] = []
    for u, low, column in zip(upper, lower, lines.T, strict=True):
        deeper = max(1 - u, 1 - low)
        if deeper > 0:
            even = abs(u - low) <= _EVEN_CUT * deeper
            side: Fault = "clipping-positive" if u < low else "clipping-negative"
            kind: Fault = "symmetric-clipping" if even else side
            found.append((kind, np.asarray(column[1:] / column[0], dtype=np.complex128)))
    return found


def _class_ab_cycle(idle: float, peak: float) -> Array:
    """Return a cycle of a complementary emitter follower driven by a cosine.

    Notes
    -----
    Two exponential junctions with emitter resistors: for the volts d between input and output,
    the halves carry x₁ and x₂ with ln(x/idle) + x − idle = ±d, all in thermal volts. Each is an
    omega function of Wright.
    """
    from scipy.special import wrightomega

    reach = peak + idle + 40.0
    drop = np.sinh(np.linspace(-1, 1, 4001) * np.arcsinh(reach))
    start = np.log(idle) + idle
    output = _LOAD_RATIO * (wrightomega(start + drop) - wrightomega(start - drop))
    angle = 2 * np.pi * np.arange(_POINTS) / _POINTS
    drive = _LOAD_RATIO * peak * np.cos(angle)
    return np.asarray(np.interp(drive, output + drop, output))


@lru_cache(maxsize=1)
def _slewed_cycles() -> Array:
    """Return cycles of a cosine whose slope is limited, shape (points, ratios)."""
    steps = 2 * np.pi / _POINTS
    most = np.array(_SLEW_RATIOS) * steps
    output = np.zeros(len(most))
    cycle = np.empty((_POINTS, len(most)))
    for _ in range(3):
        for at, wanted in enumerate(np.cos(steps * np.arange(_POINTS))):
            output = output + np.clip(wanted - output, -most, most)
            cycle[at] = output
    return cycle
