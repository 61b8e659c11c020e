"""The invented amplifier behaves as its physics says, against tables it was not written from."""

from __future__ import annotations

import numpy as np
import pytest

from backtospec.demo.amplifier import (
    FilterCapacitor,
    FloatArray,
    OutputStage,
    PowerAmplifier,
    Supply,
    close_loop,
    follower_curve,
    follower_gain,
)

GOOD = FilterCapacitor(7400e-6, 0.028)
TIRED = FilterCapacitor(3900e-6, 0.35)

# Ideal follower with exponential junctions at 25 °C into 8 Ω, no inner resistance: one emitter
# resistor, its drop at idle, gain at zero, and peak-to-peak ripple of the gain up to 3 A,
# in percent of the gain at 3 A.
GAIN_TABLE = (
    (0.10, 6.423e-3, 0.969697, 1.71437),
    (0.10, 25.693e-3, 0.987654, 0.24971),
    (0.22, 6.423e-3, 0.935673, 3.75948),
    (0.22, 12.846e-3, 0.960384, 1.21772),
    (0.22, 19.269e-3, 0.968914, 0.62298),
    (0.22, 25.693e-3, 0.973236, 0.53976),
    (0.22, 51.385e-3, 0.979792, 0.97914),
    (0.47, 12.846e-3, 0.919012, 2.60122),
    (0.47, 25.693e-3, 0.944510, 1.11260),
)

# The same stage with real devices, solved by ngspice 39.3 (two 0.22 Ω, 8 Ω, 27 °C): volts across
# both resistors at idle, peak volts at the output, distortion in percent, H2…H10.
SIMULATED = (
    (0.93390e-3, 3.712, 1.23581),
    (5.75256e-3, 3.773, 0.565404),
    (5.75256e-3, 11.476, 0.298523),
    (17.1645e-3, 3.815, 0.171703),
)


def fitted(wave: FloatArray, cycles: int) -> FloatArray:
    """Amplitudes of H1…H10; over whole cycles the transform is the least-squares fit."""
    lines = np.abs(np.fft.rfft(wave)) * 2 / len(wave)
    return np.asarray(lines[cycles : 10 * cycles + 1 : cycles])


def thd_percent(wave: FloatArray, cycles: int) -> float:
    heights = fitted(wave, cycles)
    return float(100 * np.sqrt(np.sum(heights[1:] ** 2)) / heights[0])


