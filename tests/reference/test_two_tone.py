"""Two tones against the closed form of a polynomial: products, figures, bounds and refusals."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.two_tone import TwoToneAnalysis, analyse_two_tone, document_of
from backtospec.analysis.two_tone_products import Figure, Intermodulation
from backtospec.analysis.waveforms import as_recorded, white_noise
from backtospec.errors import BenchError

Array = NDArray[np.float64]
Lines = dict[tuple[int, int], float]
RATE_HZ = 44_100
SQUARE, CUBE = 0.01, 0.02


def bent(low: float, high: float) -> Lines:
    """Return the lines of x + SQUARE·x² + CUBE·x³ for two cosines, in closed form."""
    return {
        (1, 0): low + CUBE * (0.75 * low**3 + 1.5 * low * high**2),
        (0, 1): high + CUBE * (0.75 * high**3 + 1.5 * low**2 * high),
        (1, 1): SQUARE * low * high,
        (1, -1): SQUARE * low * high,
        (2, 0): SQUARE * low**2 / 2,
        (0, 2): SQUARE * high**2 / 2,
        (2, 1): 0.75 * CUBE * low**2 * high,
        (2, -1): 0.75 * CUBE * low**2 * high,
        (1, 2): 0.75 * CUBE * low * high**2,
        (1, -2): 0.75 * CUBE * low * high**2,
        (3, 0): CUBE * low**3 / 4,
        (0, 3): CUBE * high**3 / 4,
    }


def recorded(
    lines: Lines, hz: tuple[float, float], seconds: float = 1.0, rate_hz: int = RATE_HZ
) -> Array:
    """Return the lines that a recorder keeps, those below half its rate."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = np.zeros(len(time_s))
    for (m, n), amplitude in lines.items():
        line_hz = m * hz[0] + n * hz[1]
        if abs(line_hz) < 0.4985 * rate_hz:
            wave += amplitude * np.cos(2 * np.pi * line_hz * time_s + 0.4 * m + 1.3 * n)
    return wave


def analyse(
    samples: Array,
    nominal_hz: tuple[float, float] = (60, 7000),
    rate_hz: int = RATE_HZ,
    mains_hz: float | None = None,
) -> TwoToneAnalysis:
    if samples.ndim == 1:
        samples = samples[:, None]
    setup = CaptureSetup(
        full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=nominal_hz[0], mains_hz=mains_hz
    )
    return analyse_two_tone(samples, FileFacts(len(samples), rate_hz, 24), setup, nominal_hz[1])


def products(found: TwoToneAnalysis, name: str = "M") -> Intermodulation:
    read = found.channels[name].intermodulation
    assert read is not None
    return read


def percent(figure: Figure | None) -> float:
    assert figure is not None
    assert figure.percent is not None
    return figure.percent


def codes(found: TwoToneAnalysis) -> set[tuple[str, str | None]]:
    return {(note.code, note.channel) for note in found.notes}


@pytest.mark.parametrize("ppm", [-500, 120, 500])
@pytest.mark.parametrize(
    ("nominal_hz", "amplitudes", "rate_hz"),
    [
        ((60, 7000), (0.4, 0.1), 44_100),
        ((250, 8000), (0.4, 0.1), 48_000),
        ((19_000, 20_000), (0.25, 0.25), 44_100),
        ((14_000, 15_000), (0.25, 0.25), 48_000),
        ((8000, 11_950), (0.25, 0.25), 44_100),
    ],
)
def test_every_product_of_a_polynomial(
    nominal_hz: tuple[float, float], amplitudes: tuple[float, float], rate_hz: int, ppm: float
) -> None:
    lines = bent(*amplitudes)
    hz = (nominal_hz[0] * (1 + ppm * 1e-6), nominal_hz[1] * (1 + ppm * 1e-6))
    found = analyse(recorded(lines, hz, 0.5, rate_hz), nominal_hz, rate_hz)
    low, high = lines[1, 0], lines[0, 1]
    reference = high if amplitudes[0] > amplitudes[1] else low + high
    for (m, n), amplitude in lines.items():
        if abs(m * hz[0] + n * hz[1]) < 0.4985 * rate_hz:
            truth = 20 * math.log10(amplitude / reference)
            assert products(found).products_db[f"{m},{n}"] == pytest.approx(truth, abs=1e-6)
    assert found.clock_ppm == pytest.approx(ppm, abs=1e-6)
    assert found.frequencies_hz == pytest.approx(hz, rel=1e-12)


