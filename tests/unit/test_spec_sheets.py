"""Spec sheets read as people write them, and come back the same when written down."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backtospec.records import (
    CapacitorSpec,
    IdleSpec,
    Meter,
    NodeVoltage,
    OffsetSpec,
    Rating,
    SpecSheet,
    Topology,
)
from backtospec.sources.spec_sheets import (
    questions,
    read_meter,
    read_rating,
    read_spec,
    spec_from_answers,
    write_spec,
)
from backtospec.sources.spec_sheets.phrases import (
    RULES,
    read_band,
    read_mains,
    read_rule,
    read_span,
    read_tolerance,
    read_topology,
)

HALDEN = """
maker = "Halden"
model = "62"
year = 1977
topology = "quasi complementary"
mains = "220 V, 50 Hz"
rail = "38 V"

[[rating]]
power = "60 W"
load = "8 ohm"
channels_driven = "both"
band = "20-20,000 Hz"
thd = "0,1 %"
from = "250 mW"
rule = "FTC 1974"
source = "leaflet p. 2"

[[rating]]
power_w = 80
load_ohm = 4
source = "leaflet p. 3"

[idle]
across = "resistor pair"
reading = "9 to 11 mV"
emitter = "0R22"
tolerance = "10 %"
devices_in_parallel = 2
adjustable = false
warm = "10 min"
source = "service manual p. 14"

[offset]
limit = "±50 mV"
adjustable = true
warm = "300 s"
source = "service manual p. 15"

[[capacitor]]
designator = "C601"
value = "10000 µF"
volts = "50 V"
tolerance = "-10/+50 %"
year = 1976
source = "parts list"

