"""Controls and contacts: crackle and dropouts over one turn, levels over ten operations."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from backtospec.analysis.channel_levels import Level, LevelReader, difference_db, spread_db
from backtospec.analysis.control_noise import ControlAnalysis
from backtospec.analysis.setup import CaptureSetup
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
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
    TableFigure,
    TableInput,
    TextInput,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured
from backtospec.records import Channel, Limit, PowerState
from backtospec.verdict import Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}
COMMON = "common practice, no source"
BURST = "audiokarma.org/forums threads 818552"
AT_POWER = "audiosciencereview.com thread 65031: contacts raise THD only above about 20 W/4 Ω"
TWO_FAULTS = "i-bbs.sijex.net/audioclub/110"

ALIKE_DB = 0.2
"""0.2 Ω in series with 8 Ω cost 0.2 dB (arithmetic)."""
WIPER_V = 0.010
"""Direct volts on a control above which a turn is heard (common practice, no source)."""
RISES = 3.0
"""Times the distortion at low power that no class-AB stage adds by itself before its knee
(common practice, no source)."""

CONTROL = "worn volume control"
DIRT = "dirty track or wiper"
LEAKY = "direct voltage on the control: leaky coupling capacitor"
CONTACT = "oxidised relay or switch contact"
JOINT = "cold joint or loose plug"
KNEE = "clipping or a hot stage, not a contact"

WORDS = {
    "dropout": (
        *("drop", "dead", "silent", "gone", "cut", "open", "nothing", "mute", "weak"),
        *("no sound", "no signal", "no contact"),
    ),
    "clean": ("no ", "without", "clean", "quiet", "ok", "smooth", "fine", "good", "none"),
    "crackle": ("crackl", "scratch", "nois", "rustl", "rough", "jump", "click"),
}
"""Beginnings of words by what they mean; the first that fits counts."""


@dataclass(frozen=True, slots=True)
class _Turn:
    """What one channel does over a turn; ``everywhere`` where it crackles at most positions."""

    crackles: int
    dropouts: int
    everywhere: bool = False
    worst_crackle_db: float | None = None
    worst_dropout_db: float | None = None
    places: tuple[str, ...] = ()


def _setup(answers: Answers) -> CaptureSetup:
    hz = answers.number("nominal_hz")
    return CaptureSetup(
        full_scale_volts=(1.0,), load_ohm=(8.0,), nominal_hz=hz.value if hz else 1000.0
    )


def _meaning(text: str, where: str) -> str:
    word = text.strip().lower()
    for meaning, starts in WORDS.items():
        if any(re.search(rf"\b{start}", word) for start in starts):
            return meaning
    raise BenchError(
        f"“{text}” is none of clean, crackles, drops out.", where, "Write one of these words."
    )


def _turns(answers: Answers) -> dict[str, _Turn]:
    """Return what each channel does over the turn, recorded or noted position by position."""
    recorded = answers.capture("recording", ControlAnalysis)
    found: dict[str, _Turn] = {}
    if recorded is not None:
        for name, channel in CHANNELS.items():
            one = recorded.channels.get(channel)
            if one is None or not one.valid:
                continue
            crackles = [e for e in one.events if e.kind == "crackle"]
            drops = [e for e in one.events if e.kind == "dropout"]
            tenths = {int(e.rotation_percent // 10) for e in crackles}
            found[name] = _Turn(
                len(crackles),
                len(drops),
                len(tenths) >= 7,
                one.worst_crackle_db,
                one.worst_dropout_db,
                tuple(f"{e.rotation_percent:.0f} %: {e.kind}" for e in one.events),
            )
        return found
    for name in CHANNELS:
        noted = [
            (str(row["position"]), _meaning(cell, f"{row['position']}, {name}"))
            for row in answers.table("turn")
            if isinstance(cell := row.get(name), str)
        ]
        if noted:
            rough = [place for place, meaning in noted if meaning == "crackle"]
            gone = [place for place, meaning in noted if meaning == "dropout"]
            found[name] = _Turn(
                len(rough),
                len(gone),
                len(noted) >= 3 and len(rough) > 0.7 * len(noted),
                places=tuple(f"{p}: {m}" for p, m in noted if m != "clean"),
            )
    return found


def _levels(answers: Answers, table: str, first: str) -> dict[str, list[tuple[str, Level]]]:
    """Return the levels of each channel by row of a table."""
    reader = LevelReader(answers.meter)
    unit = answers.choice("unit") or "mV"
    return {
        name: [
            (str(row[first]), reader.read(cell, f"{row[first]}, {name}", unit))
            for row in answers.table(table)
            if isinstance(cell := row.get(name), str)
        ]
        for name in CHANNELS
    }


def measure(answers: Answers) -> Measurement:
    """Return crackles and dropouts over the turn, spread over operations, A against B."""
    recorded = answers.capture("recording", ControlAnalysis)
    turns = _turns(answers)
    if recorded is not None and not turns:
        raise BenchError(
            "neither channel of it can be read.",
            "recording",
            "Record both channels, from −30 to −1 dB of full scale.",
        )
    results: list[Result] = []
    for name, turn in turns.items():
        results += _turn_results(name, turn)
    for name, rows in _levels(answers, "operations", "operation").items():
        results += _operation_results(name, [level for _, level in rows])
    for name, rows in _levels(answers, "speakers", "selector").items():
        if len(rows) == 2:
            ratio = difference_db(rows[0][1], rows[1][1], f"speakers, {name}")
            if ratio is not None:
                title = f"{rows[0][0]} over {rows[1][0]}, {name}"
                results.append(_result("speakers", name, "db", title, ratio, "dB", "speakers"))
    for key, title in (("thd_low", "at low power"), ("thd_high", "at high power")):
        thd = answers.number(key)
        if thd is not None:
            key_percent, words = f"{key}_percent", f"distortion {title}"
            results.append(Result(key_percent, words, thd, "%", "as read", (key,)))
    direct = answers.number("wiper_dc")
    if direct is not None:
        title = "direct voltage on the control"
        results.append(Result("wiper_dc_v", title, abs(direct), "V", "as read", ("wiper_dc",)))
    if not results and not any(
        answers.choice(k) for k in ("cured_by_burst", "drops_out", "cleaned")
    ):
        raise BenchError(
            "nothing was read.",
            "controls and contacts",
            'Type a turn such as "9 | clean | crackles", or operations such as "1 | 800 | 802".',
        )
    return Measurement(tuple(results), _figures(answers, turns))


def _result(
    key: str, name: str, ending: str, title: str, value: Measured, unit: str, *inputs: str
) -> Result:
    full = f"{key}_{name}_{ending}" if ending else f"{key}_{name}"
    return Result(full, title, value, unit, "as noted", inputs, channel=CHANNELS[name])


def _turn_results(name: str, turn: _Turn) -> list[Result]:
    keys = ("turn", "recording")
    counts = (("crackles", turn.crackles), ("dropouts", turn.dropouts))
    found = [
        _result(key, name, "", f"{key} over the turn, {name}", Measured(count), "", *keys)
        for key, count in counts
    ]
    worst = (("crackle", turn.worst_crackle_db), ("dropout", turn.worst_dropout_db))
    return found + [
        _result(f"worst_{key}", name, "db", f"worst {key}, {name}", Measured(level), "dB", *keys)
        for key, level in worst
        if level is not None
    ]


def _operation_results(name: str, levels: list[Level]) -> list[Result]:
    if not levels:
        return []
    dead = Measured(sum(level.db is None for level in levels))
    title = f"operations without contact, {name}"
    found = [_result("dead", name, "", title, dead, "", "operations")]
    spread = spread_db(levels, f"operations, {name}")
    if spread is not None:
        title = f"spread over {len(levels)} operations, {name}"
        found.append(_result("spread", name, "db", title, spread, "dB", "operations"))
    return found


def _figures(answers: Answers, turns: dict[str, _Turn]) -> tuple[Figure, ...]:
    places = tuple((n.capitalize(), place) for n, turn in turns.items() for place in turn.places)
    operations = {
        name: dict(rows) for name, rows in _levels(answers, "operations", "operation").items()
    }
    names = dict.fromkeys(op for rows in operations.values() for op in rows)
    rows = tuple(
        (op, *(found.text if (found := operations[n].get(op)) else "–" for n in CHANNELS))
        for op in names
    )
    figures: list[Figure] = []
    if places:
        title = "Where the control is heard"
        figures.append(TableFigure("turn", title, ("Channel", "Where and what"), places))
    if rows:
        heads = ("Operation", "Left", "Right")
        figures.append(TableFigure("operations", "Level by operation", heads, rows))
    return tuple(figures)


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return the conventions: a quiet turn, and every operation alike."""
    none = tuple(
        Limit(f"{key}_{name}", None, 0.0, "", COMMON, (), True)
        for key in ("crackles", "dropouts", "dead")
        for name in CHANNELS
    )
    return (
        *none,
        *(Limit(f"spread_{n}_db", None, ALIKE_DB, "dB", COMMON, (), True) for n in CHANNELS),
        *(Limit(f"speakers_{n}_db", -ALIKE_DB, ALIKE_DB, "dB", COMMON, (), True) for n in CHANNELS),
        Limit("wiper_dc_v", None, WIPER_V, "V", COMMON, (), True),
    )


