"""What a capacitor's readings must keep, and when a reading that keeps it counts.

In circuit a neighbour makes capacitance read high and ESR low, never the other way. So a reading
that breaks a limit counts wherever it was taken; one that keeps it carries conditions.
"""

from __future__ import annotations

from dataclasses import dataclass

from backtospec.analysis import capacitor
from backtospec.analysis.capacitor import EsrBand, Tolerance
from backtospec.records import Condition, Limit

LOWEST_PERCENT, HIGHEST_PERCENT = 80.0, 180.0
"""Faulty outside these, in a survey of a whole 1977 recap
(old-fidelity-forum.de/thread-23961-post-948135.html)."""

READS_HIGH_PERCENT = 130.0
"""Above this, leakage may be what is read (a working rule, no source)."""

TWICE = 2.0
"""ESR is worrying above twice the chart (glodark.com/design/esrchart.htm); tan δ is worn out at
twice its limit when new (a maker's data sheet)."""

LOSS_WATCH_PERCENT, LOSS_BAD_PERCENT = 5.0, 15.0
"""Voltage loss: suspicious, and bad (common practice, no source)."""

FEWEST_STEPS = 3
"""A reading of fewer of the meter's steps is lost in its counts (from memory)."""

RATIO = "capacitance_ratio_percent"


@dataclass(frozen=True, slots=True)
class Part:
    """What is known of a part before anything is measured.

    Parameters
    ----------
    name
        Designator, may be empty.
    nominal
        Marked capacitance in F.
    reference
        What the reading should be: the mark, or the total of what stands in parallel.
    rated_v
        Marked volts.
    working_v
        Volts it works at.
    tolerance, marked
        Its tolerance, and whether the part or the parts list states it.
    old, age
        Whether age alone puts it on the order list, and its age in words.
    in_circuit
        True where it was read in place.
    alone
        True where no uncounted neighbour can help.
    frequency_hz
        Of the meter, ``None`` where not stated.
    """

    name: str
    nominal: float | None
    reference: float | None
    rated_v: float | None
    working_v: float | None
    tolerance: Tolerance
    marked: bool
    old: bool
    age: str
    in_circuit: bool
    alone: bool
    frequency_hz: float | None

    @property
    def esr_band(self) -> EsrBand | None:
        """What the sources allow a new part of this size."""
        if self.reference is None:
            return None
        return capacitor.esr_band(self.reference, self.rated_v, self.frequency_hz)

    def reads_high(self, ratio_percent: float) -> bool:
        """Return whether a reading is so high that leakage has to be excluded."""
        return ratio_percent > min(READS_HIGH_PERCENT, 100 + self.tolerance.high_percent)


def ratio_limits(part: Part, ratio_percent: float) -> list[Limit]:
    """Return the limits of a capacitance in percent of what it should be.

    The tolerance marked on the part, and the survey's 80 % below which a part counts as faulty;
    without a mark one limit holds both, with the widest upper tolerance of its age.
    """
    conditions: list[Condition] = []
    if ratio_percent >= LOWEST_PERCENT:
        conditions.append(Condition("neighbours", "excluded"))
    if part.reads_high(ratio_percent):
        conditions.append(Condition("leakage", "within its limit"))
    counts = tuple(conditions)
    survey = "below 80 %: faulty, old-fidelity-forum.de/thread-23961-post-948135.html"
    low, high = 100 + part.tolerance.low_percent, 100 + part.tolerance.high_percent
    if not part.marked:
        source = f"{part.tolerance.source}; {survey}"
        return [Limit(RATIO, LOWEST_PERCENT, high, "%", source, counts, convention=True)]
    return [
        Limit(RATIO, low, high, "%", part.tolerance.source, counts),
        Limit(RATIO, LOWEST_PERCENT, None, "%", survey, counts, convention=True),
    ]


def esr_limits(
    part: Part, ohm: float, step_ohm: float | None = None, *, temperature_known: bool = False
) -> list[Limit]:
    """Return the limit of an ESR: twice the most lenient source; none where nothing is known.

    Parameters
    ----------
    part
        Without rated volts only a value that no rating would excuse is given a limit.
    ohm
        The reading.
    step_ohm
        Smallest step of the meter, given where the reading is only a few of them.
    temperature_known
        True where the room's temperature was noted: the cold raises ESR.
    """
    band = part.esr_band
    if band is None:
        return []
    high = TWICE * band.high_ohm
    conditions: list[Condition] = []
    if ohm <= high:
        if part.rated_v is None:
            return []
        conditions.append(Condition("neighbours", "excluded"))
        if step_ohm is not None:
            conditions.append(Condition("meter_step_ohm", high=band.low_ohm / 2))
    elif temperature_known:
        conditions.append(Condition("temperature_c", low=15.0, high=40.0))
    names = ", ".join(dict.fromkeys(s.source for s in band.sources))
    source = f"twice the most lenient of {names}"
    return [Limit("esr_ohm", None, high, "Ω", source, tuple(conditions), convention=True)]


def loss_limits(part: Part) -> list[Limit]:
    """Return the limits of voltage loss and tan δ; both count only out of circuit."""
    out = Condition("circuit", "out")
    common = "common practice, no source"
    found = [Limit("voltage_loss_percent", None, LOSS_BAD_PERCENT, "%", common, (out,), True)]
    if part.nominal and part.rated_v:
        pair = [capacitor.largest_tan_delta(part.nominal, part.rated_v, x) for x in (False, True)]
        known = [tan for tan in pair if tan is not None]
        if known:
            at = Condition("frequency_hz", low=100.0, high=120.0)
            source = "twice the limit of a new part: end of life by a maker's data sheet"
            high = TWICE * max(known)
            found.append(Limit("tan_delta", None, high, "", source, (out, at), True))
    return found


def leakage_limit(
    part: Part, last_a: float, stated_a: float | None = None, test_v: float | None = None
) -> Limit | None:
    """Return the limit of the leakage: the stated one, else the old discard limit, or ``None``.

    Parameters
    ----------
    last_a
        The last reading; where it keeps the limit it must have been taken at working volts.
    stated_a
        Limit as stated by the user.
    test_v
        Volts during the reading, where stated.
    """
    high, source = stated_a, "limit as stated"
    if high is None and part.nominal and part.rated_v:
        high = capacitor.discard_leakage(part.nominal, part.rated_v)
        source = "discard limit of the 1950s to 70s, puck.nether.net boatanchors 1999-May/005362"
    if high is None:
        return None
    conditions = [Condition("circuit", "out")]
    if part.working_v and test_v is not None and last_a <= high:
        conditions.append(Condition("test_v", low=0.95 * abs(part.working_v)))
    return Limit("leakage_a", None, high, "A", source, tuple(conditions), stated_a is None)
