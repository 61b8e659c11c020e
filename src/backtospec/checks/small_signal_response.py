"""Response at small signal: flatness in band, −3 dB points, tracking, and rise time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from backtospec.analysis.channel_levels import LevelReader
from backtospec.analysis.response_curves import (
    HALF_POWER_DB,
    Crossing,
    Response,
    find_crossing,
    response_of,
)
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.square import SquareAnalysis
from backtospec.analysis.stepped import SteppedAnalysis
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Axis,
    CaptureInput,
    Check,
    Choice,
    ChoiceInput,
    Clue,
    Counsel,
    CurveFigure,
    Example,
    Figure,
    Findings,
    Mark,
    Measurement,
    NumberInput,
    ResultKey,
    Rule,
    Stage,
    TableInput,
    TextInput,
    Trace,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, write
from backtospec.records import Channel, Condition, Limit, PowerState
from backtospec.verdict import Bound, Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}
COMMON = "common practice, no source"
DIN = (
    "DIN 45500 as of 1977: 40–16 000 Hz, ±1.5 dB linear, ±2 dB equalised "
    "(hifi-studio.de/hifi-klassiker/DIN_IHF-Unterschied.htm)"
)
TRACKING = "oreilly.com/library/view/small-signal-audio/9780240521770 ch. 9"
RISE = "textbook: bandwidth of a single pole is 0.35 over the rise time"

LOW_HZ, HIGH_HZ = 40.0, 16_000.0
LINEAR_DB, EQUALISED_DB, TRACKING_DB = 1.5, 2.0, 1.0
BANDWIDTH_TIMES_RISE = 0.35
SLOW_ENOUGH = 3.0
"""Slower than this many times what measures it, a rise time stands for itself."""
REACHED = 1.06
"""A band counts as covered up to this factor at either end."""

TONE = "tone control, filter or loudness not at flat"
COUPLING = "dried coupling or feedback capacitor"
TREBLE = "capacitor or compensation in the treble path"
NETWORK = "a part of one channel's equalisation or filter"
CHAIN = "generator, meter or interface"


@dataclass(frozen=True, slots=True)
class _Band:
    """Where the response must keep within ± dB."""

    low_hz: float
    high_hz: float
    db: float


def _setup(answers: Answers) -> CaptureSetup:
    hz = answers.number("square_hz")
    return CaptureSetup(
        full_scale_volts=(1.0,), load_ohm=(8.0,), nominal_hz=hz.value if hz else 1000.0
    )


def _responses(answers: Answers) -> dict[str, Response]:
    """Return the response of each channel, relative to 1 kHz."""
    stepped = answers.capture("recording", SteppedAnalysis)
    if stepped is not None:
        _refuse_impossible(stepped)
        return {
            name: response_of(one.response_db, one.response_db_u)
            for name, channel in CHANNELS.items()
            if (one := stepped.channels.get(channel)) is not None and one.valid
        }
    levels: dict[str, dict[float, Measured]] = {}
    readers = {name: LevelReader(answers.meter) for name in CHANNELS}
    unit = answers.choice("unit") or "dB"
    kinds: set[bool] = set()
    for row in answers.table("response"):
        hertz = row["hz"]
        for name in CHANNELS:
            cell = row.get(name)
            if isinstance(hertz, Measured) and isinstance(cell, str):
                where = f"{write(hertz.value, 'Hz')}, {name}"
                level = readers[name].read(cell, where, unit)
                if level.db is None:
                    raise BenchError("nothing came through.", where, "Read it again, louder.")
                kinds.add(level.in_volts)
                levels.setdefault(name, {})[hertz.value] = level.db
    if len(kinds) > 1:
        raise BenchError(
            "some levels are in volts, others in decibels.", "response", "Give all in one unit."
        )
    return {name: _relative(found) for name, found in levels.items()}


def _refuse_impossible(stepped: SteppedAnalysis) -> None:
    """Refuse a recording of which a tone reads above what a recorder can hold."""
    for tone in stepped.tones:
        for one in tone.channels.values():
            if one.level_dbfs_peak is not None and one.level_dbfs_peak > 3.0:
                raise BenchError(
                    f"the tone of {tone.frequency_hz:.0f} Hz reads {one.level_dbfs_peak:.0f} dB "
                    "above full scale: it could not be told from what lies beside it.",
                    "recording",
                    "Keep clear of the mains and its multiples, and play each tone for longer.",
                )


def _relative(levels: dict[float, Measured]) -> Response:
    """Return levels relative to that nearest 1 kHz; what the meter shares cancels."""
    nearest = min(levels, key=lambda hz: abs(hz - 1000.0))
    relative = {hz: level - levels[nearest] for hz, level in levels.items()}
    return response_of(
        {hz: level.value for hz, level in relative.items()},
        {hz: level.u for hz, level in relative.items()},
    )


def _specified(answers: Answers) -> _Band | None:
    low, high = answers.number("specified_low_hz"), answers.number("specified_high_hz")
    if low is None or high is None:
        return None
    db = answers.number("specified_db")
    return _Band(low.value, high.value, db.value if db else -HALF_POWER_DB)


def _allowed(answers: Answers) -> float:
    return EQUALISED_DB if answers.choice("input_kind") == "equalised" else LINEAR_DB


def _inside(response: Response, band: _Band) -> dict[float, Measured]:
    """Return the response by frequency in a band, its edges too where they lie between points."""
    found = {
        hz: Measured(db, u)
        for hz, db, u in zip(
            response.hz.tolist(), response.db.tolist(), response.u.tolist(), strict=True
        )
        if band.low_hz <= hz <= band.high_hz
    }
    for edge_hz in (band.low_hz, band.high_hz):
        if edge_hz not in found and response.hz[0] <= edge_hz <= response.hz[-1]:
            found[edge_hz] = Measured(*response.at(edge_hz))
    return found


def _worst(response: Response, band: _Band) -> tuple[Measured, float, str]:
    """Return the largest departure in a band, its frequency, and how much of the band was seen."""
    inside = _inside(response, band)
    if not inside:
        raise BenchError(
            f"nothing was read within {band.low_hz:g}…{band.high_hz:g} Hz.",
            "specified_low_hz, specified_high_hz",
            "Correct the band, or read inside it.",
        )
    at = max(inside, key=lambda hz: abs(inside[hz].value))
    whole = response.hz[0] <= band.low_hz * REACHED and response.hz[-1] >= band.high_hz / REACHED
    return inside[at], at, "whole band" if whole else "part of the band"


def _rise(answers: Answers, name: str) -> tuple[Measured, Bound] | None:
    """Return the rise time, and whether it is only a bound beside what measured it."""
    typed, own = answers.number(f"rise_{name}"), answers.number("rise_instrument")
    if typed is not None:
        slow = own is None or typed.value >= SLOW_ENOUGH * own.value
        return typed, Bound.EQUALS if slow else Bound.AT_MOST
    square = answers.capture("edges", SquareAnalysis)
    one = square.channels.get(CHANNELS[name]) if square else None
    if one is None or not one.valid or one.rising is None:
        return None
    if one.rising.time_s is not None:
        return Measured(one.rising.time_s, 0.02 * one.rising.time_s), Bound.EQUALS
    bound = one.rising.time_s_at_most
    return None if bound is None else (Measured(bound), Bound.AT_MOST)


def measure(answers: Answers) -> Measurement:
    """Return departures in band, −3 dB points, left over right, rise times."""
    responses = _responses(answers)
    results: list[Result] = []
    for name, response in responses.items():
        results += _band_results(answers, name, response)
        results += _corner_results(name, response)
    if len(responses) == 2 and (apart := _apart(responses)) is not None:
        title = "left over right along the band, worst"
        method = "difference of the responses, 40–16 000 Hz"
        keys = ("response", "recording")
        results.append(Result("left_over_right_db", title, apart, "dB", method, keys))
    for name in CHANNELS:
        results += _rise_results(answers, name)
    if not results:
        raise BenchError(
            "no response was given.",
            "small-signal response",
            'Type rows such as "40 | -0.8 | -0.9; 1000 | 0 | 0; 16000 | -0.5 | -0.4".',
        )
    return Measurement(tuple(results), _figures(answers, responses))


def _band_results(answers: Answers, name: str, response: Response) -> list[Result]:
    bands = {"departure": _Band(LOW_HZ, HIGH_HZ, _allowed(answers))}
    if (stated := _specified(answers)) is not None:
        bands["stated_band"] = stated
    results = []
    for key, band in bands.items():
        worst, at, covers = _worst(response, band)
        results.append(
            Result(
                f"{key}_{name}_db",
                f"departure from flat, {band.low_hz:g}–{band.high_hz:g} Hz, {name}",
                worst,
                "dB",
                f"largest, at {write(at, 'Hz')}, relative to 1 kHz",
                ("response", "recording"),
                {"covers": covers},
                channel=CHANNELS[name],
            )
        )
    return results


def _corner_results(name: str, response: Response) -> list[Result]:
    results = []
    for side, upward in (("low", False), ("high", True)):
        found = find_crossing(response, HALF_POWER_DB, upward=upward)
        value, bound = _corner(found, upward)
        if value is not None:
            key, title = f"corner_{side}_{name}_hz", f"−3 dB, {side}, {name}"
            method = "half power, relative to 1 kHz"
            keys = ("response", "recording")
            results.append(Result(key, title, value, "Hz", method, keys, {}, bound, CHANNELS[name]))
    return results


def _corner(found: Crossing, upward: bool) -> tuple[Measured | None, Bound]:
    if found.hz is not None:
        return Measured(found.hz, found.hz_u or 0.0), Bound.EQUALS
    if found.followed_to_hz is None:
        return None, Bound.EQUALS
    return Measured(found.followed_to_hz), Bound.AT_LEAST if upward else Bound.AT_MOST


def _apart(responses: dict[str, Response]) -> Measured | None:
    band = _Band(LOW_HZ, HIGH_HZ, TRACKING_DB)
    left, right = (_inside(responses[name], band) for name in CHANNELS)
    pairs = [left[hz] - right[hz] for hz in left if hz in right]
    return max(pairs, key=lambda difference: abs(difference.value), default=None)


def _rise_results(answers: Answers, name: str) -> list[Result]:
    found = _rise(answers, name)
    if found is None:
        return []
    rise, bound = found
    keys = (f"rise_{name}", "rise_instrument", "edges")
    method = "10 to 90 %"
    if bound is Bound.AT_MOST:
        method += "; the instrument is not three times as fast"
    results = [
        Result(
            f"rise_{name}_s", f"rise time, {name}", rise, "s", method, keys, {}, bound,
            CHANNELS[name],
        )
    ]  # fmt: skip
    if rise.value > 0:
        key, title = f"bandwidth_{name}_hz", f"bandwidth from the rise time, {name}"
        width = BANDWIDTH_TIMES_RISE / rise
        least = Bound.AT_LEAST if bound is Bound.AT_MOST else Bound.EQUALS
        results.append(
            Result(key, title, width, "Hz", "0.35 ÷ rise time", keys, {}, least, CHANNELS[name])
        )
    return results


def _figures(answers: Answers, responses: dict[str, Response]) -> tuple[Figure, ...]:
    if not responses:
        return ()
    traces = tuple(
        Trace(
            name.capitalize(),
            tuple(response.hz.tolist()),
            tuple(response.db.tolist()),
            CHANNELS[name],
            points=len(response.hz) <= 40,
        )
        for name, response in responses.items()
    )
    edge = _allowed(answers)
    marks = (Mark("DIN", "y", edge), Mark("DIN", "y", -edge))
    axes = Axis("frequency", "Hz", logarithmic=True), Axis("response", "dB")
    return (CurveFigure("response", "Response", *axes, traces, marks=marks),)


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the maker's band where it is stated, then the convention."""
    whole = (Condition("covers", "whole band"),)
    allowed, stated = _allowed(answers), _specified(answers)
    found = []
    for name in CHANNELS:
        if stated is not None:
            low = high = stated.db
            found.append(Limit(f"stated_band_{name}_db", -low, high, "dB", "as specified", whole))
        found.append(Limit(f"departure_{name}_db", -allowed, allowed, "dB", DIN, whole, True))
    apart = TRACKING_DB
    return (*found, Limit("left_over_right_db", -apart, apart, "dB", TRACKING, (), True))


