"""What may be behind an idle current: signs for and against, and the reading that would tell."""

from __future__ import annotations

from collections.abc import Callable

from backtospec.analysis.idle_sharing import SHARE_PERCENT
from backtospec.check import Clue, Findings, Rule
from backtospec.check.idle_advice import ALARM_RATIO, ALIKE, HOT_UNSUITED_C
from backtospec.check.idle_observed import SOURCE_V, heat, heats_on, jittering, trimmer_bad
from backtospec.check.idle_reading import (
    CHANNELS,
    HOT_C,
    banks,
    comparable,
    drops,
    idle_settlings,
    swap,
)
from backtospec.verdict import Verdict

Seen = Callable[[Findings], bool | None]

COMMON = "common practice, no source"
MEMORY = "from memory"
LOW_PAGE = "diyaudio.com/community/threads/372693 p. 3"
TWO_FAULTS = "i-bbs.sijex.net/audioclub/110"
NETWORK_PAGE = "forum.allaboutcircuits.com/threads/145097"
RECAP_PAGE = "music-electronics-forum.com thread 4705"
TRIMMER_PAGE = "tnt-audio.com/clinica/bias_e.html"
SIDES_PAGE = "findtube.ai/video/fmcPW7E1Jgg"
BANK_PAGE = "rssing.com chan-54301106/article337"

UNDER_BIASED = "under-biased stage"
WORN_TRIMMER = "worn trimmer"
NO_SUPPLY = "no supply at the stage: rail, fuse or protection"
PROBES = "probes not on the resistor"
WORN_CONTROL = "worn volume control"
CONTACTS = "oxidised contacts: relay, switch or selector"
RUNAWAY = "sensor without contact to the heatsink"
NETWORK = "bias network does not suit the devices"
OSCILLATION = "oscillation"
JOINT = "bad joint or contact"
UNMATCHED = "devices in parallel not matched"
OPEN_DEVICE = "open device, emitter resistor or joint"
INTO_LOAD = "offset that drives the load"
RESISTOR = "emitter resistor out of value"
LEAKED = "old capacitors were leaky"
NEW_PART = "a new part of another value, or reversed"
SOURCE = "direct voltage from the source"
COUPLING = "missing or leaky input coupling capacitor"
DYNAMIC = "dynamic fault: only with a signal"
PROTECTION = "protection circuit: drifted part"
METERS = "the meters differ, not the channels"


def _lower(findings: Findings) -> str:
    """Return in words which channel idles low, against the range or the other channel."""
    for name in CHANNELS:
        for key in (f"drop_{name}_v", f"idle_{name}_a", f"supply_rise_{name}_a"):
            for finding in findings.of(key):
                low = finding.limit.low if finding.limit else None
                value = finding.result.value
                failed = finding.verdict is Verdict.FAIL
                if failed and low is not None and value is not None and value.value < low:
                    return name
    balance = findings.value("balance_percent")
    if balance is not None and abs(balance.value) > 100 * ALIKE:
        return "left" if balance.value > 0 else "right"
    return ""


def _ends_low(findings: Findings) -> bool:
    """Say whether a log is foreseen to end below the manual's range."""
    maker = comparable(findings.answers)
    if maker is None or maker.low is None:
        return False
    ends = (one.warm_up.settled_high_v for one in idle_settlings(findings.answers))
    return any(end is not None and end < maker.low for end in ends)


def _low(side: str = "") -> Seen:
    """Return what says whether a channel idles low: that one, or any."""

    def seen(findings: Findings) -> bool | None:
        if not drops(findings.answers) and not findings.all:
            return None
        lower = _lower(findings)
        if side:
            return lower == side or None
        return bool(lower) or _ends_low(findings) or None

    return seen


def _drops(findings: Findings) -> list[float]:
    """Return the drops of all channels and of all devices."""
    found = [drop.value for drop in drops(findings.answers).values()]
    every = (device for bank in banks(findings.answers) for device in bank.devices)
    return found or [device.drop.value for device in every]


def _zero(findings: Findings) -> bool | None:
    read = _drops(findings)
    return 0 in read if read else None


def _all_zero(findings: Findings) -> bool | None:
    read = _drops(findings)
    return not any(read) if read else None


def _when(sign: Seen, seen: Seen) -> Seen:
    return lambda findings: seen(findings) if sign(findings) else None


def _chosen(key: str, *values: str) -> Seen:
    def seen(findings: Findings) -> bool | None:
        choice = findings.answers.choice(key)
        return choice in values if choice else None

    return seen


