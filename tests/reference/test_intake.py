"""Intake against what was found in amplifiers that came in, and every way to write a fuse."""

from __future__ import annotations

import pytest

from backtospec.analysis.fuses import FAST, TIME_LAG, Fuse, FuseFault, fuse_faults, read_fuse
from backtospec.check import AdviceKind, Conclusion, conclude, read_answers
from backtospec.checks.intake import CHECK
from backtospec.errors import BenchError
from backtospec.verdict import Verdict


def concluded(**texts: str) -> Conclusion:
    return conclude(CHECK, read_answers(CHECK.inputs, texts))


@pytest.mark.parametrize(
    ("text", "ampere", "kind"),
    [
        ("T1.6A", 1.6, TIME_LAG),
        ("1,6 AT", 1.6, TIME_LAG),
        ("T 500mA L 250V", 0.5, TIME_LAG),
        ("1.5 A slow-blow 250 V", 1.5, TIME_LAG),
        ("3.15 A träge", 3.15, TIME_LAG),
        ("5 A anti-surge", 5.0, TIME_LAG),
        ("F 2.5 A", 2.5, FAST),
        ("630 mA flink", 0.63, FAST),
        ("3A quick-blow", 3.0, FAST),
        ("20A", 20.0, None),
        ("2 amps", 2.0, None),
        ("slow", None, TIME_LAG),
    ],
)
def test_a_fuse_is_read_as_written(text: str, ampere: float | None, kind: str | None) -> None:
    assert read_fuse(text, "mains") == Fuse(ampere, kind)


@pytest.mark.parametrize("text", ["", "unknown", "250 V"])
def test_what_is_no_fuse_is_refused(text: str) -> None:
    with pytest.raises(BenchError, match="is not a fuse") as refused:
        read_fuse(text, "mains, fitted")
    assert refused.value.faults[0].where == "mains, fitted"


@pytest.mark.parametrize(("fitted", "belongs"), [("30 A", "1.5 A"), ("20 A", "3 A")])
def test_published_wrong_fuses(fitted: str, belongs: str) -> None:
    """eevblog.com/forum/repair (1977 amplifier: 30 A for 1.5 A); pin-fix.blogspot.com/2015/01."""
    conclusion = concluded(fuses=f"mains | {fitted} | {belongs}")
    assert conclusion.word is AdviceKind.REPLACE
    assert [f.verdict for f in conclusion.findings] == [Verdict.FAIL]


def test_both_faults_of_one_fuse_are_said() -> None:
    found = fuse_faults(read_fuse("F10A", "x"), read_fuse("T4A", "x"))
    assert found == (FuseFault.TOO_LARGE, FuseFault.FAST_FOR_LAG)


@pytest.mark.parametrize(
    ("insulation", "bleeder", "word"),
    [
        # 1–5.2 MΩ where a bleeder exists, else no reading (makers' manuals)
        ("1.1 MΩ", "yes", "LEAVE"),
        ("5.2", "yes", "LEAVE"),
        ("OL", "no", "LEAVE"),
        ("infinite", "no", "LEAVE"),
        (">20M", "no", "LEAVE"),
        ("5.2", "no", "REMEASURE"),
        ("3 MΩ", "", "LEAVE"),
        ("0.3 MΩ", "yes", "STOP"),
        ("0.3 MΩ", "", "STOP"),
        ("12k", "no", "STOP"),
    ],
)
def test_plug_to_chassis(insulation: str, bleeder: str, word: str) -> None:
    assert concluded(insulation=insulation, bleeder=bleeder).word is AdviceKind(word)


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ({"selector": "220", "mains": "230"}, "ADJUST"),
        ({"selector": "240", "mains": "230"}, "LEAVE"),
        ({"nameplate": "220 V", "mains": "230 V", "hum": "transformer"}, "ADJUST"),
        ({"nameplate": "117 V", "mains": "122 V"}, "LEAVE"),
        ({"selector": "110", "mains": "230"}, "STOP"),
        ({"nameplate": "120", "nameplate_hz": "60", "mains": "120", "mains_hz": "50"}, "STOP"),
        ({"nameplate": "100", "nameplate_hz": "50", "mains": "102", "mains_hz": "60"}, "LEAVE"),
    ],
)
def test_plate_against_the_local_mains(given: dict[str, str], word: str) -> None:
    assert concluded(**given).word is AdviceKind(word)


def test_limits_without_a_manual_are_labelled_inferred() -> None:
    conclusion = concluded(maker="Invented", model="One", manual="no")
    assert "inferred" in conclusion.counsel.next_step
    assert "inferred" in {figure.key for figure in conclusion.figures}


def test_a_tuner_is_said_to_be_not_covered() -> None:
    assert "tuner section is not covered" in concluded(maker="X", tuner="yes").counsel.next_step