def _failing(findings: Findings, key: str, ending: str = "") -> list[str]:
    tail = f"_{ending}" if ending else ""
    return [n for n in CHANNELS if findings.verdict(f"{key}_{n}{tail}") is Verdict.FAIL]


def _dropping(findings: Findings) -> list[str]:
    said = findings.answers.choice("drops_out")
    stated = {"both": list(CHANNELS), "left": ["left"], "right": ["right"]}.get(said, [])
    return [n for n in CHANNELS if n in stated or n in _failing(findings, "dropouts")]


def advise(findings: Findings) -> Counsel:
    """Return what to clean, what to replace, and what to try again."""
    advice = [*_control_advice(findings), *_contact_advice(findings)]
    if not advice:
        unsure = [f for f in findings.all if f.verdict is Verdict.UNDECIDED]
        if unsure:
            reason = "The levels were read too coarsely to tell: read again with more digits."
            advice = [Advice(AdviceKind.REMEASURE, reason)]
        elif not any(f.limit is not None for f in findings.all):
            reason = "Nothing here shows a turn or an operation yet: turn each control once."
            advice = [Advice(AdviceKind.REMEASURE, reason)]
        else:
            reason = "Quiet, and alike every time. Leave it alone; do not spray what works."
            advice = [Advice(AdviceKind.LEAVE, reason)]
    return Counsel(tuple(advice), next_step=_next(findings))


