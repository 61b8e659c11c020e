"""What else was noted beside an idle current: heat, sound, trimmers, devices, sources, relays."""

from __future__ import annotations

from collections.abc import Callable

from backtospec.analysis.contact_noise import is_restless
from backtospec.analysis.idle_distortion import HOT_C as HOT_EXPERIMENT_C
from backtospec.analysis.idle_distortion import read_experiment
from backtospec.analysis.idle_sharing import SHARE_PERCENT
from backtospec.check import Advice, AdviceKind, Answers, Counsel, Findings
from backtospec.check.idle_reading import (
    CHANNELS,
    RESISTORS_IN_PATH,
    banks,
    emitter,
    experiment_points,
    has_trimmer,
    heatsink,
    path,
    swap,
)
from backtospec.quantity import Measured, write

FEWEST_TEMPERATURES, RISEN_C = 4, 10.0
"""Readings, and the rise over all of them, from which a course of temperature is told."""

METERS_APART_PERCENT = 2.0
"""Meters further apart than this are worth a note (from memory)."""

SOURCE_V = 1e-3
"""From here on a source's direct voltage is worth a thought (from memory)."""

_FIRST = "replace the trimmer before adjusting; note its ohms first, set the new one to them"


def heat(answers: Answers) -> float | None:
    """Return the heatsink's temperature in °C as a plain number."""
    value = heatsink(answers)
    return None if value is None else value.value


def heats_on(answers: Answers) -> bool:
    """Say whether the heatsink's log rises at its end as fast as at its beginning."""
    series = answers.series("heatsink_series")
    readings = series.readings() if series else ()
    if len(readings) < FEWEST_TEMPERATURES:
        return False
    third = len(readings) // 3
    (t0, c0), (t1, c1), (t2, c2), (t3, c3) = (readings[i] for i in (0, third, -1 - third, -1))
    if t1 <= t0 or t3 <= t2:
        return False
    early, late = (c1 - c0) / (t1 - t0), (c3 - c2) / (t3 - t2)
    return late > 0 and late >= early and c3 - c0 >= RISEN_C


def trimmer_bad(answers: Answers) -> bool:
    """Say whether a sweep of the trimmer showed jumps or dead spots."""
    return answers.choice("trimmer_sweep") in ("jumps", "dead")


def jittering(answers: Answers) -> bool:
    """Say whether a log is too restless for a sound contact."""
    logs = (answers.series(f"{name}_series") for name in CHANNELS)
    return any(log and is_restless([v for _, v in log.readings()], log.step) for log in logs)


def of_experiment(answers: Answers) -> Counsel | None:
    """Return what distortion against idle current says, or ``None`` without the experiment."""
    points = experiment_points(answers)
    found = read_experiment([p for p in points if min(p) > 0])
    if found is None:
        return None
    (first, first_thd), (last, last_thd) = points[0], points[-1]
    temperature = heat(answers)
    hot = temperature is not None and temperature >= HOT_EXPERIMENT_C
    if found.lowest is not None:
        reason = f"Distortion stops falling at {_level(answers, found.lowest)}: no more than that."
        if found.rises_again:
            reason += " Beyond it, it rises again."
    else:
        next_gain = last_thd * (1 - 2**found.exponent)
        reason = (
            f"From {_level(answers, first)} to {_level(answers, last)} it falls from {first_thd:g} "
            f"to {last_thd:g} %; twice as much again would gain {next_gain:.2g} % at most. Each "
            "step buys less, and heat decides: no need to go beyond."
        )
    if hot:
        reason += f" At {temperature:g} °C the experiment is over: go back a step."
    step = "heatsink after an hour at that idle, cover on; a manual's figure always comes first"
    return Counsel.of(AdviceKind.LEAVE, reason, next_step=step)


def _level(answers: Answers, drop: float) -> str:
    ohm, count = emitter(answers), RESISTORS_IN_PATH.get(path(answers), 1)
    shown = write(drop, "V")
    return shown if ohm is None else f"{shown} ({write(drop / ohm.value / count, 'A')})"


def observed(findings: Findings) -> list[Advice]:
    """Return advice on everything noted beside the readings."""
    parts: tuple[Callable[[Findings], list[Advice]], ...] = (
        _trimmers,
        _devices,
        _meters,
        _sound,
        _surroundings,
    )
    found = [advice for part in parts for advice in part(findings)]
    if experiment_points(findings.answers) and findings.value("drop_left_v"):
        counsel = of_experiment(findings.answers)
        found += counsel.advice if counsel else ()
    return found


def _trimmers(findings: Findings) -> list[Advice]:
    answers = findings.answers
    if trimmer_bad(answers):
        return [Advice(AdviceKind.REPLACE, f"The trimmer jumps when turned: {_FIRST}.")]
    if jittering(answers):
        what = "clean the contact or the joint" if has_trimmer(answers) is False else _FIRST
        return [Advice(AdviceKind.REPLACE, f"The log jitters from reading to reading: {what}.")]
    return []


