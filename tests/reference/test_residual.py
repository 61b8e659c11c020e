"""The average residual of a cycle, and the shape it is named after, on synthesised faults."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.document import as_document
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.residual import ResidualCycle, average_residual, read_cycle
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import analyse_tone
from backtospec.analysis.tone_fit import fit_tone
from backtospec.analysis.waveforms import clipped_wave, harmonic_wave, phase_cycles, white_noise
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Chance = np.random.Generator
ANGLE = 2 * np.pi * np.arange(8192) / 8192


def read(wave: Array, hz: float, rate_hz: float, mains_hz: float | None = None) -> ResidualCycle:
    positions = np.arange(len(wave), dtype=float)
    fitted = fit_tone(wave[:, None], positions, rate_hz, hz, mains_hz)
    return average_residual(fitted, 0, rate_hz)


def recorded(
    cycle: Array, chance: Chance, seconds: float = 0.3, behind_feedback: bool = False
) -> tuple[Array, float, float]:
    """One cycle repeated at a chance pitch, level and phase, band-limited, with noise and DC."""
    rate_hz = float(chance.choice([44_100, 48_000, 96_000]))
    hz = float(chance.uniform(250, 1300))
    lines = np.fft.rfft(cycle)
    lines = lines / abs(lines[1])
    if behind_feedback:
        fundamental = lines[1]
        lines = lines * 0.02j * np.arange(len(lines))
        lines[1] = fundamental
    most = min(len(lines) - 1, int(0.46 * rate_hz / hz))
    frames = round(seconds * rate_hz)
    cycles = phase_cycles(frames, rate_hz, hz, float(chance.uniform()))
    wave = harmonic_wave(cycles, {k: complex(lines[k]) for k in range(1, most + 1)})
    level = float(chance.uniform(0.1, 0.7))
    noise = white_noise(
        frames, level * 10 ** chance.uniform(-5.3, -4.6), int(chance.integers(10**9))
    )
    return level * wave + noise + float(chance.uniform(-1e-3, 1e-3)), hz, rate_hz


def class_ab(chance: Chance) -> Array:
    """Two exponential junctions with emitter resistors, solved by bisection; volts in V_T."""
    idle, peak, load = 10 ** chance.uniform(-2, -0.3), 10 ** chance.uniform(0.8, 2), 36.0
    drop = np.sinh(np.linspace(-1, 1, 3001) * np.arcsinh(peak + 60))

    def current(volts: Array) -> Array:
        low, high = np.full_like(volts, -700.0), np.full_like(volts, np.log(peak + 100))
        for _ in range(60):
            middle = (low + high) / 2
            above = middle - np.log(idle) + np.exp(middle) - idle > volts
            low, high = np.where(above, low, middle), np.where(above, middle, high)
        return np.asarray(np.exp((low + high) / 2))

    output = load * (current(drop) - current(-drop))
    return np.asarray(np.interp(load * peak * np.sin(ANGLE), output + drop, output))


def notch(chance: Chance) -> Array:
    """A step at the zero crossing, as wide as a few percent of the swing."""
    wave = np.sin(ANGLE)
    size, width = 10 ** chance.uniform(-3.5, -2), 10 ** chance.uniform(-2.5, -1.2)
    return np.asarray(wave - size * np.tanh(wave / width))


def cut(upper: float, lower: float, sharpness: float) -> Array:
    """A sine that approaches its limits along a knee of given sharpness."""
    wave = np.sin(ANGLE)
    limit = np.where(wave > 0, upper, lower)
    return np.asarray(wave / (1 + np.abs(wave / limit) ** sharpness) ** (1 / sharpness))


def hard_cut(upper: float, lower: float) -> Array:
    return np.asarray(np.clip(np.sin(ANGLE), -lower, upper))


def slewed(chance: Chance) -> Array:
    """A sine whose slope is limited, in steady state."""
    step = ANGLE[1]
    most = float(chance.uniform(0.65, 0.97)) * step
    output, cycle = 0.0, np.empty_like(ANGLE)
    for _ in range(2):
        for at, wanted in enumerate(np.sin(ANGLE)):
            output += min(max(wanted - output, -most), most)
            cycle[at] = output
    return cycle


def bent(chance: Chance) -> Array:
    """A smooth curve: second and third order, and a little of the fourth and fifth."""
    wave = np.sin(ANGLE)
    a, b = (float(chance.choice([-1, 1])) * 10 ** chance.uniform(-3.5, -1.7) for _ in range(2))
    c, d = 0.15 * a * chance.uniform(-1, 1), 0.15 * b * chance.uniform(-1, 1)
    return np.asarray(wave + a * wave**2 + b * wave**3 + c * wave**4 + d * wave**5)


def both_sides(chance: Chance) -> Array:
    limit = 1 - 10 ** chance.uniform(-2.5, -0.6)
    return hard_cut(limit, limit)


def both_sides_softly(chance: Chance) -> Array:
    limit = float(chance.uniform(0.75, 0.97))
    return cut(limit, limit, float(chance.uniform(25, 60)))


FAULTS: dict[str, tuple[str, Callable[[Chance], Array]]] = {
    "class AB": ("crossover", class_ab),
    "notch": ("crossover", notch),
    "both sides": ("symmetric-clipping", both_sides),
    "both sides, soft": ("symmetric-clipping", both_sides_softly),
    "upper": ("clipping-positive", lambda c: hard_cut(1 - 10 ** c.uniform(-2.5, -0.7), 1.0)),
    "lower": ("clipping-negative", lambda c: hard_cut(1.0, 1 - 10 ** c.uniform(-2.5, -0.7))),
    "slope": ("slewing", slewed),
    "bend": ("bend", bent),
}


def shape_of(kind: str, seed: int) -> ResidualCycle:
    expected, make = FAULTS[kind]
    chance = np.random.default_rng([seed, sum(kind.encode())])
    behind_feedback = expected == "crossover" and seed % 2 == 1
    return read(*recorded(make(chance), chance, behind_feedback=behind_feedback))


@pytest.mark.parametrize("kind", FAULTS)
@pytest.mark.parametrize("seed", [0, 1])
def test_faults_are_named(kind: str, seed: int) -> None:
    found = shape_of(kind, seed)
    assert found.shape == FAULTS[kind][0], found.evidence
    assert found.sure
    assert found.confidence > 0.9


@pytest.mark.campaign
@pytest.mark.parametrize("kind", FAULTS)
@pytest.mark.parametrize("seed", range(2, 40))
def test_many_faults_are_named(kind: str, seed: int) -> None:
    found = shape_of(kind, seed)
    assert found.shape == FAULTS[kind][0], found.evidence


@pytest.mark.parametrize("hz", [997.03, 1000.0, 12_000 / 7])
def test_the_average_is_the_closed_form_at_every_phase(hz: float) -> None:
    rate_hz, frames = 48_000, 24_000
    cycles = phase_cycles(frames, rate_hz, hz, 0.3)
    lines = {2: 1e-3 * np.exp(0.4j), 3: 5e-4j, 9: -2e-4 + 0j}
    wave = 0.5 * harmonic_wave(cycles, {1: 1.0, **lines}) + white_noise(frames, 1e-4, 11)
    found = read(wave, hz, rate_hz)
    expected = harmonic_wave(found.phase_deg / 360 - 0.25, lines)
    pull = (found.residual - expected) / found.residual_u
    assert len(pull) == 256
    assert np.max(np.abs(pull)) < 4.5
    assert 0.6 < np.std(pull) < 1.4
    thd_percent = 100 * math.sqrt(1e-6 + 2.5e-7 + 4e-8)
    assert found.locked_percent == pytest.approx(thd_percent, rel=0.01)
    assert found.noise_percent == pytest.approx(100 * 1e-4 * math.sqrt(2) / 0.5, rel=0.02)


def test_both_sides_of_a_wave_are_told_apart() -> None:
    cycles = phase_cycles(24_000, 48_000, 700.3, 0.1)
    wave = clipped_wave(cycles, 0.5, 0.45, 0.6, 30) + white_noise(24_000, 1e-5, 3)
    upper, lower = read(wave, 700.3, 48_000), read(-wave, 700.3, 48_000)
    assert (upper.shape, lower.shape) == ("clipping-positive", "clipping-negative")
    assert upper.phase_deg[np.argmin(upper.residual)] == pytest.approx(90, abs=2)
    assert lower.phase_deg[np.argmax(lower.residual)] == pytest.approx(270, abs=2)


@pytest.mark.parametrize("seed", range(4))
def test_hum_is_not_distortion(seed: int) -> None:
    chance = np.random.default_rng(seed)
    frames, rate_hz = 48_000, 48_000
    hz, mains_hz = float(chance.uniform(300, 1500)), float(chance.choice([50, 60])) * 1.0003
    time = np.arange(frames) / rate_hz
    hum = sum(
        10 ** chance.uniform(-3, -2) * np.cos(2 * np.pi * k * mains_hz * time) for k in (1, 2)
    )
    wave = 0.5 * harmonic_wave(time * hz, {1: 1.0, 2: 3e-4}) + white_noise(frames, 1e-5, seed)
    found = read(wave + hum, hz, rate_hz)
    assert found.shape == "hum"
    assert found.locked_shape == "bend"
    assert "Beneath it: a smooth bend" in found.text
    assert read(wave, hz, rate_hz).hum_percent == 0


@pytest.mark.parametrize("seed", range(4))
def test_noise_holds_no_shape(seed: int) -> None:
    chance = np.random.default_rng(seed)
    hz = float(chance.uniform(300, 3000))
    cycles = phase_cycles(12_000, 48_000, hz, float(chance.uniform()))
    found = read(0.5 * np.cos(2 * np.pi * cycles) + white_noise(12_000, 1e-4, seed), hz, 48_000)
    assert found.shape == found.locked_shape == "noise"
    assert found.locked_percent == 0
    assert found.confidence > 0.99


def test_a_high_tone_shows_no_shape() -> None:
    cycles = phase_cycles(24_000, 48_000, 7000.3)
    wave = 0.5 * harmonic_wave(cycles, {1: 1.0, 2: 1e-3, 3: 1e-3}) + white_noise(24_000, 1e-5, 3)
    found = read(wave, 7000.3, 48_000)
    assert found.shape == "unclear"
    assert any("too few harmonics" in line for line in found.evidence)


def test_a_stretch_of_samples_is_read_by_itself() -> None:
    """What a ramp or a check calls for the stretch it has chosen."""
    cycles = phase_cycles(14_400, 48_000, 997.03, 0.4)
    wave = clipped_wave(cycles, 0.6, 0.57, 0.57, 21) + white_noise(14_400, 3e-6, 5)
    found = read_cycle(wave, 48_000, 997.0)
    assert (found.shape, found.sure) == ("symmetric-clipping", True)
    one_side = clipped_wave(cycles, 0.6, 0.6, 0.5, 21) + white_noise(14_400, 3e-6, 6)
    assert read_cycle(one_side, 48_000, 997.0).shape == "clipping-negative"
    with pytest.raises(BenchError, match="8 cycles"):
        read_cycle(wave[:300], 48_000, 997.0)
    with pytest.raises(BenchError, match="nominal"):
        read_cycle(wave, 48_000, 3000.0)


def test_the_residual_of_a_tone_stands_in_its_document_in_volts() -> None:
    cycles = phase_cycles(48_000, 48_000, 997.03, 0.4)
    wave = 0.5 * harmonic_wave(cycles, {1: 1.0, 3: 1e-3})
    samples = (wave + white_noise(48_000, 1e-6, 5))[:, None]
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0)
    document = as_document(analyse_tone(samples, FileFacts(48_000, 48_000, 24), setup))
    cycle = document["channels"]["M"]["cycle"]
    phase = np.deg2rad(cycle["phase_deg"])
    assert len(phase) <= 256
    assert cycle["fundamental"] == pytest.approx(np.sin(phase).tolist(), abs=1e-12)
    # A third harmonic of 20 mV: a cosine three times as fast that stands on the crest.
    third = 0.02 * np.cos(3 * (phase - np.pi / 2))
    assert cycle["residual_v"] == pytest.approx(third.tolist(), abs=5e-5)
    assert max(cycle["residual_v_u"]) < 2e-5
    assert cycle["shape"] == "bend"
    assert cycle["evidence"]