def _control_advice(findings: Findings) -> list[Advice]:
    cleaned = findings.answers.choice("cleaned") == "yes"
    found = []
    if names := _dropping(findings):
        who = " and ".join(names).capitalize()
        what = "renew it" if cleaned else "clean it; if that fails, renew it"
        verb = "drop" if len(names) == 2 else "drops"
        reason = f"{who} {verb} out at some positions: the control is worn or dirty; {what}."
        found.append(Advice(AdviceKind.REPLACE, reason))
    direct = findings.value("wiper_dc_v")
    if direct is not None and findings.verdict("wiper_dc_v") is Verdict.FAIL:
        reason = (
            f"{direct.value * 1000:.0f} mV direct on the control: cleaning will not cure that. "
            "Read the coupling capacitor before it for leakage."
        )
        found.append(Advice(AdviceKind.PLAN, reason))
    elif (names := _failing(findings, "crackles")) and not _dropping(findings):
        who = " and ".join(names)
        if _everywhere(findings):
            reason = f"It crackles all along ({who}): read direct volts on the control, then clean."
        elif cleaned:
            reason = f"It still crackles after cleaning ({who}): renew the control."
            return [*found, Advice(AdviceKind.REPLACE, reason)]
        else:
            reason = f"It crackles at some positions ({who}): clean it, and turn it through again."
        found.append(Advice(AdviceKind.PLAN, reason))
    return found


