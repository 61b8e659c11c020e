"""Intake: what came in, and what must be put right before it sees the mains.

Longer than most: it asks for everything that is only asked once.
"""

from __future__ import annotations

import math

from backtospec import quantity
from backtospec.analysis import cold_parts, fuses, mains, mains_capacitor
from backtospec.analysis.fuses import FuseFault
from backtospec.analysis.mains_capacitor import Place, Ruling
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Cause,
    Check,
    Choice,
    ChoiceInput,
    Counsel,
    Example,
    Figure,
    Findings,
    Measurement,
    NumberInput,
    PhotoInput,
    ResultKey,
    Stage,
    TableFigure,
    TableInput,
    TextInput,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, write
from backtospec.records import Condition, Limit, PowerState, Topology
from backtospec.verdict import Bound, Result, Verdict

COMMON = "common practice, no source"
MEMORY = "from memory"
SELECTOR = "blog.analogbo.dk/2021/03/15/230-v-eller-220-v/"
INSULATION = "manualarchiveguide.com no. 4990337 p. 3; manualsdump.com/amp/en/manuals/219033/4"
WRONG_FUSE = "eevblog.com/forum/repair; pin-fix.blogspot.com/2015/01"
FAST_FUSE = "audiocircle.com topic 181812 (2022-05-13)"

LEAST_OHM, BLEEDER_OHM = 1e6, 5.2e6
"""Plug to chassis: 1–5.2 MΩ where a bleeder exists, else no reading at all (makers' manuals)."""

OLD_BEFORE_YEAR = 1990
"""Before this a mains part without a class mark goes (common practice, no source)."""

UNSAFE_PATH = "a path from mains to chassis"
EARLIER = "a fault was fused over by an earlier repair"
WRONG_KIND = "the charging current needs a time-lag fuse"
OLD_PART = "old mains suppression part"
SET_LOW = "set too low for the mains"
VALVES, TUNER = "valve", "Its tuner section is not covered."

RESULTS = {
    "fuse_ratio": ("fuse fitted over fuse specified", ""),
    "insulation_ohm": ("plug to chassis", "Ω"),
    "primary_ohm": ("primary of the transformer", "Ω"),
    "mains_percent": ("mains above the setting", "%"),
    "power_percent": ("power above the plate's, from the mains alone", "%"),
    "flux_percent": ("transformer flux above the plate's", "%"),
}
WITHOUT_A_MANUAL = (
    ("twin channel", "the other channel's reading at the same point", "inferred"),
    ("markings", "what is printed on the part: value, tolerance, volts", "inferred"),
    ("earlier units", "your own records of the same model, after repair", "inferred"),
    ("bench convention", "what the trade uses, named with its source", "convention"),
)


def _value(answers: Answers, key: str) -> float | None:
    number = answers.number(key)
    return number.value if number else None


def _words(answers: Answers, key: str) -> str:
    return answers.texts.get(key, "").strip()


def _set_v(answers: Answers) -> float | None:
    sheet = answers.spec.mains_v if answers.spec else None
    return _value(answers, "selector") or _value(answers, "nameplate") or sheet


def _ohms(answers: Answers, key: str) -> float | None:
    """Return a resistance that may be open; infinite then."""
    text = _words(answers, key)
    if not text:
        return None
    if cold_parts.is_open(text) or text.lower() in ("infinite", "infinity"):
        return math.inf
    return quantity.read(text, "MΩ" if key == "insulation" else "Ω", key, 0, 1e6)


def _fuse_rows(answers: Answers) -> list[tuple[str, fuses.Fuse, fuses.Fuse | None]]:
    """Return place, fitted and specified of each fuse."""
    found = []
    for row in answers.table("fuses"):
        place, fitted, specified = (str(row.get(k, "")) for k in ("place", "fitted", "specified"))
        found.append(
            (
                place,
                fuses.read_fuse(fitted, f"{place}, fitted"),
                fuses.read_fuse(specified, f"{place}, specified") if specified else None,
            )
        )
    return found


