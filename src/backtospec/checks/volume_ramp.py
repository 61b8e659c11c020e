"""Volume ramp: a tone turned up or down by hand into measured loads, or spots off a meter."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from backtospec.analysis.power_curve import (
    Crossing,
    PowerCurve,
    crossing,
    highest,
    knee,
    smoothed,
    tracking_db,
)
from backtospec.analysis.ramp import RampAnalysis
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.thresholds import PowerAtThd
from backtospec.check import (
    AdviceKind,
    Answers,
    Axis,
    CaptureInput,
    Cause,
    Check,
    Choice,
    ChoiceInput,
    Counsel,
    CurveFigure,
    Example,
    Figure,
    Findings,
    Mark,
    Measurement,
    NumberInput,
    ResultKey,
    Stage,
    TableInput,
    TextInput,
    Trace,
)
from backtospec.errors import BenchError
from backtospec.quantity import Measured, rectangular, write
from backtospec.records import Channel, Condition, Limit, PowerState, Rating
from backtospec.verdict import Bound, Result, Verdict

CHANNELS = {"left": Channel.LEFT, "right": Channel.RIGHT}

LOAD_ALLOWANCE_PERCENT = 5.0
"""A measured load this near to the rated one is the same load (common practice, no source)."""

TRACKING_DB = 1.0
"""A good control tracks within 1 dB over at least 50 dB (Small Signal Audio Design, ch. 9)."""

INAUDIBLE_DB = 0.2
"""Channels this alike sound alike (common practice, no source)."""

BAND_HZ = (20.0, 20_000.0)


@dataclass(frozen=True, slots=True)
class _Channel:
    """One channel as this check sees it, whether recorded or read off a meter."""

    name: str
    curve: PowerCurve
    relative_u: float
    load_ohm: float
    inputs: tuple[str, ...]
    spots: bool = True
    noisy: bool = False
    floor: tuple[tuple[float, ...], tuple[float, ...]] | None = None
    polarity: str = ""
    measured: dict[str, Crossing] = field(default_factory=dict)

    def power_at(self, thd_percent: float) -> Crossing | None:
        """Return the crossing of a figure: the recording's own finer one, or between spots."""
        return self.measured.get(f"{thd_percent:g}") or crossing(self.curve, thd_percent)


def _setup(answers: Answers) -> CaptureSetup:
    volts = answers.number("full_scale_left")
    hz = answers.number("nominal_hz")
    loads = [answers.number("load_left"), answers.number("load_right")]
    if volts is None or loads[0] is None:
        raise BenchError(
            "a recording means nothing in watts without its calibration and load.",
            "volume ramp",
            "Give full_scale_left (peak volts at digital full scale) and load_left.",
        )
    right = answers.number("full_scale_right") or volts
    rating = _rating(answers)
    return CaptureSetup(
        full_scale_volts=(volts.value, right.value),
        load_ohm=(loads[0].value, (loads[1] or loads[0]).value),
        nominal_hz=hz.value if hz else 1000.0,
        rated_thd_percent=rating.thd_percent if rating else None,
        rated_power_w=rating.power_w if rating else None,
    )


def _rating(answers: Answers) -> Rating | None:
    """Return the rating for the load in use, or the first one, which is then not comparable."""
    ratings = answers.spec.ratings if answers.spec else ()
    load = answers.number("load_left")
    for rating in ratings:
        if load is None or abs(load.value / rating.load_ohm - 1) * 100 <= LOAD_ALLOWANCE_PERCENT:
            return rating
    return ratings[0] if ratings else None


def _rated_thd(answers: Answers) -> float:
    rating = _rating(answers)
    return rating.thd_percent if rating and rating.thd_percent else 1.0


