"""An invented power amplifier in closed form: output stage, feedback, supply and clipping."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import pi
from typing import TypeVar

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Values = TypeVar("Values", float, FloatArray)

#: Widest swing that is tabulated, in volts; far beyond the rails of the demonstration.
_WIDEST_V = 80.0
_TABLE_POINTS = 80_001


@dataclass(frozen=True, slots=True)
class OutputStage:
    """One channel: a complementary emitter follower inside its feedback loop.

    Parameters
    ----------
    idle_pair_v
        Direct volts across both emitter resistors in series, above zero.
    load_ohm
        Load at the speaker terminals.
    emitter_ohm
        One emitter resistor.
    inside_ohm
        What each device adds to its emitter resistor: emitter bulk and base resistance over gain.
    thermal_v
        kT/q of the warm junctions; 27.8 mV is 50 °C.
    error_reduction
        One plus the loop gain: by this factor the feedback divides the error of the stages.
    second_per_v, third_per_v2
        Curvature of the voltage stage before feedback, as volts of error per volt² and per volt³.
    """

    idle_pair_v: float
    load_ohm: float = 8.0
    emitter_ohm: float = 0.22
    inside_ohm: float = 0.05
    thermal_v: float = 0.0278
    error_reduction: float = 8.0
    second_per_v: float = 1.2e-4
    third_per_v2: float = 3.0e-6

    @property
    def idle_a(self) -> float:
        """Idle current in amperes."""
        return self.idle_pair_v / (2 * self.emitter_ohm)


def follower_curve(stage: OutputStage, upper_a: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return input and output volts of the bare follower, without feedback.

    Parameters
    ----------
    stage
        The channel.
    upper_a
        Current in the upper half, amperes, above zero.

    Returns
    -------
    tuple
        Input and output volts, of the shape of ``upper_a``.

    Notes
    -----
    The bias spreader holds the sum of both junction voltages and both resistor drops, hence
    ``V ln(I1 I2 / Iq²) + (I1 + I2 − 2 Iq) R = 0``, which the Wright omega function solves for the
    lower current. Static: no charge storage, so it holds for a few kilohertz at most. The ideal
    junction and the rule for the best idle current: B. M. Oliver, Hewlett-Packard Journal,
    February 1971.
    """
    from scipy.special import wrightomega

    total_ohm = stage.emitter_ohm + stage.inside_ohm
    idle_a, thermal_v = stage.idle_a, stage.thermal_v
    upper_drop_v = thermal_v * np.log(upper_a / idle_a) + (upper_a - idle_a) * total_ohm
    scale = idle_a * total_ohm / thermal_v
    omega = np.real(wrightomega(np.log(scale) + scale - upper_drop_v / thermal_v))
    lower_a = omega * thermal_v / total_ohm
    output_v = (upper_a - lower_a) * stage.load_ohm
    return output_v + upper_drop_v, output_v


def follower_gain(stage: OutputStage, output_v: FloatArray) -> FloatArray:
    """Return the incremental gain of the bare follower at the given output volts.

    Examples
    --------
    At the idle current where the drop across one resistor is kT/q, the gain at zero and far out
    are alike:

    >>> stage = OutputStage(2 * 0.0257, inside_ohm=0.0, thermal_v=0.0257)
    >>> [round(float(gain), 3) for gain in follower_gain(stage, np.array([0.0, 24.0]))]
    [0.973, 0.972]
    """
    input_v, curve_v = _upper_half(stage)
    gain = np.gradient(curve_v, input_v)
    return np.asarray(np.interp(np.abs(output_v), curve_v, gain))


def _upper_half(stage: OutputStage) -> tuple[FloatArray, FloatArray]:
    """Return input and output volts from zero upward; the stage is symmetric about zero."""
    upper_a = np.geomspace(stage.idle_a, _WIDEST_V / stage.load_ohm, _TABLE_POINTS)
    input_v, output_v = follower_curve(stage, upper_a)
    input_v[0] = output_v[0] = 0.0  # exactly, not to rounding
    return input_v, output_v


@dataclass(frozen=True, slots=True)
class FeedbackTable:
    """The error of one channel against the volts it should put out, ready for interpolation."""

    wanted_v: FloatArray
    error_v: FloatArray

    def output_v(self, wanted_v: FloatArray) -> FloatArray:
        """Return the volts put out before any clipping."""
        return np.asarray(wanted_v - np.interp(wanted_v, self.wanted_v, self.error_v))


@lru_cache(maxsize=8)
def close_loop(stage: OutputStage) -> FeedbackTable:
    """Return the transfer curve with feedback.

    With the gain settled, ``wanted = out + error(out) / (1 + loop gain)``: the curve is known
    exactly along ``out`` and is only turned round by interpolation.
    """
    input_v, positive_v = _upper_half(stage)
    output_v = np.concatenate((-positive_v[:0:-1], positive_v))
    drop_v = np.concatenate(((positive_v - input_v)[:0:-1], input_v - positive_v))
    error_v = drop_v + stage.second_per_v * output_v**2 + stage.third_per_v2 * output_v**3
    reduced_v = error_v / stage.error_reduction
    # Only what bends is distortion; the straight part is gain, which the volume control sets.
    straight = reduced_v[-1] - reduced_v[0], output_v[-1] - output_v[0]
    reduced_v = reduced_v - output_v * straight[0] / straight[1]
    return FeedbackTable(output_v + reduced_v, reduced_v)


