"""The story of one invented amplifier: what was read before the work, what was done, what after.

Everything here is invented, and it is handed to the bench as a stranger's readings would be: typed
answers and recordings; the logs are for reading warm-up by themselves. No result is stated: the
bench has to find them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

from backtospec.demo.amplifier import FilterCapacitor, OutputStage, PowerAmplifier, Supply
from backtospec.demo.captures import (
    SoundInterface,
    VolumeControl,
    VolumePlan,
    render_ramp,
    write_capture,
)
from backtospec.demo.logs import WarmUp, write_warm_up
from backtospec.records import Meter, PowerState, Visit

SPEC_NAME = "halden62.toml"
INTERFACE = SoundInterface()
LOADS_OHM = (7.96, 8.03)

_SEEDS = {Visit.BEFORE: 6201, Visit.AFTER: 6202}


@dataclass(frozen=True, slots=True)
class Condition:
    """What the amplifier is like at one visit; all files of that visit follow from it.

    Parameters
    ----------
    positive, negative
        The filter capacitors C601 and C602.
    idle_left, idle_right
        Volts across the emitter-resistor pair, in millivolts over time.
    offset_left, offset_right
        Direct volts at the speaker terminals, in millivolts over time.
    control
        How the volume control tracks.
    plan
        How far up the hand turned it.
    """

    positive: FilterCapacitor
    negative: FilterCapacitor
    idle_left: WarmUp
    idle_right: WarmUp
    offset_left: WarmUp
    offset_right: WarmUp
    control: VolumeControl
    plan: VolumePlan

    def amplifier(self) -> PowerAmplifier:
        """Return the amplifier as it plays when warm."""
        left, right = (
            OutputStage(creep.settled_mv / 1000, load_ohm)
            for creep, load_ohm in zip((self.idle_left, self.idle_right), LOADS_OHM, strict=True)
        )
        return PowerAmplifier(left, right, Supply(self.positive, self.negative))


CONDITIONS: Mapping[Visit, Condition] = {
    Visit.BEFORE: Condition(
        positive=FilterCapacitor(6900e-6, 0.04),
        negative=FilterCapacitor(3900e-6, 0.35),
        idle_left=WarmUp(9.9, -1.3, -1.8),
        idle_right=WarmUp(2.1, -0.5, -0.6),
        offset_left=WarmUp(8.4, 2.5, 3.4),
        offset_right=WarmUp(33.4, 3.1, 5.0),
        control=VolumeControl(1.3, 0.6, 0.3),
        plan=VolumePlan(powers_w=(0.2, 0.6, 2.0, 6.0, 15.0, 26.0, 34.0, 40.0, 53.0)),
    ),
    Visit.AFTER: Condition(
        positive=FilterCapacitor(7400e-6, 0.028),
        negative=FilterCapacitor(7350e-6, 0.029),
        idle_left=WarmUp(10.8, -1.5, -1.9),
        idle_right=WarmUp(11.3, -1.4, -2.1),
        offset_left=WarmUp(8.1, 2.4, 3.6),
        offset_right=WarmUp(5.2, 1.6, 2.2),
        control=VolumeControl(0.16, 0.07, 0.09),
        plan=VolumePlan(),
    ),
}


@dataclass(frozen=True, slots=True)
class Step:
    """One run of one check.

    Parameters
    ----------
    visit
        Before or after the work.
    check_id
        Which check.
    texts
        Answers by input key, as typed.
    files
        Names of files by input key; see :func:`build_files`.
    power_state
        How the amplifier was powered.
    note
        What the person wrote beside it.
    """

    visit: Visit
    check_id: str
    texts: Mapping[str, str]
    power_state: PowerState
    note: str
    files: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FittedPart:
    """A part that was replaced between the two visits."""

    designator: str
    old: str
    new: str
    reason: str


@dataclass(frozen=True, slots=True)
class Story:
    """The whole job in the order it was done.

    Parameters
    ----------
    spec_text, spec_name
        The spec sheet, and what its file is called.
    serial, title
        Which unit, and what the job is called.
    meter
        The meter of all typed readings.
    steps
        Every run of a check.
    fitted
        Parts replaced between the last step before and the first step after.
    """

    spec_text: str
    spec_name: str
    serial: str
    title: str
    meter: Meter
    steps: tuple[Step, ...]
    fitted: tuple[FittedPart, ...]


def story() -> Story:
    """Return the story, ready to be told to a bench step by step.

    Examples
    --------
    >>> told = story()
    >>> told.title, len(told.fitted)
    ('Halden 62, hum and a rough right channel', 4)
    """
    return Story(
        spec_text=(files("backtospec.demo") / SPEC_NAME).read_text(encoding="utf-8"),
        spec_name=SPEC_NAME,
        serial="40217",
        title="Halden 62, hum and a rough right channel",
        meter=Meter("bench 1", 0.5, 3),
        steps=(*_before(), *_after()),
        fitted=(
            FittedPart("C601", "6800 µF 50 V, 1977", "6800 µF 63 V", "fitted as a pair with C602"),
            FittedPart("C602", "6800 µF 50 V, 1977", "6800 µF 63 V", "low and tired"),
            FittedPart("R432", "470 Ω trimmer, open", "470 Ω trimmer, sealed", "worn idle trimmer"),
            FittedPart("C402", "10 µF 16 V, 1977", "10 µF 63 V film", "leaky, pulled the offset"),
        ),
    )


def build_files(folder: Path) -> dict[str, Path]:
    """Write every log and recording of the story and return their paths by name.

    Parameters
    ----------
    folder
        An existing folder.
    """
    built: dict[str, Path] = {}
    for visit, condition in CONDITIONS.items():
        seed = _SEEDS[visit]
        recording = folder / f"ramp-{visit}.flac"
        samples = render_ramp(
            condition.amplifier(), condition.control, condition.plan, INTERFACE, seed=seed
        )
        write_capture(recording, samples)
        idle = folder / f"idle-{visit}.csv"
        write_warm_up(
            idle,
            "idle current, outer ends of the emitter-resistor pair, cover on",
            condition.idle_left,
            condition.idle_right,
            seed=seed,
        )
        offset = folder / f"offset-{visit}.csv"
        write_warm_up(
            offset,
            "DC offset, between the speaker terminals, input shorted, no load",
            condition.offset_left,
            condition.offset_right,
            length_min=60.0,
            seed=seed + 100,
        )
        built |= {path.name: path for path in (recording, idle, offset)}
    return built


def _before() -> tuple[Step, ...]:
    visit = Visit.BEFORE
    return (
        _capacitor(visit, "C601", "6900 µF", "0.040 Ω", {}, "nothing to be seen on it"),
        _capacitor(visit, "C602", "3900 µF", "0.350 Ω", {}, "nothing to be seen on it"),
        _idle(visit, "9.9", "2.1", "right trimmer crackles"),
        _offset(visit, ("14.3", "8.5"), ("41.5", "33.5"), "right channel off"),
        _ramp(visit, "turned up until the scope showed clipping"),
    )


def _after() -> tuple[Step, ...]:
    visit = Visit.AFTER
    new = {"rated_v": "63 V", "tolerance_low": "-20 %", "tolerance_high": "20 %", "year": "2025"}
    return (
        _capacitor(visit, "C601", "7400 µF", "0.028 Ω", new, "before it went in"),
        _capacitor(visit, "C602", "7350 µF", "0.029 Ω", new, "before it went in"),
        _idle(visit, "10.9", "11.3", "set hot, then over an hour with the cover on"),
        _offset(visit, ("14.1", "8.2"), ("9.0", "5.2"), "with the new coupling capacitor"),
        _ramp(visit, "same leads and loads as before"),
    )


def _offset(visit: Visit, left: tuple[str, str], right: tuple[str, str], note: str) -> Step:
    texts = {
        "left": f"{left[1]} mV",
        "right": f"{right[1]} mV",
        "left_cold": f"{left[0]} mV",
        "right_cold": f"{right[0]} mV",
        "point": "speaker-terminals",
        "minutes_since_on": "45",
        "limiter": "out",
        "relay": "closed",
        "input_state": "shorted",
        "volume": "minimum",
        "load": "none",
    }
    return Step(visit, "dc-offset", texts, PowerState.MAINS, note, _logs("offset", visit))


def _idle(visit: Visit, left: str, right: str, note: str) -> Step:
    texts = {
        "point": "resistor-pair",
        "left": f"{left} mV",
        "right": f"{right} mV",
        "minutes_since_on": "70",
        "cover": "on",
        "limiter": "out",
    }
    return Step(visit, "idle-current", texts, PowerState.MAINS, note, _logs("idle", visit))


def _logs(what: str, visit: Visit) -> dict[str, str]:
    """Return the one log file that holds both channels, by input key."""
    return {f"{side}_series": f"{what}-{visit}.csv" for side in ("left", "right")}


def _capacitor(
    visit: Visit, name: str, farad: str, esr: str, marked: Mapping[str, str], note: str
) -> Step:
    texts = {
        "designator": name,
        **marked,
        "in_circuit": "out",
        "capacitance": farad,
        "esr": esr,
        "frequency": "100-hz",
        "working_v": "38.1 V",
        "residual_v": "0.4 V",
        "residual_later_v": "0.7 V",
    }
    return Step(visit, "filter-capacitor", texts, PowerState.SAFE, note)


def _ramp(visit: Visit, note: str) -> Step:
    left_v, right_v = INTERFACE.full_scale_v
    texts = {
        "full_scale_left": f"{left_v:g} V",
        "full_scale_right": f"{right_v:g} V",
        "calibration_percent": "0.5 %",
        "load_left": f"{LOADS_OHM[0]:.2f} Ω",
        "load_right": f"{LOADS_OHM[1]:.2f} Ω",
        "nominal_hz": f"{CONDITIONS[visit].plan.nominal_hz:g} Hz",
        "channels_driven": "both",
        "mains": "221 V",
    }
    recording = {"recording": f"ramp-{visit}.flac"}
    return Step(visit, "volume-ramp", texts, PowerState.DRIVEN, note, recording)
