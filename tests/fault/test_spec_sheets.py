"""Mistakes in spec sheets: all at once, each with its line, its key and one way to mend it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backtospec.errors import BenchError, Fault, Question
from backtospec.sources.spec_sheets import (
    read_meter,
    read_rating,
    read_spec,
    spec_from_answers,
)
from backtospec.sources.spec_sheets.phrases import read_band, read_mains, read_span, read_tolerance

HEAD = 'maker = "Halden"\nmodel = "62"\n'
RATING = '[[rating]]\nsource = "leaflet"\npower = "60 W"\nload = "8 ohm"\n'
IDLE = '[idle]\nsource = "manual"\n'
OFFSET = '[offset]\nsource = "manual"\n'
CAPACITOR = '[[capacitor]]\nsource = "list"\ndesignator = "C1"\nvalue = "1 µF"\nvolts = "50 V"\n'
CHART = '[[chart]]\nsource = "schematic"\n'


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(BenchError) as caught:
        read_spec(text, "halden.toml")
    return caught.value.faults


@pytest.mark.parametrize(
    ("text", "where", "what", "fix"),
    [
        # headline
        ('model = "62"\n', "maker", "nothing was given.", 'Write maker = "…".'),
        (HEAD.replace("62", " "), "line 2, model", "nothing was given.", 'Write model = "…".'),
        (HEAD.replace('"62"', "62"), "line 2, model", "62 is of another kind.", None),
        (HEAD + "year = 1877", "line 3, year", "1877 is outside 1940…2100.", "Check the number."),
        (
            HEAD + 'year = "1977"',
            "line 3, year",
            "“1977” is of another kind.",
            "Write year = 1977.",
        ),
        (
            HEAD + 'topology = "quasi complementry"',
            "line 3, topology",
            "“quasi complementry” is no topology known here.",
            "Write “quasi-complementary”.",
        ),
        (
            HEAD + 'topology = "valve"',
            "line 3, topology",
            "“valve” is not covered: valve amplifiers have other hazards.",
            "Give the job to somebody who knows valves.",
        ),
        (
            HEAD + 'topolgy = "bridged"',
            "line 3, topolgy",
            "this key is not known here.",
            "Write “topology”.",
        ),
        (HEAD + "rail = 38", "line 3, rail", "38 has no unit.", 'Write rail = "38 V".'),
        (HEAD + 'rail = "38"', "line 3, rail", "“38” has no unit.", "Write its unit behind it."),
        (HEAD + 'rail = "38 A"', "line 3, rail", "“38 A” is not in V.", None),
        (HEAD + 'rail = "38 kV"', "line 3, rail", "“38 kV” (38000 V) is outside 1…400 V.", None),
        (HEAD + "rail_v = true", "line 3, rail_v", "true is no plain number.", None),
        (HEAD + "rail_v = 3800", "line 3, rail_v", "3800 V is outside 1…400 V.", None),
        (HEAD + "rail_v = nan", "line 3, rail_v", "“nan” is not a number.", None),
        (
            HEAD + 'rail_v = 38\nrail = "38 V"',
            "line 3, rail_v",
            "rail says it already.",
            "Keep one of rail and rail_v.",
        ),
        (HEAD + 'mains = "220"', "line 3, mains", "“220” does not say the mains.", None),
        (
            HEAD + 'mains = "120/240 V"',
            "line 3, mains",
            "“120/240 V” leaves open which of 120/240 is meant.",
            "Write the one the amplifier is set to, like “220 V 50 Hz”.",
        ),
        (
            HEAD + 'rating = "60 W"',
            "line 3, rating",
            "“60 W” stands alone.",
            "Put it under a heading [rating].",
        ),
        # ratings
        (
            HEAD + RATING.replace('source = "leaflet"\n', ""),
            "line 3, rating.source",
            "nothing was given.",
            'Say where it comes from: source = "service manual p. 14", say.',
        ),
        (
            HEAD + RATING.replace('"leaflet"', '" "'),
            "line 4, rating.source",
            "nothing was given.",
            None,
        ),
        (
            HEAD + RATING + RATING + 'powr = "90 W"',
            "line 11, rating.powr",
            "this key is not known here.",
            "Write “power”.",
        ),
        (
            HEAD + RATING.replace('load = "8 ohm"\n', ""),
            "line 3, rating.load",
            "nothing was given.",
            'Write load = "8 ohm".',
        ),
        (
            HEAD + RATING + 'channels_driven = "two"',
            "line 7, rating.channels_driven",
            "“two” is neither both nor one.",
            "Write “both” or “one”.",
        ),
        (
            HEAD + RATING + 'band = "20 kHz to 20 Hz"',
            "line 7, rating.band",
            "“20 kHz to 20 Hz” begins above its end.",
            "Write the lower end first.",
        ),
        (
            HEAD + RATING + "thd = 0.1",
            "line 7, rating.thd",
            "0.1 has no unit.",
            'Write thd = "0.1 %".',
        ),
        (
            HEAD + RATING + 'thd = "200 %"',
            "line 7, rating.thd",
            "200 % is outside",
            "Check the unit.",
        ),
        (
            HEAD + RATING + 'from = "90 W"',
            "line 7, rating.from",
            "it lies above the rated power.",
            "Check both powers.",
        ),
        (
            HEAD + RATING + 'rule = "FTC-1947"',
            "line 7, rating.rule",
            "“FTC-1947” is no rating rule known here.",
            "Write “FTC-1974”.",
        ),
        (
            HEAD + RATING + 'rule = "house"',
            "line 7, rating.rule",
            "“house” is no rating rule known here.",
            "Write one of: FTC-1974, FTC-2000, FTC-2024, DIN 45500, IHF, none.",
        ),
        # idle current
        (
            HEAD + IDLE + 'reading = "10 mV"',
            "line 3, idle.across",
            "a voltage is no idle current until it is known what it is taken across.",
            'Write across = "one resistor" or across = "resistor pair".',
        ),
        (
            HEAD + IDLE + 'across = "resistor pear"',
            "line 5, idle.across",
            "“resistor pear” is not known here.",
            "Write “resistor pair”.",
        ),
        (
            HEAD + IDLE + 'across = "resistor pair"\ncurrent = "25 mA"',
            "line 6, idle.current",
            "a current is not taken across resistor pair.",
            None,
        ),
        (
            HEAD + IDLE + 'across = "resistor pair"\nreading = "25 mA"',
            "line 6, idle.reading",
            "“25 mA” is not in V.",
            None,
        ),
        (
            HEAD + IDLE + 'current = "25 mA"\nreading = "10 mV"',
            "line 6, idle.reading",
            "current says it already.",
            "Keep reading or current.",
        ),
        (
            HEAD + IDLE + 'across = "one resistor"\nreading = "10 ± 200 %"',
            "line 6, idle.reading",
            "“10” has no unit.",
            None,
        ),
        (
            HEAD + IDLE + 'current = "25 mA"\nadjustable = "yes"',
            "line 6, idle.adjustable",
            "“yes” is of another kind.",
            "Write adjustable = true.",
        ),
        (
            HEAD + IDLE + 'current = "25 mA"\ndevices_in_parallel = 0',
            "line 6, idle.devices_in_parallel",
            "0 is outside 1…32.",
            "Check the number.",
        ),
        (
            HEAD + "[[idle]]\nsource='a'\ncurrent_ma=1\n[[idle]]\nsource='a'\ncurrent_ma=1",
            "line 6, idle",
            "there is one already.",
            "Keep one of them.",
        ),
        # offset, capacitors, chart
        (HEAD + OFFSET, "line 3, offset.limit", "nothing was given.", 'Write limit = "50 mV".'),
        (
            HEAD + OFFSET + 'limit = "fifty"',
            "line 5, offset.limit",
            "“fifty” is not a number.",
            None,
        ),
        (
            HEAD + CAPACITOR + 'tolerance = "20"',
            "line 8, capacitor.tolerance",
            "“20” is no tolerance in percent.",
            "Write it like “±20 %” or “-10/+50 %”.",
        ),
        (
            HEAD + CAPACITOR.replace("µF", "V"),
            "line 6, capacitor.value",
            "“1 V” is not in F.",
            None,
        ),
        (
            HEAD + CAPACITOR.replace('designator = "C1"\n', ""),
            "line 3, capacitor.designator",
            "nothing was given.",
            'Write designator = "C601", say.',
        ),
        (
            HEAD + CHART + 'TP1 = "3 V"\nvoltage.TP2 = "3 V"',
            "line 5, chart.TP1",
            "this key is not known here.",
            "Write one of: tolerance, source, voltage.",
        ),
        (
            HEAD + CHART,
            "line 3, chart.voltage",
            "nothing was given.",
            "Put the nodes under [chart.voltage].",
        ),
        (
            HEAD + CHART + '[chart.voltage]\nTP1 = "3 V"\nTP2 = "3"',
            "line 7, chart.voltage.TP2",
            "“3” has no unit.",
            "Write its unit behind it.",
        ),
        # no TOML at all
        (
            "maker = Halden\n",
            "line 1",
            "“maker = Halden” cannot be read (Invalid value).",
            'Put what stands behind the = in quotes: maker = "Halden".',
        ),
        (
            HEAD + "[[rating]]\nthd = 0,1 %  # as printed\n",
            "line 4",
            "“thd = 0,1 %  # as printed” cannot be read",
            'Put what stands behind the = in quotes: thd = "0,1 %".',
        ),
        (
            'maker = "Halden\nmodel = "62"\n',
            "line 1",
            '“maker = "Halden” cannot be read',
            "Close the quotation marks.",
        ),
        (
            HEAD + HEAD,
            "line 3",
            '“maker = "Halden"” cannot be read (Cannot overwrite a value).',
            "Mend this line.",
        ),
        (HEAD + "[rating\n", "line 3", "“[rating” cannot be read", "Mend this line."),
        (HEAD + "\nx = [1,\n2,\n\n", "line 5", "“2,” cannot be read", "Mend this line."),
    ],
)
def test_one_mistake(text: str, where: str, what: str, fix: str | None) -> None:
    (fault,) = faults_of(text)
    assert fault.where == f"halden.toml, {where}"
    assert fault.what.startswith(what)
    assert fault.fix == fix if fix else fault.fix.endswith(".")


@pytest.mark.parametrize(
    "row",
    [
        f"rail = {'[' * 5000}",
        f"year = {'9' * 5000}",
        f'rail = "{"9" * 5000} V"',
        f'mains = "{"9" * 5000} V"',
        f"rail_v = {'9' * 500}",
        f"year = {'9' * 4000}",
        f"year = {'x' * 4000}",
    ],
    ids=["deep", "endless", "long", "long mains", "long plain number", "long year", "long word"],
)
def test_monsters_are_refused_in_few_words(row: str) -> None:
    (fault,) = faults_of(HEAD + row)
    assert fault.where.startswith("halden.toml")
    assert len(str(fault)) < 250


def test_a_list_over_many_lines_keeps_its_place() -> None:
    text = HEAD + "list = [\n" + "1,\n" * 20_000 + ']\nyear = "x"\n'
    assert [fault.where for fault in faults_of(text)] == [
        "halden.toml, line 3, list",
        "halden.toml, line 20005, year",
    ]


def test_all_mistakes_at_once_in_the_order_of_their_lines() -> None:
    text = (
        HEAD.replace("62", "")
        + 'note = """\n[idle]\nreading = 3"""  # a text over several lines moves nothing\n'
        + RATING.replace("60 W", "60 V").replace("8 ohm", "8")
        + RATING.replace('"leaflet"', "[1,\n2]")
        + OFFSET.replace('source = "manual"', 'limit = "5 A"')
        + CAPACITOR
        + CAPACITOR.replace("50 V", "5000 V5")
    )
    assert [fault.where.removeprefix("halden.toml, ") for fault in faults_of(text)] == [
        "line 2, model",
        "line 3, note",
        "line 8, rating.power",
        "line 9, rating.load",
        "line 11, rating.source",
        "line 15, offset.source",
        "line 16, offset.limit",
        "line 26, capacitor.volts",
    ]


@given(st.text(st.sampled_from('maker=\n[]"#.,{} model1µ\r\t')))
@settings(max_examples=300, deadline=None)
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    faults: tuple[Fault, ...] = ()
    try:
        read_spec(text, "x.toml")
    except BenchError as error:
        faults = error.faults
    assert all(fault.what and fault.where.startswith("x.toml") for fault in faults)


PRINTED = {
    "": "“” states no power.",
    "60 W, 0.1 %": "“60 W, 0.1 %” states no load.",
    "music power 100 W, 4 ohm": "“music” power in “music power 100 W, 4 ohm” is a short burst",
    "60 W into 8 ohm, 90 W into 4 ohm": "states more than one power: 60 W, 90 W.",
    "60/90 W into 8 ohm": "states more than one power: 60/90 W.",
    "60 W into 8 and 4 ohms": "states more than one load: 8 and 4.",
    "30 W, 4-16 ohm": "states more than one load: 4-16.",
    "60 W 8 ohm, 0.1 % at 1 kHz, 0.3 % at 20 kHz": "states more than one distortion: 0.1, 0.3.",
    "60 W 8 ohm, 1 kHz, 20-20000 Hz": "states more than one band: 1 kHz, 20-20000 Hz.",
    "60 W into 8000 kΩ": "states no load",
    "60 W into 8 ohm, FTC-1999": "“FTC-1999” is no rating rule known here.",
}


@pytest.mark.parametrize("line", PRINTED)
def test_printed_lines_that_are_refused(line: str) -> None:
    with pytest.raises(BenchError) as caught:
        read_rating(line, "leaflet")
    (fault,) = caught.value.faults
    assert PRINTED[line] in fault.what
    assert fault.where.startswith("claim")
    assert fault.fix.endswith(".")


def test_a_rule_that_was_rewritten_is_asked_about() -> None:
    for year in (None, 1973):
        with pytest.raises(Question) as caught:
            read_rating("60 W into 8 ohm, FTC", "leaflet", year=year)
        assert caught.value.about == "rule"
        assert [choice.value for choice in caught.value.choices] == [
            "FTC-1974",
            "FTC-2000",
            "FTC-2024",
        ]


def test_all_faults_of_the_answers_at_once() -> None:
    with pytest.raises(BenchError) as caught:
        spec_from_answers(
            {"what": "Halden", "topology": "x", "claim": "loud", "mains": "yes", "meter": "good"}
        )
    assert [fault.where for fault in caught.value.faults] == [
        "what",
        "mains",
        "topology",
        "claim",
        "meter",
    ]


@pytest.mark.parametrize(
    ("answer", "what"),
    [
        ("", "nothing was given."),
        ("Halden", "“Halden” does not name maker and model."),
        ("Halden,", "“Halden,” does not name maker and model."),
        ("Halden 2000", "“Halden 2000”: 2000 can be the model or the year."),
        ("Halden, 1977", "“Halden, 1977”: 1977 can be the model or the year."),
    ],
)
def test_an_amplifier_that_is_not_named(answer: str, what: str) -> None:
    with pytest.raises(BenchError) as caught:
        spec_from_answers({"what": answer})
    (fault,) = caught.value.faults
    assert (fault.what, fault.where) == (what, "what")
    assert fault.fix


@pytest.mark.parametrize("answer", ["a phone", "3 counts", "0.05 % + 0.01 % range", "0.5 + 3"])
def test_a_meter_without_accuracy(answer: str) -> None:
    with pytest.raises(BenchError, match=r"does not give a meter's accuracy\. Write it as"):
        read_meter(answer)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (lambda t: read_span(t, "V", "x", 0, 10), text)
        for text in (
            "11 to 9 mV",
            "±1 mV",
            "9 mV to",
            "10",
            "nan mV",
            "9 to 11 to 13 mV",
            "10 ± 11 mV",
        )
    ]
    + [(lambda t: read_band(t, "x"), text) for text in ("20-20000", "low", "-20 Hz", "")]
    + [
        (lambda t: read_mains(t, "x"), text)
        for text in ("", "banana", "220 V 230 V", "220 V 50 Hz 45 W", "1200 V", "100-240 V")
    ]
    + [(lambda t: read_tolerance(t, "x"), text) for text in ("", "%", "20", "much", "±200 %")],
)
def test_phrases_that_are_refused(read: Callable[[str], object], text: str) -> None:
    with pytest.raises(BenchError) as caught:
        read(text)
    (fault,) = caught.value.faults
    assert (bool(fault.what), fault.where, fault.fix[-1:]) == (True, "x", ".")