def _high(findings: Findings) -> bool | None:
    """Say whether it stands far above its range, runs away, or gets too hot."""
    answers = findings.answers
    known = [f for f in findings.all if f.limit and f.limit.high and f.result.value]
    far = [
        f
        for f in known
        if f.result.value is not None
        and f.limit is not None
        and f.limit.high is not None
        and f.result.key.startswith(("drop_", "idle_", "supply_rise_", "mains_rise_"))
        and f.result.value.value > ALARM_RATIO * f.limit.high
    ]
    temperature = heat(answers)
    unsuited = answers.choice("output_devices") == "other-type"
    hot = heats_on(answers) or (
        temperature is not None and temperature >= (HOT_UNSUITED_C if unsuited else HOT_C)
    )
    running = any(one.warm_up.course == "runaway" for one in idle_settlings(answers))
    if not known and temperature is None and not idle_settlings(answers):
        return None
    return bool(far) or hot or running


def _jumps(findings: Findings) -> bool | None:
    answers, logs = findings.answers, idle_settlings(findings.answers)
    jumping = jittering(answers) or any(one.warm_up.course == "jumping" for one in logs)
    if trimmer_bad(answers) or jumping:
        return True
    return False if logs or answers.choice("trimmer_sweep") == "smooth" else None


def _silent(findings: Findings) -> bool | None:
    every = banks(findings.answers)
    if not every or _all_zero(findings):
        return None
    return any(bank.silent for bank in every)


def _uneven(what: str) -> Seen:
    def seen(findings: Findings) -> bool | None:
        values = (findings.value(f"{what}{ending}_percent") for ending in ("_left", "_right", ""))
        known = [abs(v.value) for v in values if v is not None]
        return max(known) > SHARE_PERCENT if known else None

    return seen


def _drops_out(findings: Findings) -> bool | None:
    choice = findings.answers.choice("drops_out")
    return choice != "no" if choice else None


def _leans(findings: Findings) -> bool | None:
    choice = findings.answers.choice("louder")
    return choice in CHANNELS if choice else None


def _source(findings: Findings) -> bool | None:
    volts = findings.answers.number("source_dc")
    return None if volts is None else abs(volts.value) >= SOURCE_V


def _trips(findings: Findings) -> bool | None:
    choice = findings.answers.choice("relay_trips")
    return choice != "no" if choice else None


def _meters(findings: Findings) -> bool | None:
    found = swap(findings.answers)
    if found is None:
        two = findings.answers.choice("meters") == "two"
        return True if two and _lower(findings) else None
    return abs(found.meters.value - 1) > abs(found.channels.value - 1)


LOWER = "a channel idles low"
IN_BIAS = "the other channel's bias network beside it, power off; distortion at 1 W or less"
TURN = "the trimmer's ohms while it is turned, power off"
BEFORE_RELAY = "the output before the relay, on a scope, with a signal into a dummy load"

