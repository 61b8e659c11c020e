"""Recordings of a steady tone made at chance, with known truth, and the analysis held to it.

    python -m tests.tone_campaign [HOW_MANY [FIRST_SEED]]

Rates from 32 to 192 kHz, one channel or two, odd tones, clock offsets, hum, gaps, lost samples,
overload, clipping, channels that are not driven. Tolerances are multiples of the Cramér-Rao bound
with a least value each; the truth of noise is that of the very samples.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from backtospec.analysis.notes import FileFacts, measuring_bands
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.tone import ChannelTone, ToneAnalysis, analyse_tone
from backtospec.analysis.waveforms import (
    as_recorded,
    clipped_cosine_harmonics,
    harmonic_wave,
    phase_cycles,
)
from backtospec.analysis.weighting import Weighting, power_gain

Array = NDArray[np.float64]
Chance = np.random.Generator

RATES_HZ = (32_000, 44_100, 48_000, 88_200, 96_000, 192_000)
TONES_HZ = (20.03, 50, 63, 100, 250, 315, 400, 630, 997, 1000, 1234.5, 3150, 5000, 6300, 10_000)
HUM_ORDERS = (1, 2, 3, 4, 6)
#: Notes that may be said of any recording without being wrong.
HARMLESS = {"harmonics-out-of-band", "floor-limited", "quantisation-limited", "hum", "dc"}
DB = 20 / math.log(10)


@dataclass
class Channel:
    """What one channel holds: complex lines by order, hum by order, DC and the added error."""

    lines: dict[int, complex]
    hum: dict[int, float] = field(default_factory=dict)
    dc: float = 0.0
    error: Array = field(default_factory=lambda: np.zeros(0))
    fate: str = "driven"


@dataclass
class Recording:
    """One recording and everything that is true of it."""

    seed: int
    rate_hz: int
    bits: int
    nominal_hz: float
    hz: float
    mains_hz: float | None
    channels: dict[str, Channel]
    samples: Array
    gap: tuple[float, str] | None = None

    def __str__(self) -> str:
        fates = {name: channel.fate for name, channel in self.channels.items()}
        return (
            f"seed {self.seed}: {self.rate_hz} Hz, {self.bits} bit, {len(self.samples)} frames, "
            f"{self.hz:.4f} Hz, mains {self.mains_hz}, gap {self.gap}, {fates}"
        )


def record(seed: int) -> Recording:
    """Return the recording of a seed."""
    chance = np.random.default_rng(seed)
    rate_hz = int(chance.choice(RATES_HZ))
    nominal_hz = float(chance.choice(TONES_HZ))
    hz = nominal_hz * (1 + 1e-6 * chance.uniform(-500, 500))
    # Low tones have hundreds of harmonics below half a high rate: such a fit takes long.
    rate_hz = min(rate_hz, 48_000) if nominal_hz < 300 else rate_hz
    frames = round(min(float(chance.uniform(1, 2)) * rate_hz, 150_000.0))
    bits = int(chance.choice((16, 24, 24, 24)))
    names = ("M",) if chance.uniform() < 0.25 else ("L", "R")
    gap = _gap(chance, nominal_hz, frames / rate_hz)
    hums = chance.uniform() < 0.4 and not _on_hum(nominal_hz)
    mains_hz = float(chance.choice((50, 60)) * (1 + chance.uniform(-5e-4, 5e-4))) if hums else None
    cycles = phase_cycles(frames, rate_hz, hz, float(chance.uniform()))
    level = 10 ** (chance.uniform(-30, -1) / 20)
    channels, columns = {}, []
    for name in names:
        channel, column = _channel(chance, cycles, rate_hz, hz, mains_hz, level, name, bits)
        channels[name] = channel
        columns.append(column)
    samples = np.column_stack(columns)
    if gap is not None:
        at = int(gap[0] * rate_hz)
        length = int(chance.uniform(0.012, 0.04) * rate_hz)
        if gap[1] == "dropout":
            samples[at : at + length] = 0.0
        else:
            # A whole number of cycles would leave no trace; a third of one is plain.
            lost = max(1, round((round(length * hz / rate_hz) + 1 / 3) * rate_hz / hz))
            samples = np.delete(samples, slice(at, at + lost), axis=0)
    return Recording(seed, rate_hz, bits, nominal_hz, hz, mains_hz, channels, samples, gap)


def _on_hum(nominal_hz: float) -> bool:
    lines = [order * base for base in (50, 60) for order in HUM_ORDERS]
    return any(abs(k * nominal_hz - line) < 4 for line in lines for k in range(1, 20))


def _gap(chance: Chance, nominal_hz: float, seconds: float) -> tuple[float, str] | None:
    if chance.uniform() > 0.2 or nominal_hz < 200 or nominal_hz > 4000:
        return None
    kind = "dropout" if chance.uniform() < 0.5 else "lost-samples"
    return float(chance.uniform(0.3, 0.6) * seconds), kind


def _channel(
    chance: Chance,
    cycles: Array,
    rate_hz: int,
    hz: float,
    mains_hz: float | None,
    level: float,
    name: str,
    bits: int,
) -> tuple[Channel, Array]:
    draw = chance.uniform()
    fate = "driven"
    if name == "R" and draw < 0.15:
        fate = "undriven"
    elif draw < 0.3:
        fate = "clipping"
    elif draw < 0.42:
        fate = "overloaded"
    amplitude = level * 10 ** (chance.uniform(-1, 0) / 20)
    lines = _lines(chance, fate, amplitude, hz, rate_hz)
    hum = {}
    if mains_hz is not None:
        hum = {k: float(0.1 * level * 10 ** (chance.uniform(-60, -5) / 20)) for k in HUM_ORDERS}
    dc = float(chance.uniform(-1e-4, 1e-4))
    clean = harmonic_wave(cycles, lines) + dc
    time_s = np.arange(len(cycles)) / rate_hz
    for order, size in hum.items():
        clean += size * np.cos(2 * np.pi * order * (mains_hz or 0.0) * time_s + order)
    noise = 10 ** (chance.uniform(-118, -88) / 20) * chance.standard_normal(len(cycles))
    held = as_recorded(clean + noise, bits, int(chance.integers(1 << 30)))
    if fate == "overloaded":
        held = np.clip(held, -1.0, 1.0 - 2.0 ** (1 - bits))
    return Channel(lines, hum, dc, held - clean, fate), held


def _lines(
    chance: Chance, fate: str, amplitude: float, hz: float, rate_hz: int
) -> dict[int, complex]:
    most = max(1, int(0.45 * rate_hz / hz))
    if fate == "undriven":
        size = amplitude * 10 ** (chance.uniform(-110, -40) / 20)
        return {1: complex(size * np.exp(2j * np.pi * chance.uniform()))}
    if fate == "clipping":
        upper, lower = chance.uniform(0.8, 0.98, 2)
        orders = range(1, min(most, 41) + 1)
        _, sizes = clipped_cosine_harmonics(upper, lower, orders)
        return {k: complex(0.9 * amplitude * size) for k, size in zip(orders, sizes, strict=True)}
    first = 1.3 if fate == "overloaded" else amplitude
    lines = {1: complex(first)}
    for order in range(2, min(most, 8) + 1):
        size = first * 10 ** (chance.uniform(-115, -50) / 20)
        lines[order] = complex(size * np.exp(2j * np.pi * chance.uniform()))
    return lines


@dataclass(frozen=True)
class Compared:
    """One quantity: what it should be, what it is, and how far apart they may lie."""

    name: str
    truth: float
    got: float | None
    tolerance: float

    @property
    def holds(self) -> bool:
        """Whether it lies inside its tolerance."""
        return self.got is not None and abs(self.got - self.truth) <= self.tolerance


def analyse(recording: Recording) -> ToneAnalysis:
    """Return the analysis of a recording, given only what a user knows."""
    mains_hz = None if recording.mains_hz is None else float(round(recording.mains_hz / 10) * 10)
    setup = CaptureSetup(
        full_scale_volts=(1.0,),
        load_ohm=(8.0,),
        nominal_hz=recording.nominal_hz,
        mains_hz=mains_hz,
    )
    facts = FileFacts(len(recording.samples), recording.rate_hz, recording.bits)
    return analyse_tone(recording.samples, facts, setup)


def compare(recording: Recording) -> Iterator[Compared]:
    """Return every quantity of a recording beside its truth."""
    fates = {name: channel.fate for name, channel in recording.channels.items()}
    found = analyse(recording)
    said: set[tuple[str, str | None]] = {(n.code, n.channel) for n in found.notes}
    yield from _remarks(recording, said)
    for name, channel in recording.channels.items():
        got = found.channels[name]
        if fates[name] == "overloaded":
            yield Compared(f"{name} refused", 1, float(got.reason == "adc-overload"), 0)
        elif fates[name] == "undriven":
            driven = recording.channels["L"]
            if driven.fate != "overloaded":
                yield from _crosstalk(name, channel, driven, got, recording)
        else:
            yield from _driven(name, channel, got, recording)
    if recording.gap is not None and "overloaded" not in fates.values():
        at = [n.at_s for n in found.notes if n.code == recording.gap[1] and n.at_s is not None]
        nearest = min(at, key=lambda t: abs(t - recording.gap[0]), default=None)  # type: ignore[index]
        yield Compared("gap", recording.gap[0], nearest, 1e-3)


def _remarks(recording: Recording, said: set[tuple[str, str | None]]) -> Iterator[Compared]:
    """Return which remarks are missing and which are false alarms."""
    wanted: set[tuple[str, str | None]] = set()
    for name, channel in recording.channels.items():
        if channel.fate == "clipping" and len(channel.lines) > 10:
            wanted.add(("amplifier-clipping", name))
        if channel.fate == "overloaded":
            wanted.add(("adc-overload", name))
        loud = "L" in recording.channels and recording.channels["L"].fate != "overloaded"
        if channel.fate == "undriven" and loud:
            wanted.add(("undriven", name))
    for code, whose in sorted(wanted, key=str):
        yield Compared(f"says {code} {whose}", 1, float((code, whose) in said), 0)
    fates = {channel.fate for channel in recording.channels.values()}
    allowed = {code for code, _ in wanted} | HARMLESS
    if "clipping" in fates:
        allowed |= {"asymmetric", "amplifier-clipping"}
    if "undriven" in fates:
        allowed |= {"silence", "lost-samples", "near-hum-line"}
    if recording.gap is not None:
        allowed |= {"dropout", "lost-samples"}
    if recording.mains_hz is not None:
        allowed |= {"near-hum-line"}
    false = sorted({code for code, _ in said} - allowed)
    yield Compared(f"false alarms {false}", 0, float(len(false)), 0)


def _driven(
    name: str, channel: Channel, got: ChannelTone, recording: Recording
) -> Iterator[Compared]:
    size = abs(channel.lines[1])
    count, rate_hz = len(recording.samples), recording.rate_hz
    # After a gap figures may come from the longer clean stretch alone.
    kept = count if recording.gap is None or recording.gap[1] == "dropout" else 0.35 * count
    sigma = float(np.std(channel.error))
    s = math.sqrt(2 * sigma**2 / kept)
    hz_u = math.sqrt(24 * sigma**2 / (size**2 * kept**3)) * rate_hz / (2 * math.pi)
    yield Compared(f"{name} valid", 1, float(got.valid), 0)
    if not got.valid or got.distortion is None:
        return
    yield Compared(f"{name} Hz", recording.hz, got.frequency_hz, max(1e-7, 6 * hz_u))
    level, level_u = DB * math.log(size), DB * s / size
    yield Compared(f"{name} level", level, got.level_dbfs_peak, max(2e-4, 6 * level_u))
    dc_u = 6 * sigma / math.sqrt(kept) + (2e-6 if recording.bits == 24 else 1e-4)
    yield Compared(f"{name} DC", channel.dc, got.dc_v, dc_u)
    distortion = got.distortion
    for order, line in channel.lines.items():
        own_u = DB * s / abs(line)
        if order > 1 and own_u < 0.2:
            truth = DB * math.log(abs(line) / size)
            known = distortion.harmonics_db.get(str(order))
            yield Compared(f"{name} H{order}", truth, known, 0.005 + 5 * own_u)
    yield from _sums(name, channel, got, recording)
    if recording.mains_hz is None:
        return
    for order, hum in channel.hum.items():
        if DB * s / hum < 0.01:
            key = str(order * round(recording.mains_hz / 10) * 10)
            truth = DB * math.log(hum / size)
            yield Compared(f"{name} hum {key}", truth, distortion.hum_db.get(key), 0.05)


def _sums(
    name: str, channel: Channel, got: ChannelTone, recording: Recording
) -> Iterator[Compared]:
    """Return THD, THD+N and signal to noise, of the noise as it is in these samples."""
    assert got.distortion is not None
    size, rate_hz = abs(channel.lines[1]), recording.rate_hz
    stated = [abs(line) for order, line in channel.lines.items() if 2 <= order <= 10]
    s = math.sqrt(2 * float(np.var(channel.error)) / len(channel.error))
    thd = math.sqrt(sum(x * x for x in stated))
    if thd > 30 * s:
        truth, thd_db = DB * math.log(thd / size), got.distortion.thd_db
        yield Compared(f"{name} THD", truth, thd_db, 0.005 + 8 * DB * s / thd)
    power = np.abs(np.fft.rfft(channel.error)) ** 2 * 2 / len(channel.error) ** 2
    bins_hz = np.fft.rfftfreq(len(channel.error), 1 / rate_hz)
    bands: list[tuple[str, Weighting, float, float]] = [
        (band, "unweighted", low, high) for band, low, high in measuring_bands(rate_hz)
    ]
    top_hz = min(20_000.0, rate_hz / 2)
    bands += [("A", "A", 20.0, top_hz), ("468", "468", 20.0, top_hz)]
    allowed = 0.1 if recording.gap is None else 0.3
    for band, weighting, low, high in bands:

        def gain(hz: Array, w: Weighting = weighting, a: float = low, b: float = high) -> Array:
            return np.where((hz >= a) & (hz <= b), power_gain(w, hz), 0.0)

        noise = float(np.dot(power, gain(np.asarray(bins_hz, dtype=np.float64))))
        for order, hum in channel.hum.items():
            noise += hum**2 / 2 * float(gain(np.array([order * (recording.mains_hz or 0)]))[0])
        everything = noise
        for order, line in channel.lines.items():
            if order > 1:
                here = float(gain(np.array([order * recording.hz]))[0])
                everything += abs(line) ** 2 / 2 * here
        mean_square = size**2 / 2
        # A chance ripple of the noise in few bins is honest: 4.34/√(B·T) dB of it is allowed.
        truth = 10 * math.log10(everything / mean_square)
        yield Compared(f"{name} THD+N {band}", truth, got.distortion.thdn_db[band], allowed)
        truth = -10 * math.log10(noise / mean_square)
        yield Compared(f"{name} S/N {band}", truth, got.distortion.snr_db[band], allowed)


def _crosstalk(
    name: str, channel: Channel, driven: Channel, got: ChannelTone, recording: Recording
) -> Iterator[Compared]:
    sigma = float(np.std(channel.error))
    kept = len(recording.samples) * (0.35 if recording.gap else 1.0)
    s = math.sqrt(2 * sigma**2 / kept)
    line, reference = channel.lines[1], driven.lines[1]
    truth = DB * math.log(abs(line / reference))
    own_u = DB * s / abs(line)
    assert got.crosstalk is not None, "labelled undriven"
    if own_u < 1:
        yield Compared(f"{name} crosstalk", truth, got.crosstalk.db, 0.005 + 5 * own_u)
        turn = math.degrees(np.angle(line / reference))
        wrapped = (float(got.crosstalk.phase_deg or 0.0) - turn + 180) % 360 - 180
        yield Compared(f"{name} crosstalk phase", 0.0, wrapped, 0.05 + 5 * own_u * 6.6)
    elif got.crosstalk.db_at_most is not None:
        yield Compared(f"{name} bound", 1, float(got.crosstalk.db_at_most > truth), 0)


def outside(seeds: Mapping[int, None] | range) -> Iterator[str]:
    """Return a line for every quantity that lies outside its tolerance."""
    for seed in seeds:
        recording = record(seed)
        for one in compare(recording):
            if not one.holds:
                wanted = f"{one.truth} ± {one.tolerance}"
                yield f"{recording}\n  {one.name}: {one.got} instead of {wanted}"


def main(words: list[str]) -> int:
    """Print what lies outside."""
    many, first = int(words[0]) if words else 100, int(words[1]) if len(words) > 1 else 0
    found = 0
    for line in outside(range(first, first + many)):
        found += 1
        print(line, flush=True)
    print(f"{many} recordings, {found} quantities outside")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
