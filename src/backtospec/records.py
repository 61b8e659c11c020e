"""Every fact that is kept: frozen values without behaviour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum


class Channel(StrEnum):
    """The channel a number belongs to."""

    LEFT = "L"
    RIGHT = "R"
    MONO = "M"


class Visit(StrEnum):
    """Whether a reading was taken before the work on the amplifier or after it."""

    BEFORE = "before"
    AFTER = "after"


class PowerState(StrEnum):
    """How the amplifier is powered, which decides what may be touched and what may be judged.

    ``SAFE`` is unplugged *and* measured discharged; ``OFF`` alone is still dangerous.
    """

    SAFE = "safe"
    OFF = "off"
    LIMITED = "limited"
    REDUCED = "reduced"
    MAINS = "mains"
    DRIVEN = "driven"


class Topology(StrEnum):
    """The kind of amplifier, which decides which checks apply."""

    COMPLEMENTARY = "complementary"
    QUASI_COMPLEMENTARY = "quasi-complementary"
    COMPLEMENTARY_FEEDBACK = "complementary-feedback"
    CAPACITOR_COUPLED = "capacitor-coupled"
    LATERAL_MOSFET = "lateral-mosfet"
    V_FET = "v-fet"
    HYBRID_MODULE = "hybrid-module"
    SLIDING_BIAS = "sliding-bias"
    CLASS_G = "class-g"
    BRIDGED = "bridged"
    SWITCHING_SUPPLY = "switching-supply"


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition under which a limit holds.

    Parameters
    ----------
    name
        Such as ``load_ohm``, ``channels_driven``, ``limiter`` or ``frequency_hz``.
    wanted
        The value the limit was stated for.
    tolerance_percent
        How far a measured number may lie from a wanted number and still be the same condition.
    low, high
        Where a band is wanted instead of one value, its edges.
    """

    name: str
    wanted: float | str | None = None
    tolerance_percent: float = 0.0
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Limit:
    """What a result must stay within, who says so, and under which conditions.

    Parameters
    ----------
    key
        The result key it bounds.
    low, high
        Bounds in SI units; ``None`` is open.
    unit
        SI unit of the bounds.
    source
        "service manual p. 14", or "common practice".
    conditions
        A result taken otherwise is not comparable with the limit.
    convention
        True where no maker stated it and the bench trade merely uses it.
    """

    key: str
    low: float | None
    high: float | None
    unit: str
    source: str
    conditions: tuple[Condition, ...] = ()
    convention: bool = False


@dataclass(frozen=True, slots=True)
class Rating:
    """One rated power, with the conditions printed beside it.

    ``channels_driven`` is ``"both"``, ``"one"`` or ``None`` where the sheet leaves it open;
    ``rule`` names the rating family the figure was written to, such as ``FTC-1974``.
    """

    power_w: float
    load_ohm: float
    thd_percent: float | None
    source: str
    channels_driven: str | None = None
    band_low_hz: float | None = None
    band_high_hz: float | None = None
    from_power_w: float | None = None
    rule: str | None = None


@dataclass(frozen=True, slots=True)
class IdleSpec:
    """How the maker states the idle current.

    Parameters
    ----------
    across
        What the stated figure is taken across: ``"current"`` (amperes per device),
        ``"one-resistor"`` or ``"resistor-pair"`` (volts), or ``"supply-rise"`` (amperes).
    low, high
        Accepted range in volts or amperes, as ``across`` says; equal where the maker prints one
        figure and no tolerance, which is a target and no range.
    emitter_ohm
        Value of one emitter resistor.
    emitter_tolerance_percent
        Its tolerance; 5 % is usual where nothing is printed (common practice, no source).
    devices_in_parallel
        Output devices that share the current in each half of the stage.
    adjustable
        False where fixed, selected resistors set the current.
    warm_minutes
        Minutes the maker asks for before the reading counts.
    """

    across: str
    low: float | None
    high: float | None
    source: str
    emitter_ohm: float | None = None
    emitter_tolerance_percent: float = 5.0
    devices_in_parallel: int = 1
    adjustable: bool = True
    warm_minutes: float | None = None


@dataclass(frozen=True, slots=True)
class OffsetSpec:
    """The maker's limit for direct voltage at the speaker terminals, in volts, either sign."""

    high_v: float
    source: str
    adjustable: bool | None = None
    warm_minutes: float | None = None


@dataclass(frozen=True, slots=True)
class CapacitorSpec:
    """One capacitor of the parts list; tolerance in percent of the marked value, where printed."""

    designator: str
    farad: float
    rated_v: float
    source: str
    tolerance_low_percent: float | None = None
    tolerance_high_percent: float | None = None
    year: int | None = None