def measure(answers: Answers) -> Measurement:
    """Return powers, distortion and tracking from the recording, or from the spots."""
    ramp = answers.capture("recording", RampAnalysis)
    channels = _from_recording(ramp, answers) if ramp else _from_spots(answers)
    pairs = _recorded_pairs(ramp, answers) if ramp else _typed_pairs(answers)
    if ramp is not None and Channel.MONO in ramp.channels:
        raise BenchError(
            "it holds one channel, and nothing says whether it is left or right.",
            "recording",
            "Record both channels in one file.",
        )
    if ramp is not None and not channels:
        raise BenchError(
            f"{_refused(answers) or 'no tone was found'}.",
            "recording",
            "Set the level between −30 and −1 dB of full scale, and record again.",
        )
    if not channels and not pairs:
        raise BenchError(
            "nothing to judge was given.",
            "volume ramp",
            "Give a recording by --file recording=PATH, or type spots such as "
            '"L 1 W 0.02 %; R 1 W 0.02 %".',
        )
    results: list[Result] = []
    for channel in channels:
        results += _channel_results(channel, answers)
    if pairs:
        results.append(_tracking_result(pairs, answers))
    results += _band_results(channels, answers)
    return Measurement(tuple(results), _figures(channels, pairs, answers))


def _conditions(answers: Answers, load_ohm: float) -> dict[str, float | str]:
    hz = answers.number("nominal_hz")
    conditions: dict[str, float | str] = {
        "load_ohm": load_ohm,
        "channels_driven": answers.choice("channels_driven"),
        "frequency_hz": hz.value if hz else 1000.0,
    }
    mains = answers.number("mains")
    if mains is not None:
        conditions["mains_v"] = mains.value
    return conditions


def _channel_results(channel: _Channel, answers: Answers) -> list[Result]:
    results = [_power_result(channel, answers, "1_percent", 1.0)]
    if _rating(answers) is not None:
        results.insert(0, _power_result(channel, answers, "rated_thd", _rated_thd(answers)))
    results.append(_knee_result(channel, answers))
    worst = _worst_result(channel, answers)
    if worst is not None:
        results.append(worst)
    return results


def _power_result(channel: _Channel, answers: Answers, key: str, thd: float) -> Result:
    found = channel.power_at(thd)
    how = "spots, straight between them on log-log axes" if channel.spots else "volume ramp"
    words = f"rated distortion ({thd:g} %)" if key == "rated_thd" else "1 %"
    polarity = f"first clipping {channel.polarity}" if channel.polarity and key[0] == "1" else ""
    value, bound, reason = None, Bound.EQUALS, polarity
    if found is None:
        reason = f"distortion is above {thd:g} % at every power measured"
    else:
        value = _watts(found, channel.relative_u, exact=not channel.spots)
        if not found.reached:
            bound, reason = Bound.AT_LEAST, f"{thd:g} % was never reached"
    return Result(
        f"power_at_{key}_{channel.name}_w",
        f"power at {words}, {channel.name}",
        value,
        "W",
        how,
        channel.inputs,
        _conditions(answers, channel.load_ohm) | {"thd_percent": thd},
        bound,
        CHANNELS[channel.name],
        reason,
    )


def _watts(found: Crossing, relative_u: float, *, exact: bool) -> Measured:
    """Return a power with its calibration and, between spots, what their gap leaves open."""
    scale = Measured(1.0, relative_u)
    gap = 0.0 if exact else (found.high_w - found.low_w) / 2
    return rectangular(found.power_w, gap) * scale


def _knee_result(channel: _Channel, answers: Answers) -> Result:
    found = knee(channel.curve)
    value = None
    reason = "there is no flat part to rise from"
    bound = Bound.EQUALS
    if found is not None:
        value = _watts(found, channel.relative_u, exact=not channel.spots)
        reason = ""
        if not found.reached:
            bound, reason = Bound.AT_LEAST, "the knee was not reached"
    return Result(
        f"knee_{channel.name}_w",
        f"knee, {channel.name}",
        value,
        "W",
        "distortion 1.5 times its flat part",
        channel.inputs,
        _conditions(answers, channel.load_ohm),
        bound,
        CHANNELS[channel.name],
        reason,
    )


def _worst_result(channel: _Channel, answers: Answers) -> Result | None:
    rating = _rating(answers)
    if rating is None:
        return None
    low = max(rating.from_power_w or 0.0, channel.curve.power_w[0])
    found = highest(channel.curve, low, min(rating.power_w, channel.curve.power_w[-1]))
    if found is None:
        return None
    thd, power, is_bound = found
    # A ratio does not inherit the volts' calibration; 2 % of its own value covers the fit's rest.
    value = Measured(thd, 0.0 if is_bound else 0.02 * thd)
    bounded = is_bound or channel.noisy
    return Result(
        f"highest_thd_{channel.name}_percent",
        f"highest distortion up to the rated power, {channel.name}",
        value,
        "%",
        "noise included" if channel.noisy else "harmonics only",
        channel.inputs,
        _conditions(answers, channel.load_ohm),
        Bound.AT_MOST if bounded else Bound.EQUALS,
        CHANNELS[channel.name],
        f"at {write(power, 'W')}",
    )


