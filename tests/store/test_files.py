"""Kept files: whole, under the hash of their content, once."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from backtospec.store import files
from backtospec.store.connection import Store
from backtospec.store.opening import open_store


@pytest.mark.parametrize("size", [0, 1, 1 << 20, (1 << 20) + 1])
def test_a_file_comes_back_byte_for_byte(store: Store, tmp_path: Path, size: int) -> None:
    source = tmp_path / "tone ½.wav"
    source.write_bytes(os.urandom(size))
    digest = files.keep_file(store, source)
    assert digest == hashlib.sha256(source.read_bytes()).hexdigest()
    kept = files.file_path(store, digest)
    assert kept == tmp_path / "files" / digest[:2] / digest
    assert kept.read_bytes() == source.read_bytes()
    assert files.file_name(store, digest) == "tone ½.wav"
    files.verify_file(store, digest)


def test_the_same_content_is_kept_once(store: Store, tmp_path: Path) -> None:
    first = files.keep_file(store, b"same", "first.csv")
    assert files.keep_file(store, b"same", "second.csv") == first
    assert files.file_name(store, first) == "first.csv"
    assert [p.name for p in (tmp_path / "files").rglob("*") if p.is_file()] == [first]


def test_giving_a_lost_file_again_mends_it(store: Store) -> None:
    digest = files.keep_file(store, b"content", "x.csv")
    files.file_path(store, digest).unlink()
    files.keep_file(store, b"content", "x.csv")
    assert files.file_path(store, digest).read_bytes() == b"content"


def test_unfinished_copies_of_yesterday_are_cleared_away(tmp_path: Path) -> None:
    open_store(tmp_path).close()
    old, new = (tmp_path / "files" / f"{files.INCOMING}{age}" for age in ("old", "new"))
    for copy in (old, new):
        copy.write_bytes(b"half")
    os.utime(old, (0, 0))
    open_store(tmp_path).close()
    assert (old.exists(), new.exists()) == (False, True)
