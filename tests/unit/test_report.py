"""The report of an invented amplifier: what it says, what it leaves open, and that it prints."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pypdf
import pytest

from backtospec.bench.jobs import JobView, JudgedSitting
from backtospec.check import (
    Advice,
    AdviceKind,
    Answers,
    Axis,
    Bar,
    BarsFigure,
    Cause,
    Check,
    Conclusion,
    Counsel,
    CurveFigure,
    Figure,
    Mark,
    Measurement,
    NumberInput,
    ResultKey,
    Stage,
    TableFigure,
    Trace,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured
from backtospec.records import (
    Amplifier,
    Channel,
    Condition,
    Job,
    Limit,
    Meter,
    OffsetSpec,
    PowerState,
    Rating,
    Reading,
    Replacement,
    Sitting,
    SpecSheet,
    Visit,
)
from backtospec.report import (
    build_document,
    document_from_json,
    summary_text,
    write_document,
    write_report,
)
from backtospec.report.evidence import digest
from backtospec.report.pdf import draw_plates, typeset, warnings_of
from backtospec.verdict import Result, Verdict, against

MADE_AT = datetime(2026, 11, 25, 18, 30, tzinfo=UTC)
START = datetime(2026, 11, 20, 20, 0, tzinfo=UTC)
METER = Meter("bench 1", 0.5, 3)
LEFT, RIGHT = Channel.LEFT, Channel.RIGHT
RATING = Rating(45, 8, 0.1, "leaflet 1977", "both", 20, 20000)
SPEC = SpecSheet("Halden", "62", 1977, mains_v=230, mains_hz=50, ratings=(RATING,))
OFFSET_LIMIT = Limit("offset_{}_v", -0.05, 0.05, "V", "service manual p. 14")
AT_8_OHM: dict[str, float | str] = {
    "load_ohm": 8.02,
    "frequency_hz": 1000.0,
    "channels_driven": "both",
}
POWER_LIMIT = Limit(
    "power_{}_w",
    45,
    None,
    "W",
    "leaflet 1977",
    (Condition("load_ohm", 8.0, 5), Condition("channels_driven", "both")),
)


def check(check_id: str, title: str, stage: Stage, *caution: str) -> Check:
    inputs = tuple(
        NumberInput(
            key=name, prompt=f"{title}, {name}?", unit="V", low=-100, high=100, by_meter=True
        )
        for name in ("left", "right")
    )
    return Check(
        id=check_id,
        title=title,
        stage=stage,
        power_states=(PowerState.MAINS, PowerState.DRIVEN),
        why="why",
        cautions=caution,
        steps=("step",),
        inputs=inputs,
        results=(ResultKey("x", "x", "V"),),
        measure=lambda _: Measurement(()),
        limits=lambda _: (),
        advise=lambda _: Counsel(()),
        examples=(),
        sources=("common practice, no source",),
    )


OFFSET = check("dc-offset", "DC offset", Stage.DC_OFFSET, "No speaker until the offset is proven.")
POWER = check(
    "load-power", "Power into a load", Stage.POWER, "The load burns.", "Seconds only at 20 kHz."
)
Pair = tuple[tuple[float, float], tuple[float, float]]


def pair(
    stem: str, title: str, unit: str, values: Pair, conditions: Mapping[str, float | str]
) -> tuple[Result, ...]:
    return tuple(
        Result(
            f"{stem}_{name}_{unit.lower()}",
            f"{title}, {name}",
            Measured(*value),
            unit,
            "as read",
            (name,),
            conditions,
            channel=channel,
        )
        for (name, channel), value in zip((("left", LEFT), ("right", RIGHT)), values, strict=True)
    )


class Bench:
    """Builds the sittings of a job, one reading per channel."""

    def __init__(self) -> None:
        self.sittings: list[JudgedSitting] = []
        self.count = 0

    def sit(
        self,
        of: Check | None,
        visit: Visit,
        results: Sequence[Result],
        limit: Limit | None,
        figures: tuple[Figure, ...] = (),
        advice: AdviceKind = AdviceKind.LEAVE,
        texts: tuple[str, str] = ("12.3 mV", "-4,1 mV"),
        meter: Meter | None = METER,
        note: str = "",
    ) -> None:
        number = len(self.sittings) + 1
        at = START + timedelta(days=number)
        state = PowerState.DRIVEN if of is POWER else PowerState.MAINS
        check_id = of.id if of else None
        sitting = Sitting(f"s{number}", "j7k2", check_id, visit, state, at, note)
        readings = []
        for name, channel, text in (("left", LEFT, texts[0]), ("right", RIGHT, texts[1])):
            self.count += 1
            readings.append(
                Reading(
                    f"r{self.count:02d}",
                    sitting.id,
                    name,
                    text,
                    at,
                    0.0123,
                    "V",
                    channel,
                    "speaker terminals",
                    meter,
                    35.0,
                )
            )
        findings = tuple(
            against(r, replace(limit, key=r.key) if limit and r.unit == limit.unit else None)
            for r in results
        )
        counsel = Counsel(
            (Advice(advice, "Both channels are inside and will stay there."),),
            (Cause("aged pair", ("it drifts",), ("both alike",), "swap the pair"),),
            "read again warm",
        )
        answers = Answers({"left": texts[0], "right": texts[1]})
        conclusion = Conclusion(of, answers, findings, figures, counsel) if of else None
        self.sittings.append(JudgedSitting(sitting, tuple(readings), conclusion))


CURVE = CurveFigure(
    "thd",
    "Distortion against power",
    Axis("power", "W", True),
    Axis("THD", "%", True),
    (
        Trace("left", (0.1, 1, 10, 45), (0.06, 0.025, 0.02, 0.05), LEFT, True, (0,)),
        Trace("right", (0.1, 1, 10, 45), (0.07, 0.03, 0.022, 0.06), RIGHT, True, (0,)),
    ),
    marks=(Mark("rated 0.1 %", "y", 0.1), Mark("measuring floor", "y", 0.004, "floor")),
)
TRACKING = CurveFigure(
    "tracking",
    "Channel tracking",
    Axis("level", "dB"),
    Axis("right minus left", "dB"),
    (Trace("right − left", (-60, -40, -20, 0), (0.9, 0.3, 0.1, 0.05), None, True),),
)
BARS = BarsFigure(
    "offset",
    "DC offset",
    Axis("offset", "mV"),
    (Bar("Left", 12.3, -50, 50, LEFT), Bar("Right", -4.1, -50, 50, RIGHT)),
)
TABLE = TableFigure("gain", "Gain", ("input", "left", "right"), (("tape", "40 dB", "40.1 dB"),))


def offset(left: float, right: float, u: float = 0.0005) -> tuple[Result, ...]:
    return pair("offset", "DC offset", "V", ((left, u), (right, u)), {})


def power(left: float, right: float, u: float = 0.4, ohm: float = 8.02) -> tuple[Result, ...]:
    tracking = Result(
        "tracking_db",
        "channel tracking, right minus left",
        Measured(0.1, 0.01),
        "dB",
        "ratio",
        ("left", "right"),
        {},
    )
    watts = pair("power", "power", "W", ((left, u), (right, u)), {**AT_8_OHM, "load_ohm": ohm})
    return (*watts, tracking)


def view(bench: Bench, spec: SpecSheet = SPEC, maker: str = "Halden", title: str = "") -> JobView:
    replacement = Replacement("p1", "j7k2", "C802", "10 000 µF 63 V", "same", "age", START)
    return JobView(
        Job("j7k2", "a1", title or "Full restoration, autumn 2026", START),
        Amplifier("a1", maker, "62", "40217", "", START),
        spec,
        tuple(bench.sittings),
        (replacement,) if bench.sittings else (),
    )


def whole_job() -> Bench:
    bench = Bench()
    bench.sit(OFFSET, Visit.BEFORE, offset(0.082, 0.012), OFFSET_LIMIT, (BARS,))
    bench.sit(POWER, Visit.BEFORE, power(38.0, 46.9), POWER_LIMIT, (CURVE,))
    bench.sit(OFFSET, Visit.AFTER, offset(0.0123, -0.0041), OFFSET_LIMIT, (BARS,))
    bench.sit(POWER, Visit.AFTER, power(48.2, 47.1), POWER_LIMIT, (CURVE, TRACKING, TABLE))
    return bench


def text_of(pdf: bytes) -> tuple[str, int]:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split()), len(pages)


def test_the_verdict_stands_in_one_line() -> None:
    document = build_document(view(whole_job()), made_at=MADE_AT)
    assert document.headline.mark == "✓"
    assert document.headline.line == (
        "Meets its rated 2 × 45 W into 8 Ω at 1 kHz; DC offset inside the manual."
    )


def test_a_missed_rating_comes_first_and_names_the_channel() -> None:
    bench = whole_job()
    bench.sit(POWER, Visit.AFTER, power(40.1, 47.1), POWER_LIMIT)
    head = build_document(view(bench), made_at=MADE_AT).headline
    assert (head.mark, head.word) == ("✕", "out of spec")
    assert head.line.startswith("Does not meet its rated 2 × 45 W into 8 Ω: left 40.10 ± 0.80 W;")


def test_stop_is_never_suppressed() -> None:
    bench = whole_job()
    bench.sit(OFFSET, Visit.AFTER, offset(0.01, 0.01), OFFSET_LIMIT, advice=AdviceKind.STOP)
    head = build_document(view(bench), made_at=MADE_AT).headline
    assert (head.mark, head.word) == ("✕", "stop")
    assert head.line.startswith("Stop: ")


def test_near_the_limit_is_said_in_plain_words() -> None:
    bench = Bench()
    bench.sit(POWER, Visit.AFTER, power(45.4, 47.1, u=0.35), POWER_LIMIT)
    document = build_document(view(bench), made_at=MADE_AT)
    assert document.headline.mark == "?"
    assert "meets it, within measuring error (87 % likely inside)" in document.headline.line
    assert any("87 % likely inside" in o.why for o in document.omissions)


def test_a_rating_at_another_load_is_not_shown() -> None:
    bench = Bench()
    bench.sit(POWER, Visit.AFTER, power(70, 71, ohm=4.0), POWER_LIMIT)
    document = build_document(view(bench), made_at=MADE_AT)
    assert document.headline.word == "not all shown"
    assert document.headline.line == "Its rated 2 × 45 W into 8 Ω not shown."
    claim = document.claims[0]
    assert claim.left is not None
    assert (claim.left.mark, claim.left.word) == ("≠", "not comparable")
    assert "load ohm" in claim.left.note


def test_a_rating_shown_at_one_frequency_is_met_there_and_open_over_its_band() -> None:
    bench = Bench()
    bench.sit(POWER, Visit.AFTER, power(48.2, 47.1), POWER_LIMIT)
    sitting = bench.sittings[0]
    assert sitting.conclusion is not None
    result = Result("band_w", "rated power over the band", Measured(47.1), "W", "one", ("left",))
    wanted = Limit("band_w", 45, None, "W", "leaflet 1977", (Condition("band", "20 Hz to 20 kHz"),))
    findings = (*sitting.conclusion.findings, against(result, wanted))
    conclusion = replace(sitting.conclusion, findings=findings)
    bench.sittings[0] = replace(sitting, conclusion=conclusion)
    document = build_document(view(bench), made_at=MADE_AT)
    assert document.headline.line == "Meets its rated 2 × 45 W into 8 Ω at 1 kHz."
    assert (document.headline.mark, document.headline.word) == ("✓", "in spec, as shown")
    assert [c.title for c in document.claims] == ["Rated power", "Rated power over its band"]
    assert any("not comparable" in o.why for o in document.omissions)


def test_what_was_not_shown_is_said() -> None:
    said = {o.what: o.why for o in build_document(view(whole_job()), made_at=MADE_AT).omissions}
    assert said["Rated 2 × 45 W into 8 Ω from 20 Hz to 20 kHz"] == "shown at 1 kHz only"
    assert "Soak" in said["Stages without a reading"]
    assert "DC offset" not in said["Stages without a reading"]


def test_a_promise_nobody_measured_is_listed_as_missing() -> None:
    bench = Bench()
    bench.sit(POWER, Visit.BEFORE, power(48, 48), POWER_LIMIT)
    bench.sit(OFFSET, Visit.AFTER, offset(0.01, 0.01), OFFSET_LIMIT)
    claims = build_document(view(bench), made_at=MADE_AT).claims
    assert [(c.limit, c.missing) for c in claims] == [
        ("2 × 45 W into 8 Ω", "measured before the work only"),
        ("within ±50 mV", ""),
    ]


def test_the_later_sitting_counts_and_every_reading_stays_in_evidence() -> None:
    bench = whole_job()
    bench.sit(OFFSET, Visit.AFTER, offset(0.070, 0.01), OFFSET_LIMIT)
    document = build_document(view(bench), made_at=MADE_AT)
    (section,) = [s for s in document.sections if s.check_id == "dc-offset"]
    assert section.rows[0].left is not None
    assert section.rows[0].left.text == "70.0 ± 1.0 mV"
    assert section.rows[0].left.readings == ("r09",)
    ids = [line.id for group in document.evidence for line in group.readings]
    assert ids == [f"r{i:02d}" for i in range(1, 11)]


@pytest.mark.parametrize(
    ("typed", "value", "shown"),
    [
        ("9.0 mV", 0.009, ""),
        ("-4.10 mV", -0.0041, ""),
        ("100 mV", 0.1, ""),
        ("9,6", 0.0096, "9.6 mV"),
        ("0.0096 V", 0.0096, "9.6 mV"),
        ("ramp.flac", None, ""),
    ],
)
def test_what_was_understood_is_shown_where_it_differs(
    typed: str, value: float | None, shown: str
) -> None:
    bench = Bench()
    bench.sit(OFFSET, Visit.AFTER, offset(0.01, 0.01), OFFSET_LIMIT)
    sitting = bench.sittings[0]
    reading = replace(sitting.readings[0], text=typed, value=value)
    bench.sittings[0] = replace(sitting, readings=(reading,))
    (line,) = build_document(view(bench), made_at=MADE_AT).evidence[0].readings
    assert (line.text, line.value) == (typed, shown)


def test_every_number_names_readings_that_are_in_the_evidence() -> None:
    document = build_document(view(whole_job()), made_at=MADE_AT)
    listed = {line.id for group in document.evidence for line in group.readings}
    cells = [
        cell
        for row in (*document.claims, *(r for s in document.sections for r in s.rows))
        for cell in (row.left, row.right, row.both)
        if cell is not None
    ]
    assert len(cells) >= 8
    assert all(cell.readings and set(cell.readings) <= listed for cell in cells)


def test_before_and_after_stand_side_by_side() -> None:
    comparisons = build_document(view(whole_job()), made_at=MADE_AT).comparisons
    row = comparisons[0]
    assert row.title == "DC offset"
    assert row.left is not None
    assert (row.left.before.text, row.left.before.mark) == ("82.0 ± 1.0 mV", "✕")
    assert (row.left.after.text, row.left.after.mark) == ("12.3 ± 1.0 mV", "✓")
    assert row.left.before.readings == ("r01",)
    assert row.right is not None
    assert [c.title for c in comparisons][1:] == ["Power", "Channel tracking, right minus left"]


def test_each_part_is_compared_with_itself() -> None:
    bench = Bench()
    for visit, first, second in ((Visit.BEFORE, 5.0, 3.0), (Visit.AFTER, 7.0, 8.0)):
        for part, value in (("C601", first), ("C602", second)):
            result = Result("ratio", "capacitance", Measured(value), "%", "read", ("left",))
            bench.sit(OFFSET, visit, (result,), None)
            sitting = bench.sittings[-1]
            assert sitting.conclusion is not None
            answers = replace(sitting.conclusion.answers, texts={"designator": part})
            conclusion = replace(sitting.conclusion, answers=answers)
            bench.sittings[-1] = replace(sitting, conclusion=conclusion)
    comparisons = build_document(view(bench), made_at=MADE_AT).comparisons
    shown = [(c.check, c.both.before.text, c.both.after.text) for c in comparisons if c.both]
    assert shown == [("DC offset C601", "5 %", "7 %"), ("DC offset C602", "3 %", "8 %")]


def test_shared_error_cancels_between_the_channels() -> None:
    gain = Measured(1.0, 0.01)
    left, right = offset(0.02, 0.03, 0.0)
    bench = Bench()
    results = [replace(r, value=gain * r.value) for r in (left, right) if r.value is not None]
    bench.sit(OFFSET, Visit.AFTER, results, OFFSET_LIMIT)
    row = build_document(view(bench), made_at=MADE_AT).sections[0].rows[0]
    assert row.difference == "10.00 ± 0.20 mV"


def test_an_unnamed_meter_is_said_to_be_assumed() -> None:
    bench = Bench()
    bench.sit(OFFSET, Visit.AFTER, offset(0.01, 0.01), OFFSET_LIMIT, meter=None)
    (assumed,) = build_document(view(bench), made_at=MADE_AT).instruments
    assert assumed.assumed
    assert assumed.accuracy == "±(0.5 % + 3 counts) assumed"


def test_the_hash_covers_every_reading_in_any_order() -> None:
    readings = [r for s in whole_job().sittings for r in s.readings]
    assert digest(readings) == digest(reversed(readings))
    assert digest(readings) != digest([replace(readings[0], text="12.4 mV"), *readings[1:]])


def test_a_stored_report_reprints_unchanged() -> None:
    document = build_document(view(whole_job()), made_at=MADE_AT)
    again = document_from_json(document.as_json())
    assert again == document
    assert again.as_json() == document.as_json()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("not json", "is not JSON"),
        ('{"schema": "other/1"}', 'has schema "other/1"'),
        ('{"schema": "backtospec/report/1"}', "is incomplete or altered"),
        ("[]", 'has schema "None"'),
    ],
)
def test_another_file_is_refused_as_a_report(text: str, says: str) -> None:
    with pytest.raises(BenchError, match=says) as caught:
        document_from_json(text)
    fault = caught.value.faults[0]
    assert fault.where == "stored report"
    assert fault.fix == "Use a report.json that this program wrote."


def test_an_altered_type_is_refused() -> None:
    data = json.loads(build_document(view(whole_job()), made_at=MADE_AT).as_json())
    data["headline"]["line"] = 5
    with pytest.raises(BenchError, match="altered"):
        document_from_json(json.dumps(data))


def test_the_whole_job_prints_on_two_to_six_pages_the_same_each_time() -> None:
    document = build_document(view(whole_job()), made_at=MADE_AT, instruments=("8 Ω load",))
    pdf = typeset(document, draw_plates(document))
    assert pdf == typeset(document_from_json(document.as_json()), draw_plates(document))
    text, pages = text_of(pdf)
    assert 2 <= pages <= 6
    for words in ("Halden 62", "48.20 ± 0.80 W", "r07", "leaflet 1977", "C802", "8 Ω load"):
        assert words in text
    assert b"<pdfaid:part>2</pdfaid:part>" in pdf
    assert warnings_of(document) == ()


def test_another_time_gives_another_file() -> None:
    first = build_document(view(whole_job()), made_at=MADE_AT)
    later = build_document(view(whole_job()), made_at=MADE_AT + timedelta(hours=1))
    assert first.id != later.id
    assert typeset(first, {}) != typeset(later, {})


@pytest.mark.parametrize(
    "spec", [SPEC, SpecSheet("Halden", "62"), replace(SPEC, offset=OffsetSpec(0.05, "manual"))]
)
@pytest.mark.parametrize("visits", [(), (Visit.BEFORE,), (Visit.AFTER,)])
def test_what_is_missing_still_gives_an_honest_report(
    spec: SpecSheet, visits: tuple[Visit, ...]
) -> None:
    bench = Bench()
    for visit in visits:
        bench.sit(OFFSET, visit, offset(0.01, 0.01), OFFSET_LIMIT, (BARS,))
    document = build_document(view(bench, spec), made_at=MADE_AT)
    text, _ = text_of(typeset(document, draw_plates(document)))
    if not visits:
        assert document.headline.line == "No check has been run; nothing is claimed."
        assert "No reading was taken." in text
    elif visits == (Visit.BEFORE,):
        assert document.headline.line.startswith("As found, before any work: ")
    if spec.ratings:
        assert document.headline.mark != "✓"
    else:
        assert any(o.what == "Rated power" for o in document.omissions)


HOSTILE = (
    "#panic() $x^2$ *b* _i_ `r` <a> @b \\ // /* [ ] { }",
    '#import "x"; #read("/etc/passwd")',
    "C801\nC802\r\n\tC803",
    "中文测试 and 😀 🜁 and مرحبا and שלום",
    "W" * 500,
    "\x00\x07\u202eabc\u2066\ufeff\U000e0041\ue000",
    "\ud800 alone",
    "e" + "\u0301" * 60,
    "long words_with/paths.and-dashes " * 12,
    "",
    "   ",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_any_text_prints(text: str, tmp_path: Path) -> None:
    bench = Bench()
    curve = replace(CURVE, title=text, traces=(replace(CURVE.traces[0], title=text),))
    table = TableFigure("t", text, (text, "b"), ((text, text),))
    bench.sit(
        OFFSET,
        Visit.AFTER,
        [replace(r, title=text, reason=text) for r in offset(0.01, 0.2)],
        replace(OFFSET_LIMIT, source=text),
        (curve, table, replace(BARS, bars=(Bar(text, 1.0, channel=LEFT),))),
        texts=(text, text),
        meter=Meter(text, 1, 1),
        note=text,
    )
    job = view(bench, maker=text, title=text)
    parts = (Replacement("p", "j", text, text, text, text, START),)
    written = write_report(replace(job, replacements=parts), tmp_path, MADE_AT, (text,))
    assert written.pdf.read_bytes().startswith(b"%PDF")
    assert "root:" not in text_of(written.pdf.read_bytes())[0]
    assert document_from_json(written.document.as_json()) == written.document


def test_what_no_font_covers_is_spelled_and_warned_about() -> None:
    document = build_document(view(whole_job(), title="修復"), made_at=MADE_AT)
    (warning,) = warnings_of(document)
    assert "U+4FEE, U+5FA9" in warning
    text, _ = text_of(typeset(document, {}))
    assert "[U+4FEE]" in text
    assert "spelled out" in text


def test_the_summary_is_short_and_says_the_same() -> None:
    document = build_document(view(whole_job()), made_at=MADE_AT)
    text = summary_text(document)
    assert "Meets its rated 2 × 45 W into 8 Ω at 1 kHz" in text
    assert "left 48.20 ± 0.80 W ✓ in spec" in " ".join(text.split())
    assert document.evidence_sha256[:16] in text
    assert max(map(len, text.splitlines())) <= 72
    assert len(text.splitlines()) < 40


def test_the_files_are_whole_and_nothing_else_is_left(tmp_path: Path) -> None:
    written = write_report(view(whole_job()), tmp_path / "new" / "folder", MADE_AT)
    names = sorted(path.name for path in written.pdf.parent.iterdir())
    assert names == ["report.json", "report.pdf", "summary.txt"]
    before = written.pdf.read_bytes()
    again = write_document(document_from_json(written.json.read_text("utf-8")), tmp_path)
    assert again.pdf.read_bytes() == before


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(BenchError, match="cannot be written") as caught:
        write_report(view(whole_job()), tmp_path / "taken", MADE_AT)
    assert caught.value.faults[0].where.startswith("folder ")
    assert caught.value.faults[0].fix == "Choose another folder."


def test_the_verdict_words_never_rest_on_colour() -> None:
    from backtospec.report.wording import MARKS

    assert set(MARKS) == set(Verdict)
    assert len({mark for mark, _ in MARKS.values()}) == len(MARKS)