def _tracking_result(pairs: list[tuple[float, float]], answers: Answers) -> Result:
    at, worst = max(pairs, key=lambda pair: abs(pair[1]))
    load = answers.number("load_left")
    span = 10 * math.log10(max(p for p, _ in pairs) / min(p for p, _ in pairs))
    typed = answers.capture("recording", RampAnalysis) is None
    return Result(
        "tracking_db",
        "right over left, worst",
        Measured(worst, 0.02 if typed else 0.001),
        "dB",
        f"level difference over {span:.0f} dB of level",
        answers.answered("recording", "tracking", "spots"),
        _conditions(answers, load.value if load else 8.0),
        reason=f"at {write(at, 'W')}",
    )


def _band_results(channels: list[_Channel], answers: Answers) -> list[Result]:
    """State the whole rating as a result of its own: one frequency does not show a band."""
    rating = _rating(answers)
    if rating is None or rating.band_low_hz is None or rating.band_high_hz is None:
        return []
    found = [c.power_at(_rated_thd(answers)) for c in channels]
    lowest = min((f.power_w for f in found if f), default=None)
    hz = _conditions(answers, rating.load_ohm)["frequency_hz"]
    return [
        Result(
            "power_over_band_w",
            "rated power over the whole rated band",
            None if lowest is None else Measured(lowest),
            "W",
            "one frequency only",
            answers.answered("recording", "spots"),
            {"band": f"{hz:g} Hz only"},
        )
    ]


def limits(answers: Answers) -> tuple[Limit, ...]:
    """Return the rating under its own conditions, and the convention for tracking."""
    found = [
        Limit(
            "tracking_db",
            -TRACKING_DB,
            TRACKING_DB,
            "dB",
            "common practice: a good control tracks within 1 dB",
            convention=True,
        )
    ]
    rating = _rating(answers)
    if rating is None:
        return tuple(found)
    conditions = [Condition("load_ohm", rating.load_ohm, LOAD_ALLOWANCE_PERCENT)]
    if rating.channels_driven is not None:
        conditions.append(Condition("channels_driven", rating.channels_driven))
    low, high = rating.band_low_hz or BAND_HZ[0], rating.band_high_hz or BAND_HZ[1]
    conditions.append(Condition("frequency_hz", low=low, high=high))
    source = rating.source + ("" if rating.thd_percent else "; it states no distortion, 1 % taken")
    for name in CHANNELS:
        key = f"power_at_rated_thd_{name}_w"
        found.append(Limit(key, rating.power_w, None, "W", source, tuple(conditions)))
        if rating.thd_percent is not None:
            key = f"highest_thd_{name}_percent"
            found.append(Limit(key, None, rating.thd_percent, "%", source, tuple(conditions)))
    if rating.band_low_hz is not None and rating.band_high_hz is not None:
        band = f"{rating.band_low_hz:g} Hz to {rating.band_high_hz:g} Hz"
        wanted = (Condition("band", band),)
        found.append(Limit("power_over_band_w", rating.power_w, None, "W", source, wanted))
    return tuple(found)


def advise(findings: Findings) -> Counsel:
    """Return what an experienced restorer would say of these curves."""
    answers = findings.answers
    impossible = _impossible(findings)
    if impossible is not None:
        return impossible
    powers = [f"power_at_rated_thd_{n}_w" for n in CHANNELS]
    if any(findings.verdict(key) is Verdict.NOT_COMPARABLE for key in powers):
        reasons = {f.reason for k in powers for f in findings.of(k) if f.reason}
        return Counsel.of(
            AdviceKind.REMEASURE,
            f"Not taken as the rating states it: {'; '.join(sorted(reasons))}.",
            next_step="record again under the rating's own conditions",
        )
    short = [n for n in CHANNELS if findings.verdict(f"power_at_rated_thd_{n}_w") is Verdict.FAIL]
    dirty = [n for n in CHANNELS if findings.verdict(f"highest_thd_{n}_percent") is Verdict.FAIL]
    low_level = {n: thd for n in dirty if (thd := _low_level_thd(findings, n)) is not None}
    at_top = short or [n for n in dirty if n not in low_level]
    if low_level or at_top:
        return _combined(
            [_crossover(low_level)] if low_level else [],
            [_misses(at_top, findings)] if at_top else [],
        )
    if findings.verdict("tracking_db") is Verdict.FAIL:
        return _mistracks(findings)
    lost = _refused(answers)
    if lost:
        return Counsel.of(AdviceKind.REMEASURE, lost, next_step="lower the level and record again")
    return Counsel.of(
        AdviceKind.LEAVE,
        _healthy_words(findings),
        next_step="the same at the ends of the band, or on to the soak",
    )


