"""Parts read with the power off: what a resistance or a junction can and cannot prove."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

JUNCTION_V = (0.45, 0.75)
"""A silicon junction on a diode test: 0.5–0.7 V and a little on either side (common practice)."""

SHORT_V = 0.1
"""Below this a junction counts as shorted (common practice, no source)."""

UNLIKE_V = 0.1
"""Junctions in the same place of two channels agree within this (common practice, no source)."""

LEADS_OHM = 0.5
"""What leads and probes may add where nobody read them alone: 0.7 Ω read for 0.44 Ω was fine
(ameblo.jp entry 12411295586)."""

SMALL_OHM = 10.0
"""Up to this the leads matter."""

INSULATION_OHM = (1e6, 10e6)
"""Collector to heatsink: bad below the first, good from the second (common practice, no source)."""

_OPEN = re.compile(r"(?i)o\.?l\.?|open|∞|inf(inite)?|-{2,}|over(load|range)?|no reading")
_SHORT = re.compile(r"(?i)short(ed)?|beep(s|ing)?")


class State(StrEnum):
    """What one reading says of its part."""

    GOOD = "good"
    HIGH = "reads high"
    EDGE = "at the edge of its tolerance"
    OPEN = "open"
    SHORT = "shorted"
    LOW = "reads low"
    INCONCLUSIVE = "reads low in circuit, which proves nothing"
    UNLIKE = "unlike the same part of the other channel"
    JUMPS = "jumps when turned"


BAD = (State.HIGH, State.OPEN, State.SHORT, State.LOW, State.JUMPS)


@dataclass(frozen=True, slots=True)
class Band:
    """A nominal with its tolerance in percent, both sides."""

    nominal: float
    tolerance_percent: float

    def share(self, value: float) -> float:
        """Return how far a value is off, 1 being the edge of the tolerance."""
        return (value / self.nominal - 1) * 100 / self.tolerance_percent


def is_open(text: str) -> bool:
    """Return whether a meter's text means that it reads no current at all.

    Examples
    --------
    >>> is_open("OL"), is_open("∞"), is_open("0.62 V"), is_open("> 20 MΩ")
    (True, True, False, True)
    """
    return bool(_OPEN.fullmatch(text.strip())) or text.strip().startswith(">")


def is_short(text: str) -> bool:
    """Return whether a meter's text means a dead short.

    Examples
    --------
    >>> is_short("short"), is_short("0.6")
    (True, False)
    """
    return bool(_SHORT.fullmatch(text.strip()))


def judge_resistor(
    ohm: float, u_ohm: float, band: Band, *, in_circuit: bool, leads_known: bool
) -> State:
    """Return what a resistance says.

    Parameters
    ----------
    ohm, u_ohm
        Reading, less its leads where they were read alone, and its standard uncertainty;
        infinite for an open one.
    band
        Nominal and tolerance.
    in_circuit
        A neighbour can make it read low, never high.
    leads_known
        False where the leads are still in a small reading.

    Notes
    -----
    In circuit nothing makes a resistor read high except itself or residual voltage
    (audiokarma.org/forums threads 836859 p. 2).

    Examples
    --------
    >>> judge_resistor(544e3, 2e3, Band(470e3, 5), in_circuit=True, leads_known=True).value
    'reads high'
    >>> judge_resistor(0.7, 0.05, Band(0.44, 5), in_circuit=True, leads_known=False).value
    'good'
    >>> judge_resistor(300.0, 1.0, Band(470, 5), in_circuit=True, leads_known=True).value
    'reads low in circuit, which proves nothing'
    """
    if ohm == float("inf"):
        return State.OPEN
    low = band.nominal * (1 - band.tolerance_percent / 100)
    high = band.nominal * (1 + band.tolerance_percent / 100)
    if not leads_known and band.nominal <= SMALL_OHM:
        high += LEADS_OHM
    if ohm > high + 2 * u_ohm:
        return State.HIGH
    if ohm > high:
        return State.EDGE
    if ohm >= low - 2 * u_ohm:
        return State.GOOD
    return State.INCONCLUSIVE if in_circuit else State.LOW


def judge_junction(
    volt: float, other_v: float | None, nominal_v: float | None, *, in_circuit: bool
) -> State:
    """Return what a diode test says, forward.

    Parameters
    ----------
    volt
        Reading; infinite for open.
    other_v
        The same part in the other channel, where read.
    nominal_v
        Where it is no single silicon junction: a string, or germanium.
    in_circuit
        A neighbour can make it read low, never high.

    Examples
    --------
    >>> judge_junction(0.62, 0.61, None, in_circuit=True).value
    'good'
    >>> judge_junction(0.02, 0.61, None, in_circuit=True).value
    'shorted'
    >>> judge_junction(0.02, None, None, in_circuit=True).value
    'reads low in circuit, which proves nothing'
    """
    low, high = JUNCTION_V
    if nominal_v is not None:
        low, high = 0.8 * nominal_v, 1.2 * nominal_v
    if volt == float("inf"):
        return State.OPEN
    other_good = other_v is not None and low <= other_v <= high
    if volt < SHORT_V and (other_good or not in_circuit):
        return State.SHORT
    if volt < low:
        alike = other_v is not None and abs(volt - other_v) <= UNLIKE_V / 2 and volt > SHORT_V
        if alike:
            return State.GOOD
        return State.INCONCLUSIVE if in_circuit else State.LOW
    if volt > high:
        alike = other_v is not None and abs(volt - other_v) <= UNLIKE_V
        return State.GOOD if alike else State.HIGH
    if other_good and other_v is not None and abs(volt - other_v) > UNLIKE_V:
        return State.UNLIKE
    return State.GOOD


def judge_insulation(ohm: float, *, in_circuit: bool) -> State:
    """Return what a resistance from collector to heatsink says.

    Examples
    --------
    >>> judge_insulation(float("inf"), in_circuit=False).value
    'good'
    >>> judge_insulation(12e3, in_circuit=False).value
    'reads low'
    """
    least, enough = INSULATION_OHM
    if ohm >= enough:
        return State.GOOD
    if in_circuit:
        return State.INCONCLUSIVE
    return State.LOW if ohm < least else State.EDGE
