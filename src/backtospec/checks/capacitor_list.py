"""Capacitors as a list: every part of a recap judged alike, and what of it is to be ordered."""

from __future__ import annotations

import re
from dataclasses import dataclass

from backtospec.analysis import mains_capacitor
from backtospec.analysis.capacitor_limits import RATIO
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
    Findings,
    Measurement,
    NumberInput,
    PhotoInput,
    ResultKey,
    Series,
    Stage,
    TableFigure,
    TableInput,
    TextInput,
    read_answers,
)
from backtospec.check.capacitor_advice import DRIED, NEIGHBOUR, judge_part
from backtospec.check.capacitor_part import (
    FREQUENCIES,
    OLD_BEFORE_YEAR,
    measure_part,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, read, resolution, write
from backtospec.records import Limit, PowerState
from backtospec.verdict import Result, Verdict

COMMON = "common practice, no source"
MEMORY = "from memory"
WRONG_CLASS = "mains part without the safety class of its place"

CIRCUIT = (Choice("out", "Out of circuit, or one leg lifted"), Choice("in", "In circuit"))
KINDS = (
    Choice("electrolytic", "Electrolytic"),
    Choice("film", "Film"),
    Choice("ceramic", "Ceramic"),
    Choice("paper", "Paper"),
    Choice("class-x", "Marked class X"),
    Choice("class-y", "Marked class Y"),
)
PLACES = (
    Choice("supply", "Supply filter"),
    Choice("signal", "Signal path"),
    Choice("across-mains", "Across the mains"),
    Choice("mains-to-chassis", "Mains to chassis"),
)
VISIBLE = (
    Choice("none", "Nothing"),
    Choice("bulging", "Bulging"),
    Choice("leaking", "Leaking electrolyte"),
    Choice("cracked", "Cracked case"),
    Choice("glue", "Glue only"),
)
WORDS = {
    AdviceKind.STOP: "Do not fit",
    AdviceKind.REPLACE: "Replace",
    AdviceKind.REMEASURE: "Read again before they are judged",
    AdviceKind.WAIT: "Still re-forming",
    AdviceKind.PLAN: "Usable now, on the order list",
}


def _number(
    key: str, prompt: str, unit: str, low: float, high: float, *, meter: bool = False
) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit=unit,
        low=low,
        high=high,
        by_meter=meter,
        assumed_percent=2.0 if meter else 0.5,
        assumed_counts=2.0 if unit == "Ω" else 3.0,
        probed_at="across the part's own terminals" if meter else "",
    )


COLUMNS: tuple[NumberInput | ChoiceInput | TextInput, ...] = (
    TextInput(key="designator", prompt="Designator", required=True),
    _number("nominal", "Marked capacitance", "µF", 1e-5, 1e6),
    _number("rated_v", "Rated voltage", "V", 1, 1000),
    _number("capacitance", "Measured capacitance", "µF", 0, 1e6, meter=True),
    _number("esr", "ESR", "Ω", 0, 1e5, meter=True),
    TextInput(key="loss", prompt="Loss: voltage loss with %, or tan δ as a plain number"),
    _number("leakage", "Leakage at the volts it works at", "µA", 0, 1e6, meter=True),
    ChoiceInput(key="in_circuit", prompt="In or out of circuit", choices=CIRCUIT),
    _number("year", "Year of make", "year", 1920, 2100),
    TextInput(key="new", prompt="New part (2200 µF 63 V; X2 on a mains part)"),
    ChoiceInput(key="part_kind", prompt="Kind of part", choices=KINDS),
    ChoiceInput(key="place", prompt="Where it sits", choices=PLACES),
    ChoiceInput(key="visible", prompt="What is to be seen", choices=VISIBLE),
)