def _impossible(findings: Findings) -> Counsel | None:
    """Power that the rails cannot give is a reading or scale error."""
    answers = findings.answers
    rail = answers.number("rail")
    volts = rail.value if rail else (answers.spec.rail_v if answers.spec else None)
    if volts is None:
        return None
    for name in CHANNELS:
        value = findings.value(f"power_at_1_percent_{name}_w")
        load = answers.number(f"load_{name}") or answers.number("load_left")
        ohms = load.value if load else 8.0
        peak = math.sqrt(2 * value.value * ohms) if value else 0.0
        if peak > 1.05 * abs(volts):
            return Counsel.of(
                AdviceKind.REMEASURE,
                f"{name} {write(value.value if value else 0.0, 'W')} would need "
                f"±{peak:.0f} V rails; there are ±{abs(volts):.0f} V. Check the scale: "
                "rms, peak or peak to peak.",
                causes=(
                    Cause(
                        "reading or scale error",
                        (f"±{peak:.0f} V cannot come from the rails",),
                    ),
                ),
                next_step="one reading of the output volts with a second meter",
            )
    return None


def _low_level_thd(findings: Findings, name: str) -> float | None:
    """Return a channel's highest distortion below a quarter of its rating, if it is too much."""
    rating = _rating(findings.answers)
    if rating is None or rating.thd_percent is None:
        return None
    ramp = findings.answers.capture("recording", RampAnalysis)
    channels = _from_recording(ramp, findings.answers) if ramp else _from_spots(findings.answers)
    curve = next(c.curve for c in channels if c.name == name)
    points = zip(curve.power_w, curve.thd_percent, strict=True)
    lowest = rating.from_power_w or 0.0
    low = [thd for power, thd in points if lowest <= power <= rating.power_w / 4]
    return max(low) if low and max(low) > rating.thd_percent else None


def _combined(*groups: list[Counsel]) -> Counsel:
    """Return several pieces of counsel as one: two faults are two faults."""
    counsels = [counsel for group in groups for counsel in group]
    return Counsel(
        tuple(advice for counsel in counsels for advice in counsel.advice),
        tuple(cause for counsel in counsels for cause in counsel.causes),
        counsels[0].next_step,
    )


def _crossover(thd_by_name: dict[str, float]) -> Counsel:
    shown = " and ".join(f"{name} {write(thd, '%')}" for name, thd in thd_by_name.items())
    return Counsel.of(
        AdviceKind.ADJUST,
        f"{shown} at low power, where it should be cleanest: the halves hand over badly. "
        "Read the idle current first; adjust it only if it is outside its range, warm.",
        causes=(
            Cause(
                "crossover distortion: under-biased stage",
                (f"distortion falls as power rises, {' and '.join(thd_by_name)}",),
                (),
                "idle current of that channel, warm",
            ),
        ),
        next_step="idle current, warm, both channels",
    )


def _misses(names: list[str], findings: Findings) -> Counsel:
    rating = _rating(findings.answers)
    parts = []
    for name in names:
        value = findings.value(f"power_at_rated_thd_{name}_w")
        if value is not None and rating is not None:
            short = 10 * math.log10(value.value / rating.power_w)
            parts.append(f"{name} {write(value.value, 'W')} ({short:+.2f} dB)")
    shown = " and ".join(parts) or " and ".join(names)
    both = len(names) == 2
    cause = Cause(
        "supply sags, or mains below the nameplate" if both else "that channel's own stage",
        (f"{shown} against the rating",),
        () if both else ("the other channel on the same supply meets it",),
        "mains and rail volts at rated power"
        if both
        else "rails and drive beside the good channel",
    )
    return Counsel.of(
        AdviceKind.REMEASURE,
        f"Misses its rating: {shown}. Read mains and rails at that power before you blame a part.",
        causes=(cause,),
        next_step=cause.next_reading,
    )


