"""Hum and noise: what is left at the output without a signal, and where it comes in."""

from __future__ import annotations

from collections.abc import Callable

from backtospec.analysis.channel_levels import Level, LevelReader, difference_db
from backtospec.analysis.noise import ChannelNoise, NoiseAnalysis
from backtospec.analysis.setup import CaptureSetup
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Axis,
    Bar,
    BarsFigure,
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
    Measurement,
    NumberInput,
    ResultKey,
    Rule,
    Stage,
    TableInput,
    TextInput,
    Trace,
    rank_causes,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, decibel_ratio
from backtospec.records import Channel, Limit, PowerState
from backtospec.verdict import Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}
COMMON = "common practice, no source"
MULTIPLES = "amfone.net/Amforum topic 22916"
TOUCH = "forum.ampage.org tid=46185"
HEARD = "an amplifier maker's paper on hum (Feb 2003): below about 2 mV inaudible"
MEMORY = "from memory"

HEARD_V = 2e-3
CLEAR_DB = 6.0
"""Lines this far apart point at one cause (common practice, no source)."""
CHANGE_DB = 3.0
"""A change that counts as one (common practice, no source)."""

RIPPLE = "ripple: filter capacitors or heavy draw"
HALF_WAVE = "half-wave supply of a sub-circuit: its capacitor"
LOOP = "ground loop or induction from the transformer"
GROUNDING = "grounding: joint, socket or screen"
BEFORE = "comes in before the volume control"
INPUT = "input, lead or source"
HALF = "one diode or half a winding missing"
HISS = "noisy part in an early stage"

STATES = {
    "volume-min": "volume at minimum",
    "volume-max": "volume at maximum",
    "input-open": "input open",
    "input-shorted": "input shorted",
    "touched": "chassis touched",
}
PAIRS = {
    "volume": ("volume-max", "volume-min", "volume at maximum over minimum"),
    "shorted": ("input-shorted", "input-open", "input shorted over open"),
    "touched": ("touched", "input-open", "chassis touched over not"),
}


def _setup(answers: Answers) -> CaptureSetup:
    left = answers.number("full_scale_left")
    if left is None:
        raise BenchError(
            "a recording says nothing in millivolts without its calibration.",
            "recording",
            "Give full_scale_left, peak volts at digital full scale.",
        )
    right = answers.number("full_scale_right") or left
    mains = answers.choice("mains_hz")
    return CaptureSetup(
        full_scale_volts=(left.value, right.value),
        load_ohm=(8.0,),
        nominal_hz=1000.0,
        mains_hz=float(mains) if mains else None,
    )


def _recorded(answers: Answers, name: str) -> ChannelNoise | None:
    noise = answers.capture("recording", NoiseAnalysis)
    found = noise.channels.get(CHANNELS[name]) if noise else None
    return found if found is not None and found.valid else None


def _states(answers: Answers) -> dict[str, dict[str, Level]]:
    reader = LevelReader(answers.meter)
    return {
        str(row["state"]): {
            name: reader.read(cell, f"{STATES[str(row['state'])]}, {name}", "mV")
            for name in CHANNELS
            if isinstance(cell := row.get(name), str)
        }
        for row in answers.table("states")
    }


def _residual(answers: Answers, name: str) -> Measured | None:
    """Return the residual volts of a channel: typed, recorded, or the highest of all states."""
    typed = answers.number(name)
    if typed is not None:
        return typed
    recorded = _recorded(answers, name)
    if recorded is not None and recorded.rms_uv:
        volt = recorded.rms_uv["unweighted"] * 1e-6
        doubt_db = (recorded.rms_db_u or {}).get("unweighted", 0.0)
        return Measured(volt, volt * doubt_db / 8.686)
    return max(_in_states(answers, name), key=lambda volt: volt.value, default=None)


def _in_states(answers: Answers, name: str) -> list[Measured]:
    """Return the residual volts of a channel in every state but with the chassis touched."""
    found = []
    for state, levels in _states(answers).items():
        level = levels.get(name)
        if state != "touched" and level is not None and level.db is not None and level.in_volts:
            found.append(10 ** (level.db / 20))
    return found


