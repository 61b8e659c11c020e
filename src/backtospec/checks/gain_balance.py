"""Gain and balance: what each channel amplifies, against what it should, and where it is lost."""

from __future__ import annotations

from backtospec.analysis.channel_levels import (
    Level,
    LevelReader,
    Loss,
    contact_ohm,
    difference_db,
    locate_loss,
)
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ToneAnalysis
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
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, decibel_ratio, sqrt, with_tolerance
from backtospec.records import Channel, Limit, PowerState
from backtospec.verdict import Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}
COMMON = "common practice, no source"
TRACKING = "oreilly.com/library/view/small-signal-audio/9780240521770 ch. 9"
DIN = "DIN 45500 as of 1977 (hifi-studio.de/hifi-klassiker/DIN_IHF-Unterschied.htm)"
CONTACTS = "audiokarma.org/forums threads 818552"
SWAPPED = "old-fidelity-forum.de/archive/index.php/thread-15997.html"
TWO_FAULTS = "i-bbs.sijex.net/audioclub/110"

GOOD_DB, WIDEST_DB = 1.0, 3.0
CONTACT_OHM = 0.1
"""A sound relay contact stays below it (from memory, relay data sheets)."""
OUTPUT_OHM = 0.4
"""Damping factor of 20 into 8 Ω (common practice, no source)."""
HIGHEST_THD_PERCENT = 1.0
LOW_IDLE_V = 0.0005
INPUTS_PERCENT = 1.0
"""How alike the two inputs of a sound interface are, and how well calibrated (from memory)."""

POINTS = {
    "source": "source",
    "tape-out": "tape out",
    "preamp-out": "preamp out",
    "power-in": "power amplifier in",
    "before-relay": "before the relay",
    "after-relay": "after the relay",
    "unloaded": "terminals, unloaded",
    "loaded": "terminals, loaded",
}
"""In the order of the signal path."""

RELAY = "oxidised relay or switch contact"
CONTROL = "worn volume control"
STAGE = "faulty part in the amplifying stage"
COUPLING = "dried coupling or feedback capacitor"
UNDER_BIASED = "under-biased stage"
NON_LINEAR = "non-linear stage: wrong or faulty parts"
SOURCE = "source, lead or input socket"


def _setup(answers: Answers) -> CaptureSetup:
    left, load = answers.number("full_scale_left"), answers.number("load")
    right = answers.number("full_scale_right") or left
    volts = (left.value if left else 1.0, right.value if right else 1.0)
    hz = answers.number("nominal_hz")
    return CaptureSetup(
        full_scale_volts=volts,
        load_ohm=(load.value if load else 8.0,),
        nominal_hz=hz.value if hz else 1000.0,
    )


def _outputs(answers: Answers) -> dict[str, Measured]:
    """Return the output volts of each channel, typed or recorded."""
    tone = answers.capture("recording", ToneAnalysis)
    found = {}
    for name, channel in CHANNELS.items():
        typed = answers.number(name)
        one = tone.channels.get(channel) if tone else None
        if typed is not None:
            found[name] = typed
        elif one is not None and one.valid and one.fundamental_vrms:
            noise = Measured(one.fundamental_vrms, one.fundamental_vrms_u or 0.0)
            found[name] = noise * with_tolerance(1.0, INPUTS_PERCENT)
    return found


def _gains(answers: Answers) -> dict[str, Measured]:
    outputs = _outputs(answers)
    recorded = answers.capture("recording", ToneAnalysis) is not None
    calibrated = not recorded or answers.number("full_scale_left") is not None
    gains = {}
    for name in CHANNELS:
        stated = answers.number(f"gain_{name}")
        drive = answers.number("input_right") if name == "right" else None
        drive = drive or answers.number("input")
        if stated is not None:
            gains[name] = stated
        elif drive is not None and name in outputs and calibrated:
            gains[name] = decibel_ratio(outputs[name], drive)
    return gains