def _mistracks(findings: Findings) -> Counsel:
    found = findings.of("tracking_db")[0].result
    shown = write(found.value.value, "dB") if found.value else ""
    return Counsel.of(
        AdviceKind.PLAN,
        f"The channels differ by up to {shown} {found.reason}: clean the control, and "
        "swap the inputs to tell control, amplifier and source apart.",
        causes=(
            Cause(
                "volume control, or one channel's gain",
                (f"{shown} {found.reason}",),
                (),
                "the same with left and right inputs swapped",
            ),
        ),
        next_step="repeat with the inputs swapped",
    )


def _healthy_words(findings: Findings) -> str:
    parts: list[str] = []
    rating = _rating(findings.answers)
    key = "rated_thd" if rating else "1_percent"
    for name in CHANNELS:
        found = findings.of(f"power_at_{key}_{name}_w")
        if not found or found[0].result.value is None:
            continue
        sign = "at least " if found[0].result.bound is Bound.AT_LEAST else ""
        parts.append(f"{name} {sign}{write(found[0].result.value.value, 'W')}")
    text = " and ".join(parts)
    near = any(
        f.verdict is Verdict.UNDECIDED and f.result.key.startswith("power") for f in findings.all
    )
    if rating is None and text:
        text += " at 1 %"
    if rating is not None and text:
        word = "meets it, within measuring error" if near else "meets its rating"
        text = (
            f"{text} at {_rated_thd(findings.answers):g} %: {word} of {write(rating.power_w, 'W')}"
        )
    tracking = findings.value("tracking_db")
    if tracking is not None:
        words = "inaudible" if abs(tracking.value) <= INAUDIBLE_DB + 0.005 else "harmless"
        text = (
            text + "; " if text else ""
        ) + f"tracking within {abs(tracking.value):.2f} dB, {words}"
    flat_then_steep = any(
        f.result.key.startswith("knee") and f.result.value is not None for f in findings.all
    )
    knee_words = " A flat curve with a steep knee is healthy class AB." if flat_then_steep else ""
    return f"{text or 'Nothing is wrong with these figures'}. Leave it alone.{knee_words}"


def _relative_u(answers: Answers, name: str) -> float:
    """Return the relative standard uncertainty of power: twice the volts', and the load's."""
    volts = answers.number(f"full_scale_{name}") or answers.number("full_scale_left")
    load = answers.number(f"load_{name}") or answers.number("load_left")
    calibration = answers.number("calibration_percent")
    relative = (calibration.value if calibration else 1.0) / 100 / math.sqrt(3)
    return math.hypot(2 * relative if volts else 0.0, load.relative if load else 0.0)


def _from_spots(answers: Answers) -> list[_Channel]:
    noisy = answers.choice("meter_reads") != "thd"
    channels = []
    for name, channel in CHANNELS.items():
        rows = [r for r in answers.table("spots") if r["channel"] == channel]
        points = [
            (power.value, thd.value)
            for r in rows
            if isinstance(power := r["power"], Measured)
            and isinstance(thd := r["thd"], Measured)
            and power.value > 0
        ]
        if not points:
            continue
        relative = max(r["power"].relative for r in rows if isinstance(r["power"], Measured))
        load = answers.number(f"load_{name}") or answers.number("load_left")
        floor = answers.number("meter_floor_percent")
        curve = PowerCurve.of(points)
        channels.append(
            _Channel(
                name,
                curve,
                math.hypot(relative, load.relative if load else 0.0),
                load.value if load else 8.0,
                answers.answered("spots", f"load_{name}", "load_left"),
                True,
                noisy,
                (curve.power_w, (floor.value,) * len(points)) if floor else None,
            )
        )
    return channels


