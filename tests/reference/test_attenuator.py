"""The divider before a sound interface against divider arithmetic worked by hand."""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path

import pytest

from backtospec.analysis import attenuator, interface_calibration, loads, meter_response
from backtospec.analysis.attenuator import Divider, Input, Source
from backtospec.analysis.attenuator_source import Output, Peaks, worst_peaks
from backtospec.analysis.preferred_values import Series, decade, next_above, values_between
from backtospec.errors import BenchError
from backtospec.quantity import Measured, with_tolerance

TABLE = json.loads(
    (Path(__file__).parent / "data" / "preferred_values.json").read_text(encoding="utf-8")
)


@pytest.mark.parametrize("series", Series)
def test_every_row_of_the_series(series: Series) -> None:
    """IEC 60063:2015."""
    scale = 10 if series is Series.E24 else 100
    assert [round(scale * value) for value in decade(series)] == TABLE[series]
    assert values_between(series, 1.0, 9.999) == decade(series)


@pytest.mark.parametrize("series", Series)
def test_the_next_value_is_never_below_and_never_skips_one(series: Series) -> None:
    values = values_between(series, 100.0, 99_999.0)
    for low, high in itertools.pairwise(values):
        assert next_above(series, low) == low
        assert next_above(series, low * 1.0001) == high


@pytest.mark.parametrize(
    ("head", "foot", "input_ohm", "ratio"),
    [
        # 10:1 with 10 Ω and 100 Ω, as people ask for it, is 1:11
        (100.0, 10.0, 1e15, 1 / 11),
        (10e3, 1e3, 1e15, 1 / 11),
        # 10 kΩ beside 1 kΩ is 909.09 Ω: 909.09 / 10 909.09
        (10e3, 1e3, 10e3, 1 / 12),
        # 4:1 into 20 kΩ: 6.8 kΩ beside it is 5074.6 Ω; 5074.6 / 20 074.6
        (15e3, 6.8e3, 20e3, 0.252788),
    ],
)
def test_the_loaded_ratio(head: float, foot: float, input_ohm: float, ratio: float) -> None:
    divider = Divider(Measured(head), Measured(foot))
    assert divider.ratio(Measured(input_ohm)).value == pytest.approx(ratio, rel=1e-5)


def test_the_ratio_carries_each_tolerance_once() -> None:
    """r = f/(h+f): dr/r = (1-r)·(df/f - dh/h), both of 1 % as rectangles."""
    divider = Divider(with_tolerance(9e3, 1.0), with_tolerance(1e3, 1.0))
    ratio = divider.ratio(Measured(1e15))
    assert ratio.value == pytest.approx(0.1)
    assert ratio.relative == pytest.approx(0.9 * math.sqrt(2) * 0.01 / math.sqrt(3), rel=1e-6)


def test_the_input_impedance_counts_by_how_much_it_loads() -> None:
    """1 kΩ beside 20 kΩ ± 20 %: the ratio feels 0.9·(1/21) of it, to first order."""
    divider = Divider(Measured(9e3), Measured(1e3))
    ratio = divider.ratio(with_tolerance(20e3, 20.0))
    loaded = 1 / (1 / 1e3 + 1 / 20e3)
    share = (9e3 / (9e3 + loaded)) * loaded / 20e3
    assert ratio.relative == pytest.approx(share * 0.2 / math.sqrt(3), rel=1e-6)


def test_watts_with_a_rail_standing() -> None:
    """60 V across 5 kΩ + 1 kΩ: 10 mA, 0.5 W and 0.1 W."""
    watts = Divider(Measured(5e3), Measured(1e3)).dissipation_w(60.0, 1e15)
    assert watts == pytest.approx((0.5, 0.1))


