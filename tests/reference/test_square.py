"""Square waves through filters in closed form: rise, slew, overshoot, ringing, tilt, limits."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis import document_parts
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.square import ChannelSquare, analyse_square, document_of
from backtospec.analysis.waveforms import white_noise
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
VOLTS = 40.0


def square(
    response: Callable[[Complex], Complex],
    hz: float = 1000.21,
    rate_hz: int = 192_000,
    amplitude: float = 0.4,
    seconds: float = 0.5,
    noise: float = 1e-5,
) -> Array:
    """A band-limited square of ±amplitude through a filter given as a function of s."""
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = white_noise(len(time), noise, 4) + 2e-3
    for order in range(1, int(0.49 * rate_hz / hz) + 1, 2):
        gain = complex(response(np.array(2j * np.pi * order * hz)))
        turn = np.exp(2j * np.pi * ((order * hz * time + order * 0.17) % 1.0))
        wave = wave + amplitude * 4 / (np.pi * order) * np.imag(gain * turn)
    return np.asarray(wave)


def analyse(wave: Array, hz: float = 1000.0, rate_hz: int = 192_000) -> ChannelSquare:
    setup = CaptureSetup(full_scale_volts=(VOLTS,), load_ohm=(8.0,), nominal_hz=hz)
    file = FileFacts(len(wave), rate_hz, 24)
    return analyse_square(wave[:, None], file, setup).channels["M"]


def one_pole(corner_hz: float) -> Callable[[Complex], Complex]:
    return lambda s: np.asarray(1 / (1 + s / (2 * np.pi * corner_hz)))


@pytest.mark.parametrize("corner_hz", [6_000.0, 12_000.0, 20_000.0])
def test_rise_time_and_slew_of_one_pole(corner_hz: float) -> None:
    found = analyse(square(one_pole(corner_hz)))
    assert found.step_v == pytest.approx(0.8 * VOLTS, rel=0.002)
    expected = math.log(9) / (2 * np.pi * corner_hz)
    for edge in (found.rising, found.falling):
        assert edge is not None
        assert edge.time_s == pytest.approx(expected, rel=0.04)
        assert edge.overshoot_percent == pytest.approx(0, abs=0.6)
        assert edge.ringing_hz is None
    assert found.tilt_percent == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize("rate_hz", [48_000, 96_000, 192_000])
def test_an_edge_as_fast_as_the_recorder_is_a_bound(rate_hz: int) -> None:
    found = analyse(square(lambda s: np.ones_like(s), rate_hz=rate_hz), rate_hz=rate_hz)
    edge = found.rising
    assert edge is not None
    assert edge.time_s is None
    assert edge.slew_v_per_us is None
    assert edge.overshoot_percent is None
    assert edge.time_s_at_most == pytest.approx(0.45 / (0.49 * rate_hz), rel=0.1)
    assert edge.slew_v_per_us_at_least is not None
    assert edge.overshoot_percent_at_most == pytest.approx(9, abs=1.5)
    assert edge.ringing_hz is None


@pytest.mark.parametrize("damping", [0.2, 0.4, 0.6])
def test_overshoot_and_ringing_of_two_poles(damping: float) -> None:
    natural = 2 * np.pi * 12_000.0

    def two_poles(s: Complex) -> Complex:
        return np.asarray(1 / (1 + 2 * damping * s / natural + (s / natural) ** 2))

    found = analyse(square(two_poles))
    edge = found.rising
    assert edge is not None
    root = math.sqrt(1 - damping**2)
    overshoot = 100 * math.exp(-math.pi * damping / root)
    assert edge.overshoot_percent == pytest.approx(overshoot, rel=0.03, abs=0.7)
    if damping < 0.5:
        assert edge.ringing_hz == pytest.approx(12_000 * root, rel=0.03)
        assert edge.ringing_peaks >= 3


@pytest.mark.parametrize("cut_hz", [3.0, 10.0, 30.0])
def test_tilt_of_a_low_cut(cut_hz: float) -> None:
    corner = 2 * np.pi * cut_hz
    smooth = one_pole(15_000.0)
    found = analyse(square(lambda s: np.asarray(s / (s + corner) * smooth(s))))
    expected = 100 * math.tanh(math.pi * cut_hz / 1000.21 / 2)
    assert found.tilt_percent == pytest.approx(expected, rel=0.03, abs=0.05)


def test_slew_of_a_straight_edge() -> None:
    """A trapezium: its slope is its step over its rise."""
    rise_s, hz = 40e-6, 1000.21

    def ramped(s: Complex) -> Complex:
        return np.asarray(np.sinc(np.imag(s) / (2 * np.pi) * rise_s).astype(np.complex128))

    found = analyse(square(ramped, hz))
    for edge in (found.rising, found.falling):
        assert edge is not None
        assert edge.time_s == pytest.approx(0.8 * rise_s, rel=0.03)
        # The band limit of the recorder makes a straight slope ripple by up to 9 %.
        slope = 0.8 * VOLTS / rise_s * 1e-6
        assert 0.99 * slope < (edge.slew_v_per_us or 0) < 1.1 * slope


def test_loop_back_replaces_the_ideal_recorder() -> None:
    wave = square(one_pole(12_000.0))[:, None]
    setup = CaptureSetup(full_scale_volts=(VOLTS,), load_ohm=(8.0,), nominal_hz=1000.0)
    found = analyse_square(wave, FileFacts(len(wave), 192_000, 24), setup, interface_rise_s=2e-5)
    assert found.interface_measured
    edge = found.channels["M"].rising
    assert edge is not None
    assert edge.time_s is None
    assert {note.code for note in found.notes} == {"floor-limited"}


def test_what_is_no_square_is_refused() -> None:
    time = np.arange(96_000) / 192_000
    sine = 0.5 * np.cos(2 * np.pi * 1000.21 * time)
    assert analyse(sine).reason == "not-square"
    triangle = 2 / np.pi * np.arcsin(np.sin(2 * np.pi * 1000.21 * time)) * 0.5
    assert analyse(triangle).reason == "not-square"
    assert analyse(np.zeros(96_000)).reason == "silence"
    assert analyse(np.clip(3 * sine, -1, 1)).reason == "adc-overload"
    assert analyse(square(one_pole(900.0))).valid is False


def test_unusable_recordings_are_refused() -> None:
    with pytest.raises(BenchError, match="less than 8 cycles"):
        analyse(square(one_pole(1e4), seconds=0.005))
    with pytest.raises(BenchError, match="fewer than 7 harmonics"):
        analyse(square(one_pole(1e4), hz=20_000.0), hz=20_000.0)


def test_the_document_holds_every_figure() -> None:
    wave = square(one_pole(12_000.0))[:, None]
    setup = CaptureSetup(full_scale_volts=(VOLTS,), load_ohm=(8.0,), nominal_hz=1000.0)
    found = analyse_square(wave, FileFacts(len(wave), 192_000, 24), setup)
    printed = json.loads(json.dumps(document_of(found), allow_nan=False))
    assert printed["schema"] == document_parts.SCHEMA
    assert printed["kind"] == "square"
    assert printed["channels"]["M"]["rising"]["time_s"] > 0
    assert "time_s_at_most" not in printed["channels"]["M"]["rising"]