def _typed_pairs(answers: Answers) -> list[tuple[float, float]]:
    pairs = [
        (left.value, tracking_db(left.value, right.value))
        for r in answers.table("tracking")
        if isinstance(left := r["left"], Measured) and isinstance(right := r["right"], Measured)
    ]
    if pairs:
        return pairs
    watts = {
        channel: [
            power.value
            for row in answers.table("spots")
            if row["channel"] == channel and isinstance(power := row["power"], Measured)
        ]
        for channel in CHANNELS.values()
    }
    lefts, rights = watts[Channel.LEFT], watts[Channel.RIGHT]
    if len(lefts) != len(rights):
        return []
    found = [(a, tracking_db(a, b)) for a, b in zip(lefts, rights, strict=True)]
    # Spots of the two channels belong to one volume setting only where they lie close together.
    return found if all(abs(difference) < 3 for _, difference in found) else []


def _from_recording(ramp: RampAnalysis, answers: Answers) -> list[_Channel]:
    setup = _setup(answers)
    channels = []
    for name, channel in CHANNELS.items():
        found = ramp.channels.get(channel)
        if found is None or not found.valid or not found.curve:
            continue
        points = [(p.power_w, p.thd_percent) for p in found.curve if p.thd_percent is not None]
        if not points:
            continue
        curve = smoothed(points)
        measured = {
            criterion: crossing
            for criterion, by_channel in ramp.power_at_thd.items()
            if channel in by_channel and (crossing := _crossing_of(by_channel[channel])) is not None
        }
        floor = None
        if found.noise_floor_dbfs is not None:
            noise_v = setup.volts(channel) * 10 ** (found.noise_floor_dbfs / 20)
            ohms = setup.ohms(channel)
            floor = (
                curve.power_w,
                tuple(100 * noise_v / math.sqrt(watt * ohms) for watt in curve.power_w),
            )
        channels.append(
            _Channel(
                name,
                curve,
                _relative_u(answers, name),
                setup.ohms(channel),
                ("recording", f"full_scale_{name}", "full_scale_left", f"load_{name}", "load_left"),
                spots=False,
                floor=floor,
                polarity=found.first_clipping or "",
                measured=measured,
            )
        )
    return channels


def _crossing_of(found: PowerAtThd) -> Crossing | None:
    if found.reached and found.power_w is not None:
        return Crossing(found.power_w, found.power_w, found.power_w, True)
    if found.at_least_w is not None:
        return Crossing(found.at_least_w, found.at_least_w, found.at_least_w, False)
    return None


def _recorded_pairs(ramp: RampAnalysis, answers: Answers) -> list[tuple[float, float]]:
    """Return (left watts, right over left in decibels) below clipping, half a decibel apart."""
    setup = _setup(answers)
    calibration = 20 * math.log10(setup.volts("R") / setup.volts("L"))
    at_one = ramp.power_at_thd.get("1", {}).values()
    clean_w = min((p.power_w for p in at_one if p.power_w is not None), default=math.inf)
    points = [
        (watt, point.tracking_db_r_minus_l + calibration)
        for point in ramp.tracking
        if (watt := setup.power_w("L", 10 ** (point.level_dbfs_peak / 20))) < 0.9 * clean_w
    ]
    return list(zip(*_columns(smoothed(points)), strict=True)) if points else []


def _columns(curve: PowerCurve) -> tuple[tuple[float, ...], tuple[float, ...]]:
    return curve.power_w, curve.thd_percent


def _refused(answers: Answers) -> str:
    """Return why a channel of the recording gives no figure, or an empty text."""
    ramp = answers.capture("recording", RampAnalysis)
    if ramp is None:
        return ""
    return "; ".join(
        f"{name}: {_REASONS.get(found.reason or '', found.reason or 'no figure')}"
        for name, channel in CHANNELS.items()
        if (found := ramp.channels.get(channel)) is not None and not found.valid
    )


_REASONS = {
    "adc-overload": "the recorder was overloaded, so this channel gives no figure",
    "silence": "nothing was recorded in this channel",
}


def _figures(
    channels: list[_Channel], pairs: list[tuple[float, float]], answers: Answers
) -> tuple[Figure, ...]:
    figures: list[Figure] = []
    if channels:
        figures.append(_distortion_figure(channels, answers))
    if pairs:
        figures.append(_tracking_figure(pairs))
    return tuple(figures)