def _contact_advice(findings: Findings) -> list[Advice]:
    answers = findings.answers
    contact = answers.choice("contact").replace("-", " ") or "contact"
    found = []
    if names := _failing(findings, "dead"):
        reason = f"The {contact} fails to make at times ({' and '.join(names)}): replace it."
        found.append(Advice(AdviceKind.REPLACE, reason))
    elif names := _failing(findings, "spread", "db"):
        shown = " and ".join(
            f"{n} {v.value:.2g} dB" for n in names if (v := findings.value(f"spread_{n}_db"))
        )
        reason = f"The {contact} changes the level from one operation to the next ({shown}): "
        if answers.choice("contact") == "relay":
            reason += "replace the relay; filing its contacts does not last."
            found.append(Advice(AdviceKind.REPLACE, reason))
        else:
            found.append(Advice(AdviceKind.PLAN, f"{reason}clean it, and try ten times again."))
    if names := _failing(findings, "speakers", "db"):
        reason = f"Speakers A and B differ ({' and '.join(names)}): clean the speaker selector."
        found.append(Advice(AdviceKind.PLAN, reason))
    if _bridging_cures(findings):
        reason = "Bridging the contact lowers the distortion: the contact is worn; replace it."
        found.append(Advice(AdviceKind.REPLACE, reason))
    elif _rises(findings) and _bridging_cures(findings) is None:
        reason = "Distortion rises at power: bridge the relay contact with a clip and read again."
        found.append(Advice(AdviceKind.REMEASURE, reason))
    if answers.choice("cured_by_burst") == "yes" and not found:
        reason = "A loud burst cures the fading: a dirty contact. Clean relay, switches, sockets."
        found.append(Advice(AdviceKind.PLAN, reason))
    return found


def _next(findings: Findings) -> str:
    answers = findings.answers
    if _rises(findings) and _bridging_cures(findings) is None:
        return "distortion at the same power with the contact bridged (thd_bridged)"
    if _everywhere(findings) and answers.number("wiper_dc") is None:
        return "direct volts on the control (wiper_dc)"
    if _dropping(findings) or _failing(findings, "crackles"):
        return "the same slow turn after cleaning, recorded"
    if not answers.table("operations"):
        return "relay and switches: the level over ten operations each (operations)"
    if not _turns(answers):
        return "one slow turn of each control, recorded or noted"
    return "small-signal response, then power"


def _everywhere(findings: Findings) -> bool | None:
    turns = _turns(findings.answers)
    return any(t.everywhere for t in turns.values()) if turns else None


def _some_places(findings: Findings) -> bool | None:
    turns = _turns(findings.answers)
    if not turns:
        return None
    return any(t.crackles and not t.everywhere for t in turns.values())


def _drops(findings: Findings) -> bool | None:
    asked = _turns(findings.answers) or findings.answers.choice("drops_out")
    return bool(_dropping(findings)) if asked else None


def _spreads(findings: Findings) -> bool | None:
    if not findings.answers.table("operations"):
        return None
    return bool(_failing(findings, "spread", "db") or _failing(findings, "dead"))


def _selector_differs(findings: Findings) -> bool | None:
    if not findings.answers.table("speakers"):
        return None
    return bool(_failing(findings, "speakers", "db"))


def _rises(findings: Findings) -> bool | None:
    low, high = findings.value("thd_low_percent"), findings.value("thd_high_percent")
    return None if low is None or high is None else high.value > RISES * low.value


def _bridging_cures(findings: Findings) -> bool | None:
    high, bridged = findings.value("thd_high_percent"), findings.answers.number("thd_bridged")
    return None if high is None or bridged is None else bridged.value < 0.5 * high.value


def _not_cured(findings: Findings) -> bool | None:
    cured = _bridging_cures(findings)
    return None if cured is None else not cured


def _direct(findings: Findings) -> bool | None:
    if findings.answers.number("wiper_dc") is None:
        return None
    return findings.verdict("wiper_dc_v") is Verdict.FAIL


def _said(key: str, value: str) -> Callable[[Findings], bool | None]:
    def seen(findings: Findings) -> bool | None:
        said = findings.answers.choice(key)
        return None if said == "" else said == value

    return seen


