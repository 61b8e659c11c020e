"""Idle current, bias strings and offsets against published figures and handbook arithmetic."""

from __future__ import annotations

import math

import pytest

from backtospec.analysis.bias_string import THERMAL_V, idle_after
from backtospec.analysis.idle_distortion import read_experiment
from backtospec.analysis.idle_sharing import Device, banks_of, sides_percent
from backtospec.analysis.input_pair import InputPair, base_current
from backtospec.analysis.meter_swap import separate
from backtospec.analysis.offset_pattern import Place, localise
from backtospec.quantity import Measured, rectangular, with_tolerance


def test_fifty_millivolts_more_double_the_idle_current() -> None:
    """About 25 to 52 mA at 0.22 Ω: worked by hand from both logarithm and resistors."""
    after = idle_after(Measured(0.025), Measured(0.050), Measured(0.22))
    assert 1000 * after.value == pytest.approx(52.0, abs=0.2)


@pytest.mark.parametrize("ohm", [0.0, 0.1, 0.22, 0.47, 1.0])
@pytest.mark.parametrize("step_v", [-0.2, -0.01, 0.0, 0.01, 0.05, 0.3])
def test_the_new_idle_current_solves_the_string(ohm: float, step_v: float) -> None:
    after = idle_after(Measured(0.025), Measured(step_v), Measured(ohm)).value
    back = 2 * ohm * (after - 0.025) + 2 * THERMAL_V * math.log(after / 0.025)
    assert back == pytest.approx(step_v, abs=1e-12)


def test_its_uncertainty_is_that_of_small_changes() -> None:
    idle, step, ohm = 0.025, 0.03, 0.22

    def moved(**by: float) -> float:
        return idle_after(
            Measured(idle + by.get("idle", 0)),
            Measured(step + by.get("step", 0)),
            Measured(ohm + by.get("ohm", 0)),
        ).value

    small = 1e-7
    slopes = [(moved(**{k: small}) - moved(**{k: -small})) / 2 / small for k in ("idle", "step")]
    slopes.append((moved(ohm=small) - moved(ohm=-small)) / 2 / small)
    spreads = (0.001, 0.002, 0.005)
    found = idle_after(*(Measured(v, u) for v, u in zip((idle, step, ohm), spreads, strict=True)))
    expected = math.hypot(*(s * u for s, u in zip(slopes, spreads, strict=True)))
    assert found.u == pytest.approx(expected, rel=1e-5)


def test_base_currents_of_the_published_jig() -> None:
    """gatech.edu amplifier construction notes, part 2: 1.6 mA a device, 4 to 20 µA expected."""
    for hfe, microampere in ((80.0, 20.0), (400.0, 4.0)):
        assert 1e6 * base_current(Measured(3.2e-3), Measured(hfe)).value == pytest.approx(
            microampere
        )


def test_equal_resistances_leave_only_the_imbalance() -> None:
    """diyaudio.com thread 40721: half the tail over the gain, times the input resistance."""
    ohm = Measured(9400.0)
    no_vbe, gain = Measured(0.0), Measured(1.0)
    even = InputPair(Measured(1e-3), Measured(120.0), Measured(120.0), ohm, ohm, no_vbe, gain)
    assert even.offset_v().value == pytest.approx(0.0, abs=1e-15)
    one_sided = InputPair(
        Measured(1e-3), Measured(120.0), Measured(120.0), ohm, Measured(1e-9), no_vbe, gain
    )
    assert -1000 * one_sided.offset_v().value == pytest.approx(0.5e-3 / 120 * 9400 * 1000)


def test_the_resistance_for_no_offset_gives_none() -> None:
    vbe, gain = Measured(0.003), Measured(1.0)
    values = (Measured(1.2e-3), Measured(180.0), Measured(95.0), Measured(22e3))
    found = InputPair(*values, Measured(10e3), vbe, gain).ohm_2_for_zero()
    assert found is not None
    assert InputPair(*values, found, vbe, gain).offset_v().value == pytest.approx(0, abs=1e-12)


def test_a_junction_nobody_compared_counts_as_uncertainty() -> None:
    ohm = with_tolerance(10e3, 1.0)
    pair = InputPair(
        Measured(1e-3),
        Measured(200.0),
        Measured(200.0),
        ohm,
        ohm,
        rectangular(0, 5e-3),
        Measured(1),
    )
    assert pair.offset_v().u == pytest.approx(5e-3 / math.sqrt(3), rel=1e-6)


@pytest.mark.parametrize("second", [0.9, 1.0, 1.07])
@pytest.mark.parametrize("right", [0.5, 1.0, 1.3])
def test_a_swap_separates_meters_from_channels(second: float, right: float) -> None:
    left_v, right_v = 10e-3, 10e-3 * right
    found = separate(
        Measured(left_v),
        Measured(right_v * second),
        Measured(left_v * second),
        Measured(right_v),
    )
    assert found is not None
    assert found.channels.value == pytest.approx(right)
    assert found.meters.value == pytest.approx(second)


