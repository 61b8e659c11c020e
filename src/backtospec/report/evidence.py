"""The readings a report rests on: each as it was taken, and one hash over all of them."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from dataclasses import asdict

from backtospec.bench.jobs import JobView, JudgedSitting
from backtospec.check import Input, NumberInput, TableInput
from backtospec.records import Channel, Meter, Reading
from backtospec.report.document import EvidenceGroup, EvidenceLine, Instrument
from backtospec.report.wording import POWER_STATES, accuracy_text, amount, listed, lowered, when

CHANNELS = {Channel.LEFT: "left", Channel.RIGHT: "right", Channel.MONO: "mono"}


def digest(readings: Iterable[Reading]) -> str:
    """Return the SHA-256 over the canonical JSON of readings, as 64 hexadecimal digits.

    Parameters
    ----------
    readings
        In any order; they are hashed in the order of their ids.

    Notes
    -----
    Canonical: all fields, keys sorted, no spaces, UTF-8, times in ISO 8601.
    """
    ordered = [asdict(reading) for reading in sorted(readings, key=lambda r: r.id)]
    text = json.dumps(
        ordered,
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        allow_nan=False,
        default=lambda moment: moment.isoformat(),
    )
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()


SUBJECTS = ("designator", "node", "position")
"""Answers that say which part or place a sitting is about."""


def title_of(sitting: JudgedSitting) -> str:
    """Return the title of the check with the part it is about, or what a sitting without one is."""
    if sitting.conclusion is None:
        return sitting.sitting.check_id or "Quick readings"
    texts = sitting.conclusion.answers.texts
    subjects = [texts[key] for key in SUBJECTS if key in texts]
    return " ".join((sitting.conclusion.check.title, *subjects))


def circumstances(sitting: JudgedSitting) -> str:
    """Return when, in which visit and in which power state a sitting was held."""
    state = sitting.sitting.power_state
    parts = [
        f"{sitting.sitting.visit} the work",
        POWER_STATES[state] if state else "power state not stated",
        when(sitting.sitting.taken_at),
    ]
    return " · ".join(parts)


def evidence_of(view: JobView) -> tuple[EvidenceGroup, ...]:
    """Return every reading of a job, sitting by sitting."""
    return tuple(
        EvidenceGroup(
            sitting.sitting.id,
            title_of(sitting),
            circumstances(sitting),
            when(sitting.sitting.taken_at),
            sitting.sitting.note,
            tuple(_line(reading) for reading in sitting.readings),
        )
        for sitting in view.sittings
    )


def _line(reading: Reading) -> EvidenceLine:
    minutes = reading.minutes_since_on
    corrects = f" (corrects {reading.supersedes})" if reading.supersedes else ""
    return EvidenceLine(
        reading.id,
        reading.key,
        CHANNELS[reading.channel] if reading.channel else "",
        reading.text + corrects,
        _understood(reading),
        reading.probed_at,
        "" if reading.meter is None else reading.meter.name,
        when(reading.taken_at),
        "" if minutes is None else f"{minutes:.3g} min after power-on",
        reading.file_sha256 or "",
    )


def _understood(reading: Reading) -> str:
    """Return the number as understood; nothing where it only repeats what was typed."""
    if reading.value is None:
        return ""
    shown = amount(reading.value, reading.unit, 6)
    typed = re.sub(r"(\.\d*?)0+(?=\D|$)", r"\1", "".join(reading.text.split())).replace("-", "−")
    return "" if re.sub(r"\.(?=\D|$)", "", typed) == "".join(shown.split()) else shown


def instruments_of(view: JobView, others: Iterable[str] = ()) -> tuple[Instrument, ...]:
    """Return what was measured with: meters named on readings, and the accuracy assumed elsewhere.

    Parameters
    ----------
    view
        The job.
    others
        What was used besides, in words: loads, generator, sound interface.
    """
    named: dict[Meter, list[str]] = {}
    assumed: dict[tuple[float, float], list[str]] = {}
    files: list[str] = []
    for sitting in view.sittings:
        title = sitting.conclusion.check.title if sitting.conclusion else title_of(sitting)
        inputs = sitting.conclusion.check.inputs if sitting.conclusion else ()
        by_key = {item.key: item for item in inputs}
        for reading in sitting.readings:
            if reading.meter is not None:
                named.setdefault(reading.meter, []).append(title)
                continue
            for accuracy in _assumptions(by_key.get(reading.key)):
                assumed.setdefault(accuracy, []).append(title)
            if reading.file_sha256:
                files.append(title)
    used = [Instrument(m.name, accuracy_text(m), _unique(titles)) for m, titles in named.items()]
    used += [
        Instrument(
            "No meter was named",
            f"{accuracy_text(Meter('', percent, counts))} assumed",
            _unique(titles),
            True,
        )
        for (percent, counts), titles in assumed.items()
    ]
    if files:
        used.append(Instrument("Recordings and logs", "see each result", _unique(files)))
    return (*used, *(Instrument(name, "not stated", "") for name in others))


def _assumptions(item: Input | None) -> list[tuple[float, float]]:
    """Return the accuracies (percent, counts) that are assumed for an input without a meter."""
    columns = item.columns if isinstance(item, TableInput) else (item,)
    return list(
        dict.fromkeys(
            (c.assumed_percent, c.assumed_counts)
            for c in columns
            if isinstance(c, NumberInput) and c.by_meter
        )
    )


def _unique(titles: list[str]) -> str:
    first, *others = dict.fromkeys(titles)
    return listed([first, *map(lowered, others)])
