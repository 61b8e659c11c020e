"""An analysis as one plain document, ready to be printed as JSON."""

from __future__ import annotations

from typing import assert_never

from backtospec.analysis.distortion import Distortion
from backtospec.analysis.document_parts import Document, head, known, note_list
from backtospec.analysis.ramp import ChannelRamp, RampAnalysis, Step
from backtospec.analysis.thresholds import PowerAtThd
from backtospec.analysis.tone import ChannelTone, ToneAnalysis


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
        ),
        **(_distortion(tone.distortion) if tone.distortion else {}),
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