@pytest.mark.parametrize(
    ("source", "output", "peaks"),
    [
        (Source(rail_v=42.0), Output.GROUNDED, Peaks(42.0, 42.0)),
        (Source(rail_v=42.0), Output.INVERTED, Peaks(42.0, 42.0)),
        (Source(rail_v=42.0), Output.BRIDGED, Peaks(84.0, 42.0)),
        (Source(rail_v=42.0), Output.FLOATING, Peaks(84.0, 42.0)),
        # 120 W into 8 Ω is 43.8 V peak; a quarter more is 54.8
        (Source(rated_w=120.0, load_ohm=8.0), Output.GROUNDED, Peaks(54.772, 54.772)),
        (Source(rated_w=120.0, load_ohm=8.0), Output.BRIDGED, Peaks(54.772, 27.386)),
        (Source(rated_w=120.0, load_ohm=8.0), Output.FLOATING, Peaks(54.772, 54.772)),
        (Source(30.0, 120.0, 8.0), Output.GROUNDED, Peaks(54.772, 54.772)),
        (Source(75.0, 120.0, 8.0), Output.GROUNDED, Peaks(75.0, 75.0)),
    ],
)
def test_the_worst_peaks(source: Source, output: Output, peaks: Peaks) -> None:
    found = worst_peaks(source, output)
    assert (found.across_v, found.to_chassis_v) == pytest.approx(
        (peaks.across_v, peaks.to_chassis_v), abs=1e-3
    )


@pytest.mark.parametrize("series", Series)
@pytest.mark.parametrize("output", Output)
@pytest.mark.parametrize("rail_v", [9.0, 24.0, 38.0, 55.0, 80.0, 120.0])
@pytest.mark.parametrize("into", [(4.0, 20e3), (1.0, 10e3), (7.75, 1e6)])
def test_a_design_keeps_what_it_was_asked_for(
    series: Series, output: Output, rail_v: float, into: tuple[float, float]
) -> None:
    card = Input.of_sine(*into)
    if rail_v * 10 ** (3 / 20) < card.full_scale_v.value:
        with pytest.raises(BenchError, match="without a divider"):
            attenuator.design(Source(rail_v), card, output=output, series=series)
        return
    made = attenuator.design(Source(rail_v), card, output=output, series=series)
    assert 3.0 <= made.headroom_db < 3.6
    assert max(made.series_w, made.shunt_w) <= 0.25
    assert made.divider.shunt_ohm.value <= into[1] / 5
    assert made.full_scale_v.value * made.ratio.value == pytest.approx(card.full_scale_v.value)
    assert made.dividers == (1 if output is Output.GROUNDED else 2)
    assert made.clamp.zener_v >= 2 * card.full_scale_v.value
    assert made.clamp.worst_a * made.divider.series_ohm.value <= rail_v
    assert made.full_scale_v.relative >= 0.10 / math.sqrt(3)


def codes(made: attenuator.Attenuator) -> list[str]:
    return [remark.code for remark in made.remarks]


def test_the_remarks() -> None:
    card = Input.of_sine(4.0, 20e3)
    made = attenuator.design(Source(55.0), card)
    assert codes(made) == ["check-chassis"]
    for output in (Output.BRIDGED, Output.INVERTED, Output.FLOATING):
        made = attenuator.design(Source(55.0), card, output=output)
        assert codes(made) == ["check-chassis", output.value]
        assert "two dividers" in made.remarks[1].text
    assert "rating-above-rail" in codes(attenuator.design(Source(30.0, 120.0, 8.0), card))
    bridged = attenuator.design(Source(30.0, 120.0, 8.0), card, output=Output.BRIDGED)
    assert "rating-above-rail" not in codes(bridged)
    quiet = attenuator.design(Source(55.0, 0.1, 8.0), card)
    assert "low-level" in codes(quiet)
    heavy = Divider(Measured(9e3), Measured(3e3))
    assert "input-loads" in codes(attenuator.of_resistors(heavy, Source(20.0), card))
    small = Divider(Measured(1e3), Measured(1e3))
    assert "little-headroom" in codes(attenuator.of_resistors(small, Source(55.0), card))