def _distortion_figure(channels: list[_Channel], answers: Answers) -> CurveFigure:
    marks: list[Mark] = []
    rating = _rating(answers)
    if rating is not None:
        marks.append(Mark("rated power", "x", rating.power_w))
        if rating.thd_percent is not None:
            marks.append(Mark("rated distortion", "y", rating.thd_percent))
    traces = []
    for channel in channels:
        curve = channel.curve
        traces.append(
            Trace(
                channel.name.capitalize(),
                curve.power_w,
                curve.thd_percent,
                CHANNELS[channel.name],
                points=channel.spots,
                at_most=curve.at_most,
            )
        )
        if channel.floor:
            traces.append(Trace(f"measuring floor, {channel.name}", *channel.floor))
    return CurveFigure(
        "distortion",
        "Distortion against power",
        Axis("power", "W", logarithmic=True),
        Axis("THD+N" if channels[0].noisy else "THD", "%", logarithmic=True),
        tuple(traces),
        marks=tuple(marks),
    )


def _tracking_figure(pairs: list[tuple[float, float]]) -> CurveFigure:
    ordered = sorted(pairs)
    return CurveFigure(
        "tracking",
        "Channel tracking against power",
        Axis("power, left", "W", logarithmic=True),
        Axis("right over left", "dB"),
        (
            Trace(
                "Right over left",
                tuple(watt for watt, _ in ordered),
                tuple(difference for _, difference in ordered),
                points=len(ordered) <= 20,
            ),
        ),
        marks=(
            Mark("common practice", "y", TRACKING_DB),
            Mark("common practice", "y", -TRACKING_DB),
        ),
    )


def _volts(key: str, prompt: str, *, default: str | None = None) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit="V", low=0.001, high=10_000, default=default)


def _ohms(key: str, prompt: str) -> NumberInput:
    return NumberInput(key=key, prompt=prompt, unit="Ω", low=0.5, high=1000, by_meter=True)


def _watts_input(key: str, prompt: str) -> NumberInput:
    return NumberInput(
        key=key,
        prompt=prompt,
        unit="W",
        low=1e-6,
        high=5000,
        by_meter=True,
        assumed_percent=3,
        assumed_counts=1,
    )


