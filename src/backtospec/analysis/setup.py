"""What must be known about a recording before its figures mean volts and watts."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec.errors import BenchError

_HIGHEST_FULL_SCALE_VOLTS = 1e4
_LOAD_RANGE_OHM = (0.1, 1e6)
_NOMINAL_RANGE_HZ = (1.0, 96_000.0)
_MAINS_HZ = (50.0, 60.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureSetup:
    """Calibration, loads and intent of one recording; checked when it is made.

    Parameters
    ----------
    full_scale_volts
        Peak volts (never rms) at digital amplitude 1.0; one number for both channels, or one
        per channel. 0…10 000 V.
    load_ohm
        Load resistance; one number for both channels, or one per channel. 0.1…1 000 000 Ω.
    nominal_hz
        What the generator was set to. The frequency itself is always fitted.
    load_tolerance_percent
        Half-width of the load's tolerance, for the uncertainty of power. 0…50 %.
    mains_hz
        50 or 60; without it both are tried.
    channels
        Which channels of the file to take, counted from 1; one or two of them.
    rated_thd_percent
        The maker's distortion figure; the power is then also found at this THD. 0…100 %.
    rated_power_w
        The maker's power figure.
    bands_hz
        Bands in which THD+N and signal to noise are wanted beside the usual ones: low and high
        end of each, 1…96 000 Hz.

    Raises
    ------
    BenchError
        All faults at once.

    Examples
    --------
    >>> setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0, 4.0), nominal_hz=1000.0)
    >>> setup.volts("R"), setup.ohms("R")
    (40.0, 4.0)
    """

    full_scale_volts: tuple[float, ...]
    load_ohm: tuple[float, ...]
    nominal_hz: float
    load_tolerance_percent: float | None = None
    mains_hz: float | None = None
    channels: tuple[int, ...] | None = None
    rated_thd_percent: float | None = None
    rated_power_w: float | None = None
    bands_hz: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        faults = [
            *_per_channel_faults(
                self.full_scale_volts, "full-scale volts", (0.0, _HIGHEST_FULL_SCALE_VOLTS), "V"
            ),
            *_per_channel_faults(self.load_ohm, "load", _LOAD_RANGE_OHM, "Ω"),
            *_range_faults(self.nominal_hz, "nominal frequency", _NOMINAL_RANGE_HZ, "Hz"),
            *_range_faults(self.load_tolerance_percent, "load tolerance", (0.0, 50.0), "%"),
            *_range_faults(self.rated_thd_percent, "rated THD", (0.0, 100.0), "%"),
            *_range_faults(self.rated_power_w, "rated power", (0.0, 1e5), "W"),
            *_mains_faults(self.mains_hz),
            *_channels_faults(self.channels),
            *(fault for low, high in self.bands_hz for fault in _band_faults(low, high)),
        ]
        if faults:
            raise BenchError.of(faults)

    def volts(self, channel: str) -> float:
        """Return the peak volts at digital amplitude 1.0 of channel ``L``, ``R`` or ``M``."""
        return self.full_scale_volts[-1 if channel == "R" else 0]

    def ohms(self, channel: str) -> float:
        """Return the load of channel ``L``, ``R`` or ``M``."""
        return self.load_ohm[-1 if channel == "R" else 0]

    def power_w(self, channel: str, amplitude: float) -> float:
        """Return watts of a sine of this peak digital amplitude: (A·V/√2)²/R."""
        return (amplitude * self.volts(channel)) ** 2 / 2 / self.ohms(channel)

    def relative_power_u(self, relative_amplitude_u: float) -> float:
        """Return the relative standard uncertainty of power: noise, and the load's tolerance."""
        load = (self.load_tolerance_percent or 0.0) / 100 / math.sqrt(3)
        return math.hypot(2 * relative_amplitude_u, load)


def _range_faults(
    value: float | None, where: str, limits: tuple[float, float], unit: str
) -> list[BenchError]:
    low, high = limits
    if value is None or (math.isfinite(value) and low <= value <= high and value > 0):
        return []
    if value == 0 and where == "load tolerance":
        return []
    return [
        BenchError(
            f"{value:g} {unit} is outside {low:g}…{high:g} {unit} (above zero).",
            where,
            "Give the figure as measured.",
        )
    ]


def _per_channel_faults(
    values: tuple[float, ...], where: str, limits: tuple[float, float], unit: str
) -> list[BenchError]:
    if len(values) not in (1, 2):
        return [
            BenchError(
                f"{len(values)} figures were given; one for both channels or one per channel.",
                where,
                f"Give one or two figures in {unit}.",
            )
        ]
    return [fault for value in values for fault in _range_faults(value, where, limits, unit)]


def _mains_faults(mains_hz: float | None) -> list[BenchError]:
    if mains_hz is None or mains_hz in _MAINS_HZ:
        return []
    return [BenchError(f"{mains_hz:g} Hz is neither 50 nor 60 Hz.", "mains", "Give 50 or 60.")]


def _channels_faults(channels: tuple[int, ...] | None) -> list[BenchError]:
    if channels is None:
        return []
    distinct = len(set(channels)) == len(channels)
    if len(channels) in (1, 2) and distinct and min(channels) >= 1:
        return []
    given = ",".join(str(channel) for channel in channels)
    return [
        BenchError(
            f"{given!r} does not name one or two different channels, counted from 1.",
            "channels",
            "Give, for example, 1,2.",
        )
    ]


def _band_faults(low: float, high: float) -> list[BenchError]:
    if 1 <= low < high <= 96_000:
        return []
    return [
        BenchError(
            f"{low:g}-{high:g} Hz is no band within 1…96000 Hz, the lower end first.",
            "bands",
            "Give, for example, 20-20000,400-30000.",
        )
    ]
