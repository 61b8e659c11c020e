"""Ripple and inrush of a reservoir against the textbook's form and plain arithmetic."""

from __future__ import annotations

import math

import pytest

from backtospec.analysis import reservoir
from backtospec.quantity import Measured


@pytest.mark.parametrize("milliampere", [10.0, 150.0, 2000.0])
@pytest.mark.parametrize("micro", [1000.0, 4700.0, 22000.0])
def test_ripple_is_the_textbooks(milliampere: float, micro: float) -> None:
    """2.4·I[mA]/C[µF] volts RMS at 120 Hz (issuhub.com/view/index/4134?pageIndex=207)."""
    peak_to_peak = reservoir.expected_ripple(
        Measured(milliampere * 1e-3), Measured(120.0), Measured(micro * 1e-6)
    )
    textbook = 2.4 * milliampere / micro
    assert peak_to_peak.value / math.sqrt(12) == pytest.approx(textbook, rel=0.005)


def test_ripple_and_implied_capacitance_are_inverse() -> None:
    ampere, hertz = Measured(0.8), Measured(100.0)
    ripple = reservoir.expected_ripple(ampere, hertz, Measured(4700e-6))
    implied = reservoir.effective_capacitance(ampere, hertz, ripple)
    assert implied.value == pytest.approx(4700e-6)


def test_inrush_grows_with_capacitance_energy_with_volts_squared() -> None:
    assert reservoir.inrush_ratio(4700e-6, 10000e-6) == pytest.approx(2.1277, abs=1e-4)
    assert reservoir.energy_ratio(4700e-6, 4700e-6, 50, 100) == pytest.approx(4)
