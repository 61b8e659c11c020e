"""What may be behind a DC offset: signs for and against, and the reading that would tell."""

from __future__ import annotations

from collections.abc import Callable

from backtospec.analysis.offset_pattern import Place
from backtospec.check import Clue, Findings, Rule
from backtospec.check.offset_advice import faulty, load_moves
from backtospec.check.offset_reading import (
    CHANNELS,
    EXCESSIVE_V,
    GOOD_V,
    HIGH_V,
    SOURCE_V,
    adjustable,
    coupled,
    judged_values,
    offset_settlings,
    places,
)
from backtospec.verdict import Verdict

Seen = Callable[[Findings], bool | None]

COMMON = "common practice, no source"
STUCK = "ameblo.jp entry 12411295586; music-electronics-forum.com thread 3746"
PAIR_PAGE = "diyaudio.com thread 40721 (2004-09)"
INPUT_PAGE = "diyaudio.com/community/threads/52459/post-1046138"
SOURCE_PAGE = "music-electronics-forum.com thread 4705; www9.amp8.com/etc/amp-inho/tr-ampck.htm"
CAPACITOR_PAGE = "diyaudio 204026 (2012-01-08)"

UPSTREAM = "DC fault before the output stage"
OUTPUT = "DC fault in the output stage: device, driver or emitter resistor"
RAIL = "one rail missing: fuse, rectifier or winding"
RELAY = "relay not closed"
NOT_THERE = "meter not on the terminals, or muted"
TRIMMER = "offset trimmer out of place"
PAIR = "input pair: unequal current gains, or its input resistance"
FEEDBACK = "leaky feedback electrolytic"
PART = "a part in that channel: input device or drifted resistor"
COUPLING = "leaky coupling capacitor ahead of the volume control"
INPUT = "missing or leaky input coupling capacitor"
SOURCE = "direct voltage from the source"
AROUND = "open ground of the volume control, or a path around it"
WORN = "worn volume control"
OUTPUT_CAPACITOR = "leaky output capacitor"
WIRING = "wiring: taken before the output capacitor"
CHARGE = "leakage that any load discharges"
DYNAMIC = "dynamic fault: only with a signal"
PROTECTION = "protection circuit: drifted part"
OSCILLATION = "oscillation"
GROUND = "resistance in the ground lead"
JUMPS = "worn offset trimmer"
JOINT = "bad joint or contact"


def _stuck(findings: Findings) -> bool | None:
    return bool(faulty(findings.answers)) or None


def _when_stuck(seen: Seen) -> Seen:
    return lambda findings: seen(findings) if faulty(findings.answers) else None


def _one_stuck(findings: Findings) -> bool | None:
    values = judged_values(findings.answers)
    return len(faulty(findings.answers)) == 1 if len(values) == 2 else None


def _both_stuck(findings: Findings) -> bool | None:
    one = _one_stuck(findings)
    return None if one is None else not one


def _stage_sound(findings: Findings) -> bool | None:
    read = findings.answers.choice("output_stage")
    return read == "as-expected" if read in ("as-expected", "otherwise") else None


def _stage_otherwise(findings: Findings) -> bool | None:
    sound = _stage_sound(findings)
    return None if sound is None else not sound


def _rails_uneven(findings: Findings) -> bool | None:
    plus, minus = (findings.answers.number(f"rail_{side}") for side in ("plus", "minus"))
    if plus is None or minus is None:
        return None
    larger = max(abs(plus.value), abs(minus.value))
    return abs(abs(plus.value) - abs(minus.value)) > 0.25 * larger


def _high(findings: Findings) -> bool | None:
    """Say whether an offset is outside or above what most show, and nothing is broken."""
    answers = findings.answers
    values = judged_values(answers)
    if not values or faulty(answers) or coupled(answers):
        return None
    failed = any(findings.verdict(f"offset_{n}_v") is Verdict.FAIL for n in CHANNELS)
    return failed or max(abs(v.value) for v in values.values()) > GOOD_V


def _when_high(seen: Seen) -> Seen:
    return lambda findings: seen(findings) if _high(findings) else None


def _alike(findings: Findings) -> bool | None:
    values = judged_values(findings.answers)
    return all(abs(v.value) > GOOD_V for v in values.values()) if len(values) == 2 else None


def _alone(findings: Findings) -> bool | None:
    alike = _alike(findings)
    return None if alike is None else not alike


def _trimmed(findings: Findings) -> bool | None:
    known = adjustable(findings.answers)
    return None if known == "unknown" else known == "yes"


def _drifts(findings: Findings) -> bool | None:
    drifts = [v for n in CHANNELS if (v := findings.value(f"drift_{n}_v")) is not None]
    return any(abs(v.value) > GOOD_V for v in drifts) if drifts else None


