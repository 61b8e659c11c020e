"""Filter capacitor: good, to be planned, to be replaced, or not validly measured."""

from __future__ import annotations

from backtospec.analysis import capacitor
from backtospec.analysis.capacitor_limits import RATIO
from backtospec.check import (
    AdviceKind,
    Check,
    Choice,
    ChoiceInput,
    Example,
    NumberInput,
    ResultKey,
    SeriesInput,
    Stage,
    TextInput,
)
from backtospec.check.capacitor_advice import DRIED, LEAKY, NEIGHBOUR, advise_part
from backtospec.check.capacitor_part import RESULTS, measure_part, part_limits
from backtospec.records import PowerState
from backtospec.verdict import Verdict


def _marking(key: str, prompt: str, unit: str, low: float, high: float) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit=unit, low=low, high=high)


def _reading(
    key: str,
    prompt: str,
    unit: str,
    high: float,
    *,
    low: float = 0,
    percent: float = 0.5,
    counts: float = 3,
) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit=unit,
        low=low,
        high=high,
        probed_at="across the part's own terminals",
        by_meter=True,
        assumed_percent=percent,
        assumed_counts=counts,
    )


def _choose(key: str, prompt: str, default: str | None = None, **choices: str) -> ChoiceInput:
    """Return a choice; a leading underscore and underscores in names only serve Python."""
    offered = tuple(
        Choice(name.strip("_").replace("_", "-").lower(), words) for name, words in choices.items()
    )
    return ChoiceInput(key=key, prompt=prompt, choices=offered, default=default)


COMMON = "common practice, no source"
PAIR = {"nominal": "2200 µF", "capacitance": "943 µF", "esr": "2.2 Ω", "voltage_loss": "34 %"}
REFORMED = {
    "nominal": "20 µF",
    "rated_v": "450 V",
    "leakage": "20 s 4.5 mA; 15 min 1 mA; 1 h 120 µA; 3 h 50 µA",
    "leakage_limit": "500 µA",
}
LARGE_1977 = {
    "nominal": "10000 µF",
    "rated_v": "63 V",
    "capacitance": "11500 µF",
    "esr": "0.03 Ω",
    "year": "1977",
}