def _flatness(findings: Findings) -> list[tuple[str, Measured, float]]:
    """Return channel, departure and what is allowed, where a limit is broken or may be.

    A bound is broken even where only part of the band was seen.
    """
    found = []
    stated = _specified(findings.answers)
    for key, allowed in (
        ("stated_band", stated.db if stated else 0.0),
        ("departure", _allowed(findings.answers)),
    ):
        if key == "departure" and stated is not None:
            continue
        for name in CHANNELS:
            value = findings.value(f"{key}_{name}_db")
            if value is not None and abs(value.value) > allowed:
                found.append((name, value, allowed))
    return found


def advise(findings: Findings) -> Counsel:
    """Return what departs, on which side of the band, and where to look first."""
    answers = findings.answers
    broken = _flatness(findings)
    clear = [entry for entry in broken if abs(entry[1].value) - entry[2] > 2 * entry[1].u]
    if clear:
        return Counsel((_departs(findings, clear),), next_step=_next(findings))
    partly = any(f.verdict is Verdict.NOT_COMPARABLE for f in findings.all)
    if broken:
        name, value, allowed = max(broken, key=lambda entry: abs(entry[1].value))
        reason = (
            f"{name.capitalize()} {value.value:+.2g} dB against ±{allowed:g} dB: at the limit, "
            "within measuring error. Read it again with more digits."
        )
        return Counsel.of(AdviceKind.REMEASURE, reason, next_step=_next(findings))
    if findings.verdict("left_over_right_db") is Verdict.FAIL:
        apart = findings.value("left_over_right_db")
        shown = f"{abs(apart.value):.2g} dB" if apart else ""
        reason = f"Flat enough, but the channels part by {shown}: look in the weaker one."
        return Counsel.of(AdviceKind.PLAN, reason, next_step=_next(findings))
    if partly:
        reason = "Flat as far as it was read: read on to both ends of the band."
        return Counsel.of(AdviceKind.REMEASURE, reason, next_step=_next(findings))
    if not findings.of("departure_left_db") and not findings.of("departure_right_db"):
        reason = "The edges alone: no limit to hold them against. Record them."
        if any(f.result.bound is not Bound.EQUALS for f in findings.all):
            reason = (
                "As fast as what measured it: the rise time is only a bound. Record it as such."
            )
        return Counsel.of(AdviceKind.LEAVE, reason, next_step=_next(findings))
    kind = "as specified" if _specified(answers) else "inside the convention"
    reason = f"The response is {kind}. Leave it alone."
    return Counsel.of(AdviceKind.LEAVE, reason, next_step=_next(findings))