def _ratio(answers: Answers, name: str) -> Measured | None:
    """Return the line at the mains frequency over that at twice it, in decibels."""
    once, twice = answers.number(f"{name}_once"), answers.number(f"{name}_twice")
    if once is not None and twice is not None and once.value > 0 and twice.value > 0:
        return decibel_ratio(once, twice)
    recorded = _recorded(answers, name)
    ratio = recorded.hum.once_over_twice_db if recorded and recorded.hum else None
    return None if ratio is None else Measured(ratio)


def _hiss(answers: Answers, name: str) -> Measured | None:
    """Return the share of hiss in the residual power, in percent."""
    whole, noise = answers.number(name), answers.number(f"{name}_noise")
    if whole is not None and noise is not None and whole.value > 0:
        return 100 * (noise / whole) ** 2
    recorded = _recorded(answers, name)
    if recorded is None:
        return None
    return Measured(recorded.share_percent(recorded.noise_uv, "unweighted"))


def _order(answers: Answers, key: str) -> int | None:
    """Return which multiple of the mains a stated frequency is; ``None`` where it is none."""
    hertz = answers.number(key)
    if hertz is None:
        return None
    said = answers.choice("mains_hz")
    stated = answers.spec.mains_hz if answers.spec else None
    mains = (float(said),) if said else (stated,) if stated else (50.0, 60.0)
    orders = [(round(hertz.value / hz), hertz.value / hz) for hz in mains]
    fitting = [n for n, exact in orders if n and abs(exact / n - 1) < 0.03]
    return min(fitting, default=None)


def _pattern(answers: Answers) -> str:
    """Return ``once``, ``twice``, ``both``, ``buzz`` or nothing: which lines lead."""
    order = _order(answers, "hum_hz")
    if order is not None:
        return {1: "once", 2: "twice"}.get(order, "buzz")
    ratios = [r.value for name in CHANNELS if (r := _ratio(answers, name)) is not None]
    if ratios:
        worst = max(ratios, key=abs)
        return "both" if abs(worst) <= CLEAR_DB else "once" if worst > 0 else "twice"
    for name in CHANNELS:
        recorded = _recorded(answers, name)
        if recorded is not None and recorded.hum is not None:
            cause = recorded.hum.cause
            return {"ripple": "twice", "induction-or-loop": "once"}.get(cause, "")
    once = any(answers.number(f"{name}_once") for name in CHANNELS)
    twice = any(answers.number(f"{name}_twice") for name in CHANNELS)
    return "once" if once and not twice else "twice" if twice and not once else ""


def _changes(answers: Answers, kind: str) -> dict[str, Measured]:
    states = _states(answers)
    one, other, _ = PAIRS[kind]
    found = {}
    for name in CHANNELS:
        above = states.get(one, {}).get(name)
        below = states.get(other, {}).get(name)
        if kind == "touched" and below is None:
            below = states.get("volume-min", {}).get(name)
        if above is not None and below is not None:
            change = difference_db(above, below, f"{PAIRS[kind][2]}, {name}")
            if change is not None:
                found[name] = change
    return found


def measure(answers: Answers) -> Measurement:
    """Return the residual of each channel, its lines, its hiss, and what changes it."""
    results: list[Result] = []
    for name, channel in CHANNELS.items():
        keys = (name, f"{name}_once", f"{name}_twice", f"{name}_noise", "recording", "states")
        for key, title, value, unit, method in (
            ("residual_{}_v", "residual", _residual(answers, name), "V", "rms without a signal"),
            (
                "once_over_twice_{}_db",
                "mains line over twice the mains",
                _ratio(answers, name),
                "dB",
                "20·log10 of the two lines",
            ),
            ("hiss_{}_percent", "hiss in it", _hiss(answers, name), "%", "share of the power"),
        ):
            if value is not None:
                words = f"{title}, {name}"
                results.append(
                    Result(key.format(name), words, value, unit, method, keys, channel=channel)
                )
    for kind, (_, _, words) in PAIRS.items():
        for name, change in _changes(answers, kind).items():
            key, title = f"{kind}_{name}_db", f"{words}, {name}"
            results.append(
                Result(key, title, change, "dB", words, ("states",), channel=CHANNELS[name])
            )
    told = ("sound", "with_volume", "touched", "shorted")
    heard = any(answers.choice(k) for k in told)
    if not results and not heard and not any(answers.number(k) for k in ("hum_hz", "ripple_hz")):
        raise BenchError(
            "nothing was read.", "hum and noise", "Give left and right, millivolts without signal."
        )
    return Measurement(tuple(results), _figures(answers))