def test_what_cannot_be_designed_is_refused() -> None:
    card = Input.of_sine(4.0, 20e3)
    for ask, where in (
        (lambda: Source(), "rail"),
        (lambda: Source(rated_w=45.0), "rail"),
        (lambda: Source(rail_v=-55.0), "rail"),
        (lambda: attenuator.design(Source(55.0), card, headroom_db=-1.0), "headroom"),
        (lambda: attenuator.design(Source(55.0), card, resistor_w=0.01), "resistors"),
        (lambda: attenuator.design(Source(55.0), Input.of_sine(4.0, 600.0)), "resistors"),
        (lambda: attenuator.design(Source(2.0), card), "attenuator"),
    ):
        with pytest.raises(BenchError) as raised:
            ask()
        fault = raised.value.faults[0]
        assert fault.where == where
        assert fault.what
        assert fault.fix


def test_one_known_sine_calibrates() -> None:
    """1.000 V RMS at −3.0103 dBFS is 2.000 V peak at full scale."""
    found = interface_calibration.calibrate(Measured(-3.0103), with_tolerance(1.0, 0.6))
    assert found.full_scale_v.value == pytest.approx(2.0, rel=1e-6)
    assert found.full_scale_v.relative == pytest.approx(0.006 / math.sqrt(3), rel=1e-6)
    assert found.doubts == ()
    both = interface_calibration.calibrate(Measured(-3.0103, 0.1), with_tolerance(1.0, 0.6))
    level = 0.1 * math.log(10) / 20
    assert both.full_scale_v.relative == pytest.approx(
        math.hypot(level, 0.006 / math.sqrt(3)), rel=1e-4
    )


@pytest.mark.parametrize(
    ("level", "volts", "thd", "word"),
    [(-0.5, 1.0, None, "clipped"), (-40.0, 0.1, None, "noise"), (-12.0, 1.0, 3.0, "distortion")],
)
def test_a_doubtful_sine_is_doubted(
    level: float, volts: float, thd: float | None, word: str
) -> None:
    found = interface_calibration.calibrate(Measured(level), Measured(volts), thd_percent=thd)
    assert [word in doubt for doubt in found.doubts] == [True]


def test_a_sine_that_cannot_be_is_refused() -> None:
    for level, volts, where in ((1.0, 1.0, "recorded level"), (-6.0, 0.0, "meter")):
        with pytest.raises(BenchError) as raised:
            interface_calibration.calibrate(Measured(level), Measured(volts))
        assert raised.value.faults[0].where == where


def test_a_load_as_measured() -> None:
    """audioxpress.com, you can DIY: build an audio dummy load: 7.956 Ω, 20 µH."""
    load = loads.Load(Measured(7.986, 0.02), Measured(8.03, 0.02), Measured(0.03), 20e-6, 100.0)
    assert load.cold.value == pytest.approx(7.956)
    assert load.in_use.value == pytest.approx(8.0)
    assert load.drift_percent == pytest.approx(0.553, abs=1e-3)
    assert load.impedance_excess_percent(1000.0) == pytest.approx(0.0123, abs=1e-4)
    assert load.continuous_w == 100.0
    assert load.doubts == ()


def test_a_load_is_doubted_where_it_should_be() -> None:
    cold = loads.Load(Measured(8.0), on_heatsink=False, rating_w=100.0)
    assert (len(cold.doubts), cold.continuous_w) == (2, 25.0)
    drifting = loads.Load(Measured(8.0), Measured(8.4))
    assert "5.0 %" in drifting.doubts[0]
    with pytest.raises(BenchError, match="leads"):
        loads.Load(Measured(0.02), lead_ohm=Measured(0.03))


def test_a_meter_is_corrected_within_what_was_tried() -> None:
    shown = {50.0: 1.0, 400.0: 1.0, 1000.0: 0.97, 10_000.0: 0.55}
    assert meter_response.factor_at(shown, 1000.0) == 0.97
    assert meter_response.factor_at(shown, 200.0) == 1.0
    assert 0.55 < meter_response.factor_at(shown, 3000.0) < 0.97
    for hz in (20.0, 20_000.0):
        with pytest.raises(BenchError, match="tried at 50…10000 Hz"):
            meter_response.factor_at(shown, hz)