def _specified(answers: Answers) -> Measured | None:
    """Return the gain the maker states, or that follows from sensitivity and rated power."""
    stated = answers.number("specified_gain")
    if stated is not None:
        return stated
    sensitivity, power = answers.number("sensitivity"), answers.number("rated_power")
    load = answers.number("load")
    rating = answers.spec.ratings[0] if answers.spec and answers.spec.ratings else None
    if sensitivity is None or (power is None and rating is None):
        return None
    watts = power if power is not None else Measured(rating.power_w if rating else 0.0)
    if power is None and rating is not None:
        ohm = Measured(rating.load_ohm)
    elif load is not None:
        ohm = load
    else:
        return None
    return decibel_ratio(sqrt(watts * ohm), sensitivity)


def _path(answers: Answers) -> dict[str, dict[str, Level]]:
    """Return the levels of both channels by point, in the order of the signal path."""
    reader = LevelReader(answers.meter)
    found: dict[str, dict[str, Level]] = {}
    for row in answers.table("points"):
        point = str(row["point"])
        found[point] = {
            name: reader.read(cell, f"{POINTS[point]}, {name}")
            for name in CHANNELS
            if isinstance(cell := row.get(name), str)
        }
    return {point: found[point] for point in POINTS if point in found}


def _differences(answers: Answers) -> dict[str, Measured]:
    found = {}
    for point, levels in _path(answers).items():
        if len(levels) == 2:
            difference = difference_db(levels["left"], levels["right"], POINTS[point])
            if difference is not None:
                found[point] = difference
    return found


def _loss(answers: Answers) -> Loss | None:
    return locate_loss(_differences(answers))


def _balance(answers: Answers) -> Measured | None:
    gains, outputs = _gains(answers), _outputs(answers)
    if len(gains) == 2:
        return gains["left"] - gains["right"]
    if len(outputs) == 2:
        return decibel_ratio(outputs["left"], outputs["right"])
    stated = answers.number("difference")
    if stated is not None:
        sign = {"left": 1.0, "right": -1.0}.get(answers.choice("louder"))
        return stated if sign is None else sign * abs(stated)
    at_points = _differences(answers)
    return at_points[list(at_points)[-1]] if at_points else None


def measure(answers: Answers) -> Measurement:
    """Return gains, balance, the balance along the path, and the ohms a contact must have."""
    results = [*_gain_results(answers), *_path_results(answers), *_other_results(answers)]
    told = any(answers.choice(key) for key in ("drops_out", "fades", "cured_by_burst", "louder"))
    tone = answers.capture("recording", ToneAnalysis)
    if tone is not None and not _outputs(answers):
        raise BenchError(
            "no channel of it holds a tone that may be believed.",
            "recording",
            "Set the level between −30 and −1 dB of full scale, and record again.",
        )
    if not results and not told:
        raise BenchError(
            "no level was given.",
            "gain and balance",
            "Give input with left and right, the difference, or levels at points.",
        )
    return Measurement(tuple(results), _figures(answers))


def _gain_results(answers: Answers) -> list[Result]:
    results = []
    specified = _specified(answers)
    for name, gain in _gains(answers).items():
        channel = CHANNELS[name]
        keys = ("input", "input_right", name, f"gain_{name}", "recording")
        title, method = f"gain, {name}", "20·log10 of output over input"
        results.append(Result(f"gain_{name}_db", title, gain, "dB", method, keys, channel=channel))
        if specified is not None:
            results.append(
                Result(
                    f"gain_off_{name}_db",
                    f"gain off the specified, {name}",
                    gain - specified,
                    "dB",
                    f"against {specified.value:.1f} dB",
                    (*keys, "specified_gain", "sensitivity", "rated_power", "load"),
                    channel=channel,
                )
            )
    balance = _balance(answers)
    if balance is not None:
        given = ("left", "right", "gain_left", "gain_right", "difference", "louder", "points")
        title, method = "left over right", "20·log10 of left over right"
        results.append(Result("left_over_right_db", title, balance, "dB", method, given))
    return results


def _path_results(answers: Answers) -> list[Result]:
    results = [
        Result(
            "point_left_over_right_db",
            f"left over right, {POINTS[point]}",
            value,
            "dB",
            "20·log10 of left over right",
            ("points",),
        )
        for point, value in _differences(answers).items()
    ]
    loss = _loss(answers)
    if loss is not None:
        where = f"up to {POINTS[loss.after]}"
        if loss.before:
            where = f"from {POINTS[loss.before]} to {POINTS[loss.after]}"
        title = f"lost by {loss.weak}, {where}"
        method = "largest change of the balance"
        results.append(Result("lost_db", title, loss.db, "dB", method, ("points",)))
    return results + _ohm_results(answers)