def _departs(findings: Findings, clear: list[tuple[str, Measured, float]]) -> Advice:
    shown = " and ".join(f"{name} {value.value:+.2g} dB" for name, value, _ in clear)
    allowed = clear[0][2]
    where = "treble" if _side(findings, upward=True) else "bass"
    if _side(findings, upward=True) and _side(findings, upward=False):
        where = "bass and treble"
    if len({name for name, _, _ in clear}) == 2 and findings.answers.choice("tone") != "flat":
        reason = (
            f"{shown} against ±{allowed:g} dB, both channels, in the {where}: set tone, loudness "
            "and filters flat, and read again."
        )
        return Advice(AdviceKind.REMEASURE, reason)
    reason = f"{shown} against ±{allowed:g} dB, in the {where}: find the part in that path."
    return Advice(AdviceKind.PLAN, reason)


def _side(findings: Findings, *, upward: bool) -> bool:
    """Say whether a response leaves the allowed band above 1 kHz, or below it."""
    answers = findings.answers
    band = _specified(answers) or _Band(LOW_HZ, HIGH_HZ, _allowed(answers))
    return any(
        (hz > 1000) is upward and abs(db.value) > band.db
        for response in _responses(answers).values()
        for hz, db in _inside(response, band).items()
    )


def _next(findings: Findings) -> str:
    if any(f.verdict is Verdict.NOT_COMPARABLE for f in findings.all):
        return "levels at 40 Hz and 16 kHz, or the ends of the stated band"
    if _flatness(findings) and not findings.answers.choice("tone"):
        return "tone controls, loudness and filters: are they flat (tone)"
    if _flatness(findings):
        return "coupling and feedback capacitors of that path, out of circuit"
    if any(f.result.bound is Bound.AT_MOST and f.result.unit == "s" for f in findings.all):
        return "a faster instrument, or the rise time of this one in loop-back"
    return "stability: a square wave with capacitors across the load"