CHECK = Check(
    id="filter-capacitor",
    title="Filter capacitor",
    stage=Stage.CAPACITORS,
    power_states=(PowerState.SAFE,),
    why="Capacitance, ESR and leakage each tell something the others do not. A part that reads "
    "high is not proven good, and an old one is not proven bad by its age.",
    cautions=(
        "Touch nothing until the capacitor is measured below 2 V, and again a minute later: the "
        "charge comes back (dielectric absorption).",
        "Discharge through a computed resistor, not a screwdriver. Unplugged, one hand.",
        "Re-form through a series resistor, right polarity, eyes protected, never unattended.",
        "Local rules and licensed practice come first.",
    ),
    steps=(
        "Unplug. Measure the volts across it; discharge through the resistor this check computes.",
        "Measure below 2 V, wait a minute, measure again.",
        "Look: bulging, or electrolyte at the seal? Factory glue on the board is not leakage.",
        "Lift one leg. Read capacitance and ESR at 100 or 120 Hz; read the shorted leads too.",
        "If it reads high or has stood for years, log its leakage at the volts it works at.",
    ),
    inputs=(
        TextInput(key="designator", prompt="Which part (C901)"),
        _marking("nominal", "Marked capacitance", "µF", 0.1, 1e6),
        _marking("rated_v", "Rated voltage", "V", 1, 1000),
        _marking("year", "Year of make", "year", 1920, 2100),
        _marking("age", "Or its age", "year", 0, 120),
        _marking("tolerance_low", "Marked tolerance, below", "%", -100, 100),
        _marking("tolerance_high", "Marked tolerance, above", "%", 0, 200),
        _choose(
            "tolerance_mark",
            "Or its tolerance letter",
            **{k: f"{k}: {low:+g}/{high:+g} %" for k, (low, high) in capacitor.MARKS.items()},
        ),
        _choose(
            "in_circuit",
            "In or out of circuit?",
            "out",
            out="Out of circuit, or one leg lifted",
            _in="In circuit",
        ),
        _marking("parallel", "Total in parallel with it, itself included", "µF", 0.1, 1e6),
        _reading("capacitance", "Capacitance", "µF", 1e6, percent=2),
        _reading("capacitance_after", "Capacitance, once re-formed", "µF", 1e6, percent=2),
        _choose("behaviour", "How does it read?", steady="Steady", climbing="Climbs steadily"),
        _choose(
            "frequency",
            "Meter's frequency",
            _100_Hz="100 Hz",
            _120_Hz="120 Hz",
            _1_kHz="1 kHz",
            _100_kHz="100 kHz",
        ),
        _reading("esr", "ESR", "Ω", 1e5, percent=2, counts=2),
        _reading("lead_ohm", "Leads alone, shorted", "Ω", 10, percent=2, counts=2),
        _reading("tan_delta", "tan δ (D)", "", 100, percent=2),
        _reading("voltage_loss", "Voltage loss", "%", 100, percent=2),
        SeriesInput(
            key="leakage",
            prompt="Leakage over time at voltage",
            unit="µA",
            low=0,
            high=1e6,
            probed_at="in series with the part",
        ),
        _marking("leakage_limit", "Leakage limit", "µA", 0.01, 1e6),
        _marking("leakage_v", "Volts during the leakage reading", "V", 0.1, 1000),
        _reading("working_v", "Volts across it in use", "V", 1000, low=-1000),
        _marking("temperature", "Room temperature", "°C", -20, 60),
        _choose(
            "visible",
            "What is to be seen?",
            none="Nothing",
            bulging="Bulging",
            leaking="Leaking electrolyte",
            glue="Glue only",
        ),
        _reading("charged_v", "Volts on it before discharge", "V", 1000, low=-1000),
        _marking("discharge_resistor", "Resistor you discharge with", "Ω", 0.1, 1e7),
        _reading("residual_v", "Volts before you touch it", "V", 1000, low=-1000),
        _reading("residual_later_v", "Volts a minute later", "V", 1000, low=-1000),
        _marking("new_capacitance", "New part, capacitance", "µF", 0.1, 1e6),
        _marking("new_rated_v", "New part, rated voltage", "V", 1, 1000),
    ),
    results=tuple(ResultKey(key, title, unit) for key, (title, unit) in RESULTS.items()),
    measure=measure_part,
    limits=part_limits,
    advise=advise_part,
    examples=(
        Example(
            title="Low, lossy and resistive",
            source="wotarticle.com, November 2023",
            answers=PAIR,
            advice=(AdviceKind.REPLACE,),
            values={RATIO: (42.86, 0.05)},
            verdicts={RATIO: Verdict.FAIL, "esr_ohm": Verdict.FAIL},
            never=(AdviceKind.LEAVE, AdviceKind.PLAN),
            cause=DRIED,
        ),
        Example(
            title="Leakage inflated the reading; re-formed, to be read again",
            source="retronics.no/2023/02/28 (part 5)",
            answers=REFORMED | {"capacitance": "31 µF", "year": "1955"},
            advice=(AdviceKind.REMEASURE, AdviceKind.PLAN),
            values={"leakage_a": (50e-6, 1e-9), "leakage_in_limit_s": (1420, 60)},
            verdicts={"leakage_a": Verdict.PASS},
            never=(AdviceKind.REPLACE, AdviceKind.LEAVE),
            cause=LEAKY,
        ),
        Example(
            title="The same part, read again once re-formed",
            source="retronics.no/2023/02/28 (part 5)",
            answers=REFORMED | {"capacitance": "31 µF", "capacitance_after": "20.6 µF"},
            advice=(AdviceKind.LEAVE,),
            verdicts={RATIO: Verdict.PASS},
            never=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
        ),
        *(
            Example(
                title=f"100 µF/500 V reads {micro}",
                source="amateur's blog entry 2025/01/04/151404",
                answers={"nominal": "100 µF", "rated_v": "500 V", "capacitance": f"{micro} µF"},
                advice=(AdviceKind.LEAVE,),
                verdicts={RATIO: Verdict.PASS},
                never=(AdviceKind.REPLACE, AdviceKind.REMEASURE),
            )
            for micro in (123, 104)
        ),
        Example(
            title="From 1977, 15 % high, ESR in range: usable, on the order list",
            source=COMMON,
            answers=LARGE_1977,
            advice=(AdviceKind.PLAN,),
            never=(AdviceKind.REPLACE, AdviceKind.REMEASURE, AdviceKind.LEAVE),
        ),
        Example(
            title="Leaking, with good readings",
            source=COMMON,
            answers=LARGE_1977 | {"visible": "leaking"},
            advice=(AdviceKind.REPLACE,),
            never=(AdviceKind.LEAVE, AdviceKind.PLAN),
        ),
        Example(
            title="High in circuit proves nothing",
            source="glodark.com/audio/capinfo.htm",
            answers={"nominal": "1000 µF", "capacitance": "1450 µF", "in_circuit": "in"},
            advice=(AdviceKind.REMEASURE,),
            verdicts={RATIO: Verdict.NOT_COMPARABLE},
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
            cause=NEIGHBOUR,
        ),
        Example(
            title="Two cans in parallel against their sum",
            source="glodark.com/audio/capinfo.htm",
            answers={
                "nominal": "4700 µF",
                "parallel": "9400 µF",
                "capacitance": "9900 µF",
                "in_circuit": "in",
            },
            advice=(AdviceKind.LEAVE,),
            values={RATIO: (105.3, 0.1)},
        ),
        Example(
            title="Charged and not measured since",
            source="from memory",
            answers={"nominal": "10000 µF", "charged_v": "63 V"},
            advice=(AdviceKind.STOP,),
            values={"stored_energy_j": (19.845, 0.001), "discharge_ohm": (100, 0)},
            never=(AdviceKind.LEAVE,),
        ),
    ),
    sources=(
        f"ESR: {capacitor.CHART_ONE}; {capacitor.CHART_TWO}; their disagreement "
        "forum.allaboutcircuits.com/threads/150884. Charts are convention, not limits.",
        "Capacitance: forum.allaboutcircuits.com/threads/133285; "
        "old-fidelity-forum.de/thread-23961-post-948135.html (2017-04-03)",
        "High is not proven bad: hifiwigwam.com/forum/topic/132089; a capacitor maker's page",
        "Leakage inflates, re-forming mends: retronics.no/2023/02/28 (part 5)",
        "ESR and loss each: music-electronics-forum.com thread 34603; chemical ageing: "
        "hardwareluxx.de/community/goto/post?id=30347401",
        "In circuit: glodark.com/audio/capinfo.htm",
        "Replacement: ag-forum.herokuapp.com/posts/2029411",
        "Age, voltage loss, discharge below 2 V: common practice, no source",
    ),
    needs=(16, 17, 18, 19, 20),
    covers_off=True,
    before_closing="each filter capacitor judged out of circuit, or against its neighbours",
)