def _ohm_results(answers: Answers) -> list[Result]:
    load = answers.number("load")
    path = _path(answers)
    results = []
    for key, title, before, after in (
        ("contact", "relay contact", "before-relay", "after-relay"),
        ("output", "output resistance with contacts", "unloaded", "loaded"),
    ):
        for name, channel in CHANNELS.items():
            one, other = path.get(before, {}).get(name), path.get(after, {}).get(name)
            if load is None or one is None or other is None or not one.db or not other.db:
                continue
            ratio = 10 ** ((one.db - other.db) / 20)
            ohm = contact_ohm(ratio, Measured(1.0), load)
            results.append(
                Result(
                    f"{key}_{name}_ohm",
                    f"{title}, {name}",
                    ohm,
                    "Ω",
                    "load × (volts before ÷ volts behind − 1)",
                    ("points", "load"),
                    channel=channel,
                )
            )
    return results


def _other_results(answers: Answers) -> list[Result]:
    results = []
    for name, channel in CHANNELS.items():
        thd = answers.number(f"thd_{name}")
        if thd is not None:
            key, title = f"thd_{name}_percent", f"distortion, {name}"
            results.append(
                Result(key, title, thd, "%", "as read", (f"thd_{name}",), channel=channel)
            )
    idle = answers.number("idle")
    if idle is not None:
        results.append(Result("idle_v", "idle voltage", idle, "V", "as read", ("idle",)))
    return results


def _figures(answers: Answers) -> tuple[Figure, ...]:
    bars = [
        Bar(POINTS[point], value.value, -GOOD_DB, GOOD_DB)
        for point, value in _differences(answers).items()
    ]
    balance = _balance(answers)
    if not bars and balance is not None:
        bars = [Bar("output", balance.value, -GOOD_DB, GOOD_DB)]
    if not bars:
        return ()
    return (BarsFigure("balance", "Left over right", Axis("left over right", "dB"), tuple(bars)),)


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the maker's gain where it is stated, and what convention asks of the balance."""
    stated = answers.number("specified_tolerance")
    off = stated.value if stated else 2.0
    told = "as specified" if "specified_tolerance" in answers.texts else f"±2 dB: {COMMON}"
    thd = HIGHEST_THD_PERCENT
    return (
        *(Limit(f"gain_off_{name}_db", -off, off, "dB", told) for name in CHANNELS),
        Limit("left_over_right_db", -GOOD_DB, GOOD_DB, "dB", TRACKING, (), True),
        Limit("left_over_right_db", -WIDEST_DB, WIDEST_DB, "dB", DIN, (), True),
        *(
            Limit(f"contact_{n}_ohm", None, CONTACT_OHM, "Ω", "from memory", (), True)
            for n in CHANNELS
        ),
        *(Limit(f"output_{n}_ohm", None, OUTPUT_OHM, "Ω", COMMON, (), True) for n in CHANNELS),
        *(Limit(f"thd_{n}_percent", None, thd, "%", DIN, (), True) for n in CHANNELS),
    )


def advise(findings: Findings) -> Counsel:
    """Return which channel is off, where the level is lost, and what to read next."""
    answers = findings.answers
    advice = [
        *_distorted(findings),
        *_contacts(findings),
        *_dropping(answers),
        *_under_biased(answers),
        *_off_specified(findings),
    ]
    if not advice:
        advice = [_unlike(findings)]
    return Counsel(tuple(advice), next_step=_next(findings))


def _failing(findings: Findings, stem: str, ending: str) -> list[str]:
    return [n for n in CHANNELS if findings.verdict(f"{stem}_{n}_{ending}") is Verdict.FAIL]


def _distorted(findings: Findings) -> list[Advice]:
    names = _failing(findings, "thd", "percent")
    if not names:
        return []
    shown = " and ".join(
        f"{n} {v.value:.2g} %" for n in CHANNELS if (v := findings.value(f"thd_{n}_percent"))
    )
    if findings.answers.choice("residue") in ("hum", "noise"):
        what = findings.answers.choice("residue")
        reason = f"{shown}, most of it {what}: read the harmonics alone before blaming a stage."
        return [Advice(AdviceKind.REMEASURE, reason)]
    why = "trace the parts put in earlier" if _true(findings, "parts_changed") else "find the part"
    reason = (
        f"{shown} is real non-linearity, not a matter of level: {why}, beside the maker's list."
    )
    return [Advice(AdviceKind.REPLACE, reason)]


