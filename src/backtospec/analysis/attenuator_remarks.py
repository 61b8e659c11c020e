"""What is to be said of an attenuator before anything is connected."""

from __future__ import annotations

from dataclasses import dataclass

from backtospec.analysis.attenuator_source import Output, Peaks, Source
from backtospec.quantity import write

HIGHEST_DBFS = -1.0
LOWEST_DBFS = -30.0
"""Peaks of a recording belong between these: no clipping, and no noise of the recorder."""

_BEFORE = (
    "Before anything is connected: is the black speaker terminal the chassis? Ohms with the "
    "power off first, then a small tone, channel by channel: an ohm check alone is no proof."
)
_BY_OUTPUT = {
    Output.BRIDGED: "Bridged: both terminals are hot. Never clip a ground to the black one. Take "
    "two dividers, one from each terminal to the chassis, on two inputs, and subtract.",
    Output.INVERTED: "One channel is inverted: its black terminal is hot and a grounded clip there "
    "shorts the output. Take two dividers, one from each terminal to the chassis, and subtract.",
    Output.FLOATING: "Floating: neither terminal is the chassis, so it is taken as bridged until "
    "shown otherwise. Take two dividers, one from each terminal to the chassis, and subtract.",
}


@dataclass(frozen=True, slots=True)
class Remark:
    """One remark.

    Parameters
    ----------
    code
        ``check-chassis``, ``bridged``, ``inverted``, ``floating``, ``rating-above-rail``,
        ``little-headroom``, ``low-level`` or ``input-loads``.
    text
        In words.
    """

    code: str
    text: str


def remarks_on(
    output: Output,
    peaks: Peaks,
    source: Source,
    headroom_db: float,
    rated_dbfs: float | None,
    input_over_shunt: float,
) -> tuple[Remark, ...]:
    """Return the remarks, the dangerous ones first.

    Parameters
    ----------
    output, peaks, source
        What the amplifier puts out, and against what.
    headroom_db
        From the worst peak to digital full scale.
    rated_dbfs
        Peak level of the rated power in the recording, where one is known.
    input_over_shunt
        Input impedance over the shunt resistor.

    Notes
    -----
    Joined grounds can destroy an amplifier: forums.phxaudiotape.com/goto/post?id=236324; hot
    black terminals: vocademy.net, safety page. Levels: audioxpress.com sound-card measurement
    series part 6 (2017-05-17).
    """
    found = [Remark("check-chassis", _BEFORE)]
    if output in _BY_OUTPUT:
        found.append(Remark(output.value, _BY_OUTPUT[output]))
    rail, rated = source.rail_v, source.rated_peak_v
    twice = output in (Output.BRIDGED, Output.FLOATING)
    if rail is not None and rated is not None and rated > (2 if twice else 1) * rail:
        text = (
            f"The rated power needs {write(rated, 'V')} peak, more than the rail of "
            f"{write(rail, 'V')} gives. One of them is mistaken; the larger counts here."
        )
        found.append(Remark("rating-above-rail", text))
    if headroom_db < -HIGHEST_DBFS:
        text = (
            f"The worst peak of {write(peaks.to_chassis_v, 'V')} lies {-headroom_db:+.1f} dB "
            "against digital full scale: it clips, or nearly. Take a larger series resistor."
        )
        found.append(Remark("little-headroom", text.replace("-", "−", 1)))
    if rated_dbfs is not None and rated_dbfs < LOWEST_DBFS:
        text = (
            f"The rated power is recorded at only {rated_dbfs:.0f} dBFS: noise of the recorder "
            "would hide the distortion. Take a smaller series resistor."
        )
        found.append(Remark("low-level", text.replace("-", "−", 1)))
    if input_over_shunt < 10:
        text = (
            f"The input is only {input_over_shunt:.2g} times the shunt resistor: its own "
            "tolerance counts. Calibrate by one known sine."
        )
        found.append(Remark("input-loads", text))
    return tuple(found)