def measure(answers: Answers) -> Measurement:
    """Return fuses, insulation and mains as figures; identity and history as a table."""
    results: list[Result] = []

    def add(key: str, value: Measured, method: str, *inputs: str, of: str = "") -> None:
        title, unit = RESULTS[key]
        title = f"{of}: {title}" if of else title
        results.append(Result(key, title, value, unit, method, inputs))

    for place, fitted, specified in _fuse_rows(answers):
        if specified and fitted.ampere and specified.ampere:
            ratio = Measured(fitted.ampere / specified.ampere)
            add("fuse_ratio", ratio, "fitted ÷ specified", "fuses", of=place)
    for key in ("insulation", "primary"):
        ohm = _ohms(answers, key)
        if ohm is None:
            continue
        title, unit = RESULTS[f"{key}_ohm"]
        bleeder = {"bleeder": answers.choice("bleeder") or "not known"}
        method, bound = "ohmmeter, unplugged, switch on", Bound.EQUALS
        if math.isinf(ohm):
            ohm, bound, method = 20e6, Bound.AT_LEAST, f"{method}: no reading, taken as ≥ 20 MΩ"
        results.append(
            Result(f"{key}_ohm", title, Measured(ohm), unit, method, (key,), bleeder, bound)
        )
    measured, set_v = answers.number("mains"), _set_v(answers)
    if measured is not None and set_v:
        ratio = mains.mains_ratio(measured, set_v)
        add("mains_percent", mains.voltage_percent(ratio), "measured ÷ set", "mains", "selector")
        add("power_percent", mains.power_percent(ratio), "(measured ÷ set)²", "mains", "selector")
        plate_hz = _value(answers, "nameplate_hz") or (
            answers.spec.mains_hz if answers.spec else None
        )
        if plate_hz and (local_hz := _value(answers, "mains_hz")):
            flux = (ratio * (plate_hz / local_hz) - 1) * 100
            add(
                "flux_percent", flux, "volts ÷ hertz, against the plate", "mains_hz", "nameplate_hz"
            )
    if not results and not answers.texts:
        raise BenchError("nothing was noted.", "intake", "Give at least what it is.")
    return Measurement(tuple(results), _figures(answers))


def _figures(answers: Answers) -> tuple[Figure, ...]:
    spec = answers.spec
    known = {
        "maker": spec.maker if spec else "",
        "model": spec.model if spec else "",
        "topology": _topology(answers),
    }
    keys = ("maker", "model", "serial", "topology", "symptoms", "history", "owner_aim")
    rows = tuple(
        (key.replace("_", " "), text)
        for key in keys
        if (text := _words(answers, key) or known.get(key, ""))
    )
    found: list[Figure] = []
    if rows:
        found.append(TableFigure("identity", "As it came in", ("What", "Noted"), rows))
    if answers.choice("manual") == "no":
        columns = ("Limit from", "How", "Label")
        found.append(TableFigure("inferred", "Limits without a manual", columns, WITHOUT_A_MANUAL))
    return tuple(found)


