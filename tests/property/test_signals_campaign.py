"""Random recordings with known truth: two tones, sweeps, bursts and stepped tones."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from backtospec.analysis.burst import analyse_burst
from backtospec.analysis.notes import FileFacts
from backtospec.analysis.setup import CaptureSetup
from backtospec.analysis.stepped import analyse_stepped
from backtospec.analysis.stimuli import synchronised
from backtospec.analysis.sweep import analyse_sweep
from backtospec.analysis.two_tone import analyse_two_tone
from backtospec.analysis.waveforms import as_recorded
from tests.reference.test_burst import gated
from tests.reference.test_sweep import first_order
from tests.reference.test_sweep import recorded as swept
from tests.reference.test_two_tone import bent
from tests.reference.test_two_tone import recorded as two_tones

Array = NDArray[np.float64]

FEW, MANY = (1, 2, 18, 48), range(4, 60)
PAIRS = ((60.0, 7000.0), (250.0, 8000.0), (19_000.0, 20_000.0), (14_000.0, 15_000.0))
SETUP = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=1000.0)


@dataclass(frozen=True)
class Chain:
    """A recorder and its surroundings, drawn by chance."""

    rate_hz: int
    clock_ppm: float
    noise: float
    hum: float
    mains_hz: float
    mono: bool
    right: float
    lead_s: float
    seed: int

    @staticmethod
    def drawn(seed: int) -> Chain:
        chance = np.random.default_rng([seed, 77])
        return Chain(
            rate_hz=int(chance.choice([44_100, 48_000, 96_000, 192_000], p=[0.4, 0.4, 0.12, 0.08])),
            clock_ppm=float(chance.uniform(-500, 500)),
            noise=float(10 ** chance.uniform(-6, -4)),
            hum=float(chance.choice([0.0, 10 ** chance.uniform(-5, -3.3)])),
            mains_hz=float(chance.choice([50.0, 60.0]) * (1 + 4e-4 * chance.standard_normal())),
            mono=bool(chance.random() < 0.3),
            right=float(chance.choice([-1, 1]) * chance.uniform(0.3, 1.0)),
            lead_s=float(chance.uniform(0.0, 1.2)),
            seed=seed,
        )

    def hears(self, wave: Array, *, silence: bool = True) -> Array:
        """Return the recording of a wave, shape (samples, channels), 24 bits."""
        if silence:
            still = np.zeros(round(self.lead_s * self.rate_hz))
            wave = np.concatenate((still, wave, still[: len(still) // 2]))
        both = wave[:, None] if self.mono else np.stack([wave, self.right * wave], axis=1)
        turn = 2 * np.pi * self.mains_hz * np.arange(len(wave)) / self.rate_hz
        hum = self.hum * (np.sin(turn) + 0.5 * np.sin(2 * turn + 1))
        hiss = self.noise * np.random.default_rng(self.seed).standard_normal(both.shape)
        return as_recorded(both + hum[:, None] + hiss, 24)

    def gains(self) -> dict[str, float]:
        return {"M": 1.0} if self.mono else {"L": 1.0, "R": abs(self.right)}

    @property
    def inverted(self) -> bool:
        return not self.mono and self.right < 0


def facts(samples: Array, rate_hz: int) -> FileFacts:
    return FileFacts(len(samples), rate_hz, 24)


def check_two_tones(seed: int) -> None:
    chain = Chain.drawn(seed)
    nominal = PAIRS[seed % len(PAIRS)]
    amplitudes = (0.4, 0.1) if nominal[1] > 2 * nominal[0] else (0.25, 0.25)
    lines = bent(*amplitudes)
    hz = tuple(one * (1 + chain.clock_ppm * 1e-6) for one in nominal)
    samples = chain.hears(two_tones(lines, (hz[0], hz[1]), 1.0, chain.rate_hz))
    setup = CaptureSetup(full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=nominal[0])
    found = analyse_two_tone(samples, facts(samples, chain.rate_hz), setup, nominal[1])
    assert found.clock_ppm == pytest.approx(chain.clock_ppm, abs=0.5)
    assert ("inverted" in {note.code for note in found.notes}) == chain.inverted
    reference = lines[0, 1] if amplitudes[0] > amplitudes[1] else lines[1, 0] + lines[0, 1]
    wanted = [(1, 1), (1, -1), (2, 1), (2, -1), (1, -2)]
    # A tone of 60 Hz cannot be told from mains of 60 Hz.
    on_mains = chain.hum if abs(nominal[0] - chain.mains_hz) < 1 else 0.0
    for name, gain in chain.gains().items():
        channel = found.channels[name]
        assert channel.levels_dbfs_peak is not None
        truth = 20 * math.log10(gain * lines[1, 0])
        hum_db = 9 * on_mains / (gain * lines[1, 0])
        assert channel.levels_dbfs_peak[0] == pytest.approx(truth, abs=1e-3 + hum_db)
        assert channel.intermodulation is not None
        for order in wanted:
            key, line_hz = f"{order[0]},{order[1]}", abs(order[0] * hz[0] + order[1] * hz[1])
            known = channel.intermodulation.products_db
            near_hum = chain.hum and line_hz < 1100
            if line_hz > 0.495 * chain.rate_hz or near_hum or key not in known:
                continue
            error = known[key] - 20 * math.log10(lines[order] / reference)
            assert abs(error) < 1e-3 + 4.5 * channel.intermodulation.products_db_u[key], key


def check_sweep(seed: int) -> None:
    chain = Chain.drawn(seed)
    low_hz, high_hz = 5.0 + seed % 7, 30_000.0 + 3000 * (seed % 5)
    stimulus = synchronised(18.0, 20_800.0, 2.6, drive_fs=0.5, pilot_start_s=0.15)
    wave = swept(
        stimulus,
        first_order(low_hz, high_hz),
        clock_ppm=chain.clock_ppm,
        rate_hz=chain.rate_hz,
        tail_s=1.0,
    )
    samples = chain.hears(wave)
    found = analyse_sweep(samples, facts(samples, chain.rate_hz), SETUP, stimulus)
    assert found.clock_ppm == pytest.approx(chain.clock_ppm, abs=0.5)
    for name in chain.gains():
        channel = found.channels[name]
        assert channel.valid, channel.reason
        for hz, db in channel.response_db.items():
            if hz < 25:
                continue
            at, at_1_khz = (one * (1 + chain.clock_ppm * 1e-6) for one in (hz, 1000.0))
            gain = abs(first_order(low_hz, high_hz)(np.array([at, at_1_khz])))
            error = db - 20 * math.log10(gain[0] / gain[1])
            limit = 0.005 if chain.hum == 0 else 0.03
            assert abs(error) < limit + 4.5 * channel.response_db_u[hz], hz


def check_bursts(seed: int) -> None:
    chain = Chain.drawn(seed)
    hz = 1000.0 * (1 + chain.clock_ppm * 1e-6)
    wave = gated([0.5, 0.4, 0.6], hz=hz, first_s=0.1 + chain.lead_s, rate_hz=chain.rate_hz)
    samples = chain.hears(wave, silence=False)
    found = analyse_burst(samples, facts(samples, chain.rate_hz), SETUP)
    assert len(found.bursts) == 3
    # From 0.48 s of a tone 20 dB down: half a cycle of hum more or less, and noise.
    assert found.clock_ppm == pytest.approx(chain.clock_ppm, abs=1 + 1e5 * chain.hum)
    for index, (burst, level) in enumerate(zip(found.bursts, (0.5, 0.4, 0.6), strict=True)):
        assert burst.start_s == pytest.approx(0.1 + chain.lead_s + 0.5 * index, abs=1e-3)
        for name, gain in chain.gains().items():
            one = burst.channels[name]
            error = one.level_dbfs_peak - 20 * math.log10(gain * level)
            hum_db = 8.7 * 0.03 * chain.hum / (gain * level)
            assert abs(error) < 0.005 + hum_db + 4.5 * one.level_dbfs_peak_u


def check_stepped(seed: int) -> None:
    chain = Chain.drawn(seed)
    tones = (130.0, 997.0, 9000.0)
    still = np.zeros(round(0.1 * chain.rate_hz))
    pieces = []
    for hz in tones:
        turn = (
            2 * np.pi * hz * (1 + chain.clock_ppm * 1e-6) * np.arange(round(0.45 * chain.rate_hz))
        )
        pieces += [0.5 * np.sin(turn / chain.rate_hz), still]
    samples = chain.hears(np.concatenate((still, *pieces)))
    found = analyse_stepped(samples, facts(samples, chain.rate_hz), SETUP)
    assert [round(tone.frequency_hz, -1) for tone in found.tones] == [130, 1000, 9000]
    for name, gain in chain.gains().items():
        for tone in found.tones:
            one = tone.channels[name]
            assert one.level_dbfs_peak is not None
            assert one.level_dbfs_peak == pytest.approx(20 * math.log10(0.5 * gain), abs=2e-3)
        assert max(map(abs, found.channels[name].response_db.values())) < 2e-3


CHECKS = {
    "two tones": check_two_tones,
    "sweep": check_sweep,
    "bursts": check_bursts,
    "stepped tones": check_stepped,
}


@pytest.mark.parametrize("kind", CHECKS)
def test_a_few_recordings(kind: str) -> None:
    for seed in FEW:
        CHECKS[kind](seed)


@pytest.mark.campaign
@pytest.mark.parametrize("seed", MANY)
@pytest.mark.parametrize("kind", CHECKS)
def test_many_recordings(kind: str, seed: int) -> None:
    CHECKS[kind](seed)