RULES = (
    Rule(
        UNDER_BIASED,
        (
            Clue(_low("left"), "the left channel idles low", "", 1.5),
            Clue(_low("right"), "the right channel idles low", "", 1.5),
            Clue(_when(_ends_low, _low()), "its log ends below the range", ""),
            Clue(_zero, "no drop at all", "", 1.5),
            Clue(
                _chosen("sound", "harsh"),
                "it sounds harsh at low level",
                "it sounds clean at low level",
            ),
        ),
        IN_BIAS,
        LOW_PAGE,
    ),
    Rule(
        WORN_TRIMMER,
        (
            Clue(_jumps, "the reading jumps", "the reading moves smoothly", 2.0),
            Clue(_low(), LOWER, "", 0.5),
            Clue(_chosen("trimmer", "no"), "", "there is no trimmer", 2.0),
        ),
        TURN,
        TRIMMER_PAGE,
    ),
    Rule(
        JOINT,
        (Clue(_jumps, "the reading jumps", "the reading moves smoothly"),),
        "the clips first; then joints under a lens, power off",
        COMMON,
    ),
    Rule(
        NO_SUPPLY,
        (
            Clue(_zero, "no drop at all", ""),
            Clue(_when(_zero, _all_zero), "in every channel read", "only in one channel", 0.5),
            Clue(_when(_zero, _chosen("sound", "harsh")), "", "it plays, though harshly"),
        ),
        "both rails at the stage, its fuses, the relay",
        COMMON,
    ),
    Rule(
        PROBES,
        (
            Clue(_zero, "no drop at all", ""),
            Clue(_when(_zero, _chosen("sound", "harsh")), "", "the sound agrees with no drop"),
        ),
        "the resistor in ohms through the same clips, power off and discharged",
        COMMON,
    ),
    Rule(
        RESISTOR,
        (
            Clue(_low(), LOWER, "", 0.5),
            Clue(_uneven("sharing"), "a device lies off its bank", "the devices share alike"),
            Clue(_uneven("sides"), "NPN and PNP side differ", "both sides agree"),
        ),
        "each emitter resistor in ohms, leads subtracted, power off",
        SIDES_PAGE,
    ),
    Rule(
        METERS,
        (Clue(_meters, "two meters, and the difference is theirs", "a swap clears them", 2.0),),
        "the same channels with the meters swapped",
        COMMON,
    ),
    Rule(
        RUNAWAY,
        (
            Clue(
                _high,
                "far too much, too hot, or rising without an end",
                "it stays within bounds",
                1.5,
            ),
            Clue(_chosen("sensor", "loose"), "the sensor hangs loose", "", 2.0),
            Clue(_when(_high, _chosen("sensor", "glued")), "the sensor is only glued on", "", 0.5),
        ),
        "heatsink contact of the bias sensor, power off",
        "newsletter.onedfrk.com archive 310c5254",
    ),
    Rule(
        NETWORK,
        (
            Clue(
                _chosen("output_devices", "other-type"),
                "output devices of another type were fitted",
                "the output devices are those of the design",
                2.0,
            ),
            Clue(
                _high, "far too much, too hot, or rising without an end", "it stays within bounds"
            ),
        ),
        "the bias network against the devices fitted: multiplier or diodes, emitter resistors",
        NETWORK_PAGE,
    ),
    Rule(
        OSCILLATION,
        (
            Clue(
                _high, "far too much, too hot, or rising without an end", "it stays within bounds"
            ),
            Clue(_trips, "the relay trips with a signal", "", 0.5),
        ),
        "a scope at the output, warm, without a signal",
        MEMORY,
    ),
    Rule(
        OPEN_DEVICE,
        (Clue(_silent, "a device carries about nothing", "every device carries some", 2.0),),
        "its junctions, emitter resistor and joints, power off",
        COMMON,
    ),
    Rule(
        UNMATCHED,
        (
            Clue(_uneven("sharing"), "a device lies off its bank", "the devices share alike", 1.5),
            Clue(_silent, "a device carries about nothing", "", 0.5),
        ),
        "current gain of each device of the bank",
        BANK_PAGE,
    ),
    Rule(
        INTO_LOAD,
        (Clue(_uneven("sides"), "NPN and PNP side differ", "both sides agree", 1.5),),
        "both sides again without any load; the offset",
        SIDES_PAGE,
    ),
    Rule(
        WORN_CONTROL,
        (
            Clue(_drops_out, "it drops out at some volume positions", "it never drops out", 2.0),
            Clue(_leans, "the level leans to one side", "the level is even"),
        ),
        "level of both channels at several positions of the control; a slow turn",
        TWO_FAULTS,
    ),
    Rule(
        CONTACTS,
        (
            Clue(_drops_out, "it drops out at some volume positions", "it never drops out", 0.5),
            Clue(_leans, "the level leans to one side", "the level is even", 0.5),
        ),
        "level before and after the relay; does a loud burst bring it back?",
        "audiokarma.org/forums threads 818552",
    ),
    Rule(
        LEAKED,
        (Clue(_chosen("after_recap", "less"), "less trimmer is needed since the recap", "", 2.0),),
        "leakage of the old ones, if they were kept",
        RECAP_PAGE,
    ),
    Rule(
        NEW_PART,
        (
            Clue(_chosen("after_recap", "less"), "less trimmer is needed since the recap", "", 0.5),
            Clue(_chosen("after_recap", "more"), "more trimmer is needed since the recap", "", 2.0),
        ),
        "value and polarity of the new parts against the board print",
        COMMON,
    ),
    Rule(
        SOURCE,
        (Clue(_source, "the source brings direct voltage", "the source brings none", 2.0),),
        "idle current and offset with the source off and the input shorted",
        RECAP_PAGE,
    ),
    Rule(
        COUPLING,
        (Clue(_source, "the source brings direct voltage", "", 0.5),),
        "direct volts on either side of the input capacitor",
        COMMON,
    ),
    Rule(
        DYNAMIC,
        (Clue(_trips, "the relay trips only with a signal", "the relay holds", 2.0),),
        BEFORE_RELAY,
        RECAP_PAGE,
    ),
    Rule(
        PROTECTION,
        (Clue(_trips, "the relay trips only with a signal", "the relay holds"),),
        "volts at the protection's sensing point while it trips; its electrolytics",
        COMMON,
    ),
)