def _departing(*, upward: bool) -> Callable[[Findings], bool | None]:
    def seen(findings: Findings) -> bool | None:
        if not _responses(findings.answers):
            return None
        return _side(findings, upward=upward)

    return seen


def _alike(findings: Findings) -> bool | None:
    if not _flatness(findings) or not findings.of("left_over_right_db"):
        return None
    return findings.verdict("left_over_right_db") is Verdict.PASS


def _unlike(findings: Findings) -> bool | None:
    if not findings.of("left_over_right_db"):
        return None
    return findings.verdict("left_over_right_db") is Verdict.FAIL


def _not_flat(findings: Findings) -> bool | None:
    said = findings.answers.choice("tone")
    return None if said == "" else said != "flat"


BASS, HIGHS = _departing(upward=False), _departing(upward=True)
RULES = (
    Rule(
        TONE,
        (
            Clue(_alike, "both channels depart alike", "the channels differ", 1.5),
            Clue(
                _not_flat, "the tone controls are not flat", "tone, loudness, filters are flat", 2
            ),
        ),
        "the same with tone defeated, loudness and filters off",
        COMMON,
    ),
    Rule(
        COUPLING,
        (
            Clue(BASS, "the bass departs", "the bass is flat", 1.5),
            Clue(_unlike, "one channel differs", "", 0.5),
        ),
        "level on both sides of each coupling capacitor at 40 Hz",
        COMMON,
    ),
    Rule(
        TREBLE,
        (
            Clue(HIGHS, "the treble departs", "the treble is flat", 1.5),
            Clue(_unlike, "one channel differs", "", 0.5),
        ),
        "level from node to node at 16 kHz, with a meter good at that frequency",
        COMMON,
    ),
    Rule(
        NETWORK,
        (Clue(_unlike, "the channels part along the band", "the channels track", 1.5),),
        "resistors and capacitors of that network in both channels",
        COMMON,
    ),
    Rule(
        CHAIN,
        (
            Clue(_alike, "both channels depart alike", "the channels differ", 0.7),
            Clue(HIGHS, "a hand meter may fall off in the treble", "", 0.5),
        ),
        "generator straight into the meter or interface, the same frequencies",
        "one documented hand meter is right below about 600 Hz and hopeless by 10 kHz",
    ),
)