def _topology(answers: Answers) -> str:
    sheet = answers.spec.topology if answers.spec else None
    return answers.choice("topology") or (sheet.value if sheet else "")


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return the limits of fuse, insulation, mains and flux."""
    source = f"makers' service manuals: {INSULATION}"
    no = (Condition("bleeder", "no"),)
    beyond = f"a 220 V amplifier at 253 V has 15 % ({MEMORY})"
    most = mains.DANGER_PERCENT
    return (
        Limit("fuse_ratio", 1.0, 1.0, "", "as specified", ()),
        Limit("insulation_ohm", LEAST_OHM, None, "Ω", source, ()),
        Limit("insulation_ohm", 2 * BLEEDER_OHM, None, "Ω", f"no bleeder: {source}", no, True),
        Limit("mains_percent", None, most, "%", beyond, (), True),
        Limit("flux_percent", None, most, "%", beyond, (), True),
    )


def advise(findings: Findings) -> Counsel:
    """Return what must be put right before it is powered, or that it may go on."""
    answers = findings.answers
    topology = _topology(answers)
    if topology == VALVES:
        reason = (
            "A valve amplifier: other voltages, other hazards and other rules. It is not covered; "
            "hand it to someone who works on those."
        )
        return Counsel.of(AdviceKind.STOP, reason, next_step="not covered here")
    causes: list[Cause] = []
    advice = [
        *_insulation_advice(findings, causes),
        *_mains_advice(findings, causes),
        *_fuse_advice(findings, causes),
        *_part_advice(answers, causes),
    ]
    if answers.choice("earlier_work") == "poor":
        reason = "Earlier work is poor: treat every part of it as suspect, and list it first."
        advice.append(Advice(AdviceKind.REMEASURE, reason))
    step = f"put that right first; {_next(answers)}" if advice else _next(answers)
    if not advice:
        advice.append(Advice(AdviceKind.LEAVE, _recorded(findings)))
    return Counsel(tuple(advice), tuple(causes), step)


def _insulation_advice(findings: Findings, causes: list[Cause]) -> list[Advice]:
    answers = findings.answers
    found: list[Advice] = []
    ohm = _ohms(answers, "insulation")
    bleeder = answers.choice("bleeder")
    if ohm is not None and ohm < LEAST_OHM:
        shown = f"{write(ohm, 'Ω')} from plug to chassis"
        reason = f"{shown}: less than 1 MΩ. Do not plug it in; find the path first."
        next_reading = "the same with mains suppression parts lifted, then with the transformer off"
        causes.append(Cause(UNSAFE_PATH, (shown,), (), next_reading, INSULATION))
        found.append(Advice(AdviceKind.STOP, reason))
    elif ohm is not None and ohm <= 2 * BLEEDER_OHM and bleeder == "no":
        shown = f"{write(ohm, 'Ω')} from plug to chassis without a bleeder"
        next_reading = "the same with the mains suppression parts lifted"
        causes.append(Cause(UNSAFE_PATH, (shown,), (), next_reading, INSULATION))
        reason = f"{shown}: it should read nothing. Lift the suppression parts and read again."
        found.append(Advice(AdviceKind.REMEASURE, reason))
    primary = _ohms(answers, "primary")
    if primary is not None and math.isinf(primary):
        reason = "The primary reads open: check the fuse, the switch, the selector and its lead."
        found.append(Advice(AdviceKind.REMEASURE, reason))
    return found


def _mains_advice(findings: Findings, causes: list[Cause]) -> list[Advice]:
    answers = findings.answers
    above, power = findings.value("mains_percent"), findings.value("power_percent")
    measured, set_v = _value(answers, "mains"), _set_v(answers)
    if above is None or power is None or measured is None or set_v is None:
        return []
    shown = f"{measured:.4g} V mains on a {set_v:.3g} V setting"
    more = f"{above.value:+.1f} % volts, {power.value:+.1f} % power"
    hums = answers.choice("hum") == "transformer"
    may_turn = "selector" in answers.texts or hums
    positions = mains.read_positions(_words(answers, "positions"))
    position = mains.best_position(measured, set_v, positions) if may_turn else None
    flux = findings.value("flux_percent")
    if above.value > mains.DANGER_PERCENT:
        to = (
            f"set the selector to {position:.3g} V"
            if position
            else "it needs a step-down transformer"
        )
        return [Advice(AdviceKind.STOP, f"{shown} ({more}): do not plug it in; {to}.")]
    if flux is not None and flux.value > mains.DANGER_PERCENT:
        reason = (
            f"Its transformer is made for another frequency: {flux.value:.0f} % more flux here "
            "than on its plate. Do not run it on this mains."
        )
        return [Advice(AdviceKind.STOP, reason)]
    if position is None:
        return []
    signs = (shown,) + (("the transformer hums",) if hums else ())
    causes.append(Cause(SET_LOW, signs, (), "the mains at another time of day", SELECTOR))
    which = "selector" if "selector" in answers.texts else "selector, if it has one,"
    reason = f"{shown} ({more}): unplugged, set the {which} to {position:.3g} V."
    return [Advice(AdviceKind.ADJUST, reason)]


_FUSE_WORDS = {
    FuseFault.TOO_LARGE: "is too large and protects nothing",
    FuseFault.TOO_SMALL: "is too small and will blow",
    FuseFault.FAST_FOR_LAG: "is fast where time-lag belongs: the charging current kills it",
    FuseFault.LAG_FOR_FAST: "is time-lag where fast belongs: it protects too late",
}


def _fuse_advice(findings: Findings, causes: list[Cause]) -> list[Advice]:
    found: list[Advice] = []
    for place, fitted, specified in _fuse_rows(findings.answers):
        shown = f"{place} fuse {_fuse_words(fitted)}"
        if fitted.bridged:
            causes.append(Cause(EARLIER, (shown,), (), "ohms behind the fuse, then the limiter"))
            reason = f"{shown}: no fuse at all. Do not power it before the right one is in."
            found.append(Advice(AdviceKind.STOP, reason))
            continue
        if specified is None:
            reason = (
                f"{shown}: find out what belongs there, from the plate, the board or the manual."
            )
            found.append(Advice(AdviceKind.REMEASURE, reason))
            continue
        faults = fuses.fuse_faults(fitted, specified)
        if not faults:
            continue
        if FuseFault.TOO_LARGE in faults:
            signs = (f"{shown} for {_fuse_words(specified)}",)
            next_reading = "ohms behind the fuse, power off; then first power on a limiter"
            causes.append(Cause(EARLIER, signs, (), next_reading, WRONG_FUSE))
        if FuseFault.FAST_FOR_LAG in faults:
            causes.append(Cause(WRONG_KIND, (shown,), (), "the letter on the fuse", FAST_FUSE))
        words = " and ".join(_FUSE_WORDS[fault] for fault in faults)
        reason = f"{shown} {words}. Fit {_fuse_words(specified)} before any power."
        found.append(Advice(AdviceKind.REPLACE, reason))
    return found


def _fuse_words(fuse: fuses.Fuse) -> str:
    if fuse.bridged:
        return "bridged"
    rated = write(fuse.ampere, "A") if fuse.ampere is not None else ""
    return f"{rated} {fuse.kind or ''}".strip()


def _part_advice(answers: Answers, causes: list[Cause]) -> list[Advice]:
    """Judge mains suppression parts by their class before anything is read of them."""
    found: list[Advice] = []
    made = _value(answers, "year") or (answers.spec.year if answers.spec else None)
    for row in answers.table("suppression"):
        name, place = str(row["designator"]), Place(str(row["place"]))
        broken = row.get("visible", "") in ("cracked", "bulging", "leaking")
        ruling, why = mains_capacitor.judge_fitted(
            str(row.get("part_kind", "")),
            place,
            broken=broken,
            old=made is not None and made < OLD_BEFORE_YEAR,
        )
        if ruling is Ruling.REPLACE:
            causes.append(Cause(OLD_PART, (f"{name}: {why}",), (), "the class printed on it"))
            found.append(Advice(AdviceKind.REPLACE, f"{name}: {why}."))
        elif ruling is Ruling.READ_CLASS:
            found.append(Advice(AdviceKind.REMEASURE, f"{name}: {why}."))
    return found


def _recorded(findings: Findings) -> str:
    answers = findings.answers
    parts = []
    if answers.table("fuses"):
        parts.append("fuses as specified")
    ohm = _ohms(answers, "insulation")
    if ohm is not None:
        read = "no reading" if math.isinf(ohm) else write(ohm, "Ω")
        bleeds = not math.isinf(ohm) and ohm <= 2 * BLEEDER_OHM
        why = (
            " (a bleeder; look for it on the schematic)"
            if bleeds and not answers.choice("bleeder")
            else ""
        )
        parts.append(f"plug to chassis {read}{why}")
    above, power = findings.value("mains_percent"), findings.value("power_percent")
    if above is not None and power is not None and abs(above.value) >= 1:
        parts.append(f"{above.value:+.1f} % mains gives {power.value:+.1f} % power, by itself")
    shown = ", ".join(parts) or "noted as it came in"
    return f"{shown[0].upper()}{shown[1:]}: nothing to put right before the power-off checks."


def _next(answers: Answers) -> str:
    missing = []
    if not answers.table("fuses"):
        missing.append("fuses, value and type")
    if not _words(answers, "insulation"):
        missing.append("plug to chassis in MΩ")
    if _set_v(answers) is None:
        missing.append("the mains plate")
    if not any(_words(answers, key) for key in PHOTOS):
        missing.append("pictures")
    step = f"not noted yet: {', '.join(missing)}" if missing else "the power-off checks"
    if answers.choice("manual") == "no":
        step += (
            "; no manual: limits come from the twin channel, markings and earlier units, and are "
            "labelled as inferred"
        )
    if answers.choice("tuner") == "yes":
        step += f". {TUNER}"
    if _topology(answers) == Topology.V_FET.value:
        step += "; V-FET: gate bias before the rails, no slow ramp"
    if _topology(answers) == Topology.SWITCHING_SUPPLY.value:
        step += "; switching supply: no lamp limiter"
    return step


def _marking(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high)


def _choose(key: str, prompt: str, *choices: tuple[str, str]) -> ChoiceInput:
    return ChoiceInput(key=key, prompt=prompt, choices=tuple(Choice(v, t) for v, t in choices))


PHOTOS = {
    "photo_front": "Picture of the front",
    "photo_plate": "Picture of the plate",
    "photo_inside": "Picture of the inside, before the work",
}
PART_KINDS = (
    ("class-x", "Marked class X"),
    ("class-y", "Marked class Y"),
    ("paper", "Paper"),
    ("film", "Film"),
    ("ceramic", "Ceramic"),
)

CHECK = Check(
    id="intake",
    title="Intake",
    stage=Stage.INTAKE,
    power_states=(PowerState.SAFE,),
    why="What is wrong before the first power decides whether there is a second. The state it came "
    "in is noted once, and held against what goes out.",
    cautions=(
        "Unplugged, discharged, measured below 2 V, and again a minute later.",
        "Do not plug it in to see whether it works.",
        "Rear outlets and the mains switch are live in a plugged amplifier that is off.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Note maker, model, serial number, symptoms, history and what the owner wants.",
        "Pictures of the front, the plate and the inside.",
        "Each fuse: what is fitted, value and type, against what is printed.",
        "Plug to chassis in MΩ, mains switch on, both pins together.",
        "The mains plate and its selector against the mains of your place.",
        "Mains suppression parts: where they sit, what class is printed on them.",
    ),
    inputs=(
        TextInput(key="maker", prompt="Maker"),
        TextInput(key="model", prompt="Model"),
        TextInput(key="serial", prompt="Serial number"),
        _marking("year", "Year of make", "year", 1920, 2100),
        _choose(
            "topology",
            "Kind of amplifier",
            *((t.value, t.value.replace("-", " ")) for t in Topology),
            (VALVES, "Valve"),
        ),
        TextInput(key="symptoms", prompt="Symptoms"),
        TextInput(key="history", prompt="History and earlier repairs"),
        TextInput(key="owner_aim", prompt="What the owner wants"),
        _choose(
            "earlier_work", "Earlier work", ("none", "None"), ("tidy", "Tidy"), ("poor", "Poor")
        ),
        _choose("manual", "Is there a service manual?", ("yes", "Yes"), ("no", "No")),
        _choose("tuner", "Has it a tuner section?", ("no", "No"), ("yes", "Yes")),
        _marking("nameplate", "Mains on the plate", "V", 90, 260),
        _marking("nameplate_hz", "Frequency on the plate", "Hz", 40, 70),
        _marking("selector", "Where the selector stands", "V", 90, 260),
        TextInput(key="positions", prompt="Positions it offers (110/120/220/240)"),
        NumberInput(
            key="mains",
            prompt="Mains of your place, measured",
            unit="V",
            low=50,
            high=300,
            probed_at="at the socket",
            by_meter=True,
            assumed_counts=1,
        ),
        _marking("mains_hz", "Mains frequency of your place", "Hz", 40, 70),
        _choose("hum", "Mechanical hum", ("none", "None"), ("transformer", "Transformer hum")),
        TableInput(
            key="fuses",
            prompt="Fuses: place | fitted | specified (mains | 3 A fast | T1.6A)",
            columns=(
                TextInput(key="place", prompt="Place", required=True),
                TextInput(key="fitted", prompt="Fitted", required=True),
                TextInput(key="specified", prompt="Specified"),
            ),
        ),
        TextInput(key="insulation", prompt="Plug to chassis, in MΩ (OL where it reads nothing)"),
        _choose("bleeder", "Is there a bleeder to the chassis?", ("no", "No"), ("yes", "Yes")),
        TextInput(key="primary", prompt="Primary, plug pin to pin, in Ω"),
        TableInput(
            key="suppression",
            prompt="Mains suppression parts: designator | place | kind | what is to be seen",
            columns=(
                TextInput(key="designator", prompt="Designator", required=True),
                ChoiceInput(
                    key="place",
                    prompt="Where it sits",
                    required=True,
                    choices=(
                        Choice(Place.ACROSS.value, "Across the mains"),
                        Choice(Place.TO_CHASSIS.value, "Mains to chassis"),
                    ),
                ),
                _choose("part_kind", "Kind", *PART_KINDS),
                _choose(
                    "visible",
                    "What is to be seen",
                    ("none", "Nothing"),
                    ("cracked", "Cracked case"),
                    ("bulging", "Bulging"),
                    ("leaking", "Leaking"),
                    ("glue", "Glue only"),
                ),
            ),
        ),
        *(PhotoInput(key=key, prompt=prompt) for key, prompt in PHOTOS.items()),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="Set to 220 V on a 230 V supply, transformer hum",
            source=SELECTOR,
            answers={"selector": "220 V", "mains": "230 V", "hum": "transformer"},
            advice=(AdviceKind.ADJUST,),
            values={"mains_percent": (4.545, 0.01)},
            never=(AdviceKind.STOP, AdviceKind.LEAVE),
            cause=SET_LOW,
        ),
        Example(
            title="30 A where 1.5 A belongs",
            source="eevblog.com/forum/repair",
            answers={"fuses": "mains | 30 A | 1.5 A"},
            advice=(AdviceKind.REPLACE,),
            values={"fuse_ratio": (20, 1e-9)},
            verdicts={"fuse_ratio": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=EARLIER,
        ),
        Example(
            title="A fast fuse in place of a time-lag one",
            source=FAST_FUSE,
            answers={"fuses": "mains | F3.15A | T3.15A"},
            advice=(AdviceKind.REPLACE,),
            verdicts={"fuse_ratio": Verdict.PASS},
            never=(AdviceKind.LEAVE,),
            cause=WRONG_KIND,
        ),
        Example(
            title="All as printed",
            source=COMMON,
            answers={
                "fuses": "mains | T1.6A 250V | 1.6 A slow; rail | 5A fast | F5A",
                "insulation": "OL",
                "bleeder": "no",
                "nameplate": "230",
                "mains": "231 V",
            },
            advice=(AdviceKind.LEAVE,),
            verdicts={"insulation_ohm": Verdict.PASS, "fuse_ratio": Verdict.PASS},
            never=(AdviceKind.STOP, AdviceKind.REPLACE, AdviceKind.ADJUST),
        ),
        Example(
            title="2.2 MΩ from plug to chassis, with a bleeder",
            source=INSULATION,
            answers={"insulation": "2.2 MΩ", "bleeder": "yes"},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP, AdviceKind.REMEASURE),
        ),
        Example(
            title="2.2 MΩ from plug to chassis, and no bleeder",
            source=INSULATION,
            answers={"insulation": "2.2M", "bleeder": "no"},
            advice=(AdviceKind.REMEASURE,),
            verdicts={"insulation_ohm": Verdict.FAIL},
            never=(AdviceKind.LEAVE,),
            cause=UNSAFE_PATH,
        ),
        Example(
            title="40 kΩ from plug to chassis",
            source=INSULATION,
            answers={"insulation": "40 kΩ"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
            cause=UNSAFE_PATH,
        ),
        Example(
            title="Paper across the mains, class X to the chassis, glue on a good one",
            source=f"{COMMON}; classes {MEMORY}",
            answers={
                "year": "1974",
                "suppression": "C1 | across the mains | paper | cracked\n"
                "C2 | mains to chassis | class-x\nC3 | mains to chassis | class-y | glue",
            },
            advice=(AdviceKind.REPLACE, AdviceKind.REPLACE),
            never=(AdviceKind.LEAVE, AdviceKind.REMEASURE),
            cause=OLD_PART,
        ),
        Example(
            title="100 V amplifier on 230 V",
            source=COMMON,
            answers={"nameplate": "100 V", "mains": "230 V"},
            advice=(AdviceKind.STOP,),
            verdicts={"mains_percent": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
        ),
        Example(
            title="A valve amplifier",
            source=COMMON,
            answers={"topology": "valve", "maker": "Invented"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE, AdviceKind.ADJUST),
        ),
        Example(
            title="A receiver without a manual, only noted",
            source=COMMON,
            answers={"maker": "Invented", "symptoms": "hum", "manual": "no", "tuner": "yes"},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.STOP, AdviceKind.REPLACE),
        ),
        Example(
            title="A piece of wire for a fuse",
            source=COMMON,
            answers={"fuses": "mains | wire | T2A"},
            advice=(AdviceKind.STOP,),
            never=(AdviceKind.LEAVE,),
            cause=EARLIER,
        ),
    ),
    sources=(
        f"Wrong fuses are common: {WRONG_FUSE}; a fast one in place of time-lag: {FAST_FUSE}",
        f"Plug to chassis, 1–5.2 MΩ with a bleeder, else no reading: {INSULATION}",
        f"Selector: {SELECTOR}; mains then and now: ielogical.com/Audio/BuckTrans.php",
        f"Safety classes: {MEMORY}; the record before the work: "
        "music-electronics-forum.com thread 32654",
    ),
    needs=(13, 40, 45, 49, 51),
    before_closing="fuses as specified, mains suppression parts of the right class",
)
