"""What a check may ask for: a closed set of kinds, each declared as data.

Every surface handles each kind in a ``match`` that ends in ``assert_never``, so a new kind cannot
be forgotten anywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, TypeAlias

from backtospec.errors import Choice
from backtospec.records import Channel

if TYPE_CHECKING:
    from backtospec.analysis.setup import CaptureSetup
    from backtospec.check.answers import Answers


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberInput:
    """One number.

    Parameters
    ----------
    unit
        Assumed for a bare number; also the unit of ``low`` and ``high``.
    low, high
        Plausible range, inclusive.
    probed_at
        Point of measurement, for a reading.
    by_meter
        True where a meter shows it (its accuracy counts); False for a marking or a setting.
    assumed_percent, assumed_counts
        Accuracy taken where no meter is named (common practice for a hand meter, no source).
    tolerance_percent
        For a marking: its tolerance, where nothing better is known.
    """

    kind: ClassVar[str] = "number"
    key: str
    prompt: str
    unit: str
    low: float
    high: float
    channel: Channel | None = None
    probed_at: str = ""
    required: bool = False
    by_meter: bool = False
    assumed_percent: float = 0.5
    assumed_counts: float = 3.0
    tolerance_percent: float = 0.0
    default: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceInput:
    """One of a few answers."""

    kind: ClassVar[str] = "choice"
    key: str
    prompt: str
    choices: tuple[Choice, ...]
    required: bool = False
    default: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TextInput:
    """A few words, kept and shown, never judged."""

    kind: ClassVar[str] = "text"
    key: str
    prompt: str
    required: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesInput:
    """Readings over time, typed as ``20 s 4.5 mA; 15 min 1 mA`` or from a log file."""

    kind: ClassVar[str] = "series"
    key: str
    prompt: str
    unit: str
    low: float
    high: float
    channel: Channel | None = None
    probed_at: str = ""
    required: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TableInput:
    """Rows of numbers, choices and words, typed as ``L 1 W 0.02 %; L 10 W 0.018 %``.

    With words in a row its cells are set apart by ``|``. A cell that was not measured is left
    empty or holds ``-``; only a required column must be filled.
    """

    kind: ClassVar[str] = "table"
    key: str
    prompt: str
    columns: tuple[NumberInput | ChoiceInput | TextInput, ...]
    required: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureInput:
    """One sound file, which arrives analysed.

    Parameters
    ----------
    analysis
        The analysis it goes through, such as ``"ramp"`` or ``"tone"``.
    setup
        Builds calibration and loads from the other answers.
    """

    kind: ClassVar[str] = "capture"
    key: str
    prompt: str
    analysis: str
    setup: Callable[[Answers], CaptureSetup]
    required: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoInput:
    """A picture, kept and shown as evidence, never judged."""

    kind: ClassVar[str] = "photo"
    key: str
    prompt: str
    required: bool = False


Input: TypeAlias = (
    NumberInput | ChoiceInput | TextInput | SeriesInput | TableInput | CaptureInput | PhotoInput
)