RULES = (
    Rule(
        CONTROL,
        (
            Clue(_drops, "a channel drops out at some positions", "no dropouts", 1.5),
            Clue(_some_places, "it crackles at some positions", "", 0.5),
            Clue(_said("cleaned", "yes"), "it was cleaned already", "", 1.5),
        ),
        "ohms of both tracks over the turn, power off",
        TWO_FAULTS,
    ),
    Rule(
        DIRT,
        (
            Clue(_some_places, "it crackles at some positions", "", 1.5),
            Clue(_drops, "a channel drops out at some positions", "", 1),
            Clue(_said("cleaned", "no"), "it was never cleaned", "it was cleaned already"),
        ),
        "the same turn after cleaning: dirt goes, wear stays",
        COMMON,
    ),
    Rule(
        LEAKY,
        (
            Clue(_everywhere, "it crackles all along the turn", "it crackles only in places", 1.5),
            Clue(_direct, "direct voltage stands on it", "no direct voltage on it", 2),
        ),
        "direct volts on the control; leakage of the coupling capacitor before it",
        COMMON,
    ),
    Rule(
        CONTACT,
        (
            Clue(_spreads, "the level changes from operation to operation", "alike each time", 2),
            Clue(_selector_differs, "speakers A and B differ", "A and B are alike", 1),
            Clue(_said("cured_by_burst", "yes"), "a loud burst cures it", "no burst cures it", 2),
            Clue(_bridging_cures, "bridging the contact lowers the distortion", "", 2),
            Clue(_rises, "distortion rises at power only", "distortion does not rise", 1),
            Clue(_not_cured, "", "bridging the contact changes nothing", 2),
        ),
        "the same with the contact bridged by a clip; level before and behind it, loaded",
        BURST,
    ),
    Rule(
        JOINT,
        (
            Clue(_spreads, "the level changes from operation to operation", "alike each time", 1),
            Clue(_said("cured_by_burst", "yes"), "a loud burst cures it", "", 0.5),
            Clue(_drops, "a channel drops out", "", 0.3),
        ),
        "tap and bend with an insulated stick while the tone plays",
        COMMON,
    ),
    Rule(
        KNEE,
        (
            Clue(_rises, "distortion rises at power", "distortion does not rise", 0.5),
            Clue(_not_cured, "bridging the contact changes nothing", "", 1.5),
        ),
        "distortion against power, and what the residue looks like",
        AT_POWER,
    ),
)