[[chart]]
source = "schematic"
tolerance = "10 %"
[chart.voltage]
"Q601 collector" = "37.5 V"
TP1 = "-600 mV"
[[chart]]
source = "adjustment table"
voltage = { TP2 = "1.2 V" }
"""

EXPECTED = SpecSheet(
    maker="Halden",
    model="62",
    year=1977,
    topology=Topology.QUASI_COMPLEMENTARY,
    mains_v=220.0,
    mains_hz=50.0,
    rail_v=38.0,
    ratings=(
        Rating(60.0, 8.0, 0.1, "leaflet p. 2", "both", 20.0, 20000.0, 0.25, "FTC-1974"),
        Rating(80.0, 4.0, None, "leaflet p. 3"),
    ),
    idle=IdleSpec(
        "resistor-pair", 0.009, 0.011, "service manual p. 14", 0.22, 10.0, 2, False, 10.0
    ),
    offset=OffsetSpec(0.05, "service manual p. 15", True, 5.0),
    capacitors=(CapacitorSpec("C601", 0.01, 50.0, "parts list", -10.0, 50.0, 1976),),
    chart=(
        NodeVoltage("Q601 collector", 37.5, "schematic", 10.0),
        NodeVoltage("TP1", -0.6, "schematic", 10.0),
        NodeVoltage("TP2", 1.2, "adjustment table"),
    ),
)


def test_a_whole_sheet() -> None:
    spec = read_spec(HALDEN, "halden.toml")
    assert spec == EXPECTED
    assert spec.text == HALDEN


@pytest.mark.parametrize("change", [("\n", "\r\n"), ("maker", "\ufeffmaker")])
def test_windows_habits_change_nothing(change: tuple[str, str]) -> None:
    assert read_spec(HALDEN.lstrip().replace(change[0], change[1], 999), "x") == EXPECTED


def test_a_bare_sheet_leaves_everything_open() -> None:
    assert read_spec('maker = "Halden"\nmodel = "62"', "x") == SpecSheet("Halden", "62")


def sheet(*rows: str) -> SpecSheet:
    return read_spec("\n".join(('maker = "H"', 'model = "1"', *rows)), "x")


def test_a_source_above_the_first_heading_holds_where_none_is_given() -> None:
    spec = sheet(
        'source = "manual"',
        "[offset]",
        "limit_mv = 50",
        "[[capacitor]]",
        'designator = "C1"',
        "value_uf = 2200",
        "volts_v = 50",
        'source = "leaflet"',
    )
    assert spec.offset is not None
    assert (spec.offset.source, spec.capacitors[0].source) == ("manual", "leaflet")
    assert (spec.offset.high_v, spec.capacitors[0].farad) == (0.05, 0.0022)


@pytest.mark.parametrize(
    ("rows", "across", "low", "high"),
    [
        (('current = "25 mA"',), "current", 0.025, 0.025),
        (('current = "25 ± 5 mA"',), "current", 0.02, 0.03),
        (("current_ma = 25",), "current", 0.025, 0.025),
        (('across = "supply rise"', 'current = "3 mA"'), "supply-rise", 0.003, 0.003),
        (('across = "supply rise"', 'reading = "2 to 4 mA"'), "supply-rise", 0.002, 0.004),
        (('across = "One Resistor"', 'reading = "at most 6 mV"'), "one-resistor", None, 0.006),
        (
            ('across = "resistor-pair"', 'reading = "22 mV ± 0.5 mV"'),
            "resistor-pair",
            0.0215,
            0.0225,
        ),
        (('across = "resistor pair"',), "resistor-pair", None, None),
    ],
)
def test_ways_to_state_the_idle_current(
    rows: tuple[str, ...], across: str, low: float | None, high: float | None
) -> None:
    idle = sheet("[idle]", 'source = "manual"', *rows).idle
    assert idle is not None
    assert (idle.across, idle.low, idle.high) == (across, low, high)
    assert (idle.emitter_tolerance_percent, idle.devices_in_parallel) == (5.0, 1)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("9 to 11 mV", 0.009, 0.011),
        ("9-11 mV", 0.009, 0.011),
        ("9…11mV", 0.009, 0.011),
        ("9 mV – 0.011 V", 0.009, 0.011),
        ("between 9 and 11 mV", 0.009, 0.011),
        ("9,5 - 10,5 mV", 0.0095, 0.0105),
        ("10 ± 1 mV", 0.009, 0.011),
        ("10 mV ±1", 0.009, 0.011),
        ("10 mV +/- 10 %", 0.009, 0.011),
        ("1e-2 V", 0.01, 0.01),
        ("< 11 mV", None, 0.011),
        ("min. 9 mV", 0.009, None),
    ],
)
def test_spans(text: str, low: float | None, high: float | None) -> None:
    assert read_span(text, "V", "x", 0, 10) == (low, high)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("20-20000 Hz", 20.0, 20000.0),
        ("20 Hz to 20 kHz", 20.0, 20000.0),
        ("20 - 20.000 Hz", 20.0, 20000.0),
        ("40 - 16 000 Hz", 40.0, 16000.0),
        ("40 - 20,000 cps", 40.0, 20000.0),
        ("20–20kHz", 20.0, 20000.0),
        ("0.02-20 kHz", 20.0, 20000.0),
        ("1 kHz", 1000.0, 1000.0),
        ("up to 20 kHz", None, 20000.0),
    ],
)
def test_bands(text: str, low: float | None, high: float | None) -> None:
    assert read_band(text, "x") == (low, high)


@pytest.mark.parametrize(
    ("text", "volt", "hertz"),
    [
        ("220V~ 50Hz", 220.0, 50.0),
        ("230 VAC / 50 Hz", 230.0, 50.0),
        ("AC 117 V", 117.0, None),
        ("60 c/s", None, 60.0),
    ],
)
def test_mains(text: str, volt: float | None, hertz: float | None) -> None:
    assert read_mains(text, "x") == (volt, hertz)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("±20 %", -20.0, 20.0),
        ("20%", -20.0, 20.0),
        ("−10…+50 %", -10.0, 50.0),
        ("+100 -10 %", -10.0, 100.0),
        ("-10 %, +30 %", -10.0, 30.0),
        ("+50 %", None, 50.0),
        ("-10 %", -10.0, None),
    ],
)
def test_tolerances(text: str, low: float | None, high: float | None) -> None:
    assert read_tolerance(text, "x") == (low, high)


@pytest.mark.parametrize("kind", Topology)
def test_topologies(kind: Topology) -> None:
    for spelling in (kind.value, kind.value.upper(), kind.value.replace("-", " ")):
        assert read_topology(spelling, "x") is kind


@pytest.mark.parametrize("rule", RULES)
def test_rules(rule: str) -> None:
    for spelling in (rule, rule.lower(), rule.replace("-", " "), rule.replace(" ", "")):
        assert read_rule(spelling, "x") == rule


FTC_TEXT = (
    "60 watts per channel, minimum RMS, both channels driven into 8 ohms, from 20 Hz to 20 kHz, "
    "with no more than .05% total harmonic distortion"
)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (
            "2 x 60 W into 8 ohm, 20-20000 Hz, 0.1 %",
            Rating(60.0, 8.0, 0.1, "s", None, 20.0, 20000.0),
        ),
        (FTC_TEXT, Rating(60.0, 8.0, 0.05, "s", "both", 20.0, 20000.0)),
        ("2×30 W (4 Ω, DIN 45500)", Rating(30.0, 4.0, None, "s", rule="DIN 45500")),
        ("60 W 8 ohm DIN 45500 / 1 %", Rating(60.0, 8.0, 1.0, "s", rule="DIN 45500")),
        ("50 + 50 W (8 Ω, 1 kHz, THD 0,3 %)", Rating(50.0, 8.0, 0.3, "s", None, 1000.0, 1000.0)),
        ("30W RMS / 8Ω / 0.08 %", Rating(30.0, 8.0, 0.08, "s")),
        ("45 W per channel, 8-ohm load, one channel driven", Rating(45.0, 8.0, None, "s", "one")),
        (
            "250 milliwatts to 60 watts into 8 ohm, FTC-1974, 0.1 percent",
            Rating(60.0, 8.0, 0.1, "s", from_power_w=0.25, rule="FTC-1974"),
        ),
        ("from 0.25 to 60 W, 8 ohm", Rating(60.0, 8.0, None, "s", from_power_w=0.25)),
        ("60 W/8 Ω, THD 0.1 %, IMD 0.2 %", Rating(60.0, 8.0, 0.1, "s")),
        ("60 W/8 Ω, frequency response 5 Hz-50 kHz, 0.1 %", Rating(60.0, 8.0, 0.1, "s")),
        ("60 W/8 Ω, 10 Hz-70 kHz +0/-3 dB", Rating(60.0, 8.0, None, "s")),
        ("IHF continuous 35 W, 8 ohms", Rating(35.0, 8.0, None, "s", rule="IHF")),
    ],
)
def test_printed_lines(line: str, expected: Rating) -> None:
    assert read_rating(line, "s") == expected


@pytest.mark.parametrize(
    ("year", "rule"),
    [(1974, "FTC-1974"), (2000, "FTC-1974"), (2001, "FTC-2000"), (2024, "FTC-2024")],
)
def test_the_year_tells_which_text_of_a_rule(year: int, rule: str) -> None:
    assert read_rating("60 W into 8 ohm, FTC", "s", year=year).rule == rule


def test_the_five_questions_are_answered_by_their_own_examples() -> None:
    asked = questions()
    assert len(asked) == 5
    spec = spec_from_answers({question.key: question.example for question in asked})
    assert (spec.maker, spec.model, spec.year) == ("Halden", "62", 1977)
    assert spec.topology is Topology.QUASI_COMPLEMENTARY
    assert (spec.mains_v, spec.mains_hz) == (220.0, 50.0)
    assert [(rating.power_w, rating.load_ohm) for rating in spec.ratings] == [(60.0, 8.0)]
    assert spec.ratings[0].source == f"first contact: {asked[2].example}"
    assert read_meter(asked[4].example) == Meter("bench meter", 0.5, 3.0)


def test_answers_may_stay_open() -> None:
    assert spec_from_answers({"what": "Halden 62", "claim": " "}) == SpecSheet("Halden", "62")


@pytest.mark.parametrize(
    ("answer", "identity"),
    [
        ("Halden 62", ("Halden", "62", None)),
        ("Halden 62, 1977", ("Halden", "62", 1977)),
        ("Halden 62 mk II (1977)", ("Halden", "62 mk II", 1977)),
        ("Halden & Sons, 62, 1977", ("Halden & Sons", "62", 1977)),
        ("Halden, 2000, ?", ("Halden", "2000", None)),
    ],
)
def test_what_it_is(answer: str, identity: tuple[str, str, int | None]) -> None:
    spec = spec_from_answers({"what": answer})
    assert (spec.maker, spec.model, spec.year) == identity


@pytest.mark.parametrize(
    ("line", "meter"),
    [
        ("0.5%+3d", Meter("meter", 0.5, 3.0)),
        ("1 %", Meter("meter", 1.0, 0.0)),
        ("bench 1: ±(0,8 % + 2 counts)", Meter("bench 1", 0.8, 2.0)),
        ("0.5 % of reading + 3 digits", Meter("meter", 0.5, 3.0)),
    ],
)
def test_meters(line: str, meter: Meter) -> None:
    assert read_meter(line) == meter


# --- round trip -----------------------------------------------------------------------------


def number(low: str, high: str) -> st.SearchStrategy[float]:
    """Return numbers as sheets print them, and any other float of the range."""
    printed = st.decimals(Decimal(low), Decimal(high), places=4).map(float)
    return printed.filter(lambda v: v > 0) | st.floats(float(low), float(high), exclude_min=True)


MINUTES = st.integers(1, 600).map(float) | st.sampled_from([0.5, 2.5])
WORDS = (
    st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1, max_size=20)
    .map(str.strip)
    .filter(bool)
)
YEAR = st.none() | st.integers(1940, 2100)


def maybe(strategy: st.SearchStrategy[float]) -> st.SearchStrategy[float | None]:
    return st.none() | strategy


def span(low: str, high: str) -> st.SearchStrategy[tuple[float | None, float | None]]:
    """Return two ends in order, either of them open."""
    both = st.tuples(number(low, high), number(low, high)).map(sorted)
    return st.sampled_from([(None, None)]) | st.one_of(
        both.map(lambda ends: (ends[0], ends[1])),
        both.map(lambda ends: (None, ends[1])),
        both.map(lambda ends: (ends[0], None)),
    )


@st.composite
def ratings(draw: st.DrawFn) -> Rating:
    power = draw(number("1", "1000"))
    low, high = draw(span("1", "200000"))
    return Rating(
        power_w=power,
        load_ohm=draw(number("1", "600")),
        thd_percent=draw(maybe(number("0.001", "10"))),
        source=draw(WORDS),
        channels_driven=draw(st.sampled_from([None, "both", "one"])),
        band_low_hz=low,
        band_high_hz=high,
        from_power_w=draw(maybe(number("0.001", "1"))),
        rule=draw(st.sampled_from([None, *RULES])),
    )


@st.composite
def idles(draw: st.DrawFn) -> IdleSpec:
    low, high = draw(span("0.0001", "5"))
    return IdleSpec(
        across=draw(st.sampled_from(["current", "supply-rise", "one-resistor", "resistor-pair"])),
        low=low,
        high=high,
        source=draw(WORDS),
        emitter_ohm=draw(maybe(number("0.01", "10"))),
        emitter_tolerance_percent=draw(number("0.1", "20")),
        devices_in_parallel=draw(st.integers(1, 32)),
        adjustable=draw(st.booleans()),
        warm_minutes=draw(maybe(MINUTES)),
    )


OFFSETS = st.builds(
    OffsetSpec,
    high_v=number("0.001", "1"),
    source=WORDS,
    adjustable=st.none() | st.booleans(),
    warm_minutes=maybe(MINUTES),
)
CAPACITORS = st.builds(
    CapacitorSpec,
    designator=WORDS,
    farad=st.integers(1, 10**9).map(lambda pico: pico * 1e-12),
    rated_v=number("1", "1000"),
    source=WORDS,
    tolerance_low_percent=maybe(number("0.1", "100").map(lambda v: -v)),
    tolerance_high_percent=maybe(number("0.1", "200")),
    year=YEAR,
)
NODES = st.builds(
    NodeVoltage,
    node=WORDS,
    volt=number("0.000001", "500") | number("0.000001", "500").map(lambda v: -v) | st.just(0.0),
    source=st.sampled_from(["schematic", "table"]),
    tolerance_percent=maybe(st.sampled_from([5.0, 10.0])),
)
SHEETS = st.builds(
    SpecSheet,
    maker=WORDS,
    model=WORDS,
    year=YEAR,
    topology=st.none() | st.sampled_from(Topology),
    mains_v=maybe(number("100", "240")),
    mains_hz=st.sampled_from([None, 50.0, 60.0]),
    rail_v=maybe(number("5", "200")),
    ratings=st.lists(ratings(), max_size=2).map(tuple),
    idle=st.none() | idles(),
    offset=st.none() | OFFSETS,
    capacitors=st.lists(CAPACITORS, max_size=3).map(tuple),
    chart=st.lists(NODES, max_size=4).map(tuple),
)


@given(SHEETS)
@settings(max_examples=150, deadline=None)
def test_what_is_written_reads_the_same(spec: SpecSheet) -> None:
    assert read_spec(write_spec(spec), "x") == spec


def test_a_sheet_is_written_as_people_would() -> None:
    written = write_spec(EXPECTED)
    for row in (
        'mains = "220 V 50 Hz"',
        'band = "20 Hz to 20 kHz"',
        'reading = "9 mV to 11 mV"',
        'emitter = "220 mΩ"',
        'value = "10000 µF"',
        'tolerance = "-10/+50 %"',
        '"Q601 collector" = "37.5 V"',
    ):
        assert row in written.splitlines()
