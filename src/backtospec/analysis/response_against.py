"""What a measured response is held against, by name, and the document of the outcome."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from backtospec.analysis.document_parts import Document, known
from backtospec.analysis.equalisation import riaa_replay_db
from backtospec.analysis.loudness import loudness_compensation_db
from backtospec.analysis.response_curves import (
    Cutoff,
    Departure,
    Response,
    Shelf,
    find_departure,
    read_cutoff,
    read_shelf,
    response_of,
)
from backtospec.errors import BenchError

AGAINST: Mapping[str, str] = {
    "riaa": "RIAA replay curve (3180, 318 and 75 µs), 0 dB at 1 kHz",
    "riaa-iec": "RIAA replay curve with the later low cut of 7950 µs, 0 dB at 1 kHz",
    "flat": "a straight line through 1 kHz",
    "tone-control": (
        "largest lift or cut on either side of 1 kHz; turnover where the response departs by 3 dB "
        "from 1 kHz, shelf where it is 3 dB short of the extreme"
    ),
    "filter": (
        "3 dB below 1 kHz; slope of the maximally flat filter that fits best between 6 and 45 dB "
        "down"
    ),
    "loudness": "response minus the stated points, both relative to 1 kHz",
}
"""What a response can be held against, each with its definition."""

_MOST_POINTS = 60
_POINT = re.compile(
    r"\s*(?P<hz>\d+(?:[.,]\d+)?)\s*(?P<k>k?)Hz\s*[:=]?\s*(?P<sign>[-+−–±]?)\s*"
    r"(?P<db>\d+(?:[.,]\d+)?)\s*dB\s*(?:[,;]|$)",
    re.IGNORECASE,
)
_PHON = re.compile(
    r"\s*(?P<quiet>\d+(?:[.,]\d+)?)\s*(?:/|to|…|-|–)\s*(?P<loud>\d+(?:[.,]\d+)?)\s*phon\s*",
    re.IGNORECASE,
)


def points_from_text(text: str) -> dict[float, float]:
    """Return stated decibels by frequency, from a maker's table or from two loudness levels.

    Parameters
    ----------
    text
        ``"100 Hz +6 dB, 10 kHz +4 dB"``, relative to 1 kHz; or ``"60/85 phon"``: what makes 60
        phon sound as 85 did, by the published equal-loudness contours.

    Raises
    ------
    BenchError
        Where a part of it cannot be read.

    Examples
    --------
    >>> points_from_text("100 Hz +6,5 dB, 10 kHz −4 dB")
    {100.0: 6.5, 10000.0: -4.0}
    >>> round(points_from_text("60/85 phon")[100.0], 1)
    7.7
    """
    phon = _PHON.fullmatch(text)
    if phon:
        return loudness_compensation_db(_number(phon["quiet"]), _number(phon["loud"]))
    points: dict[float, float] = {}
    at = 0
    while at < len(text) and (found := _POINT.match(text, at)):
        hz = _number(found["hz"]) * (1000 if found["k"] else 1)
        negative = found["sign"] in ("-", "−", "–")
        points[hz] = -_number(found["db"]) if negative else _number(found["db"])
        at = found.end()
    doubtful = "±" in text or not points or not all(0 < hz < 1e6 for hz in points)
    if at < len(text.rstrip()) or doubtful or len(points) > _MOST_POINTS:
        raise BenchError(
            f"“{text[at : at + 60].strip() or text[:60]}” is no list of frequencies with decibels, "
            f"at most {_MOST_POINTS}.",
            "--points",
            "Write it as: 100 Hz +6 dB, 10 kHz +4 dB.",
        )
    return points


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def against_document(
    db: Mapping[float, float],
    db_u: Mapping[float, float],
    against: str,
    points: Mapping[float, float] | None = None,
) -> Document:
    """Return what comes of a response held against something.

    Parameters
    ----------
    db, db_u
        Response and standard uncertainty by frequency in Hz.
    against
        A key of :data:`AGAINST`.
    points
        For ``"loudness"``: decibels stated by frequency, relative to 1 kHz.

    Raises
    ------
    BenchError
        Where the name is none of these, or the response does not reach.

    Examples
    --------
    >>> found = against_document({100.0: 0.2, 1000.0: 0.0, 10e3: -0.4}, {}, "flat")
    >>> round(found["spread_db"], 3), found["least_at_hz"]
    (0.3, 10000.0)
    """
    if against not in AGAINST:
        raise BenchError(
            f'"{against}" is none of {", ".join(AGAINST)}.', "--against", "Name one of them."
        )
    response = response_of(db, db_u)
    return {
        "curve": against,
        "definition": AGAINST[against],
        **_outcome(response, against, points),
    }


def _outcome(response: Response, against: str, points: Mapping[float, float] | None) -> Document:
    match against:
        case "riaa":
            return _departure(find_departure(response, riaa_replay_db))
        case "riaa-iec":
            with_cut = find_departure(response, lambda hz: riaa_replay_db(hz, low_cut=True))
            return _departure(with_cut)
        case "flat":
            return _departure(find_departure(response, lambda _: 0.0))
        case "tone-control":
            return {
                "bass": _shelf(read_shelf(response, upward=False)),
                "treble": _shelf(read_shelf(response, upward=True)),
                "at_100_hz_db": _level_at(response, 100.0),
                "at_10_khz_db": _level_at(response, 10_000.0),
            }
        case "filter":
            return {
                "low": _cutoff(read_cutoff(response, upward=False), upward=False),
                "high": _cutoff(read_cutoff(response, upward=True), upward=True),
            }
    if not points:
        raise BenchError(
            "a loudness contour needs the points it should pass.",
            "--points",
            "Give the maker's figures, such as 100 Hz +6 dB, 10 kHz +4 dB, or 60/85 phon.",
        )
    return _stated(response, points)


def _level_at(response: Response, hz: float) -> float | None:
    return response.at(hz)[0] if response.hz[0] <= hz <= response.hz[-1] else None


def _stated(response: Response, points: Mapping[float, float]) -> Document:
    """Return response minus stated level at each point that was measured."""
    inside = {hz: db for hz, db in points.items() if response.hz[0] <= hz <= response.hz[-1]}
    if not inside:
        raise BenchError(
            f"none of the points lies within {response.hz[0]:.4g}…{response.hz[-1]:.5g} Hz, which "
            "was measured.",
            "--points",
            "Give points inside, or measure further.",
        )
    read = {hz: response.at(hz) for hz in sorted(inside)}
    error = {hz: level - inside[hz] for hz, (level, _) in read.items()}
    top, bottom = max(error, key=error.__getitem__), min(error, key=error.__getitem__)
    return _departure(
        Departure(
            error_db=error,
            error_db_u={hz: doubt for hz, (_, doubt) in read.items()},
            most_db=error[top],
            most_db_u=read[top][1],
            most_at_hz=top,
            least_db=error[bottom],
            least_db_u=read[bottom][1],
            least_at_hz=bottom,
        )
    )


def _departure(found: Departure) -> Document:
    return {
        "error_db": _by_frequency(found.error_db),
        "error_db_u": _by_frequency(found.error_db_u),
        **known(
            most_db=found.most_db,
            most_db_u=found.most_db_u,
            most_at_hz=found.most_at_hz,
            least_db=found.least_db,
            least_db_u=found.least_db_u,
            least_at_hz=found.least_at_hz,
            spread_db=found.spread_db,
            spread_db_u=found.spread_db_u,
        ),
    }


def _shelf(found: Shelf) -> Document:
    return known(
        extreme_db=found.extreme_db,
        extreme_db_u=found.extreme_db_u,
        extreme_at_hz=found.extreme_at_hz,
        turnover_hz=found.turnover_hz,
        turnover_hz_u=found.turnover_hz_u,
        shelf_hz=found.shelf_hz,
        shelf_hz_u=found.shelf_hz_u,
    )


def _cutoff(found: Cutoff, *, upward: bool) -> Document:
    bound: dict[str, Any] = {
        "corner_hz_at_least" if upward else "corner_hz_at_most": found.corner.followed_to_hz
    }
    return known(
        corner_hz=found.corner.hz,
        corner_hz_u=found.corner.hz_u,
        slope_db_per_octave=found.slope_db_per_octave,
        slope_db_per_octave_u=found.slope_db_per_octave_u,
        **bound,
    )


def _by_frequency(figures: Mapping[float, float]) -> dict[str, float]:
    return {f"{hz:.6g}": value for hz, value in figures.items()}
