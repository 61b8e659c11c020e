"""Spec sheets and meters as the surfaces ask for them."""

from __future__ import annotations

from collections.abc import Mapping

from backtospec.analysis.setup import CaptureSetup
from backtospec.errors import BenchError, Choice, Question
from backtospec.quantity import read
from backtospec.records import Channel, Meter, SpecSheet
from backtospec.sources.spec_sheets import (
    FirstQuestion,
    questions,
    read_meter,
    read_spec,
    spec_from_answers,
    write_spec,
)

__all__ = [
    "FirstQuestion",
    "channel_named",
    "frequencies_from_text",
    "meter_from_answers",
    "meter_named",
    "questions",
    "seconds_from_text",
    "setup_from_text",
    "sheet_from_answers",
    "spec_of",
]

_CHANNELS = {
    Channel.LEFT: ("l", "lch", "left", "links", "gauche", "sinistra", "левый", "左"),
    Channel.RIGHT: ("r", "rch", "right", "rechts", "droite", "destra", "правый", "右"),
}


def spec_of(text: str, name: str) -> SpecSheet:
    """Return the spec sheet that a file's text holds."""
    return read_spec(text, name)


def sheet_from_answers(answers: Mapping[str, str]) -> str:
    """Return the text of a spec sheet file made from the five answers."""
    return write_spec(spec_from_answers(answers))


def meter_from_answers(answers: Mapping[str, str]) -> Meter | None:
    """Return the meter named among the five answers, or ``None``."""
    text = answers.get("meter", "").strip()
    return read_meter(text) if text else None


def meter_named(name: str, accuracy: str) -> Meter:
    """Return a meter from its accuracy, under the person's name for it.

    Examples
    --------
    >>> meter_named("bench", "0.5 % + 3")
    Meter(name='bench', percent=0.5, counts=3.0)
    """
    found = read_meter(accuracy, "meter")
    return Meter(name, found.percent, found.counts)


def channel_named(text: str) -> Channel | None:
    """Return the channel that a word names in any of the usual languages, or ``None``.

    Examples
    --------
    >>> channel_named("Lch"), channel_named("rechts"), channel_named("9.6mV")
    (<Channel.LEFT: 'L'>, <Channel.RIGHT: 'R'>, None)
    """
    word = text.strip().casefold().rstrip(":")
    return next((c for c, words in _CHANNELS.items() if word in words), None)


def setup_from_text(
    *,
    full_scale_volts: str,
    load_ohm: str,
    nominal_hz: str,
    load_tolerance_percent: str = "",
    mains_hz: str = "",
    channels: str = "",
    rated_thd_percent: str = "",
    rated_power_w: str = "",
    bands: str = "",
) -> CaptureSetup:
    """Return the setup of a recording from text as typed; empty text leaves its part open.

    Raises
    ------
    BenchError
        All faults at once.

    Examples
    --------
    >>> setup_from_text(full_scale_volts="36.2", load_ohm="7.96,8.03", nominal_hz="1 kHz").load_ohm
    (7.96, 8.03)
    """
    faults: list[BenchError] = []

    def numbers(text: str, unit: str, where: str, high: float) -> tuple[float, ...]:
        try:
            return _per_channel(text, unit, where, high)
        except BenchError as error:
            faults.append(error)
            return (1.0,)

    def number(text: str, unit: str, where: str, high: float) -> float | None:
        if not text.strip():
            return None
        try:
            return read(text, unit, where, 0, high)
        except BenchError as error:
            faults.append(error)
            return None

    volts = numbers(full_scale_volts, "V", "full-scale volts", 1e4)
    load = numbers(load_ohm, "Ω", "load", 1e6)
    hz = number(nominal_hz, "Hz", "nominal frequency", 96_000)
    tolerance = number(load_tolerance_percent, "%", "load tolerance", 50)
    mains = number(mains_hz, "Hz", "mains", 100)
    thd = number(rated_thd_percent, "%", "rated THD", 100)
    power = number(rated_power_w, "W", "rated power", 1e5)
    picked = tuple(round(n) for n in numbers(channels, "", "channels", 64)) if channels else None
    bands_hz = _bands(bands, faults)
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise BenchError.of(faults)
    return CaptureSetup(
        full_scale_volts=volts,
        load_ohm=load,
        nominal_hz=hz or 0.0,
        load_tolerance_percent=tolerance,
        mains_hz=mains,
        channels=picked,
        rated_thd_percent=thd,
        rated_power_w=power,
        bands_hz=bands_hz,
    )


def _bands(text: str, faults: list[BenchError]) -> tuple[tuple[float, float], ...]:
    """Read bands written as 20-20000,400-30000."""
    found = []
    for part in (part.strip() for part in text.replace(";", ",").split(",") if part.strip()):
        ends = part.replace("–", "-").replace("…", "-").split("-")
        if len(ends) != 2:
            what = f"“{part}” is not a lower and an upper frequency with a dash between them."
            faults.append(BenchError(what, "bands", "Write 20-20000,400-30000."))
            continue
        try:
            low, high = (read(end, "Hz", "bands", 1, 96_000) for end in ends)
        except BenchError as error:
            faults.append(error)
            continue
        found.append((low, high))
    return tuple(found)


def seconds_from_text(text: str) -> tuple[float, float] | None:
    """Return the start and the end in seconds that a text such as ``1.2-9.8`` names.

    Examples
    --------
    >>> seconds_from_text("1.2-9.8"), seconds_from_text("")
    ((1.2, 9.8), None)
    """
    if not text.strip():
        return None
    ends = text.replace("–", "-").replace("…", "-").split("-")
    if len(ends) != 2:
        raise BenchError(f"“{text}” is not a start and an end.", "turn", "Write 1.2-9.8.")
    return read(ends[0], "s", "turn", 0, 86_400), read(ends[1], "s", "turn", 0, 86_400)


def frequencies_from_text(text: str, most: int = 2) -> tuple[float, ...]:
    """Return one frequency in hertz, or several with commas between them.

    Examples
    --------
    >>> frequencies_from_text("60,7000"), frequencies_from_text("19 kHz, 20 kHz")
    ((60.0, 7000.0), (19000.0, 20000.0))
    """
    parts = [part for part in text.replace(";", ",").split(",") if part.strip()]
    if len(parts) > most:
        what = f"“{text}” holds {len(parts)} numbers."
        fix = "Give one or two." if most == 2 else f"Give at most {most}."
        raise BenchError(what, "frequency", fix)
    return tuple(read(part, "Hz", "frequency", 1, 96_000) for part in parts or [text])


def _per_channel(text: str, unit: str, where: str, high: float) -> tuple[float, ...]:
    """Read one number for both channels, or two with a comma between them."""
    parts = [part for part in text.replace(";", ",").split(",") if part.strip()]
    values = tuple(read(part, unit, where, 0, high) for part in parts or [text])
    if len(values) == 2 and "." not in text and min(values) * 3 < max(values):
        point = text.replace(",", ".")
        raise Question(
            f"“{text}” can be {point} {unit} for both channels, or {parts[0]} and {parts[1]}.",
            where,
            "Write a decimal point within a number, and a comma only between channels.",
            about="decimal_mark",
            quotes=(text,),
            choices=(
                Choice(point, f"{point} {unit} for both channels"),
                Choice(f"{parts[0]}.0,{parts[1]}.0", "left and right"),
            ),
            option=f"--{where.replace(' ', '-')}",
        )
    return values