def _figures(answers: Answers) -> tuple[Figure, ...]:
    figures: list[Figure] = []
    bars = tuple(
        Bar(name.capitalize(), value.value * 1000, None, _limit(answers) * 1000, channel)
        for name, channel in CHANNELS.items()
        if (value := _residual(answers, name)) is not None
    )
    if bars:
        figures.append(BarsFigure("residual", "Without a signal", Axis("residual", "mV"), bars))
    traces = tuple(
        Trace(
            name.capitalize(),
            tuple(hz for hz, _ in found.spectrum),
            tuple(db for _, db in found.spectrum),
            channel,
        )
        for name, channel in CHANNELS.items()
        if (found := _recorded(answers, name)) is not None and found.spectrum
    )
    if traces:
        axes = Axis("frequency", "Hz", logarithmic=True), Axis("level", "dBV")
        figures.append(CurveFigure("spectrum", "Spectrum without a signal", *axes, traces))
    return tuple(figures)


def _limit(answers: Answers) -> float:
    stated = answers.number("specified")
    return stated.value if stated else HEARD_V


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the maker's residual where it is stated, else what is not heard."""
    stated = answers.number("specified")
    source, convention = (HEARD, True) if stated is None else ("as specified", False)
    high = _limit(answers)
    return tuple(
        Limit(f"residual_{name}_v", None, high, "V", source, (), convention) for name in CHANNELS
    )


SAYINGS = {
    HALF: "Ripple at the mains frequency: one diode or half a winding is missing. Off, discharge, "
    "measure the diodes; replace the bad one.",
    GROUNDING: "It falls when the chassis is touched: grounding, not capacitors. Check ground "
    "joints, sockets and screens.",
    INPUT: "It falls with the input shorted: it comes in by the input, its lead or the source.",
    BEFORE: "It changes with the volume, so it comes in before the control: look at the preamp "
    "and its supply.",
    RIPPLE: "Twice the mains frequency: ripple. Read ripple and filter capacitors before any part "
    "is ordered.",
    LOOP: "Once the mains frequency: a loop, induction or a half-wave supply, not the main filter "
    "capacitors.",
    HALF_WAVE: "Once the mains frequency, whatever the input: look at half-wave supplies, then at "
    "loops and the transformer.",
    HISS: "Mostly hiss: a noisy part in an early stage; compare both channels stage by stage.",
}


def advise(findings: Findings) -> Counsel:
    """Return what the residual says, and which test tells its causes apart."""
    answers = findings.answers
    causes = rank_causes(RULES, findings)
    lines = [f for name in CHANNELS for f in findings.of(f"residual_{name}_v")]
    shown = " and ".join(
        f"{name} {_millivolts(value)}"
        for name in CHANNELS
        if (value := findings.value(f"residual_{name}_v")) is not None
    )
    if _order(answers, "ripple_hz") == 1:
        return Counsel.of(AdviceKind.REPLACE, SAYINGS[HALF], next_step=_next(answers))
    judged_good = lines and all(f.verdict is Verdict.PASS for f in lines)
    near = lines and all(f.verdict in (Verdict.PASS, Verdict.UNDECIDED) for f in lines)
    loudest = max((v.value for n in CHANNELS for v in _in_states(answers, n)), default=0.0)
    disturbing = answers.choice("heard") == "yes" or loudest > _limit(answers)
    if judged_good and not disturbing:
        meets = "inside the maker's figure" if answers.number("specified") else "not heard"
        reason = f"{shown}: {meets}. Leave it alone."
        return Counsel.of(AdviceKind.LEAVE, reason, causes, _next(answers, quiet=True))
    if near and not disturbing:
        reason = f"{shown}: at the limit, within measuring error. Read it on a finer range."
        return Counsel.of(AdviceKind.REMEASURE, reason, causes, "the same on the finest range")
    if causes:
        words = SAYINGS[causes[0].name]
        reason = f"{shown}. {words}" if shown else words
        return Counsel.of(AdviceKind.PLAN, reason, causes, _next(answers))
    reason = f"{shown}: heard. " if shown else ""
    reason += "Find its frequency, and whether volume, a shorted input or touching changes it."
    return Counsel((Advice(AdviceKind.REMEASURE, reason),), (), _next(answers))