def _contacts(findings: Findings) -> list[Advice]:
    answers = findings.answers
    names = _failing(findings, "contact", "ohm")
    if names:
        shown = " and ".join(
            f"{n} {v.value:.2g} Ω" for n in names if (v := findings.value(f"contact_{n}_ohm"))
        )
        reason = f"The relay contact has {shown}: clean it, or replace the relay."
        return [Advice(AdviceKind.REPLACE, reason)]
    loss = _loss(answers)
    if loss is not None and (loss.before, loss.after) == ("before-relay", "after-relay"):
        shown = f"{loss.weak.capitalize()} loses {loss.db.value:.1f} dB in the relay"
        reason = f"{shown}: clean it, or replace it."
        return [Advice(AdviceKind.REPLACE, reason)]
    in_series = {
        n: v
        for n in _failing(findings, "output", "ohm")
        if (v := findings.value(f"output_{n}_ohm"))
    }
    if in_series:
        shown = " and ".join(f"{n} has {v.value:.2g} Ω" for n, v in in_series.items())
        reason = f"{shown} in series with the load: read before and behind the relay, loaded."
        return [Advice(AdviceKind.REMEASURE, reason[0].upper() + reason[1:])]
    if answers.choice("cured_by_burst") == "yes":
        reason = "A loud burst cures the fading: dirty contacts. Clean relay, switches and sockets."
        return [Advice(AdviceKind.PLAN, reason)]
    return []


def _dropping(answers: Answers) -> list[Advice]:
    side = answers.choice("drops_out")
    if side in ("", "none"):
        return []
    who = "Both drop" if side == "both" else f"{side.capitalize()} drops"
    reason = (
        f"{who} out at some volume positions: a worn control. Clean it; if that fails, renew it."
    )
    return [Advice(AdviceKind.REPLACE, reason)]


def _under_biased(answers: Answers) -> list[Advice]:
    if not _no_idle(answers):
        return []
    reason = (
        "No idle current: the stage is under-biased. Find out why before any trimmer is touched."
    )
    return [Advice(AdviceKind.REMEASURE, reason)]


def _no_idle(answers: Answers) -> bool:
    idle = answers.number("idle")
    return idle is not None and abs(idle.value) <= LOW_IDLE_V


def _off_specified(findings: Findings) -> list[Advice]:
    names = _failing(findings, "gain_off", "db")
    offs = {n: v for n in names if (v := findings.value(f"gain_off_{n}_db"))}
    if not offs:
        return []
    shown = " and ".join(
        f"{n} {abs(v.value):.1f} dB {'above' if v.value > 0 else 'below'}" for n, v in offs.items()
    )
    balance = findings.value("left_over_right_db")
    if len(offs) == 2 and balance is not None and abs(balance.value) <= GOOD_DB:
        reason = (
            f"{shown} the specified gain, both alike: check input level, volume at full, tone flat."
        )
        return [Advice(AdviceKind.REMEASURE, reason)]
    good = [n for n in CHANNELS if findings.verdict(f"gain_off_{n}_db") is Verdict.PASS]
    other = f"; {good[0]} is as specified" if good else ""
    loss = _loss(findings.answers)
    if loss is not None:
        return [Advice(AdviceKind.PLAN, f"{shown} the specified gain{other}. {_lost(loss)}")]
    reason = f"{shown} the specified gain{other}. Follow the level from point to point."
    return [Advice(AdviceKind.REMEASURE, reason)]


def _lost(loss: Loss) -> str:
    where = f"at or before {POINTS[loss.after]}"
    if loss.before:
        where = f"between {POINTS[loss.before]} and {POINTS[loss.after]}"
    return f"{loss.weak.capitalize()} loses {loss.db.value:.1f} dB {where}; look there."


