"""Pictures as evidence: kept as they came, once they prove to be pictures."""

from __future__ import annotations

from pathlib import Path

from backtospec.errors import BenchError

MOST_BYTES = 40 << 20
"""A larger picture is a mistake, or an attack."""

_STARTS = {
    "image/jpeg": b"\xff\xd8\xff",
    "image/png": b"\x89PNG\r\n\x1a\n",
}


def refuse_no_picture(path: Path, where: str) -> str:
    """Return the media type of a picture: ``image/jpeg`` or ``image/png``.

    Parameters
    ----------
    path
        The file.
    where
        How the person knows it, for the message.

    Raises
    ------
    BenchError
        Where it cannot be read, is too large, or does not begin as a JPEG or PNG file does.

    Notes
    -----
    First bytes: JPEG, ISO/IEC 10918-1 (SOI and the marker after it); PNG, RFC 2083, 3.1.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            start = stream.read(8)
    except OSError as error:
        raise BenchError(
            f"cannot be read ({error.strerror}).", where, "Give the picture again."
        ) from error
    if size > MOST_BYTES:
        raise BenchError(
            f"holds {size >> 20} MB; up to {MOST_BYTES >> 20} MB are kept.",
            where,
            "Give a smaller picture.",
        )
    for media_type, first in _STARTS.items():
        if start.startswith(first):
            return media_type
    raise BenchError(
        f"is no JPEG or PNG picture: it begins with {start[:4]!r}.",
        where,
        "Save it as JPEG or PNG and give that.",
    )
