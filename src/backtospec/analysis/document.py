"""An analysis as one plain document, ready to be printed as JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import assert_never

import numpy as np

from backtospec.analysis.distortion import Distortion
from backtospec.analysis.document_parts import Document, head, known, note_list
from backtospec.analysis.notes import Note
from backtospec.analysis.output_resistance import OutputResistance
from backtospec.analysis.ramp import ChannelRamp, RampAnalysis, Step
from backtospec.analysis.residual import ResidualCycle
from backtospec.analysis.thresholds import PowerAtThd
from backtospec.analysis.tone import ChannelTone, ToneAnalysis
from backtospec.analysis.tone_crosscheck import CrossCheck
from backtospec.analysis.tone_crosstalk import Crosstalk


def as_document(analysis: ToneAnalysis | RampAnalysis) -> Document:
    """Return an analysis as nested dictionaries, lists, numbers and text.

    Parameters
    ----------
    analysis
        A steady tone or a volume ramp.

    Notes
    -----
    Keys carry their unit. ``…_u`` is a standard uncertainty, ``…_at_most`` a bound where only a
    bound is honest. A figure that is not known is left out; no NaN or infinity occurs.
    """
    match analysis:
        case ToneAnalysis():
            return _tone(analysis)
        case RampAnalysis():
            return _ramp(analysis)
        case _:
            assert_never(analysis)


def _tail(analysis: ToneAnalysis | RampAnalysis) -> Document:
    return {
        **known(
            clock_ppm=analysis.clock_ppm,
            clock_ppm_u=analysis.clock_ppm_u,
            tone_start_s=analysis.tone_start_s,
            tone_end_s=analysis.tone_end_s,
        ),
        "notes": note_list(analysis.notes),
    }


def _tone(analysis: ToneAnalysis) -> Document:
    return {
        **head(analysis.kind, analysis.file),
        "channels": {name: channel_of_tone(tone) for name, tone in analysis.channels.items()},
        **known(
            tracking_db_r_minus_l=analysis.tracking_db_r_minus_l,
            tracking_db_r_minus_l_u=analysis.tracking_db_r_minus_l_u,
            mains_hz=analysis.mains_hz,
            mains_hz_u=analysis.mains_hz_u,
        ),
        **_tail(analysis),
    }


def channel_of_tone(tone: ChannelTone) -> Document:
    """Return one channel of a steady tone as a document holds it."""
    return {
        "valid": tone.valid,
        "reason": tone.reason,
        **known(
            frequency_hz=tone.frequency_hz,
            frequency_hz_u=tone.frequency_hz_u,
            level_dbfs_peak=tone.level_dbfs_peak,
            level_dbfs_peak_u=tone.level_dbfs_peak_u,
            fundamental_vrms=tone.fundamental_vrms,
            fundamental_vrms_u=tone.fundamental_vrms_u,
            power_w=tone.power_w,
            power_w_u=tone.power_w_u,
            dc_v=tone.dc_v,
            dc_v_u=tone.dc_v_u,
            noise_floor_dbfs=tone.noise_floor_dbfs,
            driven=tone.driven,
        ),
        **(_crosstalk(tone.crosstalk) if tone.crosstalk else {}),
        **(_distortion(tone.distortion) if tone.distortion else {}),
        **({"cross_check": _cross_check(tone.check)} if tone.check else {}),
        **({"cycle": cycle_document(tone.cycle, tone.fundamental_vrms)} if tone.cycle else {}),
    }


def with_output_resistance(
    document: Document, found: Mapping[str, OutputResistance], notes: tuple[Note, ...]
) -> Document:
    """Return the document of a tone on its load with what an open recording beside it tells.

    Parameters
    ----------
    document
        Of the loaded recording.
    found
        By channel.
    notes
        On channels that gave none.
    """
    channels = {
        name: channel | (_resistance(found[name]) if name in found else {})
        for name, channel in document["channels"].items()
    }
    return {**document, "channels": channels, "notes": document["notes"] + note_list(notes)}


def _resistance(found: OutputResistance) -> Document:
    damping = found.damping_factor
    told = damping is not None
    return known(
        output_resistance_ohm=found.ohm.value if told else None,
        output_resistance_ohm_u=found.ohm.u if told else None,
        output_resistance_ohm_at_most=found.ohm_at_most,
        damping_factor=damping.value if damping else None,
        damping_factor_u=damping.u if damping else None,
        damping_factor_at_least=found.damping_factor_at_least,
    )


def _crosstalk(found: Crosstalk) -> Document:
    return known(
        crosstalk_db=found.db,
        crosstalk_db_u=found.db_u,
        crosstalk_db_at_most=found.db_at_most,
        crosstalk_phase_deg=found.phase_deg,
        crosstalk_phase_deg_u=found.phase_deg_u,
    )


def _cross_check(check: CrossCheck) -> Document:
    return {
        "window": "flat-top",
        "agrees": not check.differing,
        "difference_db": {str(k): line.difference_db for k, line in check.lines.items()},
        "limit_db": {str(k): line.limit_db for k, line in check.lines.items()},
    }


def cycle_document(cycle: ResidualCycle, fundamental_vrms: float | None) -> Document:
    """Return the average residual of a cycle as a document holds it.

    Parameters
    ----------
    cycle
        As read.
    fundamental_vrms
        Of the fundamental; the residual is then in volts.
    """
    peak_v = math.sqrt(2) * (fundamental_vrms or 0.0)
    return {
        "phase_deg": cycle.phase_deg.tolist(),
        "fundamental": np.sin(np.deg2rad(cycle.phase_deg)).tolist(),
        "residual_v": (peak_v * cycle.residual).tolist(),
        "residual_v_u": (peak_v * cycle.residual_u).tolist(),
        "shape": cycle.shape,
        "locked_shape": cycle.locked_shape,
        "text": cycle.text,
        "evidence": list(cycle.evidence),
        "confidence": cycle.confidence,
        "sure": cycle.sure,
        "locked_percent": cycle.locked_percent,
        "hum_percent": cycle.hum_percent,
        "noise_percent": cycle.noise_percent,
    }


def _distortion(found: Distortion) -> Document:
    return known(
        thd_percent=found.thd_percent,
        thd_percent_u=found.thd_percent_u,
        thd_percent_at_most=found.thd_percent_at_most,
        thd_db=found.thd_db,
        thd_db_u=found.thd_db_u,
        thd_db_at_most=found.thd_db_at_most,
        thd_harmonics=list(found.thd_harmonics),
        thd_all_percent=found.thd_all_percent,
        thd_all_percent_at_most=found.thd_all_percent_at_most,
        harmonics_db=found.harmonics_db,
        harmonics_db_u=found.harmonics_db_u,
        harmonics_db_at_most=found.harmonics_db_at_most,
        thdn_percent=found.thdn_percent,
        thdn_db=found.thdn_db,
        thdn_percent_re_total=found.thdn_percent_re_total,
        snr_db=found.snr_db,
        weighting_detector="rms" if "A" in found.snr_db else None,
        hum_db=found.hum_db,
        hum_db_u=found.hum_db_u,
        spurs_db=found.spurs_db,
    )


def _ramp(analysis: RampAnalysis) -> Document:
    return {
        **head(analysis.kind, analysis.file),
        "channels": {name: _ramp_channel(one) for name, one in analysis.channels.items()},
        "steps": [_step(step) for step in analysis.steps],
        "power_at_thd": {
            percent: {name: _power(found) for name, found in channels.items()}
            for percent, channels in analysis.power_at_thd.items()
        },
        "tracking": [
            {
                "time_s": point.time_s,
                "level_dbfs_peak": point.level_dbfs_peak,
                "tracking_db_r_minus_l": point.tracking_db_r_minus_l,
            }
            for point in analysis.tracking
        ],
        **_tail(analysis),
    }


def _ramp_channel(channel: ChannelRamp) -> Document:
    return {
        "valid": channel.valid,
        "reason": channel.reason,
        **known(
            frequency_hz=channel.frequency_hz,
            dc_v=channel.dc_v,
            noise_floor_dbfs=channel.noise_floor_dbfs,
            thd_floor_percent=channel.thd_floor_percent,
            thd_floor_power_w=channel.thd_floor_power_w,
            knee_level_dbfs_peak=channel.knee_level_dbfs_peak,
            knee_power_w=channel.knee_power_w,
            first_clipping=channel.first_clipping,
        ),
        "curve": [
            {
                **known(
                    time_s=point.time_s,
                    level_dbfs_peak=point.level_dbfs_peak,
                    power_w=point.power_w,
                    thd_percent=point.thd_percent,
                    thdn_percent=point.thdn_percent,
                ),
                "plateau": point.plateau,
            }
            for point in channel.curve
        ],
    }


def _step(step: Step) -> Document:
    return {
        "start_s": step.start_s,
        "end_s": step.end_s,
        "channels": {name: channel_of_tone(tone) for name, tone in step.channels.items()},
        **known(
            tracking_db_r_minus_l=step.tracking_db_r_minus_l,
            tracking_db_r_minus_l_u=step.tracking_db_r_minus_l_u,
        ),
    }


def _power(found: PowerAtThd) -> Document:
    return {
        "reached": found.reached,
        **known(
            power_w=found.power_w,
            power_w_u=found.power_w_u,
            level_dbfs_peak=found.level_dbfs_peak,
            at_least_w=found.at_least_w,
            at_most_w=found.at_most_w,
        ),
    }
