"""Output resistance: the published arithmetic, shared meter errors, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backtospec.analysis.output_resistance import from_open_and_loaded, from_two_loads
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