def _unlike(findings: Findings) -> Advice:
    balance = findings.value("left_over_right_db")
    if balance is None:
        judged = [f for f in findings.all if f.limit is not None]
        side = findings.answers.choice("louder")
        if side in ("left", "right"):
            reason = f"{side.capitalize()} is louder: by how much, and at which settings?"
            return Advice(AdviceKind.REMEASURE, reason)
        if findings.answers.choice("fades") == "yes":
            reason = (
                "It fades at low volume: try one loud burst; contacts are cured by it for a while."
            )
            return Advice(AdviceKind.REMEASURE, reason)
        if judged and all(f.verdict is Verdict.PASS for f in judged):
            return Advice(
                AdviceKind.LEAVE, "What was read is in order; read the other channel too."
            )
        return Advice(AdviceKind.REMEASURE, "One channel alone says little: read both.")
    shown = f"{abs(balance.value):.2g} dB"
    louder = "Left" if balance.value > 0 else "Right"
    if findings.verdict("left_over_right_db") is Verdict.PASS:
        return Advice(AdviceKind.LEAVE, f"The channels are {shown} apart: good. Leave it alone.")
    loss = _loss(findings.answers)
    if loss is not None:
        return Advice(AdviceKind.PLAN, f"{louder} is louder by {shown}. {_lost(loss)}")
    if findings.verdict("left_over_right_db") is Verdict.UNDECIDED and abs(balance.value) < 1.5:
        reason = (
            f"{louder} is louder by {shown}, just at what a good control allows. Measure both at "
            "full volume against the specified gain; the louder one need not be right."
        )
    else:
        reason = (
            f"{louder} is louder by {shown}. The louder one need not be right: compare both with "
            "the specified gain."
        )
    if all(findings.verdict(f"gain_off_{n}_db") is Verdict.PASS for n in CHANNELS):
        reason = (
            f"Both have the specified gain, {shown} apart: see whether it changes with the volume."
        )
    return Advice(AdviceKind.REMEASURE, reason)


def _next(findings: Findings) -> str:
    answers = findings.answers
    if _no_idle(answers):
        return "idle current of both channels, warm, and the bias network"
    if findings.of("thd_left_percent") or findings.of("thd_right_percent"):
        return "the same nodes in both channels, and every part against the maker's list"
    if answers.choice("fades") == "yes" or answers.choice("cured_by_burst") == "yes":
        return "level before and behind the relay while it fades, loaded (points)"
    loss = _loss(answers)
    if loss is not None and "relay" in loss.after and answers.number("load") is None:
        return "the load in ohms, to tell the ohms of the contact"
    if loss is not None:
        return "inside that part of the path: the same nodes in both channels"
    if findings.verdict("left_over_right_db") is Verdict.PASS:
        return "tracking of the volume control at its stops"
    if _specified(answers) is None:
        return "the maker's sensitivity or gain (specified_gain), volume at full"
    return "levels at preamp out, before and behind the relay, with and without the load (points)"


def _true(findings: Findings, key: str) -> bool | None:
    said = findings.answers.choice(key)
    return None if said == "" else said == "yes"


def _lost_in_relay(findings: Findings) -> bool | None:
    known = [n for n in CHANNELS if findings.of(f"contact_{n}_ohm")]
    loss = _loss(findings.answers)
    behind = loss is not None and loss.after in ("after-relay", "loaded")
    if not known and "after-relay" not in _path(findings.answers):
        return True if behind else None
    return behind or any(findings.verdict(f"contact_{n}_ohm") is Verdict.FAIL for n in known)


def _lost_early(findings: Findings) -> bool | None:
    if not _differences(findings.answers):
        return None
    loss = _loss(findings.answers)
    return loss is not None and loss.before in ("", "source")


def _lost_in_stage(findings: Findings) -> bool | None:
    if len(_differences(findings.answers)) < 2:
        return None
    loss = _loss(findings.answers)
    return loss is not None and loss.after in ("preamp-out", "power-in", "before-relay", "unloaded")


def _unbalanced(findings: Findings) -> bool | None:
    if findings.value("left_over_right_db") is None:
        return True if findings.answers.choice("louder") in ("left", "right") else None
    return findings.verdict("left_over_right_db") is not Verdict.PASS


def _drops(findings: Findings) -> bool | None:
    said = findings.answers.choice("drops_out")
    return None if said == "" else said != "none"


def _stays(findings: Findings) -> bool | None:
    said = findings.answers.choice("swap")
    return None if said == "" else said == "stays"


