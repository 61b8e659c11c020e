"""Facts of the trade, entered as a person would. Common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import SHEET, Command
from tests.cli.test_published_cases import kinds, settings, values


@pytest.mark.parametrize(
    ("left", "right", "within_db"),
    [("0.267", "0.255", 0.2), ("6.7", "6.57", 0.1), ("33.5", "33.3", 0.03)],
)
def test_channels_that_track_are_left_alone(
    command: Command, left: str, right: str, within_db: float
) -> None:
    ran = command("run", "volume-ramp", *settings(tracking=f"{left} W {right} W"))
    assert ran.status == 0
    assert 0 < abs(values(ran)["tracking_db"]) <= within_db
    assert kinds(ran) == ["LEAVE"]
    assert "inaudible" in ran.document["advice"][0]["reason"]


@pytest.mark.parametrize("right", ["0.3 mV", "0 mV", "-0.1 mV"])
def test_offsets_of_five_and_about_zero_millivolts_are_left_alone(
    command: Command, right: str
) -> None:
    ran = command("run", "dc-offset", *settings(left="5 mV", right=right))
    assert (ran.status, kinds(ran)) == (0, ["LEAVE"])


def test_a_large_electrolytic_reading_high_is_used_and_listed_for_its_age(
    command: Command,
) -> None:
    words = settings(
        nominal="10000 µF", rated_v="63 V", year="1977", capacitance="11500 µF", esr="0.02 Ω"
    )
    ran = command("run", "filter-capacitor", *words)
    assert ran.status == 0
    assert kinds(ran) == ["PLAN"]
    assert "age" in ran.document["advice"][0]["reason"].lower()


@pytest.mark.parametrize(("minutes", "word"), [("10", "WAIT"), ("75", "LEAVE"), ("90", "LEAVE")])
def test_idle_current_is_judged_after_an_hour_or_more(
    command: Command, tmp_path: Path, minutes: str, word: str
) -> None:
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET.replace('warm = "30 min"\n', ""), encoding="utf-8")
    words = settings(
        point="resistor-pair", left="10.9", right="11.2", minutes_since_on=minutes, cover="on"
    )
    ran = command("run", "idle-current", "--spec", str(sheet), *words)
    assert kinds(ran) == [word]


def test_a_class_ab_knee_is_healthy(command: Command, tmp_path: Path) -> None:
    """A little higher at the lowest powers, flat to just under the rating, then two thirds up."""
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET, encoding="utf-8")
    spots = "; ".join(
        f"{channel} {power} W {thd} %"
        for channel in "LR"
        for power, thd in (
            (0.26, 0.08),
            (1, 0.065),
            (6.6, 0.06),
            (20, 0.058),
            (33.4, 0.06),
            (34.4, 0.1),
        )
    )
    words = settings(spots=spots, load_left="8.00 Ω", load_right="8.00 Ω", meter_reads="thd")
    ran = command("run", "volume-ramp", "--spec", str(sheet), *words)
    assert ran.status == 0
    assert kinds(ran) == ["LEAVE"]
    assert "healthy" in ran.document["advice"][0]["reason"]
    knee = values(ran)["knee_left_w"]
    assert 33.4 < knee < 34.4
