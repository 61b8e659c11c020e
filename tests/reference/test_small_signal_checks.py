"""The small-signal checks on recordings and readings whose truth is known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.channel_levels import (
    LevelReader,
    contact_ohm,
    difference_db,
    locate_loss,
    spread_db,
)
from backtospec.analysis.control_noise import analyse_control
from backtospec.analysis.noise import analyse_noise
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.ramp_results import RampAnalysis, TrackingPoint
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.square import analyse_square
from backtospec.analysis.stepped import ChannelStepped, SteppedAnalysis
from backtospec.analysis.tone import analyse_tone
from backtospec.analysis.waveforms import white_noise
from backtospec.catalogue import check_of
from backtospec.check import AdviceKind, Conclusion, conclude, read_answers
from backtospec.errors import BenchError
from backtospec.quantity import Measured
from backtospec.records import Meter
from backtospec.verdict import Bound, Verdict

Array = NDArray[np.float64]
RATE_HZ = 48_000


def run(check_id: str, texts: dict[str, str] | None = None, **captures: object) -> Conclusion:
    check = check_of(check_id)
    named = dict.fromkeys(captures, "made.wav")
    return conclude(
        check, read_answers(check.inputs, {**named, **(texts or {})}, captures=captures)
    )


def value(conclusion: Conclusion, key: str) -> float:
    found = next(f.result.value for f in conclusion.findings if f.result.key == key)
    assert found is not None
    return found.value


def verdict(conclusion: Conclusion, key: str) -> Verdict:
    return next(f.verdict for f in conclusion.findings if f.result.key == key)


def facts(samples: Array, rate_hz: int = RATE_HZ) -> FileFacts:
    return FileFacts(len(samples), rate_hz, 24)


def setup(volts: float = 1.0, hz: float = 1000.0) -> CaptureSetup:
    return CaptureSetup(full_scale_volts=(volts,), load_ohm=(8.0,), nominal_hz=hz)


def tone(hz: float, peak: float, seconds: float, rate_hz: int = RATE_HZ) -> Array:
    at = np.arange(round(seconds * rate_hz)) / rate_hz
    return np.asarray(peak * np.sin(2 * np.pi * hz * at + 0.3))


def test_series_ohms_of_the_published_example() -> None:
    """10.00 V fall to 9.80 V into 8 Ω: 0.163 Ω (diyaudio.com thread 260534)."""
    assert contact_ohm(Measured(10.0), Measured(9.8), 8.0).value == pytest.approx(0.1633, abs=1e-4)
    found = run(
        "gain-balance",
        {"points": "before-relay | 9.80 | 10.00; after-relay | 9.80 | 9.80", "load": "8.00"},
    )
    assert value(found, "contact_right_ohm") == pytest.approx(0.1633, abs=1e-4)
    assert value(found, "contact_left_ohm") == pytest.approx(0.0, abs=1e-9)


def test_gain_follows_from_sensitivity_and_rating() -> None:
    """60 W into 8 Ω are 21.9 V; from 150 mV that is a gain of 43.3 dB."""
    given = {"sensitivity": "150 mV", "rated_power": "60 W", "load": "8.000"}
    found = run("gain-balance", {**given, "gain_left": "43.3", "gain_right": "40.0"})
    wanted = 20 * math.log10(math.sqrt(480) / 0.15)
    assert value(found, "gain_off_left_db") == pytest.approx(43.3 - wanted, abs=1e-9)
    assert verdict(found, "gain_off_left_db") is Verdict.PASS
    assert verdict(found, "gain_off_right_db") is Verdict.FAIL


@pytest.mark.parametrize("names", [("left", "right"), ("right", "left")])
def test_the_louder_channel_is_not_taken_for_the_right_one(names: tuple[str, str]) -> None:
    good, wrong = names
    given = {f"gain_{good}": "40.1", f"gain_{wrong}": "45.9", "specified_gain": "40"}
    found = run("gain-balance", given)
    reason = found.counsel.advice[0].reason
    assert f"{wrong} 5.9 dB above the specified gain; {good} is as specified" in reason


def test_gain_from_a_recorded_tone() -> None:
    samples = np.stack([tone(1000, 0.5, 2.0), tone(1000, 0.25, 2.0)], axis=1)
    samples += white_noise(samples.shape, 1e-5, 3)
    analysed = analyse_tone(samples, facts(samples), setup(40.0))
    found = run("gain-balance", {"full_scale_left": "40", "input": "100.0 mV"}, recording=analysed)
    assert value(found, "left_over_right_db") == pytest.approx(6.0206, abs=0.01)
    assert value(found, "gain_left_db") == pytest.approx(
        20 * math.log10(20 / math.sqrt(2) / 0.1), abs=0.01
    )


def test_tracking_of_a_recorded_turn_counts_only_50_db() -> None:
    points = [(-70.0, 4.0), (-49.0, 0.6), (-20.0, -0.2), (0.0, 0.1)]
    ramp = RampAnalysis(
        FileFacts(1000, RATE_HZ, 24),
        {},
        tracking=tuple(TrackingPoint(i, level, r) for i, (level, r) in enumerate(points)),
    )
    found = run("volume-tracking", recording=ramp)
    assert value(found, "worst_db") == pytest.approx(-0.6)
    assert value(found, "change_db") == pytest.approx(0.8)
    assert found.word is AdviceKind.LEAVE


@pytest.mark.parametrize(("hz", "cause"), [(100.0, "ripple"), (50.0, "ground loop")])
def test_hum_of_a_recording(hz: float, cause: str) -> None:
    wave = tone(hz, 0.006 * math.sqrt(2) / 4, 6.0)
    samples = np.stack([wave, wave / 2], axis=1) + white_noise((len(wave), 2), 2e-5, 5)
    analysed = analyse_noise(samples, facts(samples), setup(4.0))
    found = run("hum-noise", {"full_scale_left": "4"}, recording=analysed)
    assert value(found, "residual_left_v") == pytest.approx(0.006, rel=0.01)
    assert value(found, "hiss_left_percent") < 2
    assert verdict(found, "residual_left_v") is Verdict.FAIL
    assert found.word is AdviceKind.PLAN
    assert found.counsel.causes[0].name.startswith(cause)


def test_a_quiet_recording_is_left_alone() -> None:
    samples = white_noise((4 * RATE_HZ, 2), 5e-5, 7)
    analysed = analyse_noise(samples, facts(samples), setup(4.0))
    found = run("hum-noise", {"full_scale_left": "4"}, recording=analysed)
    assert found.word is AdviceKind.LEAVE
    assert value(found, "hiss_right_percent") > 95


@pytest.mark.parametrize(
    ("hz", "first"),
    [
        ("50", "ground loop"),
        ("60 Hz", "ground loop"),
        ("100", "ripple"),
        ("120", "ripple"),
        ("300", "ripple"),
    ],
)
def test_the_multiple_of_the_mains_is_read_from_its_frequency(hz: str, first: str) -> None:
    found = run("hum-noise", {"left": "9 mV", "hum_hz": hz})
    assert found.counsel.causes[0].name.startswith(first)


def test_touching_excludes_the_capacitors() -> None:
    found = run("hum-noise", {"left": "9 mV", "hum_hz": "100", "touched": "falls"})
    assert "not capacitors" in found.counsel.advice[0].reason


def test_a_recorded_turn_shows_dropouts_and_crackle() -> None:
    wave = tone(1000, 0.3, 8.0)
    left, right = wave + white_noise(len(wave), 1e-4, 1), wave + white_noise(len(wave), 1e-4, 2)
    for at_s in (2.0, 5.0):
        right[round(at_s * RATE_HZ) : round((at_s + 0.1) * RATE_HZ)] *= 0.05
    left[round(3.0 * RATE_HZ) : round(3.0 * RATE_HZ) + 20] += 0.3 * white_noise(20, 1.0, 4)
    samples = np.stack([left, right], axis=1)
    analysed = analyse_control(samples, facts(samples), setup())
    found = run("controls-contacts", recording=analysed)
    assert value(found, "dropouts_right") == 2
    assert value(found, "dropouts_left") == 0
    assert value(found, "crackles_left") == 1
    assert found.word is AdviceKind.REPLACE
    assert "Right drops" in found.counsel.advice[0].reason


@pytest.mark.parametrize(("damping", "wanted"), [(0.25, Verdict.FAIL), (0.7, Verdict.PASS)])
def test_overshoot_of_a_recorded_square_wave(damping: float, wanted: Verdict) -> None:
    """Overshoot of two poles: exp(−πζ/√(1−ζ²)), 44 % at 0.25 and 4.6 % at 0.7."""
    rate_hz, hz, corner_hz = 192_000, 1000.0, 12_000.0
    frames, at = 48_000, np.arange(48_000) / 192_000
    wave = np.zeros(frames)
    for order in range(1, 95, 2):
        s = 1j * order * hz / corner_hz
        gain = 1 / (1 + 2 * damping * s + s**2)
        spun = gain * np.exp(2j * np.pi * order * hz * at)
        wave += 0.4 * 4 / np.pi / order * np.imag(spun)
    samples = np.stack([wave, wave], axis=1) + white_noise((frames, 2), 1e-5, 6)
    analysed = analyse_square(samples, facts(samples, rate_hz), setup())
    found = run("small-signal-stability", recording=analysed)
    exact = 100 * math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
    assert value(found, "overshoot_left_percent") == pytest.approx(exact, rel=0.1)
    assert verdict(found, "overshoot_left_percent") is wanted


def test_response_of_recorded_tones_finds_its_corners() -> None:
    """A single pole is down by 3.01 dB at its corner, and DIN allows 1.5 dB at 16 kHz."""
    hertz = [*np.geomspace(20, 40_000, 34).tolist(), 1000.0]
    low_hz, high_hz = 8.0, 20_000.0

    def level(hz: float) -> float:
        gain = 1 / ((1 + (low_hz / hz) ** 2) * (1 + (hz / high_hz) ** 2))
        return 10 * math.log10(gain)

    zero = level(1000.0)
    one = ChannelStepped(True, None, {hz: level(hz) - zero for hz in hertz}, {})
    flat = ChannelStepped(True, None, dict.fromkeys(hertz, 0.0), {})
    stepped = SteppedAnalysis(FileFacts(1000, 96_000, 24), {"L": one, "R": flat})
    found = run("small-signal-response", recording=stepped)
    assert value(found, "corner_high_left_hz") == pytest.approx(high_hz, rel=0.01)
    assert value(found, "departure_left_db") == pytest.approx(level(16_000) - zero, abs=0.02)
    assert verdict(found, "departure_left_db") is Verdict.FAIL
    assert verdict(found, "departure_right_db") is Verdict.PASS


def test_a_fall_between_two_points_is_seen() -> None:
    rows = "20 | 0.0 | 0.0; 1000 | 0.0 | 0.0; 20000 | -9.0 | -9.0"
    found = run("small-signal-response", {"response": rows, "tone": "flat"})
    assert abs(value(found, "departure_left_db")) > 1.5
    assert found.word is not AdviceKind.LEAVE


def test_a_rise_time_near_the_instruments_is_a_bound() -> None:
    found = run("small-signal-response", {"rise_left": "8.0 µs", "rise_instrument": "7.3 µs"})
    bounds = {f.result.key: f.result.bound for f in found.findings}
    assert bounds == {"rise_left_s": Bound.AT_MOST, "bandwidth_left_hz": Bound.AT_LEAST}


@pytest.mark.parametrize("side", ["left", "right"])
def test_trips_only_with_a_signal_is_a_dynamic_fault(side: str) -> None:
    found = run("small-signal-stability", {"trips": "with-signal", "trips_channel": side})
    assert found.word is AdviceKind.REMEASURE
    assert found.counsel.causes[0].name.startswith("dynamic fault")
    assert not {a.kind for a in found.counsel.advice} & {AdviceKind.LEAVE, AdviceKind.ADJUST}


def test_two_faults_are_both_named() -> None:
    given = {"idle": "0 mV", "sound": "harsh", "louder": "left", "drops_out": "right"}
    for check_id in ("gain-balance", "volume-tracking"):
        found = run(check_id, given)
        names = [cause.name for cause in found.counsel.causes]
        assert {"worn volume control", "under-biased stage"} <= set(names)
        assert AdviceKind.ADJUST not in {a.kind for a in found.counsel.advice}


def test_what_a_meter_shares_cancels_between_channels() -> None:
    reader = LevelReader(Meter("bench", 5.0, 0.0))
    found = difference_db(reader.read("1.000 V", "left"), reader.read("2.000 V", "right"), "12")
    assert found is not None
    assert found.value == pytest.approx(-6.0206, abs=1e-4)
    assert found.u == pytest.approx(0, abs=1e-9)


def test_levels_in_two_units_are_refused() -> None:
    reader = LevelReader(None)
    volts, decibels = reader.read("1 V", "a"), reader.read("-3 dB", "a")
    with pytest.raises(BenchError, match="in volts"):
        difference_db(volts, decibels, "12")
    with pytest.raises(BenchError, match="in volts"):
        spread_db([volts, decibels], "relay")
    with pytest.raises(BenchError, match="without a unit"):
        reader.read("0", "b")


def test_silence_is_no_level() -> None:
    reader = LevelReader(None)
    levels = [reader.read(text, "x") for text in ("0 V", "silent", "1.00 V")]
    assert [one.db is None for one in levels] == [True, True, False]
    assert spread_db(levels, "x") is None


def test_the_loss_is_where_the_balance_changes_most() -> None:
    path = {"source": Measured(2.0), "preamp-out": Measured(2.1), "loaded": Measured(-0.5)}
    found = locate_loss(path)
    assert found is not None
    assert (found.before, found.after, found.weak) == ("preamp-out", "loaded", "left")