def _millivolts(value: Measured) -> str:
    return f"{value.value * 1000:.2g} mV" if value.value < 1 else f"{value.value:.3g} V"


def _next(answers: Answers, *, quiet: bool = False) -> str:
    if quiet:
        return "gain and balance, then tracking of the volume control"
    if _order(answers, "ripple_hz") == 1:
        return "power off and discharged: the rectifier diodes, both half windings in ohms"
    if not _pattern(answers) and answers.choice("sound") not in ("hiss", "crackle"):
        return "its frequency: the mains, or twice that (hum_hz)"
    if _volume_matters(answers) is None:
        return "the same at minimum and maximum volume (states)"
    if _shorted_falls(answers) is None:
        return "the same with the input open and shorted (states)"
    if _touch_falls(answers) is None:
        return "the same with the chassis touched (touched)"
    if _pattern(answers) == "twice":
        return "ripple of both rails, its volts and frequency (ripple_hz)"
    return "inside that part: the same nodes in both channels"


def _volume_matters(answers: Answers) -> bool | None:
    said = answers.choice("with_volume")
    if said:
        return said == "changes"
    changes = _changes(answers, "volume")
    return max(v.value for v in changes.values()) > CHANGE_DB if changes else None


def _falls(answers: Answers, kind: str) -> bool | None:
    said = answers.choice(kind)
    if said:
        return said == "falls"
    changes = _changes(answers, kind)
    return min(v.value for v in changes.values()) < -CHANGE_DB if changes else None


def _touch_falls(answers: Answers) -> bool | None:
    return _falls(answers, "touched")


def _shorted_falls(answers: Answers) -> bool | None:
    return _falls(answers, "shorted")


def _clue(
    test: Callable[[Answers], bool | None], present: str, absent: str = "", weight: float = 1.0
) -> Clue:
    return Clue(lambda f: test(f.answers), present, absent, weight)


def _leads(*patterns: str) -> Callable[[Answers], bool | None]:
    def test(answers: Answers) -> bool | None:
        pattern = _pattern(answers)
        return None if pattern == "" else pattern in patterns

    return test


def _not(test: Callable[[Answers], bool | None]) -> Callable[[Answers], bool | None]:
    def turned(answers: Answers) -> bool | None:
        found = test(answers)
        return None if found is None else not found

    return turned


def _hissing(answers: Answers) -> bool | None:
    said = answers.choice("sound")
    if said:
        return said in ("hiss", "crackle")
    shares = [v.value for name in CHANNELS if (v := _hiss(answers, name)) is not None]
    return max(shares) > 50 if shares else None


def _half_frequency(answers: Answers) -> bool | None:
    order = _order(answers, "ripple_hz")
    return None if order is None else order == 1