def _moves(findings: Findings) -> bool | None:
    stays = _stays(findings)
    return None if stays is None else not stays


def _too_much(findings: Findings) -> bool | None:
    known = [n for n in CHANNELS if findings.of(f"thd_{n}_percent")]
    return (
        any(findings.verdict(f"thd_{n}_percent") is Verdict.FAIL for n in known) if known else None
    )


def _harsh(findings: Findings) -> bool | None:
    said = findings.answers.choice("sound")
    return None if said == "" else said == "harsh"


def _idle_missing(findings: Findings) -> bool | None:
    return None if findings.answers.number("idle") is None else _no_idle(findings.answers)


RULES = (
    Rule(
        RELAY,
        (
            Clue(
                _lost_in_relay, "the level is lost in the relay", "nothing is lost in the relay", 2
            ),
            Clue(
                lambda f: _true(f, "cured_by_burst"),
                "a loud burst cures it",
                "no burst cures it",
                2,
            ),
            Clue(lambda f: _true(f, "fades"), "it fades at low volume", "it does not fade"),
            Clue(_unbalanced, "one channel is weak", "the channels are alike"),
            Clue(_moves, "", "it stays when the inputs are swapped", 0.0),
        ),
        "level before and behind the relay, loaded; a clip across the contact",
        CONTACTS,
    ),
    Rule(
        CONTROL,
        (
            Clue(_drops, "it drops out at some volume positions", "no dropouts over the turn", 2),
            Clue(_unbalanced, "the channels are not alike", "the channels are alike"),
            Clue(_lost_early, "the level is missing early in the path", "it is lost later", 1),
            Clue(_stays, "it stays when the inputs are swapped", "it moves with the inputs"),
        ),
        "left over right at each stop of the volume control; one slow turn recorded",
        TWO_FAULTS,
    ),
    Rule(
        STAGE,
        (
            Clue(
                _lost_in_stage, "the level is lost in an amplifying stage", "no stage loses it", 2
            ),
            Clue(_unbalanced, "one channel differs", "the channels are alike"),
            Clue(_stays, "it stays when the inputs are swapped", "it moves with the inputs"),
        ),
        "signal and direct volts at the same nodes of both channels",
        COMMON,
    ),
    Rule(
        COUPLING,
        (
            Clue(_lost_in_stage, "the level is lost in an amplifying stage", "no stage loses it"),
            Clue(lambda f: _true(f, "fades"), "it fades at low volume", ""),
        ),
        "the difference at 40 Hz against that at 1 kHz: a dried capacitor loses bass first",
        COMMON,
    ),
    Rule(
        UNDER_BIASED,
        (
            Clue(_idle_missing, "no idle current without a signal", "idle current is there", 2),
            Clue(_harsh, "harsh at low level, as crossover is", "no harshness"),
        ),
        "idle current of both channels, warm; distortion at 1 W against 10 W",
        TWO_FAULTS,
    ),
    Rule(
        NON_LINEAR,
        (
            Clue(
                _too_much, "distortion far above what the stage should have", "distortion is low", 2
            ),
            Clue(lambda f: _true(f, "parts_changed"), "parts were swapped earlier", ""),
            Clue(
                lambda f: True if f.answers.choice("residue") == "harmonics" else None,
                "harmonics, not hum",
            ),
            Clue(
                lambda f: True if f.answers.choice("comparison") == "normal" else None,
                "a like unit measures normal on the same bench",
            ),
            Clue(_harsh, "it sounds harsh", ""),
        ),
        "the same nodes in both channels, and every part against the maker's list",
        SWAPPED,
    ),
    Rule(
        SOURCE,
        (
            Clue(
                _moves,
                "it moves with the swapped inputs",
                "it stays when the inputs are swapped",
                2,
            ),
            Clue(_unbalanced, "the channels differ", "the channels are alike", 0.5),
        ),
        "the source's own channels swapped at the amplifier's input",
        COMMON,
    ),
)


def _number(
    key: str, prompt: str, unit: str, low: float, high: float, default: str | None = None
) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit=unit,
        low=low,
        high=high,
        by_meter=True,
        assumed_counts=1,  # typed readings are rounded to the last digit
        default=default,
    )


def _stated(
    key: str, prompt: str, unit: str, low: float, high: float, default: str | None = None
) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high, default=default)