PART_INPUTS = (
    *(column for column in COLUMNS if column.key != "leakage"),
    _number("lead_ohm", "Leads alone, shorted", "Ω", 0, 10, meter=True),
    _number("voltage_loss", "Voltage loss", "%", 0, 100, meter=True),
    _number("tan_delta", "tan δ", "", 0, 100, meter=True),
    _number("new_capacitance", "New part, capacitance", "µF", 1e-5, 1e6),
    _number("new_rated_v", "New part, rated voltage", "V", 1, 10_000),
    ChoiceInput(
        key="frequency",
        prompt="Meter's frequency",
        choices=tuple(Choice(f, f.replace("-", " ")) for f in FREQUENCIES),
    ),
)
"""What one row turns into: the answers of one capacitor."""


@dataclass(frozen=True, slots=True)
class _Judged:
    """One row with what follows from it."""

    name: str
    texts: dict[str, str]
    results: tuple[Result, ...]
    advice: tuple[Advice, ...]
    causes: tuple[Cause, ...]

    @property
    def kind(self) -> AdviceKind:
        return self.advice[0].kind

    def reason(self, kind: AdviceKind) -> str:
        """Return why that is advised, without the designator."""
        return next((_bare(a.reason, self.name) for a in self.advice if a.kind is kind), "")

    def says(self, kind: AdviceKind) -> bool:
        """Return whether that is its word; a refused new part does not hide the old one's."""
        kinds = [a.kind for a in self.advice]
        return kind in (kinds if kinds[0] is AdviceKind.STOP else kinds[:1])

    @property
    def ordered_for(self) -> str:
        """Why it is to be bought: it must go, may go soon, or a new part was chosen."""
        chosen = "a new part was chosen" if "new" in self.texts else ""
        return self.reason(AdviceKind.REPLACE) or self.reason(AdviceKind.PLAN) or chosen


def _bare(reason: str, name: str) -> str:
    return reason.removeprefix(f"{name}: ").rstrip(".")


def _rows(answers: Answers) -> list[dict[str, str]]:
    """Return the rows as typed, by column; the form has already refused what cannot be read."""
    rows = []
    text = answers.texts.get("parts", "")
    for line in (part.strip() for part in re.split(r"[;\n]", text) if part.strip()):
        cells = [cell.strip() for cell in re.split(r"[|\t]", line.strip("|"))]
        keys = [column.key for column in COLUMNS]
        row = {k: c for k, c in zip(keys, cells, strict=False) if c not in "-–—"}
        if "place" in row:
            row["place"] = row["place"].casefold().replace(" ", "-").replace("_", "-")
        rows.append(row)
    return rows


def _judge(texts: dict[str, str], answers: Answers) -> _Judged:
    """Return one row judged by the rules that judge a single filter capacitor."""
    name = texts["designator"]
    given = {k: v for k, v in texts.items() if k not in ("loss", "leakage")}
    for key in ("year", "in_circuit", "frequency", "lead_ohm"):
        if key in answers.texts and key not in given and (key != "lead_ohm" or "esr" in given):
            given[key] = answers.texts[key]
    if loss := texts.get("loss", ""):
        given["voltage_loss" if "%" in loss else "tan_delta"] = re.sub(r"^\D+", "", loss)
    given |= _new_part(texts.get("new", ""))
    if given.get("place", "") in ("across-mains", "mains-to-chassis"):
        given.pop("new_rated_v", None)  # its class says more than volts, direct or alternating
    given = _listed(name, answers) | given
    series = {}
    if leakage := texts.get("leakage"):
        ampere = read(leakage, "µA", f"{name}, leakage", 0, 1e6)
        series["leakage"] = Series((0.0,), (ampere,), resolution(leakage, "µA"), "µA")
    part = read_answers(PART_INPUTS, given, series=series, spec=answers.spec, meter=answers.meter)
    mains = _mains_advice(part, name)
    if mains:
        causes = (Cause(WRONG_CLASS, tuple(a.reason for a in mains), (), "the class on its body"),)
        shown = tuple(r for r in _results(part) if r.key == RATIO)
        return _Judged(name, given, shown, mains, causes)
    if not _readable(part):
        nothing = Advice(AdviceKind.REMEASURE, f"{name}: no reading yet.")
        return _Judged(name, given, (), (nothing,), ())
    findings, counsel = judge_part(part)
    return _Judged(name, given, tuple(f.result for f in findings), counsel.advice, counsel.causes)