def _number(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(
        key=key, prompt=prompt, unit=unit, low=low, high=high, by_meter=True, assumed_counts=1
    )


def _choose(key: str, prompt: str, *choices: str) -> ChoiceInput:
    offered = tuple(Choice(value, value.replace("-", " ").capitalize()) for value in choices)
    return ChoiceInput(key=key, prompt=prompt, choices=offered)


def _three(key: str, prompt: str, first: str, what: str) -> TableInput:
    return TableInput(
        key=key,
        prompt=prompt,
        columns=(
            TextInput(key=first, prompt=first.capitalize(), required=True),
            TextInput(key="left", prompt=f"Left, {what}"),
            TextInput(key="right", prompt=f"Right, {what}"),
        ),
    )


TEN = "; ".join(f"{n} | {800 + n % 3} | {801 - n % 2}" for n in range(1, 11))

CHECK = Check(
    id="controls-contacts",
    title="Controls and contacts",
    stage=Stage.SMALL_SIGNAL,
    power_states=(PowerState.DRIVEN, PowerState.MAINS),
    why="Crackle, dropouts and a level that changes with each operation point to controls, "
    "switches and relays; a fault that comes and goes is often no more than that.",
    cautions=(
        "Clean only with the power off, discharged and dry again before power.",
        "No speaker until the offset is proven: dropouts and thumps go through dummy loads.",
        "Bridge a relay contact only with the offset proven: the protection is then gone.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "A tone at low level into both channels; turn each control once, in about ten seconds.",
        "Record both outputs, or note what is heard at each position.",
        "Operate relay, selector and switches ten times each; read both levels every time.",
        "Speaker selector: the same level at A and at B.",
    ),
    inputs=(
        CaptureInput(
            key="recording",
            prompt="One slow turn, recorded",
            analysis="control",
            setup=_setup,
        ),
        NumberInput(
            key="nominal_hz",
            prompt="Frequency of the tone in it",
            unit="Hz",
            low=10,
            high=40_000,
            default="1000",
        ),
        _three(
            "turn",
            "Or noted: position | left | right (clean, crackles, drops out)",
            "position",
            "word",
        ),
        _choose("drops_out", "Drops out at some positions", "none", "left", "right", "both"),
        _choose("cleaned", "Was it cleaned?", "yes", "no"),
        _number("wiper_dc", "Direct voltage on the control", "mV", -50_000, 50_000),
        _three("operations", "Ten operations: operation | left | right", "operation", "mV or dB"),
        ChoiceInput(
            key="unit",
            prompt="What bare levels are in",
            choices=(Choice("mV", "millivolts"), Choice("V", "volts"), Choice("dB", "decibels")),
            default="mV",
        ),
        _choose("contact", "What was operated", "relay", "input-selector", "tape-switch", "switch"),
        _three("speakers", "Speaker selector: A or B | left | right", "selector", "mV or dB"),
        _choose("cured_by_burst", "Does a loud burst cure the fading?", "yes", "no"),
        _number("thd_low", "Distortion at about 1 W", "%", 0.0001, 100),
        _number("thd_high", "Distortion at 20 W or more", "%", 0.0001, 100),
        _number("thd_bridged", "The same with the contact bridged", "%", 0.0001, 100),
    ),
    results=(
        *(
            ResultKey(f"{key}_{name}{ending}", f"{title}, {name}", unit)
            for name in CHANNELS
            for key, ending, title, unit in (
                ("crackles", "", "crackles over the turn", ""),
                ("dropouts", "", "dropouts over the turn", ""),
                ("worst_crackle", "_db", "worst crackle", "dB"),
                ("worst_dropout", "_db", "worst dropout", "dB"),
                ("dead", "", "operations without contact", ""),
                ("spread", "_db", "spread over operations", "dB"),
                ("speakers", "_db", "speaker A over B", "dB"),
            )
        ),
        ResultKey("thd_low_percent", "distortion at low power", "%"),
        ResultKey("thd_high_percent", "distortion at high power", "%"),
        ResultKey("wiper_dc_v", "direct voltage on the control", "V"),
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    rules=RULES,
    examples=(
        Example(
            title="A quiet turn and ten alike operations",
            source=COMMON,
            answers={"turn": "7 | clean | clean; 12 | clean | clean", "operations": TEN},
            values={"spread_left_db": (0.0217, 0.001), "crackles_left": (0, 0)},
            verdicts={"spread_left_db": Verdict.PASS, "dropouts_right": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.REPLACE, AdviceKind.PLAN),
        ),
        Example(
            title="Right drops out at some positions",
            source=TWO_FAULTS,
            answers={"turn": "9 | clean | drops out; 12 | clean | clean; 3 | clean | dead"},
            values={"dropouts_right": (2, 0)},
            verdicts={"dropouts_right": Verdict.FAIL, "dropouts_left": Verdict.PASS},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=CONTROL,
        ),
        Example(
            title="It crackles in one place",
            source=COMMON,
            answers={
                "turn": "8 | ok | ok; 10 | scratchy | ok; 12 | ok | ok; 2 | ok | ok",
                "cleaned": "no",
            },
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
            cause=DIRT,
        ),
        Example(
            title="It crackles all along, with direct voltage on the control",
            source=COMMON,
            answers={
                "turn": "8 | noisy | ok; 10 | noisy | ok; 12 | noisy | ok; 3 | noisy | ok",
                "wiper_dc": "120 mV",
            },
            verdicts={"wiper_dc_v": Verdict.FAIL},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=LEAKY,
        ),
        Example(
            title="A relay that makes differently each time",
            source=BURST,
            answers={
                "operations": "1 | 2830 mV | 2830 mV; 2 | 2830 mV | 2410 mV; 3 | 2829 mV | 2790 mV",
                "contact": "relay",
            },
            values={"spread_right_db": (1.395, 0.002)},
            verdicts={"spread_right_db": Verdict.FAIL, "spread_left_db": Verdict.PASS},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=CONTACT,
        ),
        Example(
            title="Fading cured by a loud burst",
            source=BURST,
            answers={"cured_by_burst": "yes"},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=CONTACT,
        ),
        Example(
            title="Distortion only above 20 W/4 Ω, gone with the relay bridged",
            source=AT_POWER,
            answers={"thd_low": "0.02 %", "thd_high": "0.31 %", "thd_bridged": "0.03 %"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=CONTACT,
        ),
        Example(
            title="Distortion above 20 W, not bridged yet",
            source=AT_POWER,
            answers={"thd_low": "0.02 %", "thd_high": "0.31 %"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
            cause=KNEE,
        ),
        Example(
            title="Speaker B weaker",
            source=COMMON,
            answers={"speakers": "A | 2830 | 2831; B | 2828 | 2540"},
            values={"speakers_right_db": (0.942, 0.002)},
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.LEAVE,),
            cause=CONTACT,
        ),
    ),
    sources=(
        f"Cured by a loud burst: {BURST}",
        f"Contacts at power: {AT_POWER}",
        f"Dropouts at some positions: {TWO_FAULTS}",
        f"0.2 dB over ten operations, 10 mV on a control, one turn of ten seconds: {COMMON}",
    ),
    needs=(33, 48),
)