def test_figures_of_four_to_one_follow_their_definitions() -> None:
    lines = bent(0.4, 0.1)
    found = analyse(recorded(lines, (60.01, 7000.5)))
    assert found.ratio == "4:1"
    second, third, high = lines[1, 1], lines[2, 1], lines[0, 1]
    read = products(found)
    pairs = 100 * math.hypot(2 * second, 2 * third) / high
    assert percent(read.imd_pairs) == pytest.approx(pairs, rel=1e-9)
    assert percent(read.imd_rms) == pytest.approx(pairs / math.sqrt(2), rel=1e-9)
    assert percent(read.d2) == pytest.approx(200 * second / high, rel=1e-9)
    assert percent(read.d3) == pytest.approx(200 * third / high, rel=1e-9)
    assert read.total_difference is None
    mono = found.channels["M"]
    assert mono.tones_vrms == pytest.approx(
        [lines[1, 0] * 40 / math.sqrt(2), lines[0, 1] * 40 / math.sqrt(2)], rel=1e-9
    )
    assert mono.power_w == pytest.approx((lines[1, 0] ** 2 + lines[0, 1] ** 2) * 100, rel=1e-9)


def test_figures_of_one_to_one_follow_their_definitions() -> None:
    lines = bent(0.25, 0.24)
    found = analyse(recorded(lines, (8001, 11_951.5)), (8000, 11_950))
    assert found.ratio == "1:1"
    reference = lines[1, 0] + lines[0, 1]
    read = products(found)
    assert percent(read.d2) == pytest.approx(100 * lines[1, -1] / reference, rel=1e-9)
    third = lines[2, -1] + lines[1, -2]
    assert percent(read.d3) == pytest.approx(100 * third / reference, rel=1e-9)
    total = math.hypot(lines[1, -1], lines[2, -1])
    assert percent(read.total_difference) == pytest.approx(100 * total / reference, rel=1e-9)
    assert read.imd_pairs is None
    assert products(analyse(recorded(lines, (19e3, 20e3)), (19e3, 20e3))).total_difference is None


def test_the_order_of_the_tones_does_not_matter() -> None:
    wave = recorded(bent(0.4, 0.1), (60.01, 7000.5))
    assert analyse(wave, (7000, 60)) == analyse(wave, (60, 7000))


def test_uncertainties_cover_what_noise_does() -> None:
    lines = bent(0.4, 0.1)
    truth_db = 20 * math.log10(lines[1, 1] / lines[0, 1])
    truth = 100 * math.hypot(2 * lines[1, 1], 2 * lines[2, 1]) / lines[0, 1]
    clean = recorded(lines, (250.02, 8001), 0.2)
    pulls, db_pulls = [], []
    for seed in range(24):
        read = products(analyse(clean + white_noise(clean.shape, 2e-4, seed), (250, 8000)))
        assert read.imd_pairs is not None
        assert read.imd_pairs.percent_u is not None
        pulls.append((percent(read.imd_pairs) - truth) / read.imd_pairs.percent_u)
        db_pulls.append((read.products_db["1,1"] - truth_db) / read.products_db_u["1,1"])
    for pull in (pulls, db_pulls):
        assert abs(float(np.mean(pull))) < 3 / math.sqrt(len(pull))
        assert 0.6 < float(np.std(pull)) < 1.45