@dataclass(frozen=True, slots=True)
class FilterCapacitor:
    """One filter capacitor as it is, not as it is marked."""

    farad: float
    esr_ohm: float


@dataclass(frozen=True, slots=True)
class Supply:
    """The unregulated split supply that both channels share.

    Parameters
    ----------
    rail_v
        Each rail at idle, without signal.
    source_ohm
        Transformer and rectifier as the mean rail voltage sees them.
    positive, negative
        The two filter capacitors.
    mains_hz
        Mains frequency; the ripple has twice that.
    charging_part
        Part of each ripple period in which the rectifier conducts.
    rejection_db
        How far below the ripple of the negative rail, which the voltage stage stands on, its trace
        at the speaker terminals lies.
    """

    positive: FilterCapacitor
    negative: FilterCapacitor
    rail_v: float = 38.0
    source_ohm: float = 1.9
    mains_hz: float = 50.0
    charging_part: float = 0.15
    rejection_db: float = 72.0

    def ripple_v(self, capacitor: FilterCapacitor, load_a: Values) -> Values:
        """Return peak-to-peak ripple: the charge drawn between two charging pulses over C."""
        period_s = (1 - self.charging_part) / (2 * self.mains_hz)
        return load_a * period_s / capacitor.farad


@dataclass(frozen=True, slots=True)
class PowerAmplifier:
    """Two channels on one supply.

    Parameters
    ----------
    left, right
        The channels.
    supply
        Their supply.
    saturation_v, saturation_ohm
        What is left between rail and output in clipping, at no current and per ampere.
    knee_v
        Width of the rounding where the output devices run out of volts.
    """

    left: OutputStage
    right: OutputStage
    supply: Supply
    saturation_v: float = 2.2
    saturation_ohm: float = 0.27
    knee_v: float = 0.12

    def drive(
        self, wanted_v: FloatArray, envelope_v: FloatArray, mains_cycles: FloatArray
    ) -> FloatArray:
        """Return volts at both speaker terminals.

        Parameters
        ----------
        wanted_v
            Shape (samples, 2): the source times the gain, volts.
        envelope_v
            Shape (samples, 2): peak of ``wanted_v``, slowly varying, volts.
        mains_cycles
            Shape (samples,): mains phase in cycles.

        Returns
        -------
        ndarray
            Shape (samples, 2).

        Notes
        -----
        The supply follows the envelope at once, which is right for level changes slow against its
        time constant of some 15 ms.
        """
        stages = (self.left, self.right)
        highest_v, _ = self._limit(self.supply.positive, envelope_v, mains_cycles)
        lowest_v, ripple_v = self._limit(self.supply.negative, envelope_v, mains_cycles)
        hum_v = -ripple_v * 10 ** (-self.supply.rejection_db / 20)
        output_v = np.empty_like(wanted_v)
        for column, stage in enumerate(stages):
            own_a = np.minimum(envelope_v[:, column], highest_v) / stage.load_ohm
            left_v = self.saturation_v + self.saturation_ohm * own_a
            unclipped_v = close_loop(stage).output_v(wanted_v[:, column]) + hum_v
            output_v[:, column] = _limited(
                unclipped_v, left_v - lowest_v, highest_v - left_v, self.knee_v
            )
        return output_v

    def _limit(
        self, capacitor: FilterCapacitor, envelope_v: FloatArray, mains_cycles: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return one rail at the signal peaks and its ripple about the mean, volts, unsigned."""
        supply = self.supply
        loads_ohm = np.array([self.left.load_ohm, self.right.load_ohm])
        mean_a = self.left.idle_a + self.right.idle_a
        unloaded_v = supply.rail_v - supply.ripple_v(capacitor, mean_a) / 2
        # Volts lost per ampere of signal peak; a rail gives half-waves, whose mean is peak / π.
        lost_ohm = (
            supply.source_ohm / pi + supply.ripple_v(capacitor, 1 / pi) / 2 + capacitor.esr_ohm
        )
        free_v = unloaded_v - lost_ohm * (envelope_v / loads_ohm).sum(axis=1)
        share = lost_ohm * (1 / loads_ohm).sum()
        clipped_v = (unloaded_v + share * self.saturation_v) / (1 + share)
        rail_v = np.maximum(free_v, clipped_v)  # in clipping the swing follows the rail
        signal_a = (unloaded_v - rail_v) / lost_ohm / pi
        ripple_v = supply.ripple_v(capacitor, mean_a + signal_a)
        sawtooth_v = ripple_v * _sawtooth(2 * mains_cycles, supply.charging_part)
        return rail_v + sawtooth_v, sawtooth_v


def _sawtooth(cycles: FloatArray, charging_part: float) -> FloatArray:
    """Return a falling sawtooth about zero, one peak to peak, with a finite rise."""
    phase = cycles % 1.0
    falling = 0.5 - phase / (1 - charging_part)
    rising = -0.5 + (phase - (1 - charging_part)) / charging_part
    return np.where(phase < 1 - charging_part, falling, rising)


def _limited(
    volts: FloatArray, lowest_v: FloatArray, highest_v: FloatArray, knee_v: float
) -> FloatArray:
    """Return the volts held between two moving limits, rounded over ``knee_v``."""
    result = volts.copy()
    for sign, limit_v in ((1.0, highest_v), (-1.0, -lowest_v)):
        room = (limit_v - sign * volts) / knee_v
        near = room < 30  # further off the rounding is below one part in 10¹³
        result[near] = sign * (limit_v[near] - knee_v * np.logaddexp(0.0, room[near]))
    return result