def _stated(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high)


def _rise_input(key: str, prompt: str, *, by_meter: bool) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="µs",
        low=0.001,
        high=1000,
        by_meter=by_meter,
        assumed_percent=3,
        assumed_counts=1,
    )


def _choose(key: str, prompt: str, *choices: str, default: str | None = None) -> ChoiceInput:
    offered = tuple(Choice(value, value.replace("-", " ").capitalize()) for value in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered, default=default)


FLAT = "20 | -0.9 | -1.0; 40 | -0.3 | -0.3; 1000 | 0.0 | 0.0; 10k | -0.1 | -0.2; 16k | -0.3 | -0.4"

CHECK = Check(
    id="small-signal-response",
    title="Small-signal response",
    stage=Stage.SMALL_SIGNAL,
    power_states=(PowerState.DRIVEN,),
    why="The response at about one watt shows dried capacitors and drifted networks, and whether "
    "both channels do alike.",
    cautions=(
        "Small signal: full power at 16 kHz burns the output network.",
        "No speaker until the offset is proven; dummy loads get hot.",
        "Check that the black terminals are ground before a grounded instrument goes on.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Tone controls flat or defeated, loudness and filters off, volume near full.",
        "About 1 W at 1 kHz; the same input at 20 Hz to 20 kHz, both channels.",
        "Phono: enter the departure from the replay curve, and say equalised.",
        "A square wave of 1 kHz: rise time, with that of the instrument beside it.",
    ),
    inputs=(
        TableInput(
            key="response",
            prompt="Response: Hz | left | right",
            columns=(
                NumberInput(
                    key="hz", prompt="Frequency", unit="Hz", low=1, high=1e6, required=True
                ),
                TextInput(key="left", prompt="Left, dB or V"),
                TextInput(key="right", prompt="Right, dB or V"),
            ),
        ),
        ChoiceInput(
            key="unit",
            prompt="What bare levels are in",
            choices=(Choice("dB", "decibels"), Choice("V", "volts"), Choice("mV", "millivolts")),
            default="dB",
        ),
        _choose("input_kind", "Which input", "linear", "equalised", default="linear"),
        _choose("tone", "Tone, loudness and filters", "flat", "not-flat"),
        _stated("specified_low_hz", "Band the maker states, from", "Hz", 1, 5000),
        _stated("specified_high_hz", "Band the maker states, to", "Hz", 100, 1e6),
        _stated("specified_db", "Within ± (3 dB where nothing is printed)", "dB", 0.05, 10),
        *(_rise_input(f"rise_{n}", f"Rise time, {n}", by_meter=True) for n in CHANNELS),
        _rise_input("rise_instrument", "Rise time of scope or interface itself", by_meter=False),
        CaptureInput(
            key="recording",
            prompt="Or stepped tones, recorded, 1 kHz among them",
            analysis="stepped",
            setup=_setup,
        ),
        CaptureInput(
            key="edges", prompt="Or a square wave, recorded", analysis="square", setup=_setup
        ),
        NumberInput(
            key="square_hz",
            prompt="Frequency of the square wave",
            unit="Hz",
            low=10,
            high=20_000,
            default="1000",
        ),
    ),
    results=(
        *(
            ResultKey(f"{key}_{name}_{unit}", f"{title}, {name}", symbol)
            for name in CHANNELS
            for key, title, unit, symbol in (
                ("departure", "departure from flat, 40–16 000 Hz", "db", "dB"),
                ("stated_band", "departure from flat, stated band", "db", "dB"),
                ("corner_low", "−3 dB, low", "hz", "Hz"),
                ("corner_high", "−3 dB, high", "hz", "Hz"),
                ("rise", "rise time", "s", "s"),
                ("bandwidth", "bandwidth from the rise time", "hz", "Hz"),
            )
        ),
        ResultKey("left_over_right_db", "left over right along the band, worst", "dB"),
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="Flat in both channels",
            source=DIN,
            answers={"response": FLAT},
            values={"departure_right_db": (-0.4, 1e-6), "left_over_right_db": (0.1, 1e-6)},
            verdicts={"departure_left_db": Verdict.PASS, "left_over_right_db": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.PLAN, AdviceKind.REPLACE),
        ),
        Example(
            title="Left loses bass",
            source=COMMON,
            answers={
                "response": "40 | -4.2 | -0.4; 100 | -1.3 | -0.1; 1000 | 0 | 0; 16000 | -0.3 | -0.3"
            },
            verdicts={"departure_left_db": Verdict.FAIL, "left_over_right_db": Verdict.FAIL},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=COUPLING,
        ),
        Example(
            title="Both 5 dB up in the treble: the tone control",
            source=COMMON,
            answers={
                "response": "40 | 0.1 | 0.1; 1000 | 0.0 | 0.0; 10000 | 4.8 | 4.9; 16000 | 5.3 | 5.4"
            },
            verdicts={"departure_left_db": Verdict.FAIL},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
            cause=TONE,
        ),
        Example(
            title="1.8 dB: too much for a linear input, within ±2 dB for phono",
            source=DIN,
            answers={
                "response": "40 | -1.80 | -1.75; 1000 | 0.00 | 0.00; 16000 | -0.30 | -0.20",
                "input_kind": "equalised",
            },
            verdicts={"departure_left_db": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.PLAN,),
        ),
        Example(
            title="Not read to the ends of the band",
            source=COMMON,
            answers={"response": "100 | 0 | 0; 1000 | 0 | 0; 10000 | -0.2 | -0.2"},
            verdicts={"departure_left_db": Verdict.NOT_COMPARABLE},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Outside what the maker states, though inside DIN",
            source=COMMON,
            answers={
                "response": "20 | -1.2 | -1.2; 40 | -0.5 | -0.5; 1000 | 0 | 0; 20000 | -0.2 | -0.2",
                "specified_low_hz": "20 Hz",
                "specified_high_hz": "20 kHz",
                "specified_db": "0.5",
                "tone": "flat",
            },
            verdicts={"stated_band_left_db": Verdict.FAIL, "departure_left_db": Verdict.PASS},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Rise time of 3.5 µs with a fast scope: 100 kHz",
            source=RISE,
            answers={"rise_left": "3.5 µs", "rise_instrument": "0.02 µs"},
            values={"bandwidth_left_hz": (100_000, 1), "rise_left_s": (3.5e-6, 1e-12)},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.REPLACE,),
        ),
        Example(
            title="A sound interface as fast as the edge: only a bound",
            source=RISE,
            answers={"rise_left": "8.0 µs", "rise_right": "8.1 µs", "rise_instrument": "7.3 µs"},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.PLAN,),
        ),
    ),
    sources=(
        DIN,
        f"Tracking within 1 dB: {TRACKING}",
        RISE,
        f"Causes: {COMMON}",
    ),
    needs=(27, 33, 36),
)