def _listed(name: str, answers: Answers) -> dict[str, str]:
    """Return what the spec sheet's parts list says of a part."""
    for one in answers.spec.capacitors if answers.spec else ():
        if one.designator.casefold() == name.casefold():
            return {"nominal": write(one.farad, "F", 6), "rated_v": write(one.rated_v, "V", 6)}
    return {}


def _readable(part: Answers) -> bool:
    keys = ("capacitance", "esr", "voltage_loss", "tan_delta", "new_capacitance", "new_rated_v")
    seen = part.choice("visible") in ("bulging", "leaking", "cracked")
    return seen or part.series("leakage") is not None or any(part.number(k) for k in keys)


def _results(part: Answers) -> tuple[Result, ...]:
    return measure_part(part).results if _readable(part) else ()


def _new_part(text: str) -> dict[str, str]:
    """Return capacitance and volts found in words such as "2200 µF 63 V 105 °C"."""
    found = {}
    micro = re.search(r"[\d.,]+\s*(?:[µμupn]|mf?d|mfd)?\s*F?d?\b", text, re.I)
    if micro and re.search(r"[µμunpf]|mfd", micro[0], re.I):
        found["new_capacitance"] = micro[0]
    if volt := re.search(r"[\d.,]+\s*V(?:DC|AC)?\b", text, re.I):
        found["new_rated_v"] = re.sub(r"(?i)dc|ac", "", volt[0])
    return found


def _mains_advice(part: Answers, name: str) -> tuple[Advice, ...]:
    """Return what is said of a part on the mains by its safety class; empty where nothing is."""
    chosen = part.choice("place")
    if chosen not in ("across-mains", "mains-to-chassis"):
        return ()
    place = Place(chosen)
    found = (_mains_new(part, name, place), _mains_old(part, name, place))
    return tuple(advice for advice in found if advice is not None)


def _mains_new(part: Answers, name: str, place: Place) -> Advice | None:
    """Refuse a new part that must not go there."""
    new = part.texts.get("new", "")
    if new and (fault := mains_capacitor.class_fault(new, place)):
        return Advice(AdviceKind.STOP, f"{name}: do not fit “{new}”: {fault}.")
    nominal, fresh = part.number("nominal"), part.number("new_capacitance")
    if place is Place.TO_CHASSIS and nominal and fresh and fresh.value > 1.2 * nominal.value:
        more = f"{write(fresh.value, 'F')} for {write(nominal.value, 'F')} raises the touch current"
        return Advice(AdviceKind.STOP, f"{name}: {more}. Keep to the old value or less.")
    return None


def _mains_old(part: Answers, name: str, place: Place) -> Advice | None:
    """Judge the part that sits there: its class before its readings."""
    year = part.number("year")
    made = year.value if year else (part.spec.year if part.spec else None)
    ruling, why = mains_capacitor.judge_fitted(
        part.choice("part_kind"),
        place,
        broken=part.choice("visible") in ("bulging", "leaking", "cracked"),
        old=made is not None and made < OLD_BEFORE_YEAR,
    )
    if ruling is Ruling.KEEP:
        return None
    kind = AdviceKind.REPLACE if ruling is Ruling.REPLACE else AdviceKind.REMEASURE
    return Advice(kind, f"{name}: {why}.")


def _judged(answers: Answers) -> list[_Judged]:
    judged = []
    seen: set[str] = set()
    for texts in _rows(answers):
        name = texts["designator"].casefold()
        if name in seen:
            raise BenchError(
                f"“{texts['designator']}” stands in two rows.", "parts", "Keep one row per part."
            )
        seen.add(name)
        judged.append(_judge(texts, answers))
    return judged


