"""Killed programs and several writers at once: what was acknowledged is there, whole."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from backtospec.errors import BenchError
from backtospec.records import Visit
from backtospec.store import files, read, write
from backtospec.store.connection import Store, writing
from backtospec.store.opening import open_store
from backtospec.store.write import Entry

WRITER = """
import sys
from itertools import count
from pathlib import Path
from backtospec.records import Visit
from backtospec.store import files, write
from backtospec.store.opening import open_store
from backtospec.store.write import Entry

store = open_store(Path(sys.argv[1]))
rounds = range(int(sys.argv[2])) if len(sys.argv) > 2 else count()
for number in rounds:
    digest = files.keep_file(store, f"{sys.argv} {number}".encode() * 999, "log.csv")
    entries = [Entry("idle", f"{number}", float(number), "V", file_sha256=digest)] * 3
    sitting, readings = write.add_sitting_with_readings(
        store, entries, job_id=None, check_id=None, visit=Visit.BEFORE, power_state=None
    )
    print(*[reading.id for reading in readings], flush=True)
"""


def start_writer(folder: Path, *rounds: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), *rounds], stdout=subprocess.PIPE, text=True
    )


def check_every_sitting_is_whole(store: Store) -> set[str]:
    """Return the ids of all readings, having looked at each sitting and file."""
    found: set[str] = set()
    for sitting in read.sittings(store, None):
        readings = read.readings(store, sitting.id)
        assert len(readings) == 3
        for reading in readings:
            files.verify_file(store, reading.file_sha256 or "")
            found.add(reading.id)
    return found


def test_a_killed_program_loses_nothing_it_acknowledged(tmp_path: Path) -> None:
    acknowledged: set[str] = set()
    for lines_before_death in (1, 7, 20):
        with start_writer(tmp_path) as writer:
            assert writer.stdout is not None
            for _ in range(lines_before_death):
                acknowledged.update(writer.stdout.readline().split())
            writer.send_signal(signal.SIGKILL)
            for line in writer.stdout:  # what it said while the signal was on its way
                acknowledged.update(line.split() if line.endswith("\n") else [])
        assert writer.returncode == -signal.SIGKILL
        with open_store(tmp_path) as store:
            assert check_every_sitting_is_whole(store) >= acknowledged
    assert len(acknowledged) >= 3 * 28


def test_several_programs_make_and_fill_one_store_together(tmp_path: Path) -> None:
    writers = [start_writer(tmp_path, "10") for _ in range(3)]
    acknowledged: set[str] = set()
    for writer in writers:
        out, _ = writer.communicate()
        assert writer.returncode == 0
        acknowledged.update(out.split())
    assert len(acknowledged) == 3 * 3 * 10
    with open_store(tmp_path) as store:
        assert check_every_sitting_is_whole(store) == acknowledged


def test_a_second_writer_waits_for_the_first(tmp_path: Path) -> None:
    written: list[str] = []
    begun = threading.Event()

    def add() -> None:
        begun.set()
        written.append(write.add_reading(second, Entry("x", "second")).id)

    with open_store(tmp_path) as first, open_store(tmp_path) as second:
        waiting = threading.Thread(target=add)
        with writing(first) as connection:
            waiting.start()
            begun.wait()
            waiting.join(timeout=0.2)
            assert waiting.is_alive()
            assert read.sittings(second, None) == ()  # a reader never waits
            connection.exec_driver_sql("INSERT INTO meters VALUES ('bench 1', 0.5, 3)")
        waiting.join()
        assert read.one_reading(first, written[0]).text == "second"
        assert [meter.name for meter in read.meters(second)] == ["bench 1"]


def test_a_writer_that_waited_too_long_says_so_and_keeps_nothing(tmp_path: Path) -> None:
    with open_store(tmp_path) as first, open_store(tmp_path, wait_s=0.01) as second:
        with writing(first), pytest.raises(BenchError, match="written by another program"):
            write.add_reading(second, Entry("x", "1"))
        assert read.sittings(first, None) == ()
        write.add_reading(second, Entry("x", "1"))
        assert len(read.sittings(first, None)) == 1


def test_a_sitting_that_fails_half_way_leaves_nothing(store: Store) -> None:
    entries = [Entry("x", "1", 1.0), Entry("x", "2", float("nan"))]
    with pytest.raises(BenchError):
        write.add_sitting_with_readings(
            store, entries, job_id=None, check_id=None, visit=Visit.BEFORE, power_state=None
        )
    assert read.sittings(store, None) == ()
    assert write.add_reading(store, Entry("x", "1")).text == "1"