def test_below_the_noise_only_a_bound_is_stated() -> None:
    lines = {(1, 0): 0.4, (0, 1): 0.1, (1, 1): 1e-7, (1, -1): 1e-7}
    wave = recorded(lines, (60.02, 7001))
    found = analyse(wave + white_noise(wave.shape, 1e-4, 3))
    read = products(found)
    for figure in (read.imd_pairs, read.imd_rms, read.d2, read.d3):
        assert figure is not None
        assert figure.percent is None
        assert figure.percent_at_most is not None
        assert 2e-4 < figure.percent_at_most < 0.02
    assert "1,1" not in read.products_db
    assert read.products_db_at_most["1,1"] > 20 * math.log10(1e-7 / 0.1)
    assert ("floor-limited", "M") in codes(found)


def test_hum_beside_the_tones_is_fitted() -> None:
    lines = bent(0.4, 0.1)
    wave = recorded(lines, (250.05, 8001.6))
    time_s = np.arange(len(wave)) / RATE_HZ
    hum = 3e-3 * np.cos(2 * np.pi * 50.02 * time_s) + 2e-3 * np.cos(2 * np.pi * 100.04 * time_s)
    found = analyse(wave + hum + white_noise(wave.shape, 1e-6, 5), (250, 8000))
    assert found.mains_hz == pytest.approx(50.02, abs=1e-3)
    assert ("hum", "M") in codes(found)
    assert found.channels["M"].noise_floor_dbfs == pytest.approx(-120, abs=0.3)
    second = 20 * math.log10(lines[1, 1] / lines[0, 1])
    assert products(found).products_db["1,1"] == pytest.approx(second, abs=0.003)


def test_a_low_tone_on_the_mains_is_said() -> None:
    wave = recorded(bent(0.4, 0.1), (60.01, 7000.5))
    assert ("near-hum-line", None) in codes(analyse(wave, mains_hz=60))
    assert ("near-hum-line", None) not in codes(analyse(wave, mains_hz=50))


def test_an_overloaded_channel_gives_only_its_reason() -> None:
    wave = recorded(bent(0.4, 0.1), (60.01, 7000.5))
    pair = np.stack([wave, 2.04 * wave], axis=1) + white_noise((len(wave), 2), 1e-6, 1)
    found = analyse(as_recorded(pair, 24))
    assert found.channels["R"].reason == "adc-overload"
    assert found.channels["R"].intermodulation is None
    assert found.channels["L"].valid
    assert ("adc-overload", "R") in codes(found)
    nearly = as_recorded(1.96 * wave[:, None] + white_noise((len(wave), 1), 1e-6, 1), 24)
    assert analyse(nearly).channels["M"].valid


def test_a_silent_and_a_turned_channel_are_said() -> None:
    wave = recorded(bent(0.4, 0.1), (60.01, 7000.5))
    found = analyse(np.stack([wave, np.zeros_like(wave)], axis=1))
    assert found.channels["R"].reason == "silence"
    assert found.channels["L"].valid
    assert ("inverted", "R") in codes(analyse(np.stack([wave, -wave], axis=1)))


def test_silence_around_the_tones_is_left_out() -> None:
    lines = bent(0.4, 0.1)
    quiet = np.zeros(round(0.3 * RATE_HZ))
    wave = np.concatenate([quiet, recorded(lines, (60.01, 7000.5)), quiet])
    found = analyse(wave + white_noise(wave.shape, 1e-7, 2))
    assert found.tone_start_s == pytest.approx(0.3, abs=0.11)
    assert found.tone_end_s == pytest.approx(1.3, abs=0.11)
    second = 20 * math.log10(lines[1, 1] / lines[0, 1])
    assert products(found).products_db["1,1"] == pytest.approx(second, abs=0.001)


