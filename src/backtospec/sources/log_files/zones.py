"""Local times to universal time, over both clock changes of a year."""

from __future__ import annotations

import datetime as dt
import re
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from backtospec.errors import BenchError
from backtospec.sources.log_files.reading import Assumption
from backtospec.sources.log_files.shapes import Ints

OPTION = "--time-zone"
_QUARTER_US = 900_000_000
_NAME = re.compile(r"\b(?:UTC|GMT|[A-Z][A-Za-z]+/[A-Z][A-Za-z_\-]+(?:/[A-Z][A-Za-z_\-]+)?)\b")
_EPOCH = dt.datetime(1970, 1, 1)  # noqa: DTZ001 local times are naive on purpose


def find_zone(name: str) -> ZoneInfo | None:
    """Return the time zone of that name, or None.

    Examples
    --------
    >>> find_zone("Europe/Amsterdam").key, find_zone("Cellar/Bench")
    ('Europe/Amsterdam', None)
    """
    if len(name) > 64 or not re.fullmatch(r"[A-Za-z0-9_+\-]+(?:/[A-Za-z0-9_+\-]+){0,2}", name):
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def stated_zone(option: str) -> ZoneInfo:
    """Return the zone the person named.

    Raises
    ------
    BenchError
        No such zone.
    """
    zone = find_zone(option)
    if zone is None:
        raise BenchError(
            f"{option!r} is not in the time zone database.",
            OPTION,
            "Give a name such as Europe/Berlin or America/New_York.",
        )
    return zone


def zone_in_text(text: str) -> ZoneInfo | None:
    """Return the time zone that a header line names, or None."""
    for match in _NAME.finditer(text):
        zone = find_zone(match.group())
        if zone is not None:
            return zone
    return None


def to_universal(
    name: str, local_us: Ints, lines: Ints, zone: ZoneInfo
) -> tuple[Ints, list[Assumption]]:
    """Return the offset from universal time of each local time, microseconds.

    Where the clock is put back an hour stands twice: its rows belong to the first pass until
    the log steps back, or where it does not, to the pass that fits the rows around it.

    Parameters
    ----------
    name
        File name, for messages.
    local_us
        Local times in order of the file, microseconds since 1970-01-01.
    lines
        Line of each row.
    zone
        The time zone.

    Raises
    ------
    BenchError
        A time falls into the hour that the zone leaves out in spring.
    """
    if not len(local_us):
        return np.zeros(0, np.int64), []
    quarters, inverse = np.unique(local_us // _QUARTER_US, return_inverse=True)
    found = np.array([_offsets(int(q), zone) for q in quarters], np.int64).reshape(-1, 3)
    first, second = found[inverse, 0], found[inverse, 1]
    missing = found[inverse, 2] > 0
    if missing.any():
        row = int(np.flatnonzero(missing)[0])
        moment = _EPOCH + dt.timedelta(microseconds=int(local_us[row]))
        raise BenchError(
            f"{moment.isoformat(sep=' ')} does not exist in {zone.key}: the clock skips that hour.",
            f"{name}, line {lines[row]}",
            f"Leave out {OPTION} if the meter's clock does not follow summer time.",
        )
    offset, notes = _settle_passes(local_us, first, second, lines)
    changes = np.flatnonzero(np.diff(offset))
    for change in changes[:4].tolist():
        notes.append(Assumption(int(lines[change + 1]), f"clock change in {zone.key}, no gap"))
    return offset, notes


def _offsets(quarter: int, zone: ZoneInfo) -> tuple[int, int, int]:
    """Offset in the first and second pass of a quarter of an hour; 1 if it does not exist."""
    local = _EPOCH + dt.timedelta(microseconds=quarter * _QUARTER_US)
    offsets = []
    for fold in (0, 1):
        moment = local.replace(tzinfo=zone, fold=fold)
        offsets.append(moment.utcoffset() or dt.timedelta())
    utc = local.replace(tzinfo=zone).astimezone(dt.UTC)
    exists = utc.astimezone(zone).replace(tzinfo=None) == local
    whole = [int(offset / dt.timedelta(microseconds=1)) for offset in offsets]
    return whole[0], whole[1], 0 if exists else 1


def _settle_passes(
    local_us: Ints, first: Ints, second: Ints, lines: Ints
) -> tuple[Ints, list[Assumption]]:
    offset = first.copy()
    twice = np.flatnonzero(first != second)
    notes: list[Assumption] = []
    if not len(twice):
        return offset, notes
    for run in np.split(twice, np.flatnonzero(np.diff(twice) > 1) + 1):
        back = np.flatnonzero(np.diff(local_us[run]) < 0)
        if len(back):
            later = run[int(back[0]) + 1 :]
            offset[later] = second[later]
            continue
        begin, end = int(run[0]), int(run[-1])
        before = local_us[begin - 1] - offset[begin - 1] if begin else None
        after = local_us[end + 1] - first[end + 1] if end + 1 < len(local_us) else None
        if before is None and after is None:
            notes.append(Assumption(int(lines[begin]), "hour that stands twice: first pass taken"))
        lengths = []
        for choice in (first, second):
            length = 0
            if before is not None:
                length += abs(int(local_us[begin] - choice[begin] - before))
            if after is not None:
                length += abs(int(after - local_us[end] + choice[end]))
            lengths.append((length, choice))
        # both sides known: the sum is the same, so the shorter step on the near side decides
        if before is not None and after is not None:
            late = abs(int(after - local_us[end] + second[end]))
            early = abs(int(local_us[begin] - first[begin] - before))
            offset[run] = second[run] if late < early else first[run]
        elif lengths[1][0] < lengths[0][0]:
            offset[run] = second[run]
    return offset, notes
