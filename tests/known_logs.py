"""Hold the log reader and the warm-up model to a folder of logs with known truth.

    python -m tests.known_logs FOLDER

The folder holds log files and a ``truth.json``: what the user states (``given``), whether the file
can be read or must be asked about, the series in SI units, and per channel the class of the
warm-up, whether its end may be believed yet, and that end. The exit status is 1 where one is wrong.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from backtospec.bench.logs import LogOptions, document_of, document_of_warm_ups, warm_ups
from backtospec.errors import Question
from backtospec.sources.log_files import LogReading, read_logs

Truth = dict[str, Any]

RELATIVE = 1e-9
TIME_S = 2e-3


def faults_of(folder: Path, log: Truth) -> Iterator[str]:
    """Return what is wrong with one log, in words."""
    names = log["file"] if isinstance(log["file"], list) else [log["file"]]
    given = log["given"]
    per_file = given.get("channels") or {}
    channels = [per_file[name] for name in names] if per_file else []
    channels = channels or ([given["channel"]] if "channel" in given else [])
    options = LogOptions(time_zone=given.get("timezone"), channels=tuple(channels))
    try:
        reading = read_logs([folder / name for name in names], options)
    except Question as question:
        yield from _asked(log, question)
        return
    if log["action"] != "read":
        yield "read without asking"
        return
    yield from _series(log, document_of(reading))
    yield from _warm_up(log, reading)


def _asked(log: Truth, question: Question) -> Iterator[str]:
    if log["action"] != "ask":
        yield f"asked about {question.about}, needlessly"
        return
    if question.about != log["question"]["about"]:
        yield f"asked about {question.about} instead of {log['question']['about']}"
    shown = " ".join([*question.quotes, str(question)])
    for words in log["question"]["must_name"]:
        if words not in shown:
            yield f"does not quote {words}"


def _series(log: Truth, got: Truth) -> Iterator[str]:
    for truth in log["series"]:
        found = [s for s in got["series"] if s["channel"] in (truth["channel"], None)]
        found = [s for s in found if s["unit"] == truth["unit"]] or found
        if not found:
            yield f"no series {truth['channel']} in {truth['unit']}"
            continue
        series = found[0]
        name = truth["channel"]
        if len(series["value"]) != len(truth["v"]):
            yield f"{name}: {len(series['value'])} rows instead of {len(truth['v'])}"
            continue
        for row, (value, wanted) in enumerate(zip(series["value"], truth["v"], strict=True)):
            if (value is None) != (wanted is None) or (
                value is not None and abs(value - wanted) > RELATIVE * max(abs(wanted), 1e-12)
            ):
                yield f"{name} row {row}: {value} instead of {wanted}"
                break
        for row, (at, wanted) in enumerate(zip(series["elapsed_s"], truth["t_s"], strict=True)):
            if abs(at - wanted) > TIME_S:
                yield f"{name} row {row}: at {at} s instead of {wanted} s"
                break
    if log.get("gaps") == [] and got["gaps"]:
        yield f"a gap that is none: {got['gaps'][0]}"


def _warm_up(log: Truth, reading: LogReading) -> Iterator[str]:
    truths: dict[str, Truth] = log.get("warmup") or {}
    if not truths:
        return
    found = document_of_warm_ups(warm_ups(reading))["channels"]
    for name, truth in truths.items():
        got = found.get(name) or found.get("M")
        if got is None:
            yield f"{name}: no warm-up"
            continue
        accepted = {truth["cls"], *truth.get("cls_accept", [])}
        if got["class"] not in accepted:
            yield f"{name}: {got['class']} instead of {truth['cls']}"
        if got["trusted"] and not truth["trusted"]:
            yield f"{name}: trusted too early"
        if got["trusted"] and "settled_v" in truth:
            off = abs(got["settled_v"] - truth["settled_v"])
            if off > truth["settled_tolerance_v"]:
                yield f"{name}: ends at {got['settled_v']} instead of {truth['settled_v']}"
        if truth.get("alarm") and not got["alarm"]:
            yield f"{name}: no alarm"


def main(words: list[str]) -> int:
    """Compare a folder and print the outcome."""
    if not words:
        print(__doc__)
        return 2
    folder = Path(words[0])
    logs = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["logs"]
    failed = 0
    for log in logs:
        faults = list(faults_of(folder, log))
        failed += bool(faults)
        print(f"{log['file']}: {'as it should be' if not faults else ''}")
        for fault in faults:
            print(f"  {fault}")
    print(f"{len(logs) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
