"""Hold the analysis to a folder of recordings with known truth.

    python -m tests.known_captures FOLDER [FILE …]

The folder holds sound files and a ``truth.json``: for each file what a user knows (``given``), the
truth per channel or per plateau, and a tolerance for each quantity. Every quantity is printed with
its difference and tolerance; the exit status is 1 where one lies outside.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from backtospec.analysis.setup import CaptureSetup
from backtospec.bench.recordings import Recorded, document_of_file

KINDS = {"tone": "tone", "level_sweep": "ramp", "imd_smpte": "two-tone", "sweep": "sweep"}
BANDS = {"20k": "20-20000", "22k": "20-22000", "80k": "20-80000"}
CODES = {
    "amp_clipping": "amplifier-clipping",
    "asymmetric": "asymmetric",
    "adc_clipped": "adc-overload",
    "dropout": "dropout",
    "discontinuity": "lost-samples",
    "hum": "hum",
    "undithered_16bit": "undithered",
}

Truth = dict[str, Any]


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


def compare_case(folder: Path, case: Truth) -> Iterator[Compared]:
    """Return every quantity of one file that its truth states with a tolerance."""
    given = case["given"]
    load, nominal = given["load_ohm"], given.get("nominal_hz", 1000)
    first, *second = nominal if isinstance(nominal, list) else [nominal]
    setup = CaptureSetup(
        full_scale_volts=_both(given["volts_per_fs"]),
        load_ohm=_both(load),
        nominal_hz=first,
        mains_hz=given.get("mains_nominal_hz"),
    )
    kind = KINDS[given["test"]]
    recorded = Recorded(setup, second[0] if second else None)
    if kind == "sweep":
        with tempfile.TemporaryDirectory() as scratch:
            sidecar = Path(scratch) / "stimulus.json"
            sidecar.write_text(json.dumps(given), encoding="utf-8")
            sweep = Recorded(setup, None, sidecar)
            got = document_of_file(folder / case["file"], kind, sweep)
    else:
        got = document_of_file(folder / case["file"], kind, recorded)
    compare = {"tone": _tone, "ramp": _ramp, "two-tone": _two_tone, "sweep": _sweep}[kind]
    yield from compare(case, got)
    yield from _flags(case, got)


def _both(value: Any) -> tuple[float, ...]:
    return tuple(value) if isinstance(value, list) else (value,)


def _two_tone(case: Truth, got: Truth) -> Iterator[Compared]:
    truth, tolerance = case["truth"], case["tolerance"]
    low, high = got["frequencies_hz"]
    yield Compared("low tone", truth["f1"], low, 2e-4)
    yield Compared("high tone", truth["f2"], high, tolerance["freq_hz"])
    for name in ("L", "R"):
        own, allowed = truth[name], tolerance[f"imd_db_{name}"]
        found = got["channels"][name]
        for key, mine in (
            ("imd_pct_sideband_pairs", "imd_pairs_percent"),
            ("imd_pct_rms", "imd_rms_percent"),
        ):
            db, value = 20 * math.log10(own[key]), found.get(mine)
            got_db = None if value is None else 20 * math.log10(value)
            yield Compared(f"{name} {key}", db, got_db, allowed)
        reference = own["products"]["0,1"]["amp_fs"]
        for order in ("1,0", "1,1", "1,-1", "2,1", "2,-1"):
            db = 20 * math.log10(own["products"][order]["amp_fs"] / reference)
            yield Compared(f"{name} {order}", db, found["products_db"].get(order), allowed)


def _sweep(case: Truth, got: Truth) -> Iterator[Compared]:
    """Responses within 0.02 dB to 16 kHz and 0.05 dB at 20 kHz; harmonics 0.5; RIAA 0.05 dB."""
    truth = case["truth"]
    yield Compared("clock_ppm", truth["clock_ppm"], got["clock_ppm"], 0.05)
    for name in ("L", "R"):
        own, found = truth[name], got["channels"][name]
        for hz, db in own["response_db"].items():
            allowed = 0.05 if float(hz) > 16_000 else 0.02
            yield Compared(f"{name} {hz} Hz", db, found["response_db"].get(hz), allowed)
        for hz, db in own.get("riaa_error_db", {}).items():
            yield Compared(f"{name} RIAA {hz} Hz", db, found["riaa_error_db"].get(hz), 0.05)
        for order in ("2", "3"):
            for hz, db in own.get(f"hd{order}_db", {}).items():
                harmonic = found["harmonic_db"][order].get(hz)
                yield Compared(f"{name} H{order} {hz} Hz", db, harmonic, 0.5)


def _flags(case: Truth, got: Truth) -> Iterator[Compared]:
    notes = {(note["code"], note.get("channel")) for note in got["notes"]}
    codes = {code for code, _ in notes}
    for flag in case["expect_flags"]:
        name, *channel = flag.split(":")
        code = CODES.get(name)
        if code is None:
            continue
        said = (code, channel[0]) in notes if channel else code in codes
        yield Compared(f"says {flag}", 1, float(said), 0)
    for flag in case["must_not_flag"]:
        name, *channel = flag.split(":")
        code = CODES.get(name)
        said = (code, channel[0]) in notes if channel else code in codes
        yield Compared(f"does not say {flag}", 0, float(said), 0)


def _tone(case: Truth, got: Truth) -> Iterator[Compared]:
    truth, tolerance = case["truth"], case["tolerance"]
    for name in ("L", "R", "M"):
        if name not in truth:
            continue
        if not truth[name].get("valid", True):
            refused = float(not got["channels"][name]["valid"])
            yield Compared(f"{name} refused", 1, refused, 0)
            continue
        yield from _channel(name, truth[name], got["channels"][name], tolerance)
    for key, own in (("tracking_db_R_minus_L", "tracking_db"), ("clock_ppm", "clock_ppm")):
        if key in truth and own in tolerance:
            found = got.get("tracking_db_r_minus_l" if own == "tracking_db" else "clock_ppm")
            yield Compared(own, truth[key], found, tolerance[own])
    if "mains_hz" in truth:
        yield Compared("mains_hz", truth["mains_hz"], got["mains_hz"], tolerance["mains_hz"])
    for place, gap in enumerate(truth.get("dropouts", [])):
        at = [n["at_s"] for n in got["notes"] if n["code"] in ("dropout", "lost-samples")]
        nearest = min(at, key=lambda t: abs(t - gap["start_s"]), default=None)
        yield Compared(f"gap {place}", gap["start_s"], nearest, tolerance["dropout_s"])
        if "phase_jump_deg" in gap:
            jumps = [n["phase_jump_deg"] for n in got["notes"] if n["code"] == "lost-samples"]
            jump = jumps[0] if jumps else None
            yield Compared("phase jump", gap["phase_jump_deg"], jump, tolerance["phase_jump_deg"])


def _channel(name: str, truth: Truth, got: Truth, case: Truth) -> Iterator[Compared]:
    own = truth["tolerance"]
    power = truth["power_w_fund"]
    plain = (
        ("freq_hz", "frequency_hz", own["freq_hz"]),
        ("level_dbfs_peak", "level_dbfs_peak", own["level_db"]),
        ("power_w_fund", "power_w", power * own["power_pct"] / 100),
        ("thd_db_h2_h10", "thd_db", own["thd_db"]),
        ("vrms_fund", "fundamental_vrms", truth["vrms_fund"] * own["power_pct"] / 100),
    )
    for key, found, allowed in plain:
        if allowed is not None:
            yield Compared(f"{name} {key}", truth[key], got.get(found), allowed)
    if "dc_fs" in case:
        volts = truth["vrms_fund"] * math.sqrt(2) / 10 ** (truth["level_dbfs_peak"] / 20)
        yield Compared(f"{name} dc_v", truth["dc_v"], got.get("dc_v"), case["dc_fs"] * volts)
    for order, allowed in own["harmonics_db"].items():
        if allowed is not None:
            found = got["harmonics_db"].get(order)
            yield Compared(f"{name} H{order}", truth["harmonics_db"][order], found, allowed)
    for band, key in BANDS.items():
        if f"thdn_db_{band}" in truth:
            found = got["thdn_db"].get(key)
            yield Compared(f"{name} THD+N {band}", truth[f"thdn_db_{band}"], found, own["thdn_db"])
            found = got["snr_db"].get(key)
            yield Compared(f"{name} S/N {band}", truth[f"snr_db_{band}"], found, own["thdn_db"])
    for hz, level in truth["hum_db_re_fund"].items():
        near = [v for k, v in got["hum_db"].items() if abs(float(k) - float(hz)) < 1]
        yield Compared(f"{name} hum {hz}", level, near[0] if near else None, own["hum_db"])


def _ramp(case: Truth, got: Truth) -> Iterator[Compared]:
    truth, tolerance = case["truth"], case["tolerance"]
    plateaus, steps = truth["plateaus"], got["steps"]
    yield Compared("plateaus found", len(plateaus), len(steps), 0)
    for count, (plateau, step) in enumerate(zip(plateaus, steps, strict=False)):
        edge = tolerance["boundary_s"]
        yield Compared(f"{count} start", plateau["t_start"], step["start_s"], edge)
        yield Compared(f"{count} end", plateau["t_end"], step["end_s"], edge)
        tracking = step["tracking_db_r_minus_l"]
        yield Compared(
            f"{count} tracking",
            plateau["tracking_db_R_minus_L"],
            tracking,
            tolerance["tracking_db"],
        )
        for name in ("L", "R"):
            own, found = plateau[name], step["channels"][name]
            level = found.get("level_dbfs_peak")
            yield Compared(
                f"{count} {name} level", own["level_dbfs_peak"], level, tolerance["level_db"]
            )
            if own["tolerance_thd_db"] is not None:
                thd = 20 * math.log10(own["thd_pct"] / 100)
                db = found.get("thd_db")
                yield Compared(f"{count} {name} THD", thd, db, own["tolerance_thd_db"])
    for name, clip in truth["clip_1pct"].items():
        found = got["power_at_thd"]["1"][name]
        yield Compared(f"{name} reaches 1 %", float(clip["reached"]), float(found["reached"]), 0)
        if clip["reached"]:
            allowed = clip["power_w"] * tolerance["clip_power_pct"] / 100
            yield Compared(f"{name} power at 1 %", clip["power_w"], found.get("power_w"), allowed)
        else:
            least = clip["power_w_at_least"]
            yield Compared(f"{name} at least", least, found.get("at_least_w"), 0.012 * least)


def main(words: list[str]) -> int:
    """Compare a folder and print the outcome."""
    if not words:
        print(__doc__)
        return 2
    folder = Path(words[0])
    cases = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["cases"]
    counted = failed = 0
    for case in cases:
        stem = Path(case["file"]).stem
        if (words[1:] and stem not in words[1:]) or case["given"]["test"] not in KINDS:
            continue
        compared = list(compare_case(folder, case))
        outside = [one for one in compared if not one.holds]
        counted, failed = counted + len(compared), failed + len(outside)
        print(f"{case['file']}: {len(compared)} quantities, {len(outside)} outside")
        for one in outside:
            print(f"  {one.name}: {one.got} instead of {one.truth} ± {one.tolerance}")
    print(f"{counted - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