def measure(answers: Answers) -> Measurement:
    """Return each part's figures, and how many parts are to be replaced, planned and re-read."""
    judged = _judged(answers)
    if not judged:
        raise BenchError("no part was given.", "parts", "Give one row per part.")
    results = [
        Result(key, f"parts: {words}", Measured(_count(judged, kinds)), "", "counted", ("parts",))
        for key, (words, kinds) in COUNTS.items()
    ]
    for one in judged:
        for result in one.results:
            if result.key in SHOWN:
                title = f"{one.name}: {SHOWN[result.key][0]}"
                results.append(
                    Result(
                        result.key,
                        title,
                        result.value,
                        result.unit,
                        result.method,
                        ("parts",),
                        result.conditions,
                        result.bound,
                    )
                )
    figures = [_summary(judged)]
    if ordered := _order(judged):
        figures.append(ordered)
    return Measurement(tuple(results), tuple(figures))


COUNTS = {
    "parts_count": ("all", tuple(AdviceKind)),
    "replace_count": ("to replace", (AdviceKind.REPLACE, AdviceKind.STOP)),
    "remeasure_count": ("to read again", (AdviceKind.REMEASURE, AdviceKind.WAIT)),
    "plan_count": ("usable now, on the order list", (AdviceKind.PLAN,)),
    "leave_count": ("to leave alone", (AdviceKind.LEAVE,)),
}
SHOWN = {
    RATIO: ("capacitance, of its mark", "%"),
    "esr_ohm": ("equivalent series resistance", "Ω"),
    "leakage_a": ("leakage", "A"),
    "replacement_c_percent": ("new part's capacitance above the mark", "%"),
}


def _count(judged: list[_Judged], kinds: tuple[AdviceKind, ...]) -> int:
    return sum(one.kind in kinds for one in judged)


def _summary(judged: list[_Judged]) -> TableFigure:
    columns = ("Part", "Marked", "Read", "ESR", "Word", "Why")
    rows = tuple(
        (
            one.name,
            _marked(one),
            one.texts.get("capacitance", "–"),
            one.texts.get("esr", "–"),
            one.kind.value,
            one.reason(one.kind),
        )
        for one in judged
    )
    return TableFigure("parts", "Parts, each judged", columns, rows)


def _order(judged: list[_Judged]) -> TableFigure | None:
    """Return what is to be ordered: the table that an order list is fed from."""
    rows = tuple(
        (
            one.name,
            _marked(one) or "–",
            _wanted(one),
            one.ordered_for,
        )
        for one in judged
        if one.ordered_for
    )
    columns = ("designator", "old", "new", "why")
    return TableFigure("order", "To order", columns, rows) if rows else None


def _wanted(one: _Judged) -> str:
    """Return the new part as given, else what it must keep to."""
    refused = any(a.kind is AdviceKind.STOP for a in one.advice)
    if one.texts.get("new") and not refused:
        return one.texts["new"]
    farad, volts = _written(one, "nominal", "µF"), _written(one, "rated_v", "V")
    same = farad or "same capacitance"
    place = one.texts.get("place", "")
    if place in ("across-mains", "mains-to-chassis"):
        return f"{same}, class {mains_capacitor.wanted_class(Place(place))}"
    return f"{same}, {volts or 'same volts'} or more"


def _marked(one: _Judged) -> str:
    return f"{_written(one, 'nominal', 'µF')} {_written(one, 'rated_v', 'V')}".strip()


def _written(one: _Judged, key: str, unit: str) -> str:
    """Return a marking as typed, with its unit; empty where none was given."""
    text = one.texts.get(key, "")
    return write(read(text, unit, key), unit) if text else ""


def limits(_answers: Answers) -> tuple[Limit, ...]:
    """Return the one limit of the whole list: no part left that must be replaced."""
    return (
        Limit("replace_count", None, 0.0, "", "every part within its own limits", (), True),
        Limit("replacement_c_percent", None, 50.0, "%", f"more inrush ({MEMORY})", (), True),
    )


