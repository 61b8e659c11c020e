"""One run of a check: from text and files to what follows from them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from backtospec.check import (
    Analysed,
    Answers,
    CaptureInput,
    Check,
    Conclusion,
    PhotoInput,
    Series,
    SeriesInput,
    conclude,
    read_answers,
)
from backtospec.errors import BenchError, Question
from backtospec.records import Meter, PowerState, SpecSheet
from backtospec.sources.photos import refuse_no_picture

if TYPE_CHECKING:
    from backtospec.analysis.setup import CaptureSetup
    from backtospec.sources.log_files import Series as LogSeries

Analyse: TypeAlias = "Callable[[Path, str, CaptureSetup], Analysed]"


@dataclass(frozen=True, slots=True)
class Given:
    """All that a person gave for one run of a check.

    Parameters
    ----------
    texts
        Typed answers by input key.
    files
        Logs and recordings by input key.
    file_names
        The names people know the files by, where the path itself does not carry it.
    told
        What was answered to questions about a log, by input key and by what was asked about.
    analyse
        Analyses a recording, or remembers how it was analysed before.
    """

    texts: Mapping[str, str]
    files: Mapping[str, Path] = field(default_factory=dict)
    file_names: Mapping[str, str] = field(default_factory=dict)
    spec: SpecSheet | None = None
    meter: Meter | None = None
    power_state: PowerState | None = None
    told: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    analyse: Analyse = field(default_factory=lambda: analyse_path)

    def name_of(self, key: str) -> str:
        """Return the name of a file as the person knows it."""
        return self.file_names.get(key, self.files[key].name)


def read_given(check: Check, given: Given) -> Answers:
    """Return the answers to a check, with every log read and every recording analysed.

    Raises
    ------
    BenchError
        For anything unusable; all faults of the form at once.
    """
    inputs = {item.key: item for item in check.inputs}
    for key in given.files:
        if not isinstance(inputs.get(key), _FROM_FILE):
            accepted = [k for k, i in inputs.items() if isinstance(i, _FROM_FILE)]
            raise BenchError(
                "takes no file." if key in inputs else "is no input of this check.",
                key,
                f"Give a file to {' or '.join(accepted)}." if accepted else "Type the answer.",
            )
    series = {
        key: _read_series(item, given)
        for key, item in inputs.items()
        if isinstance(item, SeriesInput) and key in given.files
    }
    names = {key: given.name_of(key) for key in given.files}
    answers = read_answers(
        check.inputs,
        {**given.texts, **names},
        series=series,
        spec=given.spec,
        meter=given.meter,
        power_state=given.power_state,
    )
    captures: dict[str, Analysed] = {}
    for key, item in inputs.items():
        if isinstance(item, CaptureInput) and key in answers.texts:
            if key not in given.files:
                raise BenchError(
                    "is a sound file, not text.", key, f"Give it by --file {key}=PATH."
                )
            captures[key] = given.analyse(given.files[key], item.analysis, item.setup(answers))
        if isinstance(item, PhotoInput) and key in answers.texts:
            if key not in given.files:
                raise BenchError("is a picture, not text.", key, f"Give it by --file {key}=PATH.")
            refuse_no_picture(given.files[key], f"{key}, {given.name_of(key)}")
    return replace(answers, captures=captures)


_FROM_FILE = (CaptureInput, SeriesInput, PhotoInput)


def run(check: Check, given: Given) -> Conclusion:
    """Return what follows from one run of a check."""
    return conclude(check, read_given(check, given))


def analyse_path(path: Path, kind: str, setup: CaptureSetup) -> Analysed:
    """Return the analysis of a recording; the same one is not made twice in a row."""
    stat = path.stat() if path.exists() else None
    stamp = (stat.st_size, stat.st_mtime_ns) if stat else (0, 0)
    return _analyse_once(path, stamp, kind, setup)


@lru_cache(maxsize=32)
def _analyse_once(
    path: Path,
    stamp: tuple[int, int],  # noqa: ARG001 - a file that changed is analysed again
    kind: str,
    setup: CaptureSetup,
) -> Analysed:
    from backtospec.bench.captures import analyse_file

    return analyse_file(path, kind, setup)


def _read_series(item: SeriesInput, given: Given) -> Series:
    from backtospec.sources.log_files import LogOptions, read_logs

    told = given.told.get(item.key, {})
    options = LogOptions(
        unit=told.get("unit", item.unit),
        decimal=told.get("decimal_mark"),
        date_order=told.get("date_order"),
        time_zone=told.get("time_zone"),
        channels=(told["channel"],) if "channel" in told else (),
    )
    try:
        reading = read_logs([given.files[item.key]], options)
    except Question as question:
        question.faults = tuple(replace(f, where=item.key) for f in question.faults)
        raise
    wanted = [s for s in reading.series if item.channel in (None, s.channel)]
    chosen = wanted or [s for s in reading.series if s.channel is None]
    if len(chosen) != 1:
        found = ", ".join(str(s.channel or "no channel") for s in reading.series)
        raise BenchError(
            f"holds {len(reading.series)} series ({found}); one is needed.",
            f"{item.key}, {given.name_of(item.key)}",
            "Give a file with one series of that channel.",
        )
    return as_series(chosen[0])


def as_series(log: LogSeries) -> Series:
    """Return one series of a log in the form that checks read."""
    start = log.t0_s or 0.0
    return Series(
        tuple(start + t for t in log.elapsed_s),
        tuple(log.value),
        log.quantum or 0.0,
        log.unit,
        since_on=log.t0_s is not None,
        first_time=log.first_time,
    )
