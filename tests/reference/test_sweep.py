"""A recorded sweep against closed forms: response, harmonics, replay error, clock, and faults."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.equalisation import riaa_replay, riaa_replay_db
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.stimuli import synchronised
from backtospec.analysis.sweep import SweepAnalysis, analyse_sweep, document_of
from backtospec.analysis.sweep_figures import grid_hz
from backtospec.analysis.sweep_signal import Stimulus, fade, sweep_wave
from backtospec.analysis.waveforms import as_recorded, bent_cosine_harmonics, white_noise
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Transfer = Callable[[Array], Complex]

RATE_HZ = 44_100
FINER = 4
LONG = synchronised(14.0, 20_800.0, 5.2, drive_fs=0.46, pilot_start_s=0.15)
SHORT = synchronised(20.0, 20_800.0, 2.8, drive_fs=0.46, pilot_start_s=0.15)
SETUP = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=1000.0)
BEND = (0.0, 1.0, 0.008, 0.02)
NOISE = 1e-5


def first_order(low_hz: float | None, high_hz: float | None) -> Transfer:
    """An amplifier with one pole at each end."""

    def transfer(hz: Array) -> Complex:
        at_low = 1j * hz / (1j * hz + low_hz) if low_hz else 1.0
        return np.asarray(at_low / (1 + 1j * hz / high_hz) if high_hz else at_low + 0j)

    return transfer


def phono(bass_s: float, middle_s: float, treble_s: float) -> Transfer:
    """A replay stage with its own time constants, of gain 0.1 or so at 1 kHz."""

    def transfer(hz: Array) -> Complex:
        s = 2j * np.pi * hz
        return np.asarray((1 + s * middle_s) / ((1 + s * bass_s) * (1 + s * treble_s)))

    return transfer


def filtered(wave: Array, rate_hz: float, transfer: Transfer) -> Array:
    length = 2 * len(wave)
    bins_hz = np.asarray(np.fft.rfftfreq(length, 1 / rate_hz), dtype=np.float64)
    spectrum = np.asarray(np.fft.rfft(wave, length) * transfer(bins_hz), dtype=np.complex128)
    return np.asarray(np.fft.irfft(spectrum, length)[: len(wave)])


def recorded(
    stimulus: Stimulus,
    before: Transfer,
    bend: tuple[float, ...] = (0.0, 1.0),
    after: Transfer | None = None,
    *,
    clock_ppm: float = -47.0,
    rate_hz: int = RATE_HZ,
    tail_s: float = 0.8,
) -> Array:
    """A sweep through pole, bent characteristic, pole, taken without folding; noise-free."""
    fine = rate_hz * FINER
    frames = int((stimulus.sweep_start_s + stimulus.Td_s + tail_s) * rate_hz) // 2000 * 2000
    time_s = np.arange(frames * FINER) / fine * (1 + clock_ppm * 1e-6)
    since_s = time_s - stimulus.pilot_start_s
    pilot = fade(since_s, stimulus.pilot_len_s, 0.01, 0.01) * np.sin(
        2 * np.pi * stimulus.pilot_hz * since_s
    )
    wave = stimulus.drive_fs * (pilot + sweep_wave(stimulus, time_s - stimulus.sweep_start_s))
    wave = filtered(wave, fine, before)
    wave = np.asarray(np.polynomial.polynomial.polyval(wave, bend))
    if after:
        wave = filtered(wave, fine, after)
    coarse = np.fft.rfft(wave)[: frames // 2 + 1] / FINER
    return np.asarray(np.fft.irfft(coarse, frames))


def analyse(samples: Array, stimulus: Stimulus, rate_hz: int = RATE_HZ) -> SweepAnalysis:
    if samples.ndim == 1:
        samples = samples[:, None]
    return analyse_sweep(samples, FileFacts(len(samples), rate_hz, 24), SETUP, stimulus)


def bent_truth(
    stimulus: Stimulus, before: Transfer, after: Transfer, hz: float
) -> tuple[float, float, float]:
    """(fundamental, H2, H3) at the output, for the fundamental at a frequency."""
    amplitude = stimulus.drive_fs * abs(before(np.array([hz]))[0])
    lines = bent_cosine_harmonics(BEND, float(amplitude))
    one, two, three = (abs(lines[k] * after(np.array([k * hz]))[0]) for k in (1, 2, 3))
    return one, two, three


POWER_STAGE = first_order(5.5, None), first_order(None, 48_000.0)
PHONO_S = (3132.3e-6, 318e-6, 77.625e-6)


@lru_cache
def two_stages() -> SweepAnalysis:
    """Left a bent power amplifier, right a phono stage that is off, at −100 dBFS of noise."""
    left = recorded(LONG, POWER_STAGE[0], BEND, POWER_STAGE[1])
    right = recorded(LONG, phono(*PHONO_S))
    clean = np.stack((left, right), axis=1)
    return analyse(as_recorded(clean + white_noise(clean.shape, NOISE, 8), 24), LONG)


@lru_cache
def plain_short() -> Array:
    return recorded(SHORT, first_order(5.5, None))


def noisy(samples: Array, rms: float = NOISE) -> Array:
    return samples + white_noise(samples.shape, rms, 5)


def test_clock_and_level() -> None:
    found = two_stages()
    assert found.clock_ppm == pytest.approx(-47.0, abs=0.01)
    assert found.clock_ppm_u is not None
    assert 1e-4 < found.clock_ppm_u < 5e-3
    fundamental = bent_truth(LONG, *POWER_STAGE, 1000.0)[0]
    left = found.channels["L"]
    assert left.level_dbfs_peak == pytest.approx(20 * math.log10(fundamental), abs=5e-4)
    assert left.power_w == pytest.approx((40 * fundamental) ** 2 / 2 / 8, rel=2e-4)
    assert left.fundamental_vrms == pytest.approx(40 * fundamental / math.sqrt(2), rel=1e-4)
    assert not found.notes


def test_response_of_a_power_amplifier() -> None:
    left = two_stages().channels["L"]
    reference = bent_truth(LONG, *POWER_STAGE, 1000.0)[0]
    assert {20.0, 31.5, 63.0, 315.0, 1000.0, 16_000.0, 20_000.0} <= set(left.response_db)
    for hz, db in left.response_db.items():
        truth = 20 * math.log10(bent_truth(LONG, *POWER_STAGE, hz)[0] / reference)
        assert db == pytest.approx(truth, abs=0.001), hz
        assert abs(db - truth) < 4 * left.response_db_u[hz] + 1e-12, hz


@pytest.mark.parametrize("order", [2, 3])
def test_harmonics_against_frequency(order: int) -> None:
    left = two_stages().channels["L"]
    found = left.harmonic_db[order]
    assert len(found) > 90
    assert max(found) > 20_000 / order / 1.1
    for hz, db in found.items():
        lines = bent_truth(LONG, *POWER_STAGE, hz)
        truth = 20 * math.log10(lines[order - 1] / lines[0])
        assert db == pytest.approx(truth, abs=0.03 if hz > 50 else 0.05), hz
        assert abs(db - truth) < 5 * left.harmonic_db_u[order][hz], hz


def test_harmonics_that_noise_hides_are_only_bounded() -> None:
    found = two_stages().channels["L"]
    assert not set(found.harmonic_db[5]) & set(found.harmonic_db_at_most[5])
    middle = [hz for hz in grid_hz(100.0, 4000.0) if hz in found.harmonic_db_at_most[5]]
    assert len(middle) > 30
    assert all(found.harmonic_db_at_most[5][hz] < -95 for hz in middle)


def test_replay_error_with_and_without_the_low_cut() -> None:
    right = two_stages().channels["R"]
    stage = phono(*PHONO_S)
    gain_1_khz = abs(stage(np.array([1000.0]))[0])
    for hz, db in right.riaa_error_db.items():
        response = 20 * math.log10(abs(stage(np.array([hz]))[0]) / gain_1_khz)
        assert db == pytest.approx(response - riaa_replay_db(hz), abs=0.005), hz
        low_cut = response - riaa_replay_db(hz, low_cut=True)
        assert right.riaa_low_cut_error_db[hz] == pytest.approx(low_cut, abs=0.005), hz


def test_phase_and_polarity() -> None:
    found = analyse(noisy(-recorded(SHORT, first_order(60.0, None))), SHORT).channels["M"]
    truth = math.degrees(math.atan(60 / 100)) + 180
    assert (found.phase_deg[100.0] - truth + 180) % 360 - 180 == pytest.approx(0, abs=0.5)


@pytest.mark.parametrize("clock_ppm", [-500.0, -150.0, 150.0, 500.0])
def test_clocks_that_differ(clock_ppm: float) -> None:
    samples = recorded(SHORT, first_order(5.5, None), clock_ppm=clock_ppm)
    found = analyse(noisy(samples), SHORT)
    assert found.clock_ppm == pytest.approx(clock_ppm, abs=0.01)
    response = found.channels["M"].response_db
    for hz, db in response.items():
        file_hz = hz * (1 + clock_ppm * 1e-6)
        truth = -10 * math.log10((1 + (5.5 / file_hz) ** 2) / (1 + (5.5 / 1000) ** 2))
        assert db == pytest.approx(truth, abs=0.002), hz


def test_a_phono_stage_with_a_rumble_filter_has_lost_nothing() -> None:
    def stage(hz: Array) -> Complex:
        s = 1j * hz / 30
        return np.asarray(0.05 * s * s / (s * s + s + 1) * riaa_replay(hz))

    found = analyse(noisy(recorded(SHORT, stage)), SHORT)
    assert not found.notes
    truth = 20 * math.log10(abs(stage(np.array([40.0, 1000.0]))[0]) / 0.05)
    assert found.channels["M"].response_db[40.0] == pytest.approx(truth, abs=0.02)


def test_half_power_points_and_any_frequency() -> None:
    samples = recorded(SHORT, first_order(100.0, None), after=first_order(None, 9000.0))
    found = analyse(noisy(samples), SHORT).channels["M"]

    def response_db(hz: float) -> float:
        both = (1 + (100 / hz) ** 2) * (1 + (hz / 9000) ** 2)
        reference = (1 + (100 / 1000) ** 2) * (1 + (1000 / 9000) ** 2)
        return -10 * math.log10(both / reference)

    assert found.corner_low_hz is not None
    assert found.corner_high_hz is not None
    assert response_db(found.corner_low_hz) == pytest.approx(-3.0103, abs=0.002)
    assert response_db(found.corner_high_hz) == pytest.approx(-3.0103, abs=0.002)
    assert found.corner_low_hz_at_most is None
    for corner, doubt in (
        (found.corner_low_hz, found.corner_low_hz_u),
        (found.corner_high_hz, found.corner_high_hz_u),
    ):
        steeper = (response_db(1.01 * corner) - response_db(corner)) / (0.01 * corner)
        exact = corner - (response_db(corner) + 3.0103) / steeper
        assert doubt is not None
        assert abs(corner - exact) < 4 * doubt
        assert doubt < 2e-3 * corner
    any_hz = np.array([33.3, 777.7, 12_345.0])
    truth = [response_db(hz) for hz in any_hz]
    np.testing.assert_allclose(found.response_at(any_hz), truth, atol=0.002)
    with pytest.raises(BenchError, match="21000 Hz is outside"):
        found.response_at(np.array([21_000.0]))


def test_a_corner_beyond_the_sweep_is_only_bounded() -> None:
    left = two_stages().channels["L"]
    assert left.corner_low_hz is None
    assert left.corner_low_hz_at_most == min(left.response_db)
    assert left.corner_high_hz_at_least == max(left.response_db)


def test_a_sharp_resonance_shows_in_the_uncertainty() -> None:
    def notch(hz: Array) -> Complex:
        away = hz / 3000 - 3000 / np.maximum(hz, 1e-9)
        return np.asarray(1 - 0.5 / (1 + 1j * 60 * away))

    found = analyse(noisy(recorded(SHORT, notch)), SHORT).channels["M"]
    depth_db = 20 * math.log10(0.5)
    assert abs(found.response_db[3000.0] - depth_db) > 0.5
    assert abs(found.response_db[3000.0] - depth_db) < 4 * found.response_db_u[3000.0]
    assert found.response_db_u[8000.0] < 0.002


def test_stated_uncertainty_covers_the_noise() -> None:
    clean = recorded(SHORT, lambda hz: riaa_replay(hz) * 0.05)
    errors = []
    for seed in range(4):
        found = analyse(clean + white_noise(clean.shape, 1e-4, seed), SHORT).channels["M"]
        errors += [
            found.riaa_error_db[hz] / found.response_db_u[hz]
            for hz in (2000.0, 4000.0, 8000.0, 12_500.0, 16_000.0)
        ]
    assert 0.6 < float(np.sqrt(np.mean(np.square(errors)))) < 1.5


def test_hum_is_learnt_where_nothing_plays_and_taken_out() -> None:
    clean = plain_short()
    turn = 2 * np.pi * 50.013 * np.arange(len(clean)) / RATE_HZ
    hum = 3e-3 * (np.cos(turn + 1) + 0.3 * np.cos(2 * turn) + 0.3 * np.cos(3 * turn))
    with_hum, without = analyse(noisy(clean + hum), SHORT), analyse(noisy(clean), SHORT)
    assert with_hum.mains_hz == pytest.approx(50.013, abs=1e-4)
    assert without.mains_hz is None
    for hz, db in without.channels["M"].response_db.items():
        assert with_hum.channels["M"].response_db[hz] == pytest.approx(db, abs=0.001), hz


def test_the_recorder_may_start_at_any_time_and_run_on() -> None:
    clean = plain_short()
    still = np.zeros(2 * RATE_HZ)
    found = analyse(noisy(np.concatenate((still, clean, still, still))), SHORT)
    assert found.sweep_start_s == pytest.approx(2 + SHORT.sweep_start_s, abs=0.002)
    assert found.channels["M"].response_db[20_000.0] == pytest.approx(0.00013, abs=0.002)


def lose(samples: Array, at_s: float, count: int) -> Array:
    at = int(at_s * RATE_HZ)
    return np.delete(samples, slice(at, at + count))


def zero(samples: Array, at_s: float, count: int) -> Array:
    spoiled = samples.copy()
    spoiled[int(at_s * RATE_HZ) :][:count] = 0
    return spoiled


FAULTS: dict[str, tuple[Callable[[Array], Array], str]] = {
    "lost": (lambda wave: lose(noisy(wave), 2.0, 600), "lost-samples"),
    "repeated": (lambda wave: np.insert(noisy(wave), 60_000, np.full(600, 0.1)), "lost-samples"),
    "zeros": (lambda wave: zero(noisy(wave), 2.0, 400), "dropout"),
    "overload": (lambda wave: np.clip(noisy(wave) * 2.4, -1, 1 - 2**-23), "adc-overload"),
    "silence": (lambda wave: 0 * wave, "silence"),
    "noise": (lambda wave: white_noise(wave.shape, 1e-3, 2), "silence"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_spoiled_channel_gives_no_figure_and_the_other_is_measured(fault: str) -> None:
    spoil, reason = FAULTS[fault]
    clean = plain_short()
    bad = as_recorded(spoil(clean), 24)
    good = np.zeros_like(bad)
    good[: len(clean)] = noisy(clean)[: len(bad)]
    found = analyse(np.stack((bad, good), axis=1), SHORT)
    document = document_of(found)
    assert document["channels"]["L"] == {"valid": False, "reason": reason}
    assert [(note.code, note.channel) for note in found.notes] == [(reason, "L")]
    assert found.channels["R"].response_db[10_000.0] == pytest.approx(0.00013, abs=0.002)
    assert found.tracking_db_r_minus_l is None


def test_silence_in_every_channel_is_no_error() -> None:
    found = analyse(np.zeros((RATE_HZ, 2)), SHORT)
    assert [channel.reason for channel in found.channels.values()] == ["silence", "silence"]
    assert found.clock_ppm is None


def other(**change: float) -> Stimulus:
    return synchronised(20.0, 20_800.0, 2.8, pilot_start_s=0.15, **change)


UNUSABLE: dict[str, tuple[Callable[[], SweepAnalysis], str]] = {
    "no sweep": (lambda: analyse(white_noise(4 * RATE_HZ, 0.1, 1), SHORT), "no sweep"),
    "no pilot": (
        lambda: analyse(
            np.where(np.arange(len(plain_short())) < 0.7 * RATE_HZ, 0, plain_short())
            + white_noise(len(plain_short()), NOISE, 1),
            SHORT,
        ),
        "pilot is not heard",
    ),
    "pilot cut": (lambda: analyse(plain_short()[int(0.4 * RATE_HZ) :], SHORT), "recording starts"),
    "end cut": (lambda: analyse(plain_short()[: 3 * RATE_HZ], SHORT), "recording stops"),
    "other pilot": (lambda: analyse(plain_short(), other(pilot_hz=1001.7)), "-1744 ppm"),
    "rate too low": (lambda: analyse(plain_short(), SHORT, 32_000), "32000 samples a second"),
    "not over 1 kHz": (
        lambda: analyse(plain_short(), synchronised(2000.0, 20_000.0, 2.0)),
        "does not pass well",
    ),
}


@pytest.mark.parametrize("case", UNUSABLE)
def test_an_unusable_recording_is_refused(case: str) -> None:
    measure, words = UNUSABLE[case]
    with pytest.raises(BenchError) as caught:
        measure()
    fault = caught.value.faults[0]
    assert words in fault.what
    assert fault.where
    assert fault.fix


def test_the_document_holds_what_is_promised() -> None:
    document = document_of(two_stages())
    again = json.loads(json.dumps(document, allow_nan=False))
    assert again == document
    assert (document["schema"], document["kind"]) == ("backtospec/analyse/1", "sweep")
    assert document["file"] == {
        "frames": document["file"]["frames"],
        "sample_rate_hz": RATE_HZ,
        "valid_bits": 24,
    }
    left = document["channels"]["L"]
    assert left["valid"] is True
    assert left["response_db"]["1000"] == 0.0
    assert set(left["harmonic_db"]) == {"2", "3", "4", "5"}
    assert left["harmonic_db"]["2"]["1000"] == pytest.approx(-54.9, abs=0.5)
    assert left["response_db"]["31.5"] == pytest.approx(-0.131, abs=0.01)
    assert set(left["riaa_error_db"]) == set(left["response_db"]) == set(left["response_db_u"])
    assert "spectrum" not in left
    assert document["clock_ppm"] == pytest.approx(-47.0, abs=0.05)