def _choose(key: str, prompt: str, *choices: str) -> ChoiceInput:
    offered = tuple(Choice(value, value.replace("-", " ").capitalize()) for value in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered)


def _output(name: str, channel: Channel) -> NumberInput:
    return NumberInput(
        key=name,
        prompt=f"Output, {name}",
        unit="V",
        low=1e-6,
        high=200,
        channel=channel,
        probed_at="between the terminals, or at the output under test",
        by_meter=True,
        assumed_counts=1,
    )


RESULTS = (
    *(
        ResultKey(f"{key}_{name}_{unit}", f"{title}, {name}", symbol)
        for name in CHANNELS
        for key, title, unit, symbol in (
            ("gain", "gain", "db", "dB"),
            ("gain_off", "gain off the specified", "db", "dB"),
            ("contact", "relay contact", "ohm", "Ω"),
            ("output", "output resistance with contacts", "ohm", "Ω"),
            ("thd", "distortion", "percent", "%"),
        )
    ),
    ResultKey("left_over_right_db", "left over right", "dB"),
    ResultKey("point_left_over_right_db", "left over right at a point", "dB"),
    ResultKey("lost_db", "lost by one channel", "dB"),
    ResultKey("idle_v", "idle voltage", "V"),
)

CHECK = Check(
    id="gain-balance",
    title="Gain and balance",
    stage=Stage.SMALL_SIGNAL,
    power_states=(PowerState.DRIVEN,),
    why="A weak channel is found by following the level. The louder channel need not be the right "
    "one: both are held against the specified gain.",
    cautions=(
        "No speaker until the offset is proven; dummy loads get hot.",
        "Check that the black terminals are ground before a grounded instrument goes on.",
        "Inside points carry the rails nearby: attach leads with the power off and discharged.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "1 kHz into both channels from one generator; volume at full, tone flat, balance centred.",
        "Read the input and both outputs, well below clipping.",
        "Not alike? Swap the two inputs: does the weak side move?",
        "Then preamp out, before and behind the relay, terminals without and with the load.",
    ),
    inputs=(
        _number("input", "Input, both channels", "mV", 0.01, 10_000),
        _number("input_right", "Input, right, if it differs", "mV", 0.01, 10_000),
        *(_output(name, channel) for name, channel in CHANNELS.items()),
        *(_number(f"gain_{n}", f"Or gain, {n}", "dB", -80, 100) for n in CHANNELS),
        _number("difference", "Or only the difference, left over right", "dB", -100, 100),
        _choose("louder", "Which one is louder?", "left", "right", "neither"),
        _stated("specified_gain", "Gain the maker states", "dB", -80, 100),
        _stated("sensitivity", "Or input sensitivity for rated power", "mV", 0.05, 10_000),
        _stated("rated_power", "Rated power, where no spec sheet is loaded", "W", 0.1, 5000),
        _stated("specified_tolerance", "Its tolerance", "dB", 0.1, 10, default="2"),
        _number("load", "Load as measured", "Ω", 0.5, 1e6),
        TableInput(
            key="points",
            prompt="Levels along the path: point | left | right",
            columns=(
                ChoiceInput(
                    key="point",
                    prompt="Point",
                    choices=tuple(Choice(value, text) for value, text in POINTS.items()),
                    required=True,
                ),
                TextInput(key="left", prompt="Left, V or dB"),
                TextInput(key="right", prompt="Right, V or dB"),
            ),
        ),
        _choose("swap", "Inputs swapped: the weak side", "moves", "stays"),
        _choose("fades", "Does it fade at low volume?", "yes", "no"),
        _choose("cured_by_burst", "Does a loud burst cure it?", "yes", "no"),
        _choose("drops_out", "Drops out at some volume positions", "none", "left", "right", "both"),
        _choose("sound", "How does it sound?", "clean", "harsh"),
        _number("idle", "Idle voltage, if it was read", "mV", -2000, 2000),
        *(
            _number(f"thd_{n}", f"Distortion, {n}, if it was read", "%", 0.0001, 100)
            for n in CHANNELS
        ),
        _choose("residue", "Most of it is", "harmonics", "hum", "noise"),
        _choose("comparison", "A like unit on the same bench", "normal", "alike"),
        _choose("parts_changed", "Were parts swapped earlier?", "yes", "no"),
        CaptureInput(
            key="recording",
            prompt="A recording of both outputs, 1 kHz",
            analysis="tone",
            setup=_setup,
        ),
        _stated("full_scale_left", "Peak volts at digital full scale, left", "V", 0.001, 10_000),
        _stated("full_scale_right", "The same, right, if it differs", "V", 0.001, 10_000),
        _stated("nominal_hz", "Frequency of the tone", "Hz", 10, 40_000, default="1000"),
    ),
    results=RESULTS,
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="Alike, and as specified",
            source=COMMON,
            answers={
                "input": "150 mV",
                "left": "20.1 V",
                "right": "19.8 V",
                "sensitivity": "150 mV",
                "rated_power": "50 W",
                "load": "8.0",
            },
            values={"gain_left_db": (42.54, 0.01), "left_over_right_db": (0.131, 0.001)},
            verdicts={"left_over_right_db": Verdict.PASS, "gain_off_right_db": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.PLAN, AdviceKind.REPLACE),
        ),
        Example(
            title="Right 4 dB low, the maker's gain unknown",
            source=COMMON,
            answers={"input": "150 mV", "left": "20 V", "right": "12.6 V"},
            advice=(AdviceKind.REMEASURE,),
            verdicts={"left_over_right_db": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=STAGE,
        ),
        Example(
            title="The louder channel is the wrong one",
            source="needs of the bench: compare both with the specified gain",
            answers={"gain_left": "46.0", "gain_right": "41.2", "specified_gain": "41"},
            advice=(AdviceKind.REMEASURE,),
            verdicts={"gain_off_left_db": Verdict.FAIL, "gain_off_right_db": Verdict.PASS},
            never=(AdviceKind.LEAVE,),
        ),
        Example(
            title="Lost in the relay",
            source=f"{CONTACTS}; arithmetic 8 Ω × (2.83 ÷ 2.30 − 1)",
            answers={
                "points": "preamp-out | 0.500 V | 0.498 V; before-relay | 2.83 V | 2.83 V; "
                "after-relay | 2.82 V | 2.30 V",
                "load": "8.0",
            },
            values={"contact_right_ohm": (1.843, 0.01), "lost_db": (1.771, 0.01)},
            verdicts={"contact_right_ohm": Verdict.FAIL},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=RELAY,
        ),
        Example(
            title="Fades at low volume, cured by a loud burst",
            source=CONTACTS,
            answers={"fades": "yes", "cured_by_burst": "yes"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=RELAY,
        ),
        Example(
            title="One channel about 1 dB louder, 1.9 % and 8 % of harmonics",
            source=SWAPPED,
            answers={
                "difference": "1 dB",
                "thd_left": "1.9 %",
                "thd_right": "8 %",
                "residue": "harmonics",
                "comparison": "normal",
                "parts_changed": "yes",
            },
            advice=(AdviceKind.REPLACE,),
            verdicts={"thd_left_percent": Verdict.FAIL, "thd_right_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=NON_LINEAR,
        ),
        Example(
            title="About 1 dB louder, and nothing else said",
            source=SWAPPED,
            answers={"difference": "1 dB", "louder": "right"},
            values={"left_over_right_db": (-1.0, 0.0001)},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE, AdviceKind.ADJUST),
        ),
        Example(
            title="Idle 0 mV, harsh; left-heavy, right drops out at some positions: two faults",
            source=TWO_FAULTS,
            answers={"idle": "0 mV", "sound": "harsh", "louder": "left", "drops_out": "right"},
            advice=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
            cause=UNDER_BIASED,
        ),
        Example(
            title="Both 6 dB low alike",
            source=COMMON,
            answers={"gain_left": "35", "gain_right": "35.1", "specified_gain": "41"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
        ),
    ),
    sources=(
        f"Tracking within 1 dB: {TRACKING}",
        f"3 dB without a balance control, 1 %: {DIN}",
        f"Fading cured by a loud burst: {CONTACTS}",
        "Series ohms from two readings: diyaudio.com thread 260534",
        f"Two faults at once: {TWO_FAULTS}",
        f"±2 dB of gain where none is stated, damping factor 20: {COMMON}",
        "0.1 Ω of a relay contact: from memory",
    ),
    needs=(33, 34),
)