def _at(place: Place) -> Seen:
    def seen(findings: Findings) -> bool | None:
        found = places(findings.answers)
        return place in found.values() if found else None

    return seen


def _zero(findings: Findings) -> bool | None:
    values = judged_values(findings.answers)
    if not values or findings.answers.choice("relay") == "closed":
        return None
    return all(v.value == 0 for v in values.values())


def _source(findings: Findings) -> bool | None:
    volts = findings.answers.number("source_dc")
    return None if volts is None else abs(volts.value) >= SOURCE_V


def _source_on(findings: Findings) -> bool | None:
    state = findings.answers.choice("input_state")
    return state == "source" if state else None


def _behind_capacitor(findings: Findings) -> bool | None:
    answers = findings.answers
    if not coupled(answers) or answers.choice("point") == "centre":
        return None
    return any(abs(v.value) > HIGH_V for v in judged_values(answers).values())


def _still_loaded(findings: Findings) -> bool | None:
    """Say whether volts behind an output capacitor stay with a load across the terminals."""
    answers = findings.answers
    values = judged_values(answers)
    loaded = answers.choice("load") in ("1k", "dummy", "speaker")
    loaded = loaded or any(f"{n}_loaded" in answers.texts for n in CHANNELS)
    if not coupled(answers) or not loaded:
        return None
    return any(abs(v.value) > EXCESSIVE_V for v in values.values())


def _unloaded(findings: Findings) -> bool | None:
    still = _still_loaded(findings)
    if _behind_capacitor(findings) is not True:
        return None
    return True if still is None else not still


def _trips(findings: Findings) -> bool | None:
    return findings.answers.choice("relay") == "trips" or None


def _moves_with_load(findings: Findings) -> bool | None:
    if coupled(findings.answers):
        return None
    read = any(f"{n}_loaded" in findings.answers.texts for n in CHANNELS)
    return bool(load_moves(findings.answers)) if read else None


def _jumps(findings: Findings) -> bool | None:
    logs = offset_settlings(findings.answers)
    return any(one.warm_up.course == "jumping" for one in logs) if logs else None


FOUR = "offset with the input open and shorted, volume at both ends"
STAYS, LOST = "it does not move with the volume", "it moves with the volume or the input"
OFF_LIMITS = "the offset is high"
SUPPLY = "both rails at the board; fuses in ohms, unplugged"
NODES = "node voltages from the input on, beside the good channel; low-value resistors, power off"
BEFORE_RELAY = "the output before the relay, on a scope, with a signal into a dummy load"