def _devices(findings: Findings) -> list[Advice]:
    found, every = [], banks(findings.answers)
    silent = [device.name for bank in every for device in bank.silent]
    if every and len(silent) == sum(len(bank.devices) for bank in every):
        reason = "No device carries anything: prove the probes and both rails first."
        return [Advice(AdviceKind.REMEASURE, reason)]
    if silent:
        reason = (
            f"{', '.join(silent)} carries about nothing: device, its emitter resistor or its joint "
            "is open, and the others carry its share. Read them with the power off; no power test "
            "before."
        )
        found.append(Advice(AdviceKind.REPLACE, reason))
    for ending in ("_left", "_right", ""):
        value = findings.value(f"sharing{ending}_percent")
        if value is not None and abs(value.value) > SHARE_PERCENT and not silent:
            reason = (
                f"One device lies {abs(value.value):.0f} % off its bank: match the gains when it "
                "is open, after the emitter resistors were read."
            )
            found.append(Advice(AdviceKind.PLAN, reason))
        sides = findings.value(f"sides{ending}_percent")
        if sides is not None and abs(sides.value) > SHARE_PERCENT:
            reason = (
                "NPN and PNP side differ: look for an offset that drives the load, then for an "
                "emitter resistor out of value."
            )
            found.append(Advice(AdviceKind.REMEASURE, reason))
    if every and not found:
        found.append(Advice(AdviceKind.LEAVE, "The devices share alike. Leave them alone."))
    return found


def _meters(findings: Findings) -> list[Advice]:
    found = swap(findings.answers)
    if found is None:
        return []
    meters, channels = ((ratio.value - 1) * 100 for ratio in (found.meters, found.channels))
    if abs(meters) < METERS_APART_PERCENT:
        return []
    reason = (
        f"The second meter reads {meters:+.1f} % against the first; the right channel itself "
        f"{channels:+.1f} % against the left. Have the meters compared."
    )
    return [Advice(AdviceKind.PLAN, reason)]


def _sound(findings: Findings) -> list[Advice]:
    answers, found = findings.answers, []
    drops_out, louder = answers.choice("drops_out"), answers.choice("louder")
    if drops_out in CHANNELS or drops_out == "both":
        beside = f" and the level leans to the {louder}" if louder in CHANNELS else ""
        reason = (
            f"Dropouts at some volume positions{beside}: a fault of its own, at the volume "
            "control, whatever the idle current. Clean it, then renew it if they stay."
        )
        found.append(Advice(AdviceKind.PLAN, reason))
    has_reading = any(f.result.key.startswith(("drop_", "idle_")) for f in findings.all)
    if answers.choice("sound") == "harsh" and not has_reading:
        reason = "Harsh at low level hints at too little idle current: read it before anything."
        found.append(Advice(AdviceKind.REMEASURE, reason))
    return found


def _surroundings(findings: Findings) -> list[Advice]:
    answers, found = findings.answers, []
    volts = answers.number("source_dc")
    if isinstance(volts, Measured) and abs(volts.value) >= SOURCE_V:
        reason = (
            f"The source brings {write(volts.value, 'V')} of direct voltage: take it off and read "
            "idle current and offset again, before anything is trimmed."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    trips = answers.choice("relay_trips")
    if trips and trips != "no":
        which = f"in the {trips} channel " if trips in CHANNELS else ""
        reason = (
            f"The relay trips {which}only with a signal: a dynamic fault that no idle current "
            "shows or cures. No speaker; watch the output before the relay into a dummy load."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    if answers.choice("after_recap") == "less":
        reason = (
            "Less trimmer is needed since the recap: the old capacitors leaked and took bias "
            "away. That is as it should be; set it by the manual, warm."
        )
        found.append(Advice(AdviceKind.LEAVE, reason))
    if answers.choice("after_recap") == "more":
        reason = "More trimmer is needed since the recap: read polarity and value of the new parts."
        found.append(Advice(AdviceKind.REMEASURE, reason))
    if answers.choice("output_devices") == "other-type":
        reason = (
            "Output devices of another type: the bias network may not suit them. Log idle current "
            "and heatsink from cold, on a limiter first, hand at the switch."
        )
        found.append(Advice(AdviceKind.REMEASURE, reason))
    return found


def nothing_read(answers: Answers) -> Advice:
    """Return what to do where nothing was noted that leads further."""
    temperature = heat(answers)
    shown = f"Heatsink at {temperature:g} °C: read" if temperature is not None else "Read"
    return Advice(AdviceKind.REMEASURE, f"{shown} the idle current over time, from cold.")
