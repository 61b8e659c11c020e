"""A resistive divider between an amplifier and a sound interface, designed from the worst case."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backtospec.analysis.attenuator_remarks import Remark, remarks_on
from backtospec.analysis.attenuator_source import Output, Peaks, Source, worst_peaks
from backtospec.analysis.preferred_values import Series, next_above, values_between
from backtospec.errors import BenchError
from backtospec.quantity import Measured, with_tolerance, write

__all__ = ["Attenuator", "Clamp", "Divider", "Input", "Output", "Source", "design", "of_resistors"]

LEAST_SHUNT_OHM = 220.0
MOST_SHUNT_OHM = (2200.0, 10e3)
"""Shunt resistors that are looked at: low against any input, high enough to stay cool; the second
bound only where nothing up to the first stays cool (common practice, no source)."""

LEAST_INPUT_OVER_SHUNT = 5.0
"""The input loads the shunt; below this the input's own tolerance would set the ratio."""


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a sound interface.

    Parameters
    ----------
    full_scale_v
        Peak volts at digital amplitude 1.0; for a figure in volts RMS of a sine, √2 times it.
    ohm
        Input impedance, usually read from a data sheet.

    Examples
    --------
    >>> round(Input.of_sine(4.0, 20e3, ohm_tolerance_percent=0.0).full_scale_v.value, 3)
    5.657
    """

    full_scale_v: Measured
    ohm: Measured

    @classmethod
    def of_sine(
        cls,
        full_scale_vrms: float,
        ohm: float,
        *,
        full_scale_tolerance_percent: float = 10.0,
        ohm_tolerance_percent: float = 20.0,
    ) -> Input:
        """Return the input that a data sheet describes.

        Notes
        -----
        10 % of full scale is 0.8 dB; both tolerances are common practice, no source. One known
        sine does away with them: :mod:`backtospec.analysis.interface_calibration`.
        """
        volts = with_tolerance(full_scale_vrms * math.sqrt(2), full_scale_tolerance_percent)
        return cls(volts, with_tolerance(ohm, ohm_tolerance_percent))


@dataclass(frozen=True, slots=True)
class Divider:
    """A series resistor from the amplifier and a shunt resistor across the input, in ohms."""

    series_ohm: Measured
    shunt_ohm: Measured

    def ratio(self, input_ohm: Measured) -> Measured:
        """Return output over input, 0…1, with the input's loading.

        Examples
        --------
        10 kΩ and 1 kΩ alone, and with an input of 10 kΩ beside the 1 kΩ:

        >>> ten = Divider(Measured(10e3), Measured(1e3))
        >>> round(ten.ratio(Measured(1e12)).value, 5), round(ten.ratio(Measured(10e3)).value, 5)
        (0.09091, 0.08333)
        """
        # written with conductances, each resistor once, so that its tolerance counts once
        return 1 / (1 + self.series_ohm * (1 / self.shunt_ohm + 1 / input_ohm))

    def dissipation_w(self, volt: float, input_ohm: float) -> tuple[float, float]:
        """Return the watts in the series and in the shunt resistor, with ``volt`` standing.

        Examples
        --------
        55 V of a failed output stage across 10 kΩ and 1 kΩ:

        >>> [round(w, 4) for w in Divider(Measured(10e3), Measured(1e3)).dissipation_w(55, 1e12)]
        [0.25, 0.025]
        """
        series, shunt = self.series_ohm.value, self.shunt_ohm.value
        across_shunt = volt * self.ratio(Measured(input_ohm)).value
        return (volt - across_shunt) ** 2 / series, across_shunt**2 / shunt


@dataclass(frozen=True, slots=True)
class Clamp:
    """What keeps the input whole when more arrives than was foreseen.

    Parameters
    ----------
    zener_v
        Of each of two zener diodes in opposite series across the shunt resistor.
    worst_a
        Current into them with the worst peak standing, limited by the series resistor.
    """

    zener_v: float
    worst_a: float

    @property
    def words(self) -> str:
        """What to fit."""
        return (
            f"two zener diodes, cathodes together, across the shunt resistor: {self.zener_v:g} V "
            f"each, at most {write(self.worst_a, 'A')} through them"
        )


@dataclass(frozen=True, slots=True)
class Attenuator:
    """A divider with all that follows from it.

    Parameters
    ----------
    peaks
        The worst the amplifier can put out.
    dividers
        How many are needed for one channel of the amplifier: two where neither terminal is chassis.
    ratio
        Output over input of each divider, with the loading.
    full_scale_v
        Peak volts at the divider's head at digital amplitude 1.0, of each recorded channel; where
        two are subtracted their difference times this is the voltage between the terminals.
    series_w, shunt_w
        Watts with the worst peak standing, as after a failed output device.
    headroom_db
        From the worst peak to digital full scale.
    rated_dbfs
        Peak level of the rated power in the recording, where one is known.
    """

    output: Output
    peaks: Peaks
    divider: Divider
    dividers: int
    ratio: Measured
    full_scale_v: Measured
    series_w: float
    shunt_w: float
    headroom_db: float
    rated_dbfs: float | None
    clamp: Clamp
    remarks: tuple[Remark, ...]


def design(
    source: Source,
    into: Input,
    *,
    output: Output = Output.GROUNDED,
    headroom_db: float = 3.0,
    series: Series = Series.E24,
    tolerance_percent: float = 1.0,
    resistor_w: float = 0.5,
) -> Attenuator:
    """Return the divider that keeps the worst peak below digital full scale.

    Parameters
    ----------
    source
        What the amplifier can put out.
    into
        The interface's input.
    output
        How the speaker terminals stand against the chassis.
    headroom_db
        Kept between the worst peak and digital full scale, 0…40 dB.
    series, tolerance_percent
        What resistors there are to choose from, and how exact they are, 0…10 %.
    resistor_w
        Rating of the resistors; each is used to half of it at most.

    Raises
    ------
    BenchError
        Where no divider is needed, or none of the resistors suits.

    Notes
    -----
    Of all pairs with a shunt resistor of 220 Ω to 2.2 kΩ (10 kΩ where those run too hot) and at
    most a fifth of the input impedance, the one that wastes least range without ever taking more
    than was asked; of those within one percent the lowest, which the input loads least.

    Examples
    --------
    ±55 V into an input of 4 V RMS and 20 kΩ, with 3 dB to spare:

    >>> found = design(Source(rail_v=55.0), Input.of_sine(4.0, 20e3))
    >>> found.divider.series_ohm.value, found.divider.shunt_ohm.value
    (18000.0, 1500.0)
    >>> round(found.full_scale_v.value, 1), round(found.headroom_db, 2)
    (78.6, 3.1)
    """
    _refuse(headroom_db, "headroom", 0.0, 40.0, "dB")
    _refuse(tolerance_percent, "tolerance", 0.0, 10.0, "%")
    peaks = worst_peaks(source, output)
    wanted = into.full_scale_v.value / (peaks.to_chassis_v * 10 ** (headroom_db / 20))
    if wanted >= 1:
        raise BenchError(
            f"{write(peaks.to_chassis_v, 'V')} peak fits the input's "
            f"{write(into.full_scale_v.value, 'V')} without a divider.",
            "attenuator",
            "Connect it through 1 kΩ alone.",
        )
    pairs: list[tuple[float, float, float]] = []
    for most_ohm in MOST_SHUNT_OHM:
        pairs = pairs or _pairs(wanted, peaks.to_chassis_v, into, series, resistor_w, most_ohm)
    if not pairs:
        raise BenchError(
            f"no pair of resistors stays below {resistor_w / 2:g} W with "
            f"{write(peaks.to_chassis_v, 'V')} standing, at an input of "
            f"{write(into.ohm.value, 'Ω')}.",
            "resistors",
            "State resistors of a higher rating.",
        )
    head, foot = min(pairs, key=lambda pair: (-round(pair[2] / wanted, 2), pair[1]))[:2]
    chosen = Divider(*(with_tolerance(ohm, tolerance_percent) for ohm in (head, foot)))
    return of_resistors(chosen, source, into, output=output)


def of_resistors(
    divider: Divider, source: Source, into: Input, *, output: Output = Output.GROUNDED
) -> Attenuator:
    """Return what follows from a divider that there is, with its resistors as measured.

    Parameters
    ----------
    divider, source, into, output
        See :func:`design`.
    """
    peaks = worst_peaks(source, output)
    ratio = divider.ratio(into.ohm)
    full_scale_v = into.full_scale_v / ratio
    series_w, shunt_w = divider.dissipation_w(peaks.to_chassis_v, into.ohm.value)
    headroom_db = 20 * math.log10(full_scale_v.value / peaks.to_chassis_v)
    rated_v = source.rated_peak_v
    if rated_v is not None and output is Output.BRIDGED:
        rated_v /= 2
    rated_dbfs = None if rated_v is None else 20 * math.log10(rated_v / full_scale_v.value)
    loading = into.ohm.value / divider.shunt_ohm.value
    zener_v = next_above(Series.E24, 2 * into.full_scale_v.value)
    worst_a = max(0.0, peaks.to_chassis_v - zener_v) / divider.series_ohm.value
    return Attenuator(
        output,
        peaks,
        divider,
        1 if output is Output.GROUNDED else 2,
        ratio,
        full_scale_v,
        series_w,
        shunt_w,
        headroom_db,
        rated_dbfs,
        Clamp(zener_v, worst_a),
        remarks_on(output, peaks, source, headroom_db, rated_dbfs, loading),
    )


def _pairs(
    wanted: float, volt: float, into: Input, series: Series, resistor_w: float, most_ohm: float
) -> list[tuple[float, float, float]]:
    """Return series resistor, shunt resistor and ratio of every pair that may be used."""
    found = []
    input_ohm = into.ohm.value
    low, high = LEAST_SHUNT_OHM, min(most_ohm, input_ohm / LEAST_INPUT_OVER_SHUNT)
    for shunt in values_between(series, low, high) if high > low else ():
        loaded = 1 / (1 / shunt + 1 / input_ohm)
        head = next_above(series, loaded * (1 / wanted - 1))
        divider = Divider(Measured(head), Measured(shunt))
        if max(divider.dissipation_w(volt, input_ohm)) <= resistor_w / 2:
            found.append((head, shunt, loaded / (head + loaded)))
    return found


def _refuse(value: float, where: str, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise BenchError(
            f"{value:g} {unit} is outside {low:g}…{high:g} {unit}.", where, "Check the unit."
        )
