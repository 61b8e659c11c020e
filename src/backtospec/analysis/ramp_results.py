"""What a recorded volume ramp comes to: its plateaus, its curves, and its power at a THD."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar, Literal

from backtospec.analysis.notes import FileFacts, Note
from backtospec.analysis.quality import CrestLoss
from backtospec.analysis.thresholds import PowerAtThd
from backtospec.analysis.tone import ChannelTone


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Distortion and level at one moment of a ramp, or on one plateau.

    ``thd_percent`` counts every harmonic and is ``None`` where noise hides it; ``thdn_percent``
    is taken over the lowest band, relative to the fundamental.
    """

    time_s: float
    level_dbfs_peak: float
    power_w: float
    thd_percent: float | None
    thdn_percent: float | None
    plateau: bool


@dataclass(frozen=True, slots=True)
class TrackingPoint:
    """Right minus left in decibels, with the left channel's level, at one moment."""

    time_s: float
    level_dbfs_peak: float
    tracking_db_r_minus_l: float


@dataclass(frozen=True, slots=True)
class Step:
    """One plateau: constant volume.

    Parameters
    ----------
    start_s, end_s
        Edges, to about 0.03 s.
    channels
        Figures by channel, as for a steady tone.
    tracking_db_r_minus_l
        ``None`` without two valid channels.
    clean
        First sample of its longest clean stretch and one past the last: what to read again for a
        closer look at this moment, such as the residual over one cycle.
    """

    start_s: float
    end_s: float
    channels: Mapping[str, ChannelTone]
    tracking_db_r_minus_l: float | None
    tracking_db_r_minus_l_u: float | None
    clean: tuple[int, int]


@dataclass(frozen=True, slots=True)
class ChannelRamp:
    """One channel of a ramp; without a figure where ``valid`` is false.

    Parameters
    ----------
    valid, reason
        Whether the channel may be believed; else ``adc-overload`` or ``silence``.
    frequency_hz
        Fitted frequency, shared by the channels.
    dc_v, noise_floor_dbfs
        Mean; and 20·log10 of the rms of what is left, over the quietest plateau.
    curve
        Level, power and distortion against time, at most 2000 points.
    thd_floor_percent, thd_floor_power_w
        Lowest THD (H2…H10) of a plateau, and where.
    knee_level_dbfs_peak, knee_power_w
        Where THD has doubled over its flat part; ``None`` when it never does.
    first_clipping
        Which crest gives way first, as recorded: ``positive``, ``negative`` or ``symmetric``;
        ``None`` when nothing clips.
    crest_loss
        What both crests lose there, relative to the fundamental.
    """

    valid: bool
    reason: str | None = None
    frequency_hz: float | None = None
    dc_v: float | None = None
    noise_floor_dbfs: float | None = None
    curve: tuple[CurvePoint, ...] = ()
    thd_floor_percent: float | None = None
    thd_floor_power_w: float | None = None
    knee_level_dbfs_peak: float | None = None
    knee_power_w: float | None = None
    first_clipping: str | None = None
    crest_loss: CrestLoss | None = None


@dataclass(frozen=True, slots=True)
class RampAnalysis:
    """A recorded volume ramp, analysed.

    Parameters
    ----------
    file
        Length, rate and resolution.
    channels
        By name: ``L`` and ``R``, or ``M``.
    steps
        Plateaus in order of time.
    power_at_thd
        By THD in percent (``"1"``, ``"10"``, the rated one), then by channel.
    tracking
        Right minus left at every level, ramps included, at most 2000 points.
    clock_ppm
        Frequency in the file over nominal, minus one, in parts per million.
    tone_start_s, tone_end_s
        Where the tone plays.
    notes
        Remarks.
    """

    kind: ClassVar[Literal["ramp"]] = "ramp"
    file: FileFacts
    channels: Mapping[str, ChannelRamp]
    steps: tuple[Step, ...] = ()
    power_at_thd: Mapping[str, Mapping[str, PowerAtThd]] = field(default_factory=dict)
    tracking: tuple[TrackingPoint, ...] = ()
    clock_ppm: float | None = None
    clock_ppm_u: float | None = None
    tone_start_s: float | None = None
    tone_end_s: float | None = None
    notes: tuple[Note, ...] = ()

    def step_at(self, at_s: float) -> Step | None:
        """Return the plateau that holds a moment, ``None`` where the level moves."""
        return next((step for step in self.steps if step.start_s <= at_s < step.end_s), None)