def test_a_swap_without_a_drop_tells_nothing() -> None:
    assert separate(Measured(0.0), Measured(1.0), Measured(1.0), Measured(1.0)) is None


def test_distortion_of_the_published_buffer_goes_as_one_over_idle() -> None:
    """diyaudio.com/community/threads/379908 p. 3: 28 mV 0.050 %, 100 mV 0.014 %."""
    found = read_experiment([(28, 0.050), (100, 0.014)])
    assert found is not None
    assert found.lowest is None
    assert found.exponent == pytest.approx(-1.0, abs=0.001)


def test_a_minimum_is_found_and_what_lies_beyond_told() -> None:
    found = read_experiment([(5, 0.2), (10, 0.05), (20, 0.048), (40, 0.07)])
    assert found is not None
    assert (found.lowest, found.rises_again) == (10, True)
    assert read_experiment([(5, 0.2)]) is None


def devices(**drops_mv: float) -> list[Device]:
    names = ((name.replace("_", " "), v) for name, v in drops_mv.items())
    return [Device(name, Measured(v / 1000)) for name, v in names]


def test_three_millivolts_on_ten_are_thirty_percent() -> None:
    """Service sheet dated 23/11/99: 10 ± 1 mV on the set device, ±3 mV on its partners."""
    [bank] = banks_of(devices(Q1=10.0, Q2=10.0, Q3=13.0 + 1.5))
    worst = bank.worst_percent()
    assert worst is not None
    assert worst.value == pytest.approx(100 * (14.5 / 11.5 - 1))
    assert bank.worst.name == "Q3"


def test_a_silent_device_does_not_spoil_the_mean_of_the_others() -> None:
    [bank] = banks_of(devices(Q1=10.0, Q2=12.0, Q3=0.2))
    assert [d.name for d in bank.silent] == ["Q3"]
    assert bank.mean.value == pytest.approx(11e-3)
    [dead] = banks_of(devices(Q1=0.0, Q2=0.0))
    assert dead.worst_percent() is None


@pytest.mark.parametrize(
    ("name", "channel", "side"),
    [
        ("L NPN1", "left", "NPN"),
        ("Rch-PNP 2", "right", "PNP"),
        ("rechts upper", "right", "NPN"),
        ("左 lower", "left", "PNP"),
        ("Q601", "", ""),
    ],
)
def test_a_devices_name_says_where_it_is(name: str, channel: str, side: str) -> None:
    device = Device(name, Measured(0.01))
    assert (device.channel, device.side) == (channel, side)


def test_both_sides_are_compared_within_their_channel() -> None:
    banks = banks_of(devices(L_NPN=12.0, L_PNP=8.0, R_NPN=10.0, R_PNP=10.0))
    left, right = sides_percent(banks, "left"), sides_percent(banks, "right")
    assert left is not None
    assert right is not None
    assert left.value == pytest.approx(40.0)
    assert right.value == 0.0
    assert sides_percent(banks_of(devices(L_NPN=12.0)), "left") is None


OPEN_MIN, OPEN_MAX = ("open", "min"), ("open", "max")
SHORT_MIN, SHORT_MAX = ("shorted", "min"), ("shorted", "max")


@pytest.mark.parametrize(
    ("millivolts", "place"),
    [
        ({OPEN_MIN: 60, OPEN_MAX: 61, SHORT_MIN: 60, SHORT_MAX: 59}, Place.BEHIND),
        ({OPEN_MIN: -60, OPEN_MAX: -62}, Place.BEHIND),
        ({OPEN_MIN: 3, OPEN_MAX: 80, SHORT_MIN: 3, SHORT_MAX: 81}, Place.AT_CONTROL),
        ({OPEN_MIN: 3, OPEN_MAX: 80, SHORT_MIN: 3, SHORT_MAX: 4}, Place.AT_INPUT),
        ({OPEN_MIN: 3, OPEN_MAX: -40, SHORT_MAX: 2}, Place.AT_INPUT),
        ({OPEN_MIN: 40, SHORT_MIN: 3, OPEN_MAX: 40, SHORT_MAX: 3}, Place.AROUND),
        ({OPEN_MIN: 3, OPEN_MAX: 80}, Place.UNKNOWN),
        ({SHORT_MIN: 40}, Place.UNKNOWN),
    ],
)
def test_four_conditions_localise(millivolts: dict[tuple[str, str], float], place: Place) -> None:
    assert localise({where: mv / 1000 for where, mv in millivolts.items()}) is place