@dataclass(frozen=True, slots=True)
class NodeVoltage:
    """One voltage of the maker's chart, at the nameplate mains voltage and without signal."""

    node: str
    volt: float
    source: str
    tolerance_percent: float | None = None


@dataclass(frozen=True, slots=True)
class SpecSheet:
    """What the maker promised for one model, and the facts a judgement needs."""

    maker: str
    model: str
    year: int | None = None
    topology: Topology | None = None
    mains_v: float | None = None
    mains_hz: float | None = None
    rail_v: float | None = None
    ratings: tuple[Rating, ...] = ()
    idle: IdleSpec | None = None
    offset: OffsetSpec | None = None
    capacitors: tuple[CapacitorSpec, ...] = ()
    chart: tuple[NodeVoltage, ...] = ()
    text: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter and what its maker says of its accuracy on the range in use.

    ``counts`` are counts of the last digit shown.
    """

    name: str
    percent: float
    counts: float


class InstrumentKind(StrEnum):
    """What a bench is equipped with, apart from its meters' accuracy."""

    METER_RESPONSE = "meter-response"
    LOAD = "load"
    ATTENUATOR = "attenuator"
    INTERFACE = "interface"
    FLOOR = "floor"


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument as stated last; what was stated before stays on record.

    ``content`` holds plain numbers and words by name, with units in the names.
    """

    kind: InstrumentKind
    name: str
    content: Mapping[str, float | str | None]
    stated_at: datetime


@dataclass(frozen=True, slots=True)
class PowerStep:
    """The amplifier was brought into a power state.

    ``skipped`` is the reason given where a safety step on the way was skipped.
    """

    job_id: str
    state: PowerState
    at: datetime
    skipped: str = ""


class OrderState(StrEnum):
    """How far a part to replace has come."""

    PLANNED = "planned"
    ORDERED = "ordered"
    RECEIVED = "received"
    FITTED = "fitted"
    LEFT_OVER = "left-over"


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line of the order list as it stands; every earlier state of it stays on record.

    Parameters
    ----------
    designator
        Names the line within its job, such as ``C101``.
    old, new
        The part as marked, and the part to fit.
    supplier_line
        What to order it by.
    """

    job_id: str
    designator: str
    old: str
    new: str
    state: OrderState
    at: datetime
    reason: str = ""
    supplier_line: str = ""


@dataclass(frozen=True, slots=True)
class Amplifier:
    """One device on the shelf; its spec sheet is kept as the text it was read from."""

    id: str
    maker: str
    model: str
    serial: str
    spec_text: str
    added_at: datetime


@dataclass(frozen=True, slots=True)
class Job:
    """One restoration of one amplifier, before and after."""

    id: str
    amplifier_id: str
    title: str
    opened_at: datetime


@dataclass(frozen=True, slots=True)
class Sitting:
    """One run of one check: the readings of a sitting are judged together.

    ``check_id`` is ``None`` for a quick reading that was taken without any form; ``taken_by`` is
    the person's name, where several work on one bench.
    """

    id: str
    job_id: str | None
    check_id: str | None
    visit: Visit
    power_state: PowerState | None
    taken_at: datetime
    note: str = ""
    taken_by: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """One answer exactly as taken.

    Parameters
    ----------
    id
        Short and unique, printed beside every number that rests on it.
    key
        The input of the check it answers.
    text
        As typed, or for a file its name.
    value, unit
        The number as understood, in SI units; ``None`` where the answer is no single number.
    channel, probed_at
        Channel and point of measurement, where the input has them.
    meter
        Name and accuracy of the meter, where one was used.
    minutes_since_on
        Minutes since power-on, where stated.
    file_sha256
        Content hash of the kept file, for a log or a recording.
    supersedes
        Id of the reading that this one corrects.
    """

    id: str
    sitting_id: str
    key: str
    text: str
    taken_at: datetime
    value: float | None = None
    unit: str = ""
    channel: Channel | None = None
    probed_at: str = ""
    meter: Meter | None = None
    minutes_since_on: float | None = None
    file_sha256: str | None = None
    supersedes: str | None = None


@dataclass(frozen=True, slots=True)
class Replacement:
    """One part that was replaced, for the report and the order list."""

    id: str
    job_id: str
    designator: str
    old: str
    new: str
    reason: str
    fitted_at: datetime


@dataclass(frozen=True, slots=True)
class StoredReport:
    """A report as it was handed over: its whole document and the hash of its evidence."""

    id: str
    job_id: str
    made_at: datetime
    document_json: str
    evidence_sha256: str