ONCE, TWICE = _leads("once", "both"), _leads("twice", "both", "buzz")
ONCE_SEEN, TWICE_SEEN = "the mains frequency leads", "twice the mains frequency leads"
RULES = (
    Rule(
        HALF,
        (_clue(_half_frequency, "ripple at the mains frequency", "ripple at twice the mains", 3),),
        "power off: each diode both ways, each half winding in ohms",
        f"{MULTIPLES}; textbook: full wave gives twice the mains",
    ),
    Rule(
        RIPPLE,
        (
            _clue(TWICE, TWICE_SEEN, ONCE_SEEN, 2),
            _clue(_volume_matters, "", "it changes with the volume", 1),
            _clue(_touch_falls, "", "touching the chassis quiets it", 1.5),
            _clue(_half_frequency, "ripple on the rail at the mains frequency", "", 1),
        ),
        "ripple volts of both rails against load, then the capacitors out of circuit",
        MULTIPLES,
    ),
    Rule(
        LOOP,
        (
            _clue(ONCE, ONCE_SEEN, TWICE_SEEN, 1.5),
            _clue(
                _shorted_falls, "it falls with the input shorted", "the short changes nothing", 0.5
            ),
            _clue(_touch_falls, "touching the chassis changes it", "touching changes nothing", 0.5),
        ),
        "one lead at a time off; the transformer turned or moved, power off in between",
        MULTIPLES,
    ),
    Rule(
        HALF_WAVE,
        (
            _clue(ONCE, ONCE_SEEN, TWICE_SEEN, 1),
            _clue(_not(_shorted_falls), "the shorted input changes nothing", "it falls shorted", 1),
        ),
        "ripple of the sub-supplies (bias, relay, preamp) and its frequency",
        MULTIPLES,
    ),
    Rule(
        GROUNDING,
        (
            _clue(_touch_falls, "touching the chassis quiets it", "touching changes nothing", 3),
            _clue(ONCE, ONCE_SEEN, "", 0.5),
        ),
        "ohms from sockets and chassis to the star point, power off; another lead",
        TOUCH,
    ),
    Rule(
        BEFORE,
        (
            _clue(_volume_matters, "it changes with the volume", "the volume changes nothing", 2),
            _clue(_shorted_falls, "it falls with the input shorted", "", 0.5),
            _clue(TWICE, "twice the mains: it may be the preamp's own supply", "", 0.5),
        ),
        "inputs shorted one by one, phono and line, at maximum volume",
        MEMORY,
    ),
    Rule(
        INPUT,
        (
            _clue(
                _shorted_falls, "it falls with the input shorted", "the short changes nothing", 2
            ),
            _clue(_volume_matters, "it changes with the volume", "the volume changes nothing", 0.5),
            _clue(_hissing, "the source may hiss", "", 0.5),
        ),
        "another lead, another input, nothing connected at all",
        COMMON,
    ),
    Rule(
        HISS,
        (
            _clue(_hissing, "hiss or crackle, not hum", "hum leads", 2.5),
            _clue(_volume_matters, "it changes with the volume: an early stage", "", 0.5),
        ),
        "stage by stage: the base of each shorted to ground through a capacitor, beside the twin",
        COMMON,
    ),
)


def _reading(key: str, prompt: str, channel: Channel | None, unit: str = "mV") -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit=unit,
        low=0,
        high=100_000,
        channel=channel,
        probed_at="between the speaker terminals, no signal",
        by_meter=True,
        assumed_percent=2,
        assumed_counts=1,
    )


def _stated(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high)


def _choose(key: str, prompt: str, *choices: str) -> ChoiceInput:
    offered = tuple(Choice(value, value.replace("-", " ").capitalize()) for value in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered)


