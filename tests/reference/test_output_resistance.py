"""Output resistance: the published arithmetic, shared meter errors, refusals."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from backtospec.analysis.notes import FileFacts
from backtospec.analysis.output_resistance import (
    from_open_and_loaded,
    from_recordings,
    from_two_loads,
)
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ToneAnalysis, analyse_tone
from backtospec.analysis.waveforms import harmonic_wave, phase_cycles, white_noise
from backtospec.errors import BenchError
from backtospec.quantity import Measured, MeterRange, with_tolerance


def test_the_published_arithmetic() -> None:
    found = from_open_and_loaded(Measured(10.0), Measured(9.8), Measured(8.0))
    assert found.ohm.value == pytest.approx(0.16327, abs=5e-6)
    assert found.damping_factor is not None
    assert found.damping_factor.value == pytest.approx(49, rel=1e-12)
    one_digit = from_open_and_loaded(Measured(10.0), Measured(9.79), Measured(8.0))
    assert one_digit.ohm.value / found.ohm.value - 1 == pytest.approx(0.05, abs=0.002)


def test_one_meter_range_cancels_its_gain_error() -> None:
    meter = MeterRange(percent=1.0, counts=1, step=0.01)
    shared = from_open_and_loaded(meter.measured(10.0), meter.measured(9.8), Measured(8.0))
    gain_alone = MeterRange(percent=1.0, counts=0, step=0.01)
    exact = from_open_and_loaded(gain_alone.measured(10.0), gain_alone.measured(9.8), Measured(8.0))
    apart = from_open_and_loaded(
        MeterRange(1.0, 1, 0.01).measured(10.0),
        MeterRange(1.0, 1, 0.01).measured(9.8),
        Measured(8.0),
    )
    assert exact.ohm.u == pytest.approx(0, abs=1e-12)
    assert shared.ohm.u < 0.6 * apart.ohm.u


def test_uncertainty_is_what_chance_makes_of_it() -> None:
    open_volt, loaded_volt = Measured(10.0, 0.004), Measured(9.8, 0.004)
    load_ohm = with_tolerance(8.0, 1.0)
    found = from_open_and_loaded(open_volt, loaded_volt, load_ohm)
    chance = np.random.default_rng(5)
    volts = 10.0 + 0.004 * chance.standard_normal(200_000)
    loaded = 9.8 + 0.004 * chance.standard_normal(200_000)
    ohms = 8 + load_ohm.u * chance.standard_normal(200_000)
    assert found.ohm.u == pytest.approx(float(np.std(ohms * (volts / loaded - 1))), rel=0.01)


def test_what_drowns_in_the_meter_is_a_bound() -> None:
    found = from_open_and_loaded(Measured(10.0, 0.01), Measured(9.995, 0.01), Measured(8.0))
    assert found.damping_factor is None
    assert found.ohm_at_most == pytest.approx(found.ohm.value + 2 * found.ohm.u)
    assert found.damping_factor_at_least == pytest.approx(8 / (found.ohm_at_most or math.nan))


@pytest.mark.parametrize("source_ohm", [0.01, 0.163, 1.5])
def test_two_loads_give_the_source_that_made_them(source_ohm: float) -> None:
    volts = {load: 10 * load / (load + source_ohm) for load in (4.0, 8.0)}
    found = from_two_loads(Measured(volts[8.0]), Measured(8.0), Measured(volts[4.0]), Measured(4.0))
    assert found.ohm.value == pytest.approx(source_ohm, rel=1e-9)
    assert found.damping_factor is not None
    assert found.damping_factor.value == pytest.approx(4 / source_ohm, rel=1e-9)


@pytest.mark.parametrize("loaded", [10.0, 10.2])
def test_a_voltage_that_does_not_fall_is_refused(loaded: float) -> None:
    with pytest.raises(BenchError, match=f"{loaded:g} V is not below the 10 V") as caught:
        from_open_and_loaded(Measured(10.0), Measured(loaded), Measured(8.0))
    assert caught.value.faults[0].where == "loaded voltage"
    with pytest.raises(BenchError, match="is not below the 10 V on the lighter load"):
        from_two_loads(Measured(10.0), Measured(8.0), Measured(loaded), Measured(4.0))


def test_unusable_values_are_refused() -> None:
    with pytest.raises(BenchError, match="-1 V is not above 0 V"):
        from_open_and_loaded(Measured(-1.0), Measured(1.0), Measured(8.0))
    with pytest.raises(BenchError, match=r"0 Ω is outside 0\.1…10000 Ω"):
        from_open_and_loaded(Measured(10.0), Measured(9.0), Measured(0.0))
    with pytest.raises(BenchError, match="8 Ω is not below the 8 Ω"):
        from_two_loads(Measured(10.0), Measured(8.0), Measured(9.0), Measured(8.0))
    with pytest.raises(BenchError, match="draw no more current"):
        from_two_loads(Measured(10.0), Measured(8.0), Measured(4.0), Measured(4.0))


SETUP = CaptureSetup(
    full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0, load_tolerance_percent=1.0
)


def _recorded(volts: float, seed: int, thd: float = 1e-4, hz: float = 997.0) -> ToneAnalysis:
    """Return the analysis of a recorded tone of so many volts rms at the terminals, both sides."""
    amplitude = volts * math.sqrt(2) / 40
    wave = amplitude * harmonic_wave(phase_cycles(24_000, 48_000, hz), {1: 1.0, 3: -thd})
    samples = np.column_stack((wave, wave)) + white_noise((24_000, 2), 3e-6, seed)
    return analyse_tone(samples, FileFacts(24_000, 48_000, 24), SETUP)


def test_two_recordings_give_the_resistance_and_the_damping_factor() -> None:
    found, notes = from_recordings(_recorded(9.8, 1), _recorded(10.0, 2), SETUP)
    assert notes == ()
    for name in ("L", "R"):
        one = found[name]
        assert one.ohm.value == pytest.approx(0.16327, abs=1e-4)
        assert one.damping_factor is not None
        assert one.damping_factor.value == pytest.approx(49, rel=1e-3)
        # 0.01 dB as a rectangle on 8 Ω, and 1 % of the load as one on the result.
        gain_u, load_u = 8.16 * 0.01 / 8.686 / math.sqrt(3), 0.16327 * 0.01 / math.sqrt(3)
        assert one.ohm.u == pytest.approx(math.hypot(gain_u, load_u), rel=0.02)


def test_a_stiff_output_gives_bounds() -> None:
    found, _ = from_recordings(_recorded(10.0, 1), _recorded(10.0, 2), SETUP)
    assert found["L"].damping_factor is None
    assert found["L"].ohm_at_most == pytest.approx(0.0107, abs=0.001)
    assert found["L"].damping_factor_at_least == pytest.approx(750, rel=0.1)


@pytest.mark.parametrize(
    ("loaded", "unloaded", "says"),
    [
        (_recorded(9.8, 1, thd=0.04), _recorded(10.0, 2), "near clipping"),
        (_recorded(9.8, 1), _recorded(10.0, 2, thd=0.04), "near clipping"),
        (_recorded(10.2, 1), _recorded(10.0, 2), "not below"),
        (_recorded(9.8, 1), _recorded(10.0, 2, hz=1020.0), "two settings"),
    ],
    ids=["loaded clips", "open clips", "louder on the load", "another tone"],
)
def test_what_gives_no_resistance_is_refused(
    loaded: ToneAnalysis, unloaded: ToneAnalysis, says: str
) -> None:
    with pytest.raises(BenchError, match=says):
        from_recordings(loaded, unloaded, SETUP)


def test_more_than_seventy_percent_of_the_rated_power_is_near_clipping() -> None:
    near = replace(SETUP, rated_power_w=15.0)
    with pytest.raises(BenchError, match="near clipping"):
        from_recordings(_recorded(9.8, 1), _recorded(10.0, 2), near)
    far = replace(SETUP, rated_power_w=20.0)
    assert set(from_recordings(_recorded(9.8, 1), _recorded(10.0, 2), far)[0]) == {"L", "R"}