def advise(findings: Findings) -> Counsel:
    """Return one sentence for each word, with the count and the designators."""
    judged = _judged(findings.answers)
    advice: list[Advice] = []
    for kind, words in WORDS.items():
        those = [one for one in judged if one.says(kind)]
        if those:
            names = ", ".join(one.name for one in those)
            why = f" ({those[0].reason(kind)})" if len(those) == 1 else ""
            advice.append(Advice(kind, f"{words}, {len(those)} of {len(judged)}: {names}{why}."))
    if not advice:
        good = f"All {len(judged)} are" if len(judged) > 1 else f"{judged[0].name} is"
        advice.append(Advice(AdviceKind.LEAVE, f"{good} good. Leave alone what is good."))
    return Counsel(tuple(advice), _gathered(judged), _next(judged))


def _gathered(judged: list[_Judged]) -> tuple[Cause, ...]:
    """Return the causes by name, the evidence of each part under its designator."""
    causes: dict[str, Cause] = {}
    for one in judged:
        for cause in one.causes:
            known = causes.get(cause.name, Cause(cause.name, ()))
            signs = tuple(f"{one.name}: {_bare(e, one.name)}" for e in cause.evidence_for)
            against = tuple(f"{one.name}: {_bare(e, one.name)}" for e in cause.evidence_against)
            causes[cause.name] = Cause(
                cause.name,
                known.evidence_for + signs,
                known.evidence_against + against,
                cause.next_reading,
            )
    return tuple(causes.values())


def _next(judged: list[_Judged]) -> str:
    again = [one.name for one in judged if one.kind is AdviceKind.REMEASURE]
    if again:
        return f"lift one leg and read again: {', '.join(again)}"
    if any(one.ordered_for for one in judged):
        return "note the polarity against the board print, take a picture, then order the list"
    return "on to the first power"


def _row(*cells: str) -> str:
    return " | ".join(cells)