CHECK = Check(
    id="hum-noise",
    title="Hum and noise",
    stage=Stage.SMALL_SIGNAL,
    power_states=(PowerState.MAINS, PowerState.DRIVEN),
    why="What is left without a signal, and what changes it, tells ripple from a loop and both "
    "from a fault before the volume control.",
    cautions=(
        "Touch nothing inside; touch only the chassis's outside, one hand, on a tested unit.",
        "No speaker until the offset is proven: read across dummy loads.",
        "Never lift the protective earth to cure hum.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Loads on, no signal, input shorted by a plug, volume at minimum. Read both channels.",
        "Which frequency: the mains, or twice that? By scope, spectrum or ear.",
        "Then volume at maximum; input open and shorted; chassis touched.",
    ),
    inputs=(
        *(_reading(n, f"Residual, {n}", c) for n, c in CHANNELS.items()),
        *(
            _reading(f"{n}_once", f"Line at the mains frequency, {n}", c)
            for n, c in CHANNELS.items()
        ),
        *(_reading(f"{n}_twice", f"Line at twice the mains, {n}", c) for n, c in CHANNELS.items()),
        *(_reading(f"{n}_noise", f"Hiss without hum, {n}", c) for n, c in CHANNELS.items()),
        TableInput(
            key="states",
            prompt="Residual by state: state | left | right",
            columns=(
                ChoiceInput(
                    key="state",
                    prompt="State",
                    choices=tuple(Choice(key, text) for key, text in STATES.items()),
                    required=True,
                ),
                TextInput(key="left", prompt="Left, mV"),
                TextInput(key="right", prompt="Right, mV"),
            ),
        ),
        _stated("hum_hz", "Frequency of the hum", "Hz", 10, 2000),
        _choose("mains_hz", "Mains", "50", "60"),
        _stated("ripple_hz", "Frequency of the ripple on a rail", "Hz", 10, 2000),
        _choose("sound", "What does it sound like?", "hum", "buzz", "hiss", "crackle"),
        _choose("heard", "Is it heard on the speakers in use?", "yes", "no"),
        _choose("with_volume", "With the volume it", "changes", "stays"),
        _choose("shorted", "With the input shorted it", "falls", "stays", "rises"),
        _choose("touched", "With the chassis touched it", "falls", "stays", "rises"),
        _stated("specified", "Residual the maker states", "mV", 0.001, 1000),
        CaptureInput(
            key="recording",
            prompt="Or a recording without a signal",
            analysis="noise",
            setup=_setup,
        ),
        _stated("full_scale_left", "Peak volts at digital full scale, left", "V", 0.001, 10_000),
        _stated("full_scale_right", "The same, right, if it differs", "V", 0.001, 10_000),
    ),
    results=tuple(
        ResultKey(f"{key}_{name}_{unit}", f"{title}, {name}", symbol)
        for name in CHANNELS
        for key, title, unit, symbol in (
            ("residual", "residual", "v", "V"),
            ("once_over_twice", "mains line over twice the mains", "db", "dB"),
            ("hiss", "hiss in it", "percent", "%"),
            *((kind, words, "db", "dB") for kind, (_, _, words) in PAIRS.items()),
        )
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="0.6 and 0.8 mV: not heard",
            source=HEARD,
            answers={"left": "0.6 mV", "right": "0.80"},
            values={"residual_left_v": (0.0006, 1e-9)},
            verdicts={"residual_left_v": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.REPLACE, AdviceKind.PLAN),
        ),
        Example(
            title="100 Hz, whatever the volume",
            source=MULTIPLES,
            answers={"left": "12 mV", "right": "14 mV", "hum_hz": "100", "with_volume": "stays"},
            verdicts={"residual_right_v": Verdict.FAIL},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
            cause=RIPPLE,
        ),
        Example(
            title="60 Hz that falls when the chassis is touched",
            source=TOUCH,
            answers={"left": "8 mV", "right": "8.2 mV", "hum_hz": "60 Hz", "touched": "falls"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=GROUNDING,
        ),
        Example(
            title="It rises with the volume",
            source=MEMORY,
            answers={
                "states": "volume-min | 0.9 mV | 0.9 mV; volume-max | 22 mV | 20 mV",
            },
            values={"volume_left_db": (27.76, 0.01)},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.REPLACE,),
            cause=BEFORE,
        ),
        Example(
            title="Ripple at half the frequency it should have",
            source="textbook: full wave gives twice the mains frequency",
            answers={"left": "30 mV", "right": "30 mV", "ripple_hz": "50", "mains_hz": "50"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=HALF,
        ),
        Example(
            title="Once the mains frequency, with the input shorted too",
            source=MULTIPLES,
            answers={
                "left_once": "6 mV",
                "left_twice": "1 mV",
                "left": "6.2 mV",
                "shorted": "stays",
            },
            values={"once_over_twice_left_db": (15.563, 0.01)},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=HALF_WAVE,
        ),
        Example(
            title="Hiss",
            source=COMMON,
            answers={"right": "5 mV", "right_noise": "4.8 mV", "left": "0.5 mV"},
            values={"hiss_right_percent": (92.16, 0.01)},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=HISS,
        ),
        Example(
            title="Loud, and nothing else known",
            source=COMMON,
            answers={"left": "20 mV", "right": "1 mV"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
        ),
        Example(
            title="Inside what the maker states",
            source=COMMON,
            answers={"left": "2.5 mV", "right": "2.4 mV", "specified": "3 mV"},
            verdicts={"residual_left_v": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.PLAN,),
        ),
    ),
    sources=(
        f"Once or twice the mains frequency: {MULTIPLES}",
        f"Touching: {TOUCH}",
        f"2 mV: {HEARD}",
        f"Changing with the volume: {MEMORY}",
        f"3 dB as a change, 6 dB as a clear lead: {COMMON}",
    ),
    needs=(15,),
)