def steady(amplifier: PowerAmplifier, power_w: float) -> tuple[tuple[float, float], ...]:
    """Power and distortion of both channels, steady tone, over whole mains cycles."""
    rate_hz = 96_000
    time_s = np.arange(rate_hz // 10) / rate_hz
    envelope_v = np.full((len(time_s), 2), np.sqrt(16 * power_w))
    wanted_v = envelope_v * np.cos(2 * np.pi * 1000 * time_s)[:, None]
    output_v = amplifier.drive(wanted_v, envelope_v, 50 * time_s)
    loads_ohm = (amplifier.left.load_ohm, amplifier.right.load_ohm)
    return tuple(
        (fitted(wave, 100)[0] ** 2 / 2 / load_ohm, thd_percent(wave, 100))
        for wave, load_ohm in zip(output_v.T, loads_ohm, strict=True)
    )


def healthy(idle_pair_v: float = 0.011, negative: FilterCapacitor = GOOD) -> PowerAmplifier:
    stage = OutputStage(idle_pair_v)
    return PowerAmplifier(stage, stage, Supply(GOOD, negative))


@pytest.mark.parametrize(("emitter_ohm", "drop_v", "gain_at_zero", "ripple_percent"), GAIN_TABLE)
def test_gain_matches_the_ideal_follower(
    emitter_ohm: float, drop_v: float, gain_at_zero: float, ripple_percent: float
) -> None:
    stage = OutputStage(2 * drop_v, emitter_ohm=emitter_ohm, inside_ohm=0, thermal_v=25.6926e-3)
    gain = follower_gain(stage, np.linspace(0, 24, 20_001))
    assert gain[0] == pytest.approx(gain_at_zero, abs=3e-6)
    assert 100 * (gain.max() - gain.min()) / gain[-1] == pytest.approx(ripple_percent, rel=1e-3)


@pytest.mark.parametrize(("pair_v", "peak_v", "wanted_percent"), SIMULATED)
def test_bare_follower_distorts_as_a_circuit_simulation_does(
    pair_v: float, peak_v: float, wanted_percent: float
) -> None:
    # Inner resistance of that simulation: (0.9 Ω + 2.2 Ω) of base over a gain of 80.
    stage = OutputStage(pair_v, inside_ohm=0.044, thermal_v=25.85e-3)
    upper_a = np.geomspace(stage.idle_a, 8, 40_001)
    input_v, output_v = follower_curve(stage, upper_a)
    drive_v = np.interp(peak_v, output_v, input_v) * np.cos(
        2 * np.pi * 7 * np.arange(14_000) / 14_000
    )
    wave = np.sign(drive_v) * np.interp(np.abs(drive_v), input_v, output_v)
    # Ideal junctions against devices with gain droop and unequal halves: within a decibel or so.
    assert thd_percent(wave, 7) == pytest.approx(wanted_percent, rel=0.15)


def test_feedback_divides_the_error() -> None:
    tone_v = 4 * np.cos(2 * np.pi * 7 * np.arange(14_000) / 14_000)
    few, many = (
        thd_percent(close_loop(OutputStage(0.011, error_reduction=by)).output_v(tone_v), 7)
        for by in (10.0, 40.0)
    )
    assert few / many == pytest.approx(4, rel=0.02)


def test_crossover_residue_falls_as_the_idle_current_rises() -> None:
    at_1_w = [steady(healthy(pair_v), 1.0)[0][1] for pair_v in (0.002, 0.005, 0.011, 0.020)]
    assert at_1_w == sorted(at_1_w, reverse=True)
    assert at_1_w[0] > 2 * at_1_w[2]


def test_residue_of_an_under_biased_stage_is_relatively_worst_at_low_power() -> None:
    curve = [steady(healthy(0.0021), power_w)[0][1] for power_w in (0.25, 1.0, 4.0, 16.0)]
    assert curve == sorted(curve, reverse=True)


def test_ripple_is_inversely_proportional_to_the_capacitance() -> None:
    supply = Supply(GOOD, TIRED)
    assert supply.ripple_v(GOOD, 2.0) == pytest.approx(0.85 * 2.0 / (100 * 7400e-6))
    ratio = supply.ripple_v(TIRED, 2.0) / supply.ripple_v(GOOD, 2.0)
    assert ratio == pytest.approx(7400 / 3900)


def test_a_tired_capacitor_clips_earlier_and_lopsidedly() -> None:
    tone = (46.0, 47.0)
    good, tired = healthy(), healthy(negative=TIRED)
    assert all(steady(good, power_w)[0][1] < 0.1 for power_w in tone)
    assert all(steady(tired, power_w)[0][1] > 1.0 for power_w in tone)
    rate_hz = 48_000
    time_s = np.arange(rate_hz // 10) / rate_hz
    envelope_v = np.full((len(time_s), 2), 30.0)
    wave = tired.drive(
        envelope_v * np.cos(2 * np.pi * 1000 * time_s)[:, None], envelope_v, 50 * time_s
    )
    cycles = wave[:, 0].reshape(-1, 48)
    assert cycles.max(axis=1).mean() > -cycles.min(axis=1).mean() + 1
    assert np.mean(wave) > 0.05


def test_both_channels_load_the_shared_supply() -> None:
    """Without its neighbour's load a channel reaches more volts."""
    time_s = np.arange(4800) / 48_000
    tone = np.cos(2 * np.pi * 1000 * time_s)[:, None]
    both_v = np.full((4800, 2), 40.0)
    alone_v = both_v * np.array([1.0, 0.0])
    amplifier = PowerAmplifier(
        OutputStage(0.011), OutputStage(0.011, load_ohm=1e6), Supply(GOOD, GOOD)
    )
    peak_both = healthy().drive(both_v * tone, both_v, 50 * time_s)[:, 0].max()
    peak_alone = amplifier.drive(alone_v * tone, alone_v, 50 * time_s)[:, 0].max()
    assert peak_alone > peak_both + 2


def test_output_never_passes_the_rails() -> None:
    time_s = np.arange(4800) / 48_000
    envelope_v = np.full((4800, 2), 60.0)
    wave = healthy().drive(
        envelope_v * np.cos(2 * np.pi * 1000 * time_s)[:, None], envelope_v, 50 * time_s
    )
    assert np.abs(wave).max() < 38 - 2.2


def test_distortion_against_power_has_a_flat_floor_and_a_knee() -> None:
    curve = {
        power_w: steady(healthy(), power_w)[0] for power_w in (0.25, 1, 10, 30, 45, 51, 54, 60)
    }
    assert curve[0.25][1] > curve[10][1] > curve[30][1]
    assert all(curve[power_w][1] < 0.06 for power_w in (0.25, 1, 10, 30, 45))
    assert 0.1 < curve[51][1] < 1 < curve[60][1] < 5
    assert curve[45][0] == pytest.approx(45, rel=0.01)