CHECK = Check(
    id="volume-ramp",
    title="Volume ramp",
    stage=Stage.POWER,
    power_states=(PowerState.DRIVEN,),
    why="One slow turn of the volume into dummy loads shows power, distortion at each power, where "
    "it goes over, and whether the channels track.",
    cautions=(
        "Dummy loads burn: they get hot enough to blister and to set fire to paper.",
        "Prove the DC offset before a load goes on. No speaker during this test.",
        "Check that the black terminals are ground before a grounded instrument goes on: bridged, "
        "inverted and floating outputs are destroyed by it.",
        "At full power only for seconds. Local rules and licensed practice come first.",
    ),
    steps=(
        "Measure both loads, hot, with the meter's lead resistance taken off.",
        "Divider between output and interface: its peak volts at full scale stay above the rails.",
        "A steady tone near 1 kHz into both channels; 997 Hz keeps clear of hum lines and of "
        "16-bit artefacts.",
        "Record from silence. Turn the volume up slowly, pausing a second every few decibels, to "
        "just past the onset of clipping; then down at once.",
        "Or read power and distortion off a meter at eight or more levels and type them as pairs.",
    ),
    inputs=(
        CaptureInput(key="recording", prompt="The recording", analysis="ramp", setup=_setup),
        _volts("full_scale_left", "Peak volts at digital full scale, left"),
        _volts("full_scale_right", "The same, right, if it differs"),
        NumberInput(
            key="calibration_percent",
            prompt="How well those volts are known",
            unit="%",
            low=0,
            high=20,
            default="1",
        ),
        _ohms("load_left", "Load as measured, left"),
        _ohms("load_right", "Load as measured, right, if it differs"),
        NumberInput(
            key="nominal_hz",
            prompt="Frequency of the tone",
            unit="Hz",
            low=10,
            high=40_000,
            default="1000",
        ),
        ChoiceInput(
            key="channels_driven",
            prompt="Channels driven together",
            choices=(Choice("both", "Both"), Choice("one", "One at a time")),
            default="both",
        ),
        NumberInput(
            key="mains", prompt="Mains during the test", unit="V", low=80, high=280, by_meter=True
        ),
        NumberInput(key="rail", prompt="Rail voltage", unit="V", low=5, high=200, by_meter=True),
        TableInput(
            key="spots",
            prompt="Spots read off a meter: channel, power, distortion",
            columns=(
                ChoiceInput(
                    key="channel",
                    prompt="Channel",
                    choices=(Choice("L", "left"), Choice("R", "right")),
                ),
                _watts_input("power", "Power"),
                NumberInput(
                    key="thd",
                    prompt="Distortion",
                    unit="%",
                    low=1e-6,
                    high=100,
                    by_meter=True,
                    assumed_percent=5,
                    assumed_counts=1,
                ),
            ),
        ),
        TableInput(
            key="tracking",
            prompt="Power of both channels at one volume setting each: left, right",
            columns=(_watts_input("left", "Left"), _watts_input("right", "Right")),
        ),
        ChoiceInput(
            key="meter_reads",
            prompt="What the distortion meter reads",
            choices=(Choice("thd+n", "Everything but the tone"), Choice("thd", "Harmonics only")),
            default="thd+n",
        ),
        NumberInput(
            key="meter_floor_percent",
            prompt="The meter's own residue",
            unit="%",
            low=1e-6,
            high=10,
        ),
        TextInput(key="meter_filter", prompt="Filters in use on the meter"),
    ),
    results=(
        *(
            ResultKey(f"{key}_{name}_{unit}", f"{title}, {name}", symbol)
            for name in CHANNELS
            for key, title, unit, symbol in (
                ("power_at_rated_thd", "power at rated distortion", "w", "W"),
                ("power_at_1_percent", "power at 1 %", "w", "W"),
                ("knee", "knee", "w", "W"),
                ("highest_thd", "highest distortion up to the rated power", "percent", "%"),
            )
        ),
        ResultKey("tracking_db", "right over left, worst", "dB"),
        ResultKey("power_over_band_w", "rated power over the whole rated band", "W"),
    ),
    measure=measure,
    limits=limits,
    advise=advise,
    examples=(
        Example(
            title="Channels alike at three levels",
            source="common practice, no source",
            answers={"tracking": "0.267 W 0.255 W; 6.7 W 6.57 W; 33.5 W 33.3 W"},
            values={"tracking_db": (-0.1998, 0.001)},
            verdicts={"tracking_db": Verdict.PASS},
            advice=(AdviceKind.LEAVE,),
            never=(AdviceKind.PLAN, AdviceKind.ADJUST),
        ),
        Example(
            title="“50 V RMS” from a 120 W amplifier with ±55 V rails",
            source="forums.audioreview.com/amps-preamps/need-advice-5449-prev-thread.html",
            answers={"spots": "L 312 W 0.5 %; R 312 W 0.5 %", "load_left": "8.0", "rail": "55"},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE, AdviceKind.REPLACE),
            cause="reading or scale error",
        ),
        Example(
            title="22 W against a 24 W rating, −0.38 dB",
            source="docslib.org/doc/8033059; its one channel",
            answers={
                "spots": "L 1.00 W 0.10 %; L 10.0 W 0.10 %; L 21.9 W 0.45 %; L 22.1 W 0.55 %",
                "load_left": "8.00",
                "channels_driven": "both",
            },
            spec='maker = "Example"\nmodel = "One"\n[[rating]]\npower = "24 W"\nload = "8 ohm"\n'
            'channels_driven = "both"\nthd = "0.5 %"\nsource = "leaflet"\n',
            values={"power_at_rated_thd_left_w": (22.0, 0.1)},
            verdicts={"power_at_rated_thd_left_w": Verdict.FAIL},
            advice=(AdviceKind.REMEASURE,),
            never=(AdviceKind.LEAVE,),
        ),
    ),
    sources=(
        "Tracking: oreilly.com/library/view/small-signal-audio/9780240521770 ch. 9",
        "Rating rules: 16 CFR 432 (edocket.access.gpo.gov/cfr_2006/janqtr/16cfr432.3.htm)",
        "Power arithmetic: diyaudio.com/community/threads/3946",
        "Crossover residue or noise at low power: audiosciencereview.com thread 62954 p. 648",
        "The class-AB knee: common practice, no source",
    ),
    needs=(24, 25, 31, 32, 33, 38, 44, 55),
)
