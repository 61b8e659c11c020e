"""Output resistance and damping factor, from what a load does to the output voltage."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from backtospec.analysis.notes import Note
from backtospec.analysis.quality import is_clipping
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ChannelTone, ToneAnalysis
from backtospec.errors import BenchError
from backtospec.quantity import Measured

_COVERED = 2.0
#: All gains between two recordings: half-width, common practice, no source.
_GAIN_HELD_DB = 0.01
_CLIPPING_THD = 0.03
_RATED_SHARE = 0.7
_SAME_TONE = 1e-3


@dataclass(frozen=True, slots=True)
class OutputResistance:
    """Output resistance of an amplifier with its uncertainty.

    Parameters
    ----------
    ohm
        Output resistance.
    damping_factor
        Load over output resistance, where the resistance is told from zero; else ``None``.
    load_ohm
        The load to which the damping factor refers.
    ohm_at_most, damping_factor_at_least
        The bounds that hold where the resistance is not told from zero (about 97.5 %).
    """

    ohm: Measured
    load_ohm: Measured
    damping_factor: Measured | None
    ohm_at_most: float | None
    damping_factor_at_least: float | None


def from_open_and_loaded(
    open_volt: Measured, loaded_volt: Measured, load_ohm: Measured
) -> OutputResistance:
    """Return the output resistance R = load·(open/loaded − 1).

    Parameters
    ----------
    open_volt, loaded_volt
        Rms volts at the terminals without and with the load, at one drive and well below
        clipping. Two readings of one meter range share its gain error
        (:class:`backtospec.quantity.MeterRange`), which then cancels.
    load_ohm
        Load resistance, 0.1…10 000 Ω.

    Raises
    ------
    BenchError
        Where the loaded voltage lies above the open one by more than their uncertainty (equal
        exact voltages as well), or a value is not positive.

    Notes
    -----
    diyaudio.com thread 260534. Near clipping the supply sags and the result is not a resistance
    (diyaudio.com/community/threads/4549). Sensed at the load instead of the terminals, the leads
    are counted in.

    Examples
    --------
    >>> found = from_open_and_loaded(Measured(10.00), Measured(9.80), Measured(8.0))
    >>> f"{found.ohm.value:.3f} Ω, {found.damping_factor.value:.0f}"
    '0.163 Ω, 49'
    """
    _refuse_unusable((open_volt, "open voltage"), (loaded_volt, "loaded voltage"))
    _refuse_load(load_ohm, "load")
    _refuse_rise(open_volt, loaded_volt, "loaded voltage", "without a load")
    return _result(load_ohm * (open_volt / loaded_volt - 1), load_ohm)


def from_two_loads(
    light_volt: Measured, light_ohm: Measured, heavy_volt: Measured, heavy_ohm: Measured
) -> OutputResistance:
    """Return the output resistance from two loads; the damping factor refers to the heavy one.

    Parameters
    ----------
    light_volt, heavy_volt
        Rms volts at the terminals on the higher and on the lower resistance.
    light_ohm, heavy_ohm
        The two loads, 0.1…10 000 Ω, the light one higher.

    Raises
    ------
    BenchError
        Where the voltage on the heavier load is the higher one beyond doubt, or a value is not
        usable.

    Notes
    -----
    R = (V₁ − V₂)/(V₂/R₂ − V₁/R₁).

    Examples
    --------
    >>> found = from_two_loads(Measured(9.9), Measured(16.0), Measured(9.8), Measured(8.0))
    >>> f"{found.ohm.value:.3f} Ω"
    '0.165 Ω'
    """
    _refuse_unusable(
        (light_volt, "voltage on the lighter load"), (heavy_volt, "voltage on the heavier load")
    )
    _refuse_load(light_ohm, "lighter load")
    _refuse_load(heavy_ohm, "heavier load")
    if heavy_ohm.value >= light_ohm.value:
        raise BenchError(
            f"{heavy_ohm.value:g} Ω is not below the {light_ohm.value:g} Ω of the lighter load.",
            "heavier load",
            "Give the lower resistance as the heavier load.",
        )
    _refuse_rise(light_volt, heavy_volt, "voltage on the heavier load", "on the lighter load")
    more_ampere = heavy_volt / heavy_ohm - light_volt / light_ohm
    if more_ampere.value <= 0:
        raise BenchError(
            f"{heavy_volt.value:g} V on {heavy_ohm.value:g} Ω draw no more current than "
            f"{light_volt.value:g} V on {light_ohm.value:g} Ω: that is no resistance.",
            "voltage on the heavier load",
            "Lower the drive and measure both again.",
        )
    return _result((light_volt - heavy_volt) / more_ampere, heavy_ohm)


def from_recordings(
    loaded: ToneAnalysis, unloaded: ToneAnalysis, setup: CaptureSetup
) -> tuple[Mapping[str, OutputResistance], tuple[Note, ...]]:
    """Return the output resistance of each channel from two recorded tones, and remarks.

    Parameters
    ----------
    loaded, unloaded
        The same tone on the load and with the output open; nothing else may have been changed:
        neither the drive nor any gain, the recorder's included.
    setup
        Calibration and load, with its tolerance.

    Raises
    ------
    BenchError
        When the tones differ in frequency, or no channel gives a figure: near clipping, refused,
        or louder on the load than without.

    Notes
    -----
    As :func:`from_open_and_loaded`. Calibration cancels; what remains is noise, the load's
    tolerance, and how well all gains held, taken as ±0.01 dB (common practice, no source). Near
    clipping means: the crests are cut, 3 % THD, or 70 % of the rated power where that is given.
    """
    found: dict[str, OutputResistance] = {}
    notes: list[Note] = []
    faults: list[BenchError] = []
    for name, on_load in loaded.channels.items():
        in_air = unloaded.channels.get(name)
        try:
            if in_air is None:
                raise BenchError(
                    f"the recording without a load has no channel {name}.",
                    "recording without a load",
                    "Record both the same way.",
                )
            found[name] = _of_channel(on_load, in_air, name, setup)
        except BenchError as error:
            faults.append(error)
            text = f"No output resistance: {error.faults[0].what}"
            notes.append(Note("no-output-resistance", text, name))
    if not found:
        raise BenchError.of(faults)
    return found, tuple(notes)


def _of_channel(
    loaded: ChannelTone, unloaded: ChannelTone, name: str, setup: CaptureSetup
) -> OutputResistance:
    volts = []
    for tone, where in ((unloaded, "recording without a load"), (loaded, "recording on the load")):
        _refuse_near_clipping(tone, f"{where}, {name}", setup.rated_power_w)
        if tone.fundamental_vrms is None or tone.fundamental_vrms_u is None or tone.driven is False:
            raise BenchError(
                "the channel holds no tone that can be measured.",
                f"{where}, {name}",
                "Record the tone in both.",
            )
        volts.append(Measured(tone.fundamental_vrms, tone.fundamental_vrms_u))
    _refuse_other_tone(loaded, unloaded)
    held = Measured(1.0, (10 ** (_GAIN_HELD_DB / 20) - 1) / math.sqrt(3))
    tolerance = (setup.load_tolerance_percent or 0.0) / 100 / math.sqrt(3)
    load_ohm = Measured(setup.ohms(name), setup.ohms(name) * tolerance)
    return from_open_and_loaded(volts[0], volts[1] * held, load_ohm)


def _refuse_near_clipping(tone: ChannelTone, where: str, rated_power_w: float | None) -> None:
    distortion = tone.distortion
    if distortion is None:
        return
    thd = distortion.clipped_thd
    power_w = tone.power_w or 0.0
    loud = rated_power_w is not None and power_w > _RATED_SHARE * rated_power_w
    if thd >= _CLIPPING_THD or is_clipping(thd, distortion.crest) or loud:
        raise BenchError(
            f"{100 * thd:.2g} % THD at {power_w:.3g} W is too near clipping: the supply sags and "
            "what the load does is no resistance.",
            where,
            "Lower the drive and record both again.",
        )


def _refuse_other_tone(loaded: ChannelTone, unloaded: ChannelTone) -> None:
    here, there = loaded.frequency_hz or 0.0, unloaded.frequency_hz or 0.0
    if abs(here - there) > _SAME_TONE * here:
        raise BenchError(
            f"{here:.6g} Hz on the load and {there:.6g} Hz without are two settings of the "
            "generator.",
            "recordings",
            "Record both with nothing changed but the load.",
        )


def _result(ohm: Measured, load_ohm: Measured) -> OutputResistance:
    if ohm.value > _COVERED * ohm.u:
        return OutputResistance(ohm, load_ohm, load_ohm / ohm, None, None)
    most = ohm.value + _COVERED * ohm.u
    return OutputResistance(ohm, load_ohm, None, most, load_ohm.value / most)


def _refuse_unusable(*readings: tuple[Measured, str]) -> None:
    faults = [
        BenchError(
            f"{reading.value:g} V is not above 0 V.", where, "Give the rms volts as measured."
        )
        for reading, where in readings
        if not (math.isfinite(reading.value) and reading.value > 0)
    ]
    if faults:
        raise BenchError.of(faults)


def _refuse_load(ohm: Measured, where: str) -> None:
    if not 0.1 <= ohm.value <= 1e4:
        raise BenchError(
            f"{ohm.value:g} Ω is outside 0.1…10000 Ω.", where, "Give the load as measured."
        )


def _refuse_rise(first: Measured, second: Measured, where: str, other: str) -> None:
    if second.value - first.value >= _COVERED * (second - first).u:
        raise BenchError(
            f"{second.value:g} V is not below the {first.value:g} V {other}: no output "
            "resistance follows from it.",
            where,
            "Measure both again at the same drive, on a range with more digits.",
        )