def test_lost_samples_are_located_and_left_out() -> None:
    lines = bent(0.4, 0.1)
    whole = recorded(lines, (60.01, 7000.5), 2.0)
    at, lost = 55_000, 321
    wave = np.delete(whole, slice(at, at + lost))
    found = analyse(wave + white_noise(wave.shape, 1e-6, 4))
    breaks = [note for note in found.notes if note.code == "lost-samples"]
    assert len(breaks) == 1
    assert breaks[0].at_s == pytest.approx(at / RATE_HZ, abs=1e-3)
    jump = 360 * lost * 60.01 / RATE_HZ
    assert breaks[0].phase_jump_deg == pytest.approx((jump + 180) % 360 - 180, abs=0.1)
    second = 20 * math.log10(lines[1, 1] / lines[0, 1])
    assert products(found).products_db["1,1"] == pytest.approx(second, abs=0.002)


def test_a_gap_of_zeros_is_left_out() -> None:
    lines = bent(0.4, 0.1)
    wave = recorded(lines, (60.01, 7000.5)) + white_noise(RATE_HZ, 1e-6, 4)
    wave[20_000:20_500] = 0
    found = analyse(wave)
    gaps = [note for note in found.notes if note.code == "dropout"]
    assert [round(note.at_s or 0, 3) for note in gaps] == [round(20_000 / RATE_HZ, 3)]
    second = 20 * math.log10(lines[1, 1] / lines[0, 1])
    assert products(found).products_db["1,1"] == pytest.approx(second, abs=0.002)


@pytest.mark.parametrize(
    ("lines", "nominal_hz", "said"),
    [
        ({(1, 0): 0.2, (0, 1): 0.1}, (60, 7000), "as 2:1"),
        ({(1, 0): 0.1, (0, 1): 0.4}, (60, 7000), "as 0.25:1"),
        ({(1, 0): 0.4}, (60, 7000), "no tone of about 7000 Hz"),
        ({(0, 1): 0.4}, (60, 7000), "no tone of about 60 Hz"),
        ({(1, 0): 0.4, (0, 1): 0.1}, (60, 30_000), "does not fit below half"),
        ({(1, 0): 0.4, (0, 1): 0.1}, (3500, 7000), "fall on each other"),
        ({(1, 0): 0.4, (0, 1): 0.1}, (7000, 7000), "both tones"),
    ],
)
def test_what_is_no_such_test_is_refused(
    lines: Lines, nominal_hz: tuple[float, float], said: str
) -> None:
    wave = recorded(lines, (60.01, 7000.5)) + white_noise(RATE_HZ, 1e-6, 1)
    with pytest.raises(BenchError, match=said):
        analyse(wave, nominal_hz)


def test_a_record_too_short_to_part_the_lines_is_refused() -> None:
    with pytest.raises(BenchError, match="too short"):
        analyse(recorded(bent(0.4, 0.1), (60, 7000), 0.04))


def test_the_document_holds_every_figure_with_its_definition() -> None:
    wave = recorded(bent(0.4, 0.1), (60.01, 7000.5))
    silent = np.stack([wave + white_noise(wave.shape, 1e-6, 1), np.zeros_like(wave)], axis=1)
    document = json.loads(json.dumps(document_of(analyse(silent)), allow_nan=False))
    assert document["schema"] == "backtospec/analyse/1"
    assert document["kind"] == "two-tone"
    assert document["frequencies_hz"] == pytest.approx([60.01, 7000.5], rel=1e-6)
    left = document["channels"]["L"]
    for key in ("imd_pairs_percent", "imd_rms_percent", "d2_percent", "d3_percent"):
        assert left[key] > 0
        assert left[f"{key}_u"] > 0
        assert left["definition"][key]
    assert left["definition"]["products_db"] == "line at |m·f1 + n·f2| over the line at f2"
    assert left["products_db"]["0,1"] == pytest.approx(0, abs=1e-9)
    assert document["channels"]["R"] == {"valid": False, "reason": "silence"}
    assert document["notes"][0]["code"] == "silence"
