"""A response, what it is held against, and headroom, in words."""

from __future__ import annotations

from typing import Any

Words = dict[str, Any]


def response_words(channel: Words) -> list[str]:
    """Return what one channel's document says of its power bandwidth and its response."""
    lines = []
    if "power_bandwidth" in channel:
        lines.append(_bandwidth(channel["power_bandwidth"]))
    against = channel.get("against")
    if not against:
        return lines
    if "spread_db" in against:
        lines.append(_departure(against))
    for side in ("bass", "treble"):
        if side in against:
            lines.append(_shelf(side, against[side]))
    for side in ("low", "high"):
        if side in against:
            lines.append(_cutoff(side, against[side]))
    return lines


def headroom_words(document: Words) -> str:
    """Return the dynamic headroom of a document of bursts.

    Examples
    --------
    >>> headroom_words({"headroom_db": 1.2, "headroom_db_u": 0.01, "limit_reached": False})
    'dynamic headroom: at least +1.20 ± 0.02 dB'
    """
    least = "" if document.get("limit_reached") else "at least "
    text = f"dynamic headroom: {least}{document['headroom_db']:+.2f}"
    if document.get("headroom_db_u"):
        text += f" ± {2 * document['headroom_db_u']:.2g}"
    return f"{text} dB" + _at_most(document)


def _at_most(document: Words) -> str:
    most = document.get("headroom_db_at_most")
    return "" if most is None else f", below {most:+.2f} dB"


def _hz(figures: Words, key: str) -> str:
    """Return a frequency with its expanded uncertainty (k = 2)."""
    doubt = figures.get(f"{key}_u")
    return f"{figures[key]:.5g}" + (f" ± {2 * doubt:.2g}" if doubt else "") + " Hz"


def _bandwidth(found: Words) -> str:
    ends = []
    for side, near, far in (
        ("low_hz", "low_hz_at_most", "low_hz_at_least"),
        ("high_hz", "high_hz_at_least", "high_hz_at_most"),
    ):
        if side in found:
            ends.append(_hz(found, side))
            continue
        word = "or below" if side == "low_hz" else "or above"
        text = f"{found[near]:.5g} Hz {word}"
        ends.append(text + (f", not {found[far]:.5g} Hz" if far in found else ""))
    return (
        f"power bandwidth: {ends[0]} … {ends[1]} "
        f"({found['reference_power_w']:.4g} W at {found['reference_hz']:.5g} Hz)"
    )


def _departure(found: Words) -> str:
    return (
        f"against {found['curve']}: ±{found['spread_db']:.3g} dB; "
        f"{found['most_db']:+.3g} dB at {found['most_at_hz']:.5g} Hz, "
        f"{found['least_db']:+.3g} dB at {found['least_at_hz']:.5g} Hz"
    )


def _shelf(side: str, found: Words) -> str:
    text = f"{side}: {found['extreme_db']:+.2f} dB at {found['extreme_at_hz']:.5g} Hz"
    if "turnover_hz" in found:
        text += f", turnover {_hz(found, 'turnover_hz')}"
    return text


def _cutoff(side: str, found: Words) -> str:
    if "corner_hz" not in found:
        bound = found.get("corner_hz_at_most", found.get("corner_hz_at_least"))
        reached = "" if bound is None else f" down to {bound:.5g} Hz" if side == "low" else ""
        reached = reached or ("" if bound is None else f" up to {bound:.5g} Hz")
        return f"{side} filter: no −3 dB point{reached}"
    text = f"{side} filter: −3 dB at {_hz(found, 'corner_hz')}"
    if "slope_db_per_octave" in found:
        doubt = 2 * found["slope_db_per_octave_u"]
        text += f", {found['slope_db_per_octave']:.3g} ± {doubt:.2g} dB per octave"
    return text
