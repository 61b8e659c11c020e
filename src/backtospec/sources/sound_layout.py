"""Where the samples of an uncompressed sound file lie, and of what kind they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from backtospec.errors import BenchError
from backtospec.sources.sound_chunks import Chain, SoundBytes

RATES_HZ = (8_000, 768_000)
_MOST_CHANNELS = 1024


@dataclass(frozen=True, slots=True)
class SampleFormat:
    """How one sample is written.

    Parameters
    ----------
    letter
        ``i`` signed, ``u`` unsigned (8 bits only), ``f`` floating point.
    width
        Bytes that a sample takes up.
    valid_bits
        Bits that carry sound, in the upper end of those bytes; of a float, its mantissa.
    channels
        Samples per frame.
    rate_hz
        Frames per second.
    big_endian
        Whether the highest byte comes first.
    """

    letter: Literal["i", "u", "f"]
    width: int
    valid_bits: int
    channels: int
    rate_hz: float
    big_endian: bool = False

    @property
    def stride(self) -> int:
        """Bytes per frame."""
        return self.width * self.channels


@dataclass(frozen=True, slots=True)
class SoundLayout:
    """Where the samples lie.

    Parameters
    ----------
    form
        How a sample is written.
    offset
        Byte at which the first frame begins.
    frames
        Whole frames that are in the file.
    faults
        What is wrong with the file, in whole sentences.
    """

    form: SampleFormat
    offset: int
    frames: int
    faults: tuple[str, ...] = ()


def integer_format(
    bits: int, channels: int, rate_hz: float, *, width: int | None = None, big_endian: bool = False
) -> SampleFormat:
    """Return the format of whole-number samples of so many bits, in the fewest bytes."""
    fewest = -(-bits // 8)
    return SampleFormat("i", width or fewest, bits, channels, rate_hz, big_endian)


def float_format(
    bits: int, channels: int, rate_hz: float, *, big_endian: bool = False
) -> SampleFormat:
    """Return the format of floating-point samples of 32 or 64 bits."""
    return SampleFormat("f", bits // 8, 53 if bits == 64 else 24, channels, rate_hz, big_endian)


def lay_out(
    source: SoundBytes,
    form: SampleFormat,
    offset: int,
    promised: int | None,
    chain: Chain,
    faults: tuple[str, ...] = (),
) -> SoundLayout:
    """Return the layout of a file of which so many bytes of sound are promised.

    Parameters
    ----------
    source
        The file.
    form
        How a sample is written, as its header says.
    offset
        Where its sound begins, bytes.
    promised
        Bytes of sound by the header; ``None`` where it gives no length. Of none, when the file
        goes on in a way that no header does, it is taken to be none given.
    chain
        How the format strings its chunks together, to see what comes after the sound.
    faults
        What was found wrong before.

    Raises
    ------
    BenchError
        When the header cannot be meant, or not one frame is there.
    """
    check_format(source.name, form)
    if promised == 0 and chain.fault_after(source, offset):
        promised = None
    there = max(0, source.size - offset)
    frames, over = divmod(there if promised is None else min(promised, there), form.stride)
    if not frames:
        raise BenchError("the file holds no samples.", source.name, "Record again.")
    end_s = frames / form.rate_hz
    if promised is None:
        faults += (
            "The header gives no length, as when a recorder stops before its time; all of the "
            f"{end_s:.3f} s that are in the file were taken.",
        )
    elif promised > there:
        faults += (
            f"The header promises {promised / form.stride / form.rate_hz:.3f} s of sound; "
            f"the file ends at {end_s:.3f} s.",
        )
    else:
        if over:
            faults += (f"The last sample, at {end_s:.3f} s, is not whole; it was left out.",)
        if behind := chain.fault_after(source, offset + promised):
            faults += (f"{behind} Only the {end_s:.3f} s that the header counts were taken.",)
    return SoundLayout(form, offset, frames, faults)


def check_format(name: str, form: SampleFormat) -> None:
    """Refuse a format that cannot be meant, or that nothing here can read.

    Raises
    ------
    BenchError
        For an odd sampling rate, number of channels or number of bits.
    """
    low, high = RATES_HZ
    if not low <= form.rate_hz <= high:
        raise BenchError(
            f"its sampling rate of {form.rate_hz:.10g} Hz is outside {low}…{high} Hz.",
            name,
            "Record at 44 100 to 192 000 Hz.",
        )
    if form.rate_hz != int(form.rate_hz):
        raise BenchError(
            f"its sampling rate of {form.rate_hz:.10g} Hz is not a whole number.",
            name,
            "Record at 44 100 to 192 000 Hz.",
        )
    if not 1 <= form.channels <= _MOST_CHANNELS:
        raise damaged(name, f"its header claims {form.channels} channels")
    widths = {"i": (1, 2, 3, 4), "u": (1,), "f": (4, 8)}[form.letter]
    if form.width not in widths or not 1 <= form.valid_bits <= 8 * form.width:
        raise unread(name, f"samples of {form.valid_bits} bits in {form.width} bytes")


def damaged(name: str, what: str) -> BenchError:
    """Return the refusal of a file that is broken beyond use."""
    return BenchError(f"the file is damaged or cut short: {what}.", name, "Copy it again.")


def unread(name: str, what: str) -> BenchError:
    """Return the refusal of samples of a kind that is not read."""
    return BenchError(
        f"it holds {what}, which are not read.", name, "Export the recording as 24-bit WAV or FLAC."
    )


def contradiction(name: str, channels: int, bits: int, stride: int) -> BenchError:
    """Return the refusal of a header whose figures cannot all be true."""
    return damaged(
        name, f"its header claims {channels} channels of {bits} bits in frames of {stride} bytes"
    )


def no_format(name: str) -> BenchError:
    """Return the refusal of a file without the part that describes its samples."""
    return damaged(name, "it does not say how its samples are written")
