"""Published cases, entered through the command line with only what each one states.

Each names its page. What must be concluded and what must not be advised are both asserted.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Command, Ran

SHEET_10_MV = """\
maker = "Lindqvist"
model = "A-30"
[offset]
limit = "10 mV"
adjustable = true
source = "service manual"
"""


def settings(**answers: str) -> list[str]:
    return [word for key, text in answers.items() for word in ("--set", f"{key}={text}")]


def kinds(ran: Ran) -> list[str]:
    return [advice["kind"] for advice in ran.document["advice"]]


def causes(ran: Ran) -> list[str]:
    return [cause["name"] for cause in ran.document["causes"]]


def values(ran: Ran) -> dict[str, float]:
    return {r["key"]: r["value"] for r in ran.document["results"] if r["value"] is not None}


def test_one_ohm_resistors_35_and_7_mv(command: Command) -> None:
    """diyaudio.com/community/threads/372693 p. 3."""
    ran = command(
        *("run", "idle-current"),
        *settings(point="one-resistor", left="35 mV", right="7 mV", emitter_ohm="1", trimmer="no"),
    )
    assert ran.status == 0
    assert values(ran)["idle_left_a"] == pytest.approx(0.035)
    assert values(ran)["idle_right_a"] == pytest.approx(0.007)
    assert kinds(ran) == ["LEAVE"]
    assert "no danger" in ran.document["advice"][0]["reason"]
    assert "parallel" in ran.document["advice"][0]["reason"]
    assert causes(ran)[0] == "under-biased stage"
    assert len(causes(ran)) > 1
    assert "right" in ran.document["causes"][0]["for"][0]


def test_58_and_64_mv_at_the_speaker_terminals_are_no_bias(command: Command) -> None:
    """diyaudio.com thread 26347 (2004-01-19)."""
    words = settings(point="speaker-terminals", left="58 mV", right="64 mV", emitter_ohm="0.22")
    ran = command("run", "idle-current", *words)
    assert ran.status == 2
    fault = ran.document["error"][0]
    assert "DC offset" in fault["what"]
    assert "nothing about" in fault["what"]
    assert "dc-offset" in fault["fix"]
    as_offset = command("run", "dc-offset", *settings(left="58 mV", right="64 mV"))
    assert not {"STOP", "ADJUST"} & set(kinds(as_offset))


def test_150_mv_against_10_mv_with_trimmers(command: Command, tmp_path: Path) -> None:
    """diyaudio.com/community/threads/345209."""
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET_10_MV, encoding="utf-8")
    words = settings(left="150 mV", right="150 mV")
    ran = command("run", "dc-offset", "--spec", str(sheet), *words)
    assert ran.status == 1
    assert {f["verdict"] for f in ran.document["findings"]} == {"FAIL"}
    assert kinds(ran) == ["ADJUST", "WAIT"]
    reason = ran.document["advice"][0]["reason"]
    assert "Warm it up first" in reason
    assert "both channels" in reason
    assert "leave the idle trimmer alone" in reason


def test_leaky_20_uf_reads_over_30_and_is_re_formed(command: Command) -> None:
    """retronics.no/2023/02/28, part 5."""
    log = "20 s 4.5 mA; 15 min 1 mA; 1 h 120 µA; 3 h 50 µA"
    words = settings(
        nominal="20 µF", rated_v="450 V", capacitance="30 µF", leakage=log, leakage_limit="500 µA"
    )
    ran = command("run", "filter-capacitor", *words)
    assert ran.status == 0
    assert kinds(ran)[0] == "REMEASURE"
    assert not {"REPLACE", "LEAVE", "STOP"} & set(kinds(ran))
    assert "leakage inflates the reading" in causes(ran)
    leakage = next(f for f in ran.document["findings"] if f["key"] == "leakage_a")
    assert leakage["verdict"] == "PASS"


def test_2200_uf_bad_on_all_three(command: Command) -> None:
    """wotarticle.com …1700642117 (Nov 2023)."""
    words = settings(nominal="2200 µF", capacitance="943 µF", esr="2.2 Ω", voltage_loss="34 %")
    ran = command("run", "filter-capacitor", *words)
    assert ran.status == 1
    assert kinds(ran)[0] == "REPLACE"
    assert not {"LEAVE", "PLAN", "REMEASURE"} & set(kinds(ran))
    failed = {f["key"] for f in ran.document["findings"] if f["verdict"] == "FAIL"}
    assert len(failed) >= 3


# --- idle current ------------------------------------------------------------------------------


def reasons(ran: Ran) -> str:
    return " ".join(advice["reason"] for advice in ran.document["advice"])


def verdicts(ran: Ran) -> dict[str, str]:
    return {f["key"]: f["verdict"] for f in ran.document["findings"]}


@pytest.mark.parametrize(
    "words",
    [
        {"point": "one-resistor", "left": "35mV", "right": "7mV", "emitter_ohm": "1R0"},
        {"point": "one-resistor", "left": "0.035 V", "right": "0,007 V", "emitter_ohm": "1"},
        {"point": "resistor-pair", "left": "70 mV", "right": "14 mV", "emitter_ohm": "1"},
        {"left_current": "35 mA", "right_current": "7 mA"},
        {"point": "fuse", "left_current": "0.035 A", "right_current": "7 mA"},
        {"point": "one-resistor", "left": "7.7 mV", "right": "1.54 mV", "emitter_ohm": "0R22"},
    ],
)
def test_one_low_channel_without_a_figure_is_no_danger(
    command: Command, words: dict[str, str]
) -> None:
    """diyaudio.com/community/threads/372693 p. 3, in other units, paths and resistors."""
    ran = command("run", "idle-current", *settings(**words))
    assert (ran.status, kinds(ran)) == (0, ["LEAVE"])
    assert values(ran)["idle_right_a"] == pytest.approx(0.007)
    assert "no danger" in reasons(ran)
    assert causes(ran)[0] == "under-biased stage"
    assert len(causes(ran)) > 1
    mirrored = {
        key.replace("left", "x").replace("right", "left").replace("x", "right"): text
        for key, text in words.items()
    }
    other = command("run", "idle-current", *settings(**mirrored))
    assert kinds(other) == ["LEAVE"]
    assert "left channel is low" in reasons(other)


def test_others_of_the_model_are_named_as_inferred(command: Command) -> None:
    """diyaudio.com/community/threads/372693 p. 3: others of the model 26 to 30 mV."""
    words = settings(
        point="one-resistor", left="35 mV", right="7 mV", emitter_ohm="1", others="26 mV; 30 mV"
    )
    ran = command("run", "idle-current", *words)
    assert (ran.status, kinds(ran)) == (0, ["LEAVE"])
    assert "inferred" in reasons(ran)
    limit = next(f["limit"] for f in ran.document["findings"] if f["key"] == "drop_left_v")
    assert "inferred" in limit["source"]
    hot = command(
        "run", "idle-current", *settings(point="one-resistor", left="60", others="26; 30")
    )
    assert not {"LEAVE", "ADJUST"} & set(kinds(hot))


def test_fixed_resistors_against_a_printed_range(command: Command, tmp_path: Path) -> None:
    """The same case with 26 to 30 mV on a sheet: nothing to turn, nothing in danger."""
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(
        'maker = "Lindqvist"\nmodel = "A-30"\n[idle]\nacross = "one resistor"\n'
        'reading = "26 to 30 mV"\nemitter = "1 ohm"\nadjustable = false\nsource = "manual"\n',
        encoding="utf-8",
    )
    words = settings(point="one-resistor", left="35 mV", right="7 mV", minutes_since_on="75")
    ran = command("run", "idle-current", "--spec", str(sheet), *words)
    assert kinds(ran) == ["PLAN"]
    assert "no danger" in reasons(ran)
    assert "parallel" in reasons(ran)


@pytest.mark.parametrize("point", ["speaker-terminals", "output-to-ground"])
def test_bias_at_the_terminals_is_stopped_and_explained(command: Command, point: str) -> None:
    """diyaudio.com thread 26347 (2004-01-19), either channel alone."""
    for words in ({"left": "58mv"}, {"right": "0.064 V"}):
        ran = command("run", "idle-current", *settings(point=point, **words))
        assert ran.status == 2
        assert "DC offset" in ran.document["error"][0]["what"]


def test_millivolts_without_a_point_are_asked_about(command: Command) -> None:
    """diyaudio.com thread 26347 (2004-01-19): 58 and 64 mV called bias."""
    ran = command("run", "idle-current", *settings(left="58 mV", right="64 mV"))
    assert ran.status == 2
    question = ran.document["question"]
    assert question["about"] == "point"
    assert {"one-resistor", "speaker-terminals"} <= {c["value"] for c in question["choices"]}


def test_volts_on_the_resistors_are_wrong_points(command: Command) -> None:
    """A lower emitter at the negative rail, in a quasi-complementary stage."""
    ran = command("run", "idle-current", *settings(point="resistor-pair", right="38.2 V"))
    assert ran.status == 2
    assert "quasi-complementary" in ran.document["error"][0]["what"]


def test_no_idle_and_dropouts_are_two_faults(command: Command) -> None:
    """i-bbs.sijex.net/audioclub/110."""
    words = settings(left="0 mV", right="0 mV", sound="harsh", louder="left", drops_out="right")
    ran = command("run", "idle-current", *words)
    assert {"under-biased stage", "worn volume control"} <= set(causes(ran)[:2])
    assert kinds(ran) == ["PLAN", "PLAN"]
    assert "under-biased" in reasons(ran)
    assert "volume control" in reasons(ran)
    alone = command("run", "idle-current", *settings(drops_out="right", louder="left"))
    assert causes(alone)[0] == "worn volume control"
    assert "under-biased stage" not in causes(alone)
    silent = command("run", "idle-current", *settings(left="0 mV", right="0 mV"))
    assert kinds(silent) == ["REMEASURE"]
    assert "no supply at the stage: rail, fuse or protection" in causes(silent)


@pytest.mark.parametrize(
    ("table", "ohm", "ampere"),
    [
        ("28 mV 0.050 %; 100 mV 0.014 %", "0.25", "400 mA"),
        ("100 mV 0.014 %; 28 mV 0.05 %", "0R25", "400 mA"),
        ("0.0123 V 0.05 %; 44 mV 0.014 %", "0.11", "400 mA"),
    ],
)
def test_more_idle_buys_less_and_less(command: Command, table: str, ohm: str, ampere: str) -> None:
    """diyaudio.com/community/threads/379908 p. 3."""
    ran = command("run", "idle-current", *settings(experiment=table, emitter_ohm=ohm))
    assert (ran.status, kinds(ran)) == (0, ["LEAVE"])
    assert ampere in reasons(ran)
    assert "heat decides" in reasons(ran)


def test_where_distortion_stops_falling_it_stops(command: Command) -> None:
    table = "5 mV 0.2 %; 10 mV 0.06 %; 15 mV 0.041 %; 20 mV 0.040 %"
    words = settings(experiment=table, heatsink="51 °C")
    ran = command("run", "idle-current", *words)
    assert kinds(ran) == ["LEAVE"]
    assert "stops falling at 15 mV" in reasons(ran)
    assert "go back a step" in reasons(ran)


@pytest.mark.parametrize(
    "words",
    [
        {"heatsink": "60 °C", "minutes_since_on": "30", "output_devices": "other-type"},
        {"heatsink": "140 °F", "output_devices": "other-type", "sensor": "glued"},
        {"heatsink": "58", "minutes_since_on": "after 20 min"},
        {
            "heatsink_series": "0 min 22 °C; 10 min 30 °C; 20 min 42 °C; 30 min 60 °C",
            "output_devices": "other-type",
        },
        {"heatsink_series": "0 min 22; 5 min 29; 10 min 37; 15 min 47"},
    ],
)
def test_a_stage_that_heats_without_a_signal_is_switched_off(
    command: Command, words: dict[str, str]
) -> None:
    """forum.allaboutcircuits.com/threads/145097."""
    ran = command("run", "idle-current", *settings(**words))
    assert (ran.status, kinds(ran)) == (1, ["STOP"])
    assert "bias network" in reasons(ran)
    assert "bias network does not suit the devices" in causes(ran)
    if "output_devices" in words:
        assert causes(ran)[0] == "bias network does not suit the devices"
        assert "multiplier" in reasons(ran)


def test_less_trimmer_since_the_recap_and_a_relay_that_trips(command: Command) -> None:
    """music-electronics-forum.com thread 4705."""
    words = settings(target="6 mV", after_recap="less", source_dc="5 mV", relay_trips="right")
    ran = command("run", "idle-current", *words)
    assert kinds(ran) == ["REMEASURE", "REMEASURE", "LEAVE"]
    assert causes(ran)[:3] == [
        "old capacitors were leaky",
        "direct voltage from the source",
        "dynamic fault: only with a signal",
    ]
    assert "right channel" in reasons(ran)
    read = command(
        *("run", "idle-current"),
        *settings(point="one-resistor", left="6.0", target="6 mV", minutes_since_on="75"),
    )
    assert verdicts(read)["drop_left_v"] == "PASS"
    assert kinds(read) == ["LEAVE"]


def test_without_an_accurate_meter_the_idle_trimmers_stay(command: Command) -> None:
    """diyaudio.com/community/threads/345209."""
    words = settings(point="one-resistor", left="38 mV", target="50 mV", minutes_since_on="75")
    ran = command("run", "idle-current", *words, *settings(trimmer="yes"))
    assert kinds(ran) == ["ADJUST"]
    coarse = command("run", "idle-current", *words, *settings(trimmer="yes", fine_meter="no"))
    assert kinds(coarse) == ["LEAVE"]


# --- DC offset ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        {"left": "150 mV", "limit": "10 mV", "trimmer": "yes"},
        {"right": "0.15 V", "left": "-0.14", "limit": "10", "trimmer": "yes"},
        {"left": "150mv", "right": "150mv", "trimmer": "yes"},
    ],
)
def test_offset_with_trimmers_is_warmed_up_then_trimmed(
    command: Command, words: dict[str, str]
) -> None:
    """diyaudio.com/community/threads/345209, its limit typed or unknown."""
    ran = command("run", "dc-offset", *settings(**words))
    assert (ran.status, kinds(ran)) == (1, ["ADJUST", "WAIT"])
    assert causes(ran)[0] == "offset trimmer out of place"
    assert len(causes(ran)) > 1
    assert "leave the idle trimmer alone" in reasons(ran)


def test_a_fault_is_not_trimmed_away(command: Command) -> None:
    ran = command("run", "dc-offset", *settings(left="700 mV", trimmer="yes"))
    assert kinds(ran) == ["REPLACE"]


def test_76_and_45_mv_ask_for_matching_not_for_a_redesign(command: Command) -> None:
    """diyaudio.com thread 40721 (2004-09)."""
    ran = command("run", "dc-offset", *settings(left="76 mV", right="45 mV"))
    assert kinds(ran) == ["PLAN"]
    assert "do not redesign" in reasons(ran)
    assert "76 mV and right 45 mV" in reasons(ran)
    assert causes(ran)[0].startswith("input pair")
    assert "leaky feedback electrolytic" in causes(ran)
    pair = command("run", "input-pair", *settings(left="76 mV", right="45 mV", r1="9.4 kΩ"))
    assert (pair.status, kinds(pair)) == (0, ["PLAN"])
    assert values(pair)["needed_left_a"] == pytest.approx(0.076 / 9400)
    assert "electrolytic" in reasons(pair)
    assert "do not redesign" in reasons(pair)


@pytest.mark.parametrize(
    "words",
    [
        {"left": "40 V", "rail": "42 V"},
        {"left": "40 V", "right": "3 mV", "rail_plus": "42", "rail_minus": "-42", "relay": "open"},
        {"right": "-27.6 V", "rail": "29 V"},
        {"right": "40 V", "trimmer": "yes", "limiter": "in"},
        {"left_cold": "40 V"},
        {"left_loaded": "-11 V", "left": "5 mV"},
    ],
)
def test_an_output_near_a_rail_stops_and_is_never_adjusted(
    command: Command, words: dict[str, str]
) -> None:
    """ameblo.jp entry 12411295586; music-electronics-forum.com thread 3746."""
    ran = command("run", "dc-offset", *settings(**words))
    assert (ran.status, kinds(ran)) == (1, ["STOP"])
    assert causes(ran)[0] == "DC fault before the output stage"
    assert len(causes(ran)) > 1


def test_a_sound_output_stage_points_upstream(command: Command) -> None:
    """ameblo.jp entry 12411295586: bias string and emitter resistors as expected."""
    words = settings(left="40 V", rail="42 V", output_stage="as expected")
    ran = command("run", "dc-offset", *words)
    first, second = ran.document["causes"][:2]
    assert first["name"] == "DC fault before the output stage"
    assert second["against"] == ["it is sound"]


@pytest.mark.parametrize("words", [{"left": "40 mV"}, {"right": "-40"}, {"left": "0.04 V"}])
def test_forty_millivolts_are_left_alone(command: Command, words: dict[str, str]) -> None:
    """diyaudio 330286."""
    ran = command("run", "dc-offset", *settings(**words))
    assert (ran.status, kinds(ran)) == (0, ["LEAVE"])
    assert "harmless" in reasons(ran)


def test_one_input_resistor_moves_a_predicted_offset(command: Command) -> None:
    """diyaudio 330286: in simulation one input resistor took 18 mV to 2 mV."""
    pair = {"tail": "1 mA", "hfe1": "250", "hfe2": "250", "r2": "10k", "vbe_difference": "0 mV"}
    before = command("run", "input-pair", *settings(**pair, r1="19k"))
    after = command("run", "input-pair", *settings(**pair, r1="11k"))
    assert 1000 * values(before)["predicted_v"] == pytest.approx(-18)
    assert 1000 * values(after)["predicted_v"] == pytest.approx(-2)
    assert kinds(before) == kinds(after) == ["LEAVE"]


@pytest.mark.parametrize(
    "words",
    [
        {"left": "12 V", "topology": "capacitor-coupled"},
        {"right": "12000 mV", "topology": "capacitor coupled", "load": "none", "trimmer": "yes"},
        {"left": "12 V", "right": "11 V", "topology": "capacitor-coupled", "rail": "62 V"},
    ],
)
def test_volts_behind_an_output_capacitor_are_read_again_with_1_kilohm(
    command: Command, words: dict[str, str]
) -> None:
    """diyaudio 204026 (2012-01-08)."""
    ran = command("run", "dc-offset", *settings(**words))
    assert (ran.status, kinds(ran)) == (0, ["REMEASURE"])
    assert "1 kΩ" in reasons(ran)
    assert {"leaky output capacitor", "wiring: taken before the output capacitor"} <= set(
        causes(ran)
    )
    assert "NOT_COMPARABLE" in verdicts(ran).values()


def test_on_a_speaker_they_stop(command: Command) -> None:
    words = settings(left="12 V", topology="capacitor-coupled", load="speaker")
    assert kinds(command("run", "dc-offset", *words)) == ["STOP"]


# --- parts that set them -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ({"difference": "50 mV", "trimmer": "no"}, "STOP"),
        ({"old_5ma": "1.250 V", "new_5ma": "1.300 V", "trimmer": "no"}, "STOP"),
        ({"old_5ma": "0.600", "new_5ma": "0.625", "read_across": "one", "diodes": "2"}, "STOP"),
        ({"difference": "12 mV", "trimmer": "no"}, "REPLACE"),
        ({"difference": "12 mV", "trimmer": "yes"}, "PLAN"),
        ({"difference": "4 mV", "trimmer": "no"}, "LEAVE"),
        ({"difference": "-40 mV", "trimmer": "no"}, "PLAN"),
    ],
)
def test_new_bias_diodes(command: Command, words: dict[str, str], kind: str) -> None:
    """50 mV more across the string takes 25 mA to about 52 mA at 0.22 Ω (arithmetic)."""
    ran = command("run", "bias-diodes", *settings(**words, idle="25 mA", emitter_ohm="0R22"))
    assert kinds(ran)[0] == kind
    assert "runaway test" in ran.document["next"]
    if kind == "STOP":
        assert 1000 * values(ran)["idle_after_a"] == pytest.approx(52, abs=0.5)


def test_e_c_b_for_e_b_c_is_no_powering_on(command: Command) -> None:
    """diybanter.com/1581508-post38.html."""
    ran = command("run", "transistor-replacement", *settings(pinout="differs", new_hfe="90"))
    assert (ran.status, kinds(ran)) == (1, ["STOP"])
