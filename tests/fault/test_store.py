"""What the store refuses, why, and that it is unchanged afterwards."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import OperationalError

from backtospec.errors import BenchError
from backtospec.records import Meter, Visit
from backtospec.store import files, read, write
from backtospec.store.connection import DATABASE_NAME, Store, explaining
from backtospec.store.opening import open_store
from backtospec.store.schema import REVISION
from backtospec.store.write import Entry

NAN, INF = float("nan"), float("inf")
NAIVE = datetime(2025, 3, 7, 21, 14)  # noqa: DTZ001  # the fault is its missing zone


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as opened:
        yield opened


def dump(store: Store) -> list[str]:
    with sqlite3.connect(store.folder / DATABASE_NAME) as database:
        rows = list(database.iterdump())
    database.close()
    return rows


def sitting(store: Store, job_id: str | None = None, note: str = "") -> None:
    write.add_sitting_with_readings(
        store, [], job_id=job_id, check_id=None, visit=Visit.BEFORE, power_state=None, note=note
    )


REFUSED: dict[str, tuple[Callable[[Store], Any], str, str, str]] = {
    "not a number": (
        lambda s: write.add_reading(s, Entry("idle", "x", NAN)),
        "nan is not a finite number.",
        "reading 'idle', value",
        "Read the meter again.",
    ),
    "endless": (
        lambda s: write.add_reading(s, Entry("idle", "x", 1.0, minutes_since_on=-INF)),
        "-inf is not a finite number.",
        "reading 'idle', minutes since on",
        "Read the meter again.",
    ),
    "endless meter": (
        lambda s: write.add_reading(s, Entry("idle", "x", meter=Meter("m", INF, 3))),
        "inf is not a finite number.",
        "meter of the reading 'idle', percent",
        "Read the meter again.",
    ),
    "NUL": (
        lambda s: write.add_reading(s, Entry("idle", "9.8\0 mV")),
        r"'9.8\x00 mV' holds a NUL, which is no character of any text.",
        "reading 'idle', text",
        "Type it again without the NUL.",
    ),
    "half a character": (
        lambda s: write.add_amplifier(s, "Hald\ud800n", "62"),
        r"'Hald\ud800n' holds half a character.",
        "amplifier, maker",
        "Type it again.",
    ),
    "NUL in a note": (
        lambda s: sitting(s, note="\0"),
        r"'\x00' holds a NUL, which is no character of any text.",
        "sitting, note",
        "Type it again without the NUL.",
    ),
    "NUL in a file name": (
        lambda s: files.keep_file(s, b"", "a\0b"),
        r"'a\x00b' holds a NUL, which is no character of any text.",
        "file name",
        "Type it again without the NUL.",
    ),
    "naive time": (
        lambda s: write.add_reading(s, Entry("idle", "1", taken_at=NAIVE)),
        "2025-03-07 21:14:00 has no time zone.",
        "sitting, taken at",
        "Say which time zone it was written in.",
    ),
    "derived": (
        lambda s: write.put_derived(s, "ab", "L", "hum", "1", {}, {"hum_db": [1.0, NAN]}),
        "nan is not a finite number.",
        "hum of a recording, content, hum db",
        "Read the meter again.",
    ),
    "unknown amplifier": (
        lambda s: write.add_job(s, "a-none", "x"),
        "There is no amplifier 'a-none' in this store.",
        "amplifier",
        "Give an id that is listed there, or name the right data folder.",
    ),
    "unknown job": (
        lambda s: sitting(s, "j-none"),
        "There is no job 'j-none' in this store.",
        "job",
        "Give an id that is listed there, or name the right data folder.",
    ),
    "unknown reading": (
        lambda s: write.correct_reading(s, "r-none", Entry("x", "1")),
        "There is no reading 'r-none' in this store.",
        "reading",
        "Give an id that is listed there, or name the right data folder.",
    ),
    "unknown kept file": (
        lambda s: write.add_reading(s, Entry("x", "1", file_sha256="ab")),
        "There is no kept file 'ab' in this store.",
        "kept file",
        "Give an id that is listed there, or name the right data folder.",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refused_with_three_parts_and_the_store_unchanged(store: Store, name: str) -> None:
    call, what, where, fix = REFUSED[name]
    before = dump(store)
    with pytest.raises(BenchError) as caught:
        call(store)
    (fault,) = caught.value.faults
    assert (fault.what, fault.where, fault.fix) == (what, where, fix)
    assert dump(store) == before


@pytest.mark.parametrize(
    "look",
    [
        lambda s: read.amplifier(s, "none"),
        lambda s: read.job(s, "none"),
        lambda s: read.sitting(s, "none"),
        lambda s: read.one_reading(s, "none"),
        lambda s: read.history(s, "none"),
        lambda s: write.restate_spec(s, "none", ""),
        lambda s: write.attach_sitting(s, "none", "none", Visit.AFTER),
        lambda s: write.add_replacement(s, "none", "C1", "", "", ""),
        lambda s: write.add_report(s, "none", "{}", ""),
    ],
)
def test_an_unknown_id_is_named(store: Store, look: Callable[[Store], Any]) -> None:
    with pytest.raises(BenchError, match=r"There is no \w+ 'none' in this store"):
        look(store)


def test_all_faults_of_an_entry_at_once(store: Store) -> None:
    with pytest.raises(BenchError) as caught:
        write.add_reading(store, Entry("idle", "\0", NAN, minutes_since_on=INF))
    assert len(caught.value.faults) == 3


def test_a_reading_is_corrected_once_and_then_its_correction(store: Store) -> None:
    first = write.add_reading(store, Entry("x", "1"))
    second = write.correct_reading(store, first.id, Entry("x", "2"))
    before = dump(store)
    with pytest.raises(BenchError) as caught:
        write.correct_reading(store, first.id, Entry("x", "3"))
    (fault,) = caught.value.faults
    assert fault.what == f"It has already been corrected by {second.id}."
    assert fault.where == f"reading {first.id}"
    assert fault.fix == f"Correct {second.id} instead."
    assert dump(store) == before


# --- kept files -----------------------------------------------------------------------------


def test_a_file_that_cannot_be_read(store: Store, tmp_path: Path) -> None:
    for path, reason in ((tmp_path / "no.wav", "No such file"), (tmp_path, "directory")):
        with pytest.raises(BenchError, match=rf"{path}: The file cannot be read \(.*{reason}"):
            files.keep_file(store, path)
    assert [p for p in (store.folder / files.FOLDER).rglob("*") if p.is_file()] == []


def test_no_room_for_a_file(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    before = dump(store)
    with pytest.raises(BenchError, match=r"'tone\.wav' cannot be kept \(No space left"):
        files.keep_file(store, b"tone", "tone.wav")
    assert dump(store) == before
    assert [p for p in (store.folder / files.FOLDER).rglob("*") if p.is_file()] == []


def test_kept_files_that_are_gone_cut_or_changed(store: Store) -> None:
    digest = files.keep_file(store, b"content", "log.csv")
    path = files.file_path(store, digest)
    path.write_bytes(b"kontent")
    with pytest.raises(BenchError, match="its content now has the hash"):
        files.verify_file(store, digest)
    path.write_bytes(b"con")
    with pytest.raises(BenchError, match=r"of 'log\.csv' has 3 bytes where 7 were kept"):
        files.file_path(store, digest)
    path.unlink()
    with pytest.raises(BenchError, match=r"of 'log\.csv' is gone"):
        files.file_path(store, digest)
    with pytest.raises(BenchError, match="No file with the hash 'ab' was kept"):
        files.file_path(store, "ab")


# --- opening --------------------------------------------------------------------------------


def refused(folder: Path) -> str:
    with pytest.raises(BenchError) as caught:
        open_store(folder)
    (fault,) = caught.value.faults
    assert str(folder) in fault.where
    assert fault.fix
    return fault.what


def filled(folder: Path) -> Path:
    with open_store(folder) as store:
        for number in range(40):
            write.add_reading(store, Entry("x", f"{number}" * 500))
    return folder / DATABASE_NAME


def test_a_file_that_is_no_store(tmp_path: Path) -> None:
    (tmp_path / DATABASE_NAME).write_text("Dear diary,")
    assert refused(tmp_path) == (
        "The store is damaged, or is no store at all: it begins with b'Dear diary,'."
    )
    assert (tmp_path / DATABASE_NAME).read_text() == "Dear diary,"


def test_a_cut_store(tmp_path: Path) -> None:
    path = filled(tmp_path)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    assert "is damaged" in refused(tmp_path)


def test_a_scribbled_store(tmp_path: Path) -> None:
    path = filled(tmp_path)
    content = bytearray(path.read_bytes())
    for start in range(4096, len(content), 4096):
        content[start : start + 64] = b"\xff" * 64
    path.write_bytes(content)
    assert "is damaged" in refused(tmp_path)


def test_damage_that_only_a_search_finds(tmp_path: Path) -> None:
    path = filled(tmp_path)
    content = path.read_bytes()
    path.write_bytes(content[:-8192] + b"\xff" * 8192)  # far behind the list of tables
    assert "is damaged: " in refused(tmp_path)


def test_an_empty_file_becomes_a_store(tmp_path: Path) -> None:
    (tmp_path / DATABASE_NAME).touch()
    with open_store(tmp_path) as store:
        assert read.amplifiers(store) == ()


def test_a_store_of_a_newer_version(tmp_path: Path) -> None:
    open_store(tmp_path).close()
    with sqlite3.connect(tmp_path / DATABASE_NAME) as database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    database.close()
    assert refused(tmp_path) == (
        "The store is at revision 9999, made by a newer version of this program;"
        f" this one knows revisions up to {REVISION}."
    )


def test_a_database_of_somebody_else(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / DATABASE_NAME) as database:
        database.execute("CREATE TABLE recipes (name TEXT)")
    database.close()
    assert "holds the tables recipes" in refused(tmp_path)


def test_a_folder_in_the_place_of_the_store(tmp_path: Path) -> None:
    (tmp_path / DATABASE_NAME).mkdir()
    assert refused(tmp_path) == "The store cannot be opened (Is a directory)."


def test_a_file_in_the_place_of_the_data_folder(tmp_path: Path) -> None:
    (tmp_path / "taken").touch()
    assert "cannot be used (Not a directory)" in refused(tmp_path / "taken")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("SQLITE_FULL", "the disk is full"),
        ("SQLITE_READONLY_DBMOVED", "may not be written to"),
        ("SQLITE_IOERR_WRITE", "the disk reports an error"),
        ("SQLITE_CANTOPEN", "cannot be opened"),
        ("SQLITE_BUSY_SNAPSHOT", "written by another program"),
    ],
)
def test_what_the_database_reports_is_explained(tmp_path: Path, name: str, words: str) -> None:
    cause = sqlite3.OperationalError("no words for people")
    cause.sqlite_errorname = name
    with pytest.raises(BenchError, match=words), explaining(tmp_path):
        raise OperationalError("", {}, cause)


def test_a_bug_is_not_explained_away(tmp_path: Path) -> None:
    cause = sqlite3.OperationalError("near 'SELEKT': syntax error")
    cause.sqlite_errorname = "SQLITE_ERROR"
    with pytest.raises(OperationalError), explaining(tmp_path):
        raise OperationalError("", {}, cause)
