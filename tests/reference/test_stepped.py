"""Stepped tones against closed forms: places, power, distortion, response, power bandwidth."""

from __future__ import annotations

import json
import math
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.notes import FileFacts
from backtospec.analysis.power_bandwidth import PowerPoint, find_power_bandwidth
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.stepped import SteppedAnalysis, analyse_stepped, document_of
from backtospec.analysis.stepped_places import PlannedTone, find_tones, place_tones
from backtospec.analysis.stimuli import STEPPED_HZ, stepped_tones
from backtospec.analysis.stimulus_playing import Playing
from backtospec.analysis.tone import analyse_tone
from backtospec.analysis.waveforms import white_noise
from backtospec.errors import BenchError
from backtospec.sources.stimulus_files import read_stepped_tones, write_stimulus

Array = NDArray[np.float64]

RATE_HZ = 44_100
HZ = (40.0, 400.0, 1000.0, 6000.0, 16_000.0)
POLE_HZ = 9000.0
PLAN = tuple(PlannedTone(hz, 0.5 + 0.6 * i, 0.5) for i, hz in enumerate(HZ))


def gain(hz: float) -> float:
    """One pole, at a frequency where the truth is simple."""
    return 1 / math.hypot(1, hz / POLE_HZ)


def recorded(
    hz: tuple[float, ...] = HZ,
    *,
    level: float = 0.5,
    third: float = 0.0,
    lead_s: float = 0.73,
    clock_ppm: float = 0.0,
    noise: float = 1e-5,
    hum: float = 0.0,
    pause_s: float = 0.1,
) -> Array:
    """Tones of half a second through one pole, with a third harmonic, after a lead-in."""
    pieces = [np.zeros(round(lead_s * RATE_HZ))]
    for one in hz:
        turn = 2 * np.pi * one * (1 + clock_ppm * 1e-6) * np.arange(round(0.5 * RATE_HZ)) / RATE_HZ
        wave = level * gain(one) * np.cos(turn)
        if 3 * one < RATE_HZ / 2:
            wave += level * gain(one) * third * np.cos(3 * turn)
        pieces += [wave, np.zeros(round(pause_s * RATE_HZ))]
    clean = np.concatenate([*pieces, np.zeros(RATE_HZ // 4)])
    ripple = hum * np.sin(2 * np.pi * 50.02 * np.arange(len(clean)) / RATE_HZ)
    return np.asarray(clean + ripple + white_noise(len(clean), noise, 4))


def analyse(
    samples: Array, played: tuple[PlannedTone, ...] | None = PLAN, **more: Any
) -> SteppedAnalysis:
    if samples.ndim == 1:
        samples = samples[:, None]
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=1000.0, **more)
    return analyse_stepped(samples, FileFacts(len(samples), RATE_HZ, 24), setup, played)


@lru_cache
def with_and_without_plan() -> tuple[SteppedAnalysis, SteppedAnalysis]:
    samples = recorded(third=0.002, clock_ppm=-300.0)
    return analyse(samples), analyse(samples, None)


@pytest.mark.parametrize("which", [0, 1])
def test_level_power_distortion_and_response_of_every_tone(which: int) -> None:
    found = with_and_without_plan()[which]
    assert len(found.tones) == len(HZ)
    for tone, hz in zip(found.tones, HZ, strict=True):
        mono = tone.channels["M"]
        assert mono.frequency_hz == pytest.approx(hz * (1 - 300e-6), abs=2e-3)
        assert mono.power_w == pytest.approx((0.5 * gain(hz) * 40) ** 2 / 16, rel=2e-4)
        if 3 * hz < RATE_HZ / 2:
            assert mono.distortion is not None
            assert mono.distortion.thd_percent == pytest.approx(0.2, rel=5e-3)
    response = found.channels["M"].response_db
    for (at, db), hz in zip(response.items(), HZ, strict=True):
        truth = 20 * math.log10(gain(hz) / gain(1000.0))
        assert db == pytest.approx(truth, abs=1e-3)
        assert abs(db - truth) <= 5 * found.channels["M"].response_db_u[at]


def test_only_with_a_plan_the_clock_is_known() -> None:
    planned, found = with_and_without_plan()
    assert planned.clock_ppm == pytest.approx(-300, abs=0.5)
    assert found.clock_ppm is None
    assert planned.reference_hz == 1000.0


def test_places_hold_only_the_tone() -> None:
    samples = recorded()[:, None]
    for places in (find_tones(samples, RATE_HZ), place_tones(samples, RATE_HZ, PLAN)):
        for index, place in enumerate(places):
            start = 0.73 + 0.6 * index
            assert start - 0.002 < place.start / RATE_HZ < start + 0.12
            assert start + 0.35 < place.end / RATE_HZ < start + 0.502


def test_tones_without_a_pause_between_them_are_told_apart() -> None:
    found = analyse(recorded((300.0, 1000.0, 3000.0), pause_s=0.0), None)
    assert [round(tone.frequency_hz) for tone in found.tones] == [300, 1000, 3000]
    for tone, hz in zip(found.tones, (300.0, 1000.0, 3000.0), strict=True):
        level = 20 * math.log10(0.5 * gain(hz))
        assert tone.channels["M"].level_dbfs_peak == pytest.approx(level, abs=1e-3)


def test_a_low_tone_right_after_a_lower_one_keeps_its_level() -> None:
    rate_hz, hz = 48_000, (40.0, 100.0, 1000.0, 5000.0)
    time_s = np.arange(rate_hz) / rate_hz
    samples = np.concatenate([0.3 * np.sin(2 * np.pi * one * time_s) for one in hz])
    samples += white_noise(len(samples), 1e-5, 7)
    for index, place in enumerate(find_tones(samples[:, None], rate_hz)):
        assert index * rate_hz <= place.start < place.end <= (index + 1) * rate_hz
    setup = CaptureSetup(full_scale_volts=(1.0,), load_ohm=(8.0,), nominal_hz=1000.0)
    found = analyse_stepped(samples[:, None], FileFacts(len(samples), rate_hz, 24), setup)
    for tone in found.tones:
        assert tone.channels["M"].power_w == pytest.approx(0.3**2 / 16, rel=2e-4)


def test_a_tone_read_larger_than_its_samples_is_refused() -> None:
    # 30 ms of either neighbour: near lines of the fit cancel, and each would be far too large
    rate_hz = 48_000
    time_s = np.arange(rate_hz) / rate_hz
    tones = [0.3 * np.sin(2 * np.pi * hz * time_s) for hz in (40.0, 100.0, 1000.0)]
    part = np.concatenate(tones)[round(0.97 * rate_hz) : round(2.03 * rate_hz)]
    part = part + 1e-6 * np.random.default_rng(1).standard_normal(len(part))
    setup = CaptureSetup(full_scale_volts=(1.0,), load_ohm=(8.0,), nominal_hz=100.0)
    found = analyse_tone(part[:, None], FileFacts(len(part), rate_hz, 24), setup)
    assert not found.channels["M"].valid
    assert found.channels["M"].reason == "methods-differ"
    assert found.channels["M"].power_w is None
    assert [note.code for note in found.notes] == ["methods-differ"]


def test_hum_in_the_pauses_is_no_tone() -> None:
    found = analyse(recorded(hum=0.01, pause_s=0.6), None)
    assert len(found.tones) == len(HZ)
    assert [note.code for note in found.notes].count("hum") == 1


def test_what_is_played_is_read_back(tmp_path: Path) -> None:
    made = stepped_tones(HZ, 0.5, Playing(rate_hz=RATE_HZ))
    plan = read_stepped_tones(write_stimulus(tmp_path / "tones.wav", made))
    assert [tone.frequency_hz for tone in plan] == list(HZ)
    found = analyse(made.samples + white_noise(len(made.samples), 1e-6, 1), plan)
    levels = [tone.channels["M"].level_dbfs_peak for tone in found.tones]
    assert levels == pytest.approx([-3.0] * len(HZ), abs=1e-4)
    assert found.clock_ppm == pytest.approx(0, abs=0.1)


def test_at_full_power_the_highest_tones_are_short() -> None:
    lasting = {
        tone["frequency_hz"]: tone["duration_s"]
        for tone in stepped_tones(STEPPED_HZ, 5.0).description["tones"]
    }
    assert lasting == {hz: 2.0 if hz >= 10_000 else 5.0 for hz in STEPPED_HZ}


def test_power_bandwidth_lies_between_the_tones_on_either_side() -> None:
    found = analyse(recorded()).channels["M"].power_bandwidth
    assert found is not None
    assert found.low_hz is None
    assert found.low_hz_at_most == 40.0
    assert found.high_hz is not None
    assert found.high_hz_u is not None
    half = POLE_HZ * math.sqrt(2 * (1 + (1000 / POLE_HZ) ** 2) - 1)
    assert 6000 < half < 16_000
    assert abs(found.high_hz - half) < 2 * found.high_hz_u
    assert found.high_hz_u == pytest.approx(10_000 / math.sqrt(12))


def points(*rows: tuple[float, float, float | None]) -> list[PowerPoint]:
    return [PowerPoint(*row) for row in rows]


def test_distortion_bounds_the_power_bandwidth() -> None:
    series = points(
        (20.0, 50.0, 3.0), (100.0, 50.0, 0.1), (1000.0, 50.0, 0.05), (10e3, 50.0, 0.2),
        (20e3, 50.0, None),
    )  # fmt: skip
    found = find_power_bandwidth(series, 1000.0, 0.5)
    assert found is not None
    assert (found.low_hz_at_least, found.low_hz_at_most) == (20.0, 100.0)
    assert (found.high_hz_at_least, found.high_hz_at_most) == (10e3, None)
    assert find_power_bandwidth(series, 1000.0, 0.01) is None
    free = find_power_bandwidth(series, 1000.0)
    assert free is not None
    assert (free.low_hz_at_most, free.high_hz_at_least) == (20.0, 20e3)


def test_a_tone_whose_harmonics_are_out_of_the_band_proves_no_distortion() -> None:
    found = analyse(recorded(third=0.001), rated_thd_percent=0.5).channels["M"].power_bandwidth
    assert found is not None
    assert found.high_hz is None
    assert found.high_hz_at_least == 6000.0
    assert found.high_hz_at_most is None


def test_an_overloaded_channel_gives_only_its_reason() -> None:
    left = recorded()
    right = np.clip(np.where(np.arange(len(left)) > 2.4 * RATE_HZ, 4.0, 0.8) * left, -1, 1 - 2**-23)
    found = analyse(np.stack([left, right], axis=1))
    assert found.channels["R"].reason == "adc-overload"
    assert all(set(tone.channels) == {"L"} for tone in found.tones)
    overload = [note for note in found.notes if note.channel == "R"]
    assert [note.code for note in overload] == ["adc-overload"]
    assert overload[0].text.startswith("6000 Hz: ")


def test_a_silent_channel_and_a_lost_tone() -> None:
    pair = np.stack([recorded(), np.zeros(len(recorded()))], axis=1)
    found = analyse(pair)
    assert found.channels["R"].reason == "silence"
    assert found.channels["L"].valid
    lost = recorded(noise=1e-4)
    lost[round(0.73 * RATE_HZ) :][: RATE_HZ // 2] = white_noise(RATE_HZ // 2, 1e-4, 9)
    first = analyse(lost).tones[0].channels["M"]
    assert (first.valid, first.reason) == (False, "silence")
    assert 40.0 not in analyse(lost).channels["M"].response_db


def test_without_a_tone_at_1_khz_no_response_is_stated() -> None:
    found = analyse(recorded((100.0, 5000.0)), None)
    assert found.reference_hz is None
    assert found.channels["M"].response_db == {}
    assert "no-reference" in [note.code for note in found.notes]


@pytest.mark.parametrize(
    ("samples", "played", "said"),
    [
        (recorded((1000.0,)), None, "no two steady tones"),
        (white_noise(3 * RATE_HZ, 0.1, 1), None, "no two steady tones"),
        (white_noise(6 * RATE_HZ, 0.1, 1), PLAN, "in this order are not heard"),
        (recorded(HZ[::-1]), PLAN, "in this order are not heard"),
        (recorded()[round(1.1 * RATE_HZ) :], PLAN, "starts after the tone of 40 Hz"),
        (recorded()[: round(3.3 * RATE_HZ)], PLAN, "stops before the end of the tone of 16000 Hz"),
    ],
)
def test_what_holds_no_such_tones_is_refused(
    samples: Array, played: tuple[PlannedTone, ...] | None, said: str
) -> None:
    with pytest.raises(BenchError, match=said):
        analyse(samples, played)


def test_the_document_holds_what_is_known() -> None:
    found = with_and_without_plan()[0]
    document = json.loads(json.dumps(document_of(found), allow_nan=False))
    assert (document["schema"], document["kind"]) == ("backtospec/analyse/1", "stepped")
    assert list(document["channels"]["M"]["response_db"]) == ["40", "400", "1000", "6000", "16000"]
    assert document["channels"]["M"]["power_bandwidth"]["reference_hz"] == 1000
    assert [step["frequency_hz"] for step in document["steps"]] == list(HZ)
    assert document["steps"][2]["channels"]["M"]["thd_percent"] == pytest.approx(0.2, rel=5e-3)
    assert document["definition"]["power_bandwidth"]


def described(**change: Any) -> dict[str, Any]:
    tone = {"frequency_hz": 100.0, "start_s": 0.5, "duration_s": 1.0}
    other = {"frequency_hz": 1000.0, "start_s": 2.0, "duration_s": 1.0, **change}
    return {"kind": "stepped-tones", "tones": [tone, other]}


FAULTY: dict[str, tuple[Any, str, str]] = {
    "kind": ({**described(), "kind": "burst"}, "x.json", "a burst"),
    "none": ({"kind": "stepped-tones"}, "x.json, tones", "no list"),
    "one": ({"tones": [{"frequency_hz": 1.0}]}, "x.json, tones", "no list"),
    "text": (described(frequency_hz="1 kHz"), "x.json, tone 2, frequency_hz", '"1 kHz"'),
    "missing": (described(start_s=None), "x.json, tone 2, start_s", "null"),
    "not a number": (described(duration_s=math.nan), "x.json, tone 2, duration_s", "NaN"),
    "endless": (described(duration_s=10**400), "x.json, tone 2, duration_s", "0.2…600"),
    "no object": ({"tones": [1, 2]}, "x.json, tone 1, frequency_hz", "null"),
    "overlap": (described(start_s=1.0), "x.json, tones", "overlap"),
    "twice": (described(frequency_hz=100.0), "frequencies", "100 Hz occurs twice"),
}


@pytest.mark.parametrize("case", FAULTY)
def test_a_faulty_description_is_refused(case: str, tmp_path: Path) -> None:
    found, where, what = FAULTY[case]
    path = tmp_path / "x.json"
    path.write_text(json.dumps(found), encoding="utf-8")
    with pytest.raises(BenchError) as caught:
        read_stepped_tones(path)
    fault = caught.value.faults[0]
    assert fault.where == where
    assert what in fault.what
    assert fault.fix
