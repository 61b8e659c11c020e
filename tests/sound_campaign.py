"""Bent sound files by the thousand, read and analysed in processes that may die of it.

``python -m tests.sound_campaign FIRST END FOLDER`` is one such process.
"""

from __future__ import annotations

import json
import resource
import signal
import subprocess
import sys
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from backtospec.analysis.setup import CaptureSetup
from backtospec.bench.recordings import Recorded, document_of_file
from backtospec.errors import BenchError, Question
from backtospec.sources.sound_files import SoundFile, open_sound_file
from tests.sound_mutations import FRAMES, Bent, bend, whole_files

_MEMORY_BYTES = 2 << 30
_HANG_S = 20
_ANALYSED_EVERY = 10
_ANALYSES = ("tone", "noise", "tone", "ramp")
_BATCH = 5000


@dataclass(slots=True)
class Tally:
    """What became of the files.

    Parameters
    ----------
    counts
        How many by outcome: ``refused``, ``asked``, ``salvaged``, ``read``, and for those also
        analysed ``document`` and ``no document``.
    failures
        Seed and what went wrong.
    peak_bytes
        The most memory that a process took.
    """

    counts: Counter[str] = field(default_factory=Counter)
    failures: list[tuple[int, str]] = field(default_factory=list)
    peak_bytes: int = 0


def run_campaign(first: int, end: int, folder: Path) -> Tally:
    """Return what became of the bent files of some seeds; a process that dies is a failure."""
    tally = Tally()
    while first < end:
        last = min(end, first + _BATCH)
        command = [sys.executable, "-m", "tests.sound_campaign", str(first), str(last), str(folder)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        lines = [json.loads(line) for line in done.stdout.splitlines()]
        for line in lines:
            tally.counts.update(line["outcomes"])
            tally.failures += [(line["seed"], line["failure"])] if line["failure"] else []
            tally.peak_bytes = max(tally.peak_bytes, line["peak_bytes"])
        reached = lines[-1]["seed"] + 1 if lines else first
        if reached < last:
            hang = done.returncode == -signal.SIGALRM
            what = "hang" if hang else f"crash ({done.returncode}): {done.stderr[-500:]}"
            tally.failures.append((reached, what))
            reached += 1
        first = reached
    return tally


def _work(first: int, end: int, folder: Path) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY_BYTES, _MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    warnings.simplefilter("error")
    files = whole_files()
    for seed in range(first, end):
        signal.alarm(_HANG_S)
        bent = bend(files, seed)
        path = folder / f"bent-{first}"
        path.write_bytes(bent.content)
        failure = ""
        outcomes: list[str] = []
        try:
            outcomes = _outcomes(path, bent, seed)
        except BaseException as error:  # whatever it is, it is the finding
            failure = f"{bent.container} {bent.how}: {type(error).__name__}: {error}"
        signal.alarm(0)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
        line = {"seed": seed, "outcomes": outcomes, "failure": failure, "peak_bytes": peak}
        print(json.dumps(line), flush=True)


def _outcomes(path: Path, bent: Bent, seed: int) -> list[str]:
    """Read a file both ways and return what became of it; whatever is raised is a failure."""
    channels = None
    try:
        try:
            sound = open_sound_file(path)
        except Question as question:
            channels = (1, 2)
            _check_refusal(question)
            sound = open_sound_file(path, channels)
        taken = sound.read(0, sound.frames)
        blocks = np.concatenate(list(sound.blocks(0, sound.frames, 1000)))
    except BenchError as error:
        _check_refusal(error)
        return ["refused"]
    assert taken.shape == blocks.shape == (sound.frames, len(sound.picked))
    assert np.array_equal(taken.astype(np.float32), blocks)
    assert np.isfinite(taken).all()
    assert sound.frames <= 8 * len(bent.content) or bent.container == "FLAC"
    _check_silence(sound, bent)
    outcomes = ["asked"] if channels else []
    outcomes.append("salvaged" if sound.notes else "read")
    if seed % _ANALYSED_EVERY == 0:
        outcomes.append(_analyse(path, channels, seed // _ANALYSED_EVERY))
    return outcomes


def _check_refusal(error: BenchError) -> None:
    for fault in error.faults:
        assert fault.what.endswith(".")
        assert fault.where
        assert fault.fix.endswith(".")


def _check_silence(sound: SoundFile, bent: Bent) -> None:
    """A file that was only cut must say so when it is the shorter for it."""
    if set(bent.how) <= {"cut", "cut head"} and sound.frames < FRAMES:
        assert sound.notes, "cut without a word"
    for note in sound.notes:
        assert note.code == "salvaged"
        assert note.text.endswith(".")


def _analyse(path: Path, channels: tuple[int, ...] | None, turn: int) -> str:
    setup = CaptureSetup(
        full_scale_volts=(40.0,), load_ohm=(8.0,), nominal_hz=997.0, channels=channels
    )
    kind = _ANALYSES[turn % len(_ANALYSES)]
    try:
        document = document_of_file(path, kind, Recorded(setup, processes=1))
    except BenchError as error:
        _check_refusal(error)
        return "no document"
    json.dumps(document, allow_nan=False)
    return "document"


if __name__ == "__main__":
    _work(int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3]))