RULES = (
    Rule(
        UPSTREAM,
        (
            Clue(_stuck, "an output stands volts off ground", "", 2.0),
            Clue(
                _when_stuck(_stage_sound),
                "output devices, emitter resistors and bias string read as expected",
                "the output stage itself reads otherwise",
                2.0,
            ),
            Clue(_when_stuck(_one_stuck), "the other channel is normal", "", 0.5),
        ),
        NODES,
        STUCK,
    ),
    Rule(
        OUTPUT,
        (
            Clue(_stuck, "an output stands volts off ground", "", 1.5),
            Clue(
                _when_stuck(_stage_otherwise),
                "the output stage reads otherwise",
                "it is sound",
                2.0,
            ),
        ),
        "junctions and emitter resistors, power off and discharged, beside the good channel",
        STUCK,
    ),
    Rule(
        RAIL,
        (
            Clue(_when_stuck(_both_stuck), "both channels are off", "only one is", 1.5),
            Clue(_when_stuck(_rails_uneven), "the rails are uneven", "both rails are up", 2.0),
        ),
        SUPPLY,
        COMMON,
    ),
    Rule(
        RELAY,
        (Clue(_zero, "the reading is exactly zero", ""),),
        "offset before the relay; its click",
        COMMON,
    ),
    Rule(
        NOT_THERE,
        (Clue(_zero, "the reading is exactly zero", "", 0.5),),
        "the meter across a cell, then its clips, unplugged; muting and speaker switch",
        COMMON,
    ),
    Rule(
        TRIMMER,
        (
            Clue(_when_high(_trimmed), f"{OFF_LIMITS}, and there is a trimmer", "no trimmer", 2.0),
            Clue(_when_high(_at(Place.BEHIND)), STAYS, LOST),
        ),
        "the offset warm, after a small turn, its old position noted",
        "diyaudio.com/community/threads/345209",
    ),
    Rule(
        PAIR,
        (
            Clue(_high, OFF_LIMITS, ""),
            Clue(_when_high(_alike), "both channels are off", "only one channel is off"),
            Clue(_when_high(_at(Place.BEHIND)), STAYS, LOST),
        ),
        "volts across both base resistors of the input pair; its current gains",
        PAIR_PAGE,
    ),
    Rule(
        FEEDBACK,
        (
            Clue(_high, OFF_LIMITS, "", 0.5),
            Clue(_when_high(_at(Place.BEHIND)), STAYS, LOST),
            Clue(_when_high(_drifts), "it drifts from cold to warm", "it does not drift"),
        ),
        "volts across that capacitor; its leakage, one leg lifted",
        PAIR_PAGE,
    ),
    Rule(
        PART,
        (
            Clue(_when_high(_alone), "only one channel is off", "both channels are off", 1.5),
            Clue(_when_high(_at(Place.BEHIND)), STAYS, LOST),
        ),
        "the same node voltages in both channels",
        COMMON,
    ),
    Rule(
        COUPLING,
        (
            Clue(_at(Place.AT_CONTROL), "it moves with the volume and not with the input", "", 2.0),
            Clue(_at(Place.AROUND), "it moves at minimum volume", "", 0.5),
        ),
        "direct volts across the volume control; does it scratch when turned?",
        COMMON,
    ),
    Rule(
        INPUT,
        (
            Clue(_at(Place.AT_INPUT), "at full volume it moves with the input", "", 2.0),
            Clue(_source, "the source brings direct voltage", "", 0.5),
        ),
        "direct volts on either side of the input capacitor",
        INPUT_PAGE,
    ),
    Rule(
        SOURCE,
        (
            Clue(_source, "the source brings direct voltage", "the source brings none", 2.0),
            Clue(_when_high(_source_on), "a source is connected", "no source is connected", 0.5),
            Clue(_at(Place.AT_INPUT), "at full volume it moves with the input", "", 0.5),
        ),
        "the offset with the input shorted, and the source's own direct volts",
        SOURCE_PAGE,
    ),
    Rule(
        AROUND,
        (Clue(_at(Place.AROUND), "at minimum volume it moves with the input", "", 2.0),),
        "ohms from the wiper to ground at minimum, power off",
        COMMON,
    ),
    Rule(
        WORN,
        (
            Clue(_at(Place.AROUND), "at minimum volume it moves with the input", ""),
            Clue(_at(Place.AT_CONTROL), "it moves with the volume", "", 0.5),
        ),
        "a slow turn: does it jump or scratch?",
        COMMON,
    ),
    Rule(
        OUTPUT_CAPACITOR,
        (
            Clue(_behind_capacitor, "volts behind the output capacitor", ""),
            Clue(_still_loaded, "they stay with a load", "a load discharges them", 1.5),
        ),
        "volts with 1 kΩ across the terminals; then its leakage",
        CAPACITOR_PAGE,
    ),
    Rule(
        WIRING,
        (
            Clue(_behind_capacitor, "volts behind the output capacitor", "", 0.9),
            Clue(_still_loaded, "they stay with a load", "a load discharges them", 1.5),
        ),
        "follow the wire from capacitor to terminal; ohms, power off and discharged",
        CAPACITOR_PAGE,
    ),
    Rule(
        CHARGE,
        (Clue(_unloaded, "no load was proven to be there", "they stay with a load", 1.5),),
        "volts with 1 kΩ across the terminals",
        CAPACITOR_PAGE,
    ),
    Rule(
        DYNAMIC,
        (Clue(_trips, "the relay trips only with a signal", "", 2.0),),
        BEFORE_RELAY,
        SOURCE_PAGE,
    ),
    Rule(
        PROTECTION,
        (Clue(_trips, "the relay trips only with a signal", ""),),
        "volts at the protection's sensing point while it trips; its electrolytics",
        COMMON,
    ),
    Rule(
        OSCILLATION,
        (
            Clue(_moves_with_load, "the offset moves with the load", "a load changes nothing"),
            Clue(_trips, "the relay trips only with a signal", "", 0.5),
        ),
        "a scope at the output, with and without load",
        COMMON,
    ),
    Rule(
        GROUND,
        (Clue(_moves_with_load, "the offset moves with the load", "a load changes nothing"),),
        "direct volts along the ground lead with the load on",
        COMMON,
    ),
    Rule(
        JUMPS,
        (Clue(_jumps, "the log jumps", "the log runs smoothly"),),
        "the trimmer's ohms while it is turned, power off",
        "tnt-audio.com/clinica/bias_e.html",
    ),
    Rule(
        JOINT,
        (Clue(_jumps, "the log jumps", "the log runs smoothly"),),
        "the clips first; then joints under a lens, power off",
        COMMON,
    ),
)