CHECK = Check(
    id="capacitor-list",
    title="Capacitors, as a list",
    stage=Stage.CAPACITORS,
    power_states=(PowerState.SAFE,),
    why="A recap is a list: each part gets the same judgement, and what must be bought falls out "
    "of it. In one survey of a 1977 recap only two small parts had failed.",
    cautions=(
        "Touch nothing until every large capacitor is measured below 2 V, and again a minute "
        "later: the charge comes back.",
        "A capacitor on the mains is replaced only by one of the right safety class.",
        "Electrolytics burst when fitted the wrong way round: compare with the board print.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Unplug, discharge, measure below 2 V twice. Take a picture of the board.",
        "One row per part: what is marked, what is read, in or out of circuit.",
        "Low or resistive in circuit counts; high in circuit proves nothing: lift a leg.",
        "Replace in small groups, note polarity, read again, tick off the list.",
    ),
    inputs=(
        TableInput(
            key="parts",
            prompt="Parts, one row each, cells set apart by |",
            columns=COLUMNS,
            required=True,
        ),
        ChoiceInput(key="in_circuit", prompt="All of them in or out of circuit?", choices=CIRCUIT),
        _number("year", "Year of make, where a row has none", "year", 1920, 2100),
        ChoiceInput(
            key="frequency",
            prompt="Meter's frequency",
            choices=tuple(Choice(f, f.replace("-", " ")) for f in FREQUENCIES),
        ),
        _number("lead_ohm", "Leads alone, shorted", "Ω", 0, 10, meter=True),
        PhotoInput(key="photo", prompt="Picture of the board before the work"),
    ),
    results=tuple(ResultKey(key, f"parts: {words}", "") for key, (words, _) in COUNTS.items())
    + tuple(ResultKey(key, title, unit) for key, (title, unit) in SHOWN.items()),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="One bad on all three, one good",
            source="wotarticle.com, November 2023; amateur's blog entry 2025/01/04/151404",
            answers={
                "parts": "C1 | 2200 µF | 63 V | 943 µF | 2.2 Ω | 34 %\n"
                "C2 | 100 µF | 500 V | 123 µF\nC3 | 100 µF | 500 V | 104 µF"
            },
            advice=(AdviceKind.REPLACE,),
            values={"parts_count": (3, 0), "replace_count": (1, 0), "leave_count": (2, 0)},
            verdicts={"replace_count": Verdict.FAIL},
            never=(AdviceKind.PLAN, AdviceKind.REMEASURE),
            cause=DRIED,
        ),
        Example(
            title="All good: leave them alone",
            source="amateur's blog entry 2025/01/04/151404",
            answers={"parts": "C2 | 100uF | 500V | 123uF; C3 | 100uF | 500V | 104uF"},
            advice=(AdviceKind.LEAVE,),
            verdicts={"replace_count": Verdict.PASS},
            never=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
        ),
        Example(
            title="High in circuit is read again, low in circuit is bad",
            source="glodark.com/audio/capinfo.htm",
            answers={
                "in_circuit": "in",
                "parts": "C10 | 1000 µF | 50 V | 1450 µF\nC11 | 1000 µF | 50 V | 520 µF",
            },
            advice=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
            values={"replace_count": (1, 0), "remeasure_count": (1, 0)},
            never=(AdviceKind.LEAVE,),
            cause=NEIGHBOUR,
        ),
        Example(
            title="Good parts of 1977 go on the order list, no hurry",
            source=COMMON,
            answers={
                "year": "1977",
                "parts": "C901 | 10000 µF | 63 V | 11500 µF | 0.03 Ω\n"
                "C902 | 10000 µF | 63 V | 10900 µF | 0.028 Ω",
            },
            advice=(AdviceKind.PLAN,),
            values={"plan_count": (2, 0)},
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
        ),
        Example(
            title="Paper across the mains: class X2, whatever it reads",
            source=f"{COMMON}; classes {MEMORY}",
            answers={
                "parts": _row("C1", "0.1 µF", "630 V", "0.1 µF", *["-"] * 6, "paper")
                + " | across-mains"
            },
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE,),
            cause=WRONG_CLASS,
        ),
        Example(
            title="Class X meant to go from mains to chassis",
            source=f"{COMMON}; classes {MEMORY}",
            answers={
                "year": "1972",
                "parts": _row("C2", "4.7 nF", "400 V", *["-"] * 6, "4.7 nF X2", "paper")
                + " | mains-to-chassis",
            },
            advice=(AdviceKind.STOP, AdviceKind.REPLACE),
            never=(AdviceKind.LEAVE, AdviceKind.PLAN),
            cause=WRONG_CLASS,
        ),
        Example(
            title="A modern class X2 across the mains reads well",
            source=COMMON,
            answers={
                "parts": _row("C1", "0.1 µF", "275 V", "0.098 µF", *["-"] * 4, "2019", "-")
                + " | class-x | across-mains"
            },
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.REPLACE, AdviceKind.STOP),
        ),
        Example(
            title="Marked values from the parts list",
            source=COMMON,
            spec='maker = "Example"\nmodel = "One"\n[[capacitor]]\ndesignator = "C601"\n'
            'value = "10000 µF"\nvolts = "50 V"\nsource = "parts list"\n',
            answers={"parts": "c601 | - | - | 6100uf | 0.5", "lead_ohm": "0.02"},
            advice=(AdviceKind.REPLACE,),
            values={RATIO: (61, 0.01), "esr_ohm": (0.48, 1e-9)},
            never=(AdviceKind.LEAVE,),
            cause=DRIED,
        ),
        Example(
            title="A new part below the old rating",
            source="ag-forum.herokuapp.com/posts/2029411",
            answers={"parts": "C5 | 470 µF | 50 V | 310 µF | - | - | - | out | 1976 | 470 µF 35 V"},
            advice=(AdviceKind.STOP, AdviceKind.REPLACE),
            never=(AdviceKind.LEAVE,),
        ),
    ),
    sources=(
        "Verdicts as for a single filter capacitor; limits and their sources stand there.",
        "Few parts fail: old-fidelity-forum.de/thread-23961-post-948135.html (2017-04-03)",
        "In circuit: glodark.com/audio/capinfo.htm",
        "Replacement: ag-forum.herokuapp.com/posts/2029411",
        f"Safety classes X and Y: {MEMORY}; old paper parts on the mains: {COMMON}",
    ),
    needs=(16, 17, 18, 20, 49, 50),
    covers_off=True,
    before_closing="every part of the list judged, replaced ones ticked off, polarity checked",
)
